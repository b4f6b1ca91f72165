"""Write the second demo song, last-bell.musicxml: fourteen guitar layers, voice, bass, drums.

Each section is rows of words, one for each layer that plays in it; ``score_words`` says how they
are read. What is planted where, and why, stands in README.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from score_words import BASS, GUITAR, Book, Player, Score, Section, X, write_score

ELECTRIC, ACOUSTIC = "pluck.guitar.electric", "pluck.guitar.acoustic"

# fmt: off
# name, sound, program, clef, pan, tuning, capo, instrument, volume
PLAYERS = (
    Player("Voice", "voice.vocals", 54, "G2", 0, volume=95),
    Player("Rhythm", ELECTRIC, 28, "G2", -40, GUITAR, 2, "Electric guitar, clean", 66),
    Player("Rhythm double", ELECTRIC, 28, "G2", 40, GUITAR, 2, "Electric guitar, clean", 58),
    Player("Hook", ELECTRIC, 30, "G2", 15, GUITAR, 0, "Electric guitar, overdriven", 76),
    Player("Hook octave", ELECTRIC, 30, "G2", -15, GUITAR, 0, "Electric guitar, overdriven", 58),
    Player("Pad", ELECTRIC, 28, "G2", 0, GUITAR, 0, "Electric guitar, clean", 42),
    Player("Echo", ELECTRIC, 28, "G2", 60, GUITAR, 0, "Electric guitar, clean", 56),
    Player("Fills", ELECTRIC, 28, "G2", -60, GUITAR, 0, "Electric guitar, clean", 62),
    Player("Power left", ELECTRIC, 31, "G2", -80, GUITAR, 0, "Electric guitar, distorted", 64),
    Player("Power right", ELECTRIC, 31, "G2", 80, GUITAR, 0, "Electric guitar, distorted", 62),
    Player("High picking", ELECTRIC, 28, "G2", 50, GUITAR, 0, "Electric guitar, clean", 54),
    Player("Pulse", ELECTRIC, 29, "G2", -30, GUITAR, 0, "Electric guitar, muted", 60),
    Player("Slide", ELECTRIC, 30, "G2", 30, GUITAR, 0, "Electric guitar, overdriven", 68),
    Player("Lead", ELECTRIC, 30, "G2", 0, GUITAR, 0, "Electric guitar, overdriven", 80),
    Player("Strum", ACOUSTIC, 26, "G2", -20, GUITAR, 0, "Acoustic guitar", 70),
    Player("Bass", "pluck.bass.electric", 34, "F4", 0, BASS, volume=82),
    Player("Drums", "", 1, "percussion", 0, volume=84),
)

# ---------------------------------------------------------------- shapes

OPEN: Book = {  # with the capo, the open shapes of G major sound in A major
    "A": (3, X, 0, 0, 0, 3), "A/C#": (X, 2, 0, 0, 0, 3), "Bm7": (X, 0, 2, 0, 1, 0),
    "D": (X, 3, 2, 0, 1, 0), "Dm": (X, 3, 1, 0, 1, X), "Dmaj7": (X, 3, 2, 0, 0, 0),
    "E": (X, X, 0, 2, 3, 2), "Esus4": (X, X, 0, 2, 3, 3), "F#m7": (0, 2, 2, 0, 3, 0),
}
HIGH: Book = {  # triads on the top three strings, all within four frets
    "A": (X, X, X, 14, 14, 12), "A/C#": (X, X, X, 14, 14, 12), "Bm7": (X, X, X, 14, 15, 14),
    "D": (X, X, X, 14, 15, 14), "Dm": (X, X, X, 14, 15, 13), "Dmaj7": (X, X, X, 14, 14, 14),
    "E": (X, X, X, 13, 12, 12), "Esus4": (X, X, X, 14, 12, 12), "F#m7": (X, X, X, 14, 14, 14),
}
MIDDLE: Book = {  # the same strings where a singer is
    "Bm7": (X, X, X, 7, 7, 7), "D": (X, X, X, 7, 7, 5), "E": (X, X, X, 9, 9, 7),
    "F#m7": (X, X, X, 6, 7, 5),
}
LOW: Book = {  # the acoustic guitar stays below the singer
    "A": (X, 0, 2, 2, 2, X), "A/C#": (X, 4, 2, 2, X, X), "Bm7": (X, 2, 4, 2, 3, X),
    "D": (X, 5, 4, 2, 3, X), "Dm": (X, 5, 3, 2, 3, X), "Dmaj7": (X, 5, 4, 2, 2, X),
    "E": (0, 2, 2, 1, 0, X), "Esus4": (0, 2, 2, 2, 0, X), "F#m7": (2, X, 2, 2, 2, X),
}
POWER: Book = {  # root, fifth and octave; over a C# in the bass fifth and root
    "A/C#": (X, X, 2, 2, X, X), "Bm7": (X, 2, 4, 4, X, X), "D": (X, X, 0, 2, 3, X),
    "E": (0, 2, 2, X, X, X), "Esus4": (0, 2, 2, X, X, X), "F#m7": (2, 4, 4, X, X, X),
}
THIRDS: Book = {  # two notes, a third apart
    "A/C#": (X, 4, 2, X, X, X), "Bm7": (X, 2, 0, X, X, X), "D": (X, 5, 4, X, X, X),
    "E": (X, 7, 6, X, X, X), "F#m7": (X, 9, 7, X, X, X),
}
PULSE: Book = {
    "A": "A2", "A/C#": "C#3", "Bm7": "B2", "C#m7": "C#3", "D": "D3", "Dmaj7": "D3", "E": "E2",
    "E7": "E2", "Esus4": "E2", "F#m7": "F#2", "G": "G2",
}
ROOTS: Book = {
    "A": "A1", "A/C#": "C#2", "Bm7": "B1", "C#m7": "C#2", "D": "D2", "Dm": "D2", "Dmaj7": "D2",
    "E": "E1", "E7": "E1", "Esus4": "E1", "F#m7": "F#1", "G": "G1",
}
BOOKS = {
    "Rhythm": OPEN, "Rhythm double": OPEN, "Echo": HIGH, "Power left": POWER,
    "Power right": POWER, "High picking": HIGH, "Pulse": PULSE, "Strum": LOW, "Bass": ROOTS,
}

# ---------------------------------------------------------------- the song

PATTERNS = {
    "strum": "q:65432 e:65432 e:65432 e:- e:65432 e:65432 e:65432",
    "strum-plain": "q:65432 e:65432 e:65432 e:- e:65432 q:65432",
    "low-strum": "q.:6543 e:6543 e:- e:6543 q:6543",
    "low-strum-plain": "q.:6543 e:6543 e:- e:6543 q:-",
    "steady": "q:65432 q:- q:65432 q:65432",
    "steady-plain": "q:65432 q:- h:65432",
    "brush": "q.:* e:* q:* e:- e:*",
    "pick": "e:3& e:2& e:1& e:2& e:3& e:2& e:1& e:2&",
    "between": "e:- q:321 q:321 q:321 e:321",
    "drops": "e:1 q:- e:2 q:- e:1 e:-",
    "pairs": "q.:21 q.:32 q:21",
    "patter": "e:1 e:2 e:- e:1 e:2 e:- e:1 e:2",
    "pulse": "e:b! e:b! e:b! e:b! e:b! e:b! e:b! e:b!",
    "hold": "h.:* q:*",
    "drive": "q.:* e:*! e:*! e:*! q:*",
    "heart": "q.:* e:* h:*",
    "eighths": "e:* e:* e:* e:* e:* e:* e:* e:*",
    "beat": "e:K+H e:H e:S+H e:H e:K+H e:K+H e:S+H e:H",
    "crash": "e:K+C e:H e:S+H e:H e:K+H e:K+H e:S+H e:H",
    "ride": "e:K+R e:R e:S+R e:R e:K+R e:K+R e:S+R e:R",
    "soft": "q:K q:H q:K q:H",
    "toms": "e:K+H e:H e:S+H e:H s:S s:S s:S s:S s:T s:T s:T s:T",
}
EIGHT_BEATS = "crash | beat | beat | beat | beat | beat | beat | toms"
VERSE = "A | A/C# | Dmaj7 | E | F#m7 | A/C# | D | Esus4"
LIFT = "Bm7 | D | F#m7 | E"
CHORUS = "D | A/C# | E | F#m7 | D | A/C# | Bm7 | E"
HOOK_ENDS = """e:- e:F#5 e:A5 e:F#5 q.:E5 e:D5 | q.:E5 e:C#5~ h:C#5
    | e:- e:D5 e:E5 e:F#5 q.:A5 e:F#5 | q.:G#5 e:E5~ h:E5"""
