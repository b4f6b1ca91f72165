"""Versions of a passage one behind the other in one song, silence between: to look at one long
song is much quicker than at many short ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from arrange.tables.columns import object_column
from arrange.tables.schemas import SONG_TABLES
from arrange.tables.song import ABOUT, Song
from arrange.tables.sounding import Array

_SILENCE = 16.0  # quarter notes between two copies; longer than any pause that a finding bridges


@dataclass(frozen=True)
class Copies:
    """Versions of a passage in one song.

    Parameters
    ----------
    song : Song
        All of them, one behind the other.
    starts : array
        Where each begins there, quarter notes.
    begin : float
        Where the passage begins in the song that it is from, quarter notes.
    labels : array of int
        Of each note in ``song``: its label in the notes table of its version.
    """

    song: Song
    starts: Array
    begin: float
    labels: Array

    def number(self, onset: Array) -> Array:
        """Return in which copy each onset lies, from 0."""
        return np.searchsorted(self.starts, np.asarray(onset) + 1e-6, side="right") - 1

    def split(self, findings: pd.DataFrame) -> list[pd.DataFrame]:
        """Return the findings of each copy, at the times and of the notes of its version."""
        copy = self.number(findings["onset"])
        notes = [tuple(self.labels[list(rows)].tolist()) for rows in findings["notes"]]
        placed = findings.assign(
            onset=findings["onset"] - self.starts[copy] + self.begin, notes=object_column(notes)
        )
        return [placed[copy == number] for number in range(len(self.starts))]


def in_copies(song: Song, versions: Sequence[pd.DataFrame], begin: float, end: float) -> Copies:
    """Return a song of all versions one behind the other.

    Parameters
    ----------
    song : Song
    versions : sequence of notes tables
    begin, end : float
        What lies between is taken, quarter notes.
    """
    step = end - begin + _SILENCE
    starts = step * np.arange(len(versions))
    bars = _within(song.measures, begin, end)
    bars = pd.concat([bars, bars.iloc[-1:].assign(onset=end, duration=_SILENCE)])
    tables = {}
    for name, table in (
        ("sections", _within(song.sections, begin, end)),
        ("measures", bars),
        ("chords", _within(song.chords, begin, end)),
    ):
        tables[name] = _copies([table] * len(versions), starts, begin)
    inside = song.setups["section"].isin(_within(song.sections, begin, end)["section"])
    tables["setups"] = _labelled([song.setups[inside]] * len(versions))
    notes = [_within(each, begin, end) for each in versions]
    tables["notes"] = _copies(notes, starts, begin)
    labels = np.concatenate([each.index.to_numpy() for each in notes])
    return Copies(quick_song(song, **_relabelled(tables)), starts, begin, labels)


def _relabelled(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Return the tables with measures numbered anew.

    The onset says where a note or chord lies; any label that there is will do.
    """
    place = {"measure": 1, "section": tables["sections"]["section"].iloc[0]}
    numbers = np.arange(1, len(tables["measures"]) + 1)
    return {
        "sections": tables["sections"],
        "measures": tables["measures"].assign(measure=numbers),
        "notes": tables["notes"].assign(**place),
        "chords": tables["chords"].assign(**place),
        "setups": tables["setups"],
    }


def _within(frame: pd.DataFrame, begin: float, end: float) -> pd.DataFrame:
    """The rows of a table that lie between two times, cut there."""
    written = frame["onset"].to_numpy()
    onset = np.maximum(written, begin)
    finish = np.minimum(written + frame["duration"].to_numpy(), end)
    keep = finish - onset > 1e-9
    if "grace" in frame:
        keep |= frame["grace"].to_numpy() & (onset == written) & (onset < end)
    return frame.assign(onset=onset, duration=np.maximum(finish - onset, 0.0))[keep]


def _copies(tables: Sequence[pd.DataFrame], starts: Array, begin: float) -> pd.DataFrame:
    """Tables one behind the other, with times and sections of their own."""
    joined = _labelled(tables)
    copy = np.repeat(np.arange(len(tables)), [len(table) for table in tables])
    return joined.assign(onset=joined["onset"] + starts[copy] - begin)


def _labelled(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Tables one behind the other, with sections of their own."""
    joined = pd.concat(tables, ignore_index=True)
    copy = np.repeat(np.arange(len(tables)), [len(table) for table in tables])
    label = pd.Series([f"{number} " for number in range(len(tables))], dtype="str")
    sections = label.take(copy).reset_index(drop=True) + joined["section"]
    return joined.assign(section=sections)


def quick_song(song: Song, **tables: pd.DataFrame) -> Song:
    """Return the song with some tables in place of its own; the others are not looked at anew."""
    columns = {
        name: {label: _plain(column.array) for label, column in table.items()}
        for name, table in tables.items()
    }
    own = {table.name: getattr(song, table.name) for table in SONG_TABLES}
    return Song.from_columns({**own, **columns}, **{name: getattr(song, name) for name in ABOUT})


def _plain(values: Any) -> Any:
    """Numpy's own array where pandas wraps one."""
    return values.to_numpy() if isinstance(values, pd.arrays.NumpyExtensionArray) else values
