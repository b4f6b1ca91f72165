"""What the options ask a hand to hold at once, and what is known of which can be held.

Whether a merge can be held is checked in two steps. First for all options at once, and only what is
necessary: that what sounds at each moment lies on strings of its own within the hand's reach, and
that a pick, where there is one, may reach what is struck. Then for those that are chosen: whether
the hand has fingers for each moment and the pick a stroke, and at last by fingering the whole part
(``fingered_lines``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from arrange.condensing.lineup import Gear
from arrange.condensing.player_options import Option, SectionOptions
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.guitar.fingering.moments import OVERLAP
from arrange.guitar.fingering.ways import Task, find_ways
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.guitar.picking import MOST_ABOVE_PALM, strings_too_far
from arrange.tables.sounding import Array

Asked = tuple[int, Option, int]  # section, option, number of the neck

_PITCHES = 128
_NOWHERE = 128  # where a pitch between two frets is put, which lies on no neck
_MOST_OPTIONS = 1 << 20  # in one section
_MOST_STRINGS = 6  # up to which sets of strings are the bits of one number
_SETS = ("sets", "struck", "unmuted")
_UNTESTED, _CAN, _CANNOT = 0, 1, 2


@dataclass(frozen=True)
class HeldTogether:
    """The sets of pitches that options ask a hand to hold, moment by moment.

    Parameters
    ----------
    sets, struck, unmuted : array of bool, sets x pitches
        What sounds, what of it is struck, and what of that is not muted with the palm.
    section, option, which, attacks : array of int
        A row for each section, option and set that it asks for, and in how many attacks.
    """

    sets: Array
    struck: Array
    unmuted: Array
    section: Array
    option: Array
    which: Array
    attacks: Array

    def share(self, is_counted: Array, section: int, options: int) -> Array:
        """Return in what share of the attacks of each option in a section a set is counted."""
        here = self.section == section
        option, attacks = self.option[here], self.attacks[here]
        every = np.bincount(option, attacks, minlength=options)
        some = np.bincount(option, attacks * is_counted[self.which[here]], minlength=options)
        return np.asarray(some / np.maximum(every, 1))

    def needs_fingers(self, section: int, option: int, gear: Gear) -> bool:
        """Return whether the fingers can sound what an option asks for, and a pick cannot."""
        key = section, option, gear
        if key not in self._worked_out:
            own = self.which[(self.section == section) & (self.option == option)]
            some = replace(self, **{name: getattr(self, name)[own] for name in _SETS})
            every, by_fingers = np.arange(len(own)), replace(gear, picks="fingers")
            self._worked_out[key] = bool(
                _may_play(some, by_fingers).all()
                and _can_play(some, every, by_fingers).all()
                and not _can_play(some, every, gear).all()
            )
        return self._worked_out[key]

    @cached_property
    def _worked_out(self) -> dict[tuple[int, int, Gear], bool]:
        """What has been worked out of ``needs_fingers``."""
        return {}


@dataclass(frozen=True)
class Playability:
    """What is known of which options can be held.

    Parameters
    ----------
    options : tuple of SectionOptions
    necks : tuple of Gear
    asked : HeldTogether
    tested : array of int, necks x sets
        Whether each set was tested in full, and can be held.
    playable : tuple of array of bool, necks x options
        For each section, whether an option can be held on each neck, as far as is known.
    stretched : tuple of array of float, necks x options
        For each section, in what share of an option's attacks the hand reaches at least beyond what
        is comfortable.
    fingered : frozenset of Asked
        Of which that share is known, since they have been fingered.
    """

    options: tuple[SectionOptions, ...]
    necks: tuple[Gear, ...]
    asked: HeldTogether
    tested: Array
    playable: tuple[Array, ...]
    stretched: tuple[Array, ...]
    fingered: frozenset[Asked] = frozenset()

    @classmethod
    def of(
        cls,
        recorded: RecordedLayers,
        options: tuple[SectionOptions, ...],
        necks: tuple[Gear, ...],
    ) -> Playability:
        """Return what is necessary: all other options are playable, as far as is known."""
        asked = _Sounding.of(recorded).held_together([own.options for own in options])
        held = [_may_play(asked, each) for each in necks]
        wide = [~_is_comfortable(asked, each) for each in necks]
        found, stretched = [], []
        for section, own in enumerate(options):
            here = asked.section == section
            playable = np.ones((len(necks), len(own.options)), dtype=bool)
            for number, holds in enumerate(held):
                playable[number, asked.option[here][~holds[asked.which[here]]]] = False
            found.append(playable)
            shares = [asked.share(each, section, len(own.options)) for each in wide]
            stretched.append(np.array(shares))
        tested = np.full((len(necks), len(asked.sets)), _UNTESTED, dtype=np.int8)
        return cls(options, necks, asked, tested, tuple(found), tuple(stretched))

    def with_known(self, known: Mapping[Asked, bool]) -> Playability:
        """Return it with what has been learned: whether options can be held on a neck."""
        playable = [own.copy() for own in self.playable]
        for (section, option, number), can in known.items():
            options = self.options[section].options
            if option in options:
                playable[section][number, options.index(option)] = can
        return replace(self, playable=tuple(playable))

    def with_known_of(self, other: Playability) -> Playability:
        """Return it with what another one has learned of the options that both have."""
        playable, stretched = ([own.copy() for own in each] for each in
                               (self.playable, self.stretched))  # fmt: skip
        for section, (own, known) in enumerate(zip(self.options, other.options, strict=True)):
            at = {option: place for place, option in enumerate(known.options)}
            both = [(n, at[option]) for n, option in enumerate(own.options) if option in at]
            here, there = np.array(both).T
            playable[section][:, here] = other.playable[section][:, there]
            stretched[section][:, here] = other.stretched[section][:, there]
        fingered = frozenset(
            asked for asked in other.fingered if asked[1] in self.options[asked[0]].options
        )
        return replace(
            self, playable=tuple(playable), stretched=tuple(stretched), fingered=fingered
        )

    def with_stretches(self, found: Mapping[Asked, float]) -> Playability:
        """Return it with the share of attacks that reached too far where they were fingered."""
        stretched = [own.copy() for own in self.stretched]
        for (section, option, number), share in found.items():
            place = self.options[section].options.index(option)
            least = stretched[section][number, place]
            stretched[section][number, place] = max(least, share)
        fingered = self.fingered | found.keys()
        return replace(self, stretched=tuple(stretched), fingered=fingered)

    def tested_in_full(
        self, wanted: Sequence[tuple[int, int]], number: int
    ) -> tuple[Playability, list[tuple[int, int]]]:
        """Test all moments of some options; forbid every merge with one that cannot be held.

        Parameters
        ----------
        wanted : sequence of (section, place of the option)
        number : int
            Of the neck.

        Returns
        -------
        Playability
        list of (section, place of the option)
            Those of `wanted` that cannot be held. A single layer among them is not forbidden:
            strings that the source gave may let go what a hand cannot hold.
        """
        asked, known = self.asked, self.tested[number].copy()
        code = asked.section * _MOST_OPTIONS + asked.option
        sets = np.unique(asked.which[np.isin(code, [s * _MOST_OPTIONS + o for s, o in wanted])])
        new = sets[known[sets] == _UNTESTED]
        able = _can_play(asked, new, self.necks[number])
        known[new] = np.where(able, _CAN, _CANNOT)
        bad = {
            divmod(one, _MOST_OPTIONS)
            for one in np.unique(code[known[asked.which] == _CANNOT]).tolist()
        }
        playable = [own.copy() for own in self.playable]
        for section, place in bad:
            if len(self.options[section].options[place]) > 1:
                playable[section][number, place] = False
        tested = self.tested.copy()
        tested[number] = known
        learned = replace(self, tested=tested, playable=tuple(playable))
        return learned, [one for one in wanted if one in bad]

    def needs_fingers(self, section: int, option: Option, necks: Sequence[int]) -> bool:
        """Return whether an option is refused on some necks only since a pick cannot strike it."""
        place = self.options[section].options.index(option)
        return not self.playable[section][list(necks), place].any() and any(
            self.asked.needs_fingers(section, place, self.necks[number]) for number in necks
        )


def _may_play(asked: HeldTogether, gear: Gear) -> Array:
    """Whether each set can be held and struck, as far as is necessary."""
    different, which = _distinct(asked.sets)
    may = can_hold(different, gear.neck, gear.hand)[which]
    if gear.picks == "pick":
        different, which = _distinct(asked.struck)
        may &= can_hold(different, gear.neck, gear.hand, picked=True)[which]
        may &= ~_far_above_palm(asked)
    return may


def _is_comfortable(asked: HeldTogether, gear: Gear) -> Array:
    """Whether each set may lie within the comfortable span of the hand."""
    different, which = _distinct(asked.sets)
    return can_hold(different, gear.neck, gear.hand, reach_mm=gear.hand.comfortable_mm)[which]


def _can_play(asked: HeldTogether, sets: Array, gear: Gear) -> Array:
    """Whether each of some sets can be held and struck."""
    neck, picked = gear.neck, gear.picks == "pick"
    places = [tuple(neck.places(pitch)) for pitch in range(_PITCHES)] + [()]
    every = zip(asked.struck[sets], asked.sets[sets], strict=True)
    tasks = [
        Task(
            tuple(places[pitch] for pitch in np.flatnonzero(struck)),
            tuple(places[pitch] for pitch in np.flatnonzero(sounding & ~struck)),
            picked=picked,
        )
        for struck, sounding in every
    ]
    able = [bool(ways.one_stroke.any()) for ways in find_ways(tasks, neck, gear.hand)]
    return np.array(able, dtype=bool) & ~(picked & _far_above_palm(asked)[sets])


def _far_above_palm(asked: HeldTogether) -> Array:
    """Whether a note rings too far above one that the palm mutes, both struck at once."""
    pitch = np.arange(_NOWHERE + 1)
    muted = asked.struck & ~asked.unmuted
    lowest = np.where(muted, pitch, _NOWHERE).min(axis=1, initial=_NOWHERE)
    highest = np.where(asked.unmuted, pitch, 0).max(axis=1, initial=0)
    far: Array = highest - lowest > MOST_ABOVE_PALM
    return far


@dataclass(frozen=True)
class _Sounding:
    """What each layer holds at each moment at which any layer begins something.

    Parameters
    ----------
    section : array of int
        Of each moment.
    struck : array of bool, layers x moments
    held : array of int, layers x moments
        Which row of `pitches` the layer has then.
    pitches : array of bool, rows x 3 times pitches
        What sounds, what of it is struck, and what of that is not muted with the palm.
    """

    section: Array
    struck: Array
    held: Array
    pitches: Array

    @classmethod
    def of(cls, recorded: RecordedLayers) -> _Sounding:
        """Return what the layers hold."""
        rows = np.flatnonzero(recorded.is_played & ~np.isnan(recorded.pitch))
        onset, section = recorded.onset[rows], recorded.section[rows]
        layer, pitch = recorded.layer[rows], recorded.pitch[rows]
        moments, first, at = np.unique(onset, return_index=True, return_inverse=True)
        struck = np.zeros((len(recorded.names), len(moments)), dtype=bool)
        struck[layer, at] = True
        # A note is held until its section ends or its layer strikes its pitch again.
        until = np.minimum(recorded.end[rows] - OVERLAP, recorded.ends[section])
        until = np.minimum(until, _struck_again(layer, pitch, onset))
        last = np.maximum(np.searchsorted(moments, until - 1e-9), at + 1)
        count = last - at
        note = np.repeat(np.arange(len(rows)), count)
        moment = at[note] + np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count)
        whole = np.rint(pitch).astype(np.int64)
        slot = np.where(pitch == whole, whole, _NOWHERE)
        cells = np.zeros((len(recorded.names) * max(len(moments), 1), 3, _NOWHERE + 1), dtype=bool)
        cells[layer[note] * max(len(moments), 1) + moment, 0, slot[note]] = True
        cell = layer * max(len(moments), 1) + at
        cells[cell, 1, slot] = True
        technique = recorded.song.notes["technique"].iloc[recorded.row[rows]]
        unmuted = ~technique.str.contains("palm mute", na=False).to_numpy(dtype=bool)
        cells[cell[unmuted], 2, slot[unmuted]] = True
        pitches, held = _distinct(cells.reshape(len(cells), -1))
        return cls(section[first], struck, held.reshape(len(recorded.names), -1), pitches)

    def held_together(self, options: list[tuple[Option, ...]]) -> HeldTogether:
        """Return the different sets of pitches that options ask for, and which asks for which."""
        none = np.zeros(0, dtype=np.int64)
        keys, sections, numbers, counts = [none], [none], [none], [none]
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
            both, attacks = np.unique(key * len(own) + np.nonzero(used)[0] + 1, return_counts=True)
            counts.append(attacks)
            keys.append(both // len(own))
            numbers.append(both % len(own))
            sections.append(np.full(len(both), section))
        key, which = np.unique(np.concatenate(keys), return_inverse=True)
        both = self.pitches[key // size] | self.pitches[key % size]
        sets, struck, unmuted = both.reshape(len(both), 3, -1).transpose(1, 0, 2)
        begins, option = np.concatenate(sections), np.concatenate(numbers)
        return HeldTogether(sets, struck, unmuted, begins, option, which, np.concatenate(counts))


def _struck_again(layer: Array, pitch: Array, onset: Array) -> Array:
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


def can_hold(
    sets: Array, neck: Neck, hand: Hand, *, picked: bool = False, reach_mm: float | None = None
) -> Array:
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
    picked : bool
        It also lies on strings that a pick may strike at once.
    reach_mm : float, optional
        How far the hand reaches along the neck; else as far as its limits allow.
    """
    reach = hand.refuse_mm if reach_mm is None else reach_mm
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
    allowed = _allowed(neck.strings, picked=picked)
    for lowest in range(neck.capo + 1, neck.frets + 1):
        farthest = int(np.searchsorted(neck.mm, neck.mm[lowest] + reach + 1e-9)) - 1
        strings = np.zeros(_PITCHES + 1, dtype=np.int64)
        for tone, found in enumerate(places):
            for string, fret in found:
                if fret == neck.capo or lowest <= fret <= farthest or (
                    hand.thumb and string == neck.strings
                ):  # fmt: skip
                    strings[tone] |= 1 << (string - 1)
        fits = _string_sets(strings[pitch], pitch == _PITCHES, neck.strings) & allowed != 0
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


def _allowed(strings: int, *, picked: bool) -> np.uint64:
    """The sets of strings that may be struck, as the bits of one number."""
    used = np.arange(1 << strings)
    may = ~strings_too_far(used) if picked else used >= 0
    return np.uint64(sum(1 << each for each in used[may].tolist()))


def _string_sets(strings: Array, is_none: Array, count: int) -> Array:
    """The sets of strings that each row's pitches can take, each a string of its own.

    Bit u of a row's state is set if its pitches can take the strings whose bits make u.
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
    return state
