"""The best choice for every player in every section.

For one and two players the path of greatest worth is found exactly (``paths.best_path``), for each
way of giving them their tunings and capos. For more, the joint choices are too many to be held:
the answer for one player fewer is taken, the new one added, and two players at a time are decided
anew, all others fixed and exactly each time, until nothing gets better. How much better anything
could be is told: no path is worth more than the best of each section without the cost of changes.
What cannot reach the answer already found is left out; where what is left is few enough, the exact
search ends it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, combinations_with_replacement, product

import numpy as np

from arrange.best_path import best_path
from arrange.condensing.board import Board
from arrange.condensing.options import Option
from arrange.tables.sounding import Array

EXACT_PLAYERS = 2
_MOST_JOINT = 60_000  # joint choices in one section that the exact search is asked to hold
_BARRED = -1e7  # what is against a rule, while a first answer is looked for
_BETTER = 1e-7
_MOST_TOLD = 400  # joint choices of a section among which others are told

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

    def options(self, board: Board, player: int) -> list[Option]:
        """Return the options that a player takes."""
        return [
            board.options[section].options[chosen[player]]
            for section, chosen in enumerate(self.choices)
        ]


def solve(board: Board, players: int) -> Plan | None:
    """Return the best plan for the first so many players; None if every one is against a rule."""
    if board.rules.is_free and board.fixed_necks is None:
        plan = _each_their_own(board, players)
        if plan:
            return plan
    if players <= EXACT_PLAYERS:
        return _exact(board, board.tables(players), _neck_choices(board, players))
    fewer = solve(board, players - 1)
    return _grown(board, players, fewer)


def _neck_choices(board: Board, players: int) -> Iterator[tuple[int, ...]]:
    """Ways of giving the players their necks."""
    if board.fixed_necks is not None:
        yield board.fixed_necks[:players]
    elif board.rules.tells_apart(players):
        yield from product(range(len(board.necks)), repeat=players)
    else:
        yield from combinations_with_replacement(range(len(board.necks)), players)


def _exact(
    board: Board,
    tables: Sequence[Array],
    neck_choices: Iterator[tuple[int, ...]],
    keep: Sequence[Array] | None = None,
) -> Plan | None:
    """The best plan of all; of those made of the options in `keep`, if told."""
    asked = []
    for number, necks in enumerate(neck_choices):
        places = _places(board, necks, keep)
        values = [
            joint_values(board, tables[section], section, places[section], necks)
            for section in range(len(tables))
        ]
        asked.append((-sum(float(value.max(initial=-np.inf)) for value in values), number, necks))
    best: Plan | None = None
    for minus_bound, _, necks in sorted(asked):
        if minus_bound == np.inf or (best and -minus_bound <= best.value + _BETTER):
            break
        places = _places(board, necks, keep)
        found = best_path(
            [joint_values(board, tables[s], s, places[s], necks) for s in range(len(tables))],
            step_costs(board, places),
        )
        if found and (best is None or found.value > best.value + _BETTER):
            choices = [
                tuple(int(own[at]) for own, at in zip(places[s], found.choices[s], strict=True))
                for s in range(len(tables))
            ]
            best = Plan(choices, necks, found.value, found.value)
    return best


def _places(
    board: Board, necks: Sequence[int], keep: Sequence[Array] | None = None
) -> list[list[Array]]:
    """For each section and player, the places of the options that they may take."""
    found = []
    for section in range(len(board.options)):
        own = [board.may(player, section, neck) for player, neck in enumerate(necks)]
        if keep is not None:
            own = [places[keep[section][places]] for places in own]
        found.append(own)
    return found


def joint_values(
    board: Board, table: Array, section: int, places: Sequence[Array], necks: Sequence[int]
) -> Array:
    """Return what each joint choice is worth in a section; one axis a player.

    No two players take the same layer, unless both are pinned to it; the lead is played.
    """
    return _joint(board, table, section, places, necks, range(len(places)), 0, -np.inf)


def _joint(
    board: Board,
    table: Array,
    section: int,
    places: Sequence[Array],
    necks: Sequence[int],
    players: Sequence[int],
    others: int,
    barred: float,
) -> Array:
    """The same for some players, beside what all others play."""
    options, worth = board.options[section], board.worths[section]
    count = len(places)
    union = np.full((1,) * count, others, dtype=np.int64)
    bad = np.zeros((1,) * count, dtype=bool)
    cost = np.zeros((1,) * count)
    free = [(player, section) not in board.rules.pins for player in players]
    for axis, (own, neck) in enumerate(zip(places, necks, strict=True)):
        shape = [-1 if other == axis else 1 for other in range(count)]
        masks = options.masks[own].reshape(shape)
        if free[axis] or any(free[:axis]):
            bad = bad | ((union & masks) != 0)
        union = union | masks
        cost = cost + board.own_cost(section, neck)[own].reshape(shape)
    if worth.lead:
        bad = bad | ((union & worth.lead) == 0)
    return np.where(bad, barred, table[union]) - cost


def step_costs(board: Board, places: Sequence[Sequence[Array]]) -> list[list[Array]]:
    """Return what the changes cost each player, among the options that they may take."""
    return [
        [
            board.steps[section][np.ix_(before, now)]
            for before, now in zip(places[section], places[section + 1], strict=True)
        ]
        for section in range(len(places) - 1)
    ]


def path_value(
    board: Board, tables: Sequence[Array], choices: Paths, necks: Sequence[int]
) -> float:
    """Return what a plan is worth; far below 0 if it is against a rule."""
    total = 0.0
    for section, chosen in enumerate(choices):
        places = [np.array([place]) for place in chosen]
        players = range(len(chosen))
        total += _joint(
            board, tables[section], section, places, necks, players, 0, _BARRED
        ).item()  # fmt: skip
        if section:
            step = board.steps[section - 1]
            total -= sum(step[b, n] for b, n in zip(choices[section - 1], chosen, strict=True))
    return float(total)


def _each_their_own(board: Board, players: int) -> Plan | None:
    """As many players as layers, or more: nobody has to leave anything."""
    count = len(board.material.names)
    if players < count:
        return None
    necks, own = [], []
    for layer in range(count):
        known = board.material.necks[layer]
        order = sorted(range(len(board.necks)), key=lambda n: (board.necks[n] != known, n))
        neck = next((n for n in order if _holds(board, layer, n)), order[0])
        necks.append(neck)
        own.append((layer,))
    choices: Paths = []
    for section in board.options:
        places = [section.options.index(o) if o in section.options else 0 for o in own]
        choices.append((*places, *(0,) * (players - count)))
    necks += [0] * (players - count)
    tables = board.tables(players)
    value = path_value(board, tables, choices, necks)
    if value < _BARRED / 2:
        return None
    return Plan(choices, tuple(necks), value, max(value, _bound(board, tables, players)))


def _holds(board: Board, layer: int, neck: int) -> bool:
    return all(
        own.playable[neck, own.options.index((layer,))]
        for own in board.options
        if (layer,) in own.options
    )


def _grown(board: Board, players: int, fewer: Plan | None) -> Plan | None:
    """One player more, then two at a time until nothing gets better."""
    tables = board.tables(players)
    given_necks = board.fixed_necks or (0,) * players
    before = fewer.necks if fewer else given_necks[: players - 1]
    necks = [given_necks[players - 1]] if board.fixed_necks else range(len(board.necks))
    best: Plan | None = None
    for neck in necks:
        given = (*before, neck)
        start = _start(board, fewer, given)
        if start is None:
            continue
        choices, value = _improved(board, tables, start, given)
        if best is None or value > best.value + _BETTER:
            best = Plan(choices, given, value, 0)
    if best is None or best.value < _BARRED / 2:
        return None
    bound = max(_bound(board, tables, players), best.value)
    best = Plan(best.choices, best.necks, best.value, bound)
    return _finished(board, tables, best)


def _start(board: Board, fewer: Plan | None, necks: tuple[int, ...]) -> Paths | None:
    """The plan for fewer players with others added who lay out where they may."""
    added = range(len(fewer.necks) if fewer else 0, len(necks))
    choices = []
    for section in range(len(board.options)):
        may = [board.may(player, section, necks[player]) for player in added]
        if not all(len(own) for own in may):
            return None
        known = fewer.choices[section] if fewer else ()
        choices.append((*known, *(int(own[0]) for own in may)))
    return choices


def _improved(
    board: Board, tables: Sequence[Array], choices: Paths, necks: tuple[int, ...]
) -> tuple[Paths, float]:
    """Decide two players at a time anew until nothing gets better."""
    value = path_value(board, tables, choices, necks)
    players = len(necks)
    pairs = sorted(combinations(range(players), 2), key=lambda pair: (-pair[1], pair[0]))
    unchanged, turn = 0, 0
    while unchanged < len(pairs):
        pair = pairs[turn % len(pairs)]
        turn += 1
        tried = _two_anew(board, tables, choices, necks, pair)
        worth = path_value(board, tables, tried, necks)
        unchanged += 1
        if worth > value + _BETTER:
            choices, value, unchanged = tried, worth, 1
    return choices, value


def _two_anew(
    board: Board,
    tables: Sequence[Array],
    choices: Paths,
    necks: tuple[int, ...],
    pair: tuple[int, int],
) -> Paths:
    """The best for two players, all others as they are."""
    places, values = _anew(board, tables, choices, necks, pair)
    found = best_path(values, step_costs(board, places))
    assert found is not None
    anew = []
    for section, chosen in enumerate(choices):
        now = list(chosen)
        for axis, player in enumerate(pair):
            now[player] = int(places[section][axis][found.choices[section, axis]])
        anew.append(tuple(now))
    return anew


def _anew(
    board: Board,
    tables: Sequence[Array],
    choices: Paths,
    necks: tuple[int, ...],
    group: Sequence[int],
) -> tuple[list[list[Array]], list[Array]]:
    """What some players may take in each section, and what it is worth beside the others."""
    places, values = [], []
    for section, chosen in enumerate(choices):
        masks = board.options[section].masks
        others = 0
        for player, place in enumerate(chosen):
            others |= 0 if player in group else int(masks[place])
        own = [board.may(player, section, necks[player]) for player in group]
        given = [necks[player] for player in group]
        places.append(own)
        values.append(
            _joint(board, tables[section], section, own, given, group, others, _BARRED)
        )  # fmt: skip
    return places, values


def _least_costs(board: Board, section: int, players: Sequence[int]) -> Array:
    """For every set of layers, the least it costs these players to play it, on any neck.

    Infinity for a set that they cannot play together.
    """
    own, size = board.options[section], 1 << len(board.worths[section].layers)
    cost = _own_costs(board, section)
    reached = np.append(0.0, np.full(size - 1, np.inf))
    for player in players:
        may = board.rules.allowed(player, section, own) & np.isfinite(cost)
        sets = np.flatnonzero(np.isfinite(reached))
        together = sets[:, None] | own.masks[may]
        least = np.full(size, np.inf)
        np.minimum.at(least, together, reached[sets, None] + cost[may])
        reached = least
    return reached


def _own_costs(board: Board, section: int) -> Array:
    """The least that each option of a section costs, on any neck that holds it."""
    playable = board.options[section].playable
    costs = [board.own_cost(section, neck) for neck in range(len(board.necks))]
    return np.asarray(np.where(playable, np.array(costs), np.inf).min(axis=0))


def _bound(board: Board, tables: Sequence[Array], players: int) -> float:
    """The best of each section, changes and necks free."""
    return float(
        sum(
            (_with_lead(board, table, section) - _least_costs(board, section, range(players))).max()
            for section, table in enumerate(tables)
        )
    )


def _with_lead(board: Board, table: Array, section: int) -> Array:
    """The worth of every set, barred where the lead is left out."""
    lead = board.worths[section].lead
    return np.where((np.arange(len(table)) & lead) != 0, table, -np.inf) if lead else table


def _finished(board: Board, tables: Sequence[Array], plan: Plan) -> Plan:
    """The exact answer, if what can still reach it is few enough."""
    players = range(len(plan.necks))
    alike = not board.rules.tells_apart(len(players))
    keep, most = [], 0.0
    for section, table in enumerate(tables):
        own = board.options[section]
        allowed = _with_lead(board, table, section)
        with_it = np.full(len(own.options), -np.inf)
        for player in players[:1] if alike else players:
            cost = _least_costs(board, section, [p for p in players if p != player])
            others = np.flatnonzero(np.isfinite(cost))
            each = [
                (allowed[others | mask] - cost[others]).max(initial=-np.inf)
                for mask in own.masks.tolist()
            ]
            with_it = np.maximum(with_it, each - _own_costs(board, section))
        chosen = np.zeros(len(own.options), dtype=bool)
        chosen[list(plan.choices[section])] = True
        # What the plan could gain in all bounds what may be lost here.
        keep.append((with_it >= with_it.max() - (plan.bound - plan.value) - _BETTER) | chosen)
        most = max(most, float(keep[-1].sum()) ** len(players))
    if most > _MOST_JOINT:
        return plan
    exact = _exact(board, tables, _neck_choices(board, len(players)), keep)
    if exact is None or exact.value <= plan.value + _BETTER:
        return Plan(plan.choices, plan.necks, plan.value, plan.value)
    return exact


def other_choices(board: Board, plan: Plan) -> list[Iterator[tuple[float, tuple[int, ...]]]]:
    """Return for each section all joint choices, each with the best plan through it.

    For more players than the exact search takes at once, two of them change and the others stay.
    """
    players = len(plan.necks)
    tables = board.tables(players)
    groups = (
        [tuple(range(players))]
        if players <= EXACT_PLAYERS
        else list(combinations(range(players), EXACT_PLAYERS))
    )
    found: list[list[tuple[float, tuple[int, ...]]]] = [[] for _ in tables]
    for group in groups:
        places, values = _anew(board, tables, plan.choices, plan.necks, group)
        path = best_path(values, step_costs(board, places))
        assert path is not None
        lost = path.value - plan.value  # what the others' share comes to
        for section, through in enumerate(path.through):
            own = places[section]
            order = np.argsort(-through, axis=None, kind="stable")[:_MOST_TOLD]
            for flat in order.tolist():
                at = np.unravel_index(flat, through.shape)
                if through[at] < _BARRED / 2:
                    break
                chosen = list(plan.choices[section])
                for axis, player in enumerate(group):
                    chosen[player] = int(own[axis][at[axis]])
                found[section].append((float(through[at]) - lost, tuple(chosen)))
    return [iter(sorted(each, key=lambda one: (-one[0], one[1]))) for each in found]
