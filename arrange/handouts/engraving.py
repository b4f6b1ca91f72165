"""A part's sections as engraved systems: notation, and tablature below where there are strings.

Stretches of a part are engraved in one go, one picture a system; those that hold the same are
engraved once, and differ in their bar numbers alone. Bars are spaced once to
learn how wide each is; then lines are broken, after four or eight bars where that fits, and never
inside a bar. What depends on a typeface (chord symbols, fret numbers, bar numbers) is written
into the pictures here.
"""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import verovio

from arrange.errors import ArrangeError
from arrange.handouts.excerpts import MUTED, chords_within, part_excerpt
from arrange.handouts.playing import bar_contents
from arrange.tables.song import Song
from arrange.text.markup import escape_html

STAFF_MM = 6.7  # height of the five lines, parts have some 7 mm (common practice)
_STAFF_UNITS = 72.0  # the engraver's height of a staff, in its page units
_IN_PICTURE = 10.0  # of the picture's coordinates to one page unit
_LEFT = 62  # page units for the bar number, left of the staff
_BEFORE_BARS = 240  # page units that the head of a line takes: number, clef, key, meter
_MOST_BARS = 8  # a line
_WIDEST = 100_000  # page units that the engraver can draw
_MOST_NOTES = 600  # in a bar; six strings struck a hundred times, and more than a line can show
_MOST_AT_ONCE = 96  # bars: the time that the engraver takes grows with their square
_NEW_PAGE = '<print new-page="yes" />'
_TIGHT = 1.04  # how much wider than the page bars may be; they are then pushed together
# What a line costs that does not keep to groups of four bars, against one more line. By eye.
_ODD_LINE, _UNEVEN_LINE = 0.3, 0.15

_DRAWN = ("voice", "pitch", "string", "fret", "technique", "grace")  # of a note
_SYMBOL_SIZE, _FRET_SIZE, _NUMBER_SIZE = 450, 380, 300  # picture coordinates
_WIDE = 0.7  # of a letter or digit, against its size
_STYLE = (
    "<style>.engraved path, .engraved rect, .engraved ellipse, .engraved polygon, "
    ".engraved polyline {stroke: #000} .engraved text {stroke: none}</style>"
)
_OPTIONS = {
    "xmlIdSeed": 1, "scale": 100, "header": "none", "footer": "none", "svgViewBox": True,
    "adjustPageHeight": True, "smuflTextFont": "none", "mnumInterval": 0, "unit": 9,
    "pageMarginLeft": _LEFT, "pageMarginRight": 2, "pageMarginTop": 6, "pageMarginBottom": 6,
    "staffLineWidth": 0.18, "stemWidth": 0.26, "barLineWidth": 0.36, "spacingStaff": 4,
    "defaultBottomMargin": 2.5, "defaultTopMargin": 1.5,
    "minLastJustification": 0.3, "harmDist": 1.6, "condense": "none",
}  # fmt: skip


@dataclass(frozen=True)
class System:
    """A line of engraved bars.

    Parameters
    ----------
    first, last : int
        Played measures.
    picture : str
        SVG.
    height : float
        Against its width.
    """

    first: int
    last: int
    picture: str
    height: float

    def moved(self, bars: int) -> System:
        """Return the same system some bars later."""
        old, new = (f">{number}</text>" for number in (self.first, self.first + bars))
        picture = self.picture.replace(old, new, 1)  # the bar number is the first text of a line
        return System(self.first + bars, self.last + bars, picture, self.height)


