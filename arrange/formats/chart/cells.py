"""What a part plays, and the chords, as the texts of bars: shapes, notes, counts.

Notes of a voice that sound into each other go into rows of their own.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pandas as pd

from arrange.errors import ArrangeError, shown
from arrange.formats.chart.header import Meter, Part
from arrange.formats.chart.items import TECHNIQUE_WORDS, is_shared
from arrange.song_size import MOST_FRETS
from arrange.tables.schemas import CAPO
from arrange.tables.setups import by_section, section_at
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.theory.pitch import note_name

_WORDS = {technique: word for word, technique in TECHNIQUE_WORDS.items()}
_QUARTERS = {Fraction(0): "", Fraction(1, 4): "e", Fraction(1, 2): "&", Fraction(3, 4): "a"}
_FINEST = 1_000_000  # denominator of times in quarter notes


@dataclass(frozen=True)
class Event:
    """Notes of one layer that begin and end together; times in quarter notes of the song."""

    onset: Fraction
    end: Fraction
    token: str
    words: str
    grace: bool


def exact(value: float) -> Fraction:
    """A time of the tables as the fraction that it stands for."""
    return Fraction(value).limit_denominator(_FINEST)


def part_layers(song: Song, parts: Sequence[Part]) -> list[tuple[str, list[Event]]]:
    """The rows of each part: its label, and events that do not sound into each other."""
    layers: list[tuple[str, list[Event]]] = []
    keys = [key if isinstance(key, str) else None for key in song.measures["key"]]
    notes = song.notes.assign(capo=_capos(song))
    for part in parts:
        own = notes[notes["part"] == part.label]
        voices = own["voice"].fillna("1")
        for number, voice in enumerate(dict.fromkeys(voices), 1):
            rows: list[list[Event]] = []
            for event in _events(own[voices == voice], part, keys):
                row = next((r for r in rows if r[-1].end <= event.onset), None)
                if row is None:
                    rows.append([event])
                else:
                    row.append(event)
            name = voice if re.fullmatch(r"[^\s,|:#]+", voice) else f"n{number}"
            label = part.label if name == "1" else f"{part.label}, voice {name}"
            layers += [(label, row) for row in rows]
    return layers


def _capos(song: Song) -> Array:
    """The capo of each note's part, in the section in whose bars the note is written."""
    part = pd.Index(song.parts["part"]).get_indexer(pd.Index(song.notes["part"]))
    return by_section(song, "capo")[part, section_at(song, song.notes["onset"])]


def _events(notes: Any, part: Part, keys: Sequence[str | None]) -> list[Event]:
    """Notes that begin and end together with the same technique, as one token each."""
    groups: dict[tuple[Any, ...], list[Any]] = {}
    for row in notes.itertuples():
        kind = "hit" if row.pitch != row.pitch else "shape" if _fits(row, part) else "name"
        technique = row.technique if isinstance(row.technique, str) else ""
        key = (exact(row.onset), not row.grace, exact(row.duration), kind, technique)
        groups.setdefault(key, []).append(row)
    timeless = notes[~notes["grace"] & (notes["duration"] <= 0)]
    if len(timeless):
        raise ArrangeError(
            f"measure {timeless['measure'].iloc[0]}: a note of {shown(part.label)} has no length; "
            "a chart can hold only grace notes of no length"
        )
    events = []
    for (onset, timed, duration, kind, technique), rows in sorted(
        groups.items(), key=lambda item: item[0][:2]
    ):
        words = [_WORDS[word] for word in technique.split(", ") if word in _WORDS]
        if not timed:
            words.append("grace")
        for token in _tokens(rows, kind, part, keys[rows[0].measure - 1]):
            events.append(Event(onset, onset + duration, token, " ".join(words), not timed))
    return events


def _fits(row: Any, part: Part) -> bool:
    """Whether a note's string and fret give its pitch, so that a shape can hold it."""
    if pd.isna(row.string) or pd.isna(row.fret):
        return False
    index = len(part.tuning) - row.string
    return (
        0 <= index < len(part.tuning)
        and row.capo <= row.fret <= MOST_FRETS
        and part.tuning[index] + row.fret == row.pitch
    )


