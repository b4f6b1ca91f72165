"""The best choice for every player in every section.

For one and two players the path of greatest worth is found exactly (``best_path``), for each way of
giving them their necks. For more players there are too many joint choices to hold: the answer for
one player fewer is taken, a player is added, and two players at a time are decided again, exactly
and with all others fixed, until nothing gets better. The bound says how much better anything could
be: no path is worth more than the best of each section without the cost of changes. Options that
cannot reach the answer already found are left out; where few enough are left, the exact search
decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, combinations_with_replacement, product

import numpy as np

from arrange.best_path import best_path
from arrange.condensing.player_options import Option
from arrange.condensing.problem import Problem
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
_BARRED = -1e7  # what is against a rule, while a first answer is looked for
_BETTER = 1e-7
_MOST_OTHERS = 400  # joint choices of a section among which others are looked for

Paths = list[tuple[int, ...]]  # for each section, the place of each player's option


@dataclass(frozen=True)
class Plan:
    """What each player takes in each section.

    Parameters
    ----------
    choices : list of tuple of int
        For each section, the place of each player's option.
    necks : tuple of int
        Which neck each player has.
    value : float
    bound : float
        No choice is worth more.
    """

    choices: Paths
    necks: tuple[int, ...]
    value: float
    bound: float

    @property
    def gap(self) -> float:
        """How much better anything could be at most, as a share of the value."""
        return (self.bound - self.value) / max(abs(self.value), 1e-9)

    def options(self, problem: Problem, player: int) -> list[Option]:
        """Return the options that a player takes."""
        return [
            problem.options[section].options[chosen[player]]
            for section, chosen in enumerate(self.choices)
        ]


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
        return _exact(problem, problem.tables(players), _neck_choices(problem, players))
    fewer = _of_those_kept(problem, players - 1)
    return _grown(problem, players, fewer)


def _neck_choices(problem: Problem, players: int) -> Iterator[tuple[int, ...]]:
    """Ways of giving the players their necks."""
    lineup = problem.lineup
    if lineup.are_alike(players):
        yield from combinations_with_replacement(lineup.may_have(0), players)
    else:
        yield from product(*(lineup.may_have(player) for player in range(players)))


def _exact(
    problem: Problem,
    tables: Sequence[Array],
    neck_choices: Iterator[tuple[int, ...]],
    keep: Sequence[Array] | None = None,
) -> Plan | None:
    """The best plan of all; of those made of the options in `keep`, if given."""
    asked = []
    for number, necks in enumerate(neck_choices):
        places = _places(problem, necks, keep)
        values = [
            joint_values(problem, tables[section], section, places[section], necks)
            for section in range(len(tables))
        ]
        asked.append((-sum(float(value.max(initial=-np.inf)) for value in values), number, necks))
    best: Plan | None = None
    for minus_bound, _, necks in sorted(asked):
        if minus_bound == np.inf or (best and -minus_bound <= best.value + _BETTER):
            break
        places = _places(problem, necks, keep)
        found = best_path(
            [joint_values(problem, tables[s], s, places[s], necks) for s in range(len(tables))],
            step_costs(problem, places, necks),
        )
        if found and (best is None or found.value > best.value + _BETTER):
            choices = [
                tuple(int(own[at]) for own, at in zip(places[s], found.choices[s], strict=True))
                for s in range(len(tables))
            ]
            best = Plan(choices, necks, found.value, found.value)
    return best


def _places(
    problem: Problem, necks: Sequence[int], keep: Sequence[Array] | None = None
) -> list[list[Array]]:
    """For each section and player, the places of the options that they may take."""
    found = []
    for section in range(len(problem.options)):
        own = [problem.may(player, section, neck) for player, neck in enumerate(necks)]
        if keep is not None:
            own = [places[keep[section][places]] for places in own]
        found.append(own)
    return found


@dataclass(frozen=True)
class _Group:
    """Players who are decided together.

    Parameters
    ----------
    players : sequence of int
    necks : sequence of int
    against_rules : float
        The worth of what is against a rule.
    """

    players: Sequence[int]
    necks: Sequence[int]
    against_rules: float


def joint_values(
    problem: Problem, table: Array, section: int, places: Sequence[Array], necks: Sequence[int]
) -> Array:
    """Return what each joint choice is worth in a section; one axis a player.

    No two players take the same layer, unless both are pinned to it; the lead is played.
    """
    return _joint(problem, table, section, places, _Group(range(len(places)), necks, -np.inf))


def _joint(
    problem: Problem,
    table: Array,
    section: int,
    places: Sequence[Array],
    group: _Group,
    others: int = 0,
) -> Array:
    """The same for some players, where all others play the layers of a mask."""
    options, worth = problem.options[section], problem.worths[section]
    count = len(places)
    union = np.full((1,) * count, others, dtype=np.int64)
    bad = np.zeros((1,) * count, dtype=bool)
    cost = np.zeros((1,) * count)
    pins = problem.lineup.decided.pins
    free = [(player, section) not in pins for player in group.players]
    for axis, (own, neck) in enumerate(zip(places, group.necks, strict=True)):
        shape = [-1 if other == axis else 1 for other in range(count)]
        masks = options.masks[own].reshape(shape)
        if free[axis] or any(free[:axis]):
            bad = bad | ((union & masks) != 0)
        union = union | masks
        cost = cost + problem.own_cost(section, neck)[own].reshape(shape)
    if worth.lead:
        bad = bad | ((union & worth.lead) == 0)
    return np.where(bad, group.against_rules, table[union]) - cost


def step_costs(
    problem: Problem, places: Sequence[Sequence[Array]], necks: Sequence[int]
) -> list[list[Array]]:
    """Return what the changes cost each player, among the options that they may take."""
    return [
        [
            problem.changes(section, neck)[np.ix_(before, now)]
            for before, now, neck in zip(places[section], places[section + 1], necks, strict=True)
        ]
        for section in range(len(places) - 1)
    ]


def path_value(
    problem: Problem, tables: Sequence[Array], choices: Paths, necks: Sequence[int]
) -> float:
    """Return what a plan is worth; far below 0 if it is against a rule."""
    total = 0.0
    group = _Group(range(len(necks)), necks, _BARRED)
    for section, chosen in enumerate(choices):
        places = [np.array([place]) for place in chosen]
        total += _joint(problem, tables[section], section, places, group).item()
        if section:
            total -= sum(
                problem.changes(section - 1, neck)[before, now]
                for before, now, neck in zip(choices[section - 1], chosen, necks, strict=True)
            )
    return float(total)


def _each_their_own(problem: Problem, players: int) -> Plan | None:
    """As many players as layers, or more: nobody has to leave anything."""
    recorded, frets = problem.recorded, problem.lineup.necks
    count = len(recorded.names)
    if players < count:
        return None
    necks = []
    for layer, known in enumerate(recorded.necks):
        order = sorted(range(len(frets)), key=lambda n: (frets[n].neck != known, n))
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
    value = path_value(problem, tables, choices, necks)
    if value < _BARRED / 2:
        return None
    return Plan(choices, tuple(necks), value, max(value, sections_bound(problem, tables, players)))


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
    before = fewer.necks if fewer else tuple(own[0] for own in may_have[:-1])
    best: Plan | None = None
    for neck in may_have[-1]:
        given = (*before, neck)
        start = _start(problem, fewer, given)
        if start is None:
            continue
        choices, value = _improved(problem, tables, start, given)
        if best is None or value > best.value + _BETTER:
            best = Plan(choices, given, value, 0)
    if best is None or best.value < _BARRED / 2:
        return None
    bound = max(sections_bound(problem, tables, players), best.value)
    best = Plan(best.choices, best.necks, best.value, bound)
    return _finished(problem, tables, best)


def _start(problem: Problem, fewer: Plan | None, necks: tuple[int, ...]) -> Paths | None:
    """The plan for fewer players with others added who lay out where they may."""
    added = range(len(fewer.necks) if fewer else 0, len(necks))
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
    value = path_value(problem, tables, choices, necks)
    players = len(necks)
    pairs = sorted(combinations(range(players), 2), key=lambda pair: (-pair[1], pair[0]))
    unchanged, turn = 0, 0
    while unchanged < len(pairs):
        pair = pairs[turn % len(pairs)]
        turn += 1
        tried = _two_decided_again(problem, tables, choices, necks, pair)
        worth = path_value(problem, tables, tried, necks)
        unchanged += 1
        if worth > value + _BETTER:
            choices, value, unchanged = tried, worth, 1
    return choices, value


def _two_decided_again(
    problem: Problem,
    tables: Sequence[Array],
    choices: Paths,
    necks: tuple[int, ...],
    pair: tuple[int, int],
) -> Paths:
    """The best for two players, all others as they are."""
    places, values = _group_values(problem, tables, choices, necks, pair)
    found = best_path(values, step_costs(problem, places, [necks[player] for player in pair]))
    assert found is not None
    again = []
    for section, chosen in enumerate(choices):
        now = list(chosen)
        for axis, player in enumerate(pair):
            now[player] = int(places[section][axis][found.choices[section, axis]])
        again.append(tuple(now))
    return again


def _group_values(
    problem: Problem,
    tables: Sequence[Array],
    choices: Paths,
    necks: tuple[int, ...],
    group: Sequence[int],
) -> tuple[list[list[Array]], list[Array]]:
    """What some players may take in each section, and what it is worth beside the others."""
    places, values = [], []
    given = _Group(group, [necks[player] for player in group], _BARRED)
    for section, chosen in enumerate(choices):
        masks = problem.options[section].masks
        others = 0
        for player, place in enumerate(chosen):
            others |= 0 if player in group else int(masks[place])
        own = [problem.may(player, section, necks[player]) for player in group]
        places.append(own)
        values.append(_joint(problem, tables[section], section, own, given, others))
    return places, values


def _finished(problem: Problem, tables: Sequence[Array], plan: Plan) -> Plan:
    """The exact answer, if what can still reach it is few enough."""
    players = range(len(plan.necks))
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
    exact = _exact(problem, tables, _neck_choices(problem, len(players)), keep)
    if exact is None or exact.value <= plan.value + _BETTER:
        return Plan(plan.choices, plan.necks, plan.value, plan.value)
    return exact


def other_choices(problem: Problem, plan: Plan) -> list[Iterator[tuple[float, tuple[int, ...]]]]:
    """Return for each section all joint choices, each with the best plan through it.

    For more players than the exact search takes at once, two of them change and the others stay.
    """
    players = len(plan.necks)
    tables = problem.tables(players)
    groups = (
        [tuple(range(players))]
        if players <= EXACT_PLAYERS
        else list(combinations(range(players), EXACT_PLAYERS))
    )
    found: list[list[tuple[float, tuple[int, ...]]]] = [[] for _ in tables]
    for group in groups:
        places, values = _group_values(problem, tables, plan.choices, plan.necks, group)
        given = [plan.necks[player] for player in group]
        path = best_path(values, step_costs(problem, places, given))
        assert path is not None
        lost = path.value - plan.value  # what the others' share comes to
        for section, through in enumerate(path.through):
            own = places[section]
            order = np.argsort(-through, axis=None, kind="stable")[:_MOST_OTHERS]
            for flat in order.tolist():
                at = np.unravel_index(flat, through.shape)
                if through[at] < _BARRED / 2:
                    break
                chosen = list(plan.choices[section])
                for axis, player in enumerate(group):
                    chosen[player] = int(own[axis][at[axis]])
                found[section].append((float(through[at]) - lost, tuple(chosen)))
    return [iter(sorted(each, key=lambda one: (-one[0], one[1]))) for each in found]
