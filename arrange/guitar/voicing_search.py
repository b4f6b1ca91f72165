"""Which shapes on a neck sound as asked, and can be held? Every one of them.

Frets within the hand's reach are tried string by string, so that none is missing; what is left is
tried by the hand, so that none is in that cannot be played.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from arrange.guitar.hands import THUMB_MM, Grips, Hand, hold_shapes
from arrange.guitar.necks import LEFT_OUT, Array, Neck
from arrange.theory.chords import Chord
from arrange.theory.pitch import parse_pitch_class


@dataclass(frozen=True)
class VoicingQuery:
    """What is asked of a voicing; members as semitones above the root.

    Parameters
    ----------
    chord : Chord
    members : dict of int to str
        All that may sound.
    must : frozenset of int
        Those that must sound.
    strings : tuple of int
        Numbers of those that may sound.
    frets : tuple of int
        Lowest and highest, from the nut; an open string counts as the nut's or the capo's.
    bass, top : frozenset of int or None
        What may lie there.
    drones : tuple of int
        Strings that must sound open, whatever they sound.
    pitches : tuple of float
        Lowest and highest, MIDI numbers.
    notes : int or None
        How many strings sound.
    """

    chord: Chord
    members: dict[int, str] = field(hash=False)
    must: frozenset[int]
    strings: tuple[int, ...]
    frets: tuple[int, int]
    bass: frozenset[int] | None
    top: frozenset[int] | None
    drones: tuple[int, ...]
    pitches: tuple[float, float]
    notes: int | None


def search_shapes(query: VoicingQuery, neck: Neck, hand: Hand) -> tuple[Array, Grips]:
    """Return the playable shapes, shapes x strings, and how they are held."""
    shapes = candidates(query, neck, hand)
    grips = hold_shapes(shapes, neck, hand)
    rows = np.flatnonzero(grips.playable)
    return shapes[rows], grips.take(rows)


def candidates(query: VoicingQuery, neck: Neck, hand: Hand) -> Array:
    """Return shapes that sound as asked, with no more frets to hold than there are fingers.

    String by string, for every fret that may be the lowest one held, all at once. The frets are
    picked up at the end, from the last string back.
    """
    root = parse_pitch_class(query.chord.root)
    lows = np.arange(neck.capo, neck.frets + 1)  # at the capo: nothing is held
    nothing = np.zeros(len(lows), dtype=np.int16)
    begun = _Begun(nothing, nothing.astype(np.int64), nothing, np.arange(len(lows)))
    ways = [_ways_on(string, query, neck, hand, root) for string in range(neck.strings)]
    steps = []
    for string, way in enumerate(ways):
        later = [other.holds_low for other in ways[string + 1 :]]
        can_hold_low = np.any([lows == neck.capo, *later], axis=0)
        begun, before, fret = _with_string(begun, way, string, can_hold_low, query, hand)
        steps.append((before, fret))
    shapes = np.empty((neck.strings, len(begun.low)), dtype=np.int8)
    row = np.arange(len(begun.low))
    for string in range(neck.strings - 1, -1, -1):
        before, fret = steps[string]
        shapes[string], row = fret[row], before[row]
    shapes = np.ascontiguousarray(shapes[:, _outer_voices_fit(shapes, query, neck, root)].T)
    return np.unique(shapes, axis=0) if hand.thumb else shapes


class _Begun(NamedTuple):
    """Shapes begun, a value a shape: members that sound and frets that are held as bits (from
    the lowest one held), how many strings sound, which fret is the lowest one held, as an index.
    """

    members: Array
    held: Array
    sounding: Array
    low: Array


class _Ways(NamedTuple):
    """What one string may do, for each lowest fret held one after another: the fret, its member
    and the fret held as bits, and where each lowest fret's begin; which lowest frets it may hold.
    """

    fret: Array
    member: Array
    held: Array
    starts: Array
    holds_low: Array


def _ways_on(string: int, query: VoicingQuery, neck: Neck, hand: Hand, root: int) -> _Ways:
    lows, frets = np.arange(neck.capo, neck.frets + 1)[:, None], np.arange(-1, neck.frets + 1)
    sounds = _may_sound(query, neck, root, string, frets)
    reach = neck.mm[np.maximum(frets, 0)] - neck.mm[lows]
    fretted = sounds & (frets > neck.capo) & (lows > neck.capo)
    holds = fretted & (frets >= lows) & (reach <= hand.refuse_mm)
    free = np.where(
        frets == LEFT_OUT, string + 1 not in query.drones, sounds & (frets == neck.capo)
    )
    free = np.broadcast_to(free, holds.shape)
    if hand.thumb and string == neck.strings - 1:
        free = free | (fretted & (np.abs(reach) <= THUMB_MM))
    low, is_held, place = np.nonzero(np.stack([free, holds], axis=1))
    fret = frets[place]
    member = np.where(fret == LEFT_OUT, 0, 1 << (neck.tuning[string] + fret - root) % 12)
    held = np.where(is_held, 1 << np.maximum(fret - low - neck.capo, 0), 0)
    starts = np.searchsorted(low, np.arange(len(lows) + 1))
    holds_low = holds[np.arange(len(lows)), lows[:, 0] + 1]
    return _Ways(fret.astype(np.int8), member.astype(np.int16), held, starts, holds_low)


def _may_sound(query: VoicingQuery, neck: Neck, root: int, string: int, frets: Array) -> Array:
    """Which frets of a string may sound; never -1, for a string left out."""
    pitch = neck.tuning[string] + frets
    low, high = query.pitches
    fits = (frets >= 0) & (low <= pitch) & (pitch <= high)
    if string + 1 in query.drones:
        return fits & (frets == neck.capo)
    if string + 1 not in query.strings:
        return fits & False
    last = min(query.frets[1], neck.last_fret(string + 1))
    is_member = np.array([m in query.members for m in range(12)])[(pitch - root) % 12]
    return fits & (query.frets[0] <= frets) & (frets <= last) & is_member


def _with_string(
    begun: _Begun, ways: _Ways, string: int, can_hold_low: Array, query: VoicingQuery, hand: Hand
) -> tuple[_Begun, Array, Array]:
    """The shapes with each fret that the next string may have, as far as they may still fit.

    Returned too: which shape each comes from, and the string's fret.
    """
    count = np.diff(ways.starts)[begun.low]
    row = np.repeat(np.arange(len(count)), count)
    skipped = ways.starts[begun.low] - np.cumsum(count) + count
    way = np.arange(len(row)) + skipped[row]
    members, held = begun.members[row] | ways.member[way], begun.held[row] | ways.held[way]

    left = sum(1 for s in query.strings if s > string + 1)
    must = np.int16(sum(1 << member for member in query.must))
    fits = (np.bitwise_count(must & ~members) <= left) & (np.bitwise_count(held) <= hand.fingers)
    fits &= (held & 1 == 1) | can_hold_low[begun.low][row]
    sounding = begun.sounding[row] + (ways.member[way] > 0)
    if query.notes is not None:
        fits &= (sounding <= query.notes) & (sounding + left >= query.notes)
    fit = np.flatnonzero(fits)
    row = row[fit]
    after = _Begun(members[fit], held[fit], sounding[fit], begun.low[row])
    return after, row, ways.fret[way[fit]]


def _outer_voices_fit(shapes: Array, query: VoicingQuery, neck: Neck, root: int) -> Array:
    """Whether bass and top are what they must be."""
    opened = np.array(neck.tuning, np.int16)[:, None]
    pitch = shapes + opened
    fits = np.ones(shapes.shape[1], dtype=bool)
    for allowed, outer in (
        (query.bass, np.where(shapes == LEFT_OUT, 999, pitch).min(axis=0)),
        (query.top, np.where(shapes == LEFT_OUT, -999, pitch).max(axis=0)),
    ):
        if allowed is not None:
            fits &= np.isin((outer - root) % 12, list(allowed))
    return fits
