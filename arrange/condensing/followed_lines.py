"""Which layers follow another's line: its doubles, and second voices in thirds and sixths.

Asked attack by attack: a double begins the same notes in any octave, and not only members of the
chord that begins there; a second voice moves up and down together with it, at a third or a sixth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrange.condensing.recorded_layers import RecordedLayers
from arrange.tables.sounding import Array

DOUBLES = 0.85  # mean over a layer's attacks of how far another plays the same there
SECOND = 0.8  # share of a layer's attacks that move along with another's at a third or a sixth
EVERYWHERE = 0.6  # the least of either in any of its sections
SAME_ATTACKS = 0.6  # share of the other's attacks in its own bars there that it has as well
THIRDS_AND_SIXTHS = (3, 4, 8, 9)  # semitones, less octaves

_COUNT = np.array([bits.bit_count() for bits in range(1 << 12)], dtype=np.int64)


@dataclass(frozen=True)
class Attacks:
    """What each layer begins at each place where anything begins.

    Parameters
    ----------
    tones : array of int
        Pitch classes as bits, 0 for none: layers x places.
    line : array of float
        The highest pitch, NaN for none: layers x places.
    move : array of float
        How far that is from the layer's pitch before, NaN for none: layers x places.
    section : array of int
        Of each place, one after the other.
    sections : int
        How many there are.
    measure : array of int
        Of each place.
    """

    tones: Array
    line: Array
    move: Array
    section: Array
    sections: int
    measure: Array

    @classmethod
    def of(cls, recorded: RecordedLayers) -> Attacks:
        """Return the attacks of some layers."""
        pitched = recorded.is_played & ~np.isnan(recorded.pitch)
        layer, pitch = recorded.layer[pitched], recorded.pitch[pitched]
        places, first, at = np.unique(
            recorded.place[pitched], return_index=True, return_inverse=True
        )
        shape = len(recorded.names), len(places)
        tones = np.zeros(shape, dtype=np.int64)
        np.bitwise_or.at(tones, (layer, at), 1 << np.rint(pitch).astype(np.int64) % 12)
        line = np.full(shape, -np.inf)
        np.maximum.at(line, (layer, at), pitch)
        line[np.isinf(line)] = np.nan
        move = np.full(shape, np.nan)
        for own in range(shape[0]):
            there = np.flatnonzero(tones[own])
            move[own, there[1:]] = np.diff(line[own, there])
        section, measure = recorded.section[pitched][first], recorded.measure[pitched][first]
        return cls(tones, line, move, section, len(recorded.sections), measure)

    def by_section(self, values: Array) -> Array:
        """Add up values at the places (layers x places) by section: layers x sections."""
        total = np.zeros((len(values), self.sections))
        here, begins = np.unique(self.section, return_index=True)
        if len(here):
            total[:, here] = np.add.reduceat(values, begins, axis=1, dtype=np.float64)
        return total


@dataclass(frozen=True)
class Followed:
    """Whom each layer follows.

    Parameters
    ----------
    doubles, seconds : tuple of tuples of int
        For each layer those whose line it doubles, or whose second voice it is, longest first;
        empty for none.
    """

    doubles: tuple[tuple[int, ...], ...]
    seconds: tuple[tuple[int, ...], ...]

    @property
    def leaders(self) -> list[set[int]]:
        """Whom each layer follows in either way."""
        return [{*one, *other} for one, other in zip(self.doubles, self.seconds, strict=True)]


def followed_lines(recorded: RecordedLayers) -> Followed:
    """Return whom each layer follows.

    A layer follows when in each of its sections it follows some layer that does not itself follow
    another. Of two that double each other the one with fewer notes is the double, then the softer,
    then the later by name.
    """
    attacks = Attacks.of(recorded)
    notes = recorded.counts.sum(axis=1)
    level = recorded.parts["level"].to_numpy()
    order = np.lexsort((-np.arange(len(notes)), level, notes)).tolist()
    doubles = _followers(attacks, _same(attacks), DOUBLES, order, [True] * len(order))
    # Chords have no second voice.
    single: Array = np.all(_COUNT[attacks.tones] <= 1, axis=1)
    is_free = [not own and one for own, one in zip(doubles, single.tolist(), strict=True)]
    seconds = _followers(attacks, _along(attacks), SECOND, order, is_free)
    return Followed(doubles, seconds)


def _same(attacks: Attacks) -> Array:
    """How far one layer begins what the other begins, added up: layers x layers x sections.

    Pitch classes in both, as a share of those in either.
    """
    found = []
    for own in attacks.tones:
        either = np.maximum(_COUNT[own | attacks.tones], 1)
        found.append(attacks.by_section(_COUNT[own & attacks.tones] / either))
    return np.stack(found)


def _along(attacks: Attacks) -> Array:
    """At how many attacks one layer moves along with the other: layers x layers x sections."""
    way, line, begins = np.sign(attacks.move), np.rint(attacks.line), np.isnan(attacks.move)
    fits = np.isin(np.arange(12), THIRDS_AND_SIXTHS)
    found = []
    for layer, own in enumerate(way):
        apart = np.nan_to_num(np.abs(line - line[layer])).astype(np.int64) % 12
        goes_along = np.equal(own, way) | begins[layer] | begins
        is_along = fits[apart] & goes_along
        found.append(attacks.by_section(is_along))
    return np.stack(found)


def _has_most(attacks: Attacks) -> Array:
    """Whether one layer has most of the other's attacks in the bars in which it plays."""
    begun = np.asarray(attacks.tones > 0)
    found = []
    for own in begun:
        is_there = np.isin(attacks.measure, attacks.measure[own])
        asked = attacks.by_section(begun & is_there)
        common = attacks.by_section(begun & own)
        found.append(common >= SAME_ATTACKS * np.maximum(asked, 1))
    return np.stack(found)


def _followers(
    attacks: Attacks,
    matched: Array,
    enough: float,
    order: Sequence[int],
    is_free: Sequence[bool],
) -> tuple[tuple[int, ...], ...]:
    """Whom each layer follows, decided in order: a follower is followed by nobody else."""
    begun = attacks.tones > 0
    own_attacks = attacks.by_section(begun)  # layers x sections
    share = matched * _has_most(attacks) / np.maximum(own_attacks, 1)[:, None]
    share[np.arange(len(begun)), np.arange(len(begun))] = 0.0
    stays = np.asarray(is_free)
    found: list[tuple[int, ...]] = [()] * len(begun)
    for own in order:
        here = np.flatnonzero(own_attacks[own])
        if not is_free[own] or not len(here):
            continue
        kept = np.where(stays[:, None], share[own][:, here], 0.0)
        found[own] = _leaders(kept, own_attacks[own, here], enough)
        stays[own] = not found[own]
    return tuple(found)


def _leaders(share: Array, weight: Array, enough: float) -> tuple[int, ...]:
    """Whom a layer follows by its shares (layers x sections), of sections of some weight.

    One that it follows everywhere if there is one, else those of its sections, longest first.
    """
    total = enough * weight.sum()
    everywhere = (share.min(axis=1) >= EVERYWHERE) & (share @ weight >= total)
    if everywhere.any():
        return (int(np.where(everywhere, share @ weight, -1.0).argmax()),)
    best = share.max(axis=0)
    if best.min() < EVERYWHERE or best @ weight < total:
        return ()
    length = np.bincount(share.argmax(axis=0), weight, minlength=len(share))
    return tuple(np.argsort(-length, kind="stable")[: (length > 0).sum()].tolist())
