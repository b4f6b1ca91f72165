"""Which way does the picking hand strum at each count?

The hand swings evenly, down on the beat and up between, as fast as the shortest notes ask; it goes
on swinging where nothing is struck. In three to a beat it begins each beat anew: down, up, down
(common practice, as jigs are picked); so it does where beats are unequal, as in 3+2/8.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.theory.meters import BarGrid, bar_grid

DOWN, UP = "↓", "↑"
STRUM = 3  # strings from which an attack is a strum


def strum_strokes(grid: BarGrid, swings: int) -> list[str]:
    """Return the stroke of each count of a bar.

    Parameters
    ----------
    grid : BarGrid
    swings : int
        Counts that the hand strokes through in a beat, the finest `parts` of the section: 2, 3, 4
        or 6; the bar's own `parts` divide it, or it is 3 beside 2 and 4.
    """
    each = swings // grid.parts if swings % grid.parts == 0 else 1
    if swings % 3 == 0 and swings < 6:
        return [UP if place * each == 1 else DOWN for place in grid.places]
    return [UP if place * each % 2 else DOWN for place in grid.places]


def part_strokes(song: Song, notes: pd.DataFrame) -> Array:
    """Return the stroke of each note of a part that is strummed, empty for the others.

    Nothing is strummed in a bar whose rhythm fits no count, nor what is muted: a muted pulse is
    picked as the player likes.
    """
    is_other = notes["technique"].str.contains("cue|mute", na=False) | notes["grace"]
    is_placed = notes["string"].notna().to_numpy() & ~is_other.to_numpy(dtype=bool)
    own = notes[is_placed]
    starts, lengths = (song.measures[name].to_numpy() for name in ("onset", "duration"))
    meters = song.measures["meter"].tolist()
    bar = own["measure"].to_numpy(dtype=np.int64) - 1
    at = pd.Series((own["onset"].to_numpy() - starts[bar]).round(6), index=own.index)
    is_strum = at.groupby([bar, at]).transform("size") >= STRUM
    struck = {number: sorted(set(attacks)) for number, attacks in at.groupby(bar)}
    grids = {number: bar_grid(meters[number], lengths[number], attacks)
             for number, attacks in struck.items()}  # fmt: skip
    sections = dict(zip(bar.tolist(), own["section"].tolist(), strict=True))
    swings: dict[str, int] = {}
    for number, grid in grids.items():
        if grid:
            section = sections[number]
            swings[section] = max(grid.parts, swings.get(section, 1))
    strokes = pd.Series("", index=notes.index, dtype=object)
    for number, attacks in at[is_strum].groupby(bar[is_strum.to_numpy()]):
        grid = grids[number]
        if grid:
            own_strokes = strum_strokes(grid, swings[sections[number]])
            strokes[attacks.index] = [
                own_strokes[min(round(attack / grid.slot), len(own_strokes) - 1)]
                for attack in attacks
            ]
    return strokes.to_numpy()
