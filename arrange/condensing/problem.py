"""The condensing problem: worth, options and costs of every section, and what can be played."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.condensing.clash_penalties import pair_severity
from arrange.condensing.held_together import Asked, Playability
from arrange.condensing.kept_layers import with_kept
from arrange.condensing.lineup import Lineup
from arrange.condensing.pins_and_bans import PinsAndBans
from arrange.condensing.player_costs import PlayerCosts
from arrange.condensing.player_options import Option, SectionOptions, section_options
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.condensing.section_worth import (
    SectionWorth,
    energy_places,
    section_worth,
    with_fullness,
)
from arrange.condensing.weights import Weights
from arrange.tables.sounding import Array
from arrange.text.part_lists import join_parts


@dataclass(frozen=True)
class Criteria:
    """By what layers are weighed against each other, the same all through.

    Parameters
    ----------
    roles : DataFrame
        As of ``layer_roles``.
    weights : Weights
    clashes : DataFrame
        As of ``pair_severity``.
    energy : array
        Of each section's layers against the song's fullest, 0 to 1.
    """

    roles: pd.DataFrame
    weights: Weights
    clashes: pd.DataFrame
    energy: Array

    @classmethod
    def of(cls, recorded: RecordedLayers, roles: pd.DataFrame, weights: Weights) -> Criteria:
        """Return those of the layers as they were recorded."""
        return cls(roles, weights, pair_severity(recorded), energy_places(recorded))

    def worth(self, recorded: RecordedLayers, section: int) -> SectionWorth:
        """Return what the layers are worth in a section."""
        worth = section_worth(recorded, section, self.roles, self.clashes, self.weights)
        return with_fullness(worth, recorded, section, float(self.energy[section]))


@dataclass(frozen=True)
class Problem:
    """What is to be decided, and by what.

    Parameters
    ----------
    recorded : RecordedLayers
    criteria : Criteria
    lineup : Lineup
    worths : tuple of SectionWorth
    options : tuple of SectionOptions
    costs : PlayerCosts
    playability : Playability
        What is known of which options can be held.
    """

    recorded: RecordedLayers
    criteria: Criteria
    lineup: Lineup
    worths: tuple[SectionWorth, ...]
    options: tuple[SectionOptions, ...]
    costs: PlayerCosts
    playability: Playability

    @classmethod
    def of(cls, recorded: RecordedLayers, criteria: Criteria, lineup: Lineup) -> Problem:
        """Return the problem of some layers and a lineup."""
        sections = range(len(recorded.sections))
        worths = [criteria.worth(recorded, section) for section in sections]
        costs = PlayerCosts(recorded, (), criteria.roles, criteria.weights)
        players = len(lineup.players)
        kept = with_kept(worths, recorded, costs, lineup.decided, players)
        return cls._of(recorded, criteria, lineup, kept)

    @classmethod
    def _of(
        cls,
        recorded: RecordedLayers,
        criteria: Criteria,
        lineup: Lineup,
        worths: tuple[SectionWorth, ...],
    ) -> Problem:
        options = tuple(section_options(worth) for worth in worths)
        costs = PlayerCosts(recorded, options, criteria.roles, criteria.weights)
        playability = Playability.of(recorded, options, lineup.necks)
        return cls(recorded, criteria, lineup, worths, options, costs, playability)

    def with_recorded(self, recorded: RecordedLayers, changed: Iterable[int]) -> Problem:
        """Return the problem of layers that have changed in some sections."""
        worths = list(self.worths)
        for section in changed:
            worth, kept = self.criteria.worth(recorded, section), worths[section].kept
            still = tuple(layer for layer in kept if layer in worth.layers)
            worths[section] = replace(worth, kept=still)
        return self._of(recorded, self.criteria, self.lineup, tuple(worths))

    def with_decided(self, decided: PinsAndBans) -> Problem:
        """Return the problem with other pins and bans, and the layers kept that they ask for.

        Raises
        ------
        ArrangeError
            If more layers are pinned in a section than can be kept.
        """
        lineup = replace(self.lineup, decided=decided)
        every = [replace(worth, kept=worth.layers) for worth in self.worths]
        kept = with_kept(every, self.recorded, self.costs, decided, len(lineup.players))
        if all(one.kept == own.kept for one, own in zip(kept, self.worths, strict=True)):
            return replace(self, lineup=lineup)
        return self._again(lineup, kept)

    def with_options(self, asked: Sequence[Iterable[Option]]) -> Problem:
        """Return the problem with these options too, section by section."""
        left = [
            {layer for option in own for layer in option}.difference(worth.kept)
            for worth, own in zip(self.worths, asked, strict=True)
        ]
        if not any(left):
            return self
        kept = tuple(
            replace(worth, kept=tuple(sorted({*worth.kept, *more})))
            for worth, more in zip(self.worths, left, strict=True)
        )
        return self._again(self.lineup, kept)

    def _again(self, lineup: Lineup, worths: tuple[SectionWorth, ...]) -> Problem:
        """The problem with other layers kept, and what is known of hands."""
        made = self._of(self.recorded, self.criteria, lineup, worths)
        return replace(made, playability=made.playability.with_known_of(self.playability))

    def with_known(self, known: Mapping[Asked, bool]) -> Problem:
        """Return the problem with what has been learned: whether options can be held."""
        return replace(self, playability=self.playability.with_known(known))

    @property
    def playable(self) -> tuple[Array, ...]:
        """For each section, which options can be held: necks x options."""
        return self.playability.playable

    def fullest(self, players: int) -> float:
        """Return how full the fullest section can be with so many layers."""
        if players not in self._fullest:
            each = [np.sort(worth.fullness)[::-1][:players].sum() for worth in self.worths]
            self._fullest[players] = float(max(each, default=0.0))
        return self._fullest[players]

    @cached_property
    def _fullest(self) -> dict[int, float]:
        """What has been worked out of ``fullest``."""
        return {}

    def growth(self, section: int, players: int) -> Array:
        """Return what growth takes away from every set of layers in a section, seconds."""
        worth, weight = self.worths[section], self.criteria.weights.growth
        return worth.too_full(worth.full, self.fullest(players), weight)

    def growth_of(self, section: int, players: int, layers: Iterable[int]) -> float:
        """Return what growth takes away from some layers of a section, seconds."""
        worth, weight = self.worths[section], self.criteria.weights.growth
        full = np.array(worth.fullness_of(layers))
        return float(worth.too_full(full, self.fullest(players), weight))

    def tables(self, players: int) -> list[Array]:
        """Return what every set of layers is worth in each section, less what growth takes away."""
        return [
            worth.covered - self.growth(section, players)
            for section, worth in enumerate(self.worths)
        ]

    @property
    def leaves_out(self) -> bool:
        """Whether layers of any section are not in its table."""
        return any(len(worth.kept) < len(worth.layers) for worth in self.worths)

    @cached_property
    def whole(self) -> float:
        """What all layers together are worth in all sections, seconds."""
        return sum(worth.worth_of(worth.layers) for worth in self.worths)

    def own_cost(self, section: int, number: int) -> Array:
        """Return what each option of a section costs with some gear, changes apart."""
        stretched = self.playability.stretched[section][number]
        return self.costs.with_gear(section, self.lineup.necks[number], stretched)

    def changes(self, section: int, number: int) -> Array:
        """Return what it costs with some gear to go from each option to each of the next."""
        return self.costs.changes(self.lineup.necks[number].sounds)[section]

    def may(self, player: int, section: int, number: int) -> Array:
        """Return the places of the options that a player may take on a neck."""
        allowed = self.allowed(player, section)
        return np.flatnonzero(allowed & self.playable[section][number])

    def can_hold(self, player: int, section: int) -> Array:
        """Return which options a player can hold on one of the necks that they may have."""
        necks = list(self.lineup.may_have(player))
        return np.asarray(self.playable[section][necks].any(axis=0))

    def allowed(self, player: int, section: int) -> Array:
        """Return which options pins and bans leave to a player."""
        return self.lineup.decided.allowed(player, section, self.options[section])

    def name(self, option: Option) -> str:
        """Return the layers of an option in words."""
        return join_parts(self.recorded.names[layer] for layer in option) or "nothing"
