"""What a player could play in a unit instead: every voicing within reach, with what it costs.

The voicings are those of ``voicings.find_voicings`` with any members of a chord, without their
names. A unit's notes take the pitches of a voicing by rank: where a voicing has fewer notes,
neighbours share one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from arrange.guitar.hands import Hand
from arrange.guitar.necks import LEFT_OUT, Neck
from arrange.guitar.voicing_search import VoicingQuery, search_shapes
from arrange.revoicing.harmonies import Harmony
from arrange.revoicing.units import SILENT, Unit
from arrange.tables.sounding import Array
from arrange.theory.chords import Chord
from arrange.theory.pitch import PLAIN_NAMES

OPEN_FRETS = 4  # frets above the nut or the capo within which open shapes lie (common practice)
HIGH_COST = 0.1  # mm a mm of the hand's way from the nut or capo up the neck (ours)
_OCTAVE = 12


@dataclass(frozen=True, eq=False)
class Pool:
    """Every voicing of a chord on a neck; a row each.

    Parameters
    ----------
    pitches : array of int, voicings x strings
        Low to high, ``SILENT`` behind.
    count : array of int
        How many notes.
    position : array of int
        Fret of the first finger, 0 where nothing is held.
    place_mm : array of float
        Where the hand is, mm from the nut; NaN where it may be anywhere.
    cost_mm : array of float
        What the grip costs, and a little for the way up the neck.
    strings, classes : array of int
        Strings and pitch classes that sound, as bits.
    opened : array of int
        How many strings ring open.
    mean : array of float
        Mean pitch.
    shapes : array of int, voicings x strings
        Frets from the nut, string 1 first.
    gaps : array of int
        How many strings are left out between those that sound.
    """

    pitches: Array
    count: Array
    position: Array
    place_mm: Array
    cost_mm: Array
    strings: Array
    classes: Array
    opened: Array
    mean: Array
    shapes: Array
    gaps: Array

    @property
    def lowest(self) -> Array:
        """The lowest pitch of each."""
        return self.pitches[:, 0]

    def take(self, rows: Array) -> Pool:
        """Return some of them."""
        return Pool(**{name: column[rows] for name, column in vars(self).items()})

    def has(self, pitch_class: int) -> Array:
        """Return whether each sounds a pitch class."""
        return (self.classes >> pitch_class & 1).astype(bool)


def voicing_pool(harmony: Harmony, neck: Neck, hand: Hand, top_fret: int) -> Pool:
    """Return every voicing of two notes or more up to a fret, no two strings in unison."""
    return _pool(harmony.root, tuple(sorted(harmony.members)), neck, hand, top_fret)


@lru_cache(maxsize=256)
def _pool(root: int, members: tuple[int, ...], neck: Neck, hand: Hand, top_fret: int) -> Pool:
    names = {(member - root) % _OCTAVE: "" for member in members}
    strings = tuple(range(1, neck.strings + 1))
    frets = neck.capo, min(top_fret, neck.frets)
    query = VoicingQuery(
        Chord(PLAIN_NAMES[root]), names, frozenset(), strings, frets, None, None, (), (0, 127), None
    )
    shapes, grips = search_shapes(query, neck, hand)
    sounds = shapes != LEFT_OUT
    count = sounds.sum(axis=1)
    ordered = np.sort(np.where(sounds, shapes + np.array(neck.tuning), SILENT), axis=1)
    in_unison = ((np.diff(ordered, axis=1) == 0) & (ordered[:, 1:] < SILENT)).any(axis=1)
    keep = np.flatnonzero((count >= 2) & ~in_unison)
    shapes, sounds, count, grips = shapes[keep], sounds[keep], count[keep], grips.take(keep)
    pitch = np.where(sounds, shapes + np.array(neck.tuning), SILENT)
    place = np.where(grips.position > 0, neck.mm[grips.position], np.nan)
    height = np.nan_to_num(place - neck.mm[neck.capo], nan=0.0)
    return Pool(
        ordered[keep],
        count,
        grips.position.astype(np.int64),
        place,
        grips.cost_mm + HIGH_COST * height,
        (sounds << np.arange(shapes.shape[1])).sum(axis=1),
        np.bitwise_or.reduce(np.where(sounds, 1 << pitch % _OCTAVE, 0), axis=1),
        (shapes == neck.capo).sum(axis=1),
        np.where(sounds, pitch, 0).sum(axis=1) / count,
        shapes.astype(np.int64),
        shapes.shape[1] - sounds.argmax(axis=1) - sounds[:, ::-1].argmax(axis=1) - count,
    )


@dataclass(frozen=True, eq=False)
class Options:
    """What a unit could be, a row each; the written one comes first unless it is barred.

    Parameters
    ----------
    pitches : array of int, options x ranks
        ``SILENT`` for a rank that is left out.
    place_mm : array of float
        Where the hand is; NaN where it may be anywhere, or is not known.
    first_top, last_top : array of float
        The top pitch where the unit begins and where it ends.
    cost : array of float
        What each costs by itself and against what the other parts hold, mm.
    shapes : array of int, options x strings
        Frets from the nut, string 1 first; all ``LEFT_OUT`` where strings are still to be found.
    cut : int
        How many were left out as too costly.
    """

    pitches: Array
    place_mm: Array
    first_top: Array
    last_top: Array
    cost: Array
    shapes: Array
    cut: int = 0

    def take(self, rows: Array, cut: int = 0) -> Options:
        """Return some of them."""
        return Options(
            self.pitches[rows],
            self.place_mm[rows],
            self.first_top[rows],
            self.last_top[rows],
            self.cost[rows],
            self.shapes[rows],
            cut,
        )


def by_rank(pool: Pool, rows: Array, ranks: int) -> Array:
    """Return the pitches of voicings at the ranks of a unit, voicings x ranks.

    Lowest to lowest, highest to highest, those in between evenly.
    """
    if ranks == 1:
        return pool.pitches[rows, :1]
    share = np.arange(ranks) / (ranks - 1)
    place = np.floor(share * (pool.count[rows] - 1)[:, None] + 0.5).astype(np.int64)
    return np.take_along_axis(pool.pitches[rows], place, axis=1)


def make_options(
    unit: Unit, pitches: Array, place_mm: Array, cost: Array, shapes: Array | None = None
) -> Options:
    """Return options, with the tops that their pitches give; without shapes, strings are free."""
    first = _top_of(pitches, _top_rank(unit, 0))
    last = _top_of(pitches, _top_rank(unit, -1))
    if shapes is None:
        shapes = np.full((len(pitches), 1), LEFT_OUT)
    return Options(pitches, place_mm, first, last, cost, shapes)


def _top_rank(unit: Unit, which: int) -> int:
    at = unit.onset == unit.onset[which]
    return int(unit.rank[at].max())


def _top_of(pitches: Array, rank: int) -> Array:
    """The pitch at a rank, or at the next below that sounds; NaN if none does."""
    below = pitches[:, : rank + 1][:, ::-1].astype(np.float64)
    sounds = below != SILENT
    first = sounds.argmax(axis=1)
    top = below[np.arange(len(below)), first]
    return np.where(sounds.any(axis=1), top, np.nan)
