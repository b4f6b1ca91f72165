"""A section as fret pictures and a rhythm line, where it is made of shapes.

``explaining.held_shapes`` finds the shapes and their names. A section in which a shape would hold a
single string, or the rhythm fits no count, is a line and no row of shapes: it is left to notation.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd

from arrange.explaining.held_shapes import Held, SectionShapes, Struck, part_shapes, struck_of
from arrange.explaining.part_sections import Stay
from arrange.explaining.strokes import DOWN, STRUM, UP, strum_strokes
from arrange.guitar.necks import Neck, Shape
from arrange.handouts.excerpts import chords_within
from arrange.tables.song import Song
from arrange.theory.meters import BarGrid, bar_grid

HELD, SILENT, MUTED = "–", "·", "×"
STROKES = (DOWN, UP)
DRAWN_IN_MARKS = ("muted",)  # techniques that need no words
MOST_SHAPES = 14  # a section that needs more is easier to read as notation; by eye

_FEWEST = 2  # strings of a shape, of which no section of shapes holds fewer
_AFTER = 4.0  # quarter notes behind a section: a shape struck early has its chord there
_NEAR = 1e-6


@dataclass(frozen=True)
class StrumBar:
    """A bar as counts, what the picking hand does at each, and the labels of its shapes.

    `marks` holds an arrow for a strum, down or up, a cross for a muted one, string numbers for one
    or two strings (1 is the highest), a dash where it rings on, a dot for silence. `labels` are
    those of the bar's shapes in order where its chord symbols do not name them, else none;
    `since` has the count of each that comes after the first, which has none.
    """

    labels: tuple[str, ...]
    counts: tuple[str, ...]
    marks: tuple[str, ...]
    since: tuple[str, ...] = ()


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
    shapes = part_shapes(song, notes, necks)
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
            known[key] = strum_section(song, notes, stay, shapes.get(stay.section))
        own = known[key]
        if own:
            found[stay.section] = own
    return found


def strum_section(
    song: Song, notes: pd.DataFrame, stay: Stay, shapes: SectionShapes | None
) -> StrumSection | None:
    """Return a section as shapes and rhythm, or None where it is none of that.

    Parameters
    ----------
    song : Song
    notes : a notes table
        The part's own, with string and fret.
    stay : Stay
    shapes : SectionShapes
        Of the section, as ``part_shapes`` gives them; none where it has no shapes.
    """
    inside = notes[notes["section"] == stay.section]
    rings_until = (notes["onset"] + notes["duration"])[notes["onset"] < stay.onset - _NEAR].max()
    is_placed = not inside[["string", "fret"]].isna().to_numpy().any()
    if shapes is None or not is_placed or inside["grace"].any():
        return None
    held, labels = shapes.held, shapes.labels
    is_line = not all(labels) or any(len(each.strings) < _FEWEST for each in held)
    if is_line or len(shapes.whole) > MOST_SHAPES:
        return None
    struck = struck_of(inside.assign(end=inside["onset"] + inside["duration"]))
    numbered = {each.chord for each, label in zip(held, labels, strict=True)
                if label != each.chord}  # fmt: skip
    grids = {bar: _grid(song, struck, bar) for bar in range(stay.first, stay.last + 1)}
    swings = max((grid.parts for grid in grids.values() if grid), default=1)
    bars = []
    for measure, grid in grids.items():
        if grid is None:
            return None
        start = float(song.measures["onset"].iloc[measure - 1])
        inside = [(label, each) for label, each in zip(labels, held, strict=True)
                  if measure in each.bars]  # fmt: skip
        is_named = any(
            each.chord in numbered or not each.symbol or (each.is_early and measure == each.bars[0])
            for _, each in inside
        )
        named = [next(run) for _, run in itertools.groupby(inside, key=itemgetter(0))]
        since = [grid.said[round((each.onset - start) / grid.slot)] for _, each in named[1:]]
        strokes = strum_strokes(grid, swings)
        marks = tuple(
            _mark(struck, start + grid.slot * n, held, rings_until, stroke)
            for n, stroke in enumerate(strokes)
        )
        own = tuple(label for label, _ in named) if is_named else ()
        bars.append(StrumBar(own, tuple(grid.counts), marks, ("", *since) if own else ()))
    return StrumSection(shapes.whole, tuple(bars))


def _grid(song: Song, struck: Struck, measure: int) -> BarGrid | None:
    """The coarsest count that fits all attacks of a bar."""
    row = song.measures.iloc[measure - 1]
    attacks = struck.onset[struck.measure == measure] - float(row["onset"])
    return bar_grid(row["meter"], float(row["duration"]), attacks.tolist())


def _mark(
    struck: Struck, time: float, held: Sequence[Held], rings_until: float, stroke: str
) -> str:
    """What the picking hand does; what was struck before the section rings until `rings_until`."""
    here = np.abs(struck.onset - time) < _NEAR
    if not here.any():
        rings = (struck.onset < time - _NEAR) & (struck.end > time + _NEAR)
        return HELD if rings.any() or rings_until > time + _NEAR else SILENT
    if struck.is_muted[here].all():
        return MUTED
    shape = next(each for each in reversed(held) if each.onset <= time + _NEAR)
    if here.sum() >= min(STRUM, len(shape.strings)):
        return stroke
    return "+".join(map(str, sorted(struck.string[here].tolist(), reverse=True)))
