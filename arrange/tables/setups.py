"""What each part has in each section: its sound, its echo, its capo, the layers that it plays.

The parts table holds what a part has for the whole song; the setups table holds the sections in
which it is otherwise. Here both are one table, so that nobody needs to look into two.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from arrange.tables.copies import quick_song
from arrange.tables.schemas import SETUPS
from arrange.tables.song import Song
from arrange.tables.sounding import Array, played_notes

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
    columns = {
        "part": parts.array.take(np.repeat(np.arange(len(parts)), len(sections))),
        "section": sections.array.take(np.tile(np.arange(len(sections)), len(parts))),
        **{name: by_section(song, name).ravel() for name in (*_OF_PART, "layers")},
    }
    dtypes = {column.name: column.dtype for column in SETUPS.columns}
    return pd.DataFrame(columns)[SETUPS.names].astype(dtypes)


def played_setups(song: Song) -> pd.DataFrame:
    """Return the rows of ``part_setups`` whose part plays in the section, cue notes left out."""
    setups = part_setups(song)
    notes = played_notes(song.notes)[["part", "section"]].drop_duplicates()
    plays = pd.MultiIndex.from_frame(setups[["part", "section"]])
    return setups[plays.isin(pd.MultiIndex.from_frame(notes))]


def sections_of(setups: pd.DataFrame, name: str) -> dict[Any, list[str]]:
    """Return each value of a column of setups, in order, with the sections in which it holds."""
    held: dict[Any, list[str]] = {}
    for value, section in zip(setups[name].tolist(), setups["section"].tolist(), strict=True):
        held.setdefault(value, []).append(section)
    return held


def song_in_section(song: Song, section: str) -> Song:
    """Return the song as if every part had all through what it has in one section.

    For what looks at that section alone.
    """
    if song.setups.empty:
        return song
    setups = part_setups(song)
    own = setups.loc[setups["section"] == section, _OF_PART].set_axis(song.parts.index)
    return quick_song(song, parts=song.parts.assign(**own), setups=song.setups[:0])


def all_through(song: Song, part: str, **own: Any) -> Song:
    """Return the song with another ``drive``, ``echo`` or ``capo`` of a part in all sections."""
    tables = {}
    for table in (song.parts, song.setups):
        is_own = (table["part"] == part).to_numpy(dtype=bool)
        columns = {name: table[name].mask(is_own, value) for name, value in own.items()}
        tables["setups" if table is song.setups else "parts"] = table.assign(**columns)
    if len(song.setups):
        tables["setups"] = where_otherwise(tables["setups"], tables["parts"])
    return quick_song(song, **tables)


def by_section(song: Song, name: str) -> Array:
    """Return ``drive``, ``echo``, ``capo`` or ``layers`` of every part in every section.

    Returns
    -------
    array, parts x sections
        Of int for the capo, else of object, None for none. Not to be written to.
    """
    shape = len(song.parts), len(song.sections)
    usual = _plain(song.parts[name]) if name in _OF_PART else np.full(shape[0], None)
    if song.setups.empty:
        return np.broadcast_to(usual[:, None], shape)
    every = np.repeat(usual[:, None], shape[1], axis=1)
    places = (
        {label: place for place, label in enumerate(table[name].tolist())}
        for table, name in ((song.parts, "part"), (song.sections, "section"))
    )
    rows, columns = ([own[label] for label in song.setups[name].tolist()]
                     for own, name in zip(places, ("part", "section"), strict=True))  # fmt: skip
    every[rows, columns] = _plain(song.setups[name])
    return every


def section_at(song: Song, onset: Any) -> Array:
    """Return the place in the sections table of the section that each onset lies in."""
    starts = song.sections["onset"].to_numpy()
    return np.maximum(np.searchsorted(starts, np.asarray(onset) + 1e-9, side="right") - 1, 0)


def note_setups(song: Song) -> pd.DataFrame:
    """Return what the part of each note has in the section that the note begins in.

    Returns
    -------
    DataFrame
        ``drive``, ``echo`` and ``capo``, a row for each row of the notes table and with its labels.
    """
    part = pd.Index(song.parts["part"]).get_indexer(pd.Index(song.notes["part"]))
    section = section_at(song, song.notes["onset"])
    columns = {name: by_section(song, name)[part, section] for name in _OF_PART}
    dtypes = {column.name: column.dtype for column in SETUPS.columns if column.name in _OF_PART}
    return pd.DataFrame(columns, index=song.notes.index).astype(dtypes)


def where_otherwise(setups: pd.DataFrame, parts: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of setups that say more than the parts table: the table that a Song keeps."""
    usual = setups[["part"]].merge(parts[["part", *_OF_PART]], on="part", how="left")
    differs = setups["layers"].notna().to_numpy()
    for name in _OF_PART:
        own, other = setups[name].reset_index(drop=True), usual[name]
        differs = differs | ~((own == other) | (own.isna() & other.isna())).to_numpy(dtype=bool)
    return setups[differs].reset_index(drop=True)


def _plain(values: pd.Series[Any]) -> Array:
    """A column as numpy's own array, None for what is missing."""
    if values.dtype == np.int64:
        return values.to_numpy()
    return np.array([each if isinstance(each, str) else None for each in values], dtype=object)
