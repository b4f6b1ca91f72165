"""Songs written as a few literal rows.

A row is (part, notes, onset, duration): notes by name, separated by blanks, or one MIDI number;
time in quarter notes. A part is a guitar unless its name says bass, voice, keys or drums. The tempo
is 60 quarter notes a minute unless given, so that a quarter note lasts a second.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from arrange.tables.schema_check import check_table
from arrange.tables.schemas import CHORDS, NOTES, PARTS
from arrange.tables.song import Song
from arrange.theory.chords import Degree, chord_intervals
from arrange.theory.meters import meter_quarters
from arrange.theory.pitch import parse_note

Row = tuple[Any, ...]
FAMILIES = ("bass", "voice", "keys", "drums")


def notes_of(*rows: Row, bar: float = 4.0, sections: Sequence[tuple[str, int]] = (("Song", 1),),
             **more: Any) -> pd.DataFrame:  # fmt: skip
    """Return a notes table; `sections` are (label, first measure), `more` sets whole columns."""
    single = [
        (part, pitch, float(onset), float(duration))
        for part, pitches, onset, duration in rows
        for pitch in (map(parse_note, pitches.split()) if isinstance(pitches, str) else [pitches])
    ]
    part, pitch, onset, duration = zip(*single, strict=True) if single else ((),) * 4
    measure = [int(at // bar) + 1 for at in onset]
    columns = {
        "part": pd.array(part, dtype="str"),
        "onset": onset,
        "duration": duration,
        "measure": measure,
        "section": pd.array([_section(bar_, sections) for bar_ in measure], dtype="str"),
        "pitch": pitch,
        "voice": None,
        "string": None,
        "fret": None,
        "technique": None,
        "grace": False,
        "source_id": [f"n{number}" for number in range(1, len(single) + 1)],
    } | more
    return check_table(pd.DataFrame(columns, index=range(len(single))), NOTES)


def parts_of(*names: str, **more: Any) -> pd.DataFrame:
    """Return a parts table; `more` sets whole columns."""
    columns = {
        "part": names,
        "instrument": names,
        "family": [_family(name) for name in names],
        "tuning": None,
        "capo": 0,
        "transpose": 0,
        "drive": "clean",
        "echo": None,
        "level": 0.0,
        "program": None,
        "player": None,
    } | more
    return check_table(pd.DataFrame(columns, index=range(len(names))), PARTS)


def song(
    *rows: Row,
    parts: Sequence[str] | pd.DataFrame = (),
    meter: str = "4/4",
    tempo: float | Sequence[float] = 60.0,
    key: str | None = None,
    sections: Sequence[tuple[str, int]] = (("Song", 1),),
    chords: Sequence[Row] = (),
    bars: int = 0,
    **about: Any,
) -> Song:
    """Return a Song; chords are (onset, root, kind, bass or None, (degree, alter, type), ...)."""
    bar = float(meter_quarters(meter) or 4)
    notes = notes_of(*rows, bar=bar, sections=sections)
    end = (notes["onset"] + notes["duration"]).max() if len(notes) else 0.0
    bars = max(bars, math.ceil(end / bar - 1e-9), max(first for _, first in sections), 1)
    if not isinstance(parts, pd.DataFrame):
        parts = parts_of(*(parts or dict.fromkeys(notes["part"])))
    measures = pd.DataFrame(
        {
            "measure": range(1, bars + 1),
            "written": [str(number) for number in range(1, bars + 1)],
            "section": [_section(number, sections) for number in range(1, bars + 1)],
            "onset": [bar * number for number in range(bars)],
            "duration": bar,
            "meter": meter,
            "key": key,
            "tempo": tempo,
        }
    )
    firsts = [first for _, first in sections]
    lasts = [first - 1 for first in firsts[1:]] + [bars]
    stretches = pd.DataFrame(
        {
            "section": [label for label, _ in sections],
            "kind": "other",
            "pass": 1,
            "first_measure": firsts,
            "last_measure": lasts,
            "onset": [bar * (first - 1) for first in firsts],
            "duration": [
                bar * (last - first + 1) for first, last in zip(firsts, lasts, strict=True)
            ],
        }
    )
    return Song(parts, stretches, measures, _chords(chords, bar, bars, sections), notes, **about)


def _chords(
    chords: Sequence[Row], bar: float, bars: int, sections: Sequence[tuple[str, int]]
) -> pd.DataFrame:
    ends = [*(chord[0] for chord in chords), bar * bars][1:]
    rows = []
    for (onset, root, kind, bass, *degrees), end in zip(chords, ends, strict=True):
        measure = int(onset // bar) + 1
        intervals = chord_intervals(kind, [Degree(*degree) for degree in degrees])
        members = tuple(dict.fromkeys((root + above) % 12 for above in intervals))
        place = (float(onset), float(end - onset), measure, _section(measure, sections))
        rows.append((*place, kind, root, root if bass is None else bass, kind, members, None))
    return check_table(pd.DataFrame(rows, columns=CHORDS.names), CHORDS)


def _section(measure: int, sections: Sequence[tuple[str, int]]) -> str:
    return [label for label, first in sections if first <= measure][-1]


def _family(name: str) -> str:
    return next((family for family in FAMILIES if family in name.lower()), "guitar")


_SHAPES = (  # usual shapes of G, D, Em, C and their triads higher up (common practice)
    ("G2 B2 D3 G3 B3 G4", "B3 D4 G4", "D4 G4 B4"),
    ("D3 A3 D4 F#4", "F#3 A3 D4", "A3 D4 F#4"),
    ("E2 B2 E3 G3 B3 E4", "G3 B3 E4", "B3 E4 G4"),
    ("C3 E3 G3 C4 E4", "C4 E4 G4", "E4 G4 C5"),
)


def many_guitars(guitars: int, bars: int) -> Song:
    """Return a song of so many guitars that hold, pick or play a line in turn, in one harmony."""
    rows: list[Row] = []
    for guitar in range(guitars):
        name, way = f"Guitar {guitar + 1}", guitar % 3
        for bar in range(bars):
            if (bar // 8 + guitar) % 4 == 3:  # it rests for a section
                continue
            notes = _SHAPES[bar % 4][guitar // 3 % 3]
            start = 4.0 * bar
            if way == 0:
                rows.append((name, notes, start, 4.0))
            else:
                single = notes.split()
                length, late = (0.5, 0) if way == 1 else (1.0, guitar)
                count = int(4 / length)
                rows += [(name, single[(step + late) % len(single)], start + step * length, length)
                         for step in range(count)]  # fmt: skip
    sections = [(f"Verse {at // 8 + 1}", at + 1) for at in range(0, bars, 8)]
    roots = ((7, "major"), (2, "major"), (4, "minor"), (0, "major"))
    chords = [(4.0 * bar, *roots[bar % 4], None) for bar in range(bars)]
    made = song(*rows, sections=sections, chords=chords, bars=bars, tempo=96.0, key="G major")
    symbols = [("G", "D", "Em", "C")[bar % 4] for bar in range(bars)]
    return replace(made, chords=made.chords.assign(symbol=pd.array(symbols, dtype="str")))


def with_setup(made: Song, part: str, section: str, **setup: Any) -> Song:
    """The song with another drive, echo or capo, or layers, of one part in one section."""
    usual = made.parts.set_index("part").loc[part, ["drive", "echo", "capo"]].to_dict()
    row = {"part": part, "section": section, **usual, "layers": None, **setup}
    rows = [*made.setups.to_dict("records"), row]
    return replace(made, setups=pd.DataFrame(rows))
