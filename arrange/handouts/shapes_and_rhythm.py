"""A section as fret pictures and a rhythm line, where it is made of shapes.

Attacks under one chord symbol belong to one shape as long as no string needs a second fret. A
shape has the name of the chord that holds where it is struck, or of the next chord where it is
struck within a beat before that chord and rings longer under it; a second shape under the same
chord is numbered. Only where no symbol holds does a shape have a name of its own. A section in
which a shape would hold a single string, or the rhythm fits no count, is a line and no row of
shapes: it is left to notation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.necks import LEFT_OUT, Array, Neck, Shape
from arrange.guitar.shape_names import name_shape
from arrange.handouts.excerpts import chords_within
from arrange.handouts.part_sections import Stay
from arrange.tables.song import Song
from arrange.theory.meters import bar_counts, beat_quarters, is_compound

STRUCK, HELD, SILENT, MUTED = "▼", "–", "·", "×"
MOST_SHAPES = 14  # a section that needs more is easier to read as notation; by eye

_STRUM = 3  # strings from which an attack is a strum; fewer are named
_AFTER = 4.0  # quarter notes behind a section: a shape struck early has its chord there
_NEAR = 1e-6


@dataclass
class _Held:
    """A shape while it is put together: the chord symbol that holds, and what it is called."""

    symbol: str
    onset: float
    is_early: bool = False  # struck before its chord
    chord: str = ""
    strings: dict[int, int] = field(default_factory=dict)
    bars: list[int] = field(default_factory=list)


class _Struck(NamedTuple):
    """The notes of a section, in order of time, whole columns."""

    onset: Array
    end: Array
    measure: Array
    string: Array
    fret: Array
    is_muted: Array


@dataclass(frozen=True)
class StrumBar:
    """A bar as counts, what the picking hand does at each, and the labels of its shapes.

    `marks` holds a triangle for a strum, a cross for a muted one, string numbers for one or two
    strings (1 is the highest), a dash where it rings on, a dot for silence. `labels` are those of
    the bar's shapes in order where its chord symbols do not name them, else none.
    """

    labels: tuple[str, ...]
    counts: tuple[str, ...]
    marks: tuple[str, ...]


@dataclass(frozen=True)
class StrumSection:
    """A section's shapes, each with its label, and its bars."""

    shapes: tuple[tuple[str, Shape], ...]
    bars: tuple[StrumBar, ...]


def strum_sections(
    song: Song, notes: pd.DataFrame, stays: Sequence[Stay], necks: Mapping[str, Neck]
) -> dict[str, StrumSection]:
    """Return the sections that are made of shapes, by name; parameters as in ``strum_section``.

    `necks` has the neck of each section; none where the part has no strings. A section that is
    played as another, under the same chords and keys, is worked out once.
    """
    known: dict[Any, StrumSection | None] = {}
    found = {}
    for stay in (stay for stay in stays if stay.plays and stay.section in necks):
        neck = necks[stay.section]
        rows, onset, duration = chords_within(song, stay.onset, stay.end + _AFTER)
        key = (
            stay.written_as or stay.section, neck,
            tuple(song.chords["symbol"].iloc[rows]),
            tuple((onset - stay.onset).round(6)), tuple(duration.round(6)),
            tuple(song.measures["key"].iloc[stay.first - 1 : stay.last].fillna("")),
        )  # fmt: skip
        if key not in known:
            known[key] = strum_section(song, notes, stay, neck)
        own = known[key]
        if own:
            found[stay.section] = own
    return found


def strum_section(song: Song, notes: pd.DataFrame, stay: Stay, neck: Neck) -> StrumSection | None:
    """Return a section as shapes and rhythm, or None where it is none of that.

    Parameters
    ----------
    song : Song
    notes : a notes table
        The part's own, with string and fret.
    stay : Stay
    neck : Neck
    """
    inside = notes[notes["section"] == stay.section]
    rings_until = (notes["onset"] + notes["duration"])[notes["onset"] < stay.onset - _NEAR].max()
    if inside["grace"].any() or inside[["string", "fret"]].isna().to_numpy().any():
        return None
    struck = _Struck(
        inside["onset"].to_numpy(),
        (inside["onset"] + inside["duration"]).to_numpy(),
        inside["measure"].to_numpy(),
        inside["string"].to_numpy(dtype=np.int64),
        inside["fret"].to_numpy(dtype=np.int64),
        inside["technique"].str.contains("muted", na=False).to_numpy(dtype=bool),
    )
    held = _held_shapes(struck, song)
    if any(len(each.strings) < 2 for each in held):
        return None
    labels, shapes = _labelled(song, held, neck)
    if len(shapes) > MOST_SHAPES:
        return None
    numbered = {each.chord for each, label in zip(held, labels, strict=True)
                if label != each.chord}  # fmt: skip
    bars = []
    for measure in range(stay.first, stay.last + 1):
        own = {
            label: each.chord in numbered
            or not each.symbol
            or (each.is_early and measure == each.bars[0])
            for label, each in zip(labels, held, strict=True)
            if measure in each.bars
        }
        named = tuple(own) if any(own.values()) else ()
        bar = _bar(song, struck, measure, named, held, rings_until)
        if bar is None:
            return None
        bars.append(bar)
    return StrumSection(tuple(shapes), tuple(bars))


