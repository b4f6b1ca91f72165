"""The Song, which holds six checked tables, and its rows by their labels.

``schemas`` says what stands in each table.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError, TableError, shown
from arrange.tables.columns import Columns, distinct, text_column
from arrange.tables.ringing import sounding_durations
from arrange.tables.schema_check import check_table, make_table
from arrange.tables.schemas import SETUPS, SONG_TABLES
from arrange.tables.size_check import check_limits
from arrange.text.part_lists import placed_fields, unquoted
from arrange.text.words import counted, listed
from arrange.theory.pitch import note_name
from arrange.theory.spelling import unknown_name

_NEAR = 1e-9  # quarter notes


@dataclass(frozen=True)
class Remark:
    """A word to the players, and the labels of the sections it is for; none for all the song."""

    text: str
    sections: tuple[str, ...] = ()


_NO_SETUPS = {
    "part": text_column([]), "section": text_column([]), "drive": text_column([]),
    "echo": text_column([]), "capo": np.zeros(0, dtype=np.int64), "layers": text_column([]),
}  # fmt: skip

# What a Song holds beside its tables.
ABOUT = ("title", "source", "fingerprint", "notices", "remarks", "players")


@dataclass(frozen=True)
class Song:
    """Six checked tables and a little about where they come from.

    ``dataclasses.replace(song, notes=...)`` gives a changed copy, checked again; nothing is
    changed in place.

    Parameters
    ----------
    parts, sections, measures, chords, notes : DataFrame
        Tables as ``describe`` lists them.
    title : str
    source : str
        The file it was read from, or empty.
    fingerprint : str
        SHA-256 of that file's bytes, or empty.
    notices : tuple of str
        What the reader had to repair, assume or leave out, a sentence each.
    remarks : tuple of Remark
        Words to the players, for their sheets.
    players : tuple of str
        Who may play the guitars, a line each as ``read_player`` reads it; empty where nobody is
        named.
    setups : DataFrame, optional
        What a part has in a section where its row of ``parts`` does not say it: another sound,
        another capo, the layers it plays. Empty where not given. ``part_setups`` has all.

    Raises
    ------
    TableError
        If a table breaks its schema, names a part, section or measure that does not exist, or
        is not in order of time where it must be; or as ``check_limits``.

    Examples
    --------
    >>> from dataclasses import replace
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.txt")
    >>> song.parts["part"].tolist()
    ['Voice', 'Guitar 1', 'Guitar 2', 'Bass']
    >>> round(song.seconds(song.duration))
    211
    >>> replace(song, title="Low Water, sketch").title
    'Low Water, sketch'
    """

    parts: pd.DataFrame
    sections: pd.DataFrame
    measures: pd.DataFrame
    chords: pd.DataFrame
    notes: pd.DataFrame
    title: str = ""
    source: str = ""
    fingerprint: str = ""
    notices: tuple[str, ...] = ()
    remarks: tuple[Remark, ...] = ()
    players: tuple[str, ...] = ()
    setups: pd.DataFrame = field(default_factory=lambda: make_table(_NO_SETUPS, SETUPS))

    def __post_init__(self) -> None:
        for table in SONG_TABLES:
            object.__setattr__(self, table.name, check_table(getattr(self, table.name), table))
        tables = {table.name: getattr(self, table.name) for table in SONG_TABLES}
        _check_across(tables)
        self._let_ring(tables)
        remarks = [remark.text for remark in self.remarks]
        check_limits(tables, self.title, [*remarks, *self.players])

    @classmethod
    def from_columns(cls, columns: Mapping[str, Columns | pd.DataFrame], **about: Any) -> Song:
        """Return a Song from whole columns, table by table; checked, fast, but of any size.

        ``check_limits`` is for what comes from outside; within the package a song may hold many
        copies of a passage.

        Parameters
        ----------
        columns : mapping of table name to a mapping of column name to array
            Or to a table of another Song, which is taken as it is. Without ``setups`` there are
            none.
        **about
            Of ``ABOUT``.
        """
        song = object.__new__(cls)
        notes = columns["notes"]
        if "sounds" not in notes:
            notes = {**notes, "sounds": notes["duration"]}
        columns = {"setups": _NO_SETUPS, **columns, "notes": notes}
        for table in SONG_TABLES:
            own = columns[table.name]
            made = own if isinstance(own, pd.DataFrame) else make_table(own, table)
            object.__setattr__(song, table.name, made)
        for name in ABOUT:
            object.__setattr__(song, name, about.get(name, getattr(cls, name)))
        _check_across(columns)
        song._let_ring(columns)
        return song

    def _let_ring(self, tables: Mapping[str, Columns | pd.DataFrame]) -> None:
        """Set the column ``sounds`` of the notes, whatever a given table has there."""
        sounds = sounding_durations(tables)
        if not np.array_equal(sounds, self.notes["sounds"].to_numpy()):
            object.__setattr__(self, "notes", self.notes.assign(sounds=sounds))

    def __repr__(self) -> str:
        return (
            f"<Song {self.title!r}: {len(self.parts)} parts, {len(self.sections)} sections, "
            f"{len(self.measures)} measures, {len(self.chords)} chords, {len(self.notes)} notes>"
        )

    @cached_property
    def _tempo_map(self) -> tuple[np.ndarray, np.ndarray]:
        """Bar lines in quarter notes, and the same in seconds."""
        duration = self.measures["duration"].to_numpy()
        lines = np.append(self.measures["onset"].to_numpy(), self.duration)
        seconds = duration * 60 / self.measures["tempo"].to_numpy()
        return lines, np.concatenate([[0.0], np.cumsum(seconds)])

    @property
    def duration(self) -> float:
        """Length of the song as played, in quarter notes."""
        last = self.measures.iloc[-1]
        return float(last["onset"] + last["duration"])

    def seconds(self, onset: Any) -> Any:
        """Return the time in seconds of an onset in quarter notes (a number or an array).

        The tempo is taken as even within a bar; a change inside one is spread over it, so that
        every bar line is exact. Beyond the last bar line its tempo goes on.
        """
        lines, seconds = self._tempo_map
        inside = np.interp(onset, lines, seconds)
        after = np.maximum(np.asarray(onset) - lines[-1], 0) * 60 / self.measures["tempo"].iloc[-1]
        result = inside + after
        return float(result) if np.ndim(onset) == 0 else result

    def clock(self, onset: float) -> str:
        """Return the time of an onset in quarter notes as minutes and seconds, ``"1:05"``."""
        whole = int(self.seconds(onset) + 1e-6)
        return f"{whole // 60}:{whole % 60:02d}"

    def key_at(self, onset: float) -> str | None:
        """Return the key that holds at an onset in quarter notes, or None where there is none."""
        starts, keys = self._key_map
        return keys[max(bisect_right(starts, onset + _NEAR) - 1, 0)]

    def note_name(self, pitch: float, onset: float | None = None) -> str:
        """Return a pitch's name as the key at an onset spells it, or else the song's main key."""
        return note_name(pitch, self.main_key if onset is None else self.key_at(onset))

    @cached_property
    def main_key(self) -> str | None:
        """The key that holds longest, the earlier of two; None where there is none."""
        lasts = self.measures.groupby("key", sort=False)["duration"].sum()
        return str(lasts.idxmax()) if len(lasts) else None

    @cached_property
    def _key_map(self) -> tuple[list[float], list[str | None]]:
        keys = [key if isinstance(key, str) else None for key in self.measures["key"]]
        return self.measures["onset"].tolist(), keys

    def beat(self, onset: Any, measure: Any) -> Any:
        """Return the place in the bar, from 1, counted in the lower number of its meter."""
        rows = np.asarray(measure) - 1
        starts = self.measures["onset"].to_numpy()[rows]
        return 1 + (np.asarray(onset) - starts) * self._lower_numbers[rows] / 4

    @cached_property
    def _lower_numbers(self) -> np.ndarray:
        """The lower number of each measure's meter; 4 where it is free."""
        meters = self.measures["meter"].tolist()
        lower = {meter: str(meter).rpartition("/")[2] for meter in set(meters)}
        return np.array([float(lower[each]) if lower[each].isdigit() else 4.0 for each in meters])


