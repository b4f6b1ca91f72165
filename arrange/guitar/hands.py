"""What a hand can hold on a neck, with which fingers, and how hard that is.

The model, in plain words. Each finger holds one string at its fret, or lies across several as a
barre. A barre lies behind everything on the strings that it covers: nothing inside it may be
open or held nearer to the nut. The first finger may lie across all strings, another across
``BARRE_STRINGS``. Fingers stand in order: a higher finger is never nearer to the nut, and of two
at one fret the lower finger takes the lower-sounding string. The **reach** of a grip is the
longest way between two of its fingers in mm on the real neck, scaled as if it lay between first
and fourth finger: neighbours spread about half as far, so that their way counts nearly double. The
**span** is the plain distance along the neck from the first to the last fret held.

Nobody has published validated limits for a fretting hand. Those here are ours: try three
reaches on your own guitar and ``calibrate_hand``. Stretches hurt hands: stop at the first pain,
rest, come back another day; if it returns, ask a teacher or somebody qualified in medicine.

References
----------
H. Heijink and R. G. J. Meulenbroek (2002), J. Motor Behavior 34: hand travel and finger spread
make a fingering hard. R. Parncutt et al. (1997), Music Perception 14 (from memory): comfortable
and possible spans for each pair of fingers. D. P. Radicioni and V. Lombardo (2005), CogSci:
chords as constraints of the hand. The figures are our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, reduce
from itertools import combinations, pairwise

import numpy as np

from arrange.errors import ArrangeError
from arrange.guitar.necks import LEFT_OUT, Array, Neck

THUMB = 5  # as the number of a finger: 1 to 4, 0 for none, 5 for the thumb over the neck
FINGER_NAMES = ("", "1", "2", "3", "4", "T")

BARRE_STRINGS = 4  # that another finger than the first can cover
SPREAD = (0.0, 0.55, 0.8, 1.0)  # of the full reach, between fingers that many apart
THUMB_MM = 45.0  # along the neck, between thumb and first finger

# What a grip costs, in mm, so that it adds up with the ways that hands travel. Ours.
REACH_COST = 0.25  # a mm of reach, comfortable or not
BEYOND_COMFORT_COST = 1.0  # a mm of reach more than is comfortable, on top
BEYOND_STRETCH_COST = 3.0  # a mm more than a stretch, on top
FINGER_COST = 4.0  # a finger that is down
BARRE_COST = 7.0  # a barre of the first finger
OTHER_BARRE_COST = 20.0  # a barre of another finger
ARCH_COST = 8.0  # a barre that must not touch the next higher string, which sounds nearer the nut
THUMB_COST = 15.0
# A string left out between two that sound: how the fretting hand keeps it from ringing.
LEAN_COST = 4.0  # the finger on the next lower string leans on it, or a barre lies on it
TIP_COST = 8.0  # the tip of the finger on the next higher string touches it
SPARE_COST = 16.0  # a finger that is not needed elsewhere lies on it
AROUND_COST = 30.0  # nothing can: it has to be picked around

VERDICTS = ("open strings", "comfortable", "stretch", "long stretch")
_NONE = 127  # sorts behind every finger


@dataclass(frozen=True)
class Hand:
    """A fretting hand.

    Parameters
    ----------
    comfortable_mm, stretch_mm, refuse_mm : float
        Reach between first and fourth finger up to which a grip is comfortable, is a stretch,
        and beyond which it is refused, mm.
    fingers : int
        How many can fret, 1 to 4.
    thumb : bool
        The thumb may come over the neck for the lowest string.

    Raises
    ------
    ArrangeError
        If the limits do not rise, or there are no fingers.

    Examples
    --------
    >>> import arrange as ar
    >>> small = ar.Hand(comfortable_mm=70, stretch_mm=85, refuse_mm=100)
    >>> len(ar.find_voicings("Cmaj7", hand=small)) < len(ar.find_voicings("Cmaj7"))
    True
    """

    comfortable_mm: float = 85.0
    stretch_mm: float = 105.0
    refuse_mm: float = 125.0
    fingers: int = 4
    thumb: bool = False

    def __post_init__(self) -> None:
        if not 0 < self.comfortable_mm <= self.stretch_mm <= self.refuse_mm:
            raise ArrangeError(
                f"a hand with limits of {self.comfortable_mm:g}, {self.stretch_mm:g} and "
                f"{self.refuse_mm:g} mm; comfortable, stretch and refuse must rise from above 0"
            )
        if not 1 <= self.fingers <= len(SPREAD):
            raise ArrangeError(f"a hand with {self.fingers} fingers to fret with; it has 1 to 4")


@dataclass(frozen=True)
class Grips:
    """How each of many shapes is held; row by row as the shapes.

    Parameters
    ----------
    playable : array of bool
    needed : array of int
        Fingers that it takes at least.
    fingers : array of int, shapes x strings
        1 to 4 for the finger that holds the string, ``THUMB``, 0 for none.
    position : array of int
        Fret at which the first finger stands or would stand; 0 where nothing is held.
    span_mm, reach_mm : array of float
    barres : array of int
    muting_mm : array of float
        What it costs to keep strings left out inside the shape from ringing.
    cost_mm : array of float
        All of it together.
    """

    playable: Array
    needed: Array
    fingers: Array
    position: Array
    span_mm: Array
    reach_mm: Array
    barres: Array
    muting_mm: Array
    cost_mm: Array

    def take(self, rows: Array | slice) -> Grips:
        """Return the grips of some rows."""
        return Grips(**{name: column[rows] for name, column in vars(self).items()})


def hold_shapes(shapes: Array, neck: Neck, hand: Hand) -> Grips:
    """Return how a hand holds each shape, in the cheapest way there is.

    Whether strings at one fret are taken by a finger each or by as few barres as can be is tried
    both ways, at the lowest fret and at the others; a shape is playable if one of them is.

    Parameters
    ----------
    shapes : array of int, shapes x strings
        Frets from the nut, string 1 first, ``LEFT_OUT`` for a string left out.
    neck : Neck
    hand : Hand
    """
    frets = np.ascontiguousarray(np.asarray(shapes, dtype=np.int8).T)  # a row a string: fast
    best = _hold(frets, neck, hand)
    if hand.thumb:
        rows = np.flatnonzero(frets[-1] > neck.capo)
        _keep_cheaper(best, rows, _with_thumb(frets[:, rows], neck, hand))
    return best


def _hold(frets: Array, neck: Neck, hand: Hand) -> Grips:
    """The cheapest grips without the thumb; `frets` is strings x shapes."""
    held = frets > neck.capo
    # Row by row: numpy is slow in reducing a short axis.
    lowest = reduce(np.minimum, np.where(held, frets, np.int8(_NONE)))
    highest = reduce(np.maximum, np.where(held, frets, np.int8(0)))
    span = neck.mm[highest] - neck.mm[np.minimum(lowest, highest)]
    everywhere = np.ones(frets.shape[1], dtype=bool)
    owner = _owners(frets, held, lowest, everywhere, everywhere)
    index = np.arange(len(frets), dtype=np.int8)[:, None]
    needed = _count(owner == index)
    best = _no_grips(needed, np.where(needed > 0, lowest, 0), span, len(frets))

    # Only what fingers and span allow is looked at further, each way to use barres beside it.
    rows = np.flatnonzero((needed <= hand.fingers) & (span <= hand.refuse_mm))
    owner = owner[:, rows]
    joined, is_low = held[:, rows] & (owner != index), frets[:, rows] == lowest[rows]
    low, other = reduce(np.logical_or, joined & is_low), reduce(np.logical_or, joined & ~is_low)
    differs = [rows[low], rows[other], rows[low & other]]
    row = np.concatenate(differs)
    way = np.repeat([1, 2, 3], [len(some) for some in differs])
    without = _owners(frets[:, row], held[:, row], lowest[row], way == 2, way == 1)
    fits = np.flatnonzero(_count(without == index) <= hand.fingers)
    row, way = np.append(rows, row[fits]), np.append(np.zeros(len(rows), int), way[fits])
    owner = np.concatenate([owner, without[:, fits]], axis=1)
    grips = _grips_of(frets[:, row], owner, best.position[row], span[row], neck, hand)
    starts = np.searchsorted(way, [0, 1, 2, 3, 4])
    for start, end in pairwise(starts):
        _keep_cheaper(best, row[start:end], grips.take(slice(start, end)))
    return best


def _no_grips(needed: Array, position: Array, span: Array, strings: int) -> Grips:
    """Grips of shapes that cannot be held."""
    count = len(needed)
    return Grips(
        np.zeros(count, dtype=bool), needed, np.zeros((count, strings), dtype=np.int8),
        position.astype(np.int16), span, np.zeros(count), np.zeros(count, dtype=np.int8),
        np.zeros(count), np.zeros(count),
    )  # fmt: skip


def _keep_cheaper(best: Grips, rows: Array, other: Grips) -> None:
    better = other.playable & (~best.playable[rows] | (other.cost_mm < best.cost_mm[rows]))
    for name, column in vars(best).items():
        column[rows[better]] = getattr(other, name)[better]


def _with_thumb(frets: Array, neck: Neck, hand: Hand) -> Grips:
    """Grips whose lowest string is the thumb's."""
    rest = frets.copy()
    rest[-1] = neck.capo  # to the other fingers it is a string that sounds
    grips = _hold(rest, neck, hand)
    thumb = frets[-1]
    place = np.where(grips.position > 0, grips.position, thumb)
    grips.playable[:] &= np.abs(neck.mm[thumb] - neck.mm[place]) <= THUMB_MM
    grips.cost_mm[:] += THUMB_COST
    grips.fingers[:, -1] = THUMB
    grips.position[:] = place
    return grips


