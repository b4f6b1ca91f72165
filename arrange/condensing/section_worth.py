"""What a set of layers is worth in a section, for every set at once.

A section is represented as *items*: the layers that supply each one (bits of a mask), and its
seconds. A set of layers covers an item if one of its layers supplies it, so that what is there
twice counts once: the worth is a coverage function, and one layer more never adds less to a
smaller set than to a larger one. The worth of all sets follows from the sums by mask, added up
over subsets (a zeta transform): n 2^n additions, however many items there are.

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

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.condensing.clash_penalties import Items, clash_items
from arrange.condensing.recorded_layers import RecordedLayers, Slices
from arrange.condensing.weights import Weights, rounded
from arrange.errors import ArrangeError
from arrange.quantities.texture import song_energy
from arrange.tables.song import Song
from arrange.tables.sounding import Array, sounding_notes

MOST_LAYERS = 18  # in one section
CLEARLY = 0.15  # salience by which a lower lead comes before the one on top


@dataclass(frozen=True)
class SectionWorth:
    """What the layers of a section are worth.

    Parameters
    ----------
    layers : tuple of int
        Those that play; bit k of a mask stands for the layer at k.
    seconds : float
        Length of the section.
    items : dict of term to (masks, seconds)
        What clashes take away is represented as items too, some of them negative.
    lead : int
        Mask of those of which one must be played; 0 for none.
    classes : tuple of int
        Masks of the layers that play exactly the same.
    fullness : array
        For each class, its share of the section's energy.
    place : float
        Energy of the section against the song's fullest, 0 to 1.
    """

    layers: tuple[int, ...]
    seconds: float
    items: dict[str, Items]
    lead: int
    classes: tuple[int, ...]
    fullness: Array
    place: float

    @cached_property
    def covered(self) -> Array:
        """Worth of every set, without growth."""
        masks, seconds = (np.concatenate(each) for each in zip(*self.items.values(), strict=True))
        table = over_sets(masks, seconds, len(self.layers))
        return rounded(table)

    @cached_property
    def full(self) -> Array:
        """How full every set is, in the unit of `place`."""
        return over_sets(np.array(self.classes, dtype=np.int64), self.fullness, len(self.layers))

    def too_full(self, fullest: float, weight: float) -> Array:
        """Return what growth takes away from every set, seconds."""
        if not fullest:
            return np.zeros_like(self.full)
        excess = np.maximum(self.full / fullest - self.place - 1e-9, 0)
        return rounded(weight * self.seconds * excess)

    def by_term(self, mask: int) -> dict[str, float]:
        """Return what a set is worth, term by term, without growth."""
        return {
            term: float(seconds[(masks & mask) != 0].sum())
            for term, (masks, seconds) in self.items.items()
        }

    def mask(self, layers: Iterable[int]) -> int:
        """Return the mask of some layers; those that are silent here count for nothing."""
        wanted = set(layers)
        return sum(1 << bit for bit, layer in enumerate(self.layers) if layer in wanted)

    def class_of(self, bit: int) -> int:
        """Return the mask of those that play the same as one."""
        return next(mask for mask in self.classes if mask >> bit & 1)


def over_sets(masks: Array, seconds: Array, count: int) -> Array:
    """Return for every set of `count` layers the seconds of the items that it covers."""
    inside = np.bincount(masks, seconds, minlength=1 << count)
    for bit in range(count):
        pairs = inside.reshape(-1, 2, 1 << bit)
        pairs[:, 1] += pairs[:, 0]
    # An item is missed if all that supply it are outside the set.
    missed = inside[::-1]
    return inside[-1] - missed


def check_layers(recorded: RecordedLayers) -> None:
    """Raise an ArrangeError if more layers play in a section than can be weighed."""
    playing = recorded.present.sum(axis=0)
    if (playing > MOST_LAYERS).any():
        section = int(np.argmax(playing > MOST_LAYERS))
        raise ArrangeError(
            f"{playing[section]} layers play in {recorded.sections[section]!r}; at most "
            f"{MOST_LAYERS} can be weighed against each other: name fewer, layers=[...]"
        )


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
    for mask in classes:
        same = [layer for bit, layer in enumerate(layers) if mask >> bit & 1]
        worth[same] = worth[same].max()
    heard = _Section(recorded, section, layers, weights)
    items = {
        "line": heard.line(worth),
        "harmony": heard.harmony(),
        "attacks": heard.attacks(),
        "top": heard.top(),
        "presence": heard.presence(classes),
    }
    between = clashes[clashes["section"] == section]
    items["clash"] = clash_items(list(items.values()), classes, layers, between, weights.clash)
    return SectionWorth(
        layers, seconds, items, _lead(layers, classes, roles), classes, np.zeros(len(classes)), 0.0
    )


def _classes(recorded: RecordedLayers, section: int, layers: tuple[int, ...]) -> tuple[int, ...]:
    """Masks of the layers that play exactly the same."""
    same: dict[bytes, int] = {}
    for bit, layer in enumerate(layers):
        own = (recorded.section == section) & (recorded.layer == layer)
        columns = np.stack([recorded.onset[own], recorded.end[own], recorded.pitch[own]])
        content = columns.tobytes()
        same[content] = same.get(content, 0) | 1 << bit
    return tuple(sorted(same.values()))


def _lead(layers: tuple[int, ...], classes: tuple[int, ...], roles: pd.DataFrame) -> int:
    """The lead on top, or one that is clearly more salient, with its exact duplicates."""
    here = roles.iloc[list(layers)].assign(bit=np.arange(len(layers)))
    leads = here[here["role"] == "lead"].sort_values("bit")
    if leads.empty:
        return 0
    salience = leads["salience"].to_numpy()
    best = int(leads["on_top"].to_numpy().argmax())
    most = int(salience.argmax())
    if salience[most] > salience[best] + CLEARLY:
        best = most
    bit = int(leads["bit"].iloc[best])
    return next(mask for mask in classes if mask >> bit & 1)


class _Section:
    """The notes of one section, from which its items are made."""

    def __init__(
        self, recorded: RecordedLayers, section: int, layers: tuple[int, ...], weights: Weights
    ) -> None:
        self.recorded, self.section, self.weights = recorded, section, weights
        self.cut: Slices = recorded.sliced(section)
        self.layers = layers
        bit = np.zeros(len(recorded.names), dtype=np.int64)
        bit[list(layers)] = np.arange(len(layers))
        self.bit = bit[recorded.layer]
        self.length = self.cut.seconds[self.cut.at]
        self.rows = np.flatnonzero((recorded.section == section) & recorded.is_played)

    def line(self, worth: Array) -> Items:
        """Notes by onset and pitch class, and by pitch."""
        count, times = len(self.layers), len(self.cut.seconds)
        cell = self.bit[self.cut.note] * times + self.cut.at
        at_once = np.bincount(cell, minlength=count * times)[cell]
        own = np.bincount(self.cut.note, self.length / at_once, minlength=len(self.recorded.row))
        rows = self.rows[~np.isnan(self.recorded.pitch[self.rows])]
        seconds = own[rows] * worth[self.recorded.layer[rows]] * self.weights.line
        place = self.recorded.place[rows] - self.recorded.place[rows].min(initial=0)
        pitch = self.recorded.pitch[rows]
        share = self.weights.octave
        found = [
            _levels(place * 4096 + np.rint(tone * 16).astype(np.int64), self.bit[rows], part)
            for tone, part in ((pitch % 12, seconds * (1 - share)), (pitch, seconds * share))
        ]
        return _joined(found)

    def harmony(self) -> Items:
        """Members of the chord of each slice."""
        note, at = self.cut.note, self.cut.at
        pitch = self.recorded.pitch[note]
        whole = ~np.isnan(pitch)
        tone = np.rint(pitch[whole]).astype(np.int64) % 12
        at = at[whole]
        shares = self._member_shares(at, tone)
        key, first, which = np.unique(at * 12 + tone, return_index=True, return_inverse=True)
        masks = _ored(which, self.bit[note[whole]], len(key))
        seconds = self.cut.seconds[at[first]] * shares[at[first], tone[first]]
        return masks, seconds * self.weights.harmony

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
        masks = _ored(which, self.bit[self.rows], len(place))
        each = self.recorded.seconds[self.section] / max(len(place), 1)
        return masks, np.full(len(place), each * self.weights.attacks)

    def top(self) -> Items:
        """Slices, for those who sound the highest pitch."""
        pitch = np.nan_to_num(self.recorded.pitch[self.cut.note], nan=-np.inf)
        highest = np.full(len(self.cut.seconds), -np.inf)
        np.maximum.at(highest, self.cut.at, pitch)
        on_top = (pitch == highest[self.cut.at]) & np.isfinite(pitch)
        when = self.cut.at
        masks = _ored(when[on_top], self.bit[self.cut.note[on_top]], len(highest))
        return masks, np.where(masks > 0, self.cut.seconds, 0.0) * self.weights.top

    def presence(self, classes: tuple[int, ...]) -> Items:
        """Layers, for the time that they sound."""
        sounding = self.cut.sounding(self.bit[self.cut.note], len(self.layers))
        seconds = [sounding[mask.bit_length() - 1] for mask in classes]
        return (
            np.array(classes, dtype=np.int64),
            np.array(seconds, dtype=np.float64) * self.weights.presence,
        )


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


def _ored(which: Array, bit: Array, count: int) -> Array:
    """Mask of the bits that come with each of `count` keys."""
    masks = np.zeros(count, dtype=np.int64)
    np.bitwise_or.at(masks, which, np.int64(1) << bit)
    return masks


def _levels(key: Array, bit: Array, seconds: Array) -> Items:
    """Items of which a set has the greatest that any of its layers supplies, as steps.

    A note that one layer holds for three seconds and another for two is an item of two seconds
    that both supply, and one of a second that the one supplies alone.
    """
    pairs, which = np.unique(key * 32 + bit, return_inverse=True)
    amount = np.bincount(which, seconds, minlength=len(pairs))
    key, bit = pairs // 32, pairs % 32
    order = np.lexsort((bit, -amount, key))
    key, bit, amount = key[order], bit[order], amount[order]
    is_last = np.append(key[1:] != key[:-1], True) if len(key) else np.zeros(0, dtype=bool)
    step = amount - np.where(is_last, 0.0, np.append(amount[1:], 0.0))
    bits = np.int64(1) << bit
    total = np.cumsum(bits)
    first = np.flatnonzero(np.append(True, is_last[:-1])) if len(key) else np.zeros(0, dtype=int)
    before = np.repeat(total[first] - bits[first], np.diff(np.append(first, len(key))))
    return total - before, step


def _joined(items: list[Items]) -> Items:
    masks, seconds = zip(*items, strict=True)
    return np.concatenate(masks), np.concatenate(seconds)


def energy_places(recorded: RecordedLayers) -> Array:
    """Return the energy of each section's layers against the song's fullest, 0 to 1."""
    song = recorded.song
    parts = song.parts[song.parts["part"].isin(recorded.names)]
    notes = sounding_notes(song.notes)
    own = Song(
        parts, song.sections, song.measures, song.chords, notes[notes["part"].isin(recorded.names)]
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
    count = len(worth.layers)
    of = {layer: bit for bit, layer in enumerate(worth.layers)}
    bit = np.array([of.get(layer, 0) for layer in range(len(recorded.names))], dtype=np.int64)
    note_bit = bit[recorded.layer[cut.note]]
    rows = np.flatnonzero((recorded.section == section) & recorded.is_played)
    struck = np.unique(bit[recorded.layer[rows]] << 40 | recorded.place[rows])
    shares = [
        cut.sounding(note_bit, count),
        np.bincount(note_bit, cut.seconds[cut.at], minlength=count),
        np.bincount(struck >> 40, minlength=count).astype(np.float64),
    ]
    own = np.array(
        [[share[_bits(mask)].max() for mask in worth.classes] for share in shares]
    ).reshape(len(shares), -1)
    total = own.sum(axis=1, keepdims=True)
    fullness = np.mean(own / np.where(total > 0, total, 1), axis=0) * place
    return replace(worth, fullness=fullness, place=place)


def _bits(mask: int) -> list[int]:
    return [bit for bit in range(mask.bit_length()) if mask >> bit & 1]
