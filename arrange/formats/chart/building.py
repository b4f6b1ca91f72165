"""From the sections of a chart to a printed score."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import NamedTuple

from arrange.errors import ArrangeError, ChordError
from arrange.formats.chart.bar_content import BarReader, Event
from arrange.formats.chart.header import (
    CHORDS,
    Meter,
    Part,
    read_key,
    read_length,
    read_meter,
    read_tempo,
)
from arrange.formats.chart.items import Frame, split_items
from arrange.formats.chart.lines import Faults, Piece
from arrange.formats.chart.rows import PLAIN_BAR, Cell
from arrange.formats.chart.sections import Place, Section, Setting
from arrange.formats.chart.sounds import part_with, section_setup
from arrange.formats.chart.tablature import read_tab_bar
from arrange.formats.playing_order import Bar, playing_order
from arrange.formats.written import Setup
from arrange.song_size import MOST_CHORDS, MOST_MEASURES, MOST_NOTES
from arrange.text.words import counted
from arrange.theory.chord_symbols import parse_chord, parse_number_chord
from arrange.theory.chords import Chord

_EIGHTH = Fraction(1, 2)


@dataclass(slots=True)
class Note:
    """An event of a part in a printed bar, and whether a tie leads on from it or to it."""

    part: int
    measure: int
    event: Event
    voice: str
    tie_start: bool = False
    tie_stop: bool = False


class Printed(NamedTuple):
    """A printed bar: its number, length, meter, key and signs."""

    number: str
    frame: Frame
    meter: str
    key: str | None
    signs: Bar


@dataclass
class Score:
    """What stands on the page, bar by bar."""

    bars: list[Printed] = field(default_factory=list)
    tempos: list[tuple[int, int, float]] = field(default_factory=list)
    chords: list[tuple[int, Fraction, Chord]] = field(default_factory=list)
    marks: list[tuple[int, str, bool]] = field(default_factory=list)
    kinds: dict[int, str] = field(default_factory=dict)
    passes: dict[int, int] = field(default_factory=dict)
    remarks: list[tuple[int, str]] = field(default_factory=list)
    setups: list[Setup] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)


def build_score(
    settings: list[Setting],
    parts: dict[str, Part],
    sections: list[Section],
    faults: Faults,
    notices: list[str],
) -> Score:
    """Return the printed score of a chart; what is wrong goes to `faults`."""
    builder = _Builder(parts, faults, notices)
    builder.changing = {label for section in sections for label in section.sounds}
    for setting in settings:
        builder.apply(setting)
    number = 1
    for section in sections:
        bars = len(section.bars)
        if section.numbered and len(section.numbered) != bars:
            faults.add(section.where, f"{len(section.numbered)} numbers are given, but "
                       f"{section.label} has {counted(bars, 'bar')}")  # fmt: skip
            section.numbered = []
        numbers = section.numbered or [str(number + bar) for bar in range(bars)]
        for time, expanded, page in _passes(section):
            if len(builder.score.bars) + len(page) > MOST_MEASURES:
                faults.add(section.where, f"the chart has more than {MOST_MEASURES} bars")
                return builder.score
            builder.add_section(expanded, time, [numbers[bar] for bar in page])
            if faults.too_many or builder.is_over:
                return builder.score
        for setting in section.after:
            builder.apply(setting)
        number = int(numbers[-1][:9]) + 1 if numbers and numbers[-1].isdecimal() else 1
    builder.report_idle()
    return builder.score


def _passes(section: Section) -> list[tuple[int, Section, list[int]]]:
    """The section once, or once for each time round if some rows differ between them.

    With each come the bars of the page that it plays. The time round is 0 where the section
    stands once on the page, whatever is repeated in it.
    """
    times = section.times or 1
    bars, page = section.bars, list(range(len(section.bars)))
    signed = any(bar.forward or bar.backward or bar.ending_starts for bar in bars)
    if any(place.owner.passes for place in section.layers):
        rounds = _rounds(bars) if signed else [page] * times
        return [
            (time, _one_round(section, time, played), played)
            for time, played in enumerate(rounds, 1)
        ]
    if times == 1:
        return [(0, section, page)]
    if signed or not bars:
        return [(time, section, page) for time in range(1, times + 1)]
    bars = [replace(bars[0], forward=True), *bars[1:]]
    bars[-1] = replace(bars[-1], backward=times)
    return [(0, section.copy(bars=bars), page)]


def _rounds(bars: list[Bar]) -> list[list[int]]:
    """The bars played each time round."""
    rounds: list[list[int]] = [[]]
    for bar in playing_order(bars):
        if rounds[-1] and bar <= rounds[-1][-1]:
            rounds.append([])
        rounds[-1].append(bar)
    return rounds


def _one_round(section: Section, time: int, bars: list[int]) -> Section:
    """What is played of a section one time round, without repeat signs."""
    special = {place.owner.part for place in section.layers if time in place.owner.passes}
    layers = {
        place: {at: cells[bar] for at, bar in enumerate(bars) if bar in cells}
        for place, cells in section.layers.items()
        if time in place.owner.passes
        or (not place.owner.passes and place.owner.part not in special)
    }
    settings = [
        setting._replace(bar=sum(bar < setting.bar for bar in bars)) for setting in section.settings
    ]
    return section.copy(layers=layers, settings=settings, bars=[PLAIN_BAR] * len(bars))


class _Builder:
    """Adds sections to a score, and remembers what holds from one to the next."""

    def __init__(self, parts: dict[str, Part], faults: Faults, notices: list[str]) -> None:
        self.score = Score()
        self.parts, self.faults, self.notices = parts, faults, notices
        self.here = parts  # as they are in the section
        self.changing: set[str] = set()  # the labels of parts with a sound line anywhere
        self.numbers = {label: number for number, label in enumerate(parts)}
        self.meter = Meter("4/4", Fraction(4), Fraction(1))
        self.frame = Frame.of(self.meter, self.meter.length)
        self.key: str | None = None
        self.is_over = False
        self.idle: list[Setting] = []  # behind the last bar so far
        self.frames: dict[tuple[Fraction, Fraction], Frame] = {}
        self.readers: dict[tuple[str, int, int], BarReader] = {}
        # What each row played in the bar before; None where a fault leaves that open.
        self.before: dict[tuple[str, str, int], list[Note] | None] = {}

    def apply(self, setting: Setting) -> None:
        """Let a setting hold from the next bar on."""
        _, name, value = setting
        self.idle.append(setting)
        if name == "key":
            key = read_key(value, self.faults)
            self.key = key if key or value.text == "none" else self.key
        elif name == "meter":
            self.meter = read_meter(value, self.faults) or self.meter
            self._set_frame(self.meter.length)
        elif name == "tempo":
            tempo = read_tempo(value, self.faults)
            if tempo is not None:
                self.score.tempos.append((len(self.score.bars), 0, tempo))
        elif name == "length":
            self._set_frame(read_length(value, self.meter, self.faults) or self.frame.length)

    def report_idle(self) -> None:
        """Report settings that no bar follows, unless a fault is why none follows."""
        for _, name, value in [] if self.faults.count else self.idle:
            self.faults.add(value, f"this {name} is for the bars behind it, and none follow; write "
                            "it above the rows that it is for, or leave it out")  # fmt: skip

    def _set_frame(self, length: Fraction) -> None:
        same = (length, self.meter.beat)
        self.frame = self.frames.setdefault(same, Frame.of(self.meter, length))

    def add_section(self, section: Section, time: int, numbers: list[str]) -> None:
        """Add the bars of a section and what its rows play in them."""
        score = self.score
        first = len(score.bars)
        score.marks.append((first, section.label, True))
        score.remarks += [(first, text) for text in section.remarks]
        if section.kind is not None:
            score.kinds[first] = section.kind
        if section.first_pass is not None or time > 0:
            score.passes[first] = (section.first_pass or 1) + max(time - 1, 0)
        self._set_sounds(first, section)
        settings = sorted(section.settings, key=lambda setting: setting.bar)
        done = 0
        for bar, (signs, number) in enumerate(zip(section.bars, numbers, strict=True)):
            while done < len(settings) and settings[done].bar <= bar:
                self.apply(settings[done])
                done += 1
            score.bars.append(Printed(number, self.frame, self.meter.text, self.key, signs))
            self.idle = []
        earlier, self.before = self.before, {}
        rows: dict[tuple[str, str], int] = {}
        for place, cells in section.layers.items():
            if self.is_over or self.faults.too_many:
                return
            whole = _written_out(cells, len(section.bars), self.faults)
            if place.owner.part == CHORDS:
                self._add_chords(first, whole)
                continue
            # Rows of a voice count within the section, whatever times round they are for.
            voice = place.owner[:2]
            rows[voice] = rows.get(voice, -1) + 1
            row = (*voice, rows[voice])
            self.before[row] = self._add_layer(place, first, whole, earlier.get(row, []))

    def _set_sounds(self, first: int, section: Section) -> None:
        """Let the parts be as they are in a section, which begins at a bar."""
        sounds = section.sounds
        self.here = {label: part_with(part, sounds.get(label)) for label, part in
                     self.parts.items()}  # fmt: skip
        self.score.setups += [
            section_setup(first, self.numbers[label], self.here[label], sounds.get(label))
            for label in self.changing
        ]

    def _add_chords(self, first: int, cells: list[Cell | None]) -> None:
        known: dict[tuple[str, str | None, Fraction], list[tuple[Fraction, Chord]]] = {}
        for measure, cell in enumerate(cells, first):
            if cell is None or not cell.text.text:
                continue
            bar = self.score.bars[measure]
            same = (cell.text.text, bar.key, bar.frame.length)
            chords = known.get(same)
            if chords is None:
                chords = self._chords(cell.text, bar)
                if len(chords) == len(cell.text.text.split()):  # without faults, and simple
                    known[same] = chords
            self.score.chords += [(measure, onset, chord) for onset, chord in chords]
            if len(self.score.chords) > MOST_CHORDS:
                self._stop(cell.text, f"more than {MOST_CHORDS} chords")
                return

    def _chords(self, cell: Piece, bar: Printed) -> list[tuple[Fraction, Chord]]:
        items = split_items(cell, self.faults)
        spans = bar.frame.spans(cell, items, self.faults) or [(Fraction(0),) * 2] * len(items)
        chords = []
        for item, (onset, _) in zip(items, spans, strict=True):
            if item.words:
                self.faults.add(cell.word(item.number + 1), f"{item.words[0]!r} is no chord")
            if item.text not in ("~", "."):
                chord = self._chord(cell.word(item.number), bar.key)
                if chord is not None:
                    chords.append((onset, chord))
        return chords

    def _chord(self, where: Piece, key: str | None) -> Chord | None:
        text = where.text
        try:
            if not text.lstrip("b#♭♯")[:1].isdecimal():
                return parse_chord(text)
            if key is not None:
                return parse_number_chord(text, key)
        except ChordError as error:
            self.faults.add(where.part(error.offset), error)
        except ArrangeError as error:
            self.faults.add(where, error)
        else:
            self.faults.add(where, f"{text!r} counts in the key, but no key is given; write 'key: "
                            "Bb major' on top")  # fmt: skip
        return None

    def _add_layer(
        self, place: Place, first: int, cells: list[Cell | None], before: list[Note] | None
    ) -> list[Note] | None:
        """Add what a row plays; `before` is what it played in the bar before it."""
        part = self.here[place.owner.part]
        index, voice = self.numbers[part.label], place.owner.voice
        for measure, cell in enumerate(cells, first):
            if cell is None:
                before = []
                continue
            faults = self.faults.count
            notes: list[Note] = []
            for event in self._events(part, cell, self.score.bars[measure].frame):
                if event.goes_on:
                    notes += self._held_over(event, before, measure, cell.text)
                    continue
                note = Note(index, measure, event, voice)
                if event.pushed:
                    self._push(note, before, cell.text)
                notes.append(note)
            self.score.notes += notes
            if len(self.score.notes) > MOST_NOTES:
                self._stop(cell.text, f"more than {MOST_NOTES} notes and shapes")
                return None
            before = notes if self.faults.count == faults else None
        return before

    def _stop(self, where: Piece, what: str) -> None:
        self.faults.add(where, f"the chart has {what}, no more can be read")
        self.is_over = True

    def _events(self, part: Part, cell: Cell, frame: Frame) -> list[Event]:
        if cell.tab is not None:
            return read_tab_bar(cell, cell.tab, part, frame, self.faults)
        same = (part.label, part.capo, id(frame))
        reader = self.readers.get(same)
        if reader is None:
            reader = self.readers[same] = BarReader(part, frame, self.faults, self.notices)
        return reader.read(cell.text, cell.techniques)

    def _held_over(
        self, event: Event, before: list[Note] | None, measure: int, cell: Piece
    ) -> list[Note]:
        """The rest of the notes that sound at the end of the bar before."""
        length = self.score.bars[measure - 1].frame.length
        held = [
            note for note in before or []
            if note.event.tones and not note.event.grace
            and note.event.onset + note.event.duration == length
        ]  # fmt: skip
        if not held and before is not None:
            self.faults.add(cell.word(event.word), "'~' goes on with a note, but none sounds at "
                            "the end of the bar before")  # fmt: skip
        notes = []
        for note in held:
            note.tie_start = True
            rest = note.event._replace(onset=event.onset, duration=event.duration, pushed=False)
            notes.append(Note(note.part, measure, rest, note.voice, tie_stop=True))
        return notes

    def _push(self, note: Note, before: list[Note] | None, cell: Piece) -> None:
        """Let a note begin an eighth early: cut what sounds there, tie it over the bar line."""
        measure = note.measure - 1
        where = cell.word(note.event.word)
        length = self.score.bars[measure].frame.length if measure >= 0 else Fraction(0)
        if length < _EIGHTH:
            self.faults.add(where, "nothing stands before it that it could be pushed into")
            return
        start = length - _EIGHTH
        for other in before or []:
            event = other.event
            if event.onset >= start and not event.grace:
                self.faults.add(where, "it is pushed, but another note begins in the last eighth "
                                "of the bar before; leave that free")  # fmt: skip
                return
            if event.onset + event.duration > start:
                other.event = event._replace(duration=start - event.onset)
        early = note.event._replace(onset=start, duration=_EIGHTH)
        self.score.notes.append(Note(note.part, measure, early, note.voice, tie_start=True))
        note.tie_stop = True


def _written_out(cells: dict[int, Cell], bars: int, faults: Faults) -> list[Cell | None]:
    """A row's cells, bar by bar, with what '%' stands for."""
    whole: list[Cell | None] = []
    for bar in range(bars):
        cell = cells.get(bar)
        if cell is not None and cell.text.text == "%" and cell.tab is None:
            before = whole[-1] if whole else None
            if before is None:
                faults.add(cell.text, "'%' is the bar before once more, but this row has none "
                           "before it in the section")  # fmt: skip
            cell = before
        whole.append(cell)
    return whole
