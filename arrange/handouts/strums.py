"""A section as fret pictures and a rhythm line, where it is made of shapes.

Attacks under one chord symbol belong to one shape as long as no string needs a second fret. A
shape has the name of the chord that holds where it is struck, also where it is the next chord's,
struck early; a second one under the same chord is numbered. Only where no symbol holds does a
shape have a name of its own. A
section in which a shape would hold a single string, or the rhythm fits no count, is a line and
no row of shapes: it is left to notation.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.necks import LEFT_OUT, Array, Neck, Shape
from arrange.guitar.shape_names import name_shape
from arrange.handouts.excerpts import chords_within
from arrange.handouts.playing import Stay
from arrange.tables.song import Song
from arrange.theory.meters import bar_counts, beat_quarters, is_compound

STRUCK, HELD, SILENT, MUTED = "▼", "–", "·", "×"
MOST_SHAPES = 14  # a section that needs more is easier to read as notation; by eye

_STRUM = 3  # strings from which an attack is a strum; fewer are named
_NEAR = 1e-6


@dataclass
class _Held:
    """A shape while it is put together: the chord symbol that holds, and what it is called."""

    symbol: str
    onset: float
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
    the bar's shapes in order where its chord symbols do not tell them, else none.
    """

    labels: tuple[str, ...]
    counts: tuple[str, ...]
    marks: tuple[str, ...]


@dataclass(frozen=True)
class StrumSection:
    """A section's shapes, each with its label, and its bars."""

    shapes: tuple[tuple[str, Shape], ...]
    bars: tuple[StrumBar, ...]


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
    chords = chords_within(song, stay.onset, stay.end)
    held = _held_shapes(struck, chords)
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
            label: each.chord in numbered or not each.symbol
            for label, each in zip(labels, held, strict=True)
            if measure in each.bars
        }
        told = tuple(own) if any(own.values()) else ()
        bar = _bar(song, struck, measure, told, held, rings_until)
        if bar is None:
            return None
        bars.append(bar)
    return StrumSection(tuple(shapes), tuple(bars))


def _held_shapes(struck: _Struck, chords: pd.DataFrame) -> list[_Held]:
    symbols = chords["symbol"].tolist()
    ends = np.append((chords["onset"] + chords["duration"]).to_numpy(), -np.inf)
    places = np.searchsorted(chords["onset"].to_numpy(), struck.onset + _NEAR, side="right") - 1
    places = np.where(struck.onset + _NEAR < ends[places], places, -1)  # a pause between symbols
    held: list[_Held] = []
    before = -1
    for onset in np.unique(struck.onset):
        own = np.flatnonzero(struck.onset == onset)
        place = int(places[own[0]])
        strings = dict(zip(struck.string[own].tolist(), struck.fret[own].tolist(), strict=True))
        clash = held and any(held[-1].strings.get(s, f) != f for s, f in strings.items())
        if not held or clash or place != before:
            held.append(_Held(symbols[place] if place >= 0 else "", float(onset)))
        before = place
        held[-1].strings |= strings
        held[-1].bars.append(int(struck.measure[own[0]]))
    return held


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
