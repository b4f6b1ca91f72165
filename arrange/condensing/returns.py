"""What a section's return costs: layers that change hands, and a return thinner than before.

A section is the return of the nearest one before it of its kind and name (Verse 1, Verse 2, ...).
Who had a layer there is to have it again; and where the recording does not grow quieter, neither
do the players. Layers that play exactly the same in a section count as one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.condensing.played_energy import PlayedEnergy
from arrange.condensing.problem import Problem
from arrange.condensing.weights import rounded
from arrange.tables.sounding import Array

_TIME = re.compile(r"\s*\(\d+\)$")  # as repeated sections are labelled
_NUMBER = re.compile(r"\s*\d+$")
_NEAR = 1e-9


def earlier_returns(sections: pd.DataFrame) -> list[int]:
    """Return for each section the nearest one before it that it is a return of; -1 for none.

    Where the label names no kind of section its number is not taken for a return: "Section 2" is
    another section than "Section 1", but "A (2)" is A once more.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> list(zip(song.sections["section"], earlier_returns(song.sections)))[:4]
    [('Lead-in', -1), ('Tune', -1), ('Tune (2)', 1), ('Tune (3)', 2)]
    """
    known: dict[tuple[str, str], int] = {}
    found = []
    for place, (kind, label) in enumerate(zip(sections["kind"], sections["section"], strict=True)):
        name = _TIME.sub("", label)
        key = kind, (name if kind == "other" else _NUMBER.sub("", name)).casefold()
        found.append(known.get(key, -1))
        known[key] = place
    return found


@dataclass(frozen=True)
class Joint:
    """Some joint choices of a section: which layers each player has, and how full all are.

    Parameters
    ----------
    taken : array of float, players x choices x layers
        1 where a player takes a layer.
    had : array of float
        The same, with all layers that play exactly the same.
    full : array
        As of ``PlayedEnergy``.
    """

    taken: Array
    had: Array
    full: Array


@dataclass(frozen=True)
class Returns:
    """What returns cost in a problem, for some number of players.

    Parameters
    ----------
    problem : Problem
    players : int
    kept : frozenset of (section, layer)
        Which layers must not change hands, whatever that costs.
    """

    problem: Problem
    players: int
    kept: frozenset[tuple[int, int]] = frozenset()

    @cached_property
    def earlier(self) -> list[int]:
        """As of ``earlier_returns``."""
        return earlier_returns(self.problem.recorded.song.sections)

    @cached_property
    def _energy(self) -> PlayedEnergy:
        return PlayedEnergy.of(self.problem.costs, self.players)

    @cached_property
    def _layers(self) -> list[tuple[Array, Array]]:
        """For each section which layers each option takes, and with them all that are the same."""
        problem, found = self.problem, []
        for own, worth in zip(problem.options, problem.worths, strict=True):
            taken = np.zeros((len(own.options), len(problem.recorded.names)))
            had = taken.copy()
            for at, option in enumerate(own.options):
                taken[at, list(option)] = 1
                for layer in option:
                    had[at, list(worth.classes[worth.class_of[layer]])] = 1
            found.append((taken, had))
        return found

    def keeping(self, section: int, layer: int) -> Returns:
        """Return the same where a layer must not change hands in a section."""
        return replace(self, kept=self.kept | {(section, layer)})

    def joint(self, section: int, places: Sequence[Array]) -> Joint:
        """Return joint choices of a section from the place of each player's option in each."""
        taken, had = self._layers[section]
        return Joint(
            np.array([taken[own] for own in places]),
            np.array([had[own] for own in places]),
            self._energy.joint(section, places),
        )

    def swapping(self, section: int, earlier: Joint, later: Joint) -> Array:
        """Return what it costs that layers change hands, earlier x later, seconds.

        A player takes one in the later section that somebody else had in the earlier one, and the
        player had not.
        """
        of_others = earlier.had.max(axis=0)[None] - earlier.had
        count = np.einsum("pel,pnl->en", of_others, later.taken)
        cost = self.problem.criteria.weights.swapped * count
        for place, layer in self.kept:
            if place == section:
                moves = of_others[:, :, layer].T @ later.taken[:, :, layer]
                cost = np.where(moves > 0, np.inf, cost)
        return np.asarray(cost)

    def thinner(self, section: int, earlier: Joint, later: Joint) -> Array:
        """Return what it costs that a section is thinner than before, earlier x later, seconds."""
        energy, before = self.problem.criteria.energy, self.earlier[section]
        if energy[section] < energy[before] - _NEAR:
            return np.zeros((len(earlier.full), len(later.full)))
        less = np.maximum(earlier.full[:, None] - later.full[None, :] - _NEAR, 0)
        seconds = float(self.problem.recorded.seconds[section])
        return rounded(self.problem.criteria.weights.thinner * seconds * less)

    def cost(self, section: int, earlier: Joint, later: Joint) -> Array:
        """Return what the joint choices of a section and of its earlier return cost together."""
        return self.swapping(section, earlier, later) + self.thinner(section, earlier, later)
