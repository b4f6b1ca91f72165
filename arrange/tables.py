"""The tables that everything passes on, and the Song that holds five of them.

Conventions: onset and duration are in quarter notes from the start of the song as played;
pitch is the sounding MIDI number (C4 is 60); strings count from 1, the highest; frets count
from the nut, capo or not, so that pitch = open string + fret. A missing value is NaN or NA.

``describe("notes")`` prints a table's columns, units and meaning; ``check_table`` holds a
frame to them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from arrange.errors import TableError


@dataclass(frozen=True)
class Column:
    """One column: its name, pandas dtype, unit and meaning."""

    name: str
    dtype: str
    unit: str
    meaning: str
    needed: bool = True
    allowed: tuple[str, ...] = ()
    within: tuple[float, float] | None = None


@dataclass(frozen=True)
class Table:
    """A table's schema: its name, the columns that tell its rows apart, and all columns."""

    name: str
    row: str
    unique_by: tuple[str, ...]
    columns: tuple[Column, ...]

    @property
    def names(self) -> list[str]:
        """The column names, in order."""
        return [column.name for column in self.columns]


FAMILIES = ("guitar", "bass", "voice", "keys", "drums", "other")
DRIVES = ("clean", "edge", "overdriven", "distorted")

_ONSET = Column("onset", "float64", "quarter notes", "start, from the start of the song as played")
_DURATION = Column("duration", "float64", "quarter notes", "how long it lasts")
_MEASURE = Column("measure", "int64", "", "played bar, counted from 1")
_SECTION = Column("section", "str", "", "label of the section it lies in")

PARTS = Table(
    "parts",
    "a player's part or a recorded layer",
    ("part",),
    (
        Column("part", "str", "", "unique label"),
        Column("instrument", "str", "", "instrument as the source names it", needed=False),
        Column("family", "str", "", ", ".join(FAMILIES), allowed=FAMILIES),
        Column("tuning", "object", "MIDI numbers", "open strings, highest first, without a capo; "
               "or none", needed=False),
        Column("capo", "int64", "frets", "fret of the capo, 0 for none"),
        Column("transpose", "int64", "semitones", "added to the written pitch to get the sounding"),
        Column("drive", "str", "", ", ".join(DRIVES), allowed=DRIVES),
        Column("echo", "str", "note value", "tempo-synced delay, or none", needed=False),
        Column("level", "float64", "dB", "loudness relative to the loudest part"),
        Column("program", "Int64", "General MIDI, 1-128", "sound", needed=False),
        Column("player", "str", "", "who plays it", needed=False),
    ),
)  # fmt: skip

SECTIONS = Table(
    "sections",
    "a stretch of the form, in played order",
    ("section",),
    (
        Column("section", "str", "", 'unique label, such as "Chorus 2"'),
        Column("kind", "str", "", "verse, chorus, bridge, tag, ... or other"),
        Column("pass", "int64", "", "which time round these printed bars are played, from 1"),
        Column("first_measure", "int64", "", "its first played bar"),
        Column("last_measure", "int64", "", "its last played bar"),
        _ONSET,
        _DURATION,
    ),
)

MEASURES = Table(
    "measures",
    "a played bar",
    ("measure",),
    (
        _MEASURE,
        Column("written", "str", "", "measure number as printed"),
        _SECTION,
        _ONSET,
        _DURATION,
        Column("meter", "str", "", 'time signature, such as "6/8"'),
        Column("key", "str", "", 'sounding key, such as "D minor"; or none', needed=False),
        Column("tempo", "float64", "quarter notes a minute", "mean tempo over the bar"),
    ),
)

