"""Where along the song do the hands stand on the neck, and where do they jump?

The y axis is the neck, with the nut at the bottom and frets at their true distances. Short songs
show every onset, long ones a measure or several to a step: from the lowest fret of the first finger
to the highest under the hand, and where the first finger stands for most of the time.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from arrange.errors import ArrangeError
from arrange.guitar.fingering import lowest_neck
from arrange.guitar.necks import Array, Neck, fret_mm
from arrange.plots.figures import (
    BLUE,
    FAINT,
    GREY,
    INK,
    KEY_BELOW,
    ORANGE,
    PALE_BLUE,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    add_legend,
    clear_frame,
    new_axes,
    points_wide,
    set_title,
    short,
    write_note,
)
from arrange.plots.fretboard import INLAYS, played_capos
from arrange.plots.song_axis import draw_song_axis, measure_position
from arrange.plots.time_on_neck import hand_moments
from arrange.tables.song import Song

MOST_PARTS = 2

_LEAST_MOMENT = 60.0  # points to a measure, to show every onset
_NARROWEST_STEP = 2.0  # points
# Band, its edge and hatching, the first finger's line and its dashes, the mark of a jump.
_STYLES: tuple[tuple[str, str, str, str, Any, str], ...] = (
    (PALE_BLUE, BLUE, "", BLUE, "-", "^"),
    ("none", ORANGE, "////", INK, (0, (2.2, 0.8)), "v"),
)
_OPEN_NECK = 0.02  # share of the highest fret drawn, below the nut


def plot_positions(
    fingered: pd.DataFrame | Sequence[pd.DataFrame],
    song: Song,
    neck: Neck | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the path of one hand, or two, along the neck through the song.

    A band reaches over the frets under the hand, one finger a fret from the first and further
    where more is held; a line shows where the first finger stands. Triangles are jumps that the
    player has to prepare. There is no band where a part rests.

    Parameters
    ----------
    fingered : DataFrame or sequence of DataFrame
        What ``finger_part`` returns, for one part or two.
    song : Song
        The song that they are from.
    neck : Neck, optional
        Else the neck of each part.
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    ArrangeError
        If a table lacks positions, or there are more than two parts, or none that frets.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> ax = ar.plot_positions(ar.finger_part(song, "Guitar 2"), song)
    >>> ax.get_title(loc="left")
    'Where the first finger stands: Guitar 2 at fret 4'
    """
    tables = _by_part(fingered)
    necks = {part: neck or lowest_neck(song, part, own) for part, own in tables.items()}
    if ax is None:
        ax = new_axes(2.9, Margins(left=0.62, right=0.25))
    clear_frame(ax)
    above = draw_song_axis(ax, song, order=6)
    size = _step_size(len(song.measures), points_wide(ax))
    paths = {part: _path(own, song, size) for part, own in tables.items()}
    _draw_frets(ax, paths, necks)
    _draw_capos(ax, tables, necks, None if neck else song)
    for (part, path), style in zip(paths.items(), _STYLES, strict=False):
        _draw_path(ax, part, path, necks[part], style)
    jumps = [_draw_jumps(ax, own, song, number) for number, own in enumerate(tables.values())]
    _explain(ax, list(tables), jumps)
    said = "Bands: frets under the hand. Lines: where its first finger stands."
    steps = f" Each step is {size} measures." if size > 1 else ""
    write_note(ax, said + steps, KEY_BELOW + 17)
    where = " and ".join(f"{short(part, 16)} {_usual(path)}" for part, path in paths.items())
    set_title(ax, f"Where the first finger stands: {where}", above)
    return ax


def _by_part(fingered: Any) -> dict[str, pd.DataFrame]:
    several = [fingered] if isinstance(fingered, pd.DataFrame) else list(fingered)
    tables: dict[str, pd.DataFrame] = {}
    for each in several:
        missing = [n for n in ("part", "onset", "duration", "position") if n not in each]
        if missing:
            raise ArrangeError(f"this table lacks {missing}; plot_positions takes what "
                               "finger_part returns")  # fmt: skip
        for part, own in each.groupby("part", sort=False):
            if (own["position"] > 0).any():
                tables[str(part)] = own
    if not 1 <= len(tables) <= MOST_PARTS:
        raise ArrangeError(
            f"{len(tables)} parts with a hand on the neck; the picture holds one or two"
        )
    return tables


def _step_size(measures: int, width: float) -> int:
    """Measures to a step; 0 for every onset."""
    if width / measures >= _LEAST_MOMENT:
        return 0
    size = 1
    while width * size / measures < _NARROWEST_STEP:
        size *= 2
    return size