HOOK = """@14 e:- e:F#5 e:A5 e:F#5 q.:E5 e:D5 | q.:E5 e:C#5~ h:C#5
    | e:- e:E5 e:F#5 e:A5 q.:G#5 e:E5 | q.:F#5 e:C#5~ h:C#5 | """ + HOOK_ENDS
LOW_HOOK = "@4" + HOOK.removeprefix("@14").replace("5", "4")
LOW_HOOK_ENDS = HOOK_ENDS.replace("5", "4")
VERSE_TUNE = """e:- e:C#4 e:E4 e:E4 q:F#4 q:E4 | q.:C#4 e:E4 h:-
    | e:- e:D4 e:F#4 e:F#4 q:A4 q:F#4 | q.:G#4 e:F#4 q:E4 q:-
    | e:- e:C#4 e:E4 e:F#4 q:A4 q:B4 | q.:A4 e:E4 h:-
    | e:- e:F#4 e:A4 e:A4 q:B4 e:A4 e:F#4 | h:A4 q:B4 q:-"""
LIFT_TUNE = """e:- e:F#4 e:B4 e:B4 q:A4 q:F#4 | q.:A4 e:B4 q:A4 e:F#4 e:D4
    | e:- e:E4 e:A4 e:B4 q:C#5 q:A4 | q.:B4 e:C#5 h:B4"""
