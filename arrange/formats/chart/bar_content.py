"""What a part plays in one bar: shapes, notes and strokes, and how they are played."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from arrange.errors import shown
from arrange.formats.chart.header import NOTE, Part
from arrange.formats.chart.items import TECHNIQUE_WORDS, WORDS, Frame, Item, Span, split_items
from arrange.formats.chart.lines import Faults, Piece
from arrange.formats.written import TECHNIQUES
from arrange.guitar.hands import Hand, hold_shapes
from arrange.guitar.necks import Neck
from arrange.song_size import MOST_FRETS
from arrange.text.words import counted
from arrange.theory.pitch import parse_note

SIGNS = (".", "~", "/")  # silence, goes on, struck again
_MOST_FINGERS = 4
_SHAPE = re.compile(r"[xX0-9]+|[xX0-9]{1,3}(?:-[xX0-9]{1,3})+")
_EIGHTH = Fraction(1, 2)
_STEPS = {"quarters": Fraction(1), "eighths": Fraction(1, 2), "sixteenths": Fraction(1, 4)}
# A bit for each technique, by its word in the chart.
TECHNIQUE_BITS = {
    word: 1 << TECHNIQUES.index(technique) for word, technique in TECHNIQUE_WORDS.items()
}
Tones = tuple["Tone", ...]


class Tone(NamedTuple):
    """One note of an item: its pitch (None if unpitched), string and fret from the nut."""

    pitch: float | None
    string: int = -1
    fret: int = -1


class Event(NamedTuple):
    """Notes that begin together; times in quarter notes from the start of the bar.

    `techniques` has a bit for each, `word` is its place in the bar. `goes_on` is True
    for the rest of a note from the bar before, `pushed` for one that begins an eighth early.
    """

    onset: Fraction
    duration: Fraction
    tones: Tones
    word: int
    techniques: int = 0
    grace: bool = False
    goes_on: bool = False
    pushed: bool = False


class BarReader:
    """Reads the bars of one part that are of one length; what is written alike is read once."""

    def __init__(self, part: Part, frame: Frame, faults: Faults, notices: list[str]) -> None:
        self.part, self.frame, self.faults, self.notices = part, frame, faults, notices
        self._bars: dict[tuple[str, int], list[Event]] = {}
        self._tones: dict[str, Tones] = {}

    def read(self, cell: Piece, techniques: int) -> list[Event]:
        """Return what is played in a bar; `techniques` hold for all of its notes."""
        same = (cell.text, techniques)
        events = self._bars.get(same)
        if events is None:
            before = self.faults.count
            events = self._events(cell, techniques)
            if self.faults.count == before:
                self._bars[same] = events
        return events

    def _events(self, cell: Piece, techniques: int) -> list[Event]:
        items = split_items(cell, self.faults)
        timed = [item for item in items if "grace" not in item.words]
        spans = self.frame.spans(cell, timed, self.faults)
        if spans is None:  # what it plays is looked at for its faults alone
            for item in items:
                if item.text not in SIGNS:
                    self.tones(cell, item)
            return []
        events: list[Event] = []
        struck: Tones | None = None
        at = 0
        for item in items:
            if "grace" in item.words:
                events += self._grace(cell, item, spans[at:], techniques)
                continue
            span, at = spans[at], at + 1
            if item.text == "~":
                self._go_on(cell, item, span, events)
            elif item.text != ".":
                if item.text != "/":
                    struck = self.tones(cell, item)
                elif struck is None:
                    self.faults.add(cell.word(item.number), "'/' strikes again what stands before "
                                    "it in the bar, but nothing does")  # fmt: skip
                events += self._played(cell, item, span, struck or (), techniques, not events)
        return events

    def _grace(
        self, cell: Piece, item: Item, following: list[Span], techniques: int
    ) -> list[Event]:
        onset = following[0][0] if following else None
        if item.count:
            onset = self.frame.onset(cell, item, self.faults)
        elif onset is None:
            self.faults.add(cell.word(item.number), "a grace note stands before the note that it "
                            "leads to, but none follows in this bar")  # fmt: skip
        for word in item.words:
            techniques |= TECHNIQUE_BITS.get(word, 0)
        if item.text in SIGNS:
            self.faults.add(cell.word(item.number), f"{item.text!r} is no grace note; write its "
                            "shape or its note")  # fmt: skip
            return []
        tones = self.tones(cell, item)
        return [Event(onset or Fraction(0), Fraction(0), tones, item.number, techniques, True)]

    def _go_on(self, cell: Piece, item: Item, span: Span, events: list[Event]) -> None:
        """Lengthen the event before, or begin with the rest of one from the bar before."""
        onset, duration = span
        if onset == 0:
            events.append(Event(onset, duration, (), item.number, goes_on=True))
            return
        ending = [
            index for index, event in enumerate(events)
            if not event.grace and event.onset + event.duration == onset
        ]  # fmt: skip
        if not ending:
            self.faults.add(cell.word(item.number), "'~' goes on with a note, but silence stands "
                            "before it")  # fmt: skip
        for index in ending:
            events[index] = events[index]._replace(duration=events[index].duration + duration)

    def _played(
        self,
        cell: Piece,
        item: Item,
        span: Span,
        tones: Tones,
        techniques: int,
        is_first: bool,
    ) -> list[Event]:
        """The attacks of one item, as its words say."""
        onset, duration = span
        if not item.words:
            return [Event(onset, duration, tones, item.number, techniques)]
        for word in item.words:
            techniques |= TECHNIQUE_BITS.get(word, 0)
        pushed = "pushed" in item.words
        if pushed and not (is_first and onset == 0):
            self.faults.add(cell.word(item.number), "only what begins a bar can be pushed over the "
                            "bar line; write the count instead, such as '2&:'")  # fmt: skip
            pushed = False
        events = [
            Event(start, length, some, item.number, techniques)
            for start, length, some in _attacks(onset, duration, tones, item.words, self.frame)
        ]
        if pushed and events:
            events[0] = events[0]._replace(pushed=True)
        return events

    def tones(self, cell: Piece, item: Item) -> Tones:
        """Return the notes of a shape, of note names, or of a stroke, low to high string."""
        text = item.text
        tones = self._tones.get(text)
        if tones is None:
            before = self.faults.count
            where = cell.word(item.number)
            if text == "hit":
                tones = (Tone(None),)
            elif _SHAPE.fullmatch(text):
                tones = self._shape(where)
            else:
                tones = self._names(where)
            if self.faults.count == before:
                self._tones[text] = tones
        return tones

    def _names(self, item: Piece) -> Tones:
        tones = []
        for name in item.split(","):
            plain = name.text.removesuffix("+")
            if not NOTE.fullmatch(plain):
                self._report_unknown(name, item)
                return ()
            pitch = parse_note(plain) + (0.5 if plain != name.text else 0.0)
            if not 0 <= pitch <= 127:
                self.faults.add(name, f"{name.text} lies off the range of notes, C-1 to G9")
                return ()
            tones.append(Tone(pitch))
        return tuple(tones)

    def _report_unknown(self, name: Piece, item: Piece) -> None:
        text = name.text
        if not text:
            problem = ("no note behind the comma: notes that sound together stand with commas "
                       "and no blanks between, D4,F4,Bb4")  # fmt: skip
        elif text == "%":
            problem = "'%' stands alone in its bar: it is the bar before once more"
        elif re.fullmatch(r"[A-Ga-g][#b]{0,2}", text):
            problem = f"{text!r} has no octave: write '{text}3' or '{text}4'; C4 is middle C"
        elif name != item:
            problem = f"{shown(text)} is no note: write letter, # or b, and octave, D4,F4,Bb4"
        elif re.fullmatch(r"[xX0-9-]*-[xX0-9-]*", text):
            problem = (f"{shown(text)} is no shape: one fret or x for each string, a '-' "
                       "between: x-x-10-12-12-10")  # fmt: skip
        else:
            problem = (f"{shown(text)} is neither a shape (x32010), a note (D4) nor a word that "
                       "belongs to one")  # fmt: skip
            self.faults.add(name, problem, text, sorted([*WORDS, "hit"]))
            return
        self.faults.add(name, problem)

    def _shape(self, item: Piece) -> Tones:
        part, faults = self.part, self.faults
        strings = len(part.tuning)
        frets = [*item.text] if "-" not in item.text and strings != 1 else item.text.split("-")
        if part.unsure:  # reported on the part's line
            return ()
        if not strings:
            faults.add(item, f"{part.label} has no tuning, so {shown(item.text)} has no notes; "
                       "write it on the part's line: 'standard tuning'")  # fmt: skip
            return ()
        if len(frets) != strings:
            more = (" and, with a fret of two digits, a '-' between all: x-x-10-12-12-10"
                    if len(frets) > strings and "-" not in item.text else "")  # fmt: skip
            faults.add(item, f"a shape of {counted(len(frets), 'string')}, but "
                       f"{part.label} has {strings}: write a sign for each, x for one left "
                       f"out{more}")  # fmt: skip
            return ()
        tones = []
        for index, text in enumerate(frets):
            if text not in ("x", "X"):
                fret = self._fret(item, text)
                if fret is None:
                    return ()
                tones.append(Tone(float(part.tuning[index] + fret), strings - index, fret))
        held = [-1] * strings
        for tone in tones:
            held[tone.string - 1] = tone.fret
        needed = _fingers(tuple(held), part.capo)
        if needed > _MOST_FINGERS:
            self.notices.append(
                f"line {item.line}: the shape {item.text} of {part.label} needs {needed} fingers, "
                "a barre counted once; a hand has four"
            )
        return tuple(tones)

    def _fret(self, item: Piece, text: str) -> int | None:
        part = self.part
        problem = ""
        whole = text.isdecimal() and len(text) < 4
        fret = int(text) + part.fret_zero if whole else 0
        if not whole:
            problem = f"{shown(text)} is no fret: write a number or x"
        elif fret > MOST_FRETS:
            behind = f", {fret} from the nut," if part.fret_zero else ""
            problem = f"fret {text}{behind} lies past the neck, which has {MOST_FRETS}"
        elif fret < part.capo:
            problem = (f"fret {text} lies under the capo at {part.capo}: {part.label} counts from "
                       f"the nut, so an open string is {part.capo}; or write 'frets from the capo' "
                       "on its line")  # fmt: skip
        elif part.tuning and max(part.tuning) + fret > 127:
            problem = f"fret {text} is higher than any note, up to G9"
        if problem:
            self.faults.add(item, problem)
            return None
        return fret


def _attacks(
    onset: Fraction, duration: Fraction, tones: Tones, words: list[str], frame: Frame
) -> list[tuple[Fraction, Fraction, Tones]]:
    """When an item is struck, for how long, and which of its notes."""
    end = onset + duration
    for word, step in _STEPS.items():
        if word in words:
            return [(at, min(step, end - at), tones) for at in _times(onset, end, step)]
    if "off-beats" in words:
        late = frame.beat / (3 if frame.beat.numerator % 3 == 0 else 2)
        times = [at for at in _times(Fraction(0), end, frame.beat) if at + frame.beat > onset]
        return [
            (at, min(late, end - at), tones)
            for at in (at + frame.beat - late for at in times)
            if onset <= at < end
        ]
    if "picked-up" in words or "picked-down" in words:
        picked = tones if "picked-up" in words else tones[::-1]
        return [
            (at, min(_EIGHTH, end - at), (picked[index % len(picked)],))
            for index, at in enumerate(_times(onset, end, _EIGHTH) if picked else ())
        ]
    return [(onset, duration, tones)]


def _times(start: Fraction, end: Fraction, step: Fraction) -> list[Fraction]:
    count = -(-(end - start) // step)
    return [start + index * step for index in range(int(count))]


@lru_cache(maxsize=1024)
def _fingers(shape: tuple[int, ...], capo: int) -> int:
    """How many fingers a shape needs, a barre counted once, whatever the strings sound."""
    tuning = tuple(64 - 5 * string for string in range(len(shape)))
    neck = Neck(tuning, frets=MOST_FRETS, capo=min(capo, MOST_FRETS - 1))
    return int(hold_shapes(np.array([shape]), neck, Hand()).needed[0])
