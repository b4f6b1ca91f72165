"""Which shapes does a hand hold under a passage, and what are they called?

Attacks under one chord symbol belong to one shape as long as no string needs a second fret. A
shape has the name of the chord that holds where it is struck, or of the next chord where it is
struck within a beat before that chord and rings longer under it; a second shape under the same
chord is numbered. Only where no symbol holds does a shape have a name of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from arrange.errors import ArrangeError
from arrange.guitar.necks import LEFT_OUT, Array, Neck, Shape
from arrange.guitar.shape_names import name_shape
from arrange.tables.song import Song
from arrange.theory.meters import beat_quarters

_NEAR = 1e-6


@dataclass
class Held:
    """A shape while it is put together: the chord symbol that holds, and what it is called."""

    symbol: str
    onset: float
    is_early: bool = False  # struck before its chord
    chord: str = ""
    strings: dict[int, int] = field(default_factory=dict)
    bars: list[int] = field(default_factory=list)


class Struck(NamedTuple):
    """The notes of a section, in order of time, whole columns."""

    onset: Array
    end: Array
    measure: Array
    string: Array
    fret: Array
    is_muted: Array


def held_shapes(struck: Struck, song: Song) -> list[Held]:
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
    for attack, (onset, place) in enumerate(zip(onsets.tolist(), places.tolist(), strict=True)):
        own = np.flatnonzero(struck.onset == onset)
        strings = dict(zip(struck.string[own].tolist(), struck.fret[own].tolist(), strict=True))
        clash = held and any(held[-1].strings.get(s, f) != f for s, f in strings.items())
        if not held or clash or place != before:
            symbol = symbols[place] if place >= 0 else ""
            held.append(Held(symbol, onset, bool(is_early[attack])))
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


def labelled_shapes(
    song: Song, held: list[Held], neck: Neck
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
