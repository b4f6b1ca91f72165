"""A song as rows of words, and from there to MusicXML: what the builders of the demo songs share.

Bars stand between ``|``; one bar written alone is played through the whole section. A bar is
a row of words, and a word with a colon sounds, ``length:what``:

* length: ``w h q e s`` (whole to sixteenth), with a dot where it is dotted
* what: ``*`` the whole shape, ``b`` its lowest string, ``321`` these strings of it, ``>`` the
  shape of the next bar, ``C5`` or ``C5+E5`` sounding notes, ``K+H`` strokes on a drum kit
  (``KIT``), ``-`` a rest
* after it: ``~`` tie, ``&`` let ring, ``!`` palm mute, ``/`` slide and ``^`` hammer-on to the next

``@8`` puts the hand at the eighth fret, a lone ``-`` is a bar of rest, any other word is one of
the score's patterns. The shape is that of the bar's chord in the player's book for the section.
Shapes are fret by fret from the low string up, counted from the capo.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

DIVISIONS = 4  # a sixteenth is 1
X = None  # a string left out
Book = Mapping[str, tuple[int | None, ...] | str]
GUITAR = ("E4", "B3", "G3", "D3", "A2", "E2")
BASS = ("G2", "D2", "A1", "E1")


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
    instrument: str = ""  # its name, if not the part's
    volume: int = 0  # percent of the loudest a part can be, 0 if not given


@dataclass(frozen=True)
class Section:
    """One stretch of the form: a chord for each bar, and what each player does, by name.

    A player who is not named rests.
    """

    name: str
    chords: str
    rows: Mapping[str, str]
    books: Mapping[str, Book]
    words: Mapping[str, str] = field(default_factory=dict)  # directions to a player at the start
    tempo: int = 0  # quarter notes a minute, where it changes
    beats: tuple[int, int] = (4, 4)
    endings: tuple[int, int] = (0, 0)  # the bars where the first and second ending start


@dataclass(frozen=True)
class Score:
    """A whole song. ``chords_above`` names the player who has the chord symbols."""

    title: str
    date: str
    fifths: int  # sharps of the key, flats below 0
    players: tuple[Player, ...]
    sections: tuple[Section, ...]
    patterns: Mapping[str, str]
    chords_above: str


# ---------------------------------------------------------------- from words to notes

LENGTHS = {"w": 16, "h": 8, "q": 4, "e": 2, "s": 1}
TYPES = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "16th"}
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
FLATS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
SHARPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
KINDS = {"": "major", "m": "minor", "7": "dominant", "m7": "minor-seventh"}
KINDS |= {"maj7": "major-seventh", "sus4": "suspended-fourth"}
# Drums and cymbals: name, General MIDI key, line or space in the staff (common practice), and
# whether the head is a cross.
KIT = {
    "K": ("bass drum", 36, "F4", False), "S": ("snare drum", 38, "C5", False),
    "H": ("hi-hat", 42, "G5", True), "R": ("ride cymbal", 51, "F5", True),
    "C": ("crash cymbal", 49, "A5", True), "T": ("floor tom", 43, "A4", False),
}  # fmt: skip
WORD = re.compile(
    r"([whqes]\.?):([*b>-]|[1-6]+|[A-G][b#]?\d(?:\+[A-G][b#]?\d)*|[KSHRCT](?:\+[KSHRCT])*)([~&!/^]*)"
)


class Tone(NamedTuple):
    """A sounding pitch, its string (0 for a singer) and its fret counted from the capo.

    Of a stroke without pitch, `drum` is the sign in ``KIT``.
    """

    pitch: int
    string: int
    fret: int
    drum: str = ""


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
    return 12 * int(name[-1]) + 12 + STEPS[name[0]] + name.count("#") - name.count("b")


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
    if player.clef == "percussion":
        drums = what.split("+")
        return Event(kind, tuple(Tone(pitch_of(KIT[d][2]), 0, 0, d) for d in drums), marks)
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


def bars_of(score: Score, section: Section, player: Player) -> list[list[Event]]:
    """Return what a player does in each bar of a section; an empty bar is a rest."""
    book, text = section.books.get(player.name, {}), section.rows.get(player.name, "-")
    shapes: list[tuple[Tone, ...]] = []
    for chord in chords_of(section):
        shapes.append(shapes[-1] if chord == "." else shape_of(chord, book, player))
    texts = text.split("|") if "|" in text else [text] * len(shapes)
    bars: list[list[Event]] = []
    hand = 0
    for bar, _ in zip(texts, shapes, strict=True):
        events: list[Event] = []
        for word in " ".join(score.patterns.get(word, word) for word in bar.split()).split():
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
    """Write a note name as step and, if it is sharp or flat, alter."""
    alter = name.count("#") - name.count("b")
    return tag(prefix + "step", name[0]) + (tag(prefix + "alter", alter) if alter else "")


def harmony(symbol: str) -> str:
    """Write a chord symbol such as Cm7, F/A or N.C."""
    if symbol == "N.C.":
        root = tag("root", tag("root-step", "C", text=""))
        return tag("harmony", root, tag("kind", "none", text=symbol))
    chord, _, bass = symbol.partition("/")
    root = chord[: 2 if chord[1:2] in ("b", "#") else 1]
    kind = chord.removeprefix(root)
    under = tag("bass", note_name(bass, "bass-")) if bass else ""
    named = tag("root", note_name(root, "root-"))
    return tag("harmony", named, tag("kind", KINDS[kind], text=kind), under)


def notes(score: Score, event: Event, before: Event, player: Player) -> str:
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
        chord = tag("chord") * bool(text)
        if tone.drum:
            text += tag("note", chord, stroke(score, tone, length, timing))
            continue
        written = tone.pitch + (12 if player.tuning else 0)
        name = note_name((SHARPS if score.fifths > 0 else FLATS)[written % 12])
        pitch = chord + tag("pitch", name, tag("octave", written // 12 - 1))
        fretted = tag("string", tone.string) + tag("fret", tone.fret) + hammers
        notations = signs + (tag("technical", fretted) if player.tuning else "")
        marked = tag("notations", notations) if notations else ""
        text += tag("note", pitch, length, ties, timing, marked, play)
    return text


def stroke(score: Score, tone: Tone, length: str, timing: str) -> str:
    """Write the elements of a note that has no pitch."""
    _, _, place, crossed = KIT[tone.drum]
    display = tag("display-step", place[0]) + tag("display-octave", place[1])
    number = list(KIT).index(tone.drum) + 1
    drummer = next(n for n, p in enumerate(score.players, 1) if p.clef == "percussion")
    which = tag("instrument", id=f"P{drummer}-I{number}")
    head = tag("notehead", "x") if crossed else ""
    return tag("unpitched", display) + length + which + timing + head


def attributes(score: Score, section: Section, player: Player, first: bool) -> str:
    """Write the meter and, in the first measure, a part's key, clef, strings and capo."""
    time = tag("time", tag("beats", section.beats[0]), tag("beat-type", section.beats[1]))
    if not first:
        return tag("attributes", time)
    text = tag("divisions", DIVISIONS) + tag("key", tag("fifths", score.fifths)) + time
    if player.clef == "percussion":
        return tag("attributes", text, tag("clef", tag("sign", player.clef)))
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


