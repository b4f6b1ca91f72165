"""What one player can do in a section: lay out, one layer, or two layers merged; what a hand holds.

Whether a merge can be held is asked in two steps. First of all options at once, and only what is
necessary: that what sounds at each moment lies on strings of its own within the hand's reach. Then
of those that are chosen: whether the hand has fingers for each moment, and at last by fingering the
whole part (``playing``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from arrange.condensing.material import Material
from arrange.guitar.fingering.moments import OVERLAP
from arrange.guitar.fingering.ways import Task, find_ways
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Array, Neck
from arrange.quantities.texture import DRIVE_DECIBELS

Option = tuple[int, ...]  # the layers that one player plays together
REST: Option = ()

_PITCHES = 128
_NOWHERE = 128  # where a pitch between two frets is put, which lies on no neck
_MOST_OPTIONS = 1 << 20  # in one section
_MOST_STRINGS = 6  # up to which sets of strings are told by the bits of one number


@dataclass(frozen=True)
class SectionOptions:
    """What one player can do in a section.

    Parameters
    ----------
    options : tuple of Option
        Laying out first, then single layers and pairs, each in order of their names.
    masks : array of int
        Their layers as bits, as in the section's worth.
    playable : array of bool, necks x options
        Whether it can be held on each neck, as far as is known.
    """

    options: tuple[Option, ...]
    masks: Array
    playable: Array


@dataclass
class Demands:
    """What options ask a hand to hold, moment by moment, and what is known of it.

    Parameters
    ----------
    sets : array of bool, sets x pitches
        The different sets of pitches.
    section, option, which : array of int
        A row for each section, option and set that it asks for.
    tested : dict of neck to array of int
        Of each set: 0 not tested in full, 1 it can be held, 2 it cannot.
    """

    sets: Array
    section: Array
    option: Array
    which: Array
    tested: dict[int, Array] = field(default_factory=dict)

    def refuse(
        self,
        options: Sequence[SectionOptions],
        asked: Sequence[tuple[int, int]],
        number: int,
        neck: Neck,
        hand: Hand,
    ) -> list[tuple[int, int]]:
        """Test in full what options ask for; forbid every merge that asks for what cannot be held.

        Parameters
        ----------
        options : sequence of SectionOptions
            Changed where something is forbidden.
        asked : sequence of (section, option)
        number : int
            Which neck.
        neck : Neck
        hand : Hand

        Returns
        -------
        list of (section, option)
            Those of what was asked that cannot be held. A single layer among them is not
            forbidden: strings that the source gave may let go what a hand cannot hold.
        """
        known = self.tested.setdefault(number, np.zeros(len(self.sets), dtype=np.int8))
        code = self.section * _MOST_OPTIONS + self.option
        wanted = np.unique(self.which[np.isin(code, [s * _MOST_OPTIONS + o for s, o in asked])])
        new = wanted[known[wanted] == 0]
        tasks = [
            Task(tuple(tuple(neck.places(float(p))) for p in np.flatnonzero(self.sets[one])))
            for one in new
        ]
        known[new] = [1 if len(ways) else 2 for ways in find_ways(tasks, neck, hand)]
        bad = np.unique(code[known[self.which] == 2]).tolist()
        for section, option in (divmod(one, _MOST_OPTIONS) for one in bad):
            if len(options[section].options[option]) > 1:
                options[section].playable[number, option] = False
        return [one for one in asked if one[0] * _MOST_OPTIONS + one[1] in set(bad)]


def section_options(
    material: Material,
    layers: tuple[tuple[int, ...], ...],
    classes: tuple[tuple[int, ...], ...],
    necks: tuple[Neck, ...],
    hand: Hand,
) -> tuple[list[SectionOptions], Demands]:
    """Return the options of each section, and what they ask a hand to hold.

    Parameters
    ----------
    material : Material
    layers : tuple of tuple of int
        Those that play in each section.
    classes : tuple of tuple of int
        Masks of those that play exactly the same; they are not merged.
    necks : tuple of Neck
    hand : Hand
    """
    options: list[tuple[Option, ...]] = []
    for own, same in zip(layers, classes, strict=True):
        bit = {layer: 1 << at for at, layer in enumerate(own)}
        pairs = [
            pair for pair in combinations(own, 2)
            if not any(bit[pair[0]] & mask and bit[pair[1]] & mask for mask in same)
        ]  # fmt: skip
        options.append((REST, *((layer,) for layer in own), *pairs))
    demands = _Sounding.of(material).demands(options)
    held = [can_hold(demands.sets, neck, hand) for neck in necks]
    found = []
    for section, choices in enumerate(options):
        here = demands.section == section
        playable = np.ones((len(necks), len(choices)), dtype=bool)
        for neck, holds in enumerate(held):
            playable[neck, demands.option[here][~holds[demands.which[here]]]] = False
        bit = {layer: 1 << at for at, layer in enumerate(layers[section])}
        masks = np.array(
            [sum(bit[layer] for layer in option) for option in choices], dtype=np.int64
        )
        found.append(SectionOptions(choices, masks, playable))
    return found, demands


@dataclass(frozen=True)
class _Sounding:
    """What each layer holds at each moment at which any layer begins something.

    Parameters
    ----------
    section : array of int
        Of each moment.
    struck : array of bool, layers x moments
    held : array of int, layers x moments
        Which of `sets` the layer sounds then.
    pitches : array of bool, sets x pitches
    """

    section: Array
    struck: Array
    held: Array
    pitches: Array

    @classmethod
    def of(cls, material: Material) -> _Sounding:
        """Return that of the layers."""
        rows = np.flatnonzero(material.is_played & ~np.isnan(material.pitch))
        onset, section = material.onset[rows], material.section[rows]
        layer, pitch = material.layer[rows], material.pitch[rows]
        moments, first, at = np.unique(onset, return_index=True, return_inverse=True)
        struck = np.zeros((len(material.names), len(moments)), dtype=bool)
        struck[layer, at] = True
        # A note is held at the moments that follow, to the end of its section, unless its pitch
        # is struck anew in its layer.
        until = np.minimum(material.end[rows] - OVERLAP, material.ends[section])
        until = np.minimum(until, _struck_anew(layer, pitch, onset))
        last = np.maximum(np.searchsorted(moments, until - 1e-9), at + 1)
        count = last - at
        note = np.repeat(np.arange(len(rows)), count)
        moment = at[note] + np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count)
        whole = np.rint(pitch).astype(np.int64)
        slot = np.where(pitch == whole, whole, _NOWHERE)
        cells = np.zeros((len(material.names) * max(len(moments), 1), _NOWHERE + 1), dtype=bool)
        cells[layer[note] * max(len(moments), 1) + moment, slot[note]] = True
        pitches, held = _distinct(cells)
        return cls(section[first], struck, held.reshape(len(material.names), -1), pitches)

    def demands(self, options: list[tuple[Option, ...]]) -> Demands:
        """Return the different sets of pitches that options ask for, and which asks for which."""
        none = np.zeros(0, dtype=np.int64)
        keys, sections, numbers = [none], [none], [none]
        size = len(self.pitches)
        for section, own in enumerate(options):
            here = np.flatnonzero(self.section == section)
            if not len(here) or len(own) == 1:
                continue
            pairs = np.array([(option[0], option[-1]) for option in own[1:]])
            used = self.struck[pairs[:, 0]][:, here] | self.struck[pairs[:, 1]][:, here]
            held = self.held[:, here]
            one, other = held[pairs[:, 0]][used], held[pairs[:, 1]][used]
            key = np.minimum(one, other).astype(np.int64) * size + np.maximum(one, other)
            both = np.unique(key * len(own) + np.nonzero(used)[0] + 1)
            keys.append(both // len(own))
            numbers.append(both % len(own))
            sections.append(np.full(len(both), section))
        key, which = np.unique(np.concatenate(keys), return_inverse=True)
        sets = self.pitches[key // size] | self.pitches[key % size]
        return Demands(sets, np.concatenate(sections), np.concatenate(numbers), which)


def _struck_anew(layer: Array, pitch: Array, onset: Array) -> Array:
    """When the same layer strikes the same pitch again; infinity for never."""
    order = np.lexsort((onset, pitch, layer))
    after = np.full(len(order), np.inf)
    same = (np.diff(layer[order]) == 0) & (np.diff(pitch[order]) == 0)
    later = np.diff(onset[order]) > 0
    after[order[:-1]] = np.where(same & later, onset[order[1:]], np.inf)
    return after


def _distinct(rows: Array) -> tuple[Array, Array]:
    """The distinct rows of an array of bool, and which of them each row is."""
    packed = np.ascontiguousarray(np.packbits(rows, axis=1))
    view = packed.view(np.dtype((np.void, packed.shape[1]))).ravel()
    _, first, which = np.unique(view, return_index=True, return_inverse=True)
    return rows[first], which


def can_hold(sets: Array, neck: Neck, hand: Hand) -> Array:
    """Return whether what sounds together may lie under a hand, as far as is necessary.

    Each pitch needs a string of its own, and the frets that are held lie within the hand's reach
    along the neck. For each place of the hand the sets of strings that can be taken are followed,
    pitch by pitch, as the bits of one number.

    Parameters
    ----------
    sets : array of bool, sets x pitches
        The last column stands for pitches between two frets.
    neck : Neck
    hand : Hand
    """
    places = [neck.places(pitch) for pitch in range(_PITCHES)]
    somewhere = np.array([bool(found) for found in places] + [False])
    count = sets.sum(axis=1)
    good = ~(sets & ~somewhere).any(axis=1) & (count <= neck.strings)
    if neck.strings > _MOST_STRINGS:
        return good
    # What asks for one note, or none, needs no more.
    left = np.flatnonzero(good & (count > 1))
    good[left] = False
    if not len(left):
        return good
    pitch = _listed(sets[left])
    for lowest in range(neck.capo + 1, neck.frets + 1):
        farthest = int(np.searchsorted(neck.mm, neck.mm[lowest] + hand.refuse_mm + 1e-9)) - 1
        strings = np.zeros(_PITCHES + 1, dtype=np.int64)
        for tone, found in enumerate(places):
            for string, fret in found:
                if fret == neck.capo or lowest <= fret <= farthest or (
                    hand.thumb and string == neck.strings
                ):  # fmt: skip
                    strings[tone] |= 1 << (string - 1)
        fits = _matches(strings[pitch], pitch == _PITCHES, neck.strings)
        good[left[fits]] = True
        left, pitch = left[~fits], pitch[~fits]
        if not len(left):
            break
    return good


def _listed(sets: Array) -> Array:
    """The pitches of each set as a row, ``_PITCHES`` behind them."""
    row, pitch = np.nonzero(sets)
    count = np.bincount(row, minlength=len(sets))
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    listed = np.full((len(sets), int(count.max())), _PITCHES, dtype=np.int64)
    listed[row, place] = pitch
    return listed


def _matches(strings: Array, is_none: Array, count: int) -> Array:
    """Whether each row's pitches can be given strings of their own.

    Bit u of a row's state is set if its pitches so far can take the strings whose bits make u.
    """
    state = np.ones(len(strings), dtype=np.uint64)
    without = [
        np.uint64(sum(1 << used for used in range(1 << count) if not used >> string & 1))
        for string in range(count)
    ]
    for column in range(strings.shape[1]):
        taken = np.where(is_none[:, column], state, np.uint64(0))
        for string in range(count):
            may = (strings[:, column] >> string & 1).astype(bool)
            moved = (state & without[string]) << np.uint64(1 << string)
            taken |= np.where(may, moved, np.uint64(0))
        state = taken
    return state != 0


@dataclass(frozen=True)
class Kinds:
    """What matters of each layer when a player changes.

    Parameters
    ----------
    rank : array of float
        The layer of an option that ranks first gives it its role and its sound.
    role, drive : array of int
    pitch : array, layers x sections
        Mean pitch, by the time that each note lasts; NaN in silence.
    weight : array, layers x sections
        That time, quarter notes.
    """

    rank: Array
    role: Array
    drive: Array
    pitch: Array
    weight: Array

    @classmethod
    def of(cls, material: Material, worth: Array, role: Array) -> Kinds:
        """Return those of layers of some worth and role."""
        pitched = np.flatnonzero(material.is_played & ~np.isnan(material.pitch))
        shape = len(material.names), len(material.sections)
        cell = material.layer[pitched] * shape[1] + material.section[pitched]
        lasts = (material.end - material.onset)[pitched]
        size = shape[0] * shape[1]
        weight = np.bincount(cell, lasts, minlength=size).reshape(shape)
        total = np.bincount(cell, lasts * material.pitch[pitched], minlength=size).reshape(shape)
        drives = list(DRIVE_DECIBELS)
        drive = np.array([drives.index(name) for name in material.parts["drive"]])
        with np.errstate(invalid="ignore"):
            return cls(worth, role, drive, total / weight, weight)

    def first(self, option: Option) -> int:
        """Return the layer that gives an option its role and its sound."""
        return max(option, key=lambda layer: (self.rank[layer], -layer))

    def mean_pitch(self, option: Option, section: int) -> float:
        """Return the mean pitch of an option; NaN without any."""
        own = list(option)
        weight = self.weight[own, section]
        if not weight.sum():
            return float("nan")
        return float(np.nansum(self.pitch[own, section] * weight) / weight.sum())
