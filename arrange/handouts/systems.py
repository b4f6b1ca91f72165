"""A line of engraved bars: what the engraver drew, with our type in it.

What depends on a typeface (chord symbols, fret numbers) is written into the picture here. The bar
number is not in the picture: lines that hold the same are the same picture.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import verovio

from arrange.handouts.excerpts import HELD, MUTED, TOUCHED
from arrange.handouts.tab_signs import Number, TabSign, TabStaff, draw_signs
from arrange.text.markup import escape_html

IN_PICTURE = 10.0  # of the picture's coordinates to one of the engraver's page units
LEFT = 62  # page units for the bar number, left of the staff

_NUMBER_X = LEFT * IN_PICTURE - 75  # where a bar number ends
# Sizes of type in picture coordinates, and the least heights of capitals and digits. By eye.
_SYMBOL_SIZE, _FRET_SIZE, _NUMBER_SIZE, _COUNT_SIZE = 450, 380, 300, 300
_SYMBOL_MM, _FRET_MM, _NUMBER_MM, _COUNT_MM = 2.6, 2.0, 1.6, 1.8
_STAFF_HIGH = 720.0
_CAPITAL = 0.729  # height of capitals and digits of DejaVu Sans, against the size
_ASCENDER = 0.78  # of the highest letters: flats, brackets
_OVER_STRING = 110  # where the engraver sets a fret number, below its string
_WIDE = 0.7  # of a digit, against its size
_BRACKETS = 0.7  # of a digit, by which two brackets are narrower than two digits
_FRET_GAP = 0.25  # between two numbers on a string, against their size
_SYMBOL_WIDE = 0.82  # of a letter of a chord symbol: "m" and "#" are wider than others
_STYLE = (
    "<style>.engraved path, .engraved rect, .engraved ellipse, .engraved polygon, "
    ".engraved polyline {stroke: #000} .engraved text {stroke: none}</style>"
)


@dataclass(frozen=True)
class LetterSizes:
    """Sizes of type in the picture's coordinates; `scale` is that of fret numbers, 1 as usual."""

    symbol: float
    fret: float
    number: float
    count: float
    scale: float


def letter_sizes(staff_mm: float) -> LetterSizes:
    """Return the sizes of chord symbols, frets, bar numbers and counts: none less than legible."""
    usual = (
        (_SYMBOL_SIZE, _SYMBOL_MM),
        (_FRET_SIZE, _FRET_MM),
        (_NUMBER_SIZE, _NUMBER_MM),
        (_COUNT_SIZE, _COUNT_MM),
    )
    symbol, fret, number, count = (
        max(size, least_mm / staff_mm * _STAFF_HIGH / _CAPITAL) for size, least_mm in usual
    )
    return LetterSizes(symbol, fret, number, count, fret / _FRET_SIZE)


@dataclass(frozen=True)
class System:
    """A line of engraved bars.

    Parameters
    ----------
    first, last : int
        Played measures.
    picture : str
        SVG, without the bar number.
    width : float
        Of the picture, in its coordinates.
    height : float
        Against the width.
    number_y : float
        Where the bar number stands, in the picture's coordinates.
    number_size : float
        In the picture's coordinates.
    natural : float
        How much of the width is drawn on; less than the width for one bar or two.
    """

    first: int
    last: int
    picture: str
    width: float
    height: float
    number_y: float
    number_size: float
    natural: float

    def moved(self, bars: int) -> System:
        """Return the same system some bars later."""
        return replace(self, first=self.first + bars, last=self.last + bars)

    def number(self) -> tuple[float, float, float]:
        """Return where the bar number ends, its base line and its size, against the width."""
        return _NUMBER_X / self.width, self.number_y / self.width, self.number_size / self.width

    def cut(self) -> System:
        """Return the same without the blank at its right.

        On paper it takes ``natural / width`` of the width for which it was engraved.
        """
        return self.widened(self.natural)

    def widened(self, width: float) -> System:
        """Return the same with a blank at its right up to a width, in the picture's coordinates."""
        high = self.height * self.width
        view = f'viewBox="0 0 {width:.0f} {high:.0f}"'
        picture = _OWN_VIEW.sub(view, self.picture, count=1)
        return replace(self, picture=picture, width=width, height=high / width)

    def numbered(self) -> str:
        """Return the picture with the bar number in it."""
        number = _text(_NUMBER_X, self.number_y, str(self.first), self.number_size, "end")
        return self.picture.removesuffix("</svg>") + number + "</svg>"