def _tokens(rows: Sequence[Any], kind: str, part: Part, key: str | None) -> list[str]:
    if kind == "hit":
        return ["hit"] * len(rows)
    if kind == "name":
        return [",".join(note_name(round(row.pitch * 2) / 2, key) for row in rows)]
    tokens = []
    rest = list(rows)
    while rest:  # a second note on a string needs a shape of its own
        frets = ["x"] * len(part.tuning)
        later = []
        for row in rest:
            index = len(part.tuning) - row.string
            if frets[index] == "x":
                frets[index] = str(row.fret - (row.capo if part.frets_from == CAPO else 0))
            else:
                later.append(row)
        tokens.append(("-" if any(len(fret) > 1 for fret in frets) else "").join(frets))
        rest = later
    return tokens


def layer_cells(
    events: Sequence[Event],
    starts: Sequence[Fraction],
    ends: Sequence[Fraction],
    meters: Sequence[Meter],
) -> list[str]:
    """The cell of each bar of a layer."""
    cells, at = [], 0
    sounding: Fraction = Fraction(-1)  # until when the last event sounds
    for start, end, meter in zip(starts, ends, meters, strict=True):
        items: list[tuple[Fraction, str, bool]] = []
        place, struck = start, ""
        if sounding > start:
            items.append((start, "~", False))
            place = min(sounding, end)
        while at < len(events) and events[at].onset < end:
            event = events[at]
            at += 1
            if event.onset > place:
                items.append((place, ".", False))
            again = event.token == struck and len(struck) > 3 and not event.grace
            text = f"{'/' if again else event.token} {event.words}".strip()
            struck = struck if event.grace else event.token
            items.append((event.onset, text, event.grace))
            place = max(min(event.end, end), event.onset)
            sounding = max(sounding, event.end)
        if place < end and any(not grace for *_, grace in items):
            items.append((place, ".", False))
        cells.append(_cell(items, start, end, meter))
    return cells


def chord_cells(
    song: Song, starts: Sequence[Fraction], ends: Sequence[Fraction], meters: Sequence[Meter]
) -> list[str]:
    chords = [
        (exact(onset), symbol)
        for onset, symbol in zip(song.chords["onset"], song.chords["symbol"], strict=True)
    ]
    cells, at, holds = [], 0, "."
    for start, end, meter in zip(starts, ends, meters, strict=True):
        items: list[tuple[Fraction, str, bool]] = []
        while at < len(chords) and chords[at][0] < end:
            if not items and chords[at][0] > start:
                items.append((start, holds, False))
            items.append((*chords[at], False))
            holds = "~"
            at += 1
        cells.append(_cell(items, start, end, meter) if items else holds)
    return cells


def _cell(
    items: Sequence[tuple[Fraction, str, bool]], start: Fraction, end: Fraction, meter: Meter
) -> str:
    """Items as text: alone, in even shares, or with their counts."""
    if not items:
        return "."
    timed = [onset for onset, _, grace in items if not grace]
    shares = {b - a for a, b in pairwise([*timed, end])}
    even = len(shares) == 1 and timed and timed[0] == start
    # A grace note without a count belongs to the item behind it.
    bound = all(
        not grace or (index + 1 < len(items) and items[index + 1][0] == onset)
        for index, (onset, _, grace) in enumerate(items)
    )
    if even and bound and (len(timed) == 1 or is_shared(next(iter(shares)), meter.beat)):
        return " ".join(text for _, text, _ in items)
    return " ".join(f"{_count((onset - start) / meter.beat)} {text}" for onset, text, _ in items)


def _count(beats: Fraction) -> str:
    whole, rest = divmod(beats, 1)
    if rest in _QUARTERS:
        return f"{whole + 1}{_QUARTERS[rest]}:"
    return f"{whole + 1}+{rest.numerator}/{rest.denominator}:"
