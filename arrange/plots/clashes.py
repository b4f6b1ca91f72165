"""Where along the song do the parts clash, in which way, and how strongly?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import Patch

from arrange.clashes import KINDS
from arrange.plots.figures import (
    FAINT,
    GREY,
    INK,
    KEY_BELOW,
    PAPER,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    add_legend,
    clear_frame,
    new_axes,
    points_wide,
    set_title,
    short_parts,
    text_points,
    write_instead,
)
from arrange.plots.song_axis import draw_song_axis, measure_position
from arrange.tables.schema_check import check_table
from arrange.tables.schemas import FINDINGS
from arrange.tables.song import Song

_LANE = 0.56  # inches
_TALLEST, _LEAST = 0.60, 0.12  # of a lane, at severity 1 and 0
_LABEL_AT = 0.82  # of a lane
_LABELS_A_LANE = 3
_LABELS_TRIED = 60  # labels for which there may be room; measuring a text takes a millisecond
_LABEL_SPACE = 6.0  # points between two labels
_NARROWEST = 1.8  # points
_SCALE = LinearSegmentedColormap.from_list("severity", ["#c9d6e0", "#5d87a6", "#1c4a6b", "#050b10"])


def plot_clashes(findings: pd.DataFrame, song: Song, ax: Axes | None = None) -> Axes:
    """Draw the findings along the song, a lane for each kind that is there.

    Each finding is a bar from its start to its end, taller and darker the more severe it is;
    waived ones are hollow. The strongest of each kind are labelled with their parts.

    Parameters
    ----------
    findings : a findings table
    song : Song
        The song that they were found in.
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    TableError
        If `findings` is no findings table.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> ax = ar.plot_clashes(ar.find_clashes(song), song)
    >>> ax.get_title(loc="left")
    'Clashes along the song: listen to the tall dark bars first'
    """
    findings = check_table(findings, FINDINGS)
    present = set(findings["kind"])
    kinds = [kind for kind in KINDS if kind in present]
    if ax is None:
        ax = new_axes(max(len(kinds), 1) * _LANE + 0.05, Margins(left=1.2, right=0.3))
    clear_frame(ax)
    above = draw_song_axis(ax, song)
    ax.set_ylim(max(len(kinds), 1), 0)
    _name_lanes(ax, kinds, findings)
    if not kinds:
        write_instead(ax, "No clashes found.")
        set_title(ax, "Clashes along the song", above)
        return ax
    for lane, kind in enumerate(kinds):
        own = findings[findings["kind"] == kind]
        _draw_lane(ax, own, song, lane)
    _explain(ax, bool(findings["waived"].notna().any()))
    set_title(ax, "Clashes along the song: listen to the tall dark bars first", above)
    return ax


def _name_lanes(ax: Axes, kinds: Sequence[str], findings: pd.DataFrame) -> None:
    """Write each kind with its number of findings, and below it what it says."""
    ax.set_yticks([])
    counts = findings["kind"].value_counts()
    for lane, kind in enumerate(kinds):
        ax.axhline(lane + 1, color=FAINT, linewidth=0.7, zorder=0.6)
        for text, up, size, weight, color in (
            (f"{kind} ({counts[kind]})", 5, TEXT_SIZE + 1, "bold", INK),
            (KINDS[kind].lane, -5, SMALL_SIZE, "normal", GREY),
        ):
            ax.annotate(
                text, xy=(0, lane + 0.5), xycoords=("axes fraction", "data"), xytext=(-8, up),
                textcoords="offset points", ha="right", va="center", fontsize=size,
                fontweight=weight, color=color, annotation_clip=False, parse_math=False,
                gid="kind",
            )  # fmt: skip


def _draw_lane(ax: Axes, findings: pd.DataFrame, song: Song, lane: int) -> None:
    """Draw one kind's bars, the tallest before the others, waived ones in front of all."""
    narrowest = _NARROWEST * len(song.measures) / points_wide(ax)
    begin = measure_position(song, findings["onset"].to_numpy())
    end = measure_position(song, (findings["onset"] + findings["duration"]).to_numpy())
    bars = findings[["parts", "severity"]].assign(
        waived=findings["waived"].notna(), begin=begin, end=np.maximum(end, begin + narrowest)
    )
    bars = bars.sort_values("severity", kind="stable", ignore_index=True)
    waived = bars["waived"].to_numpy()
    _draw_bars(ax, bars[~waived], lane, "finding", zorder=2, linewidth=0.4, edgecolor=PAPER,
               facecolor=_SCALE(bars["severity"][~waived].to_numpy()))  # fmt: skip
    _draw_bars(ax, bars[waived], lane, "waived finding", zorder=2.1, linewidth=0.9,
               edgecolor=INK, facecolor="none")  # fmt: skip
    _label_strongest(ax, bars[~waived], lane)


