"""Where the rules come from: the `source` of a finding is a key of ``SOURCES``."""

from __future__ import annotations

SOURCES = {
    "minor-ninth rule": (
        "The rule of arranging handbooks against the minor ninth between two voices, but for the "
        "root under a dominant's flat nine; as told in R. Hoffmann's notes on orchestration, "
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
}