CHORDS = Table(
    "chords",
    "a chord symbol and how long it holds",
    ("onset",),
    (
        _ONSET,
        _DURATION,
        _MEASURE,
        _SECTION,
        Column("symbol", "str", "", "chord symbol as players write it"),
        Column("root", "Int64", "pitch class", "root, C is 0; none for no chord", needed=False),
        Column("bass", "Int64", "pitch class", "lowest note asked for", needed=False),
        Column("kind", "str", "", "MusicXML kind value"),
        Column("pitch_classes", "object", "pitch classes", "members as a tuple, root first"),
        Column("degree", "str", "", 'number in the key, such as "5/7"', needed=False),
    ),
)

NOTES = Table(
    "notes",
    "a sounding note, ties merged",
    (),
    (
        Column("part", "str", "", "label of its part"),
        _ONSET,
        _DURATION,
        _MEASURE,
        _SECTION,
        Column("pitch", "float64", "MIDI number", "sounding, 0 to 127; none if unpitched",
               needed=False, within=(0, 127)),
        Column("voice", "str", "", "MusicXML voice within the part", needed=False),
        Column("string", "Int64", "", "string, 1 is the highest", needed=False),
        Column("fret", "Int64", "frets", "from the nut, capo or not", needed=False),
        Column("technique", "str", "", "slide, hammer-on, pull-off, bend, let ring, palm mute, "
               "muted, harmonic, tap, vibrato, cue; several joined by commas", needed=False),
        Column("grace", "bool", "", "a grace note, with duration 0"),
        Column("source_id", "str", "", "the note's id in the source, or n and its place there"),
    ),
)  # fmt: skip

FINDINGS = Table(
    "findings",
    "something to listen to",
    (),
    (
        _SECTION,
        _MEASURE,
        Column("beat", "float64", "beats, from 1", "place in the bar, in the meter's note value"),
        _ONSET,
        _DURATION,
        Column("kind", "str", "", "rub, mud, crowding, crossing, doubling, ..."),
        Column("parts", "str", "", "the parts it is between, joined by ' + '"),
        Column("pitches", "str", "", "note names, low to high"),
        Column("value", "float64", "see unit", "what was measured"),
        Column("limit", "float64", "see unit", "the limit it is held against"),
        Column("unit", "str", "", "unit of value and limit"),
        Column("severity", "float64", "0 to 1", "how strongly it asks to be heard", within=(0, 1)),
        Column("why", "str", "", "one plain sentence"),
        Column("source", "str", "", "key into the bibliography"),
        Column("waived", "str", "", "id of the decision that waives it, or none", needed=False),
    ),
)

SONG_TABLES = (PARTS, SECTIONS, MEASURES, CHORDS, NOTES)
_ALL_TABLES = {table.name: table for table in (*SONG_TABLES, FINDINGS)}
_LABELS = {name: pd.Index(table.names) for name, table in _ALL_TABLES.items()}


def describe(name: str | None = None) -> pd.DataFrame:
    """Return the schema of one table, or of all, a row per column.

    Parameters
    ----------
    name : str, optional
        parts, sections, measures, chords, notes or findings.

    Raises
    ------
    TableError
        If no table has that name.
    """
    if name is not None and name not in _ALL_TABLES:
        raise TableError(f"no table is called {name!r}; there are {', '.join(_ALL_TABLES)}")
    tables = _ALL_TABLES.values() if name is None else [_ALL_TABLES[name]]
    return pd.DataFrame(
        [
            (table.name, column.name, column.dtype, column.unit, column.meaning)
            for table in tables
            for column in table.columns
        ],
        columns=["table", "column", "dtype", "unit", "meaning"],
    )


