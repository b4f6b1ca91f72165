"""Where do the parts lie, and where do two of them sit on top of each other?

Two parts are drawn over each other on one pitch axis; more get a lane each, on one scale of
semitones. A note fills its own semitone: a band reaches half a semitone below its lowest note
and above its highest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.patches import Patch

from arrange.errors import ArrangeError
from arrange.pitch import note_name
from arrange.plots.page import (
    BLUE,
    FAINT,
    GREY,
    INK,
    ORANGE,
    PALE_BLUE,
    PALE_ORANGE,
    PAPER,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    add_legend,
    clear_frame,
    draw_song_axis,
    new_axes,
    points_high,
    points_wide,
    set_title,
    short,
    write_instead,
    write_note,
)
from arrange.register import part_ranges
from arrange.sounding import cut_notes, sounding_notes
from arrange.tables import Song

HALF = 0.5  # semitones that a note reaches to either side of its pitch

_SHADES = ((BLUE, PALE_BLUE), (ORANGE, PALE_ORANGE))
_NARROWEST_STEP = 0.7  # points; longer songs take several measures to a step
_LABEL_GAP = 9.5  # points between the middles of two labels above each other
_LEAST_LANE = 9.0  # semitones
_LEAST_SECTION = 4  # measures; a shorter section is not named for a measure or two of black
_LANE_GAP = 3.0  # semitones
_KEY_BELOW = 28.0  # points from the axes to the key


def plot_ranges(song: Song, parts: Sequence[str] | None = None, ax: Axes | None = None) -> Axes:
    """Draw each part's range through the song, measure by measure, and the zones two share.

    A pale band reaches from a part's lowest to its highest note in each measure, a dark one over
    the middle half of its time. Black is where the middle halves of two parts lie on each other;
    with two parts, hatching is where their ranges do. More than two parts get a lane each.

    Parameters
    ----------
    song : Song
    parts : sequence of str, optional
        Labels of the parts, in the order wanted. Without it the guitars; or all pitched parts, if
        fewer than two guitars have notes.
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    ArrangeError
        If the song has no part of a name in `parts`.

    Notes
    -----
    Parts without pitched notes are left out, and a note below the picture names them. Where a
    measure would be too narrow to see, a step is 2, 4, 8 ... measures, and the note says so.
    """
    chosen, silent = _choose_parts(song, parts)
    lanes = _lanes(song, chosen)
    if ax is None:
        ax = new_axes(*_fitting(lanes))
    clear_frame(ax)
    above = draw_song_axis(ax, song, order=6)
    size = _step_size(len(song.measures), points_wide(ax))
    if chosen:
        bands = _bands(song, chosen, size)
        zones = _shared_zones(bands)
        if len(chosen) <= 2:
            _draw_together(ax, chosen, bands, zones)
        else:
            _draw_lanes(ax, lanes, bands, zones)
        set_title(ax, _title(song, chosen, zones), above)
    else:
        ax.set_yticks([])
        write_instead(ax, "No part here has pitched notes.")
        set_title(ax, "Where the parts lie, measure by measure", above)
    _write_notes(ax, silent, size)
    return ax


def _choose_parts(song: Song, parts: Sequence[str] | None) -> tuple[list[str], list[str]]:
    """The parts to draw, and those asked for that have no pitched notes."""
    known = song.parts["part"].tolist()
    unknown = [name for name in parts or [] if name not in known]
    if unknown:
        raise ArrangeError(f"the song has no part {unknown[0]!r}; it has {', '.join(known)}")
    heard = set(sounding_notes(song.notes)["part"])
    if parts is None:
        guitars = song.parts.loc[song.parts["family"] == "guitar", "part"]
        pitched_guitars = [name for name in guitars if name in heard]
        parts = pitched_guitars if len(pitched_guitars) >= 2 else known
    wanted = list(dict.fromkeys(parts))
    return [name for name in wanted if name in heard], [
        name for name in wanted if name not in heard
    ]


def _step_size(measures: int, width: float) -> int:
    size = 1
    while width * size / measures < _NARROWEST_STEP:
        size *= 2
    return size


def _bands(song: Song, chosen: list[str], size: int) -> pd.DataFrame:
    """Ranges of the parts, a row for each step in which one sounds; left and right in measures."""
    notes = song.notes[song.notes["part"].isin(chosen)]
    cut = cut_notes(notes, song.measures, by="measure")
    step = (cut["measure"] - 1) // size
    ranges = part_ranges(cut.assign(measure=step), by="measure").rename(columns={"measure": "step"})
    left = ranges["step"] * size + 0.5
    return ranges.assign(left=left, right=np.minimum(left + size, len(song.measures) + 0.5))


def _shared_zones(bands: pd.DataFrame) -> pd.DataFrame:
    """What two parts share, a row for each pair and step in which their ranges meet.

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