def _grips_of(
    frets: Array, owner: Array, position: Array, span: Array, neck: Neck, hand: Hand
) -> Grips:
    """The grips of shapes whose strings are shared out among the fingers."""
    index = np.arange(len(frets), dtype=np.int8)[:, None]
    ends = _barre_ends(owner)
    needed = _count(owner == index)
    fingers, reach = np.zeros(frets.shape, dtype=np.int8), np.zeros(frets.shape[1])
    for number in range(1, hand.fingers + 1):
        rows = np.flatnonzero(needed == number)
        if len(rows):
            fingers[:, rows], reach[rows] = _place_fingers(
                frets[:, rows], owner[:, rows], ends[:, rows], number, neck, hand
            )
    is_barre = (owner == index) & (ends < index)
    barres = _count(is_barre)
    first_barres = _count(is_barre & (fingers == 1))
    muting = _muting(frets, neck.capo, owner, hand.fingers - needed)
    cost = (
        reach_cost(reach, hand)
        + FINGER_COST * needed
        + BARRE_COST * first_barres
        + OTHER_BARRE_COST * (barres - first_barres)
        + ARCH_COST * _arches(frets, is_barre, ends)
        + muting
    )
    playable = reach <= hand.refuse_mm
    return Grips(playable, needed, fingers.T, position, span, reach, barres, muting, cost)


