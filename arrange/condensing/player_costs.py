"""What a choice costs a player: two layers at once, other gear, a change to the next section."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from arrange.condensing.lineup import Gear
from arrange.condensing.player_options import Option, SectionOptions
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.condensing.roles import ROLES
from arrange.condensing.weights import Weights, rounded
from arrange.guitar.players import nearest_drive
from arrange.tables.schemas import DRIVES
from arrange.tables.sounding import Array


@dataclass(frozen=True)
class LayerTraits:
    """What matters of each layer when a player changes.

    Parameters
    ----------
    rank : array of float
        The layer of an option that ranks first gives it its role and its sound.
    role : array of int
    drive : array of int, layers x sections
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
    def of(cls, recorded: RecordedLayers, roles: pd.DataFrame, weights: Weights) -> LayerTraits:
        """Return the traits of layers with roles as of ``layer_roles``."""
        role = np.array([list(ROLES).index(name) for name in roles["role"]])
        pitched = np.flatnonzero(recorded.is_played & ~np.isnan(recorded.pitch))
        shape = len(recorded.names), len(recorded.sections)
        cell = recorded.layer[pitched] * shape[1] + recorded.section[pitched]
        lasts = (recorded.end - recorded.onset)[pitched]
        size = shape[0] * shape[1]
        weight = np.bincount(cell, lasts, minlength=size).reshape(shape)
        total = np.bincount(cell, lasts * recorded.pitch[pitched], minlength=size).reshape(shape)
        with np.errstate(invalid="ignore"):
            mean = total / weight
        return cls(weights.of_layers(roles), role, recorded.drives, mean, weight)

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


class _OptionTraits(NamedTuple):
    """Layers, role, drive and mean pitch of each option of a section; -1 and NaN of none."""

    has: Array  # options x layers
    role: Array
    drive: Array
    pitch: Array