def _title(song: Song, chosen: list[str], zones: pd.DataFrame) -> str:
    if len(chosen) == 1:
        return f"Where {short(chosen[0])} lies, measure by measure"
    core = zones.dropna(subset="core_low")
    who = "both" if len(chosen) == 2 else "two parts"
    if core.empty:
        return "No black: the parts keep out of each other's middle register"
    most = f", most in {_fullest_section(song, core)}" if len(song.sections) > 1 else ""
    return f"Look for black: {who} in one register{most}"


def _fullest_section(song: Song, core: pd.DataFrame) -> str:
    """The section with the most black for its length, and its measures."""
    first = song.sections["first_measure"].to_numpy()
    last = song.sections["last_measure"].to_numpy()
    section = np.searchsorted(first, np.ceil(core["left"].to_numpy()), side="right") - 1
    total = np.bincount(section, weights=_area(core), minlength=len(first))
    best = int(np.argmax(total / np.maximum(last - first + 1, _LEAST_SECTION)))
    name = short(song.sections["section"].iloc[best], 18)
    return f"{name} (measures {first[best]}–{last[best]})"


def _area(core: pd.DataFrame) -> pd.Series[float]:
    """Semitones times measures that two middle halves share."""
    return (core["core_high"] - core["core_low"] + 2 * HALF) * (core["right"] - core["left"])


def _write_notes(ax: Axes, silent: list[str], size: int) -> None:
    notes = []
    if silent:
        names = ", ".join(short(name) for name in silent[:6])
        more = f" and {len(silent) - 6} more" if len(silent) > 6 else ""
        notes.append(f"Without pitched notes, left out: {names}{more}.")
    if size > 1:
        notes.append(f"Each step is {size} measures.")
    if notes:
        write_note(ax, " ".join(notes), _KEY_BELOW + 17)


# Two parts on one pitch axis -----------------------------------------------------------------


def _draw_together(ax: Axes, chosen: list[str], bands: pd.DataFrame, zones: pd.DataFrame) -> None:
    low, high = bands["lowest"].min(), bands["highest"].max()
    ax.set_ylim(low - 1.5, high + 1.5)
    _draw_octaves(ax, low, high)
    for name, (deep, pale) in zip(chosen, _SHADES, strict=False):
        own = bands[bands["part"] == name]
        _draw_steps(ax, own, "lowest", "highest", f"range {name}",
                    facecolor=pale, edgecolor=deep, linewidth=_outline(ax, bands), zorder=2)  # fmt: skip
        _draw_steps(ax, own, "middle_half_low", "middle_half_high", f"middle half {name}",
                    facecolor=deep, linewidth=0, zorder=3)  # fmt: skip
    _draw_shared(ax, zones)
    _name_bands(ax, chosen, bands)
    _explain_together(ax, len(chosen))


def _draw_steps(
    ax: Axes, rows: pd.DataFrame, low: str, high: str, gid: str, lift: float = 0.0, **style: Any
) -> PolyCollection:
    """Fill between two columns, step by step, apart where steps are missing or do not touch."""
    rows = rows.sort_values("step")
    x = rows[["left", "right"]].to_numpy(dtype=np.float64)
    edges = rows[[low, high]].to_numpy(dtype=np.float64) + (lift - HALF, lift + HALF)
    touch = (edges[1:, 0] <= edges[:-1, 1]) & (edges[:-1, 0] <= edges[1:, 1])
    gap = np.flatnonzero((np.diff(rows["step"].to_numpy()) > 1) | ~touch) + 1
    x, edges = np.insert(x, gap, np.nan, axis=0), np.insert(edges, gap, np.nan, axis=0)
    drawn = ax.fill_between(
        x.ravel(), np.repeat(edges[:, 0], 2), np.repeat(edges[:, 1], 2), gid=gid, **style
    )
    return drawn


