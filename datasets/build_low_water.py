"""Write the demo song, low-water.musicxml: a singer, two guitars and a bass.

The first half of this file describes the song, the second half turns it into MusicXML.
Bars stand between ``|``; one bar written alone is played through the whole section. A bar is
a row of words, and a word with a colon sounds, ``length:what``:

* length: ``w h q e s`` (whole to sixteenth), with a dot where it is dotted
* what: ``*`` the whole shape, ``b`` its lowest string, ``321`` these strings of it, ``>`` the
  shape of the next bar, ``C5`` or ``C5+E5`` sounding notes, ``-`` a rest
* after it: ``~`` tie, ``&`` let ring, ``!`` palm mute, ``/`` slide and ``^`` hammer-on to the next

``@8`` puts the hand at the eighth fret, a lone ``-`` is a bar of rest, any other word is one of
``PATTERNS``. The shape is that of the bar's chord in the player's book for the section. Shapes
are fret by fret from the low string up, counted from the capo.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

TITLE = "Low Water at Ferrystone"
DIVISIONS = 4  # a sixteenth is 1
X = None  # a string left out
Book = Mapping[str, tuple[int | None, ...] | str]


@dataclass(frozen=True)
class Player:
    """One part. ``tuning`` is what the open strings sound, highest string first."""

    name: str
    sound: str
    program: int
    clef: str
    pan: int = 0
    tuning: tuple[str, ...] = ()
    capo: int = 0


@dataclass(frozen=True)
class Section:
    """One stretch of the form: a chord for each bar, and what the four players do."""

    name: str
    chords: str
    books: tuple[Book, Book]  # guitar 1, guitar 2
    voice: str
    guitar_1: str
    guitar_2: str
    bass: str
    words: Mapping[str, str] = field(default_factory=dict)  # told to a player at the start
    tempo: int = 0  # quarter notes a minute, where it changes
    beats: tuple[int, int] = (4, 4)
    endings: tuple[int, int] = (0, 0)  # the bars where the first and second ending start


GUITAR = ("E4", "B3", "G3", "D3", "A2", "E2")
PLAYERS = (
    Player("Voice", "voice.vocals", 53, "G2"),
    Player("Guitar 1", "pluck.guitar.electric", 28, "G2", -45, GUITAR),
    Player("Guitar 2", "pluck.guitar.electric", 28, "G2", 45, GUITAR, capo=3),
    Player("Bass", "pluck.bass.electric", 34, "F4", 0, ("G2", "D2", "A1", "E1")),
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

SONG = (
    Section("Intro", "N.C. | . | . | .", (TRIADS, OPEN),
        "-", HOOK, LOW_HOOK, "-",
        {"Guitar 1": "hook, Guitar 2 an octave below", "Guitar 2": "capo 3, low octave"}, 102),
    Section("Verse", "Gm | Gm/F | Eb | Bb/D | Cm7 | Gm | F | F7 | Eb | F", (PAIRS, OPEN),
        """e:- e:D4 q:G4 q:F4 e:D4 e:F4 | h:G4 q.:F4 e:D4 | e:- e:G4 e:G4 e:F4 q:G4 q:Bb4
        | q.:Bb4 e:G4 q:F4 q:- | e:- e:Eb4 q:G4 q:G4 e:F4 e:G4 | h:Bb4 q:G4 q:-
        | e:- e:F4 q:A4 q:C5 e:A4 e:F4 | q.:G4 e:F4 h:-
        | e:- e:G4 q:Bb4 q:C5 q:Bb4 | q.:A4 e:G4 h:F4""",
        """q:- h.:*~ | h.:* q:- | late | @10 h:* e:- e:D5^ q:F5 | late | h:* h:-
        | q.:* e:* h:* | @8 h:* e:- e:G4/ q:Bb4 | late | h.:* q:-""",
        "roll",
        "heart | heart | heart | heart | heart | octave | heart | heart | heart | heart",
        {"Guitar 2": "let ring"}, endings=(7, 9)),
    Section("Pre-chorus 1", "Eb | F | Cm7 | F", (DRONE, OPEN),
        """e:- e:G4 q:Bb4 q:Bb4 e:C5 e:Bb4 | q.:C5 e:C5 h:F4
        | e:- e:G4 q:Bb4 q:C5 e:Bb4 e:G4 | h:C5 h:-""",
        "w:* | w:* | w:* | h.:* q:-", "h.:* q:*", "heart", {"Guitar 1": "keep the B flat"}),
    Section("Chorus 1", CHORUS, (BARRE, OPEN),
        CHORUS_TUNE + "| q.:A4 e:G4 h:F4",
        "chop | chop | chop | chop | chop | chop | chop | q.:* e:* q:* q:-",
        "strum", "eighths"),
    Section("Turnaround", "Bb | Eb | Gm | F", (TRIADS, OPEN),
        "-",
        """e:- e:* q:- h:* | e:- e:* q:- q:* q:-
        | @8 e:G4 e:Bb4 e:C5 e:D5 q:C5 q:Bb4 | q:A4 e:G4 e:F4 h:-""",
        """w:6543 | h.:543 q:-
        | @3 e:G4 e:Bb4 e:C5 s:- s:D5 q:C5 e:- e:Bb4 | q:A4 e:G4 e:F4 h:-""",
        "heart"),
    Section("Verse 3", "Gm | F/A | Eb | Bb/D | Cm7 | F/A | Bb | F", (PAIRS, ALL_STRINGS),
        """e:- e:D4 q:G4 q:F4 e:D4 e:F4 | h:A4 q.:G4 e:F4 | e:- e:G4 e:G4 e:F4 q:G4 q:Bb4
        | q.:Bb4 e:G4 q:F4 q:- | e:- e:Eb4 q:G4 q:G4 e:F4 e:G4 | q.:A4 e:C5 h:A4
        | e:- e:F4 q:Bb4 q:D5 q:C5 | q.:C5 e:A4 h:F4""",
        "muted", "h.:* q:*", "heart",
        {"Guitar 1": "palm mute", "Guitar 2": "big strums, all the strings"}),
    Section("Pre-chorus 2", "Eb | Fsus4 | Cm7 | F7", (DRONE, NO_THIRD),
        """e:- e:G4 q:Bb4 q:Bb4 e:C5 e:Bb4 | q.:C5 e:C5 h:Bb4
        | e:- e:G4 q:Bb4 q:C5 e:Bb4 e:G4 | h:C5 h:-""",
        "climb", "w:6543 | w:432 | w:6543 | w:432", "heart", {"Guitar 1": "let ring"}),
    Section("Chorus 2", CHORUS, (TRIADS, NO_THIRD),
        CHORUS_TUNE + "| q.:A4 e:G4 h:F4",
        "push | push | push | push | push | chop | chop | chop",
        "steady",
        "eighths | eighths | eighths | eighths | eighths | step-down | eighths | eighths"),
    Section("Instrumental", "Gm | Gm/F | Eb | Bb/D | Ab | Eb/G | Cm7 | F", (TRIADS, OPEN),
        "-",
        """@13 e:- e:F5/ q:G5 q:F5 q:D5 | @8 h:Bb4 e:C5^ e:D5 q:C5
        | q.:Bb4 e:G4 q:Bb4 q:Eb5 | h.:D5 q:- | @3 q.:Ab3 e:Eb3 h:Ab3
        | q.:G3 e:F3 q:Eb3 q:G3 | q.:G3 e:F3 h:Eb3 | q:F3 q:G3 h:A3""",
        "roll | roll | roll | roll | high-roll | high-roll | high-roll | high-roll",
        "heart",
        {"Guitar 1": "lead", "Guitar 2": "let ring"}),
    Section("Bridge", "Eb | . | Dm7 | . | Cm7 | . | Gm | . | Ab | Eb/G | F | F7",
        (HIGH_TRIADS, OPEN),
        """q.:G4 q:F4 e:G4 | h.:Bb4 | q.:A4 q:G4 e:F4 | h.:A4 | q.:G4 q:F4 e:Eb4 | h.:G4
        | q.:D4 q:F4 e:G4 | q.:Bb4 q.:- | q.:C5 q:Bb4 e:Ab4 | q.:Bb4 q:G4 e:Eb4
        | q.:F4 q.:A4 | h.:C5""",
        """- | - | - | - | @10 h.:G5~ | h.:G5 | h.:D5~ | q.:D5 q.:F5
        | h.:* | h.:* | h.:A4+C5+F5 | h.:*""",
        "rock",
        """lilt | lilt | lilt | lilt | lilt | lilt | lilt | lilt | lilt | lilt | lilt
        | q.:* e:* e:G1 e:A1""",
        {"Guitar 1": "count four bars, then in", "Guitar 2": "let ring"}, 96, (6, 8)),
    Section("Chorus 3", CHORUS, (HIGH_TRIADS, NO_THIRD),
        CHORUS_TUNE + "| w:C5",
        "between | between | between | between | between | between | between | e:- e:* e:* e:- h:-",
        "low-strum",
        "eighths | eighths | eighths | eighths | eighths | step-down | eighths | eighths",
        tempo=102),
    Section("Tag", "Gm | Bb | Eb | F", (TRIADS, OPEN),
        "w:D5~ | h:D5 h:- | - | -", HOOK, LOW_HOOK, "heart",
        {"Guitar 1": "hook, Guitar 2 an octave below", "Guitar 2": "low octave"}),
    Section("Outro", "Ebmaj7 | Cm7 | Fsus4 | Bb", (TRIADS, NO_THIRD),
        "-", "late | late | late | w:*", "w:6543 | w:6543 | w:432 | w:6543", "w:*"),
)
# fmt: on

# ---------------------------------------------------------------- from words to notes

LENGTHS = {"w": 16, "h": 8, "q": 4, "e": 2, "s": 1}
TYPES = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "16th"}
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SPELLING = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
KINDS = {"": "major", "m": "minor", "7": "dominant", "m7": "minor-seventh"}
KINDS |= {"maj7": "major-seventh", "sus4": "suspended-fourth"}
WORD = re.compile(r"([whqes]\.?):([*b>-]|[1-6]+|[A-G]b?\d(?:\+[A-G]b?\d)*)([~&!/^]*)")


class Tone(NamedTuple):
    """A sounding pitch, its string (0 for a singer) and its fret counted from the capo."""

    pitch: int
    string: int
    fret: int


class Event(NamedTuple):
    """Tones struck together, or none for a rest, and the marks written after them."""

    kind: str
    tones: tuple[Tone, ...]
    marks: str

    @property
    def length(self) -> int:
        """Length in divisions."""
        return LENGTHS[self.kind[0]] * (3 if "." in self.kind else 2) // 2


def pitch_of(name: str) -> int:
    """Return the MIDI number of a note name: C4 is 60."""
    return 12 * int(name[-1]) + 12 + STEPS[name[0]] - name.count("b")


def placed(names: str, player: Player, hand: int) -> tuple[Tone, ...]:
    """Find a string for each note, top note first: the lowest fret from the hand upward."""
    tones: list[Tone] = []
    for pitch in sorted(map(pitch_of, names.split("+")), reverse=True):
        taken = tones[-1].string if tones else 0
        places = [(pitch - pitch_of(name), s) for s, name in enumerate(player.tuning, start=1)]
        fret, string = min(((f, s) for f, s in places if f >= hand and s > taken), default=(0, 0))
        if player.tuning and not string:
            raise ValueError(f"{player.name} has no string for {names} from fret {hand} up")
        tones.append(Tone(pitch, string, fret - player.capo if string else 0))
    return tuple(tones)


def shape_of(chord: str, book: Book, player: Player) -> tuple[Tone, ...]:
    """Return a chord's tones as the player's book has it, top string first."""
    frets = book.get(chord, ())
    if isinstance(frets, str):
        return placed(frets, player, 0)
    strings = enumerate(zip(player.tuning, frets[::-1], strict=False), start=1)
    return tuple(
        Tone(pitch_of(open_string) + player.capo + fret, string, fret)
        for string, (open_string, fret) in strings
        if fret is not None
    )


def event_of(
    word: str, shapes: list[tuple[Tone, ...]], bar: int, player: Player, hand: int
) -> Event:
    """Turn one ``length:what`` word of a bar into an event."""
    match = WORD.fullmatch(word)
    if match is None:
        raise ValueError(f"{player.name}, bar {bar + 1}: no word {word!r}")
    kind, what, marks = match.groups()
    if what == "-":
        return Event(kind, (), marks)
    if what[0] in STEPS:
        return Event(kind, placed(what, player, hand), marks)
    tones = shapes[bar + 1] if what == ">" else shapes[bar]
    if what == "b":
        tones = tones[-1:]
    elif what.isdigit():
        tones = tuple(tone for tone in tones if str(tone.string) in what)
    if not tones:
        raise ValueError(f"{player.name}, bar {bar + 1}: {word!r} finds nothing to play")
    return Event(kind, tones, marks)


def full_bar(section: Section) -> int:
    """Return the length of a bar in divisions."""
    return section.beats[0] * 4 * DIVISIONS // section.beats[1]


def chords_of(section: Section) -> list[str]:
    """Return the chord symbol of each bar; a dot stays as it is: no change."""
    return [chord.strip() for chord in section.chords.split("|")]


def bars_of(section: Section, player: Player) -> list[list[Event]]:
    """Return what a player does in each bar of a section; an empty bar is a rest."""
    book, text = {
        "Voice": ({}, section.voice),
        "Guitar 1": (section.books[0], section.guitar_1),
        "Guitar 2": (section.books[1], section.guitar_2),
        "Bass": (ROOTS, section.bass),
    }[player.name]
    shapes: list[tuple[Tone, ...]] = []
    for chord in chords_of(section):
        shapes.append(shapes[-1] if chord == "." else shape_of(chord, book, player))
    texts = text.split("|") if "|" in text else [text] * len(shapes)
    bars: list[list[Event]] = []
    hand = 0
    for bar, _ in zip(texts, shapes, strict=True):
        events: list[Event] = []
        for word in " ".join(PATTERNS.get(word, word) for word in bar.split()).split():
            if word[0] == "@":
                hand = int(word[1:])
            elif word != "-":
                events.append(event_of(word, shapes, len(bars), player, hand))
        if events and sum(event.length for event in events) != full_bar(section):
            raise ValueError(f"{section.name}, {player.name}, bar {len(bars) + 1} is not full")
        bars.append(events)
    return bars


# ---------------------------------------------------------------- from notes to MusicXML

ON_A_NEW_LINE = {"work", "identification", "part-list", "score-part", "part", "measure"}
ON_A_NEW_LINE |= {"barline", "attributes", "direction", "harmony", "note"}


def tag(name: str, *inside: object, **attributes: object) -> str:
    """Write an element, one line for each note, direction and so on."""
    start = name + "".join(f' {key}="{value}"' for key, value in attributes.items())
    text = "".join(map(str, inside))
    element = f"<{start}>{text}</{name}>" if text else f"<{start}/>"
    return "\n" + element if name in ON_A_NEW_LINE else element


def note_name(name: str, prefix: str = "") -> str:
    """Write a note name as step and, if it is flat, alter."""
    return tag(prefix + "step", name[0]) + (tag(prefix + "alter", -1) if "b" in name else "")


def harmony(symbol: str) -> str:
    """Write a chord symbol such as Cm7, F/A or N.C."""
    if symbol == "N.C.":
        root = tag("root", tag("root-step", "C", text=""))
        return tag("harmony", root, tag("kind", "none", text=symbol))
    chord, _, bass = symbol.partition("/")
    root = chord[: 2 if chord[1:2] == "b" else 1]
    kind = chord.removeprefix(root)
    under = tag("bass", note_name(bass, "bass-")) if bass else ""
    named = tag("root", note_name(root, "root-"))
    return tag("harmony", named, tag("kind", KINDS[kind], text=kind), under)


def notes(event: Event, before: Event, player: Player) -> str:
    """Write the notes of an event; the marks of the event before may end here."""

    def ends(mark: str) -> list[str]:
        pairs = (("stop", before), ("start", event))
        return [end for end, marked in pairs if mark in marked.marks]

    same_strings = [t.string for t in before.tones] == [t.string for t in event.tones]
    if ("~" in before.marks and before.tones != event.tones) or (
        set(before.marks) & set("/^") and not same_strings
    ):
        raise ValueError(f"{player.name}: {before} cannot lead to {event}")
    length = tag("duration", event.length)
    timing = tag("voice", 1) + tag("type", TYPES[event.kind[0]])
    timing += tag("dot") if "." in event.kind else ""
    if not event.tones:
        return tag("note", tag("rest"), length, timing)
    ties = "".join(tag("tie", type=end) for end in ends("~"))
    signs = "".join(tag("tied", type=end) for end in ends("~"))
    signs += tag("tied", type="let-ring") if "&" in event.marks else ""
    signs += "".join(tag("slide", type=end) for end in ends("/"))
    hammers = "".join(tag("hammer-on", type=end) for end in ends("^"))
    play = tag("play", tag("mute", "palm")) if "!" in event.marks else ""
    text = ""
    for tone in reversed(event.tones):
        written = tone.pitch + (12 if player.tuning else 0)
        octave = tag("octave", written // 12 - 1)
        pitch = tag("chord") * bool(text) + tag("pitch", note_name(SPELLING[written % 12]), octave)
        fretted = tag("string", tone.string) + tag("fret", tone.fret) + hammers
        notations = signs + (tag("technical", fretted) if player.tuning else "")
        marked = tag("notations", notations) if notations else ""
        text += tag("note", pitch, length, ties, timing, marked, play)
    return text


def attributes(section: Section, player: Player, first: bool) -> str:
    """Write the meter and, in the first measure, a part's key, clef, strings and capo."""
    time = tag("time", tag("beats", section.beats[0]), tag("beat-type", section.beats[1]))
    if not first:
        return tag("attributes", time)
    text = tag("divisions", DIVISIONS) + tag("key", tag("fifths", -2)) + time
    text += tag("clef", tag("sign", player.clef[0]), tag("line", player.clef[1]))
    if player.tuning:
        strings = tag("staff-lines", len(player.tuning))
        for line, name in enumerate(reversed(player.tuning), start=1):
            tuning = tag("tuning-step", name[0]) + tag("tuning-octave", name[1])
            strings += tag("staff-tuning", tuning, line=line)
        text += tag("staff-details", strings, tag("capo", player.capo) if player.capo else "")
        down = tag("diatonic", 0) + tag("chromatic", 0) + tag("octave-change", -1)
        text += tag("transpose", down)
    return tag("attributes", text)