def engrave(
    song: Song,
    part: str,
    stretches: Sequence[tuple[int, int]],
    width_mm: float,
    staff_mm: float = STAFF_MM,
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
        Height of the five lines. A bar wider than a line makes its run smaller.
    """
    held = song.notes["measure"][song.notes["part"] == part].value_counts()
    if len(held) and held.iloc[0] > _MOST_NOTES:
        raise _too_full(part, int(held.index[0]))
    width = width_mm / staff_mm * _STAFF_UNITS
    contents = _contents(song, part, stretches)
    different = dict(zip(reversed(contents), reversed(stretches), strict=True))
    systems = {}
    for run in _runs([(each, *different[each]) for each in dict.fromkeys(contents)]):
        made = _engraved_run(song, part, [(first, last) for _, first, last in run], width)
        systems.update({each: own for (each, _, _), own in zip(run, made, strict=True)})
    return [
        [system.moved(first - different[each][0]) for system in systems[each]]
        for each, (first, _) in zip(contents, stretches, strict=True)
    ]


class _Content(NamedTuple):
    """What tells one stretch from another on the page, but for its bar numbers.

    `signs` are meter and key of each bar, `begins` is True where those of its first bar are new.
    """

    signs: tuple[tuple[Any, Any], ...]
    begins: bool
    is_end: bool
    notes: tuple[Any, ...]
    chords: tuple[tuple[float, float, str], ...]


def _contents(song: Song, part: str, stretches: Sequence[tuple[int, int]]) -> list[_Content]:
    measures = song.measures[["meter", "key"]].astype(object)
    signs = list(zip(*(measures[name].where(measures[name].notna(), None) for name in measures),
                     strict=True))  # fmt: skip
    notes = bar_contents(song, song.notes[song.notes["part"] == part], _DRAWN)
    starts = song.measures["onset"].tolist()
    ends = [*starts[1:], song.duration]
    before, found = None, []
    for first, last in stretches:
        start, own = starts[first - 1], tuple(signs[first - 1 : last])
        held = chords_within(song, start, ends[last - 1])
        chords = zip((held["onset"] - start).round(6).tolist(), held["duration"].round(6).tolist(),
                     held["symbol"].tolist(), strict=True)  # fmt: skip
        found.append(_Content(own, own[0] != before, last == len(starts),
                              tuple(notes[first - 1 : last]), tuple(chords)))  # fmt: skip
        before = own[-1]
    return found


def _runs(
    stretches: Sequence[tuple[_Content, int, int]],
) -> Iterator[list[tuple[_Content, int, int]]]:
    """The stretches in runs of one meter and key, or a line would warn of what does not follow."""
    run: list[tuple[_Content, int, int]] = []
    for stretch in stretches:
        if run and (stretch[0].begins or run[-1][0].signs[-1] != stretch[0].signs[0]):
            yield run
            run = []
        run.append(stretch)
    if run:
        yield run


class _Piece(NamedTuple):
    """Some stretches of a run, engraved at once.

    `lead` is 1 where the bar before them comes first, so that no line begins with the meter
    again, else 0; `bars` are widths.
    """

    stretches: Sequence[tuple[int, int]]
    lead: int
    text: str
    numbers: list[int]
    symbols: list[tuple[int, str]]
    bars: list[float]


def _engraved_run(
    song: Song, part: str, stretches: Sequence[tuple[int, int]], width: float
) -> list[list[System]]:
    pieces = [_piece(song, part, *own) for own in _pieces(stretches)]
    widest = max(max(piece.bars[piece.lead :]) for piece in pieces)
    width = max(width, (widest + _BEFORE_BARS) / _TIGHT)
    if width > _WIDEST:
        first = next(
            piece.numbers[piece.bars.index(widest)] for piece in pieces if widest in piece.bars
        )
        raise _too_full(part, first)
    return [systems for piece in pieces for systems in _engraved_piece(piece, width)]


def _too_full(part: str, bar: int) -> ArrangeError:
    return ArrangeError(
        f"{part}, bar {bar}: it holds more notes than a line of notation; write it as several "
        "bars, or ask for shapes"
    )


def _pieces(
    stretches: Sequence[tuple[int, int]],
) -> Iterator[tuple[list[tuple[int, int]], list[tuple[int, int]]]]:
    """The stretches in pieces of some bars, each with the bar before it, if there is one."""
    own: list[tuple[int, int]] = []
    lead: list[tuple[int, int]] = []
    for first, last in stretches:
        if own and sum(b - a + 1 for a, b in own) + last - first >= _MOST_AT_ONCE:
            yield lead, own
            lead, own = [(own[-1][1], own[-1][1])], []
        own.append((first, last))
    yield lead, own


def _piece(
    song: Song, part: str, lead: list[tuple[int, int]], stretches: list[tuple[int, int]]
) -> _Piece:
    root, numbers, symbols = part_excerpt(song, part, [*lead, *stretches])
    text = ET.tostring(root, encoding="unicode")
    return _Piece(stretches, len(lead), text, numbers, symbols, _bar_widths(text))


def _engraved_piece(piece: _Piece, width: float) -> list[list[System]]:
    """The systems of each stretch."""
    lengths = [last - first + 1 for first, last in piece.stretches]
    lines = [
        (stretch, first + piece.lead, end + piece.lead)
        for stretch, first, end in _lines(piece.bars[piece.lead :], lengths, width)
    ]
    starts = {first for _, first, _ in lines if first}
    text = _broken_before(starts, piece.text, len(piece.numbers))
    pages = _render(text, breaks="encoded", pageWidth=round(width), pageHeight=100)[piece.lead :]
    systems: list[list[System]] = [[] for _ in lengths]
    for (stretch, first, end), page in zip(lines, pages, strict=True):
        own = [symbol for bar, symbol in piece.symbols if first <= bar < end]
        numbers = piece.numbers[first], piece.numbers[end - 1]
        picture, height = _finished(page, own, numbers[0])
        systems[stretch].append(System(*numbers, picture, height))
    return systems


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
    return [(float(right) - float(left)) / _IN_PICTURE
            for left, right in _STAFF_LINE.findall(_without(picture, _UNWANTED))]  # fmt: skip


def _lines(
    bars: Sequence[float], lengths: Sequence[int], width: float
) -> Iterator[tuple[int, int, int]]:
    """Each line's stretch, its first bar and the bar after its last, bars from 0."""
    before = 0
    for stretch, length in enumerate(lengths):
        for first, end in _broken(bars[before : before + length], width - _BEFORE_BARS):
            yield stretch, before + first, before + end
        before += length


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


_VIEW = re.compile(r'<svg class="definition-scale"[^>]*viewBox="0 0 ([\d.]+) ([\d.]+)"[^>]*>')
_SHELL = re.compile(r"<svg [^>]*>")
_MARGIN = re.compile(r'class="page-margin" transform="translate\([^,]+, ([\d.]+)\)"')
_TOP = re.compile(r'class="staff">\s*<path d="M-?[\d.]+ (-?[\d.]+) ')
_HARM = re.compile(
    r'(<g [^>]*class="harm">)\s*<text x="(-?[\d.]+)" y="(-?[\d.]+)".*?</text>', re.DOTALL
)
_FRET = re.compile(
    r'<g id="([^"]*)" (class="note">)\s*<text x="(-?[\d.]+)" y="(-?[\d.]+)"[^>]*>\s*'
    r"<tspan[^>]*>([^<]*)</tspan>\s*</text>",
    re.DOTALL,
)
_UNWANTED = re.compile(
    r'<g id="[^"]*"(?: [a-z-]+="[^"]*")*? class="(?:mNum\b[^"]*|[^"]*placeholder[^"]*)"'
)
_ID = re.compile(r' id="(?!E[0-9A-F]{3})[^"]*"')
_OWN_STYLE = re.compile(r"<style type=\"text/css\">.*?</style>", re.DOTALL)
# Heights of what is drawn: signs, stems and lines, corners of beams, ends of ties.
_HEIGHTS = re.compile(
    r'translate\(-?[\d.]+, (-?[\d.]+)\)|[ML]-?[\d.]+[ ,](-?[\d.]+)|points="-?[\d.]+,(-?[\d.]+)'
)
_ACCIDENTAL = re.compile(r'class="accid">\s*<use [^>]*translate\(-?[\d.]+, (-?[\d.]+)\)')
_ACCIDENTAL_HIGH = 260  # of a sharp or natural over its line, about
_SIGN_HIGH = 160  # half a sign's height, about
_CLEF_HIGH = 330  # over the upper line


def _finished(picture: str, symbols: Sequence[str], number: int) -> tuple[str, float]:
    """The picture with our type in it, cut to what it holds, and its height against its width."""
    picture = _without(picture, _UNWANTED)
    width = float(_VIEW.search(picture)[1])  # type: ignore[index]
    body = picture[picture.index('class="system"') :]
    heights = [float(next(filter(None, found))) for found in _HEIGHTS.findall(body)]
    staff_top = float(_TOP.search(picture)[1])  # type: ignore[index]
    alone = [float(height) - _ACCIDENTAL_HIGH for height in _ACCIDENTAL.findall(body)]
    top = min(min(heights) - _SIGN_HIGH, staff_top - _CLEF_HIGH, *alone)
    bottom = max(heights) + _SIGN_HIGH
    row = top - 60  # the chord symbols stand in a row above all of it
    picture = _with_symbols(picture, symbols, row, width)
    picture = _FRET.sub(lambda found: f"<g {found[2]}{_fret(found)}", picture)
    label = _text(-75, staff_top - 40, str(number), _NUMBER_SIZE, "end")
    picture = picture.replace('class="system">', f'class="system">{label}', 1)
    picture = _OWN_STYLE.sub(_STYLE, _ID.sub("", picture))
    first = row - _SYMBOL_SIZE if symbols else top
    first += float(_MARGIN.search(picture)[1])  # type: ignore[index]
    high = bottom - (row - _SYMBOL_SIZE if symbols else top)
    shell = (
        f'<svg class="engraved" viewBox="0 {first:.0f} {width:.0f} {high:.0f}" version="1.1" '
        'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
    )
    picture = _VIEW.sub('<g color="black">', picture, count=1)
    picture = _SHELL.sub(shell, picture, count=1)
    picture = re.sub(r"</svg>\s*</svg>\s*$", "</g></svg>", picture)
    return picture, high / width


def _with_symbols(picture: str, symbols: Sequence[str], row: float, width: float) -> str:
    """The picture with these chord symbols in a row, each as narrow as the next one asks."""
    places = [float(found[2]) for found in _HARM.finditer(picture)]
    rooms = [
        after - own for own, after in itertools.pairwise([*places, width - _LEFT * _IN_PICTURE])
    ]
    waiting = iter(zip(symbols, rooms, strict=False))

    def drawn(found: re.Match[str]) -> str:
        symbol, room = next(waiting, ("", width))
        wide = _WIDE * _SYMBOL_SIZE * len(symbol)
        narrow = min(1.0, (room - 220) / wide) if symbol else 1.0
        return found[1] + _text(float(found[2]), row, symbol, _SYMBOL_SIZE, narrow=narrow)

    return _HARM.sub(drawn, picture)


def _fret(found: re.Match[str]) -> str:
    """A fret number on a patch of white, so that no line runs through it."""
    number = "×" if found[1].startswith(MUTED) else found[5].strip()
    narrow = 1.0 if len(number) < 2 else 0.8
    x, y = float(found[3]), float(found[4])
    wide = _WIDE * _FRET_SIZE * narrow * len(number)
    patch = (
        f'<rect x="{x - wide / 2:.0f}" y="{y - 0.74 * _FRET_SIZE:.0f}" width="{wide:.0f}" '
        f'height="{0.76 * _FRET_SIZE:.0f}" style="fill:#fff;stroke:none"/>'
    )
    return patch + _text(x, y, number, _FRET_SIZE, "middle", narrow)


def _text(
    x: float, y: float, words: str, size: int, anchor: str = "start", narrow: float = 1.0
) -> str:
    place = f'x="{x:.0f}" y="{y:.0f}"'
    if narrow < 1:
        place = f'transform="translate({x:.0f} {y:.0f}) scale({max(narrow, 0.4):.2f} 1)"'
    return (
        f'<text {place} text-anchor="{anchor}" font-size="{size}px" '
        f'font-family="DejaVu Sans, sans-serif" font-weight="bold">{escape_html(words)}</text>'
    )


def _without(picture: str, unwanted: re.Pattern[str]) -> str:
    """Without the groups that begin so."""
    pieces, at = [], 0
    for found in unwanted.finditer(picture):
        if found.start() >= at:
            pieces.append(picture[at : found.start()])
            at = _group_end(picture, found.start())
    return "".join([*pieces, picture[at:]])


_GROUP = re.compile(r"<g\b[^>]*?(/?)>|</g>")


def _group_end(picture: str, start: int) -> int:
    """Where the group that begins at `start` ends."""
    depth = 0
    for found in _GROUP.finditer(picture, start):
        depth += -1 if found[0] == "</g>" else not found[1]
        if not depth:
            return found.end()
    return len(picture)