def _outline(ax: Axes, bands: pd.DataFrame) -> float:
    """Width in points of a band's outline: the narrower the steps, the finer."""
    step = float((bands["right"] - bands["left"]).median())
    return min(0.5, 0.1 * step * points_wide(ax) / (ax.get_xlim()[1] - ax.get_xlim()[0]))


def _draw_shared(ax: Axes, zones: pd.DataFrame) -> None:
    if zones.empty:
        return
    with mpl.rc_context({"hatch.linewidth": 0.9}):
        _draw_steps(ax, zones, "low", "high", "shared zone", facecolor=PAPER, edgecolor=INK,
                    hatch="//////", linewidth=1.2, zorder=4)  # fmt: skip
    core = zones.dropna(subset="core_low")
    if not core.empty:
        _draw_steps(ax, core, "core_low", "core_high", "shared middle", facecolor=INK,
                    edgecolor=INK, linewidth=0.8, zorder=5)  # fmt: skip


def _draw_octaves(ax: Axes, low: float, high: float) -> None:
    """Note names along y: every C with a line, and E and G between where there is room."""
    pitches = np.arange(int(np.floor(low)) - 1, int(np.ceil(high)) + 2)
    spacing = points_high(ax) / (high - low + 3)
    between = (4, 7) if 3 * spacing >= _LABEL_GAP else (7,) if 5 * spacing >= _LABEL_GAP else ()
    octaves = [int(pitch) for pitch in pitches if pitch % 12 == 0]
    others = [int(pitch) for pitch in pitches if pitch % 12 in between]
    if not octaves and not others:
        others = [int(low), int(high)] if high - low > 1 else [int(low)]
    for pitch in octaves:
        ax.axhline(pitch, color=FAINT, linewidth=0.7, zorder=0.5)
    ticks = sorted({*octaves, *others})
    ax.set_yticks(ticks, [note_name(tick) for tick in ticks])
    for tick, label in zip(ticks, ax.get_yticklabels(), strict=True):
        if tick % 12:
            label.set_color(GREY)
            label.set_fontsize(SMALL_SIZE)


def _name_bands(ax: Axes, chosen: list[str], bands: pd.DataFrame) -> None:
    """Write each part's name at the right edge, level with its last measure."""
    last = bands.sort_values("step").groupby("part").tail(1).set_index("part")
    middle = (last["middle_half_low"] + last["middle_half_high"]) / 2
    levels = [float(middle[name]) for name in chosen]
    least = 2 * _LABEL_GAP * (ax.get_ylim()[1] - ax.get_ylim()[0]) / points_high(ax)
    if len(levels) == 2 and abs(levels[0] - levels[1]) < least:
        centre, up = sum(levels) / 2, 1 if levels[0] >= levels[1] else -1
        levels = [centre + up * least / 2, centre - up * least / 2]
    edge = ax.get_xlim()[1]
    for name, level, (deep, _) in zip(chosen, levels, _SHADES, strict=False):
        ax.annotate(
            short(name, 18),
            xy=(edge, float(middle[name])),
            xytext=(1.035, level),
            textcoords=("axes fraction", "data"),
            fontsize=TEXT_SIZE + 1,
            fontweight="bold",
            color=INK,
            va="center",
            annotation_clip=False,
            parse_math=False,
            gid="part name",
            arrowprops={"arrowstyle": "-", "color": deep, "linewidth": 3, "relpos": (0, 0.5),
                        "shrinkA": 2, "shrinkB": 2},
        )  # fmt: skip


def _explain_together(ax: Axes, count: int) -> None:
    shades = _SHADES[:count]
    handles: list[Any] = [
        tuple(Patch(facecolor=pale, edgecolor=deep, linewidth=0.5) for deep, pale in shades),
        tuple(Patch(facecolor=deep) for deep, _ in shades),
    ]
    labels = ["lowest to highest note", "middle half of its time"]
    if count == 2:
        with mpl.rc_context({"hatch.linewidth": 0.9}):
            handles.append(Patch(facecolor=PAPER, edgecolor=INK, hatch="//////", linewidth=1.2))
        handles.append(Patch(facecolor=INK))
        labels += ["ranges shared", "middle halves shared"]
    add_legend(ax, handles, labels, _KEY_BELOW)


# A lane for each part ------------------------------------------------------------------------


@dataclass(frozen=True)
class _Lane:
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