_OWN_VIEW = re.compile(r'viewBox="0 0 \d+ \d+"')
_VIEW = re.compile(r'<svg class="definition-scale"[^>]*viewBox="0 0 ([\d.]+) ([\d.]+)"[^>]*>')
_SHELL = re.compile(r"<svg [^>]*>")
_PAGE_MOVED = re.compile(r'class="page-margin" transform="([^"]*)"')
_MARGIN = re.compile(r'class="page-margin" transform="translate\([^,]+, ([\d.]+)\)"')
_STAFF_PATHS = re.compile(r'class="staff">\s*((?:<path [^>]*>\s*)+)')
_PATH = re.compile(r' d="M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) ')
_HARM = re.compile(
    r'(<g [^>]*class="harm">)\s*<text x="(-?[\d.]+)" y="(-?[\d.]+)".*?</text>', re.DOTALL
)
_FRET = re.compile(
    r'<g id="([^"]*)" (class="note">)\s*<text x="(-?[\d.]+)" y="(-?[\d.]+)"[^>]*>\s*'
    r"<tspan[^>]*>([^<]*)</tspan>\s*</text>",
    re.DOTALL,
)
_HELD_HEAD = re.compile(
    rf'<g id="{HELD}-\d+" class="note">\s*<g class="notehead">\s*<use [^>]*'
    r"translate\((-?[\d.]+), (-?[\d.]+)\)"
)
_UNWANTED = re.compile(
    r'<g(?: (?!class)[a-z-]+="[^"]*")* class="(?:mNum\b[^"]*|mRptNum|[^"]*placeholder[^"]*)"'
)
_ID = re.compile(r' id="(?!E[0-9A-F]{3})[^"]*"')
_BLANK = re.compile(r">\s+<")  # a quarter of what the engraver writes
_OWN_STYLE = re.compile(r"<style type=\"text/css\">.*?</style>", re.DOTALL)
_GLYPH = re.compile(
    r'<use xlink:href="#(\w{4})[^"]*" transform="translate\(-?[\d.]+, (-?[\d.]+)\) '
    r"scale\(-?[\d.]+, ([\d.]+)\)"
)
_DRAWN = re.compile(r' (?:d|points)="([^"]*)"')  # lines, stems, beams, ties
_HEIGHT = re.compile(r"-?[\d.]+[ ,](-?[\d.]+)")
_USUAL_BOX = (-250.0, 250.0)  # of a glyph that the engraver's font has from another
_GAP = 100  # between what is drawn and the chord symbols above it
_EDGE = 30  # blank above and below
# The end of a tie from before: how far left of a note it begins and ends, how high it rises, and
# half the height of a notehead.
_TIE, _TIE_GAP, _TIE_HIGH, _HEAD_HALF = 330, 30, 85, 45.0


def system_of(
    page: str,
    symbols: Sequence[str],
    signs: Sequence[TabSign],
    bars: tuple[int, int],
    staff_mm: float,
) -> System:
    """Return the engraver's page as a system, cut to what it holds.

    Parameters
    ----------
    page : str
        SVG.
    symbols : sequence of str
        The chord symbols in order; they are written in a row above.
    signs : sequence of TabSign
        By the places that end the ids of the tablature's numbers.
    bars : tuple of int
        First and last played measure.
    staff_mm : float
        Height of the five lines on paper: letters and digits do not become smaller than legible.
    """
    picture = drawn_groups(page)
    width = float(_VIEW.search(picture)[1])  # type: ignore[index]
    extents = _extents(picture[picture.index('class="system"') :])
    staff_top = min(float(y) for _, y, _ in _PATH.findall(_STAFF_PATHS.search(picture)[1]))  # type: ignore[index]
    sizes = letter_sizes(staff_mm)
    symbol_size, fret_size, count_size = sizes.symbol, sizes.fret, sizes.count
    drawn, top, bottom = _signs(picture, signs, extents, fret_size, count_size)
    ties, heights = _ties_in(picture, fret_size)
    drawn += ties
    top = min(top, *heights, *(high for high, _ in extents))
    bottom = max(bottom, *heights, *(low for _, low in extents)) + _EDGE
    row = top - _GAP  # the chord symbols stand in a row above all of it
    picture = _with_symbols(picture, symbols, row, width, symbol_size)
    fits = _fret_fits(picture, fret_size)
    picture = _FRET.sub(
        lambda found: f"<g {found[2]}{_fret(found, fret_size, fits[found[3], found[4]])}", picture
    )
    picture = _OWN_STYLE.sub(_STYLE, _ID.sub("", picture))
    above = (row - _ASCENDER * symbol_size if symbols else top) - _EDGE
    high, margin = bottom - above, float(_MARGIN.search(picture)[1])  # type: ignore[index]
    shell = (
        f'<svg class="engraved" viewBox="0 0 {width:.0f} {high:.0f}" version="1.1" '
        'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
    )
    moved = f'<g color="black" transform="translate(0 {-margin - above:.0f})">'
    picture = _VIEW.sub(moved, picture, count=1)
    picture = _SHELL.sub(shell, picture, count=1)
    ends = f'<g transform="{_moved_as_page(page)}">{drawn}</g></g></svg>' if drawn else "</g></svg>"
    picture = _BLANK.sub("><", re.sub(r"</svg>\s*</svg>\s*$", ends, picture))
    return System(*bars, picture, width, high / width, staff_top - 40 - above, sizes.number, width)


