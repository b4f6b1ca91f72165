"""A part's sections as engraved systems: notation, and tablature below where there are strings.

A part is cut into phrases at the bar lines that nothing sounds across. Phrases that hold the same
are measured once; lines are then broken, after four or eight bars where that fits, and never
inside a bar; lines that hold the same are engraved once. Many are engraved in one go, a page each.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import verovio

from arrange.errors import ArrangeError
from arrange.explaining.part_sections import bar_contents
from arrange.formats.musicxml.writing import format_tree
from arrange.formats.musicxml.writing_layers import LEADING
from arrange.guitar.necks import Array
from arrange.handouts.excerpts import chords_within, part_excerpt
from arrange.handouts.systems import IN_PICTURE, LEFT, System, drawn_groups, system_of
from arrange.tables.song import Song

STAFF_MM = 6.7  # height of the five lines, parts have some 7 mm (common practice)
_STAFF_UNITS = 72.0  # the engraver's height of a staff, in its page units
_BEFORE_BARS = 240  # page units that the head of a line takes: number, clef, key, meter
_MOST_BARS = 8  # a line
_WIDEST = 100_000  # page units that the engraver can draw
_MOST_NOTES = 600  # in a bar; six strings struck a hundred times, and more than a line can show
_MOST_AT_ONCE = 96  # bars: the time that the engraver takes grows with their square
_NEW_PAGE = '<print new-page="yes" />'
_TIGHT = 1.04  # how much wider than the page bars may be; they are then pushed together
# What a line costs that does not keep to groups of four bars, against one more line. By eye.
_ODD_LINE, _UNEVEN_LINE = 0.3, 0.15
_NEAR = 1e-6  # quarter notes

_DRAWN = ("voice", "pitch", "string", "fret", "technique", "grace")  # of a note
_OPTIONS = {
    "xmlIdSeed": 1, "scale": 100, "header": "none", "footer": "none", "svgViewBox": True,
    "adjustPageHeight": True, "smuflTextFont": "none", "mnumInterval": 0, "unit": 9,
    "pageMarginLeft": LEFT, "pageMarginRight": 2, "pageMarginTop": 6, "pageMarginBottom": 6,
    "staffLineWidth": 0.18, "stemWidth": 0.26, "barLineWidth": 0.36, "spacingStaff": 4,
    "defaultBottomMargin": 2.5, "defaultTopMargin": 1.5,
    "minLastJustification": 0.3, "harmDist": 1.6, "condense": "none",
}  # fmt: skip

_Bars = tuple[int, int]  # first and last played measure


def engrave(
    song: Song, part: str, stretches: Sequence[_Bars], width_mm: float, staff_mm: float = STAFF_MM
) -> list[list[System]]:
    """Return the systems of each stretch of a part.

    Parameters
    ----------
    song : Song
    part : str
    stretches : sequence of (first, last)
        Played measures.
    width_mm : float
        Of a system.
    staff_mm : float
        Height of the five lines. A bar wider than a line makes its stretch smaller.
    """
    held = song.notes["measure"][song.notes["part"] == part].value_counts()
    if len(held) and held.iloc[0] > _MOST_NOTES:
        raise _too_full(part, int(held.index[0]))
    if not stretches:
        return []
    width = width_mm / staff_mm * _STAFF_UNITS
    is_closed = _closed_lines(song, part)
    phrases = [_cut(first, last, ~is_closed) for first, last in stretches]
    widths = iter(_phrase_widths(song, part, list(itertools.chain(*phrases))))
    passages = []
    for own in phrases:
        bars = list(itertools.chain.from_iterable(next(widths) for _ in own))
        passages.append(_passages(part, own[0][0], bars, width, is_closed))
    systems = iter(_passage_systems(song, part, list(itertools.chain(*passages))))
    return [list(itertools.chain.from_iterable(next(systems) for _ in own)) for own in passages]


def _closed_lines(song: Song, part: str) -> Array:
    """By measure, whether its left bar line may not be cut: a note, a chord symbol or a slide
    goes over it, or meter or key are new there.
    """
    own = song.notes[song.notes["part"] == part].sort_values("onset", kind="stable")
    lines = song.measures["onset"].to_numpy()
    after = own.groupby("string", dropna=False)["onset"].shift(-1).fillna(song.duration)
    leads = own["technique"].fillna("").str.contains("|".join(LEADING)).to_numpy(dtype=bool)
    onset = np.concatenate([own["onset"], own["onset"][leads], song.chords["onset"]])
    end = np.concatenate([
        own["onset"] + own["duration"], after[leads] + 2 * _NEAR,
        song.chords["onset"] + song.chords["duration"],
    ])  # fmt: skip
    change = np.zeros(len(lines) + 1, dtype=np.int64)  # of how much goes over each line
    np.add.at(change, np.searchsorted(lines, onset + _NEAR), 1)
    np.add.at(change, np.searchsorted(lines, np.maximum(end, onset + 2 * _NEAR) - _NEAR), -1)
    signs = song.measures[["meter", "key"]].fillna("")
    is_new = (signs != signs.shift()).any(axis=1).to_numpy()
    return np.concatenate([[True], (np.cumsum(change)[:-1] > 0) | is_new])


def _cut(first: int, last: int, may_begin: Array) -> list[_Bars]:
    """A stretch cut before each measure that may begin one."""
    starts = [first, *(bar for bar in range(first + 1, last + 1) if may_begin[bar])]
    return list(zip(starts, [start - 1 for start in starts[1:]] + [last], strict=True))


class _Content(NamedTuple):
    """What a stretch looks like on the page, but for its bar numbers.

    `signs` are meter and key of each bar, `begins` is True where those of its first bar are new.
    """

    signs: tuple[tuple[Any, Any], ...]
    begins: bool
    is_end: bool
    notes: tuple[Any, ...]
    chords: tuple[tuple[float, float, str], ...]


def _contents(song: Song, part: str, stretches: Sequence[_Bars]) -> list[_Content]:
    measures = song.measures[["meter", "key"]].astype(object)
    signs = list(zip(*(measures[name].where(measures[name].notna(), None) for name in measures),
                     strict=True))  # fmt: skip
    notes = bar_contents(song, song.notes[song.notes["part"] == part], _DRAWN)
    starts = song.measures["onset"].tolist()
    ends = [*starts[1:], song.duration]
    symbols = song.chords["symbol"].tolist()
    before, found = None, []
    for first, last in stretches:
        start, own = starts[first - 1], tuple(signs[first - 1 : last])
        rows, onset, length = chords_within(song, start, ends[last - 1])
        chords = zip((onset - start).round(6).tolist(), length.round(6).tolist(),
                     (symbols[row] for row in rows), strict=True)  # fmt: skip
        found.append(_Content(own, own[0] != before, last == len(starts),
                              tuple(notes[first - 1 : last]), tuple(chords)))  # fmt: skip
        before = own[-1]
    return found


def _documents(contents: Sequence[_Content]) -> Iterator[list[int]]:
    """The places of those that are engraved together: some bars of one meter and key, or a line
    would warn of what does not follow.
    """
    own: list[int] = []
    bars = 0
    for place, content in enumerate(contents):
        is_other = own and (content.begins or contents[own[-1]].signs[-1] != content.signs[0])
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


def _document(song: Song, part: str, stretches: Sequence[_Bars], *, begins: bool) -> _Document:
    """The stretches as one document. Where meter and key are not new, a bar leads with them."""
    lead = [] if begins else [(stretches[0][0], stretches[0][0])]
    root, numbers, symbols = part_excerpt(song, part, [*lead, *stretches])
    return _Document(len(lead), format_tree(root).decode(), numbers, symbols)


def _phrase_widths(song: Song, part: str, phrases: Sequence[_Bars]) -> list[list[float]]:
    """The widths of the bars of each phrase, in page units."""
    contents = _contents(song, part, phrases)
    bars_of = dict(zip(reversed(contents), reversed(phrases), strict=True))
    different = list(dict.fromkeys(contents))
    found: dict[_Content, list[float]] = {}
    for places in _documents(different):
        own = [different[place] for place in places]
        text = _document(song, part, [bars_of[each] for each in own], begins=own[0].begins)
        widths = iter(_bar_widths(text.text)[text.lead :])
        found.update({each: list(itertools.islice(widths, len(each.signs))) for each in own})
    return [found[content] for content in contents]


class _Passage(NamedTuple):
    """Lines that something sounds across: their bars, how many each has, and the page's width."""

    first: int
    lines: tuple[int, ...]
    width: float

    def bars(self) -> _Bars:
        return self.first, self.first + sum(self.lines) - 1


