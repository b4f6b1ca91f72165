"""What each part has in each section: its sound, its echo, its capo, the layers that it plays.

The parts table holds what a part has for the whole song; the setups table holds the sections in
which it is otherwise. Here both are one table, so that nobody needs to look into two.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from arrange.tables.schemas import SETUPS
from arrange.tables.song import Song

_OF_PART = ["drive", "echo", "capo"]


def part_setups(song: Song) -> pd.DataFrame:
    """Return what every part has in every section.

    Returns
    -------
    DataFrame
        A row for each part and section, in score order and then in order of time, silent ones too:
        ``part``; ``section``; ``drive``; ``echo``, a note value, or none; ``capo``, a fret, 0 for
        none; ``layers``, the recorded layers that it plays there, joined by ``" + "``, or none.

    Examples
    --------
    >>> import arrange as ar
    >>> setups = ar.part_setups(ar.read("datasets/tarrow-weir.txt"))
    >>> setups.groupby("part", sort=False)["capo"].unique().loc["Guitar 2"].tolist()
    [2]
    """
    parts, sections = song.parts["part"], song.sections["section"]
    row = np.repeat(np.arange(len(parts)), len(sections))
    every = song.parts[["part", *_OF_PART]].iloc[row].reset_index(drop=True)
    every["section"] = pd.concat([sections] * len(parts), ignore_index=True)
    every["layers"] = pd.Series([None] * len(every), dtype="str")
    own = song.setups
    place = parts.size and _places(own["part"], parts) * len(sections)
    at = place + _places(own["section"], sections)
    for name in (*_OF_PART, "layers"):
        values = every[name].array.copy()
        values[at] = own[name].array
        every[name] = values
    return every[SETUPS.names]


def note_setups(song: Song) -> pd.DataFrame:
    """Return what the part of each note has in the section that the note begins in.

    Returns
    -------
    DataFrame
        ``drive``, ``echo`` and ``capo``, a row for each row of the notes table and with its labels.
    """
    sections = song.sections["section"]
    row = _places(song.notes["part"], song.parts["part"]) * len(sections)
    row += _places(song.notes["section"], sections)
    return part_setups(song)[_OF_PART].take(row).set_axis(song.notes.index)


def part_notes_setups(song: Song, part: str, notes: pd.DataFrame) -> pd.DataFrame:
    """Return ``drive``, ``echo`` and ``capo`` of a part, a row for each of some notes of it."""
    usual = song.parts.loc[song.parts["part"] == part, _OF_PART]
    otherwise = song.setups[song.setups["part"] == part]
    row = np.zeros(len(notes), dtype=np.int64)
    if len(otherwise):
        row = 1 + _places(notes["section"], otherwise["section"])
    return pd.concat([usual, otherwise[_OF_PART]]).take(row)


def capos_at(song: Song, part: np.ndarray, section: np.ndarray) -> np.ndarray:
    """Return the capo of parts in sections, by their rows; section -1 is before the first."""
    usual = song.parts["capo"].to_numpy()[part]
    if song.setups.empty:
        return usual
    capos = part_setups(song)["capo"].to_numpy()
    return np.where(section < 0, usual, capos[part * len(song.sections) + section])


def where_otherwise(setups: pd.DataFrame, parts: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of setups that say more than the parts table: the table that a Song keeps."""
    usual = setups[["part"]].merge(parts[["part", *_OF_PART]], on="part", how="left")
    differs = setups["layers"].notna().to_numpy()
    for name in _OF_PART:
        own, other = setups[name].reset_index(drop=True), usual[name]
        differs = differs | ~((own == other) | (own.isna() & other.isna())).to_numpy(dtype=bool)
    return setups[differs].reset_index(drop=True)


def _places(labels: pd.Series[str], known: pd.Series[str]) -> np.ndarray:
    """The place of each label among the known ones."""
    return pd.Index(known).get_indexer(pd.Index(labels))
