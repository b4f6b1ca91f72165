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
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.explaining.part_sections import bar_contents
from arrange.formats.musicxml.writing import format_tree
from arrange.guitar.necks import Array
from arrange.handouts.bar_lines import (
    PLAYED,
    BarLines,
    bar_lines,
    chord_contents,
    repeated_bars,
)
from arrange.handouts.engraver import bar_widths, pages_before, score_pages
from arrange.handouts.excerpts import PartStaves, part_excerpt
from arrange.handouts.line_heights import LineHeights
from arrange.handouts.systems import IN_PICTURE, System, system_of
from arrange.handouts.tab_signs import TabSign, marked_notes
from arrange.tables.song import Song, part_row

STAFF_MM = 6.7  # height of the five lines, parts have some 7 mm (common practice)
_STAFF_UNITS = 72.0  # the engraver's height of a staff, in its page units
_BEFORE_BARS = 240  # page units that the head of a line takes: number, clef, key, meter
_MOST_BARS = 8  # a line
_WIDEST = 100_000  # page units that the engraver can draw
_MOST_NOTES = 600  # in a bar; six strings struck a hundred times, and more than a line can show
_MOST_AT_ONCE = 96  # bars: the time that the engraver takes grows with their square
_STEPS = 24  # of the page's width: short lines of one width are engraved together
_TIGHT = 1.04  # how much wider than the page bars may be; they are then pushed together
# What a line costs that does not keep to groups of four bars, against one more line. By eye.
_ODD_LINE, _UNEVEN_LINE = 0.3, 0.15
_REPEAT_FIRST = 2.0  # a line that begins with the sign of the bar before
_MOST_COMPACT = 2  # bars that stand at their natural width where they are a stretch, or end one
_COMPACT, _LOOSE = 0.5, 1.15  # share of the page up to which they do; how much wider than measured
_REPEAT = "as the bar before"

_DRAWN = (*PLAYED, "rise", "finger", "stroke")  # of a note


class _Bars(NamedTuple):
    """First and last played measure, those between them that repeat the bar before, and whether
    notation stands over their tablature.
    """

    first: int
    last: int
    repeated: frozenset[int]
    has_notes: bool

    def places(self) -> list[int]:
        """Return which of the bars, from 0, repeat the bar before."""
        return [bar - self.first for bar in sorted(self.repeated)]


class DrawnPart(NamedTuple):
    """A part to engrave: what all its stretches have in common.

    Parameters
    ----------
    song, name, lines, staves
    notes : DataFrame
        Of ``marked_notes``.
    held : list
        What each bar of the song holds, to be compared.
    signs : list of (meter, key)
        Of each bar of the song.
    """

    song: Song
    name: str
    notes: pd.DataFrame
    staves: PartStaves
    lines: BarLines
    held: list[Any]
    signs: list[tuple[Any, Any]]


class Prepared(NamedTuple):
    """A part's stretches with the width of each bar, to be engraved once or in several sizes."""

    part: DrawnPart
    stretches: list[tuple[_Bars, list[float]]]

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


def drawn_part(song: Song, part: str, fingers: Sequence[float] | None = None) -> DrawnPart:
    """Return a part to engrave.

    Parameters
    ----------
    song : Song
    part : str
    fingers : sequence of float, optional
        The fretting finger of each note of the part, in the order of the song's notes; 0, NaN or
        none for none. It is drawn where the hand moves or stretches.

    Raises
    ------
    ArrangeError
        If a bar holds more notes than can be drawn.
    """
    held = song.notes["measure"][song.notes["part"] == part].value_counts()
    if len(held) and held.iloc[0] > _MOST_NOTES:
        raise _too_full(part, int(held.index[0]))
    notes = marked_notes(song, part, fingers)
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
        measured.append((_Bars(*ends, repeated, each[0].has_notes), bars))
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


def _cut(first: int, last: int, lines: BarLines, *, has_notes: bool) -> list[_Bars]:
    """A stretch cut before each measure that may begin one."""
    starts = [first, *(bar for bar in range(first + 1, last + 1) if not lines.is_closed[bar - 1])]
    ends = [start - 1 for start in starts[1:]] + [last]
    repeated = repeated_bars(first, last, lines.is_same, _MOST_BARS)
    return [_Bars(start, end, repeated & frozenset(range(start, end + 1)), has_notes)
            for start, end in zip(starts, ends, strict=True)]  # fmt: skip


class _Content(NamedTuple):
    """What a stretch looks like on the page, but for its bar numbers.

    `signs` are meter and, in notation, key of each bar, `begins` is True where those of its first
    bar are new.
    """

    has_notes: bool
    signs: tuple[tuple[Any, Any], ...]
    begins: bool
    is_end: bool
    notes: tuple[Any, ...]
    chords: tuple[tuple[float, float, str], ...]


def _contents(part: DrawnPart, stretches: Sequence[_Bars]) -> list[_Content]:
    song = part.song
    starts = song.measures["onset"].tolist()
    ends = [*starts[1:], song.duration]
    before, found = None, []
    for stretch in stretches:
        first, last, repeated, has_notes = stretch
        own = tuple(
            (meter, key if has_notes else None) for meter, key in part.signs[first - 1 : last]
        )
        held = tuple(_REPEAT if bar in repeated else part.held[bar - 1]
                     for bar in range(first, last + 1))  # fmt: skip
        chords = chord_contents(song, starts[first - 1], ends[last - 1])
        begins = own[0] != before
        found.append(_Content(has_notes, own, begins, last == len(starts), held, chords))
        before = own[-1]
    return found


