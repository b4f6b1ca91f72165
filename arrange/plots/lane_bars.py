"""Bars along a song: a rectangle for each measure, or each stretch of measures that look alike."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from arrange.plots.figures import INK, TEXT_SIZE, short
from arrange.tables.sounding import Array

LONGEST_NAME = 20  # characters of a part's name beside its lane
_LETTER, _NAME_MARGIN = 0.072, 0.2  # inches
_LINE = 10.0  # points between two names


def stretches(measure: Array, look: Array) -> tuple[Array, Array]:
    """Return where stretches of consecutive measures that look alike begin and end.

    Parameters
    ----------
    measure : array of int, ascending
    look : array (measures,)

    Returns
    -------
    first, last : array of int
        Indices, both included.
    """
    breaks = np.flatnonzero((np.diff(look) != 0) | (np.diff(measure) != 1)) + 1
    if not len(measure):
        return breaks, breaks
    return np.append(0, breaks), np.append(breaks, len(measure)) - 1


def draw_bars(
    ax: Axes, left: Array, right: Array, low: Array, high: Array, gid: str, **style: Any
) -> PolyCollection:
    """Draw a rectangle for each item, in data coordinates."""
    corners = np.stack([left, low, left, high, right, high, right, low], axis=1)
    bars = PolyCollection(list(corners.reshape(-1, 4, 2)), gid=gid, **style)
    ax.add_collection(bars, autolim=False)
    return bars


def name_margin(names: list[str]) -> float:
    """Return the inches that names beside the lanes need."""
    letters = max((len(short(name, LONGEST_NAME)) for name in names), default=0)
    return max(0.62, _NAME_MARGIN + _LETTER * letters)


def name_lane(ax: Axes, y: float, *names: str) -> None:
    """Write the one or two parts of a lane left of it."""
    for place, name in enumerate(names):
        ax.annotate(
            short(name, LONGEST_NAME), xy=(0, y), xycoords=("axes fraction", "data"),
            xytext=(-7, _LINE * ((len(names) - 1) / 2 - place)), textcoords="offset points",
            ha="right", va="center", fontsize=TEXT_SIZE, fontweight="bold", color=INK,
            annotation_clip=False, parse_math=False, gid="part name",
        )  # fmt: skip