def _moved_as_page(page: str) -> str:
    """How the engraver moves what stands on its page."""
    return _PAGE_MOVED.search(page)[1]  # type: ignore[index]


def _extents(body: str) -> list[tuple[float, float]]:
    """The upper and the lower end of each glyph and line."""
    boxes = _glyph_boxes()
    glyphs = (
        (boxes.get(name, _USUAL_BOX), float(y), float(scale))
        for name, y, scale in _GLYPH.findall(body)
    )
    found = [(y - high * scale, y - low * scale) for (low, high), y, scale in glyphs]
    for path in _DRAWN.findall(body):
        heights = [float(y) for y in _HEIGHT.findall(path)]
        found.append((min(heights), max(heights)))
    return found


@cache
def _glyph_boxes() -> dict[str, tuple[float, float]]:
    """The lower and the upper end of each glyph of the engraver's font, upward from its line."""
    font = ElementTree.parse(Path(verovio.__file__).parent / "data" / "Leipzig.xml")
    boxes = {}
    for box in font.iter("g"):
        low, high = float(box.get("y", 0)), float(box.get("h", 0))
        boxes[box.get("c", "")] = low, low + high
    return boxes


def _signs(
    picture: str,
    signs: Sequence[TabSign],
    extents: Sequence[tuple[float, float]],
    size: float,
    count_size: float,
) -> tuple[str, float, float]:
    """The signs of the tablature, and how high and how far down it reaches with them."""
    numbers = []
    for found in _FRET.finditer(picture):
        half = _fret_wide(_fret_number(found), size) / 2
        place, *goes_on = found[1].split("-")[1:]
        y = float(found[4]) - _OVER_STRING
        numbers.append(Number(int(place), float(found[3]), y, half, not goes_on))
    if not numbers:
        return "", math.inf, -math.inf
    paths = _STAFF_PATHS.findall(picture)
    staves = len(paths) // picture.count('class="measure"')
    lines = [float(y) for _, y, _ in _PATH.findall(paths[staves - 1])]
    over = max((low for _, low in extents if low < min(lines) - 60), default=-math.inf)
    right = max(float(x) for _, _, x in _PATH.findall(paths[-1]))
    staff = TabStaff(min(number.x for number in numbers) - 2 * size, right, min(lines),
                     max(lines), over)  # fmt: skip
    return draw_signs(numbers, signs, staff, size / _FRET_SIZE, count_size)


def _ties_in(picture: str, size: float) -> tuple[str, list[float]]:
    """The ends of ties at the notes that are held from before, and how far up and down they reach.

    In the notation upward from the upper notes of a chord, downward from the others, away from a
    note's stem (common practice); above each number of the tablature.
    """
    heads = [(float(x), float(y)) for x, y in _HELD_HEAD.findall(picture)]
    frets = [(float(found[3]) - _fret_wide(_fret_number(found), size) / 2,
              float(found[4]) - _OVER_STRING)
             for found in _FRET.finditer(picture) if found[1].endswith(HELD)]  # fmt: skip
    if not heads and not frets:
        return "", []
    staff = [float(y) for _, y, _ in _PATH.findall(_STAFF_PATHS.search(picture)[1])]  # type: ignore[index]
    middle = sum(y for _, y in heads) / len(heads) if len(heads) > 1 else sum(staff) / len(staff)
    ends = [(x, y, -1 if y <= middle else 1, _HEAD_HALF) for x, y in heads]
    ends += [(x, y, -1, size / 3) for x, y in frets]
    ties, heights = [], []
    for x, y, way, half in ends:
        left, right, at = x - _TIE, x - _TIE_GAP, y + way * half
        inner, outer = (at + way * high for high in (_TIE_HIGH, _TIE_HIGH + 45))
        ties.append(
            f'<path class="tie-in" d="M{left:.0f} {at:.0f} C{left + 80:.0f} {inner:.0f} '
            f"{right - 80:.0f} {inner:.0f} {right:.0f} {at:.0f} C{right - 80:.0f} {outer:.0f} "
            f'{left + 80:.0f} {outer:.0f} {left:.0f} {at:.0f}" stroke-width="11"/>'
        )
        heights.append(at + way * _TIE_HIGH)
    return "".join(ties), heights


