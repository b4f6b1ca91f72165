"""Every table's columns: dtype, unit, meaning, and what may stand in them. Declared once, here.

Conventions: onset and duration are in quarter notes from the start of the song as played;
pitch is the sounding MIDI number (C4 is 60); strings count from 1, the highest; frets count
from the nut, capo or not, so that pitch = open string + fret (``frets_from`` of a part is how its
player reads them, and changes no number here). A missing value is NaN or NA.

``describe("notes")`` prints a table's columns, units and meaning.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from arrange.errors import TableError
from arrange.song_size import (
    MOST_CAPO,
    MOST_CHORDS,
    MOST_FRETS,
    MOST_LEVEL,
    MOST_MEASURES,
    MOST_NOTES,
    MOST_PARTS,
    MOST_SECTIONS,
    MOST_STRINGS,
    MOST_TRANSPOSE,
)


@dataclass(frozen=True)
class Column:
    """One column: its name, pandas dtype, unit and meaning.

    A table may be given without a column that has a default, or that is ``like`` another one.
    """

    name: str
    dtype: str
    unit: str
    meaning: str
    needed: bool = True
    allowed: tuple[str, ...] = ()
    within: tuple[float, float] | None = None
    default: str | None = None
    like: str | None = None


@dataclass(frozen=True)
class Table:
    """A table's schema: its name, the columns that together keep its rows apart, all, most rows."""

    name: str
    row: str
    unique_by: tuple[str, ...]
    columns: tuple[Column, ...]
    most: int | None = None

    @property
    def names(self) -> list[str]:
        """The column names, in order."""
        return [column.name for column in self.columns]


FAMILIES = ("guitar", "bass", "voice", "keys", "drums", "other")
DRIVES = ("clean", "edge", "overdriven", "distorted")
FRETS_FROM = NUT, CAPO = ("nut", "capo")
RINGS = RINGING, DRY = ("ringing", "dry")

_ONSET = Column("onset", "float64", "quarter notes", "start, from the start of the song as played")
_DURATION = Column("duration", "float64", "quarter notes", "how long it lasts")
_MEASURE = Column("measure", "int64", "", "played bar, counted from 1")
_SECTION = Column("section", "str", "", "label of the section it lies in")
_SECTION_OF = Column("section", "str", "", "label of the section")

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
        Column("capo", "int64", "frets", "fret of the capo, 0 for none", within=(0, MOST_CAPO)),
        Column("transpose", "int64", "semitones", "added to the written pitch to get the sounding",
               within=(-MOST_TRANSPOSE, MOST_TRANSPOSE)),
        Column("drive", "str", "", ", ".join(DRIVES), allowed=DRIVES),
        Column("echo", "str", "note value", "tempo-synced delay, or none", needed=False),
        Column("level", "float64", "dB", "loudness relative to the loudest part",
               within=(-MOST_LEVEL, MOST_LEVEL)),
        Column("program", "Int64", "General MIDI, 1-128", "sound", needed=False, within=(1, 128)),
        Column("player", "str", "", "who plays it", needed=False),
        Column("frets_from", "str", "", "where its player counts frets from: nut or capo",
               allowed=FRETS_FROM, default=NUT),
        Column("ring", "str", "", "whether its strings ring on after the written end of a note: "
               "ringing, or dry", allowed=RINGS, default=RINGING),
    ),
    most=MOST_PARTS,
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
    most=MOST_SECTIONS,
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
    most=MOST_MEASURES,
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
        Column(
            "root",
            "Int64",
            "pitch class",
            "root, C is 0; none for no chord",
            needed=False,
            within=(0, 11),
        ),
        Column(
            "bass", "Int64", "pitch class", "lowest note asked for", needed=False, within=(0, 11)
        ),
        Column("kind", "str", "", "MusicXML kind value"),
        Column("pitch_classes", "object", "pitch classes", "members as a tuple, root first"),
        Column("degree", "str", "", 'number in the key, such as "5/7"', needed=False),
    ),
    most=MOST_CHORDS,
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
        Column("string", "Int64", "", "string, 1 is the highest", needed=False,
               within=(1, MOST_STRINGS)),
        Column("fret", "Int64", "frets", "from the nut, capo or not; where a string is touched, of "
               "a harmonic", needed=False, within=(0, MOST_FRETS)),
        Column("technique", "str", "", "slide, hammer-on, pull-off, bend, let ring, palm mute, "
               "muted, harmonic, tap, vibrato, cue; several joined by commas", needed=False),
        Column("grace", "bool", "", "a grace note, with duration 0"),
        Column("source_id", "str", "", "the note's id in the source, or n and its place there"),
        Column("sounds", "float64", "quarter notes", "how long it really sounds, ringing on: at "
               "least its duration; a Song computes it", like="duration"),
    ),
    most=MOST_NOTES,
)  # fmt: skip

SETUPS = Table(
    "setups",
    "what a part has in a section, where that is not what its row of parts says",
    ("part", "section"),
    (
        Column("part", "str", "", "label of its part"),
        _SECTION_OF,
        Column("drive", "str", "", ", ".join(DRIVES), allowed=DRIVES),
        Column("echo", "str", "note value", "tempo-synced delay, or none", needed=False),
        Column("capo", "int64", "frets", "fret of the capo, 0 for none", within=(0, MOST_CAPO)),
        Column("layers", "str", "", "the recorded layers that it plays there, joined by ' + '; see "
               "split_parts; none where nothing is known of any", needed=False),
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
        Column("parts", "str", "", "the parts it is between, joined by ' + '; see split_parts"),
        Column("pitches", "str", "", "note names, low to high"),
        Column("value", "float64", "see unit", "what was measured"),
        Column("limit", "float64", "see unit", "the limit it is held against"),
        Column("unit", "str", "", "unit of value and limit"),
        Column(
            "severity",
            "float64",
            "0 to 1",
            "how rare it is that well-made music goes so far: "
            "0.5 at one passage in 32, 0.75 at one in a thousand",
            within=(0, 1),
        ),
        Column("why", "str", "", "one plain sentence, and one that says how rare it is"),
        Column("source", "str", "", "key into the bibliography"),
        Column("notes", "object", "", "the rows of the notes table that make it, a tuple"),
        Column("waived", "str", "", "id of the decision that waives it, or none", needed=False),
    ),
)

SONG_TABLES = (PARTS, SECTIONS, MEASURES, CHORDS, NOTES, SETUPS)
ALL_TABLES = {table.name: table for table in (*SONG_TABLES, FINDINGS)}


def describe(name: str | None = None) -> pd.DataFrame:
    """Return the schema of one table, or of all, a row per column.

    Parameters
    ----------
    name : str, optional
        parts, sections, measures, chords, notes, setups or findings.

    Raises
    ------
    TableError
        If no table has that name.

    Examples
    --------
    >>> import arrange as ar
    >>> ar.describe("chords")[["column", "unit"]].head(3)
         column           unit
    0     onset  quarter notes
    1  duration  quarter notes
    2   measure
    """
    if name is not None and name not in ALL_TABLES:
        raise TableError(f"no table is called {name!r}; there are {', '.join(ALL_TABLES)}")
    tables = ALL_TABLES.values() if name is None else [ALL_TABLES[name]]
    return pd.DataFrame(
        [
            (table.name, column.name, column.dtype, column.unit, column.meaning)
            for table in tables
            for column in table.columns
        ],
        columns=["table", "column", "dtype", "unit", "meaning"],
    )
