"""Which shapes does a hand hold in a part, and what are they called?

Attacks under one chord symbol belong to one shape as long as no string needs a second fret. A
shape has the name of the chord that holds where it is struck, or of the next chord where it is
struck within a beat before that chord and rings longer under it; a second shape under the same
chord is numbered, and has the same number all through a part. Only where no symbol holds does a
shape have a name of its own. A single string belongs to a shape that has it, or is none.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.necks import LEFT_OUT, Array, Neck, Shape
from arrange.guitar.shape_names import name_shape
from arrange.tables.song import Song
from arrange.theory.meters import beat_quarters

_NEAR = 1e-6
_FEWEST = 2  # strings of a shape
_CHORD = 3  # strings from which a shape is numbered before smaller ones

_Strings = dict[int, int]  # string: fret


@dataclass
class Held:
    """A shape while it is put together: the chord symbol that holds, and what it is called."""

    symbol: str
    onset: float
    is_early: bool = False  # struck before its chord
    chord: str = ""
    strings: _Strings = field(default_factory=dict)
    bars: list[int] = field(default_factory=list)


class Struck(NamedTuple):
    """The notes of a section, in order of time, whole columns."""

    onset: Array
    end: Array
    measure: Array
    string: Array
    fret: Array
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
    """

    held: tuple[Held, ...]
    labels: tuple[str, ...]
    shapes: tuple[tuple[str, Shape], ...]
    whole: tuple[tuple[str, Shape], ...]


def part_shapes(
    song: Song, notes: pd.DataFrame, necks: Mapping[str, Neck]
) -> dict[str, SectionShapes]:
    """Return the shapes of each section that a part plays in, labelled as one.

    Parameters
    ----------
    song : Song
    notes : a notes table
        The part's own. Grace notes, cues, and notes without a string and fret are left out.
    necks : mapping of section to Neck
        With the capo of each section that the part plays in.
    """
    notes = placed_notes(notes)
    held = {
        str(section): tuple(held_shapes(struck_of(own), song))
        for section, own in notes.groupby("section", sort=False)
        if section in necks
    }
    labelled = _Labels(song, [(each, necks[name]) for name, own in held.items() for each in own])
    return {name: labelled.section(own, necks[name]) for name, own in held.items()}


def placed_notes(notes: pd.DataFrame) -> pd.DataFrame:
    """Return the notes that lie on a neck, in order of time, with ``end``.

    Those struck at once have one onset.
    """
    is_placed = notes[["string", "fret"]].notna().to_numpy().all(axis=1)
    is_cue = notes["technique"].str.contains("cue", na=False).to_numpy(dtype=bool)
    notes = notes[is_placed & ~is_cue & ~notes["grace"].to_numpy(dtype=bool)]
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
        notes["technique"].str.contains("muted", na=False).to_numpy(dtype=bool),
    )


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
    string, fret = struck.string.tolist(), struck.fret.tolist()
    for attack, (onset, place) in enumerate(zip(onsets.tolist(), places.tolist(), strict=True)):
        own = slice(edges[attack], edges[attack + 1])
        strings = dict(zip(string[own], fret[own], strict=True))
        clash = held and any(held[-1].strings.get(s, f) != f for s, f in strings.items())
        if not held or clash or place != before:
            symbol = symbols[place] if place >= 0 else ""
            held.append(Held(symbol, onset, bool(is_early[attack])))
        before = place
        held[-1].strings |= strings
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


class _Labels:
    """The shapes under each chord, in the order of their numbers.

    A shape that is part of another under the same chord and capo is that one.
    """

    def __init__(self, song: Song, held: Iterable[tuple[Held, Neck]]) -> None:
        found: dict[str, list[tuple[int, _Strings]]] = {}
        for each, neck in held:
            each.chord = each.symbol or _named(each.strings, neck, song.key_at(each.onset))
            own = neck.capo, each.strings
            known = found.setdefault(each.chord, [])
            if len(each.strings) >= _FEWEST and not any(_is_part(own, other) for other in known):
                known[:] = [other for other in known if not _is_part(other, own)] + [own]
        self._known = {
            chord: sorted(known, key=lambda own: len(own[1]) < _CHORD)
            for chord, known in found.items()
        }

    def section(self, held: Sequence[Held], neck: Neck) -> SectionShapes:
        """Return the shapes of a section, all of them on its neck."""
        labels, struck, whole = [], dict[str, _Strings](), dict[str, Shape]()
        for each in held:
            label, strings = self._of(each, neck.capo)
            labels.append(label)
            if label:
                struck.setdefault(label, {}).update(each.strings)
                whole[label] = _frets(strings, neck)
        shapes = tuple((label, _frets(strings, neck)) for label, strings in struck.items())
        return SectionShapes(tuple(held), tuple(labels), shapes, tuple(whole.items()))

    def _of(self, held: Held, capo: int) -> tuple[str, _Strings]:
        """A shape's label, and all of its strings."""
        for number, other in enumerate(self._known[held.chord], 1):
            if _is_part((capo, held.strings), other):
                return held.chord if number == 1 else f"{held.chord} ({number})", other[1]
        return "", {}


def chord_and_number(label: str) -> tuple[str, str]:
    """Return the parts of a shape's label, the second empty for the first shape of a chord."""
    found = re.fullmatch(r"(.*) (\(\d+\))", label)
    return (found[1], found[2]) if found else (label, "")


def _is_part(shape: tuple[int, _Strings], other: tuple[int, _Strings]) -> bool:
    return shape[0] == other[0] and shape[1].items() <= other[1].items()


def _frets(strings: dict[int, int], neck: Neck) -> Shape:
    return tuple(strings.get(string, LEFT_OUT) for string in range(1, neck.strings + 1))


def _named(strings: dict[int, int], neck: Neck, key: str | None) -> str:
    try:
        named: Any = name_shape(_frets(strings, neck), neck, key)
    except ArrangeError:  # a source may fix what no neck has
        return "shape"
    return str(named.name)