def _with_symbols(
    picture: str, symbols: Sequence[str], row: float, width: float, size: float
) -> str:
    """The picture with these chord symbols in a row, each as narrow as the next one asks."""
    places = [float(found[2]) for found in _HARM.finditer(picture)]
    rooms = [after - own for own, after in itertools.pairwise([*places, width - LEFT * IN_PICTURE])]
    waiting = iter(zip(symbols, rooms, strict=False))

    def drawn(found: re.Match[str]) -> str:
        symbol, room = next(waiting, ("", width))
        wide = _SYMBOL_WIDE * size * len(symbol)
        narrow = min(1.0, (room - 0.49 * size) / wide) if symbol else 1.0
        return found[1] + _text(float(found[2]), row, symbol, size, narrow=narrow)

    return _HARM.sub(drawn, picture)


def _fret_number(found: re.Match[str]) -> str:
    """What is written for a number; in brackets where a tie goes on, in others where the string is
    touched (common practice).
    """
    number = "×" if found[1].startswith(MUTED) else found[5].strip()
    if found[1].startswith(TOUCHED):
        number = f"‹{number}›"
    return f"({number})" if found[1].count("-") > 1 else number


def _fret_wide(number: str, size: float) -> float:
    letters = len(number) - _BRACKETS * number.startswith(("(", "‹"))
    return _WIDE * size * _fret_narrow(number) * letters


def _fret_narrow(number: str) -> float:
    return 1.0 if len(number) < 2 else 0.8


def _fret_fits(picture: str, size: float) -> dict[tuple[str, str], float]:
    """How narrow each number is written so that none touches the next on its string, by place."""
    found = [(each[4], float(each[3]), each[3], _fret_wide(_fret_number(each), size))
             for each in _FRET.finditer(picture)]  # fmt: skip
    fits = {(x, y): 1.0 for y, _, x, _ in found}
    for (y, left, x, wide), (below, right, after, other) in itertools.pairwise(sorted(found)):
        fit = 2 * (right - left - _FRET_GAP * size) / (wide + other)
        if y == below and right > left and fit < 1:
            fits[x, y], fits[after, y] = min(fit, fits[x, y]), fit
    return fits


def _fret(found: re.Match[str], size: float, fit: float) -> str:
    """A fret number on a patch of white, so that no line runs through it."""
    number = _fret_number(found)
    x = float(found[3])
    y = float(found[4]) - _OVER_STRING + _CAPITAL / 2 * size
    wide = _fret_wide(number, size) * fit
    patch = (
        f'<rect x="{x - wide / 2:.0f}" y="{y - 0.74 * size:.0f}" width="{wide:.0f}" '
        f'height="{0.76 * size:.0f}" style="fill:#fff;stroke:none"/>'
    )
    return patch + _text(x, y, number, size, "middle", _fret_narrow(number) * fit)


def _text(
    x: float, y: float, words: str, size: float, anchor: str = "start", narrow: float = 1.0
) -> str:
    place = f'x="{x:.0f}" y="{y:.0f}"'
    if narrow < 1:
        place = f'transform="translate({x:.0f} {y:.0f}) scale({max(narrow, 0.4):.2f} 1)"'
    return (
        f'<text {place} text-anchor="{anchor}" font-size="{size:.0f}px" '
        f'font-family="DejaVu Sans, sans-serif" font-weight="bold">{escape_html(words)}</text>'
    )


def drawn_groups(picture: str) -> str:
    """Return a picture without the engraver's bar numbers and empty groups."""
    pieces, at = [], 0
    for found in _UNWANTED.finditer(picture):
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
