"""What all pictures share: size, type, colours, titles, notes and keys.

Sizes of type are in points on a page 18 cm wide.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.legend_handler import HandlerTuple
from matplotlib.text import Text
from matplotlib.transforms import ScaledTranslation, Transform

from arrange.errors import ArrangeError
from arrange.plots.in_words import Picture
from arrange.tables.song import Song
from arrange.text.part_lists import join_parts, split_parts
from arrange.theory.spelling import unknown_name

PAGE_WIDTH = 7.09  # inches: 18 cm
TITLE_SIZE, TEXT_SIZE, SMALL_SIZE = 10.0, 8.0, 7.0
INK, GREY, FAINT, PAPER = "#111111", "#565656", "#c4c4c4", "#ffffff"

# Blue and orange as M. Okabe and K. Ito (2008), "Color Universal Design", give them; the pale
# tones are the same mixed with white. CIE lightness, dark to pale: 46, 71, 85, 92.
BLUE, PALE_BLUE = "#0072b2", "#bfdcec"
ORANGE, PALE_ORANGE = "#e69f00", "#fae7bf"

LABEL_GAP = 9.5  # points between the middles of two labels above each other
KEY_BELOW = 28.0  # points from the axes down to the key

_LONGEST_NAME = 24  # characters
_KINDS = ("svg", "png")


@dataclass(frozen=True)
class Margins:
    """White space around the axes of a new figure, in inches."""

    left: float = 0.42
    right: float = 1.08
    top: float = 0.85
    bottom: float = 0.85


def new_axes(height: float, margins: Margins) -> Axes:
    """Return axes of the given height (inches) in a new figure as wide as the page."""
    total = height + margins.top + margins.bottom
    figure, ax = plt.subplots(figsize=(PAGE_WIDTH, total), FigureClass=Picture)
    figure.subplots_adjust(
        left=margins.left / PAGE_WIDTH,
        right=1 - margins.right / PAGE_WIDTH,
        bottom=margins.bottom / total,
        top=1 - margins.top / total,
    )
    return ax


def render_picture(ax: Axes, kind: str = "svg") -> bytes:
    """Return the figure that `ax` lies in as the bytes of a file, and close it.

    The same picture gives the same bytes.

    Parameters
    ----------
    ax : Axes
    kind : str
        ``"svg"``, or ``"png"`` at 200 dots an inch.

    Raises
    ------
    ArrangeError
        If `kind` is neither.
    """
    if kind not in _KINDS:
        raise ArrangeError(f"kind={kind!r}: a picture is one of {', '.join(map(repr, _KINDS))}")
    figure, buffer = figure_of(ax), io.BytesIO()
    metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {"Software": None}
    with mpl.rc_context({"svg.hashsalt": "arrange"}), _signs_of_any_kind():
        figure.savefig(buffer, format=kind, dpi=200, bbox_inches="tight", metadata=metadata)
    plt.close(figure)
    return buffer.getvalue()


@contextmanager
def _signs_of_any_kind() -> Iterator[None]:
    """Draw signs that the typeface lacks as boxes, without a warning."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def figure_of(ax: Axes) -> Figure:
    """Return the whole figure that `ax` lies in."""
    figure = ax.get_figure(root=True)
    if figure is None:
        raise ArrangeError("these axes lie in no figure; make them with a figure's add_subplot")
    return figure


def points_wide(ax: Axes) -> float:
    """Return the width of the axes in points."""
    return float(ax.get_window_extent().width) * 72 / figure_of(ax).dpi


def points_high(ax: Axes) -> float:
    """Return the height of the axes in points."""
    return float(ax.get_window_extent().height) * 72 / figure_of(ax).dpi


def text_points(text: Text) -> tuple[float, float]:
    """Return the width and height of a drawn text in points, without its arrow."""
    figure = text.get_figure(root=True)
    dpi = figure.dpi if figure is not None else 72.0
    with _signs_of_any_kind():
        extent = Text.get_window_extent(text)
    return float(extent.width) * 72 / dpi, float(extent.height) * 72 / dpi