def check_table(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Return the frame with the table's columns in order and of its dtypes.

    Raises
    ------
    TableError
        If a column is missing or foreign, holds a value of the wrong kind, lacks a value that
        is needed, or if rows that must differ are the same.
    """
    missing = [name for name in table.names if name not in frame]
    foreign = [name for name in frame.columns if name not in table.names]
    if missing:
        raise TableError(f"table '{table.name}' lacks {missing}; it has {list(frame.columns)}")
    if foreign:
        raise TableError(f"table '{table.name}' has no column {foreign}; it has {table.names}")
    columns = {
        column.name: _as_dtype(frame[column.name], column.dtype, table.name).array
        for column in table.columns
    }
    _check_columns(columns, table)
    return pd.DataFrame(columns)


Columns = Mapping[str, Any]  # column name -> numpy or pandas array, all of one length


def make_table(columns: Columns, table: Table) -> pd.DataFrame:
    """Return a checked frame from whole columns that have the table's dtypes already.

    The quick way for readers: ``text_column`` and ``integer_column`` make the arrays that
    numpy has no dtype for.
    """
    _check_columns(columns, table)
    arrays = [columns[name] for name in table.names]
    # The public constructor looks at every column anew, which takes most of the time that a
    # small song has; this one takes the arrays as they are.
    return pd.DataFrame._from_arrays(
        arrays,
        columns=_LABELS[table.name],
        index=pd.RangeIndex(len(arrays[0])),
        verify_integrity=False,
    )


_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)
_FEW = 400  # rows up to which a plain list is quicker than to call on pyarrow


def text_column(labels: Sequence[str | None], codes: Any = None) -> Any:
    """Return a column of text: the labels, or the label at each code (-1 for none)."""
    if codes is not None and len(codes) <= _FEW:
        known = [*labels, None]  # which -1 picks
        labels, codes = [known[code] for code in np.asarray(codes).tolist()], None
    values = pa.array(labels, type=pa.large_string())
    if codes is not None:
        codes = np.asarray(codes)
        values = values.take(pa.array(codes, mask=codes < 0))
    return pd.arrays.ArrowStringArray(values, dtype=_TEXT)  # type: ignore[call-arg]


def integer_column(values: Any, missing: Any = None) -> Any:
    """Return a column of integers that may lack some; `missing` is True where one is lacking."""
    values = np.asarray(values, dtype=np.int64)
    mask = np.zeros(len(values), dtype=bool) if missing is None else np.asarray(missing, dtype=bool)
    return pd.arrays.IntegerArray(np.where(mask, 1, values), mask)


def object_column(values: Sequence[Any]) -> Any:
    """Return a column of tuples or None."""
    return np.fromiter(values, dtype=object, count=len(values))


def _as_dtype(values: pd.Series[Any], dtype: str, table: str) -> pd.Series[Any]:
    if str(values.dtype) == dtype:
        return values
    try:
        changed = values.astype(dtype)  # type: ignore[call-overload]
    except (TypeError, ValueError) as error:
        raise TableError(
            f"table '{table}', column '{values.name}': {error}; its values are {dtype}"
        ) from None
    if dtype in ("int64", "bool"):
        lost = (changed != values).to_numpy(dtype=bool, na_value=True)
        if lost.any():
            row = int(np.argmax(lost))
            raise TableError(
                f"table '{table}', column '{values.name}', row {row}: {_told(values.iloc[row])}; "
                f"its values are {dtype}"
            )
    return changed  # type: ignore[no-any-return]


def _told(value: Any) -> str:
    return repr(value.item() if isinstance(value, np.generic) else value)


def _check_columns(columns: Columns, table: Table) -> None:
    for column in table.columns:
        if column.needed and column.dtype not in ("int64", "bool"):
            _check_filled(columns[column.name], column, table.name)
        if column.allowed:
            _check_allowed(columns[column.name], column, table.name)
        if column.within:
            _check_within(columns[column.name], column, table.name, *column.within)
    for name in table.unique_by:
        _check_unique(columns[name], name, table)


def _check_filled(values: Any, column: Column, table: str) -> None:
    if column.dtype == "str" and not pa.array(values).null_count:
        return  # Arrow knows at once
    if column.dtype == "float64":
        bad = ~np.isfinite(values)
        if column.name == "duration":
            bad |= np.asarray(values) < 0
        if column.name == "tempo":
            bad |= np.asarray(values) <= 0
    else:
        bad = pd.isna(values)
    if bad.any():
        row = int(np.argmax(bad))
        raise TableError(
            f"table '{table}', column '{column.name}', row {row}: {_told(values[row])}; "
            f"a value is needed here ({column.meaning})"
        )


def _distinct(values: Any) -> set[Any]:
    """The values that occur; of many texts, Arrow tells without an object for each."""
    if isinstance(values, np.ndarray):
        return set(values.tolist())
    array = pa.array(values)
    return set((array if len(array) <= _FEW else array.unique()).to_pylist())


def _check_allowed(values: Any, column: Column, table: str) -> None:
    foreign = _distinct(values) - set(column.allowed)
    if foreign:
        raise TableError(
            f"table '{table}', column '{column.name}': {min(foreign)!r}; "
            f"it is one of {', '.join(column.allowed)}"
        )


def _check_within(values: Any, column: Column, table: str, least: float, most: float) -> None:
    numbers = np.asarray(values)
    outside = (numbers < least) | (numbers > most)
    if outside.any():
        row = int(np.argmax(outside))
        raise TableError(
            f"table '{table}', column '{column.name}', row {row}: {_told(values[row])}; "
            f"it lies between {least} and {most}"
        )


def _check_unique(values: Any, name: str, table: Table) -> None:
    if len(_distinct(values)) < len(values):
        row = int(np.argmax(pd.Series(values).duplicated().to_numpy()))
        raise TableError(
            f"table '{table.name}', row {row}: a second row has {name} {_told(values[row])}; "
            f"each row is {table.row}"
        )


@dataclass(frozen=True)
class Song:
    """Five checked tables and a little about where they come from.

    ``dataclasses.replace(song, notes=...)`` gives a changed copy, checked again; nothing is
    changed in place.

    Parameters
    ----------
    parts, sections, measures, chords, notes : DataFrame
        Tables as ``describe`` tells.
    title : str
    source : str
        The file it was read from, or empty.
    fingerprint : str
        SHA-256 of that file's bytes, or empty.
    notices : tuple of str
        What the reader had to repair, assume or leave out, a sentence each.

    Raises
    ------
    TableError
        If a table breaks its schema, names a part, section or measure that does not exist, or
        is not in order of time where it must be.
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

    def __post_init__(self) -> None:
        for table in SONG_TABLES:
            object.__setattr__(self, table.name, check_table(getattr(self, table.name), table))
        _check_across({table.name: getattr(self, table.name) for table in SONG_TABLES})

    @classmethod
    def from_columns(cls, columns: Mapping[str, Columns], **about: Any) -> Song:
        """Return a Song from whole columns, table by table; checked like any other, but fast.

        Parameters
        ----------
        columns : mapping of table name to a mapping of column name to array
        **about
            title, source, fingerprint, notices.
        """
        song = object.__new__(cls)
        for table in SONG_TABLES:
            object.__setattr__(song, table.name, make_table(columns[table.name], table))
        for name in ("title", "source", "fingerprint", "notices"):
            object.__setattr__(song, name, about.get(name, getattr(cls, name)))
        _check_across(columns)
        return song

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

    def beat(self, onset: Any, measure: Any) -> Any:
        """Return the place in the bar, from 1, counted in the lower number of its meter."""
        rows = np.asarray(measure) - 1
        starts = self.measures["onset"].to_numpy()[rows]
        units = self.measures["meter"].str.extract(r"/(\d+)$")[0].astype("float64").fillna(4.0)
        return 1 + (np.asarray(onset) - starts) * units.to_numpy()[rows] / 4


# Which columns of which tables must name rows of another.
_KNOWN = (
    ("part", "parts", ("notes",)),
    ("measure", "measures", ("notes", "chords")),
    ("section", "sections", ("measures", "notes", "chords")),
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
        names = _distinct(known)
        for user in users:
            unknown = _distinct(tables[user][column]) - names
            if unknown:
                raise TableError(
                    f"table '{user}': there is no {column} {min(unknown)!r}; "
                    f"there are {known[:12].tolist()}"
                )
