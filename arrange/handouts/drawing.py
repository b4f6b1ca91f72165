"""Fret pictures of a sheet, as SVG, black on white."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from arrange.guitar.fret_pictures import FretPicture
from arrange.guitar.necks import format_shape
from arrange.text.markup import escape_html

_FACE = 'font-family="DejaVu Sans, sans-serif"'


def _svg(width: float, height: float, body: Sequence[str], words: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-label="{escape_html(words)}">{"".join(body)}</svg>'
    )


def _text(x: float, y: float, words: str, size: float, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" '
        f'font-weight="bold" {_FACE}>{escape_html(words)}</text>'
    )


# A fret picture, in units of which its width holds 100.
_LEFT, _RIGHT, _ROW, _TOP = 26.0, 8.0, 20.0, 46.0


@lru_cache(maxsize=1024)
def draw_shape(picture: FretPicture) -> str:
    """Return a fret picture as SVG.

    It looks as ``plot_shape`` draws it: the lowest string is on the left; a ring is an open
    string, a cross one left out, a bar a finger across strings; below stand the fingers. The
    numbers at the side are the fret of the first row, and, where they count from the nut, in
    brackets the same from the capo; the thick bar is the nut, or the capo. A shape that moves has
    a triangle instead, at the fret of its lowest string.
    """
    title = picture.title
    place = _Place(len(picture.frets), picture.first, picture.rows)
    body = [*_grid(place, picture), *_signs(place, picture), *_fingers(place, picture)]
    room = 2 * min(place.middle, 100 - place.middle) - 2
    size = min(20.0, room / (0.68 * max(len(title), 1)))
    body.append(_text(place.middle, 19, title, size, "middle"))
    return _svg(100, place.bottom + 22, body, f"{title}: {format_shape(picture.frets)}")


class _Place:
    """Where strings and frets of a picture lie."""

    def __init__(self, strings: int, first: int, rows: int) -> None:
        self.strings, self.first, self.rows = strings, first, rows
        self.apart = (100 - _LEFT - _RIGHT) / max(strings - 1, 1)
        self.middle = _LEFT + self.apart * (strings - 1) / 2
        self.dot = min(7.2, 0.47 * self.apart)
        self.bottom = _TOP + _ROW * rows

    def x(self, string: int) -> float:
        return 100 - _RIGHT - self.apart * (string - 1)

    def y(self, fret: int) -> float:
        return _TOP + _ROW * (fret - self.first + 0.5)


def _line(x1: float, y1: float, x2: float, y2: float, wide: float, cap: str = "butt") -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="#000" '
        f'stroke-width="{wide:g}" stroke-linecap="{cap}"/>'
    )


def _grid(place: _Place, picture: FretPicture) -> list[str]:
    """Strings, frets, the nut or capo, and the numbers beside rows."""
    left, right = place.x(place.strings), place.x(1)
    drawn = [_line(place.x(s), _TOP, place.x(s), place.bottom, 1.4)
             for s in range(1, place.strings + 1)]  # fmt: skip
    drawn += [_line(left, _TOP + _ROW * row, right, _TOP + _ROW * row, 1.4)
              for row in range(place.rows + 1)]  # fmt: skip
    if picture.shows_end:
        over, wide, cap = (4.0, 7, "round") if picture.capo else (0.7, 4.5, "butt")
        drawn.append(_line(left - over, _TOP - 1, right + over, _TOP - 1, wide, cap))
    beside = left - place.dot - 3
    for fret, number in picture.numbers:
        size = 14.0 if fret == picture.first else min(12.0, beside / (0.56 * len(number)))
        drawn.append(_text(beside, place.y(fret) + 5, number, size, "end"))
    if picture.is_movable:
        x, y = beside - 11, place.y(picture.lowest)
        drawn.append(f'<path class="moves" d="M{x:.1f} {y - 7:.1f} L{x + 11:.1f} {y:.1f} '
                     f'L{x:.1f} {y + 7:.1f} Z"/>')  # fmt: skip
    return drawn


def _signs(place: _Place, picture: FretPicture) -> list[str]:
    """A ring above each open string, a cross above each that is left out."""
    y, drawn = _TOP - 11, []
    for x in map(place.x, picture.left_out):
        drawn.append(_line(x - 4, y - 4, x + 4, y + 4, 2.4))
        drawn.append(_line(x - 4, y + 4, x + 4, y - 4, 2.4))
    for x in map(place.x, picture.open_strings):
        drawn.append(f'<circle cx="{x:.1f}" cy="{y}" r="4.4" fill="#fff" stroke="#000" '
                     'stroke-width="2.2"/>')  # fmt: skip
    return drawn


def _fingers(place: _Place, picture: FretPicture) -> list[str]:
    """A bar for each finger across strings, a dot for each other string held, the words below."""
    drawn = []
    for barre in picture.barres:
        y = place.y(barre.fret)
        left, right = place.x(barre.last), place.x(barre.first)
        drawn.append(_line(left, y, right, y, 1.6 * place.dot, "round"))
    for string, fret in picture.dots:
        x, y = place.x(string), place.y(fret)
        drawn.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{place.dot:.1f}"/>')
    for string, word in enumerate(picture.words, 1):
        if word:
            drawn.append(_text(place.x(string), place.bottom + 16, word, 14, "middle"))
    return drawn
