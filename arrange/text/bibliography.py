"""Where the rules come from: the `source` of a finding is a key of ``SOURCES``."""

from __future__ import annotations

SOURCES = {
    "minor-ninth rule": (
        "The rule of arranging handbooks against the minor ninth between two voices, but for the "
        "root under a dominant's flat nine; as stated in R. Hoffmann's notes on orchestration, "
        "robin-hoffmann.com: 'the last dissonant interval, even more than a minor second'."
    ),
    "low interval limits": (
        "D. Lowell and K. Pullig, Arranging for Large Jazz Ensemble, Berklee Press 2003: low "
        "interval limits and the assumed root. The table's rows as taught there (from memory); "
        "seven of its eleven simple intervals agree with the glossary 'low interval limit' of "
        "sweetwater.com, the disputed ones are marked in the table."
    ),
    "overlap coefficient": (
        "H. F. Inman and E. L. Bradley, The overlapping coefficient as a measure of agreement "
        "between probability distributions, Commun. Statist. Theory Meth. 18 (1989) 3851-3874; "
        "here on the time that each semitone sounds."
    ),
    "part-crossing": (
        "D. Huron, The avoidance of part-crossing in polyphonic music, Music Perception 9 (1991) "
        "93-104."
    ),
    "doubling": (
        "D. Huron, Tone and Voice: a derivation of the rules of voice-leading from perceptual "
        "principles, Music Perception 19 (2001) 1-64: unisons and octaves make two lines one. "
        "That a hook is doubled on purpose is common practice."
    ),
    "thirds and suspensions": (
        "That the third belongs to one part alone and that a suspension and its resolution do not "
        "sound together is taught by handbooks of harmony and arranging; common practice."
    ),
    "chord scales": (
        "B. Nettles and R. Graf, The Chord Scale Theory and Jazz Harmony, Advance Music 1997 (from "
        "memory): a note of the scale a semitone above a chord tone is to be avoided when held."
    ),
    "room for the voice": (
        "Accompaniment that stays out of the singer's register while they sing is common practice "
        "in arranging; the third around the sung note is ours."
    ),
    "room for the bass": (
        "With a bass in the band the guitars leave the low end to it: common practice; the third "
        "above the bass note is ours, near the low interval limits of its register."
    ),
    "onset asynchrony": (
        "R. A. Rasch, Synchronization in performed ensemble music, Acustica 43 (1979) 121-131: "
        "professional trios miss each other by 30 to 50 ms. What is heard as a flam, and what as "
        "meant together, is ours."
    ),
    "density of attacks": (
        "J. London, Hearing in Time, Oxford University Press 2004: about 100 ms is the shortest "
        "interval that is heard as a rhythm, as stated in the rhythm perception timeline of "
        "musiccog.ohio-state.edu. That neither part leaves room is ours."
    ),
    "streaming": (
        "L. P. A. S. van Noorden, Temporal coherence in the perception of tone sequences, thesis, "
        "Eindhoven 1975, and G. A. Miller and G. A. Heise, The trill threshold, J. Acoust. Soc. "
        "Am. 22 (1950) 637-638: tones that alternate within some 3 semitones are one stream; the "
        "boundaries' numbers from memory."
    ),
    "departures": (
        "That a listener learns what a piece does and hears what departs from it: D. Huron, Sweet "
        "Anticipation, MIT Press 2006 (from memory). What is measured, and the limits, are ours, "
        "set on the half of a collection of good music that was kept for tuning."
    ),
    "roughness": (
        "W. Hutchinson and L. Knopoff, The acoustic component of Western consonance, Interface 7 "
        "(1978) 1-29, with the curve of A. Mashinter, Empirical Musicology Review 1 (2006) 65-84; "
        "W. Sethares, Local consonance and the relationship between timbre and scale, J. Acoust. "
        "Soc. Am. 94 (1993) 1218-1228, as a second opinion."
    ),
    "masking": (
        "The spreading of excitation and the masked threshold of ISO/IEC 11172-3:1993, Annex D, "
        "model 1; the share of a part's energy below it is ours."
    ),
    "drive": (
        "Arithmetic of a curved transfer: sums and differences of the tones that go in. That "
        "thirds turn to mud under drive while fifths and octaves stay clean is common practice."
    ),
}