def directions(section: Section, player: Player) -> str:
    """Write a section's name and tempo above the first part, and words to the player."""
    above: list[str] = []
    if player is PLAYERS[0]:
        above.append(tag("direction-type", tag("rehearsal", section.name)))
    if player is PLAYERS[0] and section.tempo:
        compound = section.beats[1] == 8  # the beat of 6/8 is a dotted quarter
        beat = tag("beat-unit", "quarter") + tag("beat-unit-dot") * compound
        minute = tag("per-minute", section.tempo * 2 // 3 if compound else section.tempo)
        metronome = tag("direction-type", tag("metronome", beat, minute))
        above.append(metronome + tag("sound", tempo=section.tempo))
    if player.name in section.words:
        above.append(tag("direction-type", tag("words", section.words[player.name])))
    return "".join(tag("direction", text, placement="above") for text in above)


def barlines(section: Section, bar: int) -> tuple[str, str]:
    """Write the left and right bar line of a bar (from 1): repeat, endings, double bar."""
    left = right = ""
    if any(section.endings) and bar == 1:
        left = tag("bar-style", "heavy-light") + tag("repeat", direction="forward")
    if bar in section.endings:
        number = section.endings.index(bar) + 1
        left = tag("ending", f"{number}.", number=number, type="start")
    if bar == section.endings[1] - 1:
        right = tag("bar-style", "light-heavy") + tag("ending", number=1, type="stop")
        right += tag("repeat", direction="backward")
    elif bar == len(chords_of(section)):
        right = tag("bar-style", "light-heavy" if section is SONG[-1] else "light-light")
        right += tag("ending", number=2, type="discontinue") if any(section.endings) else ""
    return (
        tag("barline", left, location="left") if left else "",
        tag("barline", right, location="right") if right else "",
    )


def part(player: Player, label: str) -> str:
    """Write one player's measures."""
    measures: list[str] = []
    before = Event("w", (), "")
    for section in SONG:
        pairs = zip(bars_of(section, player), chords_of(section), strict=True)
        for bar, (events, chord) in enumerate(pairs, start=1):
            left, right = barlines(section, bar)
            text = left
            if bar == 1:
                text += attributes(section, player, not measures) if section.tempo else ""
                text += directions(section, player)
            text += harmony(chord) if player.name == "Guitar 1" and chord != "." else ""
            if not events:
                length = tag("duration", full_bar(section))
                text += tag("note", tag("rest", measure="yes"), length, tag("voice", 1))
            for event in events:
                text += notes(event, before, player)
                before = event
            measures.append(tag("measure", text, right, number=len(measures) + 1))
    return tag("part", *measures, id=label)


def score() -> str:
    """Write the whole score."""
    listed = parts = ""
    for number, player in enumerate(PLAYERS, start=1):
        label, instrument = f"P{number}", f"P{number}-I1"
        sound = tag("instrument-name", player.name) + tag("instrument-sound", player.sound)
        midi = tag("midi-channel", number) + tag("midi-program", player.program)
        midi += tag("pan", player.pan)
        sounds = tag("score-instrument", sound, id=instrument)
        sounds += tag("midi-instrument", midi, id=instrument)
        listed += tag("score-part", tag("part-name", player.name), sounds, id=label)
        parts += part(player, label)
    work = tag("work", tag("work-title", TITLE))
    dated = tag("identification", tag("encoding", tag("encoding-date", "2026-11-25")))
    song = tag("score-partwise", work, dated, tag("part-list", listed), parts, version="4.0")
    return f"{PROLOG}{song}\n"


PROLOG = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"
  "http://www.musicxml.org/dtds/partwise.dtd">
"""


def played_out() -> tuple[int, int, float]:
    """Return measures as printed, measures as played, and the seconds that takes."""
    printed = played = tempo = 0
    seconds = 0.0
    for section in SONG:
        tempo = section.tempo or tempo
        bars = len(chords_of(section))
        twice = max(section.endings[0] - 1, 0)  # the bars before the first ending
        printed, played = printed + bars, played + bars + twice
        seconds += (bars + twice) * full_bar(section) / DIVISIONS * 60 / tempo
    return printed, played, seconds


if __name__ == "__main__":
    target = Path(__file__).with_name("low-water.musicxml")
    target.write_text(score(), encoding="utf-8", newline="\n")
    measures, bars, time = played_out()
    print(f"{target.name}: {measures} measures printed, {bars} played, {time:.1f} seconds")
