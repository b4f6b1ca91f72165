"""A section as fret pictures and a rhythm line, where it is made of shapes.

``explaining.held_shapes`` finds the shapes and their names, and says whether they can be drawn; if
not, a section is left to notation. Octaves and power chords are one shape that moves: where it has
one place in every bar, that stands with the bar's chords, else over each count.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.explaining.held_shapes import (
    Held,
    SectionShapes,
    Struck,
    bar_grids,
    struck_of,
)
from arrange.explaining.movable_shapes import MovableShape, circled
from arrange.explaining.part_sections import Stay
from arrange.explaining.playing_kinds import OCTAVES, POWER
from arrange.explaining.strokes import DOWN, STRUM, UP, strum_strokes
from arrange.guitar.fret_counting import shown_fret
from arrange.guitar.necks import Neck, Shape
from arrange.handouts.excerpts import chords_within
from arrange.tables.schemas import NUT
from arrange.tables.song import Song
from arrange.theory.meters import BarGrid

HELD, SILENT, MUTED = "–", "·", "×"
STROKES = (DOWN, UP)
DRAWN_IN_MARKS = ("muted",)  # techniques that need no words
_AFTER = 4.0  # quarter notes behind a section: a shape struck early has its chord there
_NEAR = 1e-6
_TITLES = {OCTAVES: "octaves", POWER: "power"}


@dataclass(frozen=True)
class StrumBar:
    """A bar as counts, what the picking hand does at each, and the labels of its shapes.

    `marks` holds an arrow for a strum, down or up, a cross for a muted one, string numbers for one
    or two strings (1 is the highest), a dash where it rings on, a dot for silence; or the fret of
    a shape that moves. `labels` are those of the bar's shapes in order where its chord symbols do
    not name them, else none, or the fret of a shape that moves;
    `since` has the count of each that comes after the first, which has none.
    """

    labels: tuple[str, ...]
    counts: tuple[str, ...]
    marks: tuple[str, ...]
    since: tuple[str, ...] = ()


@dataclass(frozen=True)
class StrumSection:
    """A section's shapes, each with its label, and its bars.

    `fingers` are those of a shape, by its label; `movable` are shapes that move, instead of others.
    """

    shapes: tuple[tuple[str, Shape], ...]
    bars: tuple[StrumBar, ...]
    fingers: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    movable: tuple[MovableShape, ...] = ()


def movable_of(strums: Iterable[StrumSection]) -> list[MovableShape]:
    """Return the shapes that move of all these sections."""
    return [shape for each in strums for shape in each.movable]


def movable_title(shape: MovableShape, every: Sequence[MovableShape]) -> str:
    """Return what stands over the picture of a shape that moves: with its string, where `every`
    one of its part has not the same.
    """
    string = f" {circled(shape.string)}" if len({each.string for each in every}) > 1 else ""
    return _TITLES[shape.kind] + string


def strum_sections(
    song: Song,
    notes: pd.DataFrame,
    stays: Sequence[Stay],
    shapes: Mapping[str, SectionShapes],
    necks: Mapping[str, Neck],
    frets_from: str = NUT,
) -> dict[str, StrumSection]:
    """Return the sections that are made of shapes, by name; parameters as in ``strum_section``.

    `shapes` and `necks` have those of each section, as ``part_shapes`` gives and takes them; frets
    of shapes that move are counted from the nut or the capo. A section that is played as another,
    under the same chords and keys, is worked out once.
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
            own_shapes = shapes.get(stay.section)
            known[key] = strum_section(song, notes, stay, own_shapes, (neck.capo, frets_from))
        own = known[key]
        if own:
            found[stay.section] = own
    return found


