"""Signs at the numbers of a tablature: slides, arcs with H or P, P.M., let ring, fingers, counts,
and the fret of a shape that moves.

The engraver draws none of them there. They are drawn into its picture, line by line, from where
its numbers stand; what leads over the end of a line is open there and goes on in the next one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.explaining.strokes import UP
from arrange.explaining.tab_counts import fitted_counts
from arrange.formats.musicxml.writing_layers import LEADING
from arrange.guitar.necks import Array
from arrange.text.markup import escape_html

_DRAWN = (*LEADING, "muted", "palm mute", "let ring")
_DRAWN_IN_NOTATION = ("slide", "muted")

# Picture coordinates.
_LETTER = 280  # size of letters and fingers
_PLACE = 320  # size of the frets of a shape that moves
_ARC = 130  # how high an arc rises
_SLANT = 95  # a slide's end over or below its string
_OPEN = 330  # length of what leads on without a number to lead to
_ROW = 310  # height of a row of signs, and how far its letters reach below their line
_BELOW = 60
_CLEAR = 60
_NEAR = 1e-6  # quarter notes
_HALF = 140  # of a fret number's height
_CAPITAL = 0.76  # height of digits and of the ampersand, against the size
_UNDER = 70  # between the counts and what is above them
_STROKE = (75, 150)  # half the width of a stroke's sign, and its height
_STROKE_GAP = 15  # between strokes and what is beside their row
_TAIL = 0.24  # of a letter, below its base line, against the size
_RUNS = (("palm", "P.M."), ("ring", "let ring"))


def drawn_techniques(*, has_tab: bool) -> tuple[str, ...]:
    """Return the techniques that are drawn, so that no words need to name them.

    Parameters
    ----------
    has_tab : bool
        Whether tablature stands below the notation.
    """
    return _DRAWN if has_tab else _DRAWN_IN_NOTATION


class TabSign(NamedTuple):
    """What stands at a number of the tablature.

    Parameters
    ----------
    leads : tuple of str
        Slide, hammer-on, pull-off.
    to : int
        The place of the number that it leads to, -1 for one that is not in the picture.
    rise : float
        By how many frets it leads up, NaN where nothing follows.
    palm, ring : bool
        Palm mute; let ring.
    finger : int
        0 where none is drawn.
    counted : str
        Its count; empty where none is drawn.
    stroke : str
        Of a strum, where it is drawn.
    place : str
        Where a shape that moves is put, where that is new; else empty.
    """

    leads: tuple[str, ...]
    to: int
    rise: float
    palm: bool
    ring: bool
    finger: int
    counted: str
    stroke: str
    place: str


class Number(NamedTuple):
    """A number of the tablature: the place of its sign, and where it is drawn.

    `y` is the string's, `half` half the number's width, `is_struck` False where a tie goes on.
    """

    place: int
    x: float
    y: float
    half: float
    is_struck: bool


def signs_of(notes: pd.DataFrame, stretch: Array, *, has_counts: bool) -> list[TabSign]:
    """Return the sign of each note, in order.

    Parameters
    ----------
    notes : DataFrame
        Of ``marked_notes``.
    stretch : integers
        The stretch in which each stands; nothing leads from one into another.
    has_counts : bool
        Whether their counts are drawn.
    """
    string = notes["string"].to_numpy(dtype=float, na_value=np.nan)
    # Each string of each stretch in order of time.
    order = np.lexsort((~notes["grace"].to_numpy(dtype=bool), notes["onset"], string, stretch))
    is_next = (np.diff(string[order]) == 0) & (np.diff(stretch[order]) == 0)
    to = np.full(len(notes), -1)
    to[order[:-1]] = np.where(is_next, order[1:], -1)
    to[~np.isfinite(notes["leads_to"].to_numpy())] = -1
    columns: list[list[Any]] = [
        notes[name].tolist() for name in ("technique", "rise", "finger", "count", "place")
    ]
    columns.append(_strokes_drawn(notes, stretch))
    signs = []
    for technique, rise, finger, count, place, stroke, target in zip(
        *columns, to.tolist(), strict=True
    ):
        names = technique.split(", ") if isinstance(technique, str) else []
        leads = tuple(name for name in names if name in LEADING)
        signs.append(TabSign(leads, target, rise, "palm mute" in names, "let ring" in names,
                             int(finger), count if has_counts else "", stroke, place))  # fmt: skip
    return signs


def _strokes_drawn(notes: pd.DataFrame, stretch: Array) -> list[str]:
    """The stroke of each note; none where a bar is strummed once and down, or as the bar before."""
    bars = [*zip(stretch.tolist(), notes["measure"].tolist(), strict=True)]
    strokes = notes["stroke"].tolist()
    patterns: dict[tuple[int, int], dict[float, str]] = {}
    for bar, at, stroke in zip(bars, notes["at"].tolist(), strokes, strict=True):
        if stroke:
            patterns.setdefault(bar, {})[at] = stroke
    drawn = {
        (own, number) for (own, number), pattern in patterns.items()
        if (len(pattern) > 1 or UP in pattern.values())
        and pattern != patterns.get((own, number - 1))
    }  # fmt: skip
    return [stroke if bar in drawn else "" for bar, stroke in zip(bars, strokes, strict=True)]


class TabStaff(NamedTuple):
    """Where a line's tablature lies, in the picture.

    `left` is where the first number may stand, `over` the lowest that stands above it.
    """

    left: float
    right: float
    top: float
    bottom: float
    over: float


def draw_signs(
    numbers: Sequence[Number],
    signs: Sequence[TabSign],
    staff: TabStaff,
    scale: float,
    count_size: float,
) -> tuple[str, float, float]:
    """Return the signs of a line as SVG, and how high and how far down it reaches with them.

    Parameters
    ----------
    numbers : sequence of Number
        Those of the line in the order of the piece; a tied note has several.
    signs : sequence of TabSign
        By place.
    staff : TabStaff
    scale : float
        Of letters, 1 for a staff of usual size.
    count_size : float
        Of the counts' letters, in the picture's coordinates.
    """
    first = {number.place: number for number in reversed(numbers)}
    last = {number.place: number for number in numbers}
    drawn = list(_leads(first, last, signs, staff, scale))
    half, row, letter = _HALF * scale, _ROW * scale, 0.75 * _LETTER * scale
    above = min(staff.top, min(number.y for number in numbers) - half)
    arcs = [number.y for number in numbers if set(signs[number.place].leads) - {"slide"}]
    if arcs:
        above = min(above, min(arcs) - half - _ARC - 35 - letter)
    below = max(staff.bottom, max(number.y for number in numbers) + half)
    struck = [(number, signs[place]) for place, number in first.items() if number.is_struck]
    fingers = [(number.x, str(sign.finger)) for number, sign in struck if sign.finger]
    if fingers:
        below += row
        drawn += [_sign(x, below - _BELOW * scale, finger, scale, "finger")
                  for x, finger in fingers]  # fmt: skip
    places = {round(number.x): sign.place for number, sign in struck if sign.place}
    if places:
        below += row + _CLEAR
        drawn += _fitted(places, below - _BELOW * scale, _PLACE * scale, "place")
    for kind, words in _RUNS:
        runs = list(_runs(first, signs, kind))
        if not runs:
            continue
        base = above - _CLEAR
        if base - letter < staff.over:
            below += row
            base = below - _BELOW * scale
        else:
            above = base - letter
        drawn += [_run(start, end, base, words, scale) for start, end in runs]
    strokes = {round(number.x): sign.stroke for number, sign in struck if sign.stroke}
    if strokes:
        base, high = above - _STROKE_GAP, (_STROKE[1] + _STROKE_GAP) * scale
        if base - high > staff.over > -math.inf:  # below notation
            above = base - _STROKE[1] * scale
        else:
            below += high
            base = below
        drawn += [_stroke(x, base, stroke, scale) for x, stroke in strokes.items()]
    counts = {round(number.x): sign.counted for number, sign in struck if sign.counted}
    if counts:
        below += _UNDER + _CAPITAL * count_size
        drawn += _fitted(counts, below, count_size, "count")
        below += _TAIL * count_size * any("p" in count for count in counts.values())
    return "".join(drawn), above, below


def _leads(
    first: dict[int, Number],
    last: dict[int, Number],
    signs: Sequence[TabSign],
    staff: TabStaff,
    scale: float,
) -> Iterator[str]:
    """What leads from number to number, or over an end of the line."""
    lettered: set[int] = set()
    for place, sign in enumerate(signs):
        start, end = last.get(place), first.get(sign.to)
        if not sign.leads or (start is None and end is None):
            continue
        height = start.y if start else end.y  # type: ignore[union-attr]
        left = start.x + start.half if start else staff.left
        if end:
            right = end.x - end.half
        else:
            right = staff.right if sign.to >= 0 else min(left + _OPEN, staff.right)
        if not start:
            left = max(left, right - _OPEN)
        for name in sign.leads:
            if name == "slide":
                yield _slide(left + 15, right - 15, height, sign.rise)
                continue
            letter = "" if round(left) in lettered or not start else name[0].upper()
            lettered.add(round(left))
            yield _arc(left, right, height - _HALF * scale - 10, letter, scale)


def _slide(left: float, right: float, y: float, rise: float) -> str:
    slant = -_SLANT if rise < 0 else _SLANT
    right = max(right, left + 60)
    return (f'<path class="slide-tab" d="M{left:.0f} {y + slant:.0f} L{right:.0f} '
            f'{y - slant:.0f}" stroke-width="30" fill="none"/>')  # fmt: skip


def _arc(left: float, right: float, y: float, letter: str, scale: float) -> str:
    left, right = left - 50, right + 50
    high = y - 4 / 3 * _ARC
    near = (right - left) * 0.2
    path = (f'<path class="lead-tab" d="M{left:.0f} {y:.0f} C{left + near:.0f} {high:.0f} '
            f'{right - near:.0f} {high:.0f} {right:.0f} {y:.0f}" stroke-width="26" fill="none"/>'
            )  # fmt: skip
    if not letter:
        return path
    size, x, base = _LETTER * scale * 0.92, (left + right) / 2, y - _ARC - 25
    patch = (f'<rect x="{x - 0.42 * size:.0f}" y="{base - 0.76 * size:.0f}" '
             f'width="{0.84 * size:.0f}" height="{0.8 * size:.0f}" '
             'style="fill:#fff;stroke:none"/>')  # fmt: skip
    return path + patch + _sign(x, base, letter, scale * 0.92, "lead")


def _runs(
    first: dict[int, Number], signs: Sequence[TabSign], kind: str
) -> Iterator[tuple[Number, Number]]:
    """The first and the last number of each run of attacks that has it."""
    by_attack: dict[int, list[int]] = {}
    for place, number in first.items():
        by_attack.setdefault(round(number.x), []).append(place)
    run: list[Number] = []
    for _, places in sorted(by_attack.items()):
        if any(getattr(signs[place], kind) for place in places):
            run.append(first[places[0]])
        elif run:
            yield run[0], run[-1]
            run = []
    if run:
        yield run[0], run[-1]


def _run(start: Number, end: Number, y: float, words: str, scale: float) -> str:
    """The words at the first number, and a broken line with a hook up to the last."""
    left = start.x - start.half
    drawn = _sign(left, y, words, scale, "run", "start")
    begin = left + 0.58 * _LETTER * scale * len(words) + _CLEAR
    if end.x > begin + _CLEAR:
        middle = y - 0.3 * _LETTER * scale
        drawn += (
            f'<path d="M{begin:.0f} {middle:.0f} L{end.x + end.half:.0f} {middle:.0f}" '
            'stroke-width="22" stroke-dasharray="90 70" fill="none"/>'
            f'<path d="M{end.x + end.half:.0f} {middle - 70:.0f} L{end.x + end.half:.0f} '
            f'{middle + 70:.0f}" stroke-width="22" fill="none"/>'
        )
    return drawn


def _sign(x: float, y: float, words: str, scale: float, kind: str, anchor: str = "middle") -> str:
    style = ' font-style="italic"' if kind in ("run", "finger") else ""
    return (
        f'<text class="{kind}-tab" x="{x:.0f}" y="{y:.0f}" text-anchor="{anchor}" '
        f'font-size="{_LETTER * scale:.0f}px"{style} '
        f'font-family="DejaVu Sans, sans-serif">{words}</text>'
    )


def _stroke(x: float, y: float, stroke: str, scale: float) -> str:
    """The sign of a stroke, as of a bow (common practice)."""
    wide, high = (side * scale for side in _STROKE)
    left, right, top = x - wide, x + wide, y - high
    kind, points = "up", [(left, top), (x, y), (right, top)]
    if stroke != UP:
        kind, points = "down", [(left, y), (left, top + 10), (right, top + 10), (right, y)]
    path = " L".join(f"{across:.0f} {down:.0f}" for across, down in points)
    return f'<path class="{kind}-stroke" d="M{path}" stroke-width="26" fill="none"/>'


def _fitted(words: Mapping[int, str], y: float, size: float, kind: str) -> list[str]:
    """What stands at each x of a row, as narrow as the next one asks."""
    row = sorted(words.items())
    weight = ' font-weight="bold"' if kind == "place" else ""
    drawn = []
    for (x, text), fit in zip(row, fitted_counts(row, size), strict=True):
        place = f'x="{x}" y="{y:.0f}"'
        if fit < 1:
            place = f'transform="translate({x} {y:.0f}) scale({fit:.2f} 1)"'
        drawn.append(
            f'<text class="{kind}-tab" {place} text-anchor="middle" font-size="{size:.0f}px"'
            f'{weight} font-family="DejaVu Sans, sans-serif">{escape_html(text)}</text>'
        )
    return drawn
