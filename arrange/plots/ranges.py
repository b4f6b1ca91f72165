"""Where do the parts lie, and where do two of them share a register?

Two parts are drawn over each other on one pitch axis; more get a lane each, on one scale of
semitones. A note fills its own semitone: a band reaches half a semitone below its lowest note
and above its highest.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
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
    LABEL_GAP,
    ORANGE,
    PALE_BLUE,
    PALE_ORANGE,
    PAPER,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    add_legend,
    choose_parts,
    clear_frame,
    new_axes,
    points_high,
    points_wide,
    set_title,
    short,
    write_instead,
    write_note,
)
from arrange.plots.pitch_lanes import LANE_GAP, Lane, draw_lanes, pitch_lanes
from arrange.plots.range_bands import (
    draw_steps,
    outline_width,
    shared_area,
    shared_zones,
    step_bands,
)
from arrange.plots.song_axis import draw_song_axis
from arrange.tables.song import Song
from arrange.tables.sounding import sounding_notes
from arrange.theory.pitch import note_name

_SHADES = ((BLUE, PALE_BLUE), (ORANGE, PALE_ORANGE))
_NARROWEST_STEP = 0.7  # points; longer songs take several measures to a step
_LEAST_SECTION = 4  # measures; a shorter section is not named for a measure or two of black


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

    Examples
    --------
    >>> import arrange as ar
    >>> ax = ar.plot_ranges(ar.read("datasets/low-water.musicxml"))
    >>> ax.get_title(loc="left")
    'Look for black: both in one register, most in Chorus 1 (measures 25–32)'
    """
    chosen, silent = choose_parts(song, parts, set(sounding_notes(song.notes)["part"]))
    lanes = pitch_lanes(song, chosen)
    if ax is None:
        ax = new_axes(*_fitting(lanes))
    clear_frame(ax)
    above = draw_song_axis(ax, song, order=6)
    size = _step_size(len(song.measures), points_wide(ax))
    if chosen:
        bands = step_bands(song, chosen, size)
        zones = shared_zones(bands)
        if len(chosen) <= 2:
            _draw_together(ax, chosen, bands, zones, song)
        else:
            draw_lanes(ax, lanes, bands, zones, song)
        set_title(ax, _title(song, chosen, zones), above)
    else:
        ax.set_yticks([])
        write_instead(ax, "No part here has pitched notes.")
        set_title(ax, "Where the parts lie, measure by measure", above)
    _write_notes(ax, silent, size)
    return ax


def _step_size(measures: int, width: float) -> int:
    size = 1
    while width * size / measures < _NARROWEST_STEP:
        size *= 2
    return size


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
    total = np.bincount(section, weights=shared_area(core), minlength=len(first))
    best = int(np.argmax(total / np.maximum(last - first + 1, _LEAST_SECTION)))
    name = short(song.sections["section"].iloc[best], 18)
    return f"{name} (measures {first[best]}–{last[best]})"


def _write_notes(ax: Axes, silent: list[str], size: int) -> None:
    notes = []
    if silent:
        names = ", ".join(short(name) for name in silent[:6])
        more = f" and {len(silent) - 6} more" if len(silent) > 6 else ""
        notes.append(f"Without pitched notes, left out: {names}{more}.")
    if size > 1:
        notes.append(f"Each step is {size} measures.")
    if notes:
        write_note(ax, " ".join(notes), KEY_BELOW + 17)


def _draw_together(
    ax: Axes, chosen: list[str], bands: pd.DataFrame, zones: pd.DataFrame, song: Song
) -> None:
    low, high = bands["lowest"].min(), bands["highest"].max()
    ax.set_ylim(low - 1.5, high + 1.5)
    _draw_octaves(ax, low, high, song)
    for name, (deep, pale) in zip(chosen, _SHADES, strict=False):
        own = bands[bands["part"] == name]
        draw_steps(ax, own, "lowest", "highest", f"range {name}", facecolor=pale, edgecolor=deep,
                   linewidth=outline_width(ax, bands), zorder=2)  # fmt: skip
        draw_steps(ax, own, "middle_half_low", "middle_half_high", f"middle half {name}",
                   facecolor=deep, linewidth=0, zorder=3)  # fmt: skip
    _draw_shared(ax, zones)
    _name_bands(ax, chosen, bands)
    _explain_together(ax, len(chosen))


def _draw_shared(ax: Axes, zones: pd.DataFrame) -> None:
    if zones.empty:
        return
    with mpl.rc_context({"hatch.linewidth": 0.9}):
        draw_steps(ax, zones, "low", "high", "shared zone", facecolor=PAPER, edgecolor=INK,
                   hatch="//////", linewidth=1.2, zorder=4)  # fmt: skip
    core = zones.dropna(subset="core_low")
    if not core.empty:
        draw_steps(ax, core, "core_low", "core_high", "shared middle", facecolor=INK,
                   edgecolor=INK, linewidth=0.8, zorder=5)  # fmt: skip


def _draw_octaves(ax: Axes, low: float, high: float, song: Song) -> None:
    """Note names along y: every C with a line, and E and G between where there is room."""
    pitches = np.arange(int(np.floor(low)) - 1, int(np.ceil(high)) + 2)
    spacing = points_high(ax) / (high - low + 3)
    between = (4, 7) if 3 * spacing >= LABEL_GAP else (7,) if 5 * spacing >= LABEL_GAP else ()
    octaves = [int(pitch) for pitch in pitches if pitch % 12 == 0]
    others = [int(pitch) for pitch in pitches if pitch % 12 in between]
    if not octaves and not others:
        others = [int(low), int(high)] if high - low > 1 else [int(low)]
    for pitch in octaves:
        ax.axhline(pitch, color=FAINT, linewidth=0.7, zorder=0.5)
    ticks = sorted({*octaves, *others})
    named = note_name if octaves else song.note_name  # C, E and G are the lines of the pitch scale
    ax.set_yticks(ticks, [named(tick) for tick in ticks])
    for tick, label in zip(ticks, ax.get_yticklabels(), strict=True):
        if tick % 12:
            label.set_color(GREY)
            label.set_fontsize(SMALL_SIZE)


def _name_bands(ax: Axes, chosen: list[str], bands: pd.DataFrame) -> None:
    """Write each part's name at the right edge, level with its last measure."""
    last = bands.sort_values("step").groupby("part").tail(1).set_index("part")
    middle = (last["middle_half_low"] + last["middle_half_high"]) / 2
    levels = [float(middle[name]) for name in chosen]
    least = 2 * LABEL_GAP * (ax.get_ylim()[1] - ax.get_ylim()[0]) / points_high(ax)
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
    add_legend(ax, handles, labels, KEY_BELOW)


def _fitting(lanes: list[Lane]) -> tuple[float, Margins]:
    """Height of the axes in inches, and margins, for the parts to draw."""
    if len(lanes) <= 2:
        return (3.3 if lanes else 1.0), Margins()
    semitones = sum(lane.height + LANE_GAP for lane in lanes)
    points = max(1.9, min(4.0, 330 / semitones))
    return semitones * points / 72, Margins(right=1.35)
