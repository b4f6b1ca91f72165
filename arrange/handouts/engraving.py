"""A part's sections as engraved systems: notation, and tablature below where there are strings.

A part is cut into phrases at the bar lines that nothing sounds across. Phrases that hold the same
are measured once; lines are then broken, after four or eight bars where that fits, and never
inside a bar; lines that hold the same are engraved once. Many are engraved in one go, a page each.
A bar that is played three times in a row and more is written once; the others are the sign of the
bar before.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from arrange.errors import ArrangeError
from arrange.explaining.movable_shapes import MovableShape
from arrange.explaining.part_sections import bar_contents
from arrange.guitar.necks import Array
from arrange.handouts.bar_lines import PLAYED, BarLines, bar_lines, repeated_bars
from arrange.handouts.engraved_documents import (
    Bars,
    Content,
    DrawnPart,
    contents_of,
    document,
    documents,
)
from arrange.handouts.engraver import bar_widths, pages_before, score_pages
from arrange.handouts.excerpts import PartStaves
from arrange.handouts.line_heights import LineHeights
from arrange.handouts.marked_notes import marked_notes
from arrange.handouts.systems import IN_PICTURE, System, system_of
from arrange.tables.song import Song, part_row

STAFF_MM = 6.7  # height of the five lines, parts have some 7 mm (common practice)
_STAFF_UNITS = 72.0  # the engraver's height of a staff, in its page units
_BEFORE_BARS = 240  # page units that the head of a line takes: number, clef, key, meter
_MOST_BARS = 8  # a line
_WIDEST = 100_000  # page units that the engraver can draw
_MOST_NOTES = 600  # in a bar; six strings struck a hundred times, and more than a line can show
_STEPS = 24  # of the page's width: short lines of one width are engraved together
_TIGHT = 1.04  # how much wider than the page bars may be; they are then pushed together
# What a line costs that does not keep to groups of four bars, against one more line. By eye.
_ODD_LINE, _UNEVEN_LINE = 0.3, 0.15
_REPEAT_FIRST = 2.0  # a line that begins with the sign of the bar before
_MOST_COMPACT = 2  # bars that stand at their natural width where they are a stretch, or end one
_COMPACT, _LOOSE = 0.5, 1.15  # share of the page up to which they do; how much wider than measured

_DRAWN = (*PLAYED, "rise", "finger", "stroke", "place", "touched")  # of a note


class Prepared(NamedTuple):
    """A part's stretches with the width of each bar, to be engraved once or in several sizes."""

    part: DrawnPart
    stretches: list[tuple[Bars, list[float]]]

    @property
    def strummed(self) -> set[int]:
        """The bars of the part that have strums."""
        return {*self.part.notes["measure"][self.part.notes["stroke"] != ""]}

    @property
    def has_strokes(self) -> bool:
        """Whether a stretch has strums."""
        strummed = self.strummed
        return any(not strummed.isdisjoint(range(bars.first, bars.last + 1))
                   for bars, _ in self.stretches)  # fmt: skip


def engrave(
    song: Song,
    part: str,
    stretches: Sequence[tuple[int, int]],
    width_mm: float,
    staff_mm: float = STAFF_MM,
    fingers: Sequence[float] | None = None,
    *,
    has_notes: bool = True,
) -> list[list[System]]:
    """Return the systems of each stretch of a part: ``prepare`` and ``engrave_prepared``."""
    prepared = prepare(drawn_part(song, part, fingers), stretches, has_notes=has_notes)
    return engrave_prepared(prepared, width_mm, staff_mm)


def drawn_part(
    song: Song,
    part: str,
    fingers: Sequence[float] | None = None,
    movable: Mapping[str, Sequence[MovableShape]] | None = None,
) -> DrawnPart:
    """Return a part to engrave.

    Parameters
    ----------
    song : Song
    part : str
    fingers : sequence of float, optional
        The fretting finger of each note of the part, in the order of the song's notes; 0, NaN or
        none for none. It is drawn where the hand moves or stretches.
    movable : mapping of section to sequence of MovableShape, optional
        Where shapes that move are played, with a line of their frets.

    Raises
    ------
    ArrangeError
        If a bar holds more notes than can be drawn.
    """
    held = song.notes["measure"][song.notes["part"] == part].value_counts()
    if len(held) and held.iloc[0] > _MOST_NOTES:
        raise _too_full(part, int(held.index[0]))
    notes = marked_notes(song, part, fingers, movable)
    measures = song.measures[["meter", "key"]].astype(object)
    signs = [measures[name].where(measures[name].notna(), None) for name in measures]
    return DrawnPart(
        song, part, notes, PartStaves.of(song, part, notes), bar_lines(song, notes),
        bar_contents(song, notes, _DRAWN), list(zip(*signs, strict=True)),
    )  # fmt: skip


