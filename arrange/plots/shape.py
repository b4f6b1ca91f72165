"""The small fret picture for handouts: one shape, or a row of several.

The strings stand upright, the lowest on the left, as the neck looks to somebody who holds it up in
front of them; frets are evenly spaced, because a hand reads it, not a ruler.
``guitar.fret_pictures`` works out its content.

One picture is 2.5 cm wide. Its type is as large as the distance of the strings allows, so that it
can be read from a stand at arm's length; in larger axes everything grows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.patches import Circle, FancyBboxPatch
from matplotlib.text import Text

from arrange.guitar.fret_counting import shown_shape
from arrange.guitar.fret_pictures import FINGERS, FretLabels, FretPicture, fret_pictures
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.plots.figures import INK, PAGE_WIDTH, PAPER, points_wide, text_points
from arrange.plots.in_words import Picture
from arrange.text.words import first_few

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

_MOST_IN_WORDS = 12
_A_ROW = int(PAGE_WIDTH * 72 // _WIDE)


def plot_shape(
    shapes: Any,
    titles: str | Sequence[str] | None = None,
    neck: Neck | None = None,
    *,
    labels: FretLabels = FINGERS,
    hand: Hand | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the fret picture of a shape, or of several side by side.

    The lowest string is on the left. A dot is a finger, a bar a finger across strings, a ring
    above an open string, a cross above a string left out. The number at the side is the fret of
    the first row, counted from the nut. A capo is a thick bar, and a line of the title gives its
    fret; where the picture begins further up, the fret from the capo stands in brackets below the
    number from the nut.

    Parameters
    ----------
    shapes : str, tuple of int, a sequence of these, or DataFrame
        Text with the low string first, frets with string 1 first, or what ``find_voicings``
        returns.
    titles : str or sequence of str, optional
        A title for each shape, such as ``"F"``; further lines are smaller:
        ``"F\\nshape of D"``. Without them the names in the table, or none.
    neck : Neck, optional
    labels : FretLabels
        What is written below the strings; the fingers if not given.
    hand : Hand, optional
        Whose fingers.
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    ArrangeError
        If a shape does not lie on the neck, or the titles are not as many as the shapes.

    Examples
    --------
    >>> import arrange as ar
    >>> ax = ar.plot_shape(["x32010", "133211"], ["C", "F"])
    >>> [text.get_text() for text in ax.texts if text.get_gid() == "title"]
    ['C', 'F']
    >>> ax = ar.plot_shape("x32010", labels=ar.FretLabels("notes"))
    >>> [text.get_text() for text in ax.texts if text.get_gid() == "word"]
    ['E', 'C', 'G', 'E', 'C']
    """
    neck = neck or Neck()
    pictures = fret_pictures(shapes, titles, neck, hand or Hand(), labels)
    if neck.capo:
        pictures = [replace(each, title=f"{each.title}\ncapo {neck.capo}") for each in pictures]
    rows = max(picture.rows for picture in pictures)
    above = _above(pictures)
    below = _WORDS_HIGH if labels.show else 6.0
    if any(_are_long(picture.words) for picture in pictures):
        below += _WORD
    high = above + _ROW * rows + below + _BETWEEN_ROWS
    columns = min(len(pictures), _A_ROW)
    width, height = _WIDE * columns, high * -(-len(pictures) // _A_ROW)
    if ax is None:
        figure = plt.figure(figsize=(width / 72, height / 72), FigureClass=Picture)
        ax = figure.add_axes((0, 0, 1, 1))
    ax.set_label(f"Fret pictures: {first_few(map(_in_words, pictures), _MOST_IN_WORDS)}")
    ax.set(xlim=(0, width), ylim=(-height, 0), aspect="equal")
    ax.axis("off")
    ax.apply_aspect()
    scale = points_wide(ax) / width
    for number, picture in enumerate(pictures):
        left, top = _WIDE * (number % _A_ROW), -high * (number // _A_ROW) - above
        place = _Place(ax, left, top, above, scale, picture.first, rows, neck.strings)
        _draw_picture(place, picture)
    return ax


def _in_words(picture: FretPicture) -> str:
    shape = shown_shape(picture.frets, picture.capo, picture.frets_from)
    return " ".join([*picture.title.split(), shape])


def _above(pictures: Sequence[FretPicture]) -> float:
    """Height of titles and signs above the strings."""
    lines = max(picture.title.count("\n") + bool(picture.title) for picture in pictures)
    titles = _TITLE_HIGH + _LINE_HIGH * (lines - 1) if lines else 3.0
    return titles + _SIGNS_HIGH


@dataclass(frozen=True)
class _Place:
    """Where a picture lies: its left edge, the height of its first line, and its rows."""

    ax: Axes
    left: float
    top: float
    above: float  # height of titles and signs
    scale: float  # of type and lines
    first: int  # fret of the first row
    rows: int
    strings: int

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


def _draw_picture(place: _Place, picture: FretPicture) -> None:
    _draw_grid(place, picture)
    _draw_signs(place, picture)
    _draw_fingers(place, picture)
    _write_words(place, picture.words)
    _write_title(place, picture.title)


def _draw_grid(place: _Place, picture: FretPicture) -> None:
    """Strings, frets, the nut or capo, and the numbers beside rows."""
    ax, left, right = place.ax, place.x(place.strings), place.x(1)
    for string in range(1, place.strings + 1):
        ax.plot([place.x(string)] * 2, [place.top, place.bottom], color=INK, zorder=1,
                linewidth=0.9 * place.scale, gid="string")  # fmt: skip
    for row in range(place.rows + 1):
        y = place.top - _ROW * row
        ax.plot([left, right], [y, y], color=INK, linewidth=0.9 * place.scale, zorder=1,
                gid="fret")  # fmt: skip
    if picture.shows_end:
        over = 3.0 if picture.capo else 0.0
        ax.plot(
            [left - over, right + over], [place.top + 0.8] * 2, color=INK, zorder=2,
            linewidth=(5.5 if picture.capo else 3.2) * place.scale,
            gid="capo" if picture.capo else "nut",
            solid_capstyle="round" if picture.capo else "projecting",
        )  # fmt: skip
    for fret, number in picture.numbers:
        is_first = fret == picture.first
        text = _write(place, left - _BESIDE, place.y(fret), number, _NUMBER if is_first else _LINE,
                      "first fret" if is_first else "from the capo")  # fmt: skip
        text.set_horizontalalignment("right")


def _draw_signs(place: _Place, picture: FretPicture) -> None:
    """A ring above each open string, a cross above each that is left out."""
    size = 0.68 * place.dot
    y = place.top + (8.0 if picture.capo and picture.shows_end else 6.5)
    for string in picture.open_strings:
        place.ax.add_patch(Circle((place.x(string), y), size, facecolor=PAPER, edgecolor=INK,
                                  zorder=3, linewidth=1.3 * place.scale, gid="open"))  # fmt: skip
    for string in picture.left_out:
        x = place.x(string)
        place.ax.plot(
            [x - size, x + size, x, x - size, x + size],
            [y - size, y + size, y, y + size, y - size],
            color=INK, linewidth=1.5 * place.scale, solid_capstyle="round", zorder=3,
            gid="left out",
        )  # fmt: skip


def _draw_fingers(place: _Place, picture: FretPicture) -> None:
    """A bar for each finger across strings, a dot for each other string that is held."""
    for barre in picture.barres:
        left, right = place.x(barre.last), place.x(barre.first)
        place.ax.add_patch(
            FancyBboxPatch(
                (left, place.y(barre.fret)), right - left, 0.0, facecolor=INK, edgecolor=INK,
                boxstyle=f"round,pad={0.8 * place.dot},rounding_size={0.8 * place.dot}",
                linewidth=0, zorder=3, gid="barre",
            )
        )  # fmt: skip
    for string, fret in picture.dots:
        place.ax.add_patch(Circle((place.x(string), place.y(fret)), place.dot, facecolor=INK,
                                  linewidth=0, zorder=3, gid="dot"))  # fmt: skip


def _write_words(place: _Place, words: Sequence[str]) -> None:
    """Write below the strings; long words alternate between two lines, or they would touch."""
    is_long = _are_long(words)
    for string, word in enumerate(words, 1):
        if word:
            lower = _WORD if is_long and string % 2 else 0.0
            size = min(_WORD - is_long, 24 / len(word))
            _write(place, place.x(string), place.bottom - 7.5 - lower, word, size, "word")


def _are_long(words: Sequence[str]) -> bool:
    return any(len(word) > 1 for word in words)


def _write_title(place: _Place, title: str) -> None:
    """Write the title in the middle, the first line large, each as wide as there is room."""
    middle = (place.x(1) + place.x(place.strings)) / 2
    y = place.top + place.above - _TITLE_HIGH / 2
    for number, line in enumerate(title.split("\n")):
        size = _LINE if number else _TITLE
        text = _write(place, middle, y, line, size, "title")
        text.set_fontweight("normal" if number else "bold")
        y -= (_TITLE_HIGH + _LINE_HIGH) / 2 if number == 0 else _LINE_HIGH
        most = _WIDE - 7
        wide = text_points(text)[0] / place.scale
        if wide > most:
            text.set_fontsize(size * place.scale * most / wide)
            wide = most
        text.set_x(min(middle, place.left + _WIDE - 3 - wide / 2))


def _write(place: _Place, x: float, y: float, words: str, size: float, gid: str) -> Text:
    return place.ax.text(
        x, y, words, fontsize=size * place.scale, fontweight="bold", color=INK, ha="center",
        va="center_baseline", parse_math=False, zorder=4, gid=gid,
    )  # fmt: skip