def _count(flags: Array) -> Array:
    """How many are true in each column."""
    count: Array = reduce(np.add, flags.view(np.int8))
    return count


def reach_cost(reach_mm: Array, hand: Hand) -> Array:
    """Return what reaches cost a hand, in mm: each mm, and more beyond comfort and a stretch."""
    cost: Array = (
        REACH_COST * reach_mm
        + BEYOND_COMFORT_COST * np.maximum(reach_mm - hand.comfortable_mm, 0)
        + BEYOND_STRETCH_COST * np.maximum(reach_mm - hand.stretch_mm, 0)
    )
    return cost


def _owners(
    frets: Array, held: Array, lowest: Array, barre_low: Array, barre_other: Array
) -> Array:
    """The string at which the finger stands that holds each string; one past the last for none.

    A finger stands at the lowest-sounding string that it holds. Only the first finger, which
    stands at the lowest fret before all others, may be wider than ``BARRE_STRINGS``.
    """
    strings = len(frets)
    owner = np.where(held, np.arange(strings, dtype=np.int8)[:, None], np.int8(strings))
    is_low = held & (frets == lowest)
    first = np.zeros(frets.shape[1], dtype=np.int8)
    for string in range(strings):
        first[is_low[string]] = string
    for string in range(strings - 2, -1, -1):
        clear = held[string] & np.where(is_low[string], barre_low, barre_other)
        for below in range(string + 1, strings):
            same = clear & (frets[below] == frets[string])
            fits = (owner[below] - string < BARRE_STRINGS) | (
                is_low[string] & (owner[below] == first)
            )
            np.copyto(owner[string], owner[below], where=same & fits)
            clear &= (frets[below] > frets[string]) | (frets[below] == LEFT_OUT)
    return owner


def _barre_ends(owner: Array) -> Array:
    """The highest-sounding string that the finger at each string holds."""
    strings = len(owner)
    ends = np.empty_like(owner)
    for string in range(strings):
        ends[string] = string
        for above in range(string - 1, -1, -1):
            np.copyto(ends[string], np.int8(above), where=owner[above] == string)
    return ends


