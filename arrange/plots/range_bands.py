"""Bands through a song: each part's range step by step, what two of them share, how to draw it.

A note fills its own semitone: a band reaches half a semitone below its lowest note and above
its highest.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from arrange.plots.figures import points_wide
from arrange.quantities.register import part_ranges
from arrange.tables.song import Song
from arrange.tables.sounding import cut_notes

HALF = 0.5  # semitones that a note reaches to either side of its pitch


def step_bands(song: Song, chosen: list[str], size: int) -> pd.DataFrame:
    """Return the ranges of parts, a row for each part and step in which it sounds.

    Parameters
    ----------
    song : Song
    chosen : list of str
        Labels of parts.
    size : int
        Measures in a step.

    Returns
    -------
    DataFrame
        The columns of ``part_ranges``, ``step`` from 0, and its edges ``left`` and ``right`` in
        measures along x.
    """
    notes = song.notes[song.notes["part"].isin(chosen)]
    cut = cut_notes(notes, song.measures, by="measure")
    step = (cut["measure"] - 1) // size
    ranges = part_ranges(cut.assign(measure=step), by="measure").rename(columns={"measure": "step"})
    left = ranges["step"] * size + 0.5
    return ranges.assign(left=left, right=np.minimum(left + size, len(song.measures) + 0.5))


def shared_zones(bands: pd.DataFrame) -> pd.DataFrame:
    """Return what two parts share, a row for each pair and step in which their ranges meet.

    ``low`` and ``high`` bound the notes that both ranges hold, ``core_low`` and ``core_high``
    those that both middle halves hold (missing where they hold none).
    """
    columns = ["step", "left", "right", "part", "lowest", "highest",
               "middle_half_low", "middle_half_high"]  # fmt: skip
    order = pd.factorize(bands["part"])[0]
    sides = bands[columns].assign(order=order)
    both = sides.merge(sides, on=["step", "left", "right"], suffixes=("_a", "_b"))
    both = both[both["order_a"] < both["order_b"]]
    core_low = both[["middle_half_low_a", "middle_half_low_b"]].max(axis=1)
    core_high = both[["middle_half_high_a", "middle_half_high_b"]].min(axis=1)
    zones = both[["step", "left", "right", "part_a", "part_b"]].assign(
        low=both[["lowest_a", "lowest_b"]].max(axis=1),
        high=both[["highest_a", "highest_b"]].min(axis=1),
        core_low=core_low.where(core_low <= core_high),
        core_high=core_high.where(core_low <= core_high),
    )
    return zones[zones["low"] <= zones["high"]].reset_index(drop=True)


def shared_area(core: pd.DataFrame) -> pd.Series[float]:
    """Return the semitones times measures that two middle halves share."""
    return (core["core_high"] - core["core_low"] + 2 * HALF) * (core["right"] - core["left"])


def draw_steps(
    ax: Axes, rows: pd.DataFrame, low: str, high: str, gid: str, lift: float = 0.0, **style: Any
) -> PolyCollection:
    """Fill between two columns, step by step, with gaps where steps are missing or do not touch."""
    rows = rows.sort_values("step")
    x = rows[["left", "right"]].to_numpy(dtype=np.float64)
    edges = rows[[low, high]].to_numpy(dtype=np.float64) + np.array([lift - HALF, lift + HALF])
    touch = (edges[1:, 0] <= edges[:-1, 1]) & (edges[:-1, 0] <= edges[1:, 1])
    gap = np.flatnonzero((np.diff(rows["step"].to_numpy()) > 1) | ~touch) + 1
    x, edges = np.insert(x, gap, np.nan, axis=0), np.insert(edges, gap, np.nan, axis=0)
    return ax.fill_between(
        x.ravel(), np.repeat(edges[:, 0], 2), np.repeat(edges[:, 1], 2), gid=gid, **style
    )


def outline_width(ax: Axes, bands: pd.DataFrame) -> float:
    """Return the width in points of a band's outline: the narrower the steps, the finer."""
    step = float((bands["right"] - bands["left"]).median())
    return min(0.5, 0.1 * step * points_wide(ax) / (ax.get_xlim()[1] - ax.get_xlim()[0]))
