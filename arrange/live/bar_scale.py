"""The bars that a picture shows, and where they lie from left to right in all of its rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from arrange.tables.song import Song, section_row
from arrange.tables.sounding import Array

MOST_BARS = 16  # at once; a longer section is shown in turns
LEFT, RIGHT = 46.0, 104.0  # beside the bars, for names
LEAST_WIDTH = 1000.0  # of the whole picture
MOST_BAR = 216.0  # of a bar
INSIDE = 16.0  # from a bar line to the first count, and behind the last


@dataclass(frozen=True, eq=False)
class BarScale:
    """Where time lies.

    Parameters
    ----------
    first, last : int
        Measures.
    onset, duration : array of float
        Of each, quarter notes.
    bar : float
        Width of each.
    """

    first: int
    last: int
    onset: Array
    duration: Array
    bar: float

    @property
    def bars(self) -> range:
        """The measures that are shown."""
        return range(self.first, self.last + 1)

    @property
    def right(self) -> float:
        """Where the last bar ends."""
        return LEFT + self.bar * len(self.bars)

    @property
    def width(self) -> float:
        """Of the whole picture."""
        return self.right + RIGHT

    def left(self, bar: int) -> float:
        """Return where a bar begins."""
        return LEFT + self.bar * (bar - self.first)

    def x(self, bar: Array, onset: Array) -> Array:
        """Return where notes of these bars lie that begin at these times."""
        at = bar - self.first
        share = (onset - self.onset[at]) / self.duration[at]
        return LEFT + self.bar * at + 12 + (self.bar - INSIDE) * share


def shown_bars(song: Song, section: str, moment: int) -> tuple[int, int]:
    """Return the bars of a section that are shown at once, those around a measure."""
    row = section_row(song, section)
    first, last = int(row["first_measure"]), int(row["last_measure"])
    turn = (min(max(moment, first), last) - first) // MOST_BARS
    first += turn * MOST_BARS
    return first, min(first + MOST_BARS - 1, last)


def bar_scale(song: Song, bars: tuple[int, int], needed: float) -> BarScale:
    """Return the scale of these bars, each so wide as is needed and there is room."""
    first, last = bars
    own = song.measures.iloc[first - 1 : last]
    room = (LEAST_WIDTH - LEFT - RIGHT) / (last - first + 1)
    onset, duration = (own[name].to_numpy(dtype=np.float64) for name in ("onset", "duration"))
    return BarScale(first, last, onset, duration, max(room, min(needed, MOST_BAR)))
