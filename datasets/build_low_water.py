"""Write the demo song, low-water.musicxml: a singer, two guitars and a bass.

Each section is rows of words; ``score_words`` says how they are read.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from score_words import BASS, GUITAR, Book, Player, Score, Section, X, write_score

PLAYERS = (
    Player("Voice", "voice.vocals", 53, "G2"),
    Player("Guitar 1", "pluck.guitar.electric", 28, "G2", -45, GUITAR),
    Player("Guitar 2", "pluck.guitar.electric", 28, "G2", 45, GUITAR, capo=3),
    Player("Bass", "pluck.bass.electric", 34, "F4", 0, BASS),
)

# fmt: off
# ---------------------------------------------------------------- shapes

OPEN: Book = {  # Guitar 2: with the capo, the open shapes of G major sound in B flat major
    "Bb": (3, 2, 0, 0, 0, 3), "Bb/D": (X, 2, 0, 0, 0, 3), "F/A": (2, X, 0, 2, 3, 2),
    "Ab": (X, X, 3, 2, 1, 1), "Eb": (X, 3, 2, 0, 1, 0), "Eb/G": (0, X, 2, 0, 1, 0),
    "Ebmaj7": (X, 3, 2, 0, 0, 0), "Cm7": (X, 0, 2, 0, 1, 0), "Dm7": (X, 2, 0, 2, 0, 2),
    "Gm": (0, 2, 2, 0, 0, 0), "Gm/F": (X, X, 0, 0, 0, 0), "F": (X, X, 0, 2, 3, 2),
    "F7": (X, X, 0, 2, 1, 2),
}
NO_THIRD: Book = {**OPEN, **dict.fromkeys(("F", "F7", "Fsus4"), (X, X, 0, 2, 3, X))}
ALL_STRINGS: Book = {  # the open low strings are let in
    **OPEN, "F/A": (2, 0, 0, 2, 3, 2), "Eb": (0, 3, 2, 0, 1, 0), "Cm7": (0, 0, 2, 0, 1, 0),
}
PAIRS: Book = {  # Guitar 1, two notes up the neck
    "Gm": (X, X, X, X, 11, 10), "Gm/F": (X, X, X, X, 11, 10), "Eb": (X, X, X, X, 11, 11),
    "Bb": (X, X, X, X, 11, 10), "Bb/D": (X, X, X, X, 11, 13), "Cm7": (X, X, X, X, 13, 11),
    "F": (X, X, X, X, 10, 8), "F/A": (X, X, X, X, 10, 8), "F7": (X, X, X, X, 10, 11),
}
DRONE: Book = {  # B flat stays on the second string until the last chord
    "Eb": (X, X, X, 12, 11, 11), "Cm7": (X, X, X, 12, 11, 11), "F": (X, X, X, 10, 11, 13),
    "Fsus4": (X, X, X, 10, 11, 13), "F7": (X, X, X, 14, 13, 11),
}
BARRE: Book = {
    "Bb": (X, 1, 3, 3, 3, 1), "F/A": (X, X, 3, 2, 1, 1), "Ab": (X, X, 6, 5, 4, 4),
    "Eb/G": (X, 6, 8, 8, 8, 6), "Cm7": (X, 3, 5, 3, 4, 3), "Gm": (3, 5, 5, 3, 3, 3),
    "Eb": (X, 6, 8, 8, 8, 6), "F": (1, 3, 3, 2, 1, 1),
}
TRIADS: Book = {
    "Bb": (X, X, X, 10, 11, 10), "F/A": (X, X, X, 10, 10, 8), "Ab": (X, X, X, 8, 9, 8),
    "Eb/G": (X, X, X, 8, 8, 6), "Cm7": (X, X, X, 8, 8, 8), "Gm": (X, X, X, 12, 11, 10),
    "Eb": (X, X, X, 12, 11, 11), "F": (X, X, X, 14, 13, 13), "Ebmaj7": (X, X, X, 12, 11, 10),
    "Fsus4": (X, X, X, 10, 11, 13),
}
HIGH_TRIADS: Book = {  # the same chords, an inversion higher
    "Bb": (X, X, X, 15, 15, 13), "F/A": (X, X, X, 14, 13, 13), "Ab": (X, X, X, 13, 13, 11),
    "Eb/G": (X, X, X, 12, 11, 11), "Cm7": (X, X, X, 12, 13, 11), "Gm": (X, X, X, 15, 15, 15),
    "Eb": (X, X, X, 15, 16, 15), "F": (X, X, X, 17, 18, 17), "F7": (X, X, X, 14, 13, 11),
}
ROOTS: Book = {
    "Bb": "Bb1", "Bb/D": "D2", "F/A": "A1", "Ab": "Ab1", "Eb": "Eb2", "Eb/G": "G1", "F7": "F1",
    "Ebmaj7": "Eb2", "Cm7": "C2", "Dm7": "D2", "Gm": "G1", "Gm/F": "F1", "F": "F1", "Fsus4": "F1",
}

# ---------------------------------------------------------------- the song


def four(
    name: str, chords: str, books: tuple[Book, Book], voice: str, guitar_1: str, guitar_2: str,
    bass: str, words: Mapping[str, str] | None = None, **more: Any,
) -> Section:
    """A section with a row for each of the four; the books are those of the guitars."""
    rows = {"Voice": voice, "Guitar 1": guitar_1, "Guitar 2": guitar_2, "Bass": bass}
    used = {"Guitar 1": books[0], "Guitar 2": books[1], "Bass": ROOTS}
    return Section(name, chords, rows, used, words or {}, **more)



PATTERNS = {
    "roll": "q:b& e:4& e:3& e:2& q:3& e:2&",
    "high-roll": "e:3& e:2& e:1& e:2& e:3& e:2& e:1& e:2&",
    "climb": "e:3& e:2& e:1& e:2& e:3& e:2& q:1&",
    "rock": "e:b& e:4& e:3& e:2& e:3& e:4&",
    "strum": "q:* e:* e:* e:- e:* e:* e:*",
    "low-strum": "q:6543 e:543 e:543 e:- e:543 e:543 e:543",
    "steady": "q:6543 q:- q:543 q:543",
    "chop": "q.:* e:* e:- e:* q:*",
    "push": "q.:* e:* q:- e:- e:>~",
    "between": "e:- e:* e:* e:- e:- e:* q:*",
    "late": "q:- h.:*",
    "muted": "e:*! e:*! e:- e:*! e:*! e:- e:*! e:-",
    "heart": "q.:* e:* h:*",
    "eighths": "e:* e:* e:* e:* e:* e:* e:* e:*",
    "step-down": "e:* e:* e:* e:* e:* e:* e:G2 e:F2",
    "octave": "q.:* e:* q:* q:G2",
    "lilt": "q.:* q:* e:*",
}
HOOK = """@5 e:- e:D4 e:F4 e:G4 q.:Bb4 e:A4 | e:G4 q:F4 e:D4~ h:D4
    | e:- e:F4 e:G4 e:Bb4 q.:C5 e:Bb4 | e:A4 q:G4 e:F4~ h:F4"""
LOW_HOOK = """@3 e:- e:D3 e:F3 e:G3 q.:Bb3 e:A3 | e:G3 q:F3 e:D3~ h:D3
    | e:- e:F3 e:G3 e:Bb3 q.:C4 e:Bb3 | e:A3 q:G3 e:F3~ h:F3"""
CHORUS = "Bb | F/A | Ab | Eb/G | Cm7 | Gm | Eb | F"
CHORUS_TUNE = """q:D5 q.:C5 e:Bb4 q:F4 | e:- e:F4 q:A4 h:C5 | q:C5 q.:Bb4 e:Ab4 q:Eb4
    | e:- e:Eb4 q:G4 h:Bb4 | q:Bb4 q.:C5 e:Bb4 q:G4 | e:- e:G4 q:Bb4 h:D5
    | q:C5 q.:Bb4 e:G4 q:Bb4"""

SECTIONS = (
    four("Intro", "N.C. | . | . | .", (TRIADS, OPEN),
        "-", HOOK, LOW_HOOK, "-",
        {"Guitar 1": "hook, Guitar 2 an octave below", "Guitar 2": "capo 3, low octave"},
        tempo=102),
    four("Verse", "Gm | Gm/F | Eb | Bb/D | Cm7 | Gm | F | F7 | Eb | F", (PAIRS, OPEN),
        """e:- e:D4 q:G4 q:F4 e:D4 e:F4 | h:G4 q.:F4 e:D4 | e:- e:G4 e:G4 e:F4 q:G4 q:Bb4
        | q.:Bb4 e:G4 q:F4 q:- | e:- e:Eb4 q:G4 q:G4 e:F4 e:G4 | h:Bb4 q:G4 q:-
        | e:- e:F4 q:A4 q:C5 e:A4 e:F4 | q.:G4 e:F4 h:-
        | e:- e:G4 q:Bb4 q:C5 q:Bb4 | q.:A4 e:G4 h:F4""",
        """q:- h.:*~ | h.:* q:- | late | @10 h:* e:- e:D5^ q:F5 | late | h:* h:-
        | q.:* e:* h:* | @8 h:* e:- e:G4/ q:Bb4 | late | h.:* q:-""",
        "roll",
        "heart | heart | heart | heart | heart | octave | heart | heart | heart | heart",
        {"Guitar 2": "let ring"}, endings=(7, 9)),
    four("Pre-chorus 1", "Eb | F | Cm7 | F", (DRONE, OPEN),
        """e:- e:G4 q:Bb4 q:Bb4 e:C5 e:Bb4 | q.:C5 e:C5 h:F4
        | e:- e:G4 q:Bb4 q:C5 e:Bb4 e:G4 | h:C5 h:-""",
        "w:* | w:* | w:* | h.:* q:-", "h.:* q:*", "heart", {"Guitar 1": "keep the B flat"}),
    four("Chorus 1", CHORUS, (BARRE, OPEN),
        CHORUS_TUNE + "| q.:A4 e:G4 h:F4",
        "chop | chop | chop | chop | chop | chop | chop | q.:* e:* q:* q:-",
        "strum", "eighths"),
    four("Turnaround", "Bb | Eb | Gm | F", (TRIADS, OPEN),
        "-",
        """e:- e:* q:- h:* | e:- e:* q:- q:* q:-
        | @8 e:G4 e:Bb4 e:C5 e:D5 q:C5 q:Bb4 | q:A4 e:G4 e:F4 h:-""",
        """w:6543 | h.:543 q:-
        | @3 e:G4 e:Bb4 e:C5 s:- s:D5 q:C5 e:- e:Bb4 | q:A4 e:G4 e:F4 h:-""",
        "heart"),
    four("Verse 3", "Gm | F/A | Eb | Bb/D | Cm7 | F/A | Bb | F", (PAIRS, ALL_STRINGS),
        """e:- e:D4 q:G4 q:F4 e:D4 e:F4 | h:A4 q.:G4 e:F4 | e:- e:G4 e:G4 e:F4 q:G4 q:Bb4
        | q.:Bb4 e:G4 q:F4 q:- | e:- e:Eb4 q:G4 q:G4 e:F4 e:G4 | q.:A4 e:C5 h:A4
        | e:- e:F4 q:Bb4 q:D5 q:C5 | q.:C5 e:A4 h:F4""",
        "muted", "h.:* q:*", "heart",
        {"Guitar 1": "palm mute", "Guitar 2": "big strums, all the strings"}),
    four("Pre-chorus 2", "Eb | Fsus4 | Cm7 | F7", (DRONE, NO_THIRD),
        """e:- e:G4 q:Bb4 q:Bb4 e:C5 e:Bb4 | q.:C5 e:C5 h:Bb4
        | e:- e:G4 q:Bb4 q:C5 e:Bb4 e:G4 | h:C5 h:-""",
        "climb", "w:6543 | w:432 | w:6543 | w:432", "heart", {"Guitar 1": "let ring"}),
    four("Chorus 2", CHORUS, (TRIADS, NO_THIRD),
        CHORUS_TUNE + "| q.:A4 e:G4 h:F4",
        "push | push | push | push | push | chop | chop | chop",
        "steady",
        "eighths | eighths | eighths | eighths | eighths | step-down | eighths | eighths"),
    four("Instrumental", "Gm | Gm/F | Eb | Bb/D | Ab | Eb/G | Cm7 | F", (TRIADS, OPEN),
        "-",
        """@13 e:- e:F5/ q:G5 q:F5 q:D5 | @8 h:Bb4 e:C5^ e:D5 q:C5
        | q.:Bb4 e:G4 q:Bb4 q:Eb5 | h.:D5 q:- | @3 q.:Ab3 e:Eb3 h:Ab3
        | q.:G3 e:F3 q:Eb3 q:G3 | q.:G3 e:F3 h:Eb3 | q:F3 q:G3 h:A3""",
        "roll | roll | roll | roll | high-roll | high-roll | high-roll | high-roll",
        "heart",
        {"Guitar 1": "lead", "Guitar 2": "let ring"}),
    four("Bridge", "Eb | . | Dm7 | . | Cm7 | . | Gm | . | Ab | Eb/G | F | F7",
        (HIGH_TRIADS, OPEN),
        """q.:G4 q:F4 e:G4 | h.:Bb4 | q.:A4 q:G4 e:F4 | h.:A4 | q.:G4 q:F4 e:Eb4 | h.:G4
        | q.:D4 q:F4 e:G4 | q.:Bb4 q.:- | q.:C5 q:Bb4 e:Ab4 | q.:Bb4 q:G4 e:Eb4
        | q.:F4 q.:A4 | h.:C5""",
        """- | - | - | - | @10 h.:G5~ | h.:G5 | h.:D5~ | q.:D5 q.:F5
        | h.:* | h.:* | h.:A4+C5+F5 | h.:*""",
        "rock",
        """lilt | lilt | lilt | lilt | lilt | lilt | lilt | lilt | lilt | lilt | lilt
        | q.:* e:* e:G1 e:A1""",
        {"Guitar 1": "count four bars, then in", "Guitar 2": "let ring"}, tempo=96, beats=(6, 8)),
    four("Chorus 3", CHORUS, (HIGH_TRIADS, NO_THIRD),
        CHORUS_TUNE + "| w:C5",
        "between | between | between | between | between | between | between | e:- e:* e:* e:- h:-",
        "low-strum",
        "eighths | eighths | eighths | eighths | eighths | step-down | eighths | eighths",
        tempo=102),
    four("Tag", "Gm | Bb | Eb | F", (TRIADS, OPEN),
        "w:D5~ | h:D5 h:- | - | -", HOOK, LOW_HOOK, "heart",
        {"Guitar 1": "hook, Guitar 2 an octave below", "Guitar 2": "low octave"}),
    four("Outro", "Ebmaj7 | Cm7 | Fsus4 | Bb", (TRIADS, NO_THIRD),
        "-", "late | late | late | w:*", "w:6543 | w:6543 | w:432 | w:6543", "w:*"),
)
# fmt: on

SONG = Score(
    title="Low Water at Ferrystone",
    date="2026-11-25",
    fifths=-2,
    players=PLAYERS,
    sections=SECTIONS,
    patterns=PATTERNS,
    chords_above="Guitar 1",
)

if __name__ == "__main__":
    write_score(SONG, Path(__file__).with_name("low-water.musicxml"))
