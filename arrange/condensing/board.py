"""The whole question of condensing a song, ready to be searched.

The worth of every set of layers in every section, the options of a player there, and what it costs
a player to go from each option to each of the next section.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.condensing.clashing import pair_severity
from arrange.condensing.material import Material
from arrange.condensing.options import Demands, Kinds, Option, SectionOptions, section_options
from arrange.condensing.rules import Rules
from arrange.condensing.weights import ROLES, Weights
from arrange.condensing.worth import (
    SectionWorth,
    energy_places,
    section_worth,
    with_fullness,
)
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.tables.sounding import Array
from arrange.text.part_lists import join_parts


@dataclass
class Board:
    """What is to be decided, and by what.

    Parameters
    ----------
    material : Material
    roles : DataFrame
        As of ``layer_roles``.
    weights : Weights
    necks : tuple of Neck
        Those that players may have.
    fixed_necks : tuple of int, optional
        Which of them each player has; else any.
    players : tuple of str
    rules : Rules
    hand : Hand
    """

    material: Material
    roles: pd.DataFrame
    weights: Weights
    necks: tuple[Neck, ...]
    fixed_necks: tuple[int, ...] | None
    players: tuple[str, ...]
    rules: Rules
    hand: Hand
    worths: list[SectionWorth] = field(init=False)
    options: list[SectionOptions] = field(init=False)
    demands: Demands = field(init=False)

    def __post_init__(self) -> None:
        self._clashes = pair_severity(self.material)
        self._places = energy_places(self.material)
        sections = range(len(self.material.sections))
        self.worths = [self._worth(section) for section in sections]
        self._find_options()

    def _find_options(self) -> None:
        self.options, self.demands = section_options(
            self.material,
            tuple(worth.layers for worth in self.worths),
            tuple(worth.classes for worth in self.worths),
            self.necks,
            self.hand,
        )

    def _worth(self, section: int) -> SectionWorth:
        worth = section_worth(self.material, section, self.roles, self._clashes, self.weights)
        return with_fullness(worth, self.material, section, float(self._places[section]))

    def change(self, material: Material, sections: Iterable[int]) -> None:
        """Take over a material of which some sections have changed."""
        self.material = material
        for section in sections:
            self.worths[section] = self._worth(section)
        self._find_options()
        for name in ("kinds", "steps", "merging", "_taking_turns", "_sounding"):
            self.__dict__.pop(name, None)

    def learn(self, section: int, option: Option, neck: int, *, playable: bool) -> None:
        """Note whether an option can be held on a neck."""
        own = self.options[section]
        if option in own.options:
            own.playable[neck, own.options.index(option)] = playable

    @cached_property
    def kinds(self) -> Kinds:
        """What matters of each layer when a player changes."""
        role = np.array([list(ROLES).index(name) for name in self.roles["role"]])
        worth = np.array([self.weights.of_role(name) for name in self.roles["role"]])
        worth = worth * (1 + self.roles["salience"].to_numpy())
        return Kinds.of(self.material, worth, role)

    @cached_property
    def steps(self) -> list[Array]:
        """What it costs from each option of a section to each of the next, seconds."""
        told = [self._told(section) for section in range(len(self.worths))]
        return [
            self._step(section, told[section], told[section + 1])
            for section in range(len(self.worths) - 1)
        ]

    def _told(self, section: int) -> tuple[Array, Array, Array, Array]:
        """Layers, role, drive and mean pitch of each option; -1 and NaN of none."""
        own = self.options[section].options
        has = np.zeros((len(own), len(self.material.names)))
        role, drive = np.full(len(own), -1), np.full(len(own), -1)
        pitch = np.full(len(own), np.nan)
        for at, option in enumerate(own):
            if option:
                has[at, list(option)] = 1
                first = self.kinds.first(option)
                role[at], drive[at] = self.kinds.role[first], self.kinds.drive[first]
                pitch[at] = self.kinds.mean_pitch(option, section)
        return has, role, drive, pitch

    def _step(
        self,
        section: int,
        before: tuple[Array, Array, Array, Array],
        now: tuple[Array, Array, Array, Array],
    ) -> Array:
        weights = self.weights
        role, drive, pitch = (one[:, None] for one in before[1:])
        has_now, role_now, drive_now, pitch_now = now
        plays = (role >= 0) & (role_now >= 0)
        shared = before[0] @ has_now.T
        apart = np.nan_to_num(np.abs(pitch - pitch_now))
        cost = weights.role_change * (role != role_now) + weights.sound_change * (
            drive != drive_now
        )
        cost = np.where(plays & (shared == 0), cost + weights.place * apart, 0.0)
        goes_on = before[0] * self.material.present[:, section + 1]
        cost += weights.leaving * (goes_on.sum(axis=1)[:, None] - shared)
        # A layer that both hold is not left; one that is silent next is not either.
        return np.rint(np.maximum(cost, 0) * 2**20) / 2**20

    def fullest(self, players: int) -> float:
        """Return how full the fullest section can be with so many layers."""
        each = [np.sort(worth.fullness)[::-1][:players].sum() for worth in self.worths]
        return float(max(each, default=0.0))

    def tables(self, players: int) -> list[Array]:
        """Return what every set of layers is worth in each section, growth and all."""
        fullest = self.fullest(players)
        return [
            worth.covered - worth.too_full(fullest, self.weights.growth) for worth in self.worths
        ]

    def own_cost(self, section: int, neck: int) -> Array:
        """Return what each option of a section costs on a neck that its layers were not on."""
        seconds = np.zeros(len(self.material.names))
        recorded = self.material.necks
        worth = self.worths[section]
        for layer in worth.layers:
            known = recorded[layer]
            if known is not None and known != self.necks[neck]:
                seconds[layer] = self._presence(section, layer)
        cost = np.array([seconds[list(o)].sum() for o in self.options[section].options])
        cost = cost * self.weights.other_neck + self.merging[section]
        return np.rint(cost * 2**20) / 2**20

    @cached_property
    def merging(self) -> list[Array]:
        """What it costs each option of each section that it is two layers, seconds."""
        weights, found = self.weights, []
        for section, own in enumerate(self.options):
            cost = np.zeros(len(own.options))
            hard = weights.merging * self._hardness(section)
            for at, option in enumerate(own.options):
                if len(option) > 1:
                    first = self.kinds.first(option)
                    other = option[0] if option[1] == first else option[1]
                    cost[at] = hard[option]
                    if self.kinds.drive[first] != self.kinds.drive[other]:
                        cost[at] += weights.mixed_sound * self._presence(section, other)
            found.append(cost)
        return found

    def _hardness(self, section: int) -> Array:
        """How hard it is to play two layers at once: layers x layers, seconds at their hardest."""
        sounds, strikes, seconds = self._taking_turns[section]
        together = (sounds * seconds) @ sounds.T
        both = strikes @ strikes.T
        either = strikes @ sounds.T
        either = either + either.T - both
        alone = 1 - both / np.where(either > 0, either, 1)
        pitch = self.kinds.pitch[:, section]
        apart = np.nan_to_num(np.abs(pitch[:, None] - pitch[None, :]) / 12)
        return np.asarray(together * (1 + alone + np.minimum(apart, 1)) / 3)

    def never_at_once(self, section: int, option: Option) -> bool:
        """Whether the layers of a merge take turns."""
        sounds = self._taking_turns[section][0][list(option)]
        return not sounds.all(axis=0).any()

    @cached_property
    def _taking_turns(self) -> list[tuple[Array, Array, Array]]:
        """Which layers sound and strike in each slice of a section, and how long it is."""
        cut, material = self.material.sliced(), self.material
        shape = len(material.names), len(cut.seconds)
        sounds, strikes = np.zeros(shape), np.zeros(shape)
        layer = material.layer[cut.note]
        sounds[layer, cut.at] = 1
        begins = np.abs(material.onset[cut.note] - cut.lines[cut.at]) < 1e-9
        np.maximum.at(strikes, (layer, cut.at), begins.astype(np.float64))
        section = np.full(shape[1], -1)
        section[cut.at] = material.section[cut.note]
        return [
            (sounds[:, here], strikes[:, here], cut.seconds[here])
            for here in (section == number for number in range(len(material.sections)))
        ]

    def _presence(self, section: int, layer: int) -> float:
        """Seconds that a layer sounds in a section."""
        return float(self._sounding[layer, section])

    @cached_property
    def _sounding(self) -> Array:
        """Seconds that each layer sounds in each section."""
        cut, material = self.material.sliced(), self.material
        times, shape = max(len(cut.seconds), 1), (len(material.names), len(material.sections))
        cell, first = np.unique(material.layer[cut.note] * times + cut.at, return_index=True)
        place = cell // times * shape[1] + material.section[cut.note[first]]
        length = cut.seconds[cell % times] if len(cell) else np.zeros(0)
        return np.bincount(place, length, minlength=shape[0] * shape[1]).reshape(shape)

    def may(self, player: int, section: int, neck: int) -> Array:
        """Return the places of the options that a player may take on a neck."""
        own = self.options[section]
        return np.flatnonzero(self.rules.allowed(player, section, own) & own.playable[neck])

    def name(self, option: Option) -> str:
        """Return the layers of an option in words."""
        return join_parts(self.material.names[layer] for layer in option) or "nothing"
