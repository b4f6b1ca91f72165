"""A set of songs, one lane each: their findings, and what changes between them.

A bar's three looks differ in lightness and pattern, so that they can be read in grey print.
"""

from __future__ import annotations

from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from arrange.errors import TableError
from arrange.plots.figures import (
    BLUE,
    FAINT,
    GREY,
    INK,
    KEY_BELOW,
    ORANGE,
    PAPER,
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
from arrange.plots.lane_bars import draw_bars
from arrange.text.words import counted

# Column, name in the key, face and pattern of its bars.
_GROUPS = (
    ("harmony_a_minute", "harmony", BLUE, ""),
    ("place_a_minute", "place", ORANGE, ""),
    ("rhythm_a_minute", "rhythm", "#d9d9d9", "////"),
)
_NEEDED = ("song", "duration", "keys", "tempos", "strongest", "findings_a_minute")
_LANES, _LEAST_LANE, _MOST_LANE = 9.0, 0.38, 0.52  # inches
_HALF = 0.2  # of a lane
_LONGEST_NAME, _LONGEST_FACTS = 26, 36  # characters
_NAME_MARGIN, _LETTER, _SMALL_LETTER = 0.2, 0.076, 0.057  # inches
_NUMBER_ROOM = 84.0  # points behind the longest bar
_HEAVY = 1.6  # points: a line with something to change


def plot_songbook(
    table: pd.DataFrame, changes: pd.DataFrame | None = None, ax: Axes | None = None
) -> Axes:
    """Draw the songs of a set in order, with their findings a minute and the changes between.

    A lane a song: its length, keys and tempos, and a bar as long as its findings a minute, in three
    groups; behind it the number, and the kind of the most severe. Where a string is retuned or a
    capo moved before the next song, the line between the lanes is heavy, with the player's name.

    Parameters
    ----------
    table : DataFrame
        As ``songbook_table`` returns it.
    changes : DataFrame, optional
        As ``changes_between`` returns it, of the songs in this order.
    ax : Axes, optional

    Returns
    -------
    Axes
        Along y a lane is 1 high, the first song between 0 and 1; along x findings a minute.

    Raises
    ------
    TableError
        If a table lacks a column.

    Examples
    --------
    >>> import arrange as ar
    >>> book = ar.read_songbook("datasets/harbour-set")
    >>> ax = ar.plot_songbook(ar.songbook_table(book), ar.changes_between(book))
    >>> ax.get_title(loc="left")
    'Long bars: many findings. Heavy lines: changes'
    """
    _check(table, "a songbook's table", (*_NEEDED, *(name for name, *_ in _GROUPS)))
    if changes is not None:
        _check(changes, "a table of changes",
               ("song", "player", "strings_retuned", "capo_moves", "changes"))  # fmt: skip
    count = len(table)
    if ax is None:
        lane = float(np.clip(_LANES / max(count, 1), _LEAST_LANE, _MOST_LANE))
        ax = new_axes(lane * max(count, 2),
                      Margins(left=_margin(table), right=0.3, top=0.4, bottom=1.05))  # fmt: skip
    clear_frame(ax)
    ax.set_ylim(max(count, 1), 0)
    ax.set_yticks([])
    set_title(ax, "Long bars: many findings. Heavy lines: changes")
    if not count:
        write_instead(ax, "No songs here.")
        return ax
    _set_scale(ax, table)
    _draw_bars(ax, table)
    for place, row in enumerate(table.itertuples()):
        _name_song(ax, place + 0.5, row)
        _number_bar(ax, place + 0.5, row)
    for place in range(1, count):
        _draw_line(ax, place, changes, table["song"].iloc[place])
    _explain(ax, changes)
    return ax


def _check(table: pd.DataFrame, what: str, needed: tuple[str, ...]) -> None:
    missing = [name for name in needed if name not in table]
    if missing:
        raise TableError(f"{what} lacks {missing}; it has {list(table.columns)}")


def _margin(table: pd.DataFrame) -> float:
    """Inches that names and facts need beside the lanes."""
    names = max((len(short(name, _LONGEST_NAME)) for name in table["song"]), default=8)
    facts = max((len(_facts(row)) for row in table.itertuples()), default=8)
    return _NAME_MARGIN + max(_LETTER * names, _SMALL_LETTER * facts)


def _facts(row: Any) -> str:
    facts = " · ".join(filter(None, [row.duration, row.keys, row.tempos]))
    return short(facts, _LONGEST_FACTS)


def _set_scale(ax: Axes, table: pd.DataFrame) -> None:
    longest = float(table["findings_a_minute"].max())
    share = max(1 - _NUMBER_ROOM / points_wide(ax), 0.3)
    ax.set_xlim(0, (longest if longest > 0 else 1.0) / share)
    ax.set_xlabel("findings a minute", fontsize=TEXT_SIZE, color=INK, labelpad=2)


def _draw_bars(ax: Axes, table: pd.DataFrame) -> None:
    """Draw the three groups of each song behind one another."""
    middle = np.arange(len(table)) + 0.5
    left = np.zeros(len(table))
    for column, _, face, hatch in _GROUPS:
        wide = table[column].fillna(0.0).to_numpy()
        there = wide > 0
        with mpl.rc_context({"hatch.linewidth": 0.6}):
            draw_bars(ax, left[there], (left + wide)[there], middle[there] - _HALF,
                      middle[there] + _HALF, column, facecolors=[face], edgecolors=[INK],
                      hatch=hatch, linewidth=0.7, zorder=2)  # fmt: skip
        left = left + wide


def _name_song(ax: Axes, y: float, row: Any) -> None:
    """Write a song's name left of its lane, and below it how long, in which key, how fast."""
    for text, up, size, weight, color, gid in (
        (short(row.song, _LONGEST_NAME), 5, TEXT_SIZE, "bold", INK, "song name"),
        (_facts(row), -5, SMALL_SIZE, "normal", GREY, "song facts"),
    ):
        ax.annotate(
            text, xy=(0, y), xycoords=("axes fraction", "data"), xytext=(-7, up),
            textcoords="offset points", ha="right", va="center", fontsize=size, fontweight=weight,
            color=color, annotation_clip=False, parse_math=False, gid=gid,
        )  # fmt: skip


def _number_bar(ax: Axes, y: float, row: Any) -> None:
    rate = 0.0 if pd.isna(row.findings_a_minute) else row.findings_a_minute
    ax.annotate(
        f"{rate:.1f} {row.strongest}".rstrip(), xy=(rate, y), xytext=(4, 0),
        textcoords="offset points", va="center_baseline", fontsize=SMALL_SIZE, color=INK,
        parse_math=False, gid="findings number",
    )  # fmt: skip


def _draw_line(ax: Axes, y: int, changes: pd.DataFrame | None, song: str) -> None:
    """Draw the line before a song, heavy and with words where something must be changed."""
    own = None if changes is None else changes[(changes["song"] == song) & (changes["changes"] > 0)]
    if own is None or own.empty:
        ax.axhline(y, color=FAINT, linewidth=0.6, zorder=0.5, gid="no change")
        return
    ax.axhline(y, color=INK, linewidth=_HEAVY, zorder=0.5, gid="change")
    text = ax.annotate(
        "; ".join(f"{short(row.player, 16)} {_in_few_words(row)}" for row in own.itertuples()),
        xy=(1, y), xycoords=("axes fraction", "data"), xytext=(-4, 0),
        textcoords="offset points", ha="right", va="center", fontsize=SMALL_SIZE, color=INK,
        zorder=3, parse_math=False, gid="change text",
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.2},
    )  # fmt: skip
    if text_points(text)[0] > points_wide(ax) - 8:
        sums = own[["strings_retuned", "capo_moves"]].sum()
        text.set_text(f"{len(own)} players: {_in_few_words(sums)}")


def _in_few_words(row: Any) -> str:
    """Strings and capos in few words: ``"3 strings, capo"``."""
    strings, capos = int(row.strings_retuned), int(row.capo_moves)
    words = [counted(strings, "string")] if strings else []
    if capos:
        words.append("capo" if capos == 1 else f"{capos} capos")
    return ", ".join(words)


def _explain(ax: Axes, changes: pd.DataFrame | None) -> None:
    with mpl.rc_context({"hatch.linewidth": 0.6}):
        handles = [
            Patch(facecolor=face, hatch=hatch, edgecolor=INK, linewidth=0.7)
            for _, _, face, hatch in _GROUPS
        ]
    add_legend(ax, handles, [label for _, label, _, _ in _GROUPS], KEY_BELOW)
    note = (
        "Harmony: notes against notes. Place: in one another's way. Rhythm: attacks too close.\n"
        "Behind each bar: findings a minute, and the kind of the most severe."
    )
    if changes is not None:
        strings, capos = (int(changes[name].sum()) for name in ("strings_retuned", "capo_moves"))
        note += (
            f"\nHeavy lines: what is changed before the next song; in all {strings} strings "
            f"retuned and {capos} capo moves."
        )
    write_note(ax, note, KEY_BELOW + 17)