def _draw_bars(ax: Axes, bars: pd.DataFrame, lane: int, gid: str, **look: Any) -> None:
    """Draw bars as one collection: a song of many parts has thousands."""
    if bars.empty:
        return
    left, right = bars["begin"].to_numpy(), bars["end"].to_numpy()
    bottom = np.full(len(bars), lane + 1.0)
    top = bottom - _height(bars["severity"].to_numpy())
    corners = np.stack([left, bottom, right, bottom, right, top, left, top], axis=1)
    corners = corners.reshape(-1, 4, 2)
    ax.add_collection(PolyCollection(list(corners), gid=gid, **look), autolim=False)


def _height(severity: Any) -> Any:
    return _LEAST + (_TALLEST - _LEAST) * np.clip(severity, 0, 1)


def _label_strongest(ax: Axes, bars: pd.DataFrame, lane: int) -> None:
    """Write the parts above the strongest bars, as far as there is room in the lane."""
    first, last = ax.get_xlim()
    scale = points_wide(ax) / (last - first)
    gap = _LABEL_SPACE / scale
    taken: list[tuple[float, float]] = []
    tried = 0
    for bar in bars.sort_values("severity", ascending=False, kind="stable").itertuples():
        if len(taken) == _LABELS_A_LANE or tried == _LABELS_TRIED:
            return
        if any(start - gap < bar.begin < end + gap for start, end in taken):
            continue  # the bar begins in or right beside another's label
        tried += 1
        text = ax.text(
            bar.begin, lane + 1 - _LABEL_AT, _label(bar, bars), va="center", fontsize=SMALL_SIZE,
            color=INK, parse_math=False, zorder=6, gid="strongest",
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip
        width = text_points(text)[0] / scale
        left = max(first, min(bar.begin, last - width))
        if any(left < end + gap and start < left + width + gap for start, end in taken):
            text.remove()
            continue
        text.set_x(left)
        taken.append((left, left + width))
        ax.plot(
            [bar.begin, bar.begin], [lane + 1 - _height(bar.severity), lane + 1.1 - _LABEL_AT],
            color=GREY, linewidth=0.6, zorder=5, solid_capstyle="butt",
        )  # fmt: skip


def _label(bar: Any, bars: pd.DataFrame) -> str:
    """The parts of a finding, and how many others of its kind lie at the same place."""
    at_once = (bars["begin"] < bar.end - 1e-9) & (bars["end"] > bar.begin + 1e-9)
    others = int(at_once.sum()) - 1
    names = short_parts(bar.parts)
    return f"{names} and {others} more" if others else names


def _explain(ax: Axes, any_waived: bool) -> None:
    """Draw the key: the meaning of height, darkness and hollow bars."""
    handles = [Patch(facecolor=_SCALE(1.0)), Patch(facecolor=_SCALE(0.15))]
    labels = ["severe", "mild"]
    if any_waived:
        handles.append(Patch(facecolor="none", edgecolor=INK, linewidth=0.9))
        labels.append("waived by a decision")
    add_legend(ax, handles, labels, KEY_BELOW)