def _lanes(song: Song, chosen: list[str]) -> list[_Lane]:
    """A lane for each part, the first on top, all on one scale of semitones."""
    if not chosen:
        return []
    ranges = part_ranges(song.notes).set_index("part")
    lanes: list[_Lane] = []
    top = 0.0
    for part in chosen:
        low, high = float(ranges["lowest"][part]), float(ranges["highest"][part])
        lane = _Lane(part, low, high, 0.0)
        lane = _Lane(part, low, high, top - lane.height / 2 - lane.middle)
        lanes.append(lane)
        top -= lane.height + _LANE_GAP
    return lanes


def _fitting(lanes: list[_Lane]) -> tuple[float, Margins]:
    """Height of the axes in inches, and margins, for the parts to draw."""
    if len(lanes) <= 2:
        return 3.3, Margins()
    semitones = sum(lane.height + _LANE_GAP for lane in lanes)
    points = max(1.9, min(4.0, 330 / semitones))
    return semitones * points / 72, Margins(right=1.35)


def _draw_lanes(ax: Axes, lanes: list[_Lane], bands: pd.DataFrame, zones: pd.DataFrame) -> None:
    bottom = lanes[-1].middle - lanes[-1].height / 2
    ax.set_ylim(bottom - _LANE_GAP / 2, _LANE_GAP / 2)
    core = zones.dropna(subset="core_low")
    for lane in lanes:
        own = bands[bands["part"] == lane.part]
        _draw_steps(ax, own, "lowest", "highest", f"range {lane.part}", lane.lift,
                    facecolor=PALE_BLUE, edgecolor=BLUE, linewidth=_outline(ax, bands),
                    zorder=2)  # fmt: skip
        _draw_steps(ax, own, "middle_half_low", "middle_half_high", f"middle half {lane.part}",
                    lane.lift, facecolor=BLUE, linewidth=0, zorder=3)  # fmt: skip
        shared = core[(core["part_a"] == lane.part) | (core["part_b"] == lane.part)]
        _draw_lane_shared(ax, lane, shared)
        _name_lane(ax, lane, shared)
    for upper in lanes[:-1]:
        line = upper.middle - upper.height / 2 - _LANE_GAP / 2
        ax.axhline(line, color=GREY, linewidth=0.6, zorder=1)
    _draw_lane_octaves(ax, lanes)
    handles = [Patch(facecolor=PALE_BLUE, edgecolor=BLUE, linewidth=0.5), Patch(facecolor=BLUE),
               Patch(facecolor=INK)]  # fmt: skip
    labels = ["lowest to highest note", "middle half of its time", "shared with another part's"]
    add_legend(ax, handles, labels, _KEY_BELOW)


def _draw_lane_shared(ax: Axes, lane: _Lane, shared: pd.DataFrame) -> None:
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


def _name_lane(ax: Axes, lane: _Lane, shared: pd.DataFrame) -> None:
    """Write the part's name beside its lane, and below it the part that it shares most with."""
    partner = _closest_partner(lane.part, shared)
    for text, up, size, weight, color in (
        (short(lane.part, 20), 4.5 if partner else 0, TEXT_SIZE, "bold", INK),
        (f"shares with {short(partner, 14)}" if partner else "", -4.5, SMALL_SIZE, "normal", GREY),
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
    return str(_area(shared).groupby(other).sum().idxmax())


def _draw_lane_octaves(ax: Axes, lanes: list[_Lane]) -> None:
    """Name each lane's lowest and highest note and the Cs between; draw the Cs as lines."""
    bottom, top = ax.get_ylim()
    least = _LABEL_GAP * (top - bottom) / points_high(ax)
    ticks: dict[float, str] = {}
    for lane in lanes:
        octaves = [pitch for pitch in range(128) if pitch % 12 == 0
                   and lane.lowest <= pitch <= lane.highest]  # fmt: skip
        for pitch in octaves:
            ax.axhline(pitch + lane.lift, color=FAINT, linewidth=0.5, zorder=0.5)
        for pitch in (lane.lowest, lane.highest, *octaves):
            y = pitch + lane.lift
            if all(abs(y - other) >= least for other in ticks):
                ticks[y] = note_name(pitch)
    ax.set_yticks(list(ticks), list(ticks.values()))
    ax.tick_params(axis="y", labelsize=SMALL_SIZE)