def _passages(
    part: str, first: int, bars: Sequence[float], width: float, is_closed: Array
) -> list[_Passage]:
    """A stretch broken into lines, and cut between those that nothing sounds across."""
    width = max(width, (max(bars) + _BEFORE_BARS) / _TIGHT)
    if width > _WIDEST:
        raise _too_full(part, first + bars.index(max(bars)))
    passages: list[_Passage] = []
    for start, end in _broken(bars, width - _BEFORE_BARS):
        if passages and is_closed[first + start]:
            before = passages.pop()
            passages.append(before._replace(lines=(*before.lines, end - start)))
        else:
            passages.append(_Passage(first + start, (end - start,), width))
    return passages


def _too_full(part: str, bar: int) -> ArrangeError:
    return ArrangeError(
        f"{part}, bar {bar}: it holds more notes than a line of notation; write it as several "
        "bars, or ask for shapes"
    )


def _passage_systems(song: Song, part: str, passages: Sequence[_Passage]) -> list[list[System]]:
    """The systems of each passage; those that hold the same are engraved once."""
    contents = _contents(song, part, [passage.bars() for passage in passages])
    keys = [(passage.width, content, passage.lines)
            for passage, content in zip(passages, contents, strict=True)]  # fmt: skip
    passage_of = dict(zip(reversed(keys), reversed(passages), strict=True))
    found: dict[tuple[float, _Content, tuple[int, ...]], list[System]] = {}
    for width in dict.fromkeys(key[0] for key in keys):
        different = [key for key in dict.fromkeys(keys) if key[0] == width]
        for places in _documents([content for _, content, _ in different]):
            own = [different[place] for place in places]
            begins = own[0][1].begins
            systems = iter(_engraved(song, part, [passage_of[key] for key in own], begins=begins))
            found.update({key: list(itertools.islice(systems, len(key[2]))) for key in own})
    return [
        [system.moved(passage.first - passage_of[key].first) for system in found[key]]
        for key, passage in zip(keys, passages, strict=True)
    ]


