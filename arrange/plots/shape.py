"""The small fret picture for handouts: one shape, or a row of several.

The strings stand upright, the lowest on the left, as the neck looks to somebody who holds it up
in front of them; frets are evenly spaced, for a hand reads it, not a ruler. What it tells is what
MusicXML 4.0 tells in its element ``frame``: frets, strings left out, barres, fingers, and at
which fret it begins.

One picture is 2.5 cm wide. Its type is as large as strings so close allow, to be read from a
stand at arm's length; in larger axes all of it grows along.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.patches import Circle, FancyBboxPatch
from matplotlib.text import Text

from arrange.guitar.hands import Hand
from arrange.guitar.necks import LEFT_OUT, Neck
from arrange.plots.grips import ShownShape, shown_shapes
from arrange.plots.page import INK, PAGE_WIDTH, PAPER, points_wide, text_points

# All in points where a picture is 2.5 cm wide.
_WIDE = 71.0
_LEFT, _RIGHT = 20.0, 6.0  # from the edges to the outer strings
_ROW = 14.0  # a fret
_TITLE_HIGH, _LINE_HIGH, _SIGNS_HIGH = 19.0, 10.5, 13.0
_WORDS_HIGH = 14.0
_BETWEEN_ROWS = 8.0
_DOT = 5.0  # radius
_BESIDE = 6.5  # from the lowest string to the number of the first fret
_TITLE, _LINE, _NUMBER, _WORD = 15.0, 8.0, 10.0, 11.0  # size of type

_LEAST_FRETS = 4
_A_ROW = int(PAGE_WIDTH * 72 // _WIDE)


def plot_shape(
    shapes: Any,
    titles: str | Sequence[str] | None = None,
    neck: Neck | None = None,
    *,
    show: str = "fingers",
    chord: str | None = None,
    key: str | None = None,
    hand: Hand | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the fret picture of a shape, or of several side by side.

    The lowest string is on the left. A dot is a finger, a bar a finger across strings, a ring
    above an open string, a cross above a string left out. The number at the side is the fret of
    the first row, from the nut. A capo is a thick bar, and a line of the title tells its fret;
    where the picture begins further up, the fret from the capo stands in brackets below the
    number from the nut.

    Parameters
    ----------
    shapes : str, tuple of int, a sequence of these, or DataFrame
        Text with the low string first, frets with string 1 first, or what ``find_voicings`` gives.
    titles : str or sequence of str, optional
        A title for each shape, such as ``"F"``; further lines are smaller:
        ``"F\\nshape of D"``. Without them the names in the table, or none.
    neck : Neck, optional
    show : str
        What stands below the strings: ``"fingers"`` (the thumb is T), ``"notes"``,
        ``"members"`` or ``""``.
    chord : str, optional
        Whose members, such as ``"C7"``; it spells the notes too, unless a key does.
    key : str, optional
        Spells the notes.
    hand : Hand, optional
        Whose fingers.
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    ArrangeError
        If a shape does not lie on the neck, the titles are not as many as the shapes, `show` is
        none of these, or the members of no chord are asked for.
    """
    neck, hand = neck or Neck(), hand or Hand()
    shown = shown_shapes(shapes, titles, neck, hand, show, chord, key)
    if neck.capo:
        shown = [replace(each, title=f"{each.title}\ncapo {neck.capo}") for each in shown]
    rows = max(_rows(shape, neck) for shape in shown)
    above = _above(shown)
    below = _WORDS_HIGH if show else 6.0
    if any(_are_long(shape.words) for shape in shown):
        below += _WORD
    high = above + _ROW * rows + below + _BETWEEN_ROWS
    columns = min(len(shown), _A_ROW)
    width, height = _WIDE * columns, high * -(-len(shown) // _A_ROW)
    if ax is None:
        figure = plt.figure(figsize=(width / 72, height / 72))
        ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(0, width), ylim=(-height, 0), aspect="equal")
    ax.axis("off")
    ax.apply_aspect()
    scale = points_wide(ax) / width
    for number, shape in enumerate(shown):
        left, top = _WIDE * (number % _A_ROW), -high * (number // _A_ROW) - above
        first = _first_fret(shape, neck)
        _draw_picture(ax, shape, neck, _Place(left, top, above, scale, neck.strings, first, rows))
    return ax


def _above(shown: Sequence[ShownShape]) -> float:
    """Height of titles and signs above the strings."""
    lines = max(shape.title.count("\n") + bool(shape.title) for shape in shown)
    titles = _TITLE_HIGH + _LINE_HIGH * (lines - 1) if lines else 3.0
    return titles + _SIGNS_HIGH


def _first_fret(shape: ShownShape, neck: Neck) -> int:
    """The fret of the first row: the one behind the nut or capo if the shape fits there."""
    held = [fret for fret in shape.frets if fret > neck.capo]
    if not held or max(held) <= neck.capo + _LEAST_FRETS:
        return neck.capo + 1
    return min(held)


def _rows(shape: ShownShape, neck: Neck) -> int:
    return max(_LEAST_FRETS, max(shape.frets) - _first_fret(shape, neck) + 1)


@dataclass(frozen=True)
class _Place:
    """Where a picture lies: its left edge, the height of its first line, and its rows."""

    left: float
    top: float
    above: float  # height of titles and signs
    scale: float  # of type and lines
    strings: int
    first: int  # fret of the first row
    rows: int

    @property
    def apart(self) -> float:
        return (_WIDE - _LEFT - _RIGHT) / max(self.strings - 1, 1)

    @property
    def dot(self) -> float:
        return min(_DOT, 0.48 * self.apart)

    @property
    def bottom(self) -> float:
        return self.top - _ROW * self.rows

    def x(self, string: int) -> float:
        return self.left + _WIDE - _RIGHT - self.apart * (string - 1)

    def y(self, fret: int) -> float:
        """The middle of a fret's row."""
        return self.top - _ROW * (fret - self.first + 0.5)


def _draw_picture(ax: Axes, shape: ShownShape, neck: Neck, place: _Place) -> None:
    _draw_grid(ax, neck, place)
    _draw_signs(ax, shape, neck, place)
    _draw_fingers(ax, shape, neck, place)
    _write_words(ax, shape, place)
    _write_title(ax, shape.title, place)


def _draw_grid(ax: Axes, neck: Neck, place: _Place) -> None:
    """Strings, frets, the nut or capo, and the number of the first row."""
    left, right = place.x(place.strings), place.x(1)
    for string in range(1, place.strings + 1):
        ax.plot([place.x(string)] * 2, [place.top, place.bottom], color=INK, zorder=1,
                linewidth=0.9 * place.scale, gid="string")  # fmt: skip
    for row in range(place.rows + 1):
        y = place.top - _ROW * row
        ax.plot([left, right], [y, y], color=INK, linewidth=0.9 * place.scale, zorder=1,
                gid="fret")  # fmt: skip
    if place.first == neck.capo + 1:
        over = 0.0 if not neck.capo else 3.0
        ax.plot(
            [left - over, right + over], [place.top + 0.8] * 2, color=INK, zorder=2,
            linewidth=(5.5 if neck.capo else 3.2) * place.scale, gid="capo" if neck.capo else "nut",
            solid_capstyle="round" if neck.capo else "projecting",
        )  # fmt: skip
    else:
        _write(ax, left - _BESIDE, place.y(place.first), str(place.first), _NUMBER, place,
               ha="right", gid="first fret")  # fmt: skip
        if neck.capo:
            _write(ax, left - _BESIDE, place.y(place.first + 1), f"({place.first - neck.capo})",
                   _LINE, place, ha="right", gid="from the capo")  # fmt: skip


def _draw_signs(ax: Axes, shape: ShownShape, neck: Neck, place: _Place) -> None:
    """A ring above each open string, a cross above each that is left out."""
    size = 0.68 * place.dot
    y = place.top + (8.0 if place.first == neck.capo + 1 and neck.capo else 6.5)
    for string, fret in enumerate(shape.frets, 1):
        x = place.x(string)
        if fret == neck.capo:
            ax.add_patch(Circle((x, y), size, facecolor=PAPER, edgecolor=INK, zorder=3,
                                linewidth=1.3 * place.scale, gid="open"))  # fmt: skip
        elif fret == LEFT_OUT:
            ax.plot(
                [x - size, x + size, x, x - size, x + size],
                [y - size, y + size, y, y + size, y - size],
                color=INK, linewidth=1.5 * place.scale, solid_capstyle="round", zorder=3,
                gid="left out",
            )  # fmt: skip


def _draw_fingers(ax: Axes, shape: ShownShape, neck: Neck, place: _Place) -> None:
    """A bar for each finger across strings, a dot for each other string that is held."""
    covered = set()
    for barre in shape.barres:
        left, right = place.x(barre.last), place.x(barre.first)
        covered |= {
            string
            for string in range(barre.first, barre.last + 1)
            if shape.fingers[string - 1] == barre.finger
        }
        ax.add_patch(
            FancyBboxPatch(
                (left, place.y(barre.fret)), right - left, 0.0, facecolor=INK, edgecolor=INK,
                boxstyle=f"round,pad={0.8 * place.dot},rounding_size={0.8 * place.dot}",
                linewidth=0, zorder=3, gid="barre",
            )
        )  # fmt: skip
    for string, fret in enumerate(shape.frets, 1):
        if fret > neck.capo and string not in covered:
            ax.add_patch(Circle((place.x(string), place.y(fret)), place.dot, facecolor=INK,
                                linewidth=0, zorder=3, gid="dot"))  # fmt: skip


def _write_words(ax: Axes, shape: ShownShape, place: _Place) -> None:
    """Write below the strings; long words by turns in two lines, or they would touch."""
    is_long = _are_long(shape.words)
    for string, word in enumerate(shape.words, 1):
        if word:
            lower = _WORD if is_long and string % 2 else 0.0
            size = min(_WORD - is_long, 24 / len(word))
            _write(ax, place.x(string), place.bottom - 7.5 - lower, word, size, place, gid="word")


def _are_long(words: Sequence[str]) -> bool:
    return any(len(word) > 1 for word in words)


def _write_title(ax: Axes, title: str, place: _Place) -> None:
    """Write the title in the middle, the first line large, each as wide as there is room."""
    middle = (place.x(1) + place.x(place.strings)) / 2
    y = place.top + place.above - _TITLE_HIGH / 2
    for number, line in enumerate(title.split("\n")):
        size = _LINE if number else _TITLE
        text = _write(ax, middle, y, line, size, place, gid="title")
        text.set_fontweight("normal" if number else "bold")
        y -= (_TITLE_HIGH + _LINE_HIGH) / 2 if number == 0 else _LINE_HIGH
        most = _WIDE - 7
        wide = text_points(text)[0] / place.scale
        if wide > most:
            text.set_fontsize(size * place.scale * most / wide)
            wide = most
        text.set_x(min(middle, place.left + _WIDE - 3 - wide / 2))


def _write(ax: Axes, x: float, y: float, words: str, size: float, place: _Place, gid: str,
           ha: str = "center") -> Text:  # fmt: skip
    return ax.text(
        x, y, words, fontsize=size * place.scale, fontweight="bold", color=INK, ha=ha,
        va="center_baseline", parse_math=False, zorder=4, gid=gid,
    )  # fmt: skip