def _documents(contents: Sequence[_Content]) -> Iterator[list[int]]:
    """The places of those that are engraved together: all with notation or all without, and in one
    meter and key, since the engraver warns at the end of a line of a meter or key that follows.
    """
    own: list[int] = []
    bars = 0
    for place, content in enumerate(contents):
        is_other = bool(own) and (
            content.begins
            or contents[own[-1]].signs[-1] != content.signs[0]
            or contents[own[-1]].has_notes != content.has_notes
        )
        if own and (is_other or bars + len(content.signs) > _MOST_AT_ONCE):
            yield own
            own, bars = [], 0
        own.append(place)
        bars += len(content.signs)
    if own:
        yield own


class _Document(NamedTuple):
    """Stretches as MusicXML; `lead` is 1 where a bar more stands before them, else 0."""

    lead: int
    text: str
    numbers: list[int]
    symbols: list[tuple[int, str]]
    signs: list[TabSign]


def _document(part: DrawnPart, stretches: Sequence[_Bars], *, begins: bool) -> _Document:
    """The stretches as one document. Where meter and key are not new, a bar leads with them."""
    start, *_, has_notes = stretches[0]
    lead = [] if begins else [_Bars(start, start, frozenset(), has_notes)]
    all_bars = [*lead, *stretches]
    counts = [bars.last - bars.first + 1 for bars in all_bars]
    begun = np.cumsum(counts) - counts
    repeated = {int(at) + place for at, bars in zip(begun, all_bars, strict=True)
                for place in bars.places()}  # fmt: skip
    ends = [(bars.first, bars.last) for bars in all_bars]
    excerpt = part_excerpt(part.song, part.name, ends, part.staves, repeated, has_notes=has_notes)
    text = format_tree(excerpt.root).decode()
    return _Document(len(lead), text, excerpt.numbers, excerpt.symbols, excerpt.signs)


def _phrase_widths(part: DrawnPart, phrases: Sequence[_Bars]) -> list[list[float]]:
    """The widths of the bars of each phrase, in page units."""
    contents = _contents(part, phrases)
    bars_of = dict(zip(reversed(contents), reversed(phrases), strict=True))
    different = list(dict.fromkeys(contents))
    found: dict[_Content, list[float]] = {}
    for places in _documents(different):
        own = [different[place] for place in places]
        text = _document(part, [bars_of[each] for each in own], begins=own[0].begins)
        widths = iter(bar_widths(text.text)[text.lead :])
        found.update({each: list(itertools.islice(widths, len(each.signs))) for each in own})
    return [found[content] for content in contents]


class _Passage(NamedTuple):
    """Lines that something sounds across: their bars, how many each has, the page's width, and how
    much of it they fill.
    """

    bars: _Bars
    lines: tuple[int, ...]
    width: float
    natural: float


def _passages(
    part: str, stretch: _Bars, bars: Sequence[float], width: float, is_closed: Array
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
            _Bars(*ends, repeated, stretch.has_notes), tuple(end - start for start, end in own),
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
    contents = _contents(part, [passage.bars for passage in passages])
    keys = [((passage.width, passage.natural), content, passage.lines)
            for passage, content in zip(passages, contents, strict=True)]  # fmt: skip
    passage_of = dict(zip(reversed(keys), reversed(passages), strict=True))
    found: dict[Any, list[System]] = {}
    for widths in dict.fromkeys(key[0] for key in keys):
        different = [key for key in dict.fromkeys(keys) if key[0] == widths]
        for places in _documents([content for _, content, _ in different]):
            own = [different[place] for place in places]
            begins = own[0][1].begins
            held = [passage_of[key] for key in own]
            systems = iter(_engraved(part, held, staff_mm, begins=begins))
            found.update({key: list(itertools.islice(systems, len(key[2]))) for key in own})
    return [
        [system.moved(passage.bars.first - passage_of[key].bars.first) for system in found[key]]
        for key, passage in zip(keys, passages, strict=True)
    ]


def _engraved(
    part: DrawnPart, passages: Sequence[_Passage], staff_mm: float, *, begins: bool
) -> Iterator[System]:
    """The systems of passages that are engraved together, one after the other."""
    document = _document(part, [passage.bars for passage in passages], begins=begins)
    lines = list(itertools.chain.from_iterable(passage.lines for passage in passages))
    starts = [document.lead, *(document.lead + np.cumsum(lines)).tolist()]
    text = pages_before({*starts} - {0}, document.text, len(document.numbers))
    width, natural = passages[0].width, passages[0].natural
    pages = score_pages(text, breaks="encoded", pageWidth=round(natural), pageHeight=100)
    for (start, end), page in zip(itertools.pairwise(starts), pages[document.lead :], strict=True):
        symbols = [symbol for bar, symbol in document.symbols if start <= bar < end]
        bars = document.numbers[start], document.numbers[end - 1]
        system = system_of(page, symbols, document.signs, bars, staff_mm)
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