def strum_section(
    song: Song,
    notes: pd.DataFrame,
    stay: Stay,
    shapes: SectionShapes | None,
    counting: tuple[int, str] = (0, NUT),
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
    counting : (int, str)
        The capo, and where printed frets count from.
    """
    if shapes is None or not shapes.is_drawn:
        return None
    inside = notes[notes["section"] == stay.section]
    before = (notes["onset"] + notes["duration"])[notes["onset"] < stay.onset - _NEAR].max()
    struck = struck_of(inside.assign(end=inside["onset"] + inside["duration"]))
    rhythm = _rhythm(song, struck, stay, before)
    if shapes.movable:
        return _movable_section(struck, rhythm, shapes, counting)
    held, labels = shapes.held, shapes.labels
    numbered = {each.chord for each, label in zip(held, labels, strict=True)
                if label != each.chord}  # fmt: skip
    bars = []
    for bar in rhythm:
        inside = [(label, each) for label, each in zip(labels, held, strict=True)
                  if bar.number in each.bars]  # fmt: skip
        is_named = any(
            each.chord in numbered
            or not each.symbol
            or (each.is_early and bar.number == each.bars[0])
            for _, each in inside
        )
        named = [next(run) for _, run in itertools.groupby(inside, key=itemgetter(0))]
        since = [bar.said(each.onset) for _, each in named[1:]]
        marks = tuple(_mark(struck, time, held, mark) for time, mark in bar.marks)
        own = tuple(label for label, _ in named) if is_named else ()
        bars.append(StrumBar(own, bar.counts, marks, ("", *since) if own else ()))
    return StrumSection(shapes.whole, tuple(bars), shapes.fingers)


class _BarRhythm(NamedTuple):
    """A bar's counts; at the time of each what the picking hand does with a whole shape."""

    number: int
    start: float
    grid: BarGrid
    marks: list[tuple[float, str]]

    @property
    def counts(self) -> tuple[str, ...]:
        return tuple(self.grid.counts)

    def said(self, onset: float) -> str:
        return self.grid.said[round((onset - self.start) / self.grid.slot)]


def _rhythm(song: Song, struck: Struck, stay: Stay, rings_until: float) -> list[_BarRhythm]:
    """The bars of a section; what was struck before it rings until `rings_until`."""
    grids = {
        bar: grid
        for bar, grid in bar_grids(song, struck, stay.first, stay.last).items() if grid
    }  # fmt: skip
    swings = max((grid.parts for grid in grids.values()), default=1)
    starts = song.measures["onset"].tolist()
    bars = []
    for bar, grid in grids.items():
        strokes = strum_strokes(grid, swings)
        times = [starts[bar - 1] + grid.slot * n for n in range(len(strokes))]
        marks = [
            (time, _hand(struck, time, rings_until, stroke))
            for time, stroke in zip(times, strokes, strict=True)
        ]
        bars.append(_BarRhythm(bar, starts[bar - 1], grid, marks))
    return bars


def _movable_section(
    struck: Struck, rhythm: Sequence[_BarRhythm], shapes: SectionShapes, counting: tuple[int, str]
) -> StrumSection:
    """Octaves and power chords: the place of each bar, or of each count where a bar has several."""
    rows = []
    for bar in rhythm:
        places = [_place(struck, time) if mark in STROKES else None for time, mark in bar.marks]
        rows.append((bar, places))
    is_still = all(len(set(filter(None, places))) < 2 for _, places in rows)
    has_strings = len(shapes.movable) > 1
    bars = []
    for bar, places in rows:
        marks, labels, string = [mark for _, mark in bar.marks], list[str](), 0
        for n, place in enumerate(places):
            if not place:
                continue
            circle = circled(place[0]) if has_strings and place[0] != string else ""
            string, fret = place[0], shown_fret(place[1], *counting)
            if not is_still:
                marks[n] = "+".join(filter(None, [circle, str(fret)]))
            elif not labels:
                labels = [" ".join(filter(None, [circle, f"fret {fret}" if fret else "open"]))]
        bars.append(StrumBar(tuple(labels), bar.counts, tuple(marks), ("",) * len(labels)))
    return StrumSection((), tuple(bars), movable=shapes.movable)


def _place(struck: Struck, time: float) -> tuple[int, int]:
    """The lowest string that is struck, and its fret."""
    here = np.flatnonzero(np.abs(struck.onset - time) < _NEAR)
    lowest = here[struck.string[here].argmax()]
    return int(struck.string[lowest]), int(struck.fret[lowest])


def _hand(struck: Struck, time: float, rings_until: float, stroke: str) -> str:
    """What the picking hand does, if it strikes all that it holds."""
    here = np.abs(struck.onset - time) < _NEAR
    if not here.any():
        rings = (struck.onset < time - _NEAR) & (struck.end > time + _NEAR)
        return HELD if rings.any() or rings_until > time + _NEAR else SILENT
    return MUTED if struck.is_muted[here].all() else stroke


def _mark(struck: Struck, time: float, held: Sequence[Held], mark: str) -> str:
    """The same where it may strike single strings."""
    if mark not in STROKES:
        return mark
    here = np.abs(struck.onset - time) < _NEAR
    shape = next(each for each in reversed(held) if each.onset <= time + _NEAR)
    if here.sum() >= min(STRUM, len(shape.strings)):
        return mark
    return "+".join(map(str, sorted(struck.string[here].tolist(), reverse=True)))