def _place_fingers(
    frets: Array, owner: Array, ends: Array, number: int, neck: Neck, hand: Hand
) -> tuple[Array, Array]:
    """Fingers and least reach of shapes that take so many fingers.

    The fingers returned are those nearest to one finger a fret, of those that need no more than a
    stretch, or the least reach.
    """
    strings, count = frets.shape
    each = np.arange(count)
    index = np.arange(strings, dtype=np.int16)[:, None]
    left = np.where(owner == index, frets * np.int16(16) + (strings - 1 - index), np.int16(4000))
    # from the nut up, then from the lowest-sounding string
    codes = np.sort(left, axis=0)[:number]
    fret, string = codes >> 4, np.int16(strings - 1) - (codes & 15)
    cell = string.astype(np.intp) * count + each
    end = ends.ravel().take(cell)

    choices = [(0, *rest) for rest in combinations(range(1, hand.fingers), number - 1)]
    reaches = np.zeros((len(choices), count))
    ways, (_, *sizes) = _ways_mm(neck).ravel(), _ways_mm(neck).shape
    places, most_apart = np.array(sizes, dtype=np.int16)
    for one, other in combinations(range(number), 2):
        apart = np.maximum(end[other] - string[one], end[one] - string[other])
        np.maximum(apart, 0, out=apart)
        way = ways.take((fret[one] * places + fret[other]) * most_apart + apart)
        for row, choice in enumerate(choices):
            share = SPREAD[choice[other] - choice[one]]
            np.maximum(reaches[row], way / share, out=reaches[row])
    least = reduce(np.minimum, reaches)
    chosen, best = np.zeros(count, dtype=np.intp), np.full(count, np.inf)
    for row, choice in enumerate(choices if len(choices) > 1 else ()):
        unlike = reaches[row] / 10_000
        for finger in range(1, number):
            unlike += np.abs(fret[finger] - fret[0] - np.int16(choice[finger]))
        unlike[reaches[row] > np.maximum(least, hand.stretch_mm)] += 1000
        chosen[unlike < best] = row
        np.minimum(best, unlike, out=best)

    at_string = np.zeros((strings + 1) * count, dtype=np.int8)
    at_string[cell] = (np.array(choices, dtype=np.int8).T + np.int8(1))[:, chosen]
    return at_string.take(owner * np.intp(count) + each), least


@lru_cache(maxsize=16)
def _ways_mm(neck: Neck) -> Array:
    """The way from fret to fret, so many strings apart: frets x frets x strings."""
    along = neck.mm[:, None, None] - neck.mm[None, :, None]
    spacing = (neck.spacing_mm[:, None, None] + neck.spacing_mm[None, :, None]) / 2
    ways: Array = np.hypot(along, spacing * np.arange(neck.strings))
    return ways


def _arches(frets: Array, is_barre: Array, ends: Array) -> Array:
    """How many barres have to keep clear of the next string, which sounds from nearer the nut."""
    arches = np.zeros(frets.shape[1], dtype=np.int8)
    string, shape = np.nonzero(is_barre)
    end = ends[string, shape]
    next_fret = np.where(end > 0, frets[end - 1, shape], LEFT_OUT)
    clear = (next_fret != LEFT_OUT) & (next_fret < frets[string, shape])
    np.add.at(arches, shape[clear], 1)
    return arches


def _muting(frets: Array, capo: int, owner: Array, spare: Array) -> Array:
    """What it costs to silence the strings that are left out between others.

    Strings are bits, the highest-sounding one the lowest bit.
    """
    strings = len(frets)
    sounds, held, covered = np.zeros((3, frets.shape[1]), dtype=np.int16)
    for string in range(strings):
        bit = np.int16(1 << string)
        sounds |= bit * (frets[string] != LEFT_OUT)
        held |= bit * (frets[string] > capo)
        covered |= np.where(owner[string] > string, _between(strings)[string][owner[string]], 0)
    out = _left_out_inside(strings)[sounds]
    leans = out & (held >> 1 | covered)
    tip = out & ~leans & held << 1
    alone = (out & ~leans & ~tip) != 0
    return (
        LEAN_COST * np.bitwise_count(leans)
        + TIP_COST * np.bitwise_count(tip)
        + np.where(alone, np.where(spare > 0, SPARE_COST, AROUND_COST), 0.0)
    )


@lru_cache(maxsize=16)
def _left_out_inside(strings: int) -> Array:
    """The strings that are left out between two that sound, for each set of those that do."""
    sounds = np.arange(1 << strings)
    above, below = sounds.copy(), sounds.copy()
    for _ in range(strings):
        above |= above << 1
        below |= below >> 1
    inside: Array = (above & below & ~sounds).astype(np.int16)
    return inside


@lru_cache(maxsize=16)
def _between(strings: int) -> Array:
    """The strings between two, as bits: strings x strings, and one column for no finger."""
    between = np.zeros((strings, strings + 1), dtype=np.int16)
    for one in range(strings):
        for other in range(one + 1, strings):
            between[one, other] = sum(1 << string for string in range(one + 1, other))
    return between


def verdict_levels(grips: Grips, hand: Hand) -> Array:
    """Return for each grip the place of its verdict in ``VERDICTS``; one past the last: refused."""
    limits = (hand.comfortable_mm, hand.stretch_mm, hand.refuse_mm)
    level = 1 + np.searchsorted(limits, grips.reach_mm)
    return np.where(grips.needed == 0, 0, np.where(grips.playable, level, len(VERDICTS)))


def verdicts(grips: Grips, hand: Hand) -> Array:
    """Return for each grip one of ``VERDICTS``, or ``"refused"``."""
    return np.array([*VERDICTS, "refused"])[verdict_levels(grips, hand)]