def shifted(ax: Axes, base: Transform, x: float = 0.0, y: float = 0.0) -> Transform:
    """Return a transform moved by so many points."""
    return base + ScaledTranslation(x / 72, y / 72, figure_of(ax).dpi_scale_trans)


def short(name: str, longest: int = _LONGEST_NAME) -> str:
    """Return a name cut to a length in characters: its beginning, an ellipsis, its end.

    The end stays because the number there says which part or section it is.
    """
    if len(name) <= longest:
        return name
    end = longest // 3
    return f"{name[: longest - end - 1].rstrip()}…{name[-end:].lstrip()}"


def short_parts(parts: str, longest: int = 17) -> str:
    """Return parts such as a finding's with each label cut to a length in characters."""
    return join_parts(short(label, longest) for label in split_parts(parts))


def set_title(ax: Axes, title: str, above: float = 0.0) -> None:
    """Write the title at the left, above so many points of other text."""
    ax.set_title(
        title,
        loc="left",
        fontsize=TITLE_SIZE,
        fontweight="bold",
        color=INK,
        pad=6 + above,
        parse_math=False,
    )


def write_note(ax: Axes, text: str, below: float) -> None:
    """Write a small plain note so many points below the axes."""
    ax.annotate(
        text,
        xy=(0, 0),
        xycoords="axes fraction",
        xytext=(0, -below),
        textcoords="offset points",
        fontsize=SMALL_SIZE,
        color=GREY,
        va="top",
        annotation_clip=False,
        parse_math=False,
    )


def write_instead(ax: Axes, text: str) -> None:
    """Write a plain sentence in the middle of axes that have nothing else to show."""
    ax.text(
        0.5,
        0.5,
        text,
        transform=ax.transAxes,
        ha="center",
        va="center",
        fontsize=TEXT_SIZE + 1,
        color=GREY,
        parse_math=False,
    )


def add_legend(ax: Axes, handles: Sequence[Any], labels: Sequence[str], below: float) -> None:
    """Draw the key to a picture in one row, so many points below the axes."""
    ax.legend(
        handles,
        labels,
        loc="upper left",
        bbox_to_anchor=(0, 0),
        bbox_transform=shifted(ax, ax.transAxes, y=-below),
        ncols=len(labels),
        frameon=False,
        fontsize=TEXT_SIZE,
        borderaxespad=0,
        borderpad=0,
        handlelength=2.2,
        handleheight=1.1,
        columnspacing=1.6,
        handler_map={tuple: HandlerTuple(ndivide=None, pad=0)},
    )


def choose_parts(
    song: Song, parts: Sequence[str] | None, heard: set[str]
) -> tuple[list[str], list[str]]:
    """Return the parts to draw, and those asked for that are not among the heard ones.

    Without `parts` the guitars are asked for; or all parts, if fewer than two guitars are heard.

    Raises
    ------
    ArrangeError
        If the song has no part of a name in `parts`.
    """
    known = song.parts["part"].tolist()
    unknown = [name for name in parts or [] if name not in known]
    if unknown:
        raise ArrangeError(unknown_name("part", unknown[0], known))
    if parts is None:
        guitars = song.parts.loc[song.parts["family"] == "guitar", "part"]
        heard_guitars = [name for name in guitars if name in heard]
        parts = heard_guitars if len(heard_guitars) >= 2 else known
    wanted = list(dict.fromkeys(parts))
    return [name for name in wanted if name in heard], [
        name for name in wanted if name not in heard
    ]


def clear_frame(ax: Axes) -> None:
    """Leave only the line along the bottom of the axes."""
    for side in ("left", "right", "top"):
        ax.spines[side].set_visible(False)
    ax.spines["bottom"].set_color(GREY)
    ax.tick_params(axis="both", labelsize=TEXT_SIZE, colors=INK, color=GREY, width=0.6, length=3)
