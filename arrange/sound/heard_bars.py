"""The bars of a song that are heard, their speed, and the notes that sound in them."""

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
from arrange.text.words import listed, measures_words


@dataclass(frozen=True)
class HeardBars:
    """The bars of a song that are heard, and how fast.

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
        How long they last.
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
        """How many samples they last."""
        return round(self.seconds * RATE)

    def at(self, song: Song, onset: Any) -> Any:
        """Return seconds from the first bar on."""
        return (np.asarray(song.seconds(onset)) - self.start) * self.slower

    def notes(self, song: Song, part: str) -> pd.DataFrame:
        """Return the notes of a part that sound in them."""
        notes = played_notes(song.notes[song.notes["part"] == part])
        ends = notes["onset"] + notes["sounds"]
        return notes[(notes["onset"] < self.end - 1e-9) & (ends > self.begin + 1e-9)]


def heard_bars(
    song: Song, section: str | None, measures: tuple[int, int] | None, tempo: float | None
) -> HeardBars:
    """Return a section, some measures or the whole of a song, at a tempo or as written.

    Raises
    ------
    ArrangeError
        If the section or a measure is not there, or both are given.
    """
    if section is not None and measures is not None:
        raise ArrangeError("give a section or measures, not both")
    bars = len(song.measures)
    first, last = measures or (1, bars)
    if section is not None:
        row = section_row(song, section)
        first, last = int(row["first_measure"]), int(row["last_measure"])
    if not 1 <= first <= last <= bars:
        raise ArrangeError(f"measures {first} to {last}: the song has measures 1 to {bars}")
    begin = float(song.measures["onset"].iloc[first - 1])
    end = float(song.measures["onset"].iloc[last - 1] + song.measures["duration"].iloc[last - 1])
    slower = 1.0 if tempo is None else float(song.measures["tempo"].iloc[first - 1]) / tempo
    start, stop = float(song.seconds(begin)), float(song.seconds(end))
    return HeardBars(first, last, begin, end, start, slower, (stop - start) * slower)


def check_heard(song: Song, parts: Sequence[str], heard: HeardBars) -> None:
    """Raise an ArrangeError if none of the parts sounds in these bars."""
    if any(len(heard.notes(song, part)) for part in parts):
        return
    where = measures_words(heard.first, heard.last)
    lay_out = f"{listed(parts) or 'no part'} {'lay' if len(parts) > 1 else 'lays'} out"
    own = played_notes(song.notes[song.notes["part"].isin(parts)])
    sections = song.sections["section"][song.sections["section"].isin(own["section"])]
    plays = f"ask for {', '.join(sections)}" if len(sections) else "ask for other parts"
    raise ArrangeError(f"{lay_out} in {where}, so there is nothing to hear; {plays}")
