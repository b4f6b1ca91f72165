"""What else could be chosen in each section, and what the whole would be worth then."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from functools import partial
from itertools import combinations

import numpy as np

from arrange.best_path import Link, best_path, linked_path
from arrange.condensing.capo_changes import followed_ways
from arrange.condensing.plan import Plan
from arrange.condensing.plan_search import BARRED, EXACT_PLAYERS, some_players
from arrange.condensing.problem import Problem
from arrange.tables.sounding import Array

_MOST_OTHERS = 60  # joint choices of a section that are looked at
_ENOUGH = 8  # of which so many are certain to be among the best
_WIDTHS = (100,)  # as of linked_path
_NEAR = 1e-7

Other = tuple[float, tuple[int, ...]]  # value of the best plan through a joint choice


def other_choices(problem: Problem, plan: Plan) -> list[Iterator[Other]]:
    """Return for each section other joint choices, each with the best plan through it, best first.

    Necks stay as they are. For more players than the exact search takes at once, two of them
    change and the others stay.
    """
    players = range(plan.players)
    count = min(len(players), EXACT_PLAYERS)
    groups = [_Others(problem, plan, group) for group in combinations(players, count)]
    return [
        heapq.merge(*(group.of(section) for group in groups), key=lambda one: (-one[0], one[1]))
        for section in range(len(plan.choices))
    ]


class _Others:
    """Other choices of some players, where all others stay."""

    def __init__(self, problem: Problem, plan: Plan, players: Sequence[int]) -> None:
        self.plan, self.players = plan, players
        self.group = group = some_players(problem, problem.tables(plan.players), plan, players)
        path = best_path(group.worth, group.costs)
        assert path is not None
        self.through = path.through
        self.at = self._places(problem)
        # What the others' share comes to.
        self.lost = self._here(0)[self._flat(0)] - plan.value

    def _places(self, problem: Problem) -> list[tuple[int, ...]]:
        """Which of the group's ways the plan takes."""
        found = []
        for axis, player in enumerate(self.players):
            ways = followed_ways(
                problem,
                [own[player] for own in self.plan.choices],
                [own[player] for own in self.plan.necks],
            )
            found.append([
                int(np.argmax(
                    (every[axis].place == own.place)
                    & ((np.abs(every[axis].quiet - own.quiet) < 1e-6) | (not own.moves))
                ))
                for every, own in zip(self.group.ways, ways, strict=True)
            ])  # fmt: skip
        return list(zip(*found, strict=True))

    def _flat(self, section: int) -> int:
        return int(np.ravel_multi_index(self.at[section], self.through[section].shape))

    def _here(self, section: int) -> Array:
        """What the group is worth with each joint choice of a section, all else as in the plan."""
        group, last = self.group, len(self.at) - 1
        total = group.worth[section]
        for axis in range(total.ndim):
            shape = [1] * total.ndim
            shape[axis] = -1
            if section:
                before = group.costs[section - 1][axis][self.at[section - 1][axis]]
                total = total - before.reshape(shape)
            if section < last:
                behind = group.costs[section][axis][:, self.at[section + 1][axis]]
                total = total - behind.reshape(shape)
        flat = total.reshape(-1)
        every = np.arange(flat.size)
        for link in group.links:
            one, now = (np.array([self._flat(each)]) for each in (link.earlier, link.later))
            if section == link.later:
                flat = flat - link.cost(one, every)[0]
            elif section == link.earlier:
                flat = flat - link.cost(every, now)[:, 0]
            else:
                flat = flat - link.cost(one, now).item()
        rest = 0.0
        for other in range(len(self.at)):
            if other != section:
                rest += float(group.worth[other][self.at[other]])
            if other < last and section not in (other, other + 1):
                rest -= sum(
                    float(cost[self.at[other][axis], self.at[other + 1][axis]])
                    for axis, cost in enumerate(group.costs[other])
                )
        return flat + rest

    def of(self, section: int) -> Iterator[Other]:
        """Yield other choices of a section, the best first."""
        through, here = self.through[section].reshape(-1), self._here(section)
        wanted = np.sort(here)[::-1][:_ENOUGH][-1]
        order = np.argsort(-through, kind="stable")[:_MOST_OTHERS]
        order = order[(through[order] >= wanted - _NEAR) & (through[order] > BARRED / 2)]
        found: list[tuple[float, tuple[int, ...]]] = []
        for number, flat in enumerate(order.tolist()):
            value = self._value(section, flat, float(here[flat]))
            heapq.heappush(found, (-(value - self.lost), self._chosen(section, flat)))
            next_best = order[number + 1] if number + 1 < len(order) else None
            most = -np.inf if next_best is None else through[next_best] - self.lost
            while found and -found[0][0] >= most:
                worth, chosen = heapq.heappop(found)
                if -worth > BARRED / 2:
                    yield -worth, chosen

    def _chosen(self, section: int, flat: int) -> tuple[int, ...]:
        chosen = list(self.plan.choices[section])
        at = np.unravel_index(flat, self.through[section].shape)
        for player, own, place in zip(self.players, self.group.ways[section], at, strict=True):
            chosen[player] = int(own.place[place])
        return tuple(chosen)

    def _value(self, section: int, flat: int, least: float) -> float:
        """What the best whole found through a joint choice is worth to the group."""
        most = float(self.through[section].reshape(-1)[flat])
        if not self.group.links or most <= least + _NEAR:
            return most
        kept = self._kept(section, flat, max(least, BARRED / 2))
        group, shapes = self.group, [through.shape for through in self.through]
        values = [own[np.ix_(*rows)] for own, rows in zip(group.worth, kept, strict=True)]
        costs = [
            [cost[np.ix_(before[axis], now[axis])] for axis, cost in enumerate(step)]
            for step, before, now in zip(group.costs, kept[:-1], kept[1:], strict=True)
        ]
        flats = [
            np.arange(np.prod(shape)).reshape(shape)[np.ix_(*rows)].reshape(-1)
            for shape, rows in zip(shapes, kept, strict=True)
        ]
        links = [
            Link(link.earlier, link.later, partial(_among, link, flats)) for link in group.links
        ]
        path = linked_path(values, costs, links, least, _WIDTHS)
        return max(path.value, least) if path else least

    def _kept(self, section: int, flat: int, least: float) -> list[list[Array]]:
        """The ways that can be part of a whole through a joint choice, by their places."""
        kept = []
        for place, through in enumerate(self.through):
            can = through >= least - _NEAR
            if place == section:
                can = np.zeros_like(can)
                can.reshape(-1)[flat] = True
            axes = range(through.ndim)
            rests = [tuple(other for other in axes if other != axis) for axis in axes]
            kept.append([np.flatnonzero(can.any(axis=rest)) for rest in rests])
        return kept


def _among(link: Link, flats: Sequence[Array], one: Array, other: Array) -> Array:
    """What a link costs, of joint choices by their places among those that are kept."""
    return link.cost(flats[link.earlier][one], flats[link.later][other])
