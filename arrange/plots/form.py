"""How busy is each part in each section, who lays out, and does the song grow?

Darkness is attacks a second, in steps that differ in grey print; thickness is how many notes the
part sounds at once. A measure without a bar is one in which the part is silent.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from arrange.plots.figures import (
    FAINT,
    GREY,
    INK,
    KEY_BELOW,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    add_legend,
    clear_frame,
    new_axes,
    points_wide,
    set_title,
    short,
    text_points,
    write_instead,
    write_note,
)
from arrange.plots.lane_bars import draw_bars, name_lane, name_margin, stretches
from arrange.plots.song_axis import draw_song_axis
from arrange.quantities.texture import part_texture, song_energy
from arrange.tables.song import Song
from arrange.tables.sounding import Array

# Attacks a second up to which each shade reaches; the first is for notes that are only held on.
BUSY = (0.0, 1.0, 2.0, 4.0, np.inf)
SHADES = ("#d3dde5", "#8fb0c8", "#5281a6", "#1f5680", "#06131f")  # CIE lightness 88 to 6
_BUSY_LABELS = ("held on", "up to 1", "1 to 2", "2 to 4", "over 4 attacks a second")
# Thickness of a bar in lanes, by the notes at once: one, two, three, four or more.
THICKNESS = (0.26, 0.44, 0.62, 0.80)

_LANES = 4.2  # inches for all lanes, as far as each keeps within:
_LEAST_LANE, _MOST_LANE = 0.185, 0.36  # inches
_GAP, _ENERGY = 0.14, 1.0  # inches: between lanes and curve; height of the curve
_FAINT_ENERGY = "#d0d0d0"
_NUMBER_ROOM = 1.22  # of the curve's height, with the numbers above it


def plot_form(song: Song, ax: Axes | None = None) -> Axes:
    """Draw how busy each part is in each measure, and the energy of the song below.

    A row for each part: the darker a bar, the more attacks a second; the thicker, the more notes
    at once; no bar, no sound. Below, the energy of each section as a line with its number, and
    of each measure as a faint filled curve; a song of one section has only the latter.

    Parameters
    ----------
    song : Song
    ax : Axes, optional

    Returns
    -------
    Axes
        Along y a lane is 1 high, the first part between 0 and 1.

    See Also
    --------
    arrange.part_texture, arrange.song_energy : the numbers.

    Examples
    --------
    >>> import arrange as ar
    >>> ax = ar.plot_form(ar.read("datasets/low-water.musicxml"))
    >>> ax.get_title(loc="left")
    'Dark is busy, thick is many notes, empty is silent'
    """
    parts = song.parts["part"].tolist()
    lane = float(np.clip(_LANES / max(len(parts), 1), _LEAST_LANE, _MOST_LANE))
    top, high = len(parts) + _GAP / lane, _ENERGY / lane
    if ax is None:
        height = lane * (top + high)
        ax = new_axes(height, Margins(left=name_margin([*parts, "energy"]), right=0.3, bottom=1.2))
    clear_frame(ax)
    above = draw_song_axis(ax, song)
    ax.set_ylim(top + high, 0)
    ax.set_yticks([])
    if not song.notes["duration"].gt(0).any() or not parts:
        write_instead(ax, "No part here has notes.")
        set_title(ax, "How busy each part is, and how the song grows", above)
        return ax
    texture = part_texture(song, by="measure")
    for place, part in enumerate(parts):
        if place:
            ax.axhline(place, color=FAINT, linewidth=0.5, zorder=0.5)
        _draw_part(ax, texture[texture["part"] == part], part, place + 0.5)
        name_lane(ax, place + 0.5, part)
    sections = song_energy(song)
    _draw_energy(ax, song, sections, top, high)
    _explain(ax, sections)
    set_title(ax, "Dark is busy, thick is many notes, empty is silent", above)
    return ax


def _draw_part(ax: Axes, rows: pd.DataFrame, part: str, middle: float) -> None:
    """Draw a bar for each stretch of measures that are as busy and as thick."""
    rows = rows[(rows["silence"] < 1) | (rows["attacks"] > 0)]
    measure = rows["measure"].to_numpy()
    shade = np.searchsorted(BUSY, rows["density"].to_numpy(), side="left")
    notes = np.clip(np.round(rows["polyphony"].to_numpy()), 1, len(THICKNESS)).astype(int)
    first, last = stretches(measure, shade * (len(THICKNESS) + 1) + notes)
    half = np.array(THICKNESS)[notes[first] - 1] / 2
    colors = [SHADES[each] for each in shade[first]]
    draw_bars(ax, measure[first] - 0.5, measure[last] + 0.5, middle - half, middle + half,
              f"part {part}", facecolors=colors, linewidth=0, zorder=2)  # fmt: skip


def _draw_energy(ax: Axes, song: Song, sections: pd.DataFrame, top: float, high: float) -> None:
    """Draw the energy of measures and sections, between `top` (1 and room) and the bottom (0)."""
    bottom = top + high

    def y(energy: Array) -> Array:
        return bottom - energy * high / _NUMBER_ROOM

    ax.axhline(top - 0.25 * (top - len(song.parts)), color=GREY, linewidth=0.8, zorder=0.5)
    for share in (0.5, 1.0):
        ax.axhline(float(y(np.array(share))), color=FAINT, linewidth=0.6, zorder=0.5)
    measures = song_energy(song, by="measure")
    x = measures["measure"].to_numpy()
    ax.fill_between(
        np.stack([x - 0.5, x + 0.5], axis=1).ravel(), bottom,
        np.repeat(y(measures["energy"].to_numpy()), 2), facecolor=_FAINT_ENERGY, linewidth=0,
        zorder=1, gid="energy of measures",
    )  # fmt: skip
    if len(sections) > 1:
        _draw_sections(ax, song, sections, y(sections["energy"].to_numpy()))
    ax.set_yticks([*y(np.array([0.0, 0.5, 1.0]))], ["0", "50", "100"])
    ax.tick_params(axis="y", labelsize=SMALL_SIZE)
    ax.annotate("energy", xy=(0, float(y(np.array(0.75)))), xycoords=("axes fraction", "data"),
                xytext=(-7, 0), textcoords="offset points", ha="right", va="center",
                fontsize=TEXT_SIZE, fontweight="bold", color=INK, annotation_clip=False,
                gid="energy label")  # fmt: skip


def _draw_sections(ax: Axes, song: Song, sections: pd.DataFrame, energy: Array) -> None:
    """Draw the energy of each section as a step at the heights given, with its number."""
    spans = song.sections[song.sections["duration"] > 0]
    edges = np.stack([spans["first_measure"] - 0.5, spans["last_measure"] + 0.5], axis=1)
    ax.plot(edges.ravel(), np.repeat(energy, 2), color=INK, linewidth=2.0, zorder=3,
            solid_joinstyle="miter", gid="energy of sections")  # fmt: skip
    _number_sections(ax, edges, energy, sections["energy"].to_numpy())


def _number_sections(ax: Axes, edges: Array, y: Array, energy: Array) -> None:
    """Write each section's energy above its line, where the section has room for it."""
    scale = points_wide(ax) / np.diff(ax.get_xlim())[0]
    for (left, right), level, value in zip(edges, y, energy, strict=True):
        text = ax.annotate(
            f"{100 * value:.0f}", xy=((left + right) / 2, level), xytext=(0, 2.5),
            textcoords="offset points", ha="center", va="bottom", fontsize=SMALL_SIZE, color=INK,
            zorder=4, gid="energy number",
        )  # fmt: skip
        if text_points(text)[0] + 2 > (right - left) * scale:
            text.remove()


def _explain(ax: Axes, sections: pd.DataFrame) -> None:
    handles = [Patch(facecolor=shade) for shade in SHADES]
    add_legend(ax, handles, list(_BUSY_LABELS), KEY_BELOW)
    shades = ax.get_legend()
    if shades is not None:
        ax.add_artist(shades)  # a second key would replace it
    curves = [Patch(facecolor=_FAINT_ENERGY), Line2D([], [], color=INK, linewidth=2)]
    labels = ["energy of a measure", "energy of a section"]
    shown = slice(2 if len(sections) > 1 else 1)
    add_legend(ax, curves[shown], labels[shown], KEY_BELOW + 14)
    note = (
        "Thickness: one, two, three, or four and more notes at once.\nEnergy: players, notes, "
        "attacks and level; 100 where all are the song's greatest."
    )
    if len(sections) > 1:
        fullest = sections["section"].iloc[int(sections["energy"].to_numpy().argmax())]
        note += f" Fullest: {short(fullest, 18)}."
    write_note(ax, note, KEY_BELOW + 29)
