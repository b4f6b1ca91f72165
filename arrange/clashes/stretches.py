"""What each part plays in stretches of some bars: how long, how high, on which notes.

A stretch is as long as four bars of common time, a phrase (common practice), in whole bars. One
begins at each bar, so that stretches overlap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from arrange.tables.sounding import Array, each_of

QUARTERS = 16.0  # of a stretch, about
NEARLY = 0.75  # share of a value that counts as nearly as high (ours)
FEWEST = 3  # stretches that a song must hold, so that one can differ from the others


@dataclass(frozen=True)
class Stretches:
    """The stretches of a song, and what its parts play in each bar.

    Parameters
    ----------
    lines : array (bars + 1,)
        Where bars begin, and where the last one ends, in quarter notes.
    bars : int
        Of a stretch.
    first : array of int (stretches,)
        Row of the bar that each begins with.
    time : array (parts, bars)
        Quarter notes for which a part sounds, those of a chord added up.
    height : array (parts, bars)
        The same, times the pitch.
    classes : array (parts, 12, bars)
        The time on each pitch class.
    """

    lines: Array
    bars: int
    first: Array
    time: Array
    height: Array
    classes: Array

    def total(self, values: Array, around: int = 0) -> Array:
        """Return the sums over each stretch, and so many bars around it, of a value a bar.

        Parameters
        ----------
        values : array (..., bars)
        """
        sums = np.zeros((*values.shape[:-1], values.shape[-1] + 1))
        np.cumsum(values, axis=-1, out=sums[..., 1:])
        last = np.minimum(self.first + self.bars + around, values.shape[-1])
        return np.asarray(sums[..., last] - sums[..., np.maximum(self.first - around, 0)])

    def span(self, first: int, last: int) -> tuple[float, float]:
        """Return where the stretches from one to another begin and end, in quarter notes."""
        begin, end = self.first[first], self.first[last] + self.bars
        return float(self.lines[begin]), float(self.lines[end])

    def apart(self, values: Array, limit: float) -> Iterator[tuple[int, int, int, int]]:
        """Return the stretches of a part whose values reach a limit: of those that overlap the
        highest, and those that touch joined where they are nearly as high.

        Parameters
        ----------
        values : array (parts, stretches)
            NaN where there is none.

        Returns
        -------
        iterator of (part, first, last, highest)
            Numbers of stretches: of the first, the last and the highest that are joined.
        """
        left = np.where(np.isfinite(values), values, -np.inf)
        for part in np.flatnonzero((left >= limit).any(axis=1)).tolist():
            taken: list[int] = []
            own = left[part].copy()
            while own.max() >= limit:
                at = int(own.argmax())
                taken.append(at)
                own[max(at - self.bars + 1, 0) : at + self.bars] = -np.inf
            chain = np.array(sorted(taken))
            high = left[part][chain]
            apart = np.minimum(high[1:], high[:-1]) < NEARLY * np.maximum(high[1:], high[:-1])
            apart |= np.diff(chain) > self.bars
            for joined in np.split(chain, np.flatnonzero(apart) + 1):
                highest = int(joined[left[part][joined].argmax()])
                yield part, int(joined[0]), int(joined[-1]), highest


def stretches_of(
    measures: tuple[Array, Array], notes: tuple[Array, Array, Array, Array], parts: int
) -> Stretches:
    """Return the stretches of a song.

    Parameters
    ----------
    measures : onset and duration of each bar
    notes : part, pitch, onset and end of each note that sounds
    parts : int
        How many there are.
    """
    starts, lengths = measures
    lines = np.append(starts, starts[-1:] + lengths[-1:])
    part, pitch, onset, end = notes
    count = len(starts)
    first = np.clip(np.searchsorted(starts, onset + 1e-9, side="right") - 1, 0, None)
    last = np.maximum(np.searchsorted(starts, end - 1e-9) - 1, first)
    note = np.repeat(np.arange(len(onset)), last - first + 1)
    bar = each_of(first, last - first + 1)
    stops = np.append(starts[1:], np.inf)
    time = np.minimum(end[note], stops[bar]) - np.maximum(onset[note], starts[bar])
    pitch_class = np.rint(pitch[note]).astype(np.int64) % 12
    cell = (part[note] * 12 + pitch_class) * count + bar
    classes = np.bincount(cell, time, parts * 12 * count).reshape(parts, 12, count)
    cell = part[note] * count + bar
    height = np.bincount(cell, time * pitch[note], parts * count).reshape(parts, count)
    bars = max(1, round(QUARTERS / float(np.median(lengths)))) if count else 1
    begins = np.arange(count - bars + 1 if count >= FEWEST * bars else 0)
    return Stretches(lines, bars, begins, classes.sum(axis=1), height, classes)
