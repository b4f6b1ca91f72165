"""Many parts, a lane each, on one scale of semitones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.patches import Patch

from arrange.plots.figures import (
    BLUE,
    FAINT,
    GREY,
    INK,
    KEY_BELOW,
    LABEL_GAP,
    PALE_BLUE,
    SMALL_SIZE,
    TEXT_SIZE,
    add_legend,
    points_high,
    short,
)
from arrange.plots.range_bands import HALF, draw_steps, outline_width, shared_area
from arrange.quantities.register import part_ranges
from arrange.tables.song import Song
from arrange.theory.pitch import note_name

LANE_GAP = 3.0  # semitones
_LEAST_LANE = 9.0  # semitones


@dataclass(frozen=True)
class Lane:
    """A part's lane: its lowest and highest note, and what to add to a pitch to get its y."""

    part: str
    lowest: float
    highest: float
    lift: float

    @property
    def middle(self) -> float:
        return (self.lowest + self.highest) / 2 + self.lift

    @property
    def height(self) -> float:
        return max(self.highest - self.lowest + 2 * HALF, _LEAST_LANE)


def pitch_lanes(song: Song, chosen: list[str]) -> list[Lane]:
    """Return a lane for each part, the first on top, all on one scale of semitones."""
    if not chosen:
        return []
    ranges = part_ranges(song.notes).set_index("part")
    lanes: list[Lane] = []
    top = 0.0
    for part in chosen:
        low, high = float(ranges["lowest"][part]), float(ranges["highest"][part])
        lane = Lane(part, low, high, 0.0)
        lane = Lane(part, low, high, top - lane.height / 2 - lane.middle)
        lanes.append(lane)
        top -= lane.height + LANE_GAP
    return lanes


def draw_lanes(
    ax: Axes, lanes: list[Lane], bands: pd.DataFrame, zones: pd.DataFrame, song: Song
) -> None:
    """Draw each part's band in its lane, black where another's middle half lies on its own.

    Parameters
    ----------
    ax : Axes
    lanes : from ``pitch_lanes``
    bands : from ``range_bands.step_bands``
    zones : from ``range_bands.shared_zones``
    """
    bottom = lanes[-1].middle - lanes[-1].height / 2
    ax.set_ylim(bottom - LANE_GAP / 2, LANE_GAP / 2)
    core = zones.dropna(subset="core_low")
    for lane in lanes:
        own = bands[bands["part"] == lane.part]
        draw_steps(ax, own, "lowest", "highest", f"range {lane.part}", lane.lift,
                   facecolor=PALE_BLUE, edgecolor=BLUE, linewidth=outline_width(ax, bands),
                   zorder=2)  # fmt: skip
        draw_steps(ax, own, "middle_half_low", "middle_half_high", f"middle half {lane.part}",
                   lane.lift, facecolor=BLUE, linewidth=0, zorder=3)  # fmt: skip
        shared = core[(core["part_a"] == lane.part) | (core["part_b"] == lane.part)]
        _draw_lane_shared(ax, lane, shared)
        _name_lane(ax, lane, shared)
    for upper in lanes[:-1]:
        line = upper.middle - upper.height / 2 - LANE_GAP / 2
        ax.axhline(line, color=GREY, linewidth=0.6, zorder=1)
    _draw_lane_octaves(ax, lanes, song)
    handles = [Patch(facecolor=PALE_BLUE, edgecolor=BLUE, linewidth=0.5), Patch(facecolor=BLUE),
               Patch(facecolor=INK)]  # fmt: skip
    labels = ["lowest to highest note", "middle half of its time", "shared with another part"]
    add_legend(ax, handles, labels, KEY_BELOW)


def _draw_lane_shared(ax: Axes, lane: Lane, shared: pd.DataFrame) -> None:
    """Blacken what the part's middle half shares with that of any other part."""
    if shared.empty:
        return
    merged = _merge_intervals(shared)
    left, right = merged["left"].to_numpy(), merged["right"].to_numpy()
    low = merged["core_low"].to_numpy() + lane.lift - HALF
    high = merged["core_high"].to_numpy() + lane.lift + HALF
    corners = np.stack([left, low, left, high, right, high, right, low], axis=1).reshape(-1, 4, 2)
    ax.add_collection(
        PolyCollection(
            list(corners), facecolor=INK, edgecolor=INK, linewidth=0.3, zorder=5,
            gid=f"shared middle {lane.part}",
        ),
        autolim=False,
    )  # fmt: skip


def _merge_intervals(shared: pd.DataFrame) -> pd.DataFrame:
    """Merge the core intervals of each step that touch or overlap."""
    rows = shared.sort_values(["step", "core_low"], ignore_index=True)
    reach = rows.groupby("step")["core_high"].cummax().shift()
    begins = (rows["step"] != rows["step"].shift()) | (rows["core_low"] > reach + 2 * HALF)
    return rows.groupby(begins.cumsum()).agg(
        {"left": "first", "right": "first", "core_low": "min", "core_high": "max"}
    )


def _name_lane(ax: Axes, lane: Lane, shared: pd.DataFrame) -> None:
    """Write the part's name beside its lane, and below it the part that it shares most with."""
    partner = _closest_partner(lane.part, shared)
    for text, up, size, weight, color in (
        (short(lane.part, 20), 4.5 if partner else 0, TEXT_SIZE, "bold", INK),
        (f"with {short(partner, 20)}" if partner else "", -4.5, SMALL_SIZE, "normal", GREY),
    ):
        if text:
            ax.annotate(
                text, xy=(1, lane.middle), xycoords=("axes fraction", "data"), xytext=(6, up),
                textcoords="offset points", va="center", fontsize=size, fontweight=weight,
                color=color, annotation_clip=False, parse_math=False, gid="part name",
            )  # fmt: skip


def _closest_partner(part: str, shared: pd.DataFrame) -> str:
    """The other part of the pair with the most black, or an empty name."""
    if shared.empty:
        return ""
    other = shared["part_b"].where(shared["part_a"] == part, shared["part_a"])
    return str(shared_area(shared).groupby(other).sum().idxmax())


def _draw_lane_octaves(ax: Axes, lanes: list[Lane], song: Song) -> None:
    """Name each lane's lowest and highest note and the Cs between; draw the Cs as lines."""
    bottom, top = ax.get_ylim()
    least = LABEL_GAP * (top - bottom) / points_high(ax)
    ticks: dict[float, str] = {}
    for lane in lanes:
        octaves = [pitch for pitch in range(128) if pitch % 12 == 0
                   and lane.lowest <= pitch <= lane.highest]  # fmt: skip
        for octave in octaves:
            ax.axhline(octave + lane.lift, color=FAINT, linewidth=0.5, zorder=0.5)
        for pitch in (*map(float, octaves), lane.lowest, lane.highest):
            y = pitch + lane.lift
            if all(abs(y - other) >= least for other in ticks):
                ticks[y] = note_name(pitch) if pitch in octaves else song.note_name(pitch)
    ax.set_yticks(list(ticks), list(ticks.values()))
    ax.tick_params(axis="y", labelsize=SMALL_SIZE)
