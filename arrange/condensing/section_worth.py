"""What a set of layers is worth in a section, for every set at once.

A section is represented as *items*: the layers that supply each one, and its seconds. Layers that
play exactly the same are one *class*, and supply the same. A set of layers covers an item if one of
its layers supplies it, so that what is there twice counts once: the worth is a coverage function,
and one layer more never adds less to a smaller set than to a larger one. The worth of all sets
follows from the sums by mask, added up over subsets (a zeta transform): n 2^n additions, however
many items there are. Where too many layers play for that, the tables hold the sets of those that
are kept (``kept_layers``); what any layers are worth can be asked for as well.

Items, by term:

- line: each note, by its onset and pitch class, and with a share by its very pitch; the seconds it
  lasts (those of a chord shared among its notes) times what the role of its layer is worth;
- harmony: each slice of time and each member of its chord, or each pitch class that sounds where
  there is no chord symbol;
- attacks: each moment at which something begins;
- top: each slice of time, for those that sound its highest pitch;
- presence: each layer, exact duplicates as one.

Clashes take away: for two layers with findings between them, less than what either adds to all the
others; shared out so that one layer more never makes it worse. Growth takes away the seconds
by which a section is fuller than its place in the recording, measured against the fullest that so
many layers as there are players can be.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.condensing.clash_penalties import Items, clash_items
from arrange.condensing.recorded_layers import RecordedLayers, Slices
from arrange.condensing.weights import Weights, rounded
from arrange.quantities.texture import song_energy
from arrange.tables.song import Song
from arrange.tables.sounding import Array, sounding_notes

CLEARLY = 0.15  # salience by which a lower lead comes before the one on top


@dataclass(frozen=True)
class SectionWorth:
    """What the layers of a section are worth.

    Parameters
    ----------
    layers : tuple of int
        Those that play.
    kept : tuple of int
        Those of the tables; bit k of a mask stands for the layer at k.
    seconds : float
        Length of the section.
    classes : tuple of tuple of int
        The layers that play exactly the same.
    items : dict of term to (covers, seconds)
        Whether each class supplies each item: items x classes. What clashes take away is
        represented as items too, some of them negative.
    lead_class : int
        The class of which a layer must be played; -1 for none.
    fullness : array
        For each class, its share of the section's energy.
    place : float
        Energy of the section against the song's fullest, 0 to 1.
    """

    layers: tuple[int, ...]
    kept: tuple[int, ...]
    seconds: float
    classes: tuple[tuple[int, ...], ...]
    items: dict[str, Items]
    lead_class: int
    fullness: Array
    place: float

    @cached_property
    def class_of(self) -> dict[int, int]:
        """The class of each layer."""
        return {layer: number for number, own in enumerate(self.classes) for layer in own}

    @cached_property
    def all_items(self) -> Items:
        """The items of all terms, those that the same classes supply as one."""
        covers, seconds = joined(list(self.items.values()))
        if not self.classes:
            return covers, seconds
        packed = np.packbits(covers, axis=1)
        rows = packed.view(np.dtype((np.void, packed.shape[1]))).ravel()
        _, first, which = np.unique(rows, return_index=True, return_inverse=True)
        return covers[first], np.bincount(which, seconds, minlength=len(first))

    @cached_property
    def covered(self) -> Array:
        """Worth of every set of those kept, without growth."""
        covers, seconds = self.all_items
        return rounded(over_sets(self.masks(covers), seconds, len(self.kept)))

    @cached_property
    def full(self) -> Array:
        """How full every set of those kept is, in the unit of `place`."""
        each = np.eye(len(self.classes), dtype=bool)
        return over_sets(self.masks(each), self.fullness, len(self.kept))

    def masks(self, covers: Array) -> Array:
        """Return the kept layers that supply each item, as bits."""
        columns = [self.class_of[layer] for layer in self.kept]
        return covers[:, columns] @ (np.int64(1) << np.arange(len(columns)))

    @property
    def lead(self) -> int:
        """Mask of those of which one must be played; 0 for none."""
        return self.mask(self.classes[self.lead_class]) if self.lead_class >= 0 else 0

    def too_full(self, full: Array, fullest: float, weight: float) -> Array:
        """Return what growth takes away from sets that are so full, seconds."""
        if not fullest:
            return np.zeros_like(full)
        excess = np.maximum(full / fullest - self.place - 1e-9, 0)
        return rounded(weight * self.seconds * excess)

    def fullness_of(self, layers: Iterable[int]) -> float:
        """Return how full some layers are together."""
        return float(self.fullness[self._has(layers)].sum())

    def by_term(self, layers: Iterable[int]) -> dict[str, float]:
        """Return what some layers are worth, term by term, without growth."""
        has = self._has(layers)
        return {
            term: float(seconds[covers[:, has].any(axis=1)].sum())
            for term, (covers, seconds) in self.items.items()
        }

    def worth_of(self, layers: Iterable[int]) -> float:
        """Return what some layers are worth together, without growth."""
        covers, seconds = self.all_items
        return float(rounded(seconds[covers[:, self._has(layers)].any(axis=1)].sum()))

    def adds(self, to: Iterable[int], options: Sequence[Iterable[int]]) -> Array:
        """Return what each of some options adds to layers that are played, without growth."""
        covers, seconds = self.all_items
        left = np.where(covers[:, self._has(to)].any(axis=1), 0.0, seconds)
        supplies = covers @ np.array([self._has(option) for option in options]).T
        return rounded(np.einsum("i,ij->j", left, supplies))

    def _has(self, layers: Iterable[int]) -> Array:
        """Which classes some layers are of."""
        has = np.zeros(len(self.classes), dtype=bool)
        has[[self.class_of[layer] for layer in layers if layer in self.class_of]] = True
        return has

    def mask(self, layers: Iterable[int]) -> int:
        """Return the mask of some layers; those that are not kept here count for nothing."""
        wanted = set(layers)
        return sum(1 << bit for bit, layer in enumerate(self.kept) if layer in wanted)


def over_sets(masks: Array, seconds: Array, count: int) -> Array:
    """Return for every set of `count` layers the seconds of the items that it covers."""
    inside = np.bincount(masks, seconds, minlength=1 << count)
    for bit in range(count):
        pairs = inside.reshape(-1, 2, 1 << bit)
        pairs[:, 1] += pairs[:, 0]
    # An item is missed if all that supply it are outside the set.
    missed = inside[::-1]
    return inside[-1] - missed


def section_worth(
    recorded: RecordedLayers,
    section: int,
    roles: pd.DataFrame,
    clashes: pd.DataFrame,
    weights: Weights,
) -> SectionWorth:
    """Return what the layers are worth in a section.

    Parameters
    ----------
    recorded : RecordedLayers
    section : int
    roles : DataFrame
        As of ``layer_roles``.
    clashes : DataFrame
        As of ``pair_severity``.
    weights : Weights
    """
    layers = tuple(np.flatnonzero(recorded.present[:, section]).tolist())
    seconds = float(recorded.seconds[section])
    worth = weights.of_layers(roles)
    classes = _classes(recorded, section, layers)
    for same in classes:
        worth[list(same)] = worth[list(same)].max()
    heard = _Section(recorded, section, classes, weights)
    items = {
        "line": heard.line(worth),
        "harmony": heard.harmony(),
        "attacks": heard.attacks(),
        "top": heard.top(),
        "presence": heard.presence(),
    }
    between = clashes[clashes["section"] == section]
    items["clash"] = clash_items(joined(list(items.values())), classes, between, weights.clash)
    lead = _lead(layers, classes, roles)
    return SectionWorth(layers, layers, seconds, classes, items, lead, np.zeros(len(classes)), 0.0)


def _classes(
    recorded: RecordedLayers, section: int, layers: tuple[int, ...]
) -> tuple[tuple[int, ...], ...]:
    """The layers that play exactly the same."""
    same: dict[bytes, list[int]] = {}
    here = np.flatnonzero(recorded.section == section)
    for layer in layers:
        own = here[recorded.layer[here] == layer]
        columns = np.stack([recorded.onset[own], recorded.end[own], recorded.pitch[own]])
        same.setdefault(columns.tobytes(), []).append(layer)
    return tuple(tuple(own) for own in same.values())


def _lead(
    layers: tuple[int, ...], classes: tuple[tuple[int, ...], ...], roles: pd.DataFrame
) -> int:
    """Class of the lead on top, or of one that is clearly more salient; -1 for none."""
    here = roles.iloc[list(layers)].assign(layer=layers)
    leads = here[here["role"] == "lead"]
    if leads.empty:
        return -1
    salience = leads["salience"].to_numpy()
    best = int(leads["on_top"].to_numpy().argmax())
    most = int(salience.argmax())
    if salience[most] > salience[best] + CLEARLY:
        best = most
    lead = int(leads["layer"].iloc[best])
    return next(number for number, own in enumerate(classes) if lead in own)


class _Section:
    """The notes of one section, from which its items are made."""

    def __init__(
        self,
        recorded: RecordedLayers,
        section: int,
        classes: tuple[tuple[int, ...], ...],
        weights: Weights,
    ) -> None:
        self.recorded, self.section, self.weights = recorded, section, weights
        self.count = len(classes)
        # Of each class the first layer stands for all.
        of = np.full(len(recorded.names), -1)
        of[[own[0] for own in classes]] = np.arange(self.count)
        self.of_note = of[recorded.layer]
        self.cut: Slices = recorded.sliced(section, self.of_note >= 0)
        self.length = self.cut.seconds[self.cut.at]
        here = (recorded.section == section) & recorded.is_played
        self.rows = np.flatnonzero(here & (self.of_note >= 0))

    def line(self, worth: Array) -> Items:
        """Notes by onset and pitch class, and by pitch."""
        times = len(self.cut.seconds)
        cell = self.of_note[self.cut.note] * times + self.cut.at
        at_once = np.bincount(cell, minlength=self.count * times)[cell]
        own = np.bincount(self.cut.note, self.length / at_once, minlength=len(self.recorded.row))
        rows = self.rows[~np.isnan(self.recorded.pitch[self.rows])]
        seconds = own[rows] * worth[self.recorded.layer[rows]] * self.weights.line
        place = self.recorded.place[rows] - self.recorded.place[rows].min(initial=0)
        pitch = self.recorded.pitch[rows]
        share = self.weights.octave
        found = [
            _levels(
                place * 4096 + np.rint(tone * 16).astype(np.int64),
                self.of_note[rows],
                part,
                self.count,
            )
            for tone, part in ((pitch % 12, seconds * (1 - share)), (pitch, seconds * share))
        ]
        return joined(found)

    def _suppliers(self, which: Array, note: Array, count: int) -> Array:
        """Which classes have notes at each of `count` keys: keys x classes."""
        covers = np.zeros((count, self.count), dtype=bool)
        covers[which, self.of_note[note]] = True
        return covers

    def harmony(self) -> Items:
        """Members of the chord of each slice."""
        note, at = self.cut.note, self.cut.at
        pitch = self.recorded.pitch[note]
        whole = ~np.isnan(pitch)
        tone = np.rint(pitch[whole]).astype(np.int64) % 12
        at = at[whole]
        shares = self._member_shares(at, tone)
        key, first, which = np.unique(at * 12 + tone, return_index=True, return_inverse=True)
        covers = self._suppliers(which, note[whole], len(key))
        seconds = self.cut.seconds[at[first]] * shares[at[first], tone[first]]
        return covers, seconds * self.weights.harmony

    def _member_shares(self, at: Array, tone: Array) -> Array:
        """How the pitch classes share each slice: slices x 12."""
        song = self.recorded.song
        shares = np.zeros((len(self.cut.seconds), 12))
        begins = song.chords["onset"].to_numpy()
        until = begins + song.chords["duration"].to_numpy()
        starts = self.cut.lines[:-1]
        row = np.searchsorted(begins, starts + 1e-9, side="right") - 1
        has_chord = np.asarray((row >= 0) & (starts + 1e-9 < np.append(until, -np.inf)[row]))
        members = _chord_shares(song.chords, self.weights, has_bass=self._has_bass())
        if len(members):
            shares[has_chord] = members[row[has_chord]]
        bare = ~np.asarray((shares > 0).any(axis=1))
        shares[at[bare[at]], tone[bare[at]]] = 1.0
        total = shares.sum(axis=1, keepdims=True)
        return shares / np.where(total > 0, total, 1)

    def _has_bass(self) -> bool:
        """Whether a bass plays here that is none of the layers."""
        song, name = self.recorded.song, self.recorded.sections[self.section]
        basses = set(song.parts.loc[song.parts["family"] == "bass", "part"])
        here = song.notes[song.notes["section"] == name]
        return bool(here["part"].isin(basses - set(self.recorded.names)).any())

    def attacks(self) -> Items:
        """Moments at which something begins."""
        place, which = np.unique(self.recorded.place[self.rows], return_inverse=True)
        covers = self._suppliers(which, self.rows, len(place))
        each = self.recorded.seconds[self.section] / max(len(place), 1)
        return covers, np.full(len(place), each * self.weights.attacks)

    def top(self) -> Items:
        """Slices, for those who sound the highest pitch."""
        pitch = np.nan_to_num(self.recorded.pitch[self.cut.note], nan=-np.inf)
        highest = np.full(len(self.cut.seconds), -np.inf)
        np.maximum.at(highest, self.cut.at, pitch)
        on_top = (pitch == highest[self.cut.at]) & np.isfinite(pitch)
        when = self.cut.at
        covers = self._suppliers(when[on_top], self.cut.note[on_top], len(highest))
        return covers, np.where(covers.any(axis=1), self.cut.seconds, 0.0) * self.weights.top

    def presence(self) -> Items:
        """Layers, for the time that they sound."""
        sounding = self.cut.sounding(self.of_note[self.cut.note], self.count)
        return np.eye(self.count, dtype=bool), sounding * self.weights.presence


def _chord_shares(chords: pd.DataFrame, weights: Weights, *, has_bass: bool) -> Array:
    """What each pitch class of each chord counts: chords x 12; 0 for "no chord"."""
    by_interval = np.full(12, weights.other)
    by_interval[[3, 4]] = weights.third
    by_interval[[10, 11]] = weights.seventh
    by_interval[7] = weights.fifth
    by_interval[0] = weights.root_over_bass if has_bass else weights.root
    shares = np.zeros((len(chords), 12))
    for row, (root, members) in enumerate(
        zip(chords["root"].tolist(), chords["pitch_classes"].tolist(), strict=True)
    ):
        if not pd.isna(root):
            for member in members:
                shares[row, member] = by_interval[(member - root) % 12]
    return shares


def _levels(key: Array, own: Array, seconds: Array, count: int) -> Items:
    """Items of which a set has the greatest that any of its classes supplies, as steps.

    A note that one class holds for three seconds and another for two is an item of two seconds
    that both supply, and one of a second that the one supplies alone.
    """
    pairs, which = np.unique(key * count + own, return_inverse=True)
    amount = np.bincount(which, seconds, minlength=len(pairs))
    key, own = np.divmod(pairs, count)
    order = np.lexsort((own, -amount, key))
    key, own, amount = key[order], own[order], amount[order]
    is_last = np.append(key[1:] != key[:-1], True) if len(key) else np.zeros(0, dtype=bool)
    step = amount - np.where(is_last, 0.0, np.append(amount[1:], 0.0))
    # What the classes of a key supply so far.
    has = np.zeros((len(key) + 1, count), dtype=np.int64)
    has[np.arange(1, len(key) + 1), own] = 1
    total = np.cumsum(has, axis=0)
    first = np.flatnonzero(np.append(True, is_last[:-1])) if len(key) else np.zeros(0, dtype=int)
    before = np.repeat(total[first], np.diff(np.append(first, len(key))), axis=0)
    return total[1:] > before, step


def joined(items: list[Items]) -> Items:
    """Return the items of several terms as one."""
    covers, seconds = zip(*items, strict=True)
    return np.concatenate(covers), np.concatenate(seconds)


def energy_places(recorded: RecordedLayers) -> Array:
    """Return the energy of each section's layers against the song's fullest, 0 to 1."""
    song = recorded.song
    parts = song.parts[song.parts["part"].isin(recorded.names)]
    notes = sounding_notes(song.notes)
    own = Song(
        parts,
        song.sections,
        song.measures,
        song.chords,
        notes[notes["part"].isin(recorded.names)],
        setups=song.setups[song.setups["part"].isin(recorded.names)],
    )
    table = song_energy(own).set_index("section")["energy"]
    energy = table.reindex(recorded.sections).fillna(0.0).to_numpy()
    return energy / max(float(energy.max(initial=0)), 1e-9)


def with_fullness(
    worth: SectionWorth, recorded: RecordedLayers, section: int, place: float
) -> SectionWorth:
    """Return the worth with the section's energy shared out among its classes.

    A layer's share is the mean of its shares in the time that layers sound, the time that notes
    sound, and the attacks.
    """
    cut = recorded.sliced(section)
    firsts = [own[0] for own in worth.classes]
    count = len(recorded.names)
    layer = recorded.layer[cut.note]
    rows = np.flatnonzero((recorded.section == section) & recorded.is_played)
    struck = np.unique(recorded.layer[rows] << 40 | recorded.place[rows])
    shares = [
        cut.sounding(layer, count),
        np.bincount(layer, cut.seconds[cut.at], minlength=count),
        np.bincount(struck >> 40, minlength=count).astype(np.float64),
    ]
    own = np.array([share[firsts] for share in shares]).reshape(len(shares), -1)
    total = own.sum(axis=1, keepdims=True)
    fullness = np.mean(own / np.where(total > 0, total, 1), axis=0) * place
    return replace(worth, fullness=fullness, place=place)
