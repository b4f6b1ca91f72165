"""Which shapes does a hand hold in a part, and what are they called?

Attacks under one chord symbol belong to one shape as long as no string needs a second fret. A
shape has the name of the chord that holds where it is struck, or of the next chord where it is
struck within a beat before that chord and rings longer under it; a second shape under the same
chord is numbered, and has the same number all through a part: first those that a sheet draws, in
order of time, then the others. Only where no symbol holds does a shape have a name of its own. A
single string belongs to a shape that has it, or is none.

A sheet draws the shapes of a section that is made of them: where every shape has two strings or
more, none is of harmonics, and the rhythm fits a count. Octaves and power chords that move have no
names.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.explaining.movable_shapes import MovableShape, movable_shapes
from arrange.guitar.harmonics import NAME
from arrange.guitar.necks import LEFT_OUT, Array, Neck, Shape
from arrange.guitar.shape_names import name_shape
from arrange.tables.song import Song
from arrange.theory.meters import BarGrid, bar_grid, beat_quarters

MOST_SHAPES = 14  # of a section; one that needs more is easier to read as notation; by eye

_NEAR = 1e-6
_FEWEST = 2  # strings of a shape
_CHORD = 3  # strings from which a shape is numbered before smaller ones, where none is drawn

_Strings = dict[int, int]  # string: fret


@dataclass
class Held:
    """A shape while it is put together: the chord symbol that holds, and what it is called."""

    symbol: str
    onset: float
    is_early: bool = False  # struck before its chord
    chord: str = ""
    strings: _Strings = field(default_factory=dict)
    fingers: dict[int, set[int]] = field(default_factory=dict)  # of each string
    bars: list[int] = field(default_factory=list)

    def fingering(self) -> tuple[tuple[int, int], ...]:
        """Return the (string, finger) of a shape; none where a finger changes, is not known, or
        would lie on a string that sounds lower, which it can play in turn but not hold.
        """
        if any(len(own) > 1 or min(own) < 0 for own in self.fingers.values()):
            return ()
        fingers = {string: min(own) for string, own in self.fingers.items()}
        for finger in set(fingers.values()) - {0}:
            own = [string for string, each in fingers.items() if each == finger]
            under = range(min(own), max(own) + 1)
            low, *others = {self.strings[string] for string in own}
            if others or any(self.strings.get(string, low) < low for string in under):
                return ()
        return tuple(sorted(fingers.items()))


class Struck(NamedTuple):
    """The notes of a section, in order of time, whole columns; a finger that nobody knows is -1."""

    onset: Array
    end: Array
    measure: Array
    string: Array
    fret: Array
    finger: Array
    is_muted: Array


@dataclass(frozen=True)
class SectionShapes:
    """The shapes of a section, with labels that are the same all through its part.

    Parameters
    ----------
    held : tuple of Held
        In order of time; one under another comes once a time.
    labels : tuple of str
        Of each that is held; empty where it is a single string that belongs to no shape.
    shapes : tuple of (label, frets)
        Each different shape once, in order of time: the strings that are struck in this section.
    whole : tuple of (label, frets)
        The same, with all strings that it has anywhere in the part.
    fingers : mapping of label to sequence of int
        Of each whole shape, string 1 first, as it is most often held in the part; 0 for none. A
        shape that is never held with the same fingers throughout is not there.
    movable : tuple of MovableShape
        Of octaves and power chords that move; then there are no labels.
    is_drawn : bool
        Whether it is made of shapes, so that a sheet may draw them.
    """

    held: tuple[Held, ...]
    labels: tuple[str, ...] = ()
    shapes: tuple[tuple[str, Shape], ...] = ()
    whole: tuple[tuple[str, Shape], ...] = ()
    fingers: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    movable: tuple[MovableShape, ...] = ()
    is_drawn: bool = False


def part_shapes(
    song: Song, notes: pd.DataFrame, necks: Mapping[str, Neck]
) -> dict[str, SectionShapes]:
    """Return the shapes of each section that a part plays in, labelled as one.

    Parameters
    ----------
    song : Song
    notes : a notes table
        The part's own, with `finger` where it is known. Grace notes, cues, and notes without a
        string and fret are left out.
    necks : mapping of section to Neck
        With the capo of each section that the part plays in.

    A harmonic belongs to no shape.
    """
    spans = {
        row.section: (row.first_measure, row.last_measure) for row in song.sections.itertuples()
    }
    notes = notes[~_is_cue(notes)]
    unplaced = set(notes["section"][~_is_placed(notes) | notes["grace"].to_numpy(dtype=bool)])
    named, found = {}, {}
    for section, own in placed_notes(notes).groupby("section", sort=False):
        name = str(section)
        if name not in necks:
            continue
        is_touched = own["technique"].str.contains(NAME, na=False).to_numpy(dtype=bool)
        struck, neck = struck_of(own[~is_touched]), necks[name]
        held, attacks = held_shapes(struck, song), _attacks(struck)
        movable = () if is_touched.any() else movable_shapes(attacks, neck)
        is_drawn = (
            not is_touched.any()
            and name not in unplaced
            and bool(movable or all(len(each.strings) >= _FEWEST for each in held))
            and all(bar_grids(song, struck, *spans[name]).values())
        )
        found[name] = SectionShapes(
            tuple(held), ("",) * len(held), movable=movable, is_drawn=is_drawn
        )
        if not movable:
            named[name] = _Section(held, neck, is_drawn)
    labels = _Labels(song, named)
    return found | {name: labels.section(name) for name in named}


def bar_grids(song: Song, struck: Struck, first: int, last: int) -> dict[int, BarGrid | None]:
    """Return the coarsest count that fits all attacks of each bar from `first` to `last`."""
    bars = song.measures.iloc[first - 1 : last]
    columns = (bars[name].tolist() for name in ("meter", "duration", "onset"))
    return {
        bar: bar_grid(meter, length, (struck.onset[struck.measure == bar] - start).tolist())
        for bar, meter, length, start in zip(range(first, last + 1), *columns, strict=True)
    }


def _attacks(struck: Struck) -> list[dict[int, tuple[int, int]]]:
    """The fret and finger of each string, attack by attack."""
    first = np.flatnonzero(np.diff(struck.onset, prepend=-np.inf) > _NEAR).tolist()
    columns = (struck.string.tolist(), struck.fret.tolist(), struck.finger.tolist())
    rows = [(string, (fret, finger)) for string, fret, finger in zip(*columns, strict=True)]
    edges = [*first, len(rows)][1:]
    return [dict(rows[start:end]) for start, end in zip(first, edges, strict=True)]


def _is_cue(notes: pd.DataFrame) -> Array:
    return notes["technique"].str.contains("cue", na=False).to_numpy(dtype=bool)


def _is_placed(notes: pd.DataFrame) -> Array:
    return notes[["string", "fret"]].notna().to_numpy().all(axis=1)


def placed_notes(notes: pd.DataFrame) -> pd.DataFrame:
    """Return the notes that lie on a neck, in order of time, with ``end``; no grace notes, no cues.

    Those struck at once have one onset.
    """
    is_left_out = notes["grace"].to_numpy(dtype=bool) | _is_cue(notes)
    notes = notes[_is_placed(notes) & ~is_left_out]
    notes = notes.sort_values("onset", kind="stable")
    onset = notes["onset"].to_numpy()
    first = np.flatnonzero(np.diff(onset, prepend=-np.inf) > _NEAR)
    together = np.repeat(onset[first], np.diff(np.append(first, len(onset))))
    return notes.assign(onset=together, end=onset + notes["duration"].to_numpy())


def struck_of(notes: pd.DataFrame) -> Struck:
    """Return the columns of notes with strings and frets, in order of time, and ``end``."""
    return Struck(
        notes["onset"].to_numpy(),
        notes["end"].to_numpy(),
        notes["measure"].to_numpy(dtype=np.int64),
        notes["string"].to_numpy(dtype=np.int64),
        notes["fret"].to_numpy(dtype=np.int64),
        notes["finger"].to_numpy(dtype=np.int64, na_value=-1)
        if "finger" in notes else np.full(len(notes), -1),
        notes["technique"].str.contains("muted", na=False).to_numpy(dtype=bool),
    )  # fmt: skip


def held_shapes(struck: Struck, song: Song) -> list[Held]:
    """Return the shapes that are held one after the other, without labels."""
    onsets, first = np.unique(struck.onset, return_index=True)
    rings = np.maximum.reduceat(struck.end, first) if len(first) else first
    rings = np.minimum(rings, np.append(onsets[1:], np.inf))  # each until the next attack
    lines = song.measures["onset"].to_numpy()
    last_bars = np.searchsorted(lines, rings - _NEAR, side="left")
    meters = song.measures["meter"].tolist()
    beats = np.array([beat_quarters(meters[bar - 1]) for bar in struck.measure[first].tolist()])
    places, is_early = _chord_places(song, onsets, rings, beats)
    symbols = song.chords["symbol"].tolist()
    held: list[Held] = []
    before = -1
    edges = [*first.tolist(), len(struck.onset)]
    string, fret, finger = struck.string.tolist(), struck.fret.tolist(), struck.finger.tolist()
    for attack, (onset, place) in enumerate(zip(onsets.tolist(), places.tolist(), strict=True)):
        own = slice(edges[attack], edges[attack + 1])
        strings = dict(zip(string[own], fret[own], strict=True))
        clash = held and any(held[-1].strings.get(s, f) != f for s, f in strings.items())
        if not held or clash or place != before:
            symbol = symbols[place] if place >= 0 else ""
            held.append(Held(symbol, onset, bool(is_early[attack])))
        before = place
        held[-1].strings |= strings
        for each, own_finger in zip(string[own], finger[own], strict=True):
            held[-1].fingers.setdefault(each, set()).add(own_finger)
        bar = int(struck.measure[edges[attack]])
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


class _Section(NamedTuple):
    """The shapes of a section that have names."""

    held: Sequence[Held]
    neck: Neck
    is_drawn: bool


@dataclass
class _Whole:
    """A shape with all strings that it has in the part.

    `rank` orders the shapes under a chord; `fingers` are those of each time that it is held whole.
    """

    capo: int
    strings: _Strings
    rank: tuple[bool, bool, float] = (True, True, np.inf)
    fingers: Counter[tuple[tuple[int, int], ...]] = field(default_factory=Counter)
    label: str = ""

    def has(self, capo: int, strings: _Strings) -> bool:
        return self.capo == capo and strings.items() <= self.strings.items()


class _Labels:
    """The shapes under each chord, in the order of their numbers.

    What is struck of a shape that its section has whole, under the same chord, is that shape; in a
    section that never has the rest of it, it is a shape of its own. A single string may belong to
    one of another section with the same capo.
    """

    def __init__(self, song: Song, sections: Mapping[str, _Section]) -> None:
        self._sections = sections
        self._known: dict[str, list[_Whole]] = {}
        self._of_section: dict[tuple[str, str], list[_Whole]] = {}
        every = [(name, each) for name, own in sections.items() for each in own.held]
        for name, each in every:
            neck = sections[name].neck
            each.chord = each.symbol or _named(each.strings, neck, song.key_at(each.onset))
        for name, each in sorted(every, key=lambda one: -len(one[1].strings)):
            self._add(name, each)
        for name, own in sections.items():
            wholes = [self._of(name, each) for each in own.held]
            is_drawn = own.is_drawn and len({*map(id, wholes)}) <= MOST_SHAPES
            for each, whole in zip(own.held, wholes, strict=True):
                if whole:
                    is_small = len(whole.strings) < _CHORD and not is_drawn
                    whole.rank = min(whole.rank, (not is_drawn, is_small, each.onset))
                    if each.strings == whole.strings and each.fingering():
                        whole.fingers[each.fingering()] += 1
        for chord, known in self._known.items():
            for number, whole in enumerate(sorted(known, key=attrgetter("rank")), 1):
                whole.label = chord if number == 1 else f"{chord} ({number})"

    def _add(self, section: str, held: Held) -> None:
        """Note a shape that belongs to none that is known; larger ones come first."""
        if len(held.strings) < _FEWEST or self._of(section, held):
            return
        capo, known = self._sections[section].neck.capo, self._known.setdefault(held.chord, [])
        same = (own for own in known if (own.capo, own.strings) == (capo, held.strings))
        whole = next(same, None)
        if whole is None:
            whole = _Whole(capo, held.strings)
            known.append(whole)
        self._of_section.setdefault((section, held.chord), []).append(whole)

    def _of(self, section: str, held: Held) -> _Whole | None:
        known = [*self._of_section.get((section, held.chord), ())]
        if len(held.strings) < _FEWEST:
            known += self._known.get(held.chord, ())
        capo = self._sections[section].neck.capo
        return next((own for own in known if own.has(capo, held.strings)), None)

    def section(self, name: str) -> SectionShapes:
        """Return the shapes of a section, all of them on its neck."""
        own = self._sections[name]
        neck = own.neck
        known = [self._of(name, each) for each in own.held]
        struck, whole = dict[str, _Strings](), dict[str, _Whole]()
        for each, shape in zip(own.held, known, strict=True):
            if shape:
                struck.setdefault(shape.label, {}).update(each.strings)
                whole[shape.label] = shape
        return SectionShapes(
            tuple(own.held),
            tuple(shape.label if shape else "" for shape in known),
            tuple((label, _frets(strings, neck)) for label, strings in struck.items()),
            tuple((label, _frets(shape.strings, neck)) for label, shape in whole.items()),
            {label: _fingers(shape, neck) for label, shape in whole.items() if shape.fingers},
            is_drawn=own.is_drawn and len(whole) <= MOST_SHAPES,
        )


def _fingers(shape: _Whole, neck: Neck) -> tuple[int, ...]:
    fingers = dict(shape.fingers.most_common(1)[0][0])
    return tuple(fingers.get(string, 0) for string in range(1, neck.strings + 1))


def chord_and_number(label: str) -> tuple[str, str]:
    """Return the parts of a shape's label, the second empty for the first shape of a chord."""
    found = re.fullmatch(r"(.*) (\(\d+\))", label)
    return (found[1], found[2]) if found else (label, "")


def _frets(strings: _Strings, neck: Neck) -> Shape:
    return tuple(strings.get(string, LEFT_OUT) for string in range(1, neck.strings + 1))


def _named(strings: _Strings, neck: Neck, key: str | None) -> str:
    try:
        named: Any = name_shape(_frets(strings, neck), neck, key)
    except ArrangeError:  # a source may fix what no neck has
        return "shape"
    return str(named.name)