def directions(score: Score, section: Section, player: Player) -> str:
    """Write a section's name and tempo above the first part, and words to the player."""
    above: list[str] = []
    if player is score.players[0]:
        above.append(tag("direction-type", tag("rehearsal", section.name)))
    if player is score.players[0] and section.tempo:
        compound = section.beats[1] == 8  # the beat of 6/8 is a dotted quarter
        beat = tag("beat-unit", "quarter") + tag("beat-unit-dot") * compound
        minute = tag("per-minute", section.tempo * 2 // 3 if compound else section.tempo)
        metronome = tag("direction-type", tag("metronome", beat, minute))
        above.append(metronome + tag("sound", tempo=section.tempo))
    if player.name in section.words:
        above.append(tag("direction-type", tag("words", section.words[player.name])))
    return "".join(tag("direction", text, placement="above") for text in above)


def barlines(score: Score, section: Section, bar: int) -> tuple[str, str]:
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
        right = tag("bar-style", "light-heavy" if section is score.sections[-1] else "light-light")
        right += tag("ending", number=2, type="discontinue") if any(section.endings) else ""
    return (
        tag("barline", left, location="left") if left else "",
        tag("barline", right, location="right") if right else "",
    )


def part(score: Score, player: Player, label: str) -> str:
    """Write one player's measures."""
    measures: list[str] = []
    before = Event("w", (), "")
    for section in score.sections:
        pairs = zip(bars_of(score, section, player), chords_of(section), strict=True)
        for bar, (events, chord) in enumerate(pairs, start=1):
            left, right = barlines(score, section, bar)
            text = left
            if bar == 1:
                text += attributes(score, section, player, not measures) if section.tempo else ""
                text += directions(score, section, player)
            text += harmony(chord) if player.name == score.chords_above and chord != "." else ""
            if not events:
                length = tag("duration", full_bar(section))
                text += tag("note", tag("rest", measure="yes"), length, tag("voice", 1))
            for event in events:
                text += notes(score, event, before, player)
                before = event
            measures.append(tag("measure", text, right, number=len(measures) + 1))
    return tag("part", *measures, id=label)


PROLOG = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"
  "http://www.musicxml.org/dtds/partwise.dtd">
"""


def listed_part(player: Player, number: int) -> str:
    """Write a part's entry in the part list, with its sound, level and place left to right."""
    label = f"P{number}"
    is_drums = player.clef == "percussion"
    kit = [(name, key) for name, key, *_ in KIT.values()] if is_drums else [("", 0)]
    named = midi = ""
    # Channel 10 is for drums; from the sixteenth other part on, a second port.
    port, channel = divmod(number - 1 + (number > 9), 16)
    device = tag("midi-device", port=port + 1) if port and not is_drums else ""
    for count, (drum, key) in enumerate(kit, start=1):
        instrument = f"{label}-I{count}"
        name = f"{player.name}, {drum}" if drum else player.instrument or player.name
        called = tag("instrument-name", name)
        sound = tag("instrument-sound", player.sound) if player.sound else ""
        named += tag("score-instrument", called, sound, id=instrument)
        settings = tag("midi-channel", 10 if is_drums else channel + 1)
        settings += tag("midi-program", player.program)
        settings += tag("midi-unpitched", key + 1) if key else ""
        settings += tag("volume", player.volume) if player.volume else ""
        midi += device + tag("midi-instrument", settings, tag("pan", player.pan), id=instrument)
    return tag("score-part", tag("part-name", player.name), named, midi, id=label)


def score_text(score: Score) -> str:
    """Write the whole score."""
    listed = parts = ""
    for number, player in enumerate(score.players, start=1):
        listed += listed_part(player, number)
        parts += part(score, player, f"P{number}")
    work = tag("work", tag("work-title", score.title))
    dated = tag("identification", tag("encoding", tag("encoding-date", score.date)))
    song = tag("score-partwise", work, dated, tag("part-list", listed), parts, version="4.0")
    return f"{PROLOG}{song}\n"


def played_out(score: Score) -> tuple[int, int, float]:
    """Return measures as printed, measures as played, and the seconds that takes."""
    printed = played = tempo = 0
    seconds = 0.0
    for section in score.sections:
        tempo = section.tempo or tempo
        bars = len(chords_of(section))
        twice = max(section.endings[0] - 1, 0)  # the bars before the first ending
        printed, played = printed + bars, played + bars + twice
        seconds += (bars + twice) * full_bar(section) / DIVISIONS * 60 / tempo
    return printed, played, seconds


def write_score(score: Score, path: Path) -> None:
    """Write the file and print how long the song is."""
    path.write_text(score_text(score), encoding="utf-8", newline="\n")
    measures, bars, time = played_out(score)
    print(f"{path.name}: {measures} measures printed, {bars} played, {time:.1f} seconds")