def _held_shapes(struck: _Struck, song: Song) -> list[_Held]:
    onsets, first = np.unique(struck.onset, return_index=True)
    rings = np.maximum.reduceat(struck.end, first) if len(first) else first
    rings = np.minimum(rings, np.append(onsets[1:], np.inf))  # each until the next attack
    lines = song.measures["onset"].to_numpy()
    last_bars = np.searchsorted(lines, rings - _NEAR, side="left")
    meters = song.measures["meter"].tolist()
    beats = np.array([beat_quarters(meters[bar - 1]) for bar in struck.measure[first].tolist()])
    places, is_early = _chord_places(song, onsets, rings, beats)
    symbols = song.chords["symbol"].tolist()
    held: list[_Held] = []
    before = -1
    for attack, (onset, place) in enumerate(zip(onsets.tolist(), places.tolist(), strict=True)):
        own = np.flatnonzero(struck.onset == onset)
        strings = dict(zip(struck.string[own].tolist(), struck.fret[own].tolist(), strict=True))
        clash = held and any(held[-1].strings.get(s, f) != f for s, f in strings.items())
        if not held or clash or place != before:
            symbol = symbols[place] if place >= 0 else ""
            held.append(_Held(symbol, onset, bool(is_early[attack])))
        before = place
        held[-1].strings |= strings
        bar = int(struck.measure[own[0]])
        held[-1].bars += range(bar, max(int(last_bars[attack]), bar) + 1)
    return held


def _chord_places(song: Song, onsets: Array, rings: Array, beats: Array) -> tuple[Array, Array]:
    """The row of the chord of each attack, -1 for none, and whether it is struck before its chord.

    An attack rings until `rings`; a beat there has so many quarter notes.
    """
    starts = song.chords["onset"].to_numpy()
    ends = np.append(starts + song.chords["duration"].to_numpy(), -np.inf)
    places = np.searchsorted(starts, onsets + _NEAR, side="right") - 1
    after = np.append(starts, np.inf)[places + 1]
    until = np.minimum(rings, ends[np.minimum(places + 1, len(starts))])
    wait = after - onsets
    is_early = (wait <= beats + _NEAR) & (until - after > wait + _NEAR)
    places = np.where(onsets + _NEAR < ends[places], places, -1)  # a pause between symbols
    return np.where(is_early, np.searchsorted(starts, after), places), is_early


def _labelled(
    song: Song, held: list[_Held], neck: Neck
) -> tuple[list[str], list[tuple[str, Shape]]]:
    """A label for each shape held, and every different shape once under its own label."""
    full: dict[str, list[dict[int, int]]] = {}
    for each in held:  # a shape that is part of another under the same chord is that one
        each.chord = each.symbol or _named(each.strings, neck, song.key_at(each.onset))
        known = full.setdefault(each.chord, [])
        for other in known:
            if all(other.get(s, f) == f for s, f in each.strings.items()) and (
                each.strings.items() <= other.items() or other.items() <= each.strings.items()
            ):
                other |= each.strings
                break
        else:
            known.append(dict(each.strings))
    shapes = [
        (chord if not number else f"{chord} ({number + 1})", _frets(strings, neck))
        for chord, known in full.items()
        for number, strings in enumerate(known)
    ]
    labels = []
    for each in held:
        place = next(n for n, known in enumerate(full[each.chord])
                     if each.strings.items() <= known.items())  # fmt: skip
        labels.append(each.chord if not place else f"{each.chord} ({place + 1})")
    return labels, shapes


def _frets(strings: dict[int, int], neck: Neck) -> Shape:
    return tuple(strings.get(string, LEFT_OUT) for string in range(1, neck.strings + 1))


def _named(strings: dict[int, int], neck: Neck, key: str | None) -> str:
    try:
        named: Any = name_shape(_frets(strings, neck), neck, key)
    except ArrangeError:  # a source may fix what no neck has
        return "shape"
    return str(named.name)


def _bar(
    song: Song,
    struck: _Struck,
    measure: int,
    labels: tuple[str, ...],
    held: list[_Held],
    rings_until: float,
) -> StrumBar | None:
    """A bar's counts and marks on the coarsest count that all attacks fit.

    What was struck before the section rings on until `rings_until`.
    """
    row = song.measures.iloc[measure - 1]
    start, length, meter = float(row["onset"]), float(row["duration"]), row["meter"]
    attacks = struck.onset[struck.measure == measure] - start
    for parts in (3, 6) if is_compound(meter) else (2, 4, 3):
        counts = bar_counts(meter, parts)
        slot = beat_quarters(meter) / parts
        places = attacks / slot
        slots = min(round(length / slot), len(counts))
        if slots and np.allclose(places, np.round(places), atol=1e-4):
            marks = tuple(_mark(struck, start + slot * n, held, rings_until) for n in range(slots))
            # A pickup bar has the last counts of a full one.
            return StrumBar(labels, tuple(counts[len(counts) - slots :]), marks)
    return None


def _mark(struck: _Struck, time: float, held: list[_Held], rings_until: float) -> str:
    here = np.abs(struck.onset - time) < _NEAR
    if not here.any():
        rings = (struck.onset < time - _NEAR) & (struck.end > time + _NEAR)
        return HELD if rings.any() or rings_until > time + _NEAR else SILENT
    if struck.is_muted[here].all():
        return MUTED
    shape = next(each for each in reversed(held) if each.onset <= time + _NEAR)
    if here.sum() >= min(_STRUM, len(shape.strings)):
        return STRUCK
    return "+".join(map(str, sorted(struck.string[here].tolist(), reverse=True)))