def part_row(song: Song, part: str) -> pd.Series[Any]:
    """Return a part's row.

    Raises
    ------
    ArrangeError
        If there is no such part.
    """
    return _named(song.parts, "part", part)


def played_parts(song: Song, name: str) -> list[str]:
    """Return the labels of the parts that a name means: a part's label, or its player's name.

    Raises
    ------
    ArrangeError
        If there is no such part and no such player.
    """
    table = song.parts
    own: list[str] = table["part"][(table["part"] == name) | (table["player"] == name)].tolist()
    if not own:
        if name in {unquoted(placed_fields(line, ":;")[0][1]) for line in song.players}:
            raise ArrangeError(
                f"no part is given to the player {shown(name)}: write 'player {name}' on the line "
                "of a part in the chart, or condense the song to its players first; the parts are "
                f"{listed(table['part'])}"
            )
        known = [*table["part"], *table["player"].dropna()]
        raise ArrangeError(unknown_name("player", name, known))
    return own


def guitar_parts(song: Song, least: int = 1) -> list[str]:
    """Return the labels of the guitars, in the order of the song.

    Parameters
    ----------
    song : Song
    least : int
        How many are needed.

    Raises
    ------
    ArrangeError
        If the song has fewer.

    Examples
    --------
    >>> import arrange as ar
    >>> ar.guitar_parts(ar.read("datasets/low-water.txt"))
    ['Guitar 1', 'Guitar 2']
    """
    guitars: list[str] = song.parts.loc[song.parts["family"] == "guitar", "part"].tolist()
    if len(guitars) < least:
        raise ArrangeError(
            f"{shown(song.title or song.source or 'this song')} has "
            f"{counted(len(guitars) or 'no', 'guitar')}, and {least} or more are needed here; "
            "choose another song"
        )
    return guitars


