"""Many layers, few players: which player plays which layer where, and what is dropped.

Each player has a shade and a pattern of their own, so that the picture can be read in grey print;
the player's number stands in the bar. A hollow bar is a layer that sounds in the recording and that
nobody plays.
"""

from __future__ import annotations

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
    ORANGE,
    PAPER,
    SMALL_SIZE,
    Margins,
    add_legend,
    clear_frame,
    new_axes,
    points_wide,
    set_title,
    short,
    write_instead,
    write_note,
)
from arrange.plots.lane_bars import draw_bars, name_lane, name_margin, stretches
from arrange.plots.song_axis import draw_song_axis
from arrange.tables.song import Song
from arrange.tables.sounding import Array, played_notes

# Face, pattern and ink of each player's bars; beyond four they begin again.
_LOOKS = (
    (BLUE, "", PAPER),
    (ORANGE, "", INK),
    ("#d9d9d9", "////", INK),
    (PAPER, "xxxx", INK),
)
_LANES, _LEAST_LANE, _MOST_LANE = 4.4, 0.185, 0.34  # inches
_HALF, _HOLLOW_HALF = 0.36, 0.2  # of a lane
_NUMBER_POINTS = 9.0  # width of a bar that has room for its number


def plot_layers(song: Song, choices: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw which player plays which recorded layer in each section, and what nobody plays.

    A row for each layer, and below them one for each player: where they play, and where they lay
    out.

    Parameters
    ----------
    song : Song
        With its layers, as it came.
    choices : DataFrame
        ``section``, ``player`` and ``layers``, a tuple, a row for each section and player; as a
        condensation's.
    ax : Axes, optional

    Returns
    -------
    Axes
        Along y a lane is 1 high, the first layer between 0 and 1.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/harbour-set/1-rope-and-lantern.txt")
    >>> ax = ar.plot_layers(song, ar.condense(song, 2).choices)
    >>> ax.get_title(loc="left")
    'Hollow is dropped: 2 layers, 2 players'
    """
    players = list(dict.fromkeys(choices["player"]))
    taken = {
        (row.section, layer): players.index(row.player)
        for row in choices.itertuples()
        for layer in row.layers
    }
    guitars = set(song.parts.loc[song.parts["family"] == "guitar", "part"])
    known = guitars | {layer for _, layer in taken}
    layers = [part for part in song.parts["part"] if part in known]
    lanes = [*layers, *players]
    if ax is None:
        lane = float(np.clip(_LANES / max(len(lanes), 1), _LEAST_LANE, _MOST_LANE))
        ax = new_axes(
            lane * len(lanes) + 0.05, Margins(left=name_margin(lanes), right=0.3, bottom=0.95)
        )
    clear_frame(ax)
    above = draw_song_axis(ax, song)
    ax.set_ylim(max(len(lanes), 1) + 0.15, 0)
    ax.set_yticks([])
    if not layers:
        write_instead(ax, "No layers here.")
        set_title(ax, "Who plays which layer", above)
        return ax
    dropped = 0
    for place, layer in enumerate(layers):
        if place:
            ax.axhline(place, color=FAINT, linewidth=0.5, zorder=0.5)
        dropped += _draw_layer(ax, song, layer, place + 0.5, taken)
        name_lane(ax, place + 0.5, layer)
    ax.axhline(len(layers), color=GREY, linewidth=1.0, zorder=0.5)
    for place, player in enumerate(players, start=len(layers)):
        _draw_player(ax, song, choices[choices["player"] == player], place + 0.5,
                     place - len(layers))  # fmt: skip
        name_lane(ax, place + 0.5, player)
    _explain(ax, players)
    set_title(ax, f"Hollow is dropped: {len(layers)} layers, {len(players)} "
                  f"{'player' if len(players) == 1 else 'players'}", above)  # fmt: skip
    write_note(ax, "Below the line: where each player plays, with how many layers; empty: lays "
                   "out.", KEY_BELOW + 17)  # fmt: skip
    return ax


def _draw_layer(
    ax: Axes, song: Song, layer: str, middle: float, taken: dict[tuple[str, str], int]
) -> int:
    """Draw where a layer sounds, and whose it is there; return the bars that nobody plays."""
    measure = _sounding_measures(song, layer)
    section = song.measures["section"].to_numpy(dtype=object)[measure - 1]
    whose = np.array([taken.get((name, layer), -1) for name in section], dtype=int)
    number = pd.factorize(section)[0]
    first, last = stretches(measure, whose + 1 + 100 * number)
    for begin, end in zip(first, last, strict=True):
        _draw_stretch(ax, measure[begin] - 0.5, measure[end] + 0.5, middle, int(whose[begin]),
                      f"layer {layer}")  # fmt: skip
    return int(np.sum(whose[first] < 0))


def _draw_player(ax: Axes, song: Song, own: pd.DataFrame, middle: float, player: int) -> None:
    """Draw the sections in which a player plays, with how many layers."""
    spans = song.sections.drop_duplicates("section").set_index("section")
    for row in own.itertuples():
        if row.layers:
            first, last = spans.loc[row.section, ["first_measure", "last_measure"]]
            _draw_stretch(ax, first - 0.5, last + 0.5, middle, player, "player",
                          str(len(row.layers)))  # fmt: skip


def _draw_stretch(
    ax: Axes, left: float, right: float, middle: float, player: int, gid: str, text: str = ""
) -> None:
    face, hatch, ink = (PAPER, "", INK) if player < 0 else _LOOKS[player % len(_LOOKS)]
    half = _HOLLOW_HALF if player < 0 else _HALF
    with mpl.rc_context({"hatch.linewidth": 0.6}):
        draw_bars(ax, np.array([left]), np.array([right]), np.array([middle - half]),
                  np.array([middle + half]), gid, facecolors=[face], edgecolors=[INK],
                  hatch=hatch, linewidth=0.9, linestyle="--" if player < 0 else "-",
                  zorder=2)  # fmt: skip
    wide = (right - left) * points_wide(ax) / np.ptp(ax.get_xlim())
    if player >= 0 and wide > _NUMBER_POINTS:
        ax.annotate(
            text or str(player + 1), xy=(left, middle), xytext=(3.5, 0),
            textcoords="offset points", ha="left", va="center_baseline", fontsize=SMALL_SIZE,
            color=ink, zorder=3, gid="player number",
            bbox={"facecolor": face, "edgecolor": "none", "pad": 0.4} if hatch else None,
        )  # fmt: skip


def _sounding_measures(song: Song, part: str) -> Array:
    """The played measures in which a part sounds."""
    notes = played_notes(song.notes[song.notes["part"] == part])
    lines = song.measures["onset"].to_numpy()
    first = np.searchsorted(lines, notes["onset"].to_numpy() + 1e-9, side="right")
    last = np.searchsorted(lines, (notes["onset"] + notes["duration"]).to_numpy() - 1e-9)
    if not len(notes):
        return np.empty(0, dtype=int)
    steps = np.zeros(len(lines) + 2, dtype=int)
    np.add.at(steps, first, 1)
    np.add.at(steps, np.maximum(last, first) + 1, -1)
    return np.flatnonzero(np.cumsum(steps)[: len(lines) + 1] > 0)


def _explain(ax: Axes, players: list[str]) -> None:
    with mpl.rc_context({"hatch.linewidth": 0.6}):
        handles = [
            Patch(facecolor=face, hatch=hatch, edgecolor=INK, linewidth=0.9)
            for face, hatch, _ in (_LOOKS[n % len(_LOOKS)] for n in range(len(players)))
        ]
        handles.append(Patch(facecolor=PAPER, edgecolor=INK, linewidth=0.9, linestyle="--"))
    names = [f"{n} {short(player, 18)}" for n, player in enumerate(players, start=1)]
    add_legend(ax, handles, [*names, "there, but nobody plays it"], KEY_BELOW)
