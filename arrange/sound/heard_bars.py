"""Which bars of a song are heard, how fast, and which notes lie in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.sound.tones import RATE
from arrange.tables.song import Song, section_row
from arrange.tables.sounding import played_notes


@dataclass(frozen=True)
class HeardBars:
    """Some bars of a song, and how fast.

    Parameters
    ----------
    first, last : int
        Played measures.
    begin, end : float
        Quarter notes.
    start : float
        Seconds from the start of the song, at the song's tempo.
    slower : float
        Times as long as at the song's tempo.
    seconds : float
        How long it lasts.
    """

    first: int
    last: int
    begin: float
    end: float
    start: float
    slower: float
    seconds: float

    @property
    def samples(self) -> int:
        """How many samples it lasts."""
        return round(self.seconds * RATE)

    def at(self, song: Song, onset: Any) -> Any:
        """Return seconds from the start of the stretch."""
        return (np.asarray(song.seconds(onset)) - self.start) * self.slower

    def notes(self, song: Song, part: str) -> pd.DataFrame:
        """Return the notes of a part that sound in it."""
        notes = played_notes(song.notes[song.notes["part"] == part])
        ends = notes["onset"] + notes["duration"]
        return notes[(notes["onset"] < self.end - 1e-9) & (ends > self.begin + 1e-9)]


def heard_bars(
    song: Song, section: str | None, measures: tuple[int, int] | None, tempo: float | None
) -> HeardBars:
    """Return a section, some measures or the whole of a song, from a tempo on.

    Raises
    ------
    ArrangeError
        If it is not there, or the tempo is not from 10 to 400.
    """
    if section is not None and measures is not None:
        raise ArrangeError("tell a section or measures, not both")
    bars = len(song.measures)
    first, last = measures or (1, bars)
    if section is not None:
        row = section_row(song, section)
        first, last = int(row["first_measure"]), int(row["last_measure"])
    if not 1 <= first <= last <= bars:
        raise ArrangeError(f"measures {first} to {last}: the song has measures 1 to {bars}")
    if tempo is not None and not 10 <= tempo <= 400:
        raise ArrangeError(f"tempo {tempo}: quarter notes a minute, from 10 to 400")
    begin = float(song.measures["onset"].iloc[first - 1])
    end = float(song.measures["onset"].iloc[last - 1] + song.measures["duration"].iloc[last - 1])
    slower = 1.0 if tempo is None else float(song.measures["tempo"].iloc[first - 1]) / tempo
    start, stop = float(song.seconds(begin)), float(song.seconds(end))
    return HeardBars(first, last, begin, end, start, slower, (stop - start) * slower)


def check_heard(song: Song, parts: Sequence[str], stretch: HeardBars) -> None:
    """Raise an ArrangeError if none of the parts sounds in the stretch."""
    if any(len(stretch.notes(song, part)) for part in parts):
        return
    if stretch.first == stretch.last:
        where = f"measure {stretch.first}"
    else:
        where = f"measures {stretch.first} to {stretch.last}"
    lay_out = f"{' and '.join(parts) or 'no part'} {'lays' if len(parts) == 1 else 'lay'} out"
    own = played_notes(song.notes[song.notes["part"].isin(parts)])
    sections = song.sections["section"][song.sections["section"].isin(own["section"])]
    plays = f"ask for {', '.join(sections)}" if len(sections) else "ask for other parts"
    raise ArrangeError(f"{lay_out} in {where}, so there is nothing to hear; {plays}")