def section_row(song: Song, section: str) -> pd.Series[Any]:
    """Return a section's row.

    Raises
    ------
    ArrangeError
        If there is no such section.
    """
    return _named(song.sections, "section", section)


def _named(table: pd.DataFrame, what: str, label: str) -> pd.Series[Any]:
    labels = table[what].tolist()
    if label not in labels:
        raise ArrangeError(unknown_name(what, label, labels))
    return table.iloc[labels.index(label)]


# Which columns of which tables must name rows of another.
_KNOWN = (
    ("part", "parts", ("notes", "setups")),
    ("measure", "measures", ("notes", "chords")),
    ("section", "sections", ("measures", "notes", "chords", "setups")),
)


# The tables that stand in order of time; notes may stand in any.
_IN_ORDER = ("sections", "measures", "chords")


def _check_across(tables: Mapping[str, Columns | pd.DataFrame]) -> None:
    for name in _IN_ORDER:
        back = np.flatnonzero(np.diff(np.asarray(tables[name]["onset"])) < 0)
        if len(back):
            raise TableError(
                f"table '{name}', row {back[0] + 1}: it begins before the row above it; "
                "sort by onset"
            )
    numbers = np.asarray(tables["measures"]["measure"])
    if not len(numbers) or (numbers != np.arange(1, len(numbers) + 1)).any():
        raise TableError(
            f"table 'measures': its measures are {numbers[:12].tolist()}; they count 1, 2, 3, ..."
        )
    for column, home, users in _KNOWN:
        known = tables[home][column]
        names = distinct(known)
        for user in users:
            unknown = distinct(tables[user][column]) - names
            if unknown:
                raise TableError(
                    f"table '{user}': there is no {column} {min(unknown)!r}; "
                    f"there are {known[:12].tolist()}"
                )
