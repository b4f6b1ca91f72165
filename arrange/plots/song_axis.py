"""A song's sections and measures along x.

A picture counts played measures: measure 5 lies between 4.5 and 5.5, its number in the middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.text import Annotation

from arrange.plots.figures import GREY, INK, SMALL_SIZE, TEXT_SIZE, points_wide, short, text_points
from arrange.tables.song import Song
from arrange.tables.sounding import Array

_NAME_ROWS = 4  # rows of section names above a picture
_ROW_HEIGHT = 9.5  # points
_TICK_GAP = 5.5  # points between measure numbers, and as much again for each digit
_EVEN_TICK_GAP = 32.0  # points between measure numbers that begin no section
_TICK_STEPS = [size * ten for ten in (1, 10, 100, 1000, 10_000, 100_000) for size in (1, 2, 4, 8)]


def measure_position(song: Song, onset: Any) -> Any:
    """Return where onsets (quarter notes) lie along x, in measures."""
    lines = np.append(song.measures["onset"].to_numpy(), song.duration)
    return np.interp(onset, lines, np.arange(len(lines)) + 0.5)


def draw_song_axis(ax: Axes, song: Song, order: float = 0.6) -> float:
    """Draw sections along the top and measures along the bottom.

    Parameters
    ----------
    ax : Axes
    song : Song
    order : float
        Drawing order of the lines between sections; the higher ones lie over the lower.

    Returns
    -------
    float
        Height of the section names above the axes, in points.
    """
    count = len(song.measures)
    ax.set_xlim(0.5, count + 0.5)
    ax.set_xlabel(
        "measure, as played" if count > 1 else "measure",
        fontsize=TEXT_SIZE,
        color=INK,
        labelpad=2,
    )
    starts = song.sections["first_measure"].to_numpy()
    ticks = _measure_ticks(starts, count, points_wide(ax))
    ax.set_xticks(ticks, [str(tick) for tick in ticks])
    return _ROW_HEIGHT * _name_sections(ax, song.sections, order)


def _measure_ticks(starts: Any, count: int, width: float) -> list[int]:
    """Measures to number: where sections begin, and even steps where those leave gaps."""
    apart = _least_measures(_TICK_GAP * (1 + len(str(count))), count, width)
    even = _least_measures(_EVEN_TICK_GAP, count, width)
    step = next(size for size in _TICK_STEPS if size >= even)
    ticks: list[int] = []
    for measure in sorted({int(start) for start in starts}):
        if not ticks or measure - ticks[-1] >= apart:
            ticks.append(measure)
    for line, end in zip(ticks.copy(), [*ticks[1:], count + apart], strict=True):
        if end - line >= 2 * step:
            ticks.extend(range(line + step, min(end - apart, count) + 1, step))
    return sorted(ticks)


def _least_measures(points: float, count: int, width: float) -> int:
    """Least number of measures that take up at least so many points."""
    return max(1, int(np.ceil(points * count / width)))


def _name_sections(ax: Axes, sections: pd.DataFrame, order: float) -> int:
    """Write the section names in rows above the axes, a line at each; return how many rows.

    Where there is no room for all, the longest sections keep their names.
    """
    texts = [_section_name(ax, name) for name in sections["section"]]
    begins = (sections["first_measure"].to_numpy() - 1) * points_wide(ax) / _measures_wide(ax)
    ends = begins + [text_points(text)[0] + 3 for text in texts]
    length = sections["last_measure"].to_numpy() - sections["first_measure"].to_numpy()
    rows: dict[int, int] = {}
    for place in np.argsort(-length, kind="stable").tolist():
        tried = _rows_of_names(sorted([*rows, place]), begins, ends)
        if max(tried.values()) < _NAME_ROWS:
            rows = tried
    for place, text in enumerate(texts):
        if place not in rows:
            text.remove()
            continue
        edge = float(sections["first_measure"].iloc[place]) - 0.5
        text.xy = (edge, 1)
        text.set_position((2, 2.5 + _ROW_HEIGHT * rows[place]))
        if place > 0 or rows[place] > 0:
            _draw_section_line(ax, edge, _ROW_HEIGHT * (rows[place] + 1), order)
    return max(rows.values(), default=-1) + 1


def _measures_wide(ax: Axes) -> float:
    first, last = ax.get_xlim()
    return float(last - first)


def _section_name(ax: Axes, name: str) -> Annotation:
    return ax.annotate(
        short(name),
        xy=(0.5, 1),
        xycoords=("data", "axes fraction"),
        xytext=(2, 0),
        textcoords="offset points",
        fontsize=SMALL_SIZE,
        color=INK,
        va="bottom",
        annotation_clip=False,
        parse_math=False,
        gid="section name",
    )


def _rows_of_names(places: Sequence[int], begins: Array, ends: Array) -> dict[int, int]:
    """The row of each name, so that none lies on another or on another's line.

    From the last to the first, each goes one row above those that begin below it.
    """
    rows: dict[int, int] = {}
    for place in reversed(places):
        below = [row for other, row in rows.items() if begins[other] < ends[place]]
        rows[place] = max(below, default=-1) + 1
    return rows


def _draw_section_line(ax: Axes, x: float, height: float, order: float) -> None:
    """Draw a thin line through the axes, and on to a name that ends so many points above."""
    ax.axvline(x, color=GREY, linewidth=0.4, zorder=order, gid="section line")
    ax.annotate(
        "",
        xy=(x, 1),
        xycoords=("data", "axes fraction"),
        xytext=(0, height),
        textcoords="offset points",
        annotation_clip=False,
        arrowprops={"arrowstyle": "-", "color": GREY, "linewidth": 0.4, "shrinkA": 0,
                    "shrinkB": 0},
    )  # fmt: skip