def prepare(
    part: DrawnPart, stretches: Sequence[tuple[int, int]], *, has_notes: bool = True
) -> Prepared:
    """Return stretches of a part, measured: most of what takes time, and the same in any size.

    Parameters
    ----------
    part : DrawnPart
    stretches : sequence of (first, last)
        Played measures.
    has_notes : bool
        False for the tablature alone, the count of each attack below it. A part without a tuning,
        and a stretch with a note that lies on no string, are written in notation all the same.
    """
    unplaced = set(part.notes["measure"][part.notes["shown"].isna()])
    has_tuning = isinstance(part_row(part.song, part.name)["tuning"], tuple)
    phrases = [
        _cut(first, last, part.lines, has_notes=has_notes or not has_tuning
             or not unplaced.isdisjoint(range(first, last + 1)))
        for first, last in stretches
    ]  # fmt: skip
    widths = iter(_phrase_widths(part, list(itertools.chain(*phrases))))
    measured = []
    for each in phrases:
        bars = list(itertools.chain.from_iterable(next(widths) for _ in each))
        repeated = frozenset(itertools.chain.from_iterable(phrase.repeated for phrase in each))
        ends = each[0].first, each[-1].last
        measured.append((Bars(*ends, repeated, each[0].has_notes), bars))
    return Prepared(part, measured)


def engrave_prepared(
    prepared: Prepared, width_mm: float, staff_mm: float = STAFF_MM
) -> list[list[System]]:
    """Return the systems of each stretch.

    Parameters
    ----------
    prepared : Prepared
    width_mm : float
        Of a system.
    staff_mm : float
        Height of the five lines. A bar wider than a line makes its stretch smaller; letters and
        digits stay legible.

    Returns
    -------
    list of list of System
        All as wide as the page; one bar or two alone fill only their natural width of it, and
        ``System.cut`` leaves the blank out.
    """
    passages = _all_passages(prepared, width_mm, staff_mm)
    systems = iter(_passage_systems(prepared.part, list(itertools.chain(*passages)), staff_mm))
    return [list(itertools.chain.from_iterable(next(systems) for _ in each)) for each in passages]


def blank_systems(
    prepared: Prepared, width_mm: float, staff_mm: float, heights: LineHeights
) -> list[list[System]]:
    """Return systems without pictures, to find a size before they are engraved.

    Parameters as in ``engrave_prepared``; the lines are broken as there, and as high as `heights`
    says.
    """

    def lines(passage: _Passage) -> Iterator[System]:
        bars, start = passage.bars, passage.bars.first
        for count in passage.lines:
            end = start + count - 1
            high = heights.of_line(start, end, staff_mm, has_notes=bars.has_notes)
            yield System(start, end, "", passage.width, high / (passage.width * IN_PICTURE), 0.0,
                         0.0, passage.natural)  # fmt: skip
            start = end + 1

    return [list(itertools.chain.from_iterable(map(lines, each)))
            for each in _all_passages(prepared, width_mm, staff_mm)]  # fmt: skip


def _all_passages(prepared: Prepared, width_mm: float, staff_mm: float) -> list[list[_Passage]]:
    """Each stretch broken into lines."""
    width = width_mm / staff_mm * _STAFF_UNITS
    return [_passages(prepared.part.name, stretch, bars, width, prepared.part.lines.is_closed)
            for stretch, bars in prepared.stretches]  # fmt: skip


def _cut(first: int, last: int, lines: BarLines, *, has_notes: bool) -> list[Bars]:
    """A stretch cut before each measure that may begin one."""
    starts = [first, *(bar for bar in range(first + 1, last + 1) if not lines.is_closed[bar - 1])]
    ends = [start - 1 for start in starts[1:]] + [last]
    repeated = repeated_bars(first, last, lines.is_same, _MOST_BARS)
    return [Bars(start, end, repeated & frozenset(range(start, end + 1)), has_notes)
            for start, end in zip(starts, ends, strict=True)]  # fmt: skip


def _phrase_widths(part: DrawnPart, phrases: Sequence[Bars]) -> list[list[float]]:
    """The widths of the bars of each phrase, in page units."""
    contents = contents_of(part, phrases)
    bars_of = dict(zip(reversed(contents), reversed(phrases), strict=True))
    different = list(dict.fromkeys(contents))
    found: dict[Content, list[float]] = {}
    for places in documents(different):
        own = [different[place] for place in places]
        text = document(part, [bars_of[each] for each in own], [each.begins for each in own])
        widths = bar_widths(text.text)
        found.update({each: list(widths[start : start + len(each.signs)])
                      for each, start in zip(own, text.starts, strict=True)})  # fmt: skip
    return [found[content] for content in contents]


class _Passage(NamedTuple):
    """Lines that something sounds across: their bars, how many each has, the page's width, and how
    much of it they fill.
    """

    bars: Bars
    lines: tuple[int, ...]
    width: float
    natural: float