LAST_LINE = """q.:D5 e:E5 q:D5 q:A4 | q.:C#5 e:B4 h:A4 | e:- e:B4 q:D5 q:C#5 e:B4 e:A4"""
CHORUS_TUNE = """q.:D5 e:C#5 q:A4 q:F#4 | e:- e:E4 q:A4 h:C#5 | q.:B4 e:C#5 q:B4 q:G#4
    | e:- e:E4 q:A4 h:C#5 | """ + LAST_LINE + " | h.:B4 q:-"
DRONE = """@4 w:A3+E4~ | w:A3+E4 | w:B3+E4 | w:A3+E4~ | w:A3+E4~ | w:A3+E4 | w:B3+E4~ | w:B3+E4"""


def layered(
    name: str, chords: str, rows: Mapping[str, str], words: Mapping[str, str] | None = None,
    books: Mapping[str, Book] | None = None, **more: Any,
) -> Section:
    """A section in which the layers use their usual shapes, but for those in `books`."""
    return Section(name, chords, rows, {**BOOKS, **(books or {})}, words or {}, **more)


SECTIONS = (
    layered("Intro", CHORUS, {
        "Rhythm": "strum",
        "Hook": "- | - | - | - | @14 " + HOOK_ENDS,
        "Bass": "- | - | - | - | heart | heart | heart | heart",
        "Drums": "- | - | - | - | soft | soft | soft | soft",
    }, {"Rhythm": "capo 2", "Hook": "count four bars, then in", "Drums": "count four bars"},
        tempo=88),
    layered("Verse 1", VERSE, {
        "Voice": VERSE_TUNE,
        "Rhythm": "low-strum",
        "Rhythm double": """low-strum | low-strum-plain | low-strum | low-strum
            | low-strum | low-strum-plain | low-strum | low-strum-plain""",
        "Pulse": "- | - | - | - | pulse | pulse | pulse | pulse",
        "Echo": "drops | - | drops | drops | drops | - | drops | drops",
        "Fills": """- | @9 h:- e:E5 e:D5 e:C#5 e:A4 | - | - | - | @9 h:- e:C#5^ e:D5 e:E5 e:C#5
            | - | -""",
        "Bass": "heart",
        "Drums": "beat | beat | beat | beat | beat | beat | beat | toms",
    }, {"Rhythm double": "capo 2", "Echo": "echo: dotted eighth", "Fills": "between the lines",
        "Pulse": "palm mute"}),
    layered("Pre-chorus 1", LIFT, {
        "Voice": LIFT_TUNE,
        "Rhythm": "steady",
        "Rhythm double": "steady | steady-plain | steady | steady-plain",
        "Pulse": "pulse",
        "Echo": "pairs",
        "Bass": "heart",
        "Drums": "beat | beat | beat | toms",
    }, books={"Echo": MIDDLE}),
    layered("Chorus 1", CHORUS, {
        "Voice": CHORUS_TUNE,
        "Rhythm": "strum",
        "Rhythm double": """strum | strum | strum-plain | strum | strum | strum | strum-plain
            | strum-plain""",
        "Hook": HOOK,
        "Pad": DRONE,
        "Power left": "hold",
        "Bass": "eighths",
        "Drums": EIGHT_BEATS,
    }, {"Pad": "volume swells", "Power left": "let it stand"}),
    layered("Turnaround", "D | Dm | A | Esus4", {
        "Rhythm": "w:65432",
        "Rhythm double": "w:65432",
        "Echo": "patter",
        "Fills": """@9 e:D5 e:F#5 e:E5 e:D5 e:A4 e:D5 q:E5 | e:F5 e:E5 e:D5 e:A4 q.:F5 e:E5
            | e:E5 e:C#5 e:A4 e:C#5 q:E5 q:A4 | e:A4 e:B4 e:C#5 e:B4 h:A4""",
        "Bass": "heart",
        "Drums": "beat | beat | beat | toms",
    }),
    layered("Verse 2", VERSE, {
        "Voice": VERSE_TUNE,
        "Strum": "brush",
        "High picking": "pick",
        "Bass": "w:*",
        "Drums": "- | - | - | - | soft | soft | soft | soft",
    }, {"Strum": "quiet", "High picking": "let ring", "Drums": "count four bars"}),
    layered("Pre-chorus 2", LIFT, {
        "Voice": LIFT_TUNE,
        "Strum": "brush",
        "High picking": "pick",
        "Pulse": "pulse",
        "Bass": "heart",
        "Drums": "beat | beat | beat | toms",
    }),
    layered("Chorus 2", CHORUS, {
        "Voice": CHORUS_TUNE,
        "Rhythm": "strum",
        "Rhythm double": """strum | strum-plain | strum | strum | strum | strum-plain | strum
            | strum""",
        "Hook": HOOK,
        "Hook octave": LOW_HOOK,
        "Pad": DRONE,
        "Power left": "drive",
        "Power right": "hold",
        "Bass": "eighths",
        "Drums": EIGHT_BEATS,
    }, {"Hook octave": "with the hook"}, {"Power right": THIRDS}),
    layered("Bridge", "F#m7 | C#m7 | D | A | Bm7 | G | Esus4 | E7", {
        "Voice": """q.:A4 e:B4 h:C#5 | h:G#4 h:- | q.:A4 e:B4 q:C#5 q:A4 | h:A4 h:-
            | q.:B4 e:C#5 h:D5 | h:B4 h:- | q.:E5 e:D5 q:B4 q:A4 | h.:B4 q:-""",
        "Pad": """@4 w:A3+E4 | @4 w:B3+E4 | w:A3+E4~ | w:A3+E4 | w:B3+D4~ | w:B3+D4
            | w:B3+E4~ | w:B3+E4""",
        "Pulse": "pulse",
        "Slide": """- | @5 h:- e:B4 e:C#5/ q:E5 | - | h:- e:A4/ e:C#5 q:E5 | -
            | h:- e:B4/ e:D5 q:G5 | - | q:- e:E5/ e:G#5 h:B5""",
        "Bass": "w:* | w:* | w:* | w:* | heart | heart | heart | heart",
        "Drums": "soft | soft | soft | soft | ride | ride | ride | toms",
    }, {"Slide": "answer the voice"}),
    layered("Instrumental", "A | A/C# | Dmaj7 | E | F#m7 | A/C# | D | E", {
        "Rhythm": "strum",
        "Rhythm double": """strum | strum-plain | strum | strum | strum | strum-plain | strum
            | strum""",
        "Lead": """@12 q.:E5 e:F#5 q:A5 q:E5 | q.:C#5 e:B4 h:C#5 | e:- e:D5 e:E5 e:F#5 q:A5 q:F#5
            | q.:G#5 e:F#5 h:E5 | e:- e:A5 e:A5 e:G#5 q:F#5 q:E5 | e:C#5 e:E5 q:C#5 h:A4
            | @14 e:- e:D5^ e:E5 e:F#5 q:A5 q:B5~ | h.:B5 q:-""",
        "High picking": "pick",
        "Bass": "eighths",
        "Drums": EIGHT_BEATS,
    }),
    layered("Chorus 3", CHORUS, {
        "Voice": CHORUS_TUNE,
        "Rhythm": "strum",
        "Rhythm double": """strum | strum | strum | strum-plain | strum | strum | strum
            | strum-plain""",
        "Hook": HOOK,
        "Hook octave": LOW_HOOK,
        "Pad": DRONE,
        "Power left": "drive",
        "Power right": "drive",
        "High picking": "between",
        "Pulse": "pulse",
        "Bass": "eighths",
        "Drums": EIGHT_BEATS,
    }, {"High picking": "now strummed, between the beats"}),
    layered("Tag", "D | A/C# | Bm7 | E | Esus4", {
        "Voice": LAST_LINE + " | h.:B4 q:- | w:A4",
        "Rhythm": "strum | strum | strum | strum | w:65432",
        "Rhythm double": "strum | strum | strum | strum-plain | w:65432",
        "Hook": "@14 " + HOOK_ENDS + " | w:E5",
        "Hook octave": "@4 " + LOW_HOOK_ENDS + " | w:E4",
        "Power left": "hold | hold | hold | hold | w:*",
        "Bass": "eighths | eighths | eighths | eighths | w:*",
        "Drums": "crash | beat | beat | toms | w:K+C",
    }, endings=(4, 5)),
    layered("Outro", "Dmaj7 | Dm | A | A", {
        "Strum": "w:* | w:* | brush | w:*",
        "High picking": "pick | pick | pick | w:321",
        "Pad": "@5 w:A3+E4 | w:A3+D4 | w:A3+E4~ | w:A3+E4",
        "Fills": "- | - | @9 h:- e:E5 e:D5 e:C#5 e:A4 | -",
        "Bass": "w:*",
    }),
)
# fmt: on

SONG = Score(
    title="Ten Past the Last Bell",
    date="2026-11-26",
    fifths=3,
    players=PLAYERS,
    sections=SECTIONS,
    patterns=PATTERNS,
    chords_above="Rhythm",
)

if __name__ == "__main__":
    write_score(SONG, Path(__file__).with_name("last-bell.musicxml"))
