"""The small pictures of a handout, as SVG: the form at a glance, and fret pictures.

Black on white. A filled box is played, an empty one is not; nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from arrange.guitar.hands import Hand
from arrange.guitar.necks import LEFT_OUT, Neck, Shape
from arrange.plots.grips import ShownShape, shown_shapes
from arrange.text.markup import escape_html

_FACE = 'font-family="DejaVu Sans, sans-serif"'

_STRIP_WIDE = 1860.0  # tenths of a mm on A4
_NAMES_WIDE = 270.0
_OWN_HIGH, _OTHER_HIGH, _GAP = 70.0, 34.0, 10.0
_NAME_SIZE, _LABEL_SIZE = 38.0, 36.0
_LEAST_BOX = 44.0


def _svg(width: float, height: float, body: Sequence[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}">'
        f"{''.join(body)}</svg>"
    )


def _text(x: float, y: float, words: str, size: float, anchor: str = "start", **more: Any) -> str:
    told = "".join(f' {name.replace("_", "-")}="{value}"' for name, value in more.items())
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" '
        f'font-weight="bold" {_FACE}{told}>{escape_html(words)}</text>'
    )


def draw_form(
    sections: Sequence[tuple[str, int]], rows: Sequence[tuple[str, Sequence[bool]]]
) -> tuple[str, float]:
    """Return the form at a glance as SVG, and its height against its width.

    Parameters
    ----------
    sections : sequence of (name, bars)
    rows : sequence of (part, plays)
        The reader's own part first; it is drawn larger.
    """
    room = _STRIP_WIDE - _NAMES_WIDE
    total = sum(bars for _, bars in sections)
    free = room - _LEAST_BOX * len(sections)
    if free > 0:
        wide = [_LEAST_BOX + free * bars / total for _, bars in sections]
    else:
        wide = [room / len(sections)] * len(sections)
    lefts = [_NAMES_WIDE + sum(wide[:n]) for n in range(len(sections))]
    fits = all(_wide(name, _NAME_SIZE) < own for (name, _), own in zip(sections, wide, strict=True))
    names_high = 50.0 if fits else min(max(_wide(n, _NAME_SIZE) for n, _ in sections), 440.0) + 20
    body = []
    for (name, _), left, own in zip(sections, lefts, wide, strict=True):
        x = left + own / 2
        size = min(_NAME_SIZE, own * 0.85)
        if fits:
            body.append(_text(x, names_high - 14, name, _NAME_SIZE, "middle"))
        else:
            longest = int(425 / (0.7 * size))
            short = name if len(name) <= longest else name[: longest - 1] + "…"
            place = f"rotate(-90 {x + size * 0.36:.1f} {names_high - 10:.1f})"
            body.append(_text(x + size * 0.36, names_high - 10, short, size, transform=place))
    top = names_high
    for number, (part, plays) in enumerate(rows):
        high = _OTHER_HIGH if number else _OWN_HIGH
        size = min(_LABEL_SIZE + 6 * (not number), _NAMES_WIDE / (0.7 * max(len(part), 1)))
        body.append(_text(0, top + high / 2 + size * 0.36, part, size))
        for (_, bars), left, own, is_on in zip(sections, lefts, wide, plays, strict=True):
            fill = "#000" if is_on else "#fff"
            body.append(
                f'<rect x="{left + 5:.1f}" y="{top:g}" width="{own - 10:.1f}" height="{high:g}" '
                f'fill="{fill}" stroke="#000" stroke-width="4"/>'
            )
            if not number:
                size = min(40.0, (own - 8) / (0.7 * len(str(bars))))
                ink = "#fff" if is_on else "#000"
                body.append(_text(left + own / 2, top + high / 2 + size * 0.36, str(bars), size,
                                  "middle", fill=ink))  # fmt: skip
        top += high + _GAP
    return _svg(_STRIP_WIDE, top, body), top / _STRIP_WIDE


def _wide(words: str, size: float) -> float:
    return 0.7 * size * len(words)


# A fret picture, in units of which its width holds 100.
_LEFT, _RIGHT, _ROW, _TOP = 26.0, 8.0, 20.0, 46.0
_ROWS = 4


@lru_cache(maxsize=1024)
def draw_shape(frets: Shape, title: str, neck: Neck, hand: Hand) -> str:
    """Return a fret picture as SVG.

    The lowest string is on the left; a ring is an open string, a cross one left out; below
    stand the fingers. The number at the side is the fret of the first row, from the nut; the
    thick bar is the nut, or the capo.

    Parameters
    ----------
    frets : tuple of int
        From the nut, string 1 first.
    title : str
    neck : Neck
    hand : Hand
    """
    (shown,) = shown_shapes([frets], [title], neck, hand, "fingers", None, None)
    held = [fret for fret in frets if fret > neck.capo]
    first = neck.capo + 1
    if held and max(held) > neck.capo + _ROWS:
        first = min(held)
    rows = max(_ROWS, max(held, default=0) - first + 1)
    place = _Place(neck.strings, first, rows)
    body = [*_grid(place, neck), *_fingers(shown, place, neck)]
    room = 2 * min(place.middle, 100 - place.middle) - 2
    size = min(20.0, room / (0.68 * max(len(title), 1)))
    body.append(_text(place.middle, 19, title, size, "middle"))
    return _svg(100, _TOP + _ROW * rows + 22, body)


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


def _grid(place: _Place, neck: Neck) -> list[str]:
    left, right = place.x(place.strings), place.x(1)
    lines = [_line(place.x(s), _TOP, place.x(s), place.bottom, 1.4)
             for s in range(1, place.strings + 1)]  # fmt: skip
    lines += [_line(left, _TOP + _ROW * row, right, _TOP + _ROW * row, 1.4)
              for row in range(place.rows + 1)]  # fmt: skip
    if place.first == neck.capo + 1:
        over = 4.0 if neck.capo else 0.7
        lines.append(_line(left - over, _TOP - 1, right + over, _TOP - 1, 7 if neck.capo else 4.5,
                           "round" if neck.capo else "butt"))  # fmt: skip
    if place.first > 1:
        lines.append(_text(left - place.dot - 3, place.y(place.first) + 5, str(place.first), 14,
                           "end"))  # fmt: skip
    return lines


def _fingers(shown: ShownShape, place: _Place, neck: Neck) -> list[str]:
    drawn = []
    for barre in shown.barres:
        drawn.append(_line(place.x(barre.last), place.y(barre.fret), place.x(barre.first),
                           place.y(barre.fret), 1.6 * place.dot, "round"))  # fmt: skip
    for string, fret in enumerate(shown.frets, 1):
        x, y = place.x(string), _TOP - 11
        if fret == LEFT_OUT:
            drawn += [
                _line(x - 4, y - 4, x + 4, y + 4, 2.4),
                _line(x - 4, y + 4, x + 4, y - 4, 2.4),
            ]
        elif fret == neck.capo:
            drawn.append(f'<circle cx="{x:.1f}" cy="{y}" r="4.4" fill="#fff" stroke="#000" '
                         'stroke-width="2.2"/>')  # fmt: skip
        else:
            drawn.append(f'<circle cx="{x:.1f}" cy="{place.y(fret):.1f}" r="{place.dot:.1f}"/>')
        word = shown.words[string - 1]
        if word:
            drawn.append(_text(x, place.bottom + 16, word, 14, "middle"))
    return drawn
