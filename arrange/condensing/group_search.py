"""Some players decided together, all others as they are: values, costs and links of their ways."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from arrange.best_path import Link, LinkedPath, linked_path
from arrange.condensing.capo_changes import Ways, way_costs
from arrange.condensing.plan import Paths
from arrange.condensing.problem import Problem
from arrange.condensing.returns import Joint, Returns
from arrange.tables.sounding import Array


@dataclass(frozen=True)
class Group:
    """Players who are decided together.

    Parameters
    ----------
    returns : Returns
        Of the problem.
    tables : sequence of array
        What every set of layers is worth in each section.
    players : sequence of int
    ways : sequence of sequence of Ways
        For each section and each of these players.
    everybody : list of tuple of int, optional
        For each section the place of everybody's option; those of the group play no part. Not
        needed where the group is everybody.
    against_rules : float
        The worth of what is against a rule.
    """

    returns: Returns
    tables: Sequence[Array]
    players: Sequence[int]
    ways: Sequence[Sequence[Ways]]
    everybody: Paths | None = None
    against_rules: float = -np.inf

    @property
    def problem(self) -> Problem:
        """The problem that is decided."""
        return self.returns.problem

    @cached_property
    def worth(self) -> list[Array]:
        """What each joint choice of each section is worth; one axis a player.

        No two players take the same layer, unless both are pinned to it; the lead is played.
        """
        return [self._values(section) for section in range(len(self.tables))]

    def _values(self, section: int) -> Array:
        problem, ways = self.problem, self.ways[section]
        masks, worth = problem.options[section].masks, problem.worths[section]
        count, others = len(ways), 0
        for _, place in self._others(section):
            others |= int(masks[place])
        union = np.full((1,) * count, others, dtype=np.int64)
        bad, cost = np.zeros((1,) * count, dtype=bool), np.zeros((1,) * count)
        pins = problem.lineup.decided.pins
        free = [(player, section) not in pins for player in self.players]
        for axis, own in enumerate(ways):
            shape = [-1 if other == axis else 1 for other in range(count)]
            taken = masks[own.place].reshape(shape)
            if free[axis] or any(free[:axis]):
                bad = bad | ((union & taken) != 0)
            union = union | taken
            cost = cost + self.own_cost(section, own).reshape(shape)
        if worth.lead:
            bad = bad | ((union & worth.lead) == 0)
        return np.where(bad, self.against_rules, self.tables[section][union]) - cost

    def own_cost(self, section: int, ways: Ways) -> Array:
        """Return what each of some ways costs, changes apart."""
        cost = np.zeros(len(ways.place))
        for neck in np.unique(ways.neck).tolist():
            own = ways.neck == neck
            cost[own] = self.problem.own_cost(section, neck)[ways.place[own]]
        return cost

    def _others(self, section: int) -> list[tuple[int, int]]:
        """The players who are not in the group, and the place of what they take."""
        chosen = self.everybody[section] if self.everybody else ()
        return [(p, place) for p, place in enumerate(chosen) if p not in self.players]

    @cached_property
    def costs(self) -> list[list[Array]]:
        """What the changes cost each player."""
        return [
            [
                way_costs(self.problem, section, before, now)
                for before, now in zip(self.ways[section], self.ways[section + 1], strict=True)
            ]
            for section in range(len(self.ways) - 1)
        ]

    @cached_property
    def links(self) -> list[Link]:
        """What returns cost."""
        return [
            Link(earlier, later, partial(self._returning, later))
            for later, earlier in enumerate(self.returns.earlier)
            if earlier >= 0
        ]

    def _returning(self, later: int, one: Array, other: Array) -> Array:
        earlier = self.returns.earlier[later]
        before, now = self._joint(earlier, one), self._joint(later, other)
        return self.returns.cost(later, before, now)

    def _joint(self, section: int, flat: Array) -> Joint:
        """Joint choices by their places in the flattened values."""
        ways = self.ways[section]
        at = np.unravel_index(flat, [len(own.place) for own in ways])
        places = {p: own.place[a] for p, own, a in zip(self.players, ways, at, strict=True)}
        places |= {p: np.full(len(flat), place) for p, place in self._others(section)}
        return self.returns.joint(section, [places[player] for player in sorted(places)])

    def best(self, least: float = -np.inf) -> LinkedPath | None:
        """Return the best of all ways; as of ``linked_path``."""
        if any(not value.size for value in self.worth):
            return None
        return linked_path(self.worth, self.costs, self.links, least)

    def chosen(self, path: Array, what: str) -> Paths:
        """Return the place or the neck of each way of a path, for each section."""
        return [
            tuple(int(getattr(own, what)[at]) for own, at in zip(ways, here, strict=True))
            for ways, here in zip(self.ways, path, strict=True)
        ]