def _passages(
    part: str, stretch: Bars, bars: Sequence[float], width: float, is_closed: Array
) -> list[_Passage]:
    """A stretch broken into lines, and cut between those that nothing sounds across."""
    first = stretch.first
    width = max(width, (max(bars) + _BEFORE_BARS) / _TIGHT)
    if width > _WIDEST:
        raise _too_full(part, first + bars.index(max(bars)))
    lines: list[list[tuple[int, int]]] = []  # of each passage
    for start, end in _broken(bars, stretch.places(), width - _BEFORE_BARS):
        if not (lines and is_closed[first + start - 1]):
            lines.append([])
        lines[-1].append((start, end))
    passages = []
    for own in lines:
        start, end = own[0][0], own[-1][1]
        ends = first + start, first + end - 1
        natural = width
        if end == len(bars) and end - start <= _MOST_COMPACT and len(own) == 1:
            step = width / _STEPS
            natural = math.ceil((_LOOSE * sum(bars[start:end]) + _BEFORE_BARS) / step) * step
        repeated = stretch.repeated & frozenset(range(ends[0], ends[1] + 1))
        passages.append(_Passage(
            Bars(*ends, repeated, stretch.has_notes), tuple(end - start for start, end in own),
            width, natural if natural <= _COMPACT * width else width,
        ))  # fmt: skip
    return passages


def _too_full(part: str, bar: int) -> ArrangeError:
    return ArrangeError(
        f"{part}, bar {bar}: it holds more notes than a line of notation; write it as several "
        "bars, or ask for shapes"
    )


def _passage_systems(
    part: DrawnPart, passages: Sequence[_Passage], staff_mm: float
) -> list[list[System]]:
    """The systems of each passage; those that hold the same are engraved once."""
    contents = contents_of(part, [passage.bars for passage in passages])
    keys = [((passage.width, passage.natural), content, passage.lines)
            for passage, content in zip(passages, contents, strict=True)]  # fmt: skip
    passage_of = dict(zip(reversed(keys), reversed(passages), strict=True))
    found: dict[Any, list[System]] = {}
    for widths in dict.fromkeys(key[0] for key in keys):
        different = [key for key in dict.fromkeys(keys) if key[0] == widths]
        for places in documents([content for _, content, _ in different]):
            own = [different[place] for place in places]
            begins = [content.begins for _, content, _ in own]
            systems = iter(_engraved(part, [passage_of[key] for key in own], staff_mm, begins))
            found.update({key: list(itertools.islice(systems, len(key[2]))) for key in own})
    return [
        [system.moved(passage.bars.first - passage_of[key].bars.first) for system in found[key]]
        for key, passage in zip(keys, passages, strict=True)
    ]


def _engraved(
    part: DrawnPart, passages: Sequence[_Passage], staff_mm: float, begins: Sequence[bool]
) -> Iterator[System]:
    """The systems of passages that are engraved together, one after the other."""
    text = document(part, [passage.bars for passage in passages], begins)
    lines = [(start + line - count, start + line)
             for start, passage in zip(text.starts, passages, strict=True)
             for line, count in zip(itertools.accumulate(passage.lines), passage.lines,
                                    strict=True)]  # fmt: skip
    breaks = {bar for line in lines for bar in line} - {0, len(text.numbers)}
    width, natural = passages[0].width, passages[0].natural
    pages = score_pages(
        pages_before(breaks, text.text, len(text.numbers)),
        breaks="encoded", pageWidth=round(natural), pageHeight=100,
    )  # fmt: skip
    page_of = dict(zip([0, *sorted(breaks)], pages, strict=True))
    for start, end in lines:
        symbols = [symbol for bar, symbol in text.symbols if start <= bar < end]
        bars = text.numbers[start], text.numbers[end - 1]
        system = system_of(page_of[start], symbols, text.signs, bars, staff_mm)
        yield system if natural == width else system.widened(round(width) * IN_PICTURE)


def _broken(bars: Sequence[float], repeated: Sequence[int], room: float) -> list[tuple[int, int]]:
    """The best way to break a stretch into lines; some of its bars repeat the bar before."""
    after = set(repeated)
    best = [(0.0, 0)]  # up to each bar: what the lines cost, and where the last one begins
    for end in range(1, len(bars) + 1):
        ways = []
        for start in range(max(end - _MOST_BARS, 0), end):
            count = end - start
            if count == 1 or sum(bars[start:end]) <= room * _TIGHT:
                odd = _ODD_LINE * bool(start % 4) + _UNEVEN_LINE * (count not in (2, 4, 8))
                odd += _REPEAT_FIRST * (start in after)
                ways.append((best[start][0] + 1 + odd, start))
        best.append(min(ways))
    lines, end = [], len(bars)
    while end:
        lines.append((best[end][1], end))
        end = best[end][1]
    return lines[::-1]
