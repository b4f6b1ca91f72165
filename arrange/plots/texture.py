"""How often does each part strike, how much of it together, and is there room between them?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from arrange.plots.figures import (
    BLUE,
    FAINT,
    GREY,
    INK,
    KEY_BELOW,
    PALE_BLUE,
    PAPER,
    SMALL_SIZE,
    Margins,
    add_legend,
    choose_parts,
    clear_frame,
    new_axes,
    set_title,
    short,
    write_instead,
    write_note,
)
from arrange.plots.lane_bars import draw_bars, name_lane, name_margin
from arrange.plots.song_axis import draw_song_axis
from arrange.quantities.texture import part_texture
from arrange.tables.copies import quick_song
from arrange.tables.song import Song
from arrange.tables.sounding import played_notes

_LANES = 4.6  # inches for all lanes, as far as each keeps within:
_LEAST_LANE, _MOST_LANE = 0.34, 0.8  # inches
UP = 0.84  # of a lane: the room that bars have
_ENDS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32)  # of the scale, attacks a second


def plot_texture(song: Song, parts: Sequence[str] | None = None, ax: Axes | None = None) -> Axes:
    """Draw how often each part strikes, measure by measure, and how much of it together.

    A lane for each part, all on one scale: a bar is as high as there are attacks a second, black
    as far as another of the parts drawn strikes at the same time. Echoes stand on top of it
    hatched, each counted by its loudness.

    Parameters
    ----------
    song : Song
    parts : sequence of str, optional
        Labels of the parts, in the order wanted. Without it the guitars; or all parts, if fewer
        than two guitars have notes.
    ax : Axes, optional

    Returns
    -------
    Axes
        Along y a lane is 1 high, the first part between 0 and 1.

    Raises
    ------
    ArrangeError
        If the song has no part of a name in `parts`.

    See Also
    --------
    arrange.part_texture : the numbers.

    Examples
    --------
    >>> import arrange as ar
    >>> ax = ar.plot_texture(ar.read("datasets/low-water.musicxml"), ["Guitar 1", "Guitar 2"])
    >>> ax.get_title(loc="left")
    'Black is struck together, most in Intro'
    """
    chosen, silent = choose_parts(song, parts, set(played_notes(song.notes)["part"]))
    lane = float(np.clip(_LANES / max(len(chosen), 1), _LEAST_LANE, _MOST_LANE))
    if ax is None:
        height = lane * max(len(chosen), 1)
        ax = new_axes(height, Margins(left=name_margin(chosen), right=0.55, bottom=1.0))
    clear_frame(ax)
    above = draw_song_axis(ax, song)
    ax.set_ylim(max(len(chosen), 1), 0)
    ax.set_yticks([])
    if not chosen:
        write_instead(ax, "No part here has notes.")
        set_title(ax, "Who strikes how often", above)
        return ax
    drawn = quick_song(
        song,
        parts=song.parts[song.parts["part"].isin(chosen)].reset_index(drop=True),
        notes=song.notes[song.notes["part"].isin(chosen).to_numpy(dtype=bool)],
        setups=song.setups[song.setups["part"].isin(chosen)].reset_index(drop=True),
    )
    texture = part_texture(drawn, by="measure")
    most = float((texture["density"] + texture["echoes"]).max())
    end = next((each for each in _ENDS if each >= most), _ENDS[-1])
    for place, part in enumerate(chosen):
        _draw_part(ax, texture[texture["part"] == part], part, place, end)
        name_lane(ax, place + 0.5, part)
    _mark_scale(ax, len(chosen), end)
    _explain(ax, texture, len(chosen), silent)
    set_title(ax, _title(song, texture, chosen), above)
    return ax


def _draw_part(ax: Axes, rows: pd.DataFrame, part: str, place: int, end: int) -> None:
    zero = place + 1.0
    if place:
        ax.axhline(place, color=GREY, linewidth=0.5, zorder=0.6)
    for share in (0.5, 1.0):
        ax.axhline(zero - share * UP, color=FAINT, linewidth=0.5, zorder=0.5)
    left = rows["measure"].to_numpy() - 0.5
    right = left + 1.0
    total = np.minimum(rows["density"].to_numpy() / end, 1.0) * UP
    shared = total * np.nan_to_num(rows["together"].to_numpy())
    echoes = np.minimum(total + rows["echoes"].to_numpy() / end * UP, 1.0)
    level = np.full(len(left), zero)
    for low, high, gid, style in (
        (level - total, level - echoes, "echoes", {"facecolor": PAPER, "hatch": "////////"}),
        (level - shared, level - total, "attacks", {"facecolor": PALE_BLUE}),
        (level, level - shared, "together", {"facecolor": INK}),
    ):
        is_there = low != high
        edge = INK if gid == "together" else BLUE
        draw_bars(ax, left[is_there], right[is_there], low[is_there], high[is_there],
                  f"{gid} {part}", edgecolor=edge, linewidth=0.4, zorder=2, **style)  # fmt: skip


def _mark_scale(ax: Axes, lanes: int, end: int) -> None:
    """Number the scale at the right of each lane."""
    for place in range(lanes):
        for share in (0.5, 1.0):
            ax.annotate(f"{share * end:g}", xy=(1, place + 1 - share * UP), va="center",
                        xycoords=("axes fraction", "data"), xytext=(4, 0),
                        textcoords="offset points", fontsize=SMALL_SIZE, color=INK,
                        annotation_clip=False, gid="scale")  # fmt: skip


def _explain(ax: Axes, texture: pd.DataFrame, count: int, silent: list[str]) -> None:
    handles, labels = [Patch(facecolor=PALE_BLUE, edgecolor=BLUE)], ["attacks a second"]
    if count > 1:
        handles.append(Patch(facecolor=INK))
        labels.append("together with another part")
    if texture["echoes"].gt(0).any():
        handles.append(Patch(facecolor=PAPER, edgecolor=BLUE, hatch="////////"))
        labels.append("echoes, by loudness")
    add_legend(ax, handles, labels, KEY_BELOW)
    notes = ["A chord is one attack; within 30 ms is the same time."]
    if silent:
        notes.append(f"Without notes, left out: {', '.join(short(name) for name in silent)}.")
    write_note(ax, " ".join(notes), KEY_BELOW + 17)


def _title(song: Song, texture: pd.DataFrame, chosen: list[str]) -> str:
    if len(chosen) == 1:
        return f"How often {short(chosen[0])} strikes, measure by measure"
    shared = (texture["attacks"] * texture["together"].fillna(0)).groupby(texture["measure"]).sum()
    if not shared.any():
        return "No black: the parts never strike together"
    if len(song.sections) < 2:
        return "Black is struck together"
    section = song.measures.set_index("measure")["section"].reindex(shared.index)
    every = texture["attacks"].groupby(texture["measure"]).sum().groupby(section.to_numpy()).sum()
    share = shared.groupby(section.to_numpy()).sum() / every.where(every > 0)
    return f"Black is struck together, most in {short(str(share.idxmax()), 18)}"