def _engraved(
    song: Song, part: str, passages: Sequence[_Passage], *, begins: bool
) -> Iterator[System]:
    """The systems of passages that are engraved together, one after the other."""
    document = _document(song, part, [passage.bars() for passage in passages], begins=begins)
    lines = list(itertools.chain.from_iterable(passage.lines for passage in passages))
    starts = [document.lead, *(document.lead + np.cumsum(lines)).tolist()]
    text = _broken_before({*starts} - {0}, document.text, len(document.numbers))
    pages = _render(text, breaks="encoded", pageWidth=round(passages[0].width), pageHeight=100)
    for (start, end), page in zip(itertools.pairwise(starts), pages[document.lead :], strict=True):
        own = [symbol for bar, symbol in document.symbols if start <= bar < end]
        yield system_of(page, own, document.numbers[start], document.numbers[end - 1])


@cache
def _toolkit() -> Any:
    verovio.enableLog(verovio.LOG_ERROR)
    return verovio.toolkit()


def _render(xml: str, **options: Any) -> list[str]:
    """A picture a page."""
    toolkit = _toolkit()
    toolkit.resetOptions()
    toolkit.setOptions({**_OPTIONS, **options})
    toolkit.resetXmlIdSeed(1)  # or ids go on from the piece before
    toolkit.loadData(xml)
    return [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]


_STAFF_LINE = re.compile(
    r'class="measure">\s*<g [^>]*class="staff">\s*<path d="M(-?[\d.]+) [\d.]+ L(-?[\d.]+) '
)


def _bar_widths(xml: str) -> list[float]:
    """Width of each bar in page units, where none is pushed together."""
    (picture,) = _render(xml, breaks="none", adjustPageWidth=True, pageWidth=60000)
    return [(float(right) - float(left)) / IN_PICTURE
            for left, right in _STAFF_LINE.findall(drawn_groups(picture))]  # fmt: skip


def _broken(bars: Sequence[float], room: float) -> list[tuple[int, int]]:
    """The best way to break a stretch into lines."""
    best = [(0.0, 0)]  # up to each bar: what the lines cost, and where the last one begins
    for end in range(1, len(bars) + 1):
        ways = []
        for start in range(max(end - _MOST_BARS, 0), end):
            count = end - start
            if count == 1 or sum(bars[start:end]) <= room * _TIGHT:
                odd = _ODD_LINE * bool(start % 4) + _UNEVEN_LINE * (count not in (2, 4, 8))
                ways.append((best[start][0] + 1 + odd, start))
        best.append(min(ways))
    lines, end = [], len(bars)
    while end:
        lines.append((best[end][1], end))
        end = best[end][1]
    return lines[::-1]


_MEASURE = re.compile(r"<measure [^>]*>")


def _broken_before(bars: set[int], xml: str, count: int) -> str:
    """The score in which a new page of the engraver's begins with each of these bars.

    `count` is how many bars each of its staves has.
    """
    places = itertools.count()
    return _MEASURE.sub(lambda found: found[0] + _NEW_PAGE * (next(places) % count in bars), xml)