def _path(fingered: pd.DataFrame, song: Song, size: int) -> pd.DataFrame:
    """Steps with their edges along x, and the frets ``low``, ``middle`` and ``high`` in each."""
    moments = hand_moments(fingered)
    left = measure_position(song, moments["onset"].to_numpy())
    right = measure_position(song, moments["end"].to_numpy())
    moments = moments.assign(left=left, right=right, time=right - left)
    if size == 0:
        return moments.rename(columns={"position": "low", "highest": "high"}).assign(
            middle=moments["position"]
        )
    moments["step"] = ((left - 0.5 + 1e-9) // size).astype("int64")
    steps = moments.groupby("step").agg(low=("position", "min"), high=("highest", "max"))
    by_time = moments.groupby(["step", "position"], as_index=False)["time"].sum()
    usual = by_time.sort_values("time", kind="stable").drop_duplicates("step", keep="last")
    steps = steps.join(usual.set_index("step")["position"].rename("middle")).reset_index()
    edge = steps["step"] * size + 0.5
    return steps.assign(left=edge, right=np.minimum(edge + size, len(song.measures) + 0.5))


def _draw_frets(ax: Axes, paths: dict[str, pd.DataFrame], necks: dict[str, Neck]) -> None:
    """The frets as lines, numbered where there is room."""
    longest = max(necks.values(), key=lambda neck: neck.scale_mm)
    highest = int(max(path["high"].max() for path in paths.values())) + 1
    last = max(min(max(neck.frets for neck in necks.values()), highest), 5)
    mm = fret_mm(np.arange(last + 1), longest.scale_mm)
    ax.set_ylim(-_OPEN_NECK * mm[-1], mm[-1])
    for fret in range(last + 1):
        ax.axhline(mm[fret], color=INK if fret == 0 else FAINT, zorder=0.5, gid="fret",
                   linewidth=1.6 if fret == 0 else 0.5)  # fmt: skip
    shown = [fret for fret in range(1, last + 1) if last <= 12 or fret in (1, *INLAYS)]
    middles = [(mm[fret - 1] + mm[fret]) / 2 for fret in shown]
    ax.set_yticks(middles, [str(fret) for fret in shown])
    ax.tick_params(axis="y", length=0)
    ax.set_ylabel("fret, from the nut", fontsize=TEXT_SIZE, color=INK)


def _draw_capos(
    ax: Axes, tables: dict[str, pd.DataFrame], necks: dict[str, Neck], song: Song | None
) -> None:
    """A line along each capo, and whose it is."""
    longest = max(necks.values(), key=lambda neck: neck.scale_mm)
    capos: dict[int, list[str]] = {}
    for part, own in tables.items():
        for capo, where in played_capos(song, necks[part], own).items():
            capos.setdefault(capo, []).append(f"{short(part, 14)}{where and f' in {where}'}")
    for capo, whose in capos.items():
        y = float(longest.mm[capo - 1] + longest.mm[capo]) / 2
        ax.axhline(y, color=GREY, linewidth=3, alpha=0.5, zorder=0.7, gid="capo")
        ax.annotate(
            f"capo {capo}, {' and '.join(whose)}", xy=(1, y), xycoords=("axes fraction", "data"),
            xytext=(-2, -3), textcoords="offset points", ha="right", va="top", color=INK,
            fontsize=SMALL_SIZE, parse_math=False, gid="capo", zorder=7,
        )  # fmt: skip


def _draw_path(
    ax: Axes, part: str, path: pd.DataFrame, neck: Neck, style: tuple[str, str, str, str, Any, str]
) -> None:
    face, edge, hatch, line, dashes, _ = style
    path = path.sort_values("left")
    x = path[["left", "right"]].to_numpy(dtype=np.float64)
    below = path["low"].to_numpy(dtype=np.int64) - 1
    bottom, top = _mm(below, neck), _mm(path["high"], neck)
    middle = (_mm(path["middle"] - 1, neck) + _mm(path["middle"], neck)) / 2
    gap = np.flatnonzero(x[1:, 0] - x[:-1, 1] > 1e-6) + 1
    x, bottom, top, middle = (np.insert(each, gap, np.nan, axis=0)
                              for each in (x, bottom, top, middle))  # fmt: skip
    with mpl.rc_context({"hatch.linewidth": 0.7}):
        ax.fill_between(x.ravel(), np.repeat(bottom, 2), np.repeat(top, 2), facecolor=face,
                        edgecolor=edge, hatch=hatch, linewidth=0.6, zorder=2,
                        gid=f"hand {part}")  # fmt: skip
    ax.plot(x.ravel(), np.repeat(middle, 2), color=line, linewidth=1.8, linestyle=dashes,
            zorder=3, solid_capstyle="butt", gid=f"first finger {part}")  # fmt: skip


def _mm(frets: Any, neck: Neck) -> Array:
    mm: Array = fret_mm(np.asarray(frets, dtype=np.float64), neck.scale_mm)
    return mm


def _draw_jumps(ax: Axes, fingered: pd.DataFrame, song: Song, number: int) -> int:
    """A triangle at each jump, along the top of the axes; return how many there are."""
    if "jump" not in fingered:
        return 0
    onsets = fingered.loc[fingered["jump"].fillna(False).astype(bool), "onset"].unique()
    ax.plot(
        measure_position(song, onsets), np.full(len(onsets), 0.985 - 0.03 * number),
        marker=_STYLES[number][5], linestyle="none", markersize=4.5, markerfacecolor=INK,
        markeredgecolor=INK, markeredgewidth=0.3, transform=ax.get_xaxis_transform(), zorder=7,
        clip_on=False, gid="jump",
    )  # fmt: skip
    return len(onsets)


def _explain(ax: Axes, parts: Sequence[str], jumps: Sequence[int]) -> None:
    handles: list[Any] = []
    labels = []
    for part, count, style in zip(parts, jumps, _STYLES, strict=False):
        face, edge, hatch, line, dashes, mark = style
        with mpl.rc_context({"hatch.linewidth": 0.7}):
            band = Patch(facecolor=face, edgecolor=edge, hatch=hatch, linewidth=0.6)
        handles.append((band, Line2D([], [], color=line, linewidth=1.8, linestyle=dashes)))
        labels.append(short(part, 16))
        if count:
            handles.append(Line2D([], [], marker=mark, linestyle="none", color=INK, markersize=4.5))
            labels.append("jumps")
    add_legend(ax, handles, labels, KEY_BELOW)


def _usual(path: pd.DataFrame) -> str:
    """The frets between which the first finger stands in most of the steps."""
    low, high = (int(each) for each in np.quantile(path["middle"], [0.25, 0.75], method="nearest"))
    return f"at fret {low}" if low == high else f"at frets {low}–{high}"