@dataclass(frozen=True)
class PlayerCosts:
    """What the options of every section cost a player, seconds.

    Parameters
    ----------
    recorded : RecordedLayers
    options : tuple of SectionOptions
    roles : DataFrame
        As of ``layer_roles``.
    weights : Weights
    """

    recorded: RecordedLayers
    options: tuple[SectionOptions, ...]
    roles: pd.DataFrame
    weights: Weights

    @cached_property
    def traits(self) -> LayerTraits:
        """What matters of each layer when a player changes."""
        return LayerTraits.of(self.recorded, self.roles, self.weights)

    def changes(self, sounds: tuple[str, ...]) -> list[Array]:
        """Return what a change costs with some drives, from each option to each of the next."""
        if sounds not in self._changes:
            played = np.array([DRIVES.index(nearest_drive(sounds, drive)) for drive in DRIVES])
            traits = [self._option_traits(section, played) for section in range(len(self.options))]
            self._changes[sounds] = [
                self._change(section, traits[section], traits[section + 1])
                for section in range(len(self.options) - 1)
            ]
        return self._changes[sounds]

    @cached_property
    def _changes(self) -> dict[tuple[str, ...], list[Array]]:
        """What has been worked out of ``changes``."""
        return {}

    def _option_traits(self, section: int, played: Array) -> _OptionTraits:
        own = self.options[section].options
        has = np.zeros((len(own), len(self.recorded.names)))
        role, drive = np.full(len(own), -1), np.full(len(own), -1)
        pitch = np.full(len(own), np.nan)
        for at, option in enumerate(own):
            if option:
                has[at, list(option)] = 1
                first = self.traits.first(option)
                role[at] = self.traits.role[first]
                drive[at] = played[self.traits.drive[first, section]]
                pitch[at] = self.traits.mean_pitch(option, section)
        return _OptionTraits(has, role, drive, pitch)

    def _change(self, section: int, before: _OptionTraits, now: _OptionTraits) -> Array:
        weights = self.weights
        role, drive, pitch = (one[:, None] for one in before[1:])
        plays = (role >= 0) & (now.role >= 0)
        shared = before.has @ now.has.T
        apart = np.nan_to_num(np.abs(pitch - now.pitch))
        cost = weights.role_change * (role != now.role) + weights.sound_change * (
            drive != now.drive
        )
        cost = np.where(plays & (shared == 0), cost + weights.place * apart, 0.0)
        goes_on = before.has * self.recorded.present[:, section + 1]
        cost += weights.leaving * (goes_on.sum(axis=1)[:, None] - shared)
        # A layer that both hold is not left; one that is silent next is not either.
        return rounded(np.maximum(cost, 0))

    def with_gear(self, section: int, gear: Gear, stretched: Array) -> Array:
        """Return what each option of a section costs with some gear, changes apart.

        `stretched` is the share of each option's attacks that reach beyond what is comfortable.
        """
        lasts, foreign = self._with_gear(section, gear)
        return rounded(foreign + self.weights.stretch * stretched * lasts + self.merging[section])

    def _with_gear(self, section: int, gear: Gear) -> tuple[Array, Array]:
        """How long each option sounds, seconds, and what it costs that the gear is another."""
        if (section, gear) not in self._worked_out:
            options, sounds = self.options[section].options, self._sounding[:, section]
            foreign = np.zeros(len(self.recorded.names))
            for layer in {layer for option in options for layer in option}:
                foreign[layer] = sounds[layer] * self._foreign(layer, section, gear)
            lasts = np.array([sounds[list(option)].max(initial=0) for option in options])
            cost = np.array([foreign[list(option)].sum() for option in options])
            self._worked_out[section, gear] = lasts, cost
        return self._worked_out[section, gear]

    @cached_property
    def _worked_out(self) -> dict[tuple[int, Gear], tuple[Array, Array]]:
        """What has been worked out of ``_with_gear``."""
        return {}

    def _foreign(self, layer: int, section: int, gear: Gear) -> float:
        """What a second of a layer costs because the gear is not what it was recorded with."""
        known = self.recorded.necks[layer, section]
        drive = DRIVES[self.traits.drive[layer, section]]
        steps = abs(DRIVES.index(drive) - DRIVES.index(nearest_drive(gear.sounds, drive)))
        loses_echo = self.recorded.echoes[layer, section] is not None and not gear.echo
        return (
            self.weights.other_neck * (known is not None and known != gear.neck)
            + self.weights.other_sound * steps
            + self.weights.lost_echo * loses_echo
        )

    @cached_property
    def merging(self) -> list[Array]:
        """What it costs each option of each section that it is two layers."""
        found = []
        for section, own in enumerate(self.options):
            cost, drive = np.zeros(len(own.options)), self.traits.drive[:, section]
            hard = self.merges(section)
            for at, option in enumerate(own.options):
                if len(option) > 1:
                    first = self.traits.first(option)
                    other = option[0] if option[1] == first else option[1]
                    cost[at] = hard[option]
                    if drive[first] != drive[other]:
                        cost[at] += self.weights.mixed_sound * self._sounding[other, section]
            found.append(cost)
        return found

    def merges(self, section: int) -> Array:
        """What it costs at least that one player plays two layers at once: layers x layers."""
        sounds, strikes, seconds = self.taking_turns[section]
        together = (sounds * seconds) @ sounds.T
        both = strikes @ strikes.T
        either = strikes @ sounds.T
        either = either + either.T - both
        alone = 1 - both / np.where(either > 0, either, 1)
        pitch = self.traits.pitch[:, section]
        apart = np.nan_to_num(np.abs(pitch[:, None] - pitch[None, :]) / 12)
        hardness = together * (1 + alone + np.minimum(apart, 1)) / 3
        return np.asarray(self.weights.merging * hardness)

    def never_at_once(self, section: int, option: Option) -> bool:
        """Return whether the layers of a merge take turns."""
        sounds = self.taking_turns[section][0][list(option)]
        return not sounds.all(axis=0).any()

    @cached_property
    def silence(self) -> list[tuple[Array, Array]]:
        """Seconds of silence at the beginning and at the end of each section with each option."""
        recorded = self.recorded
        shape = len(recorded.names), len(recorded.sections)
        at = recorded.layer, recorded.section
        first, last = np.full(shape, np.inf), np.full(shape, -np.inf)
        np.minimum.at(first, at, recorded.onset)
        np.maximum.at(last, at, recorded.end)
        first = np.clip(first, recorded.begins, recorded.ends)
        last = np.clip(last, recorded.begins, recorded.ends)
        song, found = recorded.song, []
        head = np.asarray(song.seconds(first)) - song.seconds(recorded.begins)
        tail = np.asarray(song.seconds(recorded.ends)) - song.seconds(last)
        for section, own in enumerate(self.options):
            whole = float(recorded.seconds[section])
            each = [
                (
                    head[list(o), section].min(initial=whole),
                    tail[list(o), section].min(initial=whole),
                )
                for o in own.options
            ]
            begins, ends = np.array(each).T
            found.append((begins, ends))
        return found

    @cached_property
    def taking_turns(self) -> list[tuple[Array, Array, Array]]:
        """Which layers sound and strike in each slice of a section, and how long it is."""
        cut, recorded = self.recorded.sliced(), self.recorded
        shape = len(recorded.names), len(cut.seconds)
        sounds, strikes = np.zeros(shape), np.zeros(shape)
        layer = recorded.layer[cut.note]
        sounds[layer, cut.at] = 1
        begins = np.abs(recorded.onset[cut.note] - cut.lines[cut.at]) < 1e-9
        np.maximum.at(strikes, (layer, cut.at), begins.astype(np.float64))
        section = np.full(shape[1], -1)
        section[cut.at] = recorded.section[cut.note]
        return [
            (sounds[:, here], strikes[:, here], cut.seconds[here])
            for here in (section == number for number in range(len(recorded.sections)))
        ]

    @cached_property
    def _sounding(self) -> Array:
        """Seconds that each layer sounds in each section: layers x sections."""
        cut, recorded = self.recorded.sliced(), self.recorded
        shape = len(recorded.names), len(recorded.sections)
        place = recorded.layer[cut.note] * shape[1] + recorded.section[cut.note]
        return cut.sounding(place, shape[0] * shape[1]).reshape(shape)
