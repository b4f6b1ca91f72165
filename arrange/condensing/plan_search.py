"""The best choice for every player in every section.

For one and two players the best plan is looked for in three steps. First everybody keeps one neck
for the whole song, which is decided exactly (``best_path``). Then necks are free in each section
and cost nothing to change: no plan is worth more than that, and only what can reach the first
answer goes on. Of that the best is taken, with the time that a capo needs and with what returns
cost (``linked_path``). For more players there are too many joint choices to hold: the answer for
one player fewer is taken, a player is added, and two players at a time are decided again, with all
others fixed and everybody on one neck, until nothing gets better. The bound says how much better
anything could be: no plan is worth more than the best of each section without the cost of changes
and returns. Options that cannot reach the answer already found are left out; where few enough are
left, the exact search decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, combinations_with_replacement, product

import numpy as np

from arrange.best_path import BestPath, best_path
from arrange.condensing.capo_changes import Ways, followed_ways, player_ways
from arrange.condensing.group_search import Group
from arrange.condensing.plan import Paths, Plan
from arrange.condensing.problem import Problem
from arrange.condensing.returns import Returns
from arrange.condensing.section_bounds import (
    least_costs,
    own_costs,
    sections_bound,
    whole_bound,
    with_lead,
)
from arrange.tables.sounding import Array

EXACT_PLAYERS = 2
_MOST_JOINT = 60_000  # joint choices in one section that the exact search is asked to hold
_MOST_WAYS = 60_000  # joint choices of options and necks in one section
BARRED = -1e7  # what is against a rule, while a first answer is looked for
_BETTER = 1e-7


def solve(problem: Problem, players: int) -> Plan | None:
    """Return the best plan for the first so many players; None if every one is against a rule.

    Its bound is one for all layers, those that are not in the tables of a section too.
    """
    plan = _of_those_kept(problem, players)
    if plan and problem.leaves_out:
        return replace(plan, bound=max(plan.bound, whole_bound(problem, players)))
    return plan


def _of_those_kept(problem: Problem, players: int) -> Plan | None:
    """The best plan of the layers that are in the tables."""
    if problem.lineup.is_free:
        plan = _each_their_own(problem, players)
        if plan:
            return plan
    if players <= EXACT_PLAYERS:
        return _exact(problem, players)
    return _grown(problem, players, _of_those_kept(problem, players - 1))


def _neck_choices(problem: Problem, players: int) -> Iterator[tuple[int, ...]]:
    """Ways of giving the players a neck each for the whole song."""
    lineup = problem.lineup
    if lineup.are_alike(players):
        yield from combinations_with_replacement(lineup.may_have(0), players)
    else:
        yield from product(*(lineup.may_have(player) for player in range(players)))


def everybody(
    problem: Problem,
    necks: Sequence[Sequence[int]],
    keep: Sequence[Array] | None = None,
) -> Group:
    """Return all players as a group, on some necks each; with the options in `keep`, if given."""
    players = range(len(necks))
    ways = [player_ways(problem, player, necks[player], keep) for player in players]
    by_section = list(zip(*ways, strict=True))
    returns = Returns(problem, len(necks))
    return Group(returns, problem.tables(len(necks)), players, by_section)


def _exact(problem: Problem, players: int, keep: Sequence[Array] | None = None) -> Plan | None:
    """The best plan of all; of those made of the options in `keep`, if given."""
    first = _on_one_neck(problem, players, keep)
    may_have = [problem.lineup.may_have(player) for player in range(players)]
    if all(len(own) == 1 for own in may_have):
        return first
    return _on_any_neck(everybody(problem, may_have, keep), first)


def _on_one_neck(problem: Problem, players: int, keep: Sequence[Array] | None) -> Plan | None:
    """The best plan in which everybody keeps the neck that serves best without returns."""
    asked = []
    for number, necks in enumerate(_neck_choices(problem, players)):
        group = everybody(problem, [(neck,) for neck in necks], keep)
        most = sum(float(value.max(initial=-np.inf)) for value in group.worth)
        asked.append((-most, number, group))
    best: BestPath | None = None
    chosen: Group | None = None
    for minus_bound, _, group in sorted(asked, key=lambda one: one[:2]):
        if minus_bound == np.inf or (best and -minus_bound <= best.value + _BETTER):
            break
        found = best_path(group.worth, group.costs)
        if found and (best is None or found.value > best.value + _BETTER):
            best, chosen = found, group
    return _plan(chosen) if chosen else None


def _plan(group: Group, least: float = -np.inf) -> Plan | None:
    """The best plan of a group of everybody."""
    path = group.best(least)
    if path is None:
        return None
    choices, necks = group.chosen(path.choices, "place"), group.chosen(path.choices, "neck")
    return Plan(choices, necks, path.value, path.bound)


def _on_any_neck(group: Group, first: Plan | None) -> Plan | None:
    """The best plan in which necks may change, of what can reach a first one."""
    if any(not value.size for value in group.worth):
        return first
    free = _FreeNecks(group)
    least = first.value if first else -np.inf
    found = best_path(free.worth, free.costs)
    if found is None:
        return None
    if first and found.value <= least + _BETTER:
        return Plan(first.choices, first.necks, least, max(found.value, least))
    reaching = free.reaching(found, least - _BETTER)
    sizes = [np.prod([float(len(own.place)) for own in ways]) for ways in reaching]
    if max(sizes) > _MOST_WAYS:
        return Plan(first.choices, first.necks, least, found.value) if first else None
    best = _plan(Group(group.returns, group.tables, group.players, reaching), least)
    if best is None or (first and best.value < least):
        best = first
    if best is None:
        return None
    return Plan(best.choices, best.necks, best.value, max(min(best.bound, found.value), best.value))


class _FreeNecks:
    """A group as if every option were played on the neck that suits it best, section by section.

    Nothing that the group may do is worth more.
    """

    def __init__(self, group: Group) -> None:
        self.group = group
        self.ways: list[list[Ways]] = []
        self.rows: list[list[Array]] = []  # where among `ways` each way of the group is
        self.extra: list[list[Array]] = []  # what it costs more
        for section, ways in enumerate(group.ways):
            best, rows, extra = zip(*(self._best(section, own) for own in ways), strict=True)
            self.ways.append(list(best))
            self.rows.append(list(rows))
            self.extra.append(list(extra))
        self.worth = Group(group.returns, group.tables, group.players, self.ways).worth
        # All necks of a player have the same sounds, which is all that a change asks for.
        self.costs = [
            [
                group.problem.changes(section, int(before.neck[0]))[np.ix_(before.place, now.place)]
                for before, now in zip(self.ways[section], self.ways[section + 1], strict=True)
            ]
            for section in range(len(self.ways) - 1)
        ]

    def _best(self, section: int, ways: Ways) -> tuple[Ways, Array, Array]:
        cost = self.group.own_cost(section, ways)
        order = np.lexsort((cost, ways.place))
        _, first, row = np.unique(ways.place[order], return_index=True, return_inverse=True)
        place = np.empty_like(row)
        place[order] = row
        least = order[first]
        return ways.some(least), place, cost - cost[least][place]

    def reaching(self, path: BestPath, least: float) -> list[list[Ways]]:
        """Return the ways of the group that are part of a joint choice which may reach a value."""
        found = []
        for section, ways in enumerate(self.group.ways):
            bound = path.through[section][np.ix_(*self.rows[section])]
            for axis, extra in enumerate(self.extra[section]):
                shape = [1] * bound.ndim
                shape[axis] = -1
                bound = bound - extra.reshape(shape)
            can = bound >= least
            others = [tuple(a for a in range(bound.ndim) if a != axis) for axis in range(len(ways))]
            found.append(
                [own.some(can.any(axis=rest)) for own, rest in zip(ways, others, strict=True)]
            )
        return found


def path_value(problem: Problem, tables: Sequence[Array], choices: Paths, necks: Paths) -> float:
    """Return what a plan is worth; far below 0 if it is against a rule."""
    players = range(len(choices[0]))
    ways = [
        followed_ways(problem, [own[p] for own in choices], [own[p] for own in necks])
        for p in players
    ]
    returns = Returns(problem, len(players))
    group = Group(returns, tables, players, list(zip(*ways, strict=True)), None, BARRED)
    total = sum(value.item() for value in group.worth)
    total -= sum(cost.item() for step in group.costs for cost in step)
    here = np.zeros(1, dtype=np.int64)
    return float(total - sum(link.cost(here, here).item() for link in group.links))


def _each_their_own(problem: Problem, players: int) -> Plan | None:
    """As many players as layers, or more: nobody has to leave anything."""
    recorded, frets = problem.recorded, problem.lineup.necks
    count = len(recorded.names)
    if players < count:
        return None
    necks = []
    for layer, own in enumerate(recorded.necks):
        known = list(dict.fromkeys(own[recorded.present[layer]]))
        if len(known) > 1:
            return None  # a capo is moved, for which there must be time
        order = sorted(range(len(frets)), key=lambda n: (frets[n].neck not in known, n))
        necks.append(next((n for n in order if _holds(problem, layer, n)), order[0]))
    choices: Paths = []
    for section in problem.options:
        places = [
            section.options.index((layer,)) if (layer,) in section.options else 0
            for layer in range(count)
        ]
        choices.append((*places, *(0,) * (players - count)))
    necks += [0] * (players - count)
    tables = problem.tables(players)
    all_through = [tuple(necks)] * len(choices)
    value = path_value(problem, tables, choices, all_through)
    if value < BARRED / 2:
        return None
    bound = sections_bound(problem, tables, players)
    return Plan(choices, all_through, value, max(value, bound))


def _holds(problem: Problem, layer: int, neck: int) -> bool:
    return all(
        playable[neck, own.options.index((layer,))]
        for own, playable in zip(problem.options, problem.playable, strict=True)
        if (layer,) in own.options
    )


def _grown(problem: Problem, players: int, fewer: Plan | None) -> Plan | None:
    """One player more, then two at a time until nothing gets better."""
    tables = problem.tables(players)
    may_have = [problem.lineup.may_have(player) for player in range(players)]
    before = [own[0] for own in may_have[:-1]]
    if fewer:
        before = [max(each, key=each.count) for each in zip(*fewer.necks, strict=True)]
    best: Plan | None = None
    for neck in may_have[-1]:
        given = (*before, neck)
        start = _start(problem, fewer, given)
        if start is None:
            continue
        choices, value = _improved(problem, tables, start, given)
        if best is None or value > best.value + _BETTER:
            best = Plan(choices, [given] * len(choices), value, 0)
    if best is None or best.value < BARRED / 2:
        return None
    bound = max(sections_bound(problem, tables, players), best.value)
    best = Plan(best.choices, best.necks, best.value, bound)
    return _finished(problem, tables, best)


def _start(problem: Problem, fewer: Plan | None, necks: tuple[int, ...]) -> Paths | None:
    """The plan for fewer players with others added who lay out where they may."""
    added = range(fewer.players if fewer else 0, len(necks))
    choices = []
    for section in range(len(problem.options)):
        may = [problem.may(player, section, necks[player]) for player in added]
        if not all(len(own) for own in may):
            return None
        known = fewer.choices[section] if fewer else ()
        choices.append((*known, *(int(own[0]) for own in may)))
    return choices


def _improved(
    problem: Problem, tables: Sequence[Array], choices: Paths, necks: tuple[int, ...]
) -> tuple[Paths, float]:
    """Decide two players at a time again until nothing gets better."""
    given = [necks] * len(choices)
    value = path_value(problem, tables, choices, given)
    players = len(necks)
    pairs = sorted(combinations(range(players), 2), key=lambda pair: (-pair[1], pair[0]))
    unchanged, turn = 0, 0
    while unchanged < len(pairs):
        pair = pairs[turn % len(pairs)]
        turn += 1
        group = some_players(problem, tables, Plan(choices, given, value, value), pair)
        path = group.best()
        assert path is not None
        tried = with_chosen(choices, group.chosen(path.choices, "place"), pair)
        worth = path_value(problem, tables, tried, given)
        unchanged += 1
        if worth > value + _BETTER:
            choices, value, unchanged = tried, worth, 1
    return choices, value


def some_players(
    problem: Problem, tables: Sequence[Array], plan: Plan, players: Sequence[int]
) -> Group:
    """Return some players of a plan as a group, with their necks and all others as they are."""
    ways: list[list[Ways]] = []
    for player in players:
        own = [necks[player] for necks in plan.necks]
        every = player_ways(problem, player, list(dict.fromkeys(own)))
        ways.append([each.some(each.neck == neck) for each, neck in zip(every, own, strict=True)])
    by_section = list(zip(*ways, strict=True))
    returns = Returns(problem, plan.players)
    return Group(returns, tables, players, by_section, plan.choices, BARRED)


def with_chosen(choices: Paths, chosen: Paths, players: Sequence[int]) -> Paths:
    """Return choices in which some players choose again."""
    again = []
    for own, new in zip(choices, chosen, strict=True):
        now = list(own)
        for player, place in zip(players, new, strict=True):
            now[player] = place
        again.append(tuple(now))
    return again


def _finished(problem: Problem, tables: Sequence[Array], plan: Plan) -> Plan:
    """The exact answer, if what can still reach it is few enough."""
    players = range(plan.players)
    alike = problem.lineup.are_alike(len(players))
    keep, most = [], 0.0
    for section, table in enumerate(tables):
        own = problem.options[section]
        allowed = with_lead(problem, table, section)
        with_it = np.full(len(own.options), -np.inf)
        for player in players[:1] if alike else players:
            cost = least_costs(problem, section, [p for p in players if p != player])
            others = np.flatnonzero(np.isfinite(cost))
            each = [
                (allowed[others | mask] - cost[others]).max(initial=-np.inf)
                for mask in own.masks.tolist()
            ]
            with_it = np.maximum(with_it, each - own_costs(problem, section, player))
        chosen = np.zeros(len(own.options), dtype=bool)
        chosen[list(plan.choices[section])] = True
        # What the plan could gain in all bounds what may be lost here.
        keep.append((with_it >= with_it.max() - (plan.bound - plan.value) - _BETTER) | chosen)
        most = max(most, float(keep[-1].sum()) ** len(players))
    if most > _MOST_JOINT:
        return plan
    exact = _exact(problem, len(players), keep)
    if exact is None:
        return plan
    bound = min(max(exact.bound, plan.value), plan.bound)
    if exact.value <= plan.value + _BETTER:
        exact = plan
    return Plan(exact.choices, exact.necks, exact.value, max(bound, exact.value))
