"""The part of a song around a finding, changed by a move and looked at again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes import Limits, find_clashes
from arrange.copies import by_copy, in_copies
from arrange.findings.tries import Move
from arrange.schemas import SONG_TABLES
from arrange.sounding import Array
from arrange.tables import Song

_AROUND = 8  # bars to either side of a finding


def near_rows(
    song: Song, onset: float, duration: float, parts: Sequence[str] | None = None
) -> Array:
    """Return the positions of the notes at most eight bars from a time; of some parts, or all."""
    starts = song.measures["onset"].to_numpy()
    first = int(np.searchsorted(starts, onset, side="right")) - 1 - _AROUND
    last = int(np.searchsorted(starts, onset + duration)) + _AROUND
    begin, end = starts[max(first, 0)], np.append(starts, np.inf)[min(last, len(starts))]
    onsets = song.notes["onset"].to_numpy()
    keep = (onsets + song.notes["duration"].to_numpy() >= begin) & (onsets < end)
    if parts is not None:
        keep &= song.notes["part"].isin(parts).to_numpy()
    return np.flatnonzero(keep)


@dataclass(frozen=True)
class Passage:
    """Some notes of a song, in which findings are looked for again.

    Parameters
    ----------
    song : Song
    rows : array of int, ascending
        Positions in its notes table.
    kinds : tuple of str, optional
    limits : Limits
    """

    song: Song
    rows: Array
    kinds: tuple[str, ...] | None
    limits: Limits

    def find(self, move: Move | None = None) -> pd.DataFrame:
        """Return the findings of the passage, changed by a move."""
        notes = self._changed(move)
        changed = Song.from_columns({**self._tables, "notes": notes})
        return find_clashes(changed, self.kinds, self.limits)

    @cached_property
    def before(self) -> pd.DataFrame:
        """The findings of the unchanged passage."""
        return self.find()

    def find_each(self, moves: Sequence[Move]) -> list[pd.DataFrame]:
        """Return the findings of the unchanged passage, then those after each move.

        All are looked for at once, in copies of the passage one behind the other.
        """
        begin, end = self._ends
        versions = [pd.DataFrame(self._changed(move)) for move in (None, *moves)]
        joined, starts = in_copies(self.song, versions, begin, end)
        return by_copy(find_clashes(joined, self.kinds, self.limits), starts, begin)

    @cached_property
    def _ends(self) -> tuple[float, float]:
        """Begin of the first and end of the last bar that the notes touch."""
        starts = self.song.measures["onset"].to_numpy()
        onset = self.song.notes["onset"].to_numpy()[self.rows]
        end = onset + self.song.notes["duration"].to_numpy()[self.rows]
        first = max(int(np.searchsorted(starts, onset.min() + 1e-9, side="right")) - 1, 0)
        last = int(np.searchsorted(starts, end.max() - 1e-9))
        return float(starts[first]), float(np.append(starts, self.song.duration)[last])

    @cached_property
    def _tables(self) -> dict[str, dict[str, Any]]:
        """The song's tables as columns."""
        return {
            table.name: {
                name: column.array for name, column in getattr(self.song, table.name).items()
            }
            for table in SONG_TABLES
        }

    @cached_property
    def _columns(self) -> dict[str, Any]:
        """The notes of the passage as columns."""
        return {name: values.take(self.rows) for name, values in self._tables["notes"].items()}

    def _changed(self, move: Move | None) -> dict[str, Any]:
        """The notes of the passage as a move leaves them."""
        if move is None:
            return self._columns
        at = np.searchsorted(self.rows, move.rows)
        if move.leaves_out:
            keep = np.ones(len(self.rows), dtype=bool)
            keep[at] = False
            return {name: values[keep] for name, values in self._columns.items()}
        name, by = ("onset", move.quarters) if move.quarters else ("pitch", move.semitones)
        values = np.array(self._columns[name], dtype=np.float64)
        values[at] += by
        return {**self._columns, name: values}
