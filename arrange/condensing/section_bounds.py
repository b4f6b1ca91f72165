"""How much a section can be worth at most, whatever is taken before and after it.

Of layers that are kept every set is looked at. Where layers are left out of the tables, a bound
covers them. The worth f of a set of layers is monotone and submodular: a layer more takes nothing
away, and adds no more to a larger set (so for clashes too, which are shared out so that no layer
makes it worse). So for layers A that are kept, layers U that are not, and any set M with A in it

    f(A and U) <= f(M and U) <= f(M) + what each of U adds to M, added up,

as Nemhauser, Wolsey and Fisher bound it (An analysis of approximations for maximizing submodular
set functions, Mathematical Programming 14, 1978; from memory). The least over all M is taken. What
growth takes away from A and U is no less than what it takes from A alone, and what it costs to play
two layers at once is no less where a bound of it stands in; both only make the bound larger.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from arrange.condensing.left_out import LeftOut
from arrange.condensing.problem import Problem
from arrange.condensing.section_worth import SectionWorth
from arrange.tables.sounding import Array

_ROUNDING = 1e-5  # of a section, for all figures that were rounded


def sections_bound(problem: Problem, tables: Sequence[Array], players: int) -> float:
    """Return the best of each section, changes and necks free, of the layers that are kept."""
    return float(sum(
        (with_lead(problem, table, section) - least_costs(problem, section, range(players))).max()
        for section, table in enumerate(tables)
    ))  # fmt: skip


def whole_bound(problem: Problem, players: int) -> float:
    """Return the best of each section, changes and necks free, of all layers."""
    return sum(_best_of_all(problem, section, players) for section in range(len(problem.worths)))


def _best_of_all(problem: Problem, section: int, players: int) -> float:
    """The most that a section can be worth, with any of its layers."""
    worth = problem.worths[section]
    grown = problem.growth(section, players)
    least = _nothing(worth)
    costs = [_least_of_class(problem, section, player) for player in range(players)]
    masks = problem.options[section].masks
    for cost in costs:
        least = _one_more(least, masks, cost)
    best = float((with_lead(problem, worth.covered - grown, section) - least).max())
    left_out = _left_out(problem, section)
    if not left_out:
        return best
    pins = problem.lineup.decided.pins
    free = [player for player in range(players) if (player, section) not in pins]
    kept = [_nothing(worth)]
    for player in range(players):
        if player not in free:
            kept = [_one_more(kept[0], masks, costs[player])]
    for _ in free[1:]:
        kept.append(_one_more(kept[-1], masks, np.min([costs[one] for one in free], axis=0)))
    out = LeftOut.of(worth, left_out, problem.costs.merges(section))
    best = max(best, out.with_one(kept[-1], grown, best))
    if len(free) == players == 2:
        return out.with_two(best) + _ROUNDING
    # So many players take something that is left out, alone or beside a layer that is kept.
    singles = np.append(0, 1 << np.arange(len(worth.kept)))
    for taking in range(2, len(free) + 1):
        least = kept[len(free) - taking]
        for _ in range(taking):
            least = _one_more(least, singles, np.append(0.0, out.beside.min(axis=1)))
        most = _least_above(worth.covered + taking * out.most) - grown
        best = max(best, float((with_lead(problem, most, section) - least).max()))
    return min(best, worth.worth_of(worth.layers)) + _ROUNDING


def _left_out(problem: Problem, section: int) -> list[int]:
    """Of each class without a layer that is kept, one that may be taken."""
    worth, decided = problem.worths[section], problem.lineup.decided
    may = [
        [one for one in own if not decided.is_banned(one, section)]
        for own in worth.classes
        if not set(own) & set(worth.kept)
    ]
    return [own[0] for own in may if own]


def _least_of_class(problem: Problem, section: int, player: int) -> Array:
    """The same as ``own_costs``, for any layer of the class of each that is kept.

    Where one of those is left out, all that it costs for sure is to play two at once.
    """
    worth, options = problem.worths[section], problem.options[section].options
    costs = own_costs(problem, section, player)
    if (player, section) in problem.lineup.decided.pins:
        return costs
    left = set(worth.layers) - set(worth.kept)
    doubled = {one for one in worth.kept if left & set(worth.classes[worth.class_of[one]])}
    merges = problem.costs.merges(section) if doubled else None
    for place, option in enumerate(options):
        if merges is not None and doubled & set(option):
            costs[place] = merges[option] if len(option) > 1 else 0.0
    return costs


def _least_above(table: Array) -> Array:
    """For every set the least that the table holds for it or any larger one."""
    least = table.copy()
    for bit in range(len(table).bit_length() - 1):
        pairs = least.reshape(-1, 2, 1 << bit)
        np.minimum(pairs[:, 0], pairs[:, 1], out=pairs[:, 0])
    return least


def least_costs(problem: Problem, section: int, players: Sequence[int]) -> Array:
    """For every set of layers, the least it costs these players to play it, on any of their necks.

    Infinity for a set that they cannot play together.
    """
    reached = _nothing(problem.worths[section])
    for player in players:
        cost = own_costs(problem, section, player)
        reached = _one_more(reached, problem.options[section].masks, cost)
    return reached


def _nothing(worth: SectionWorth) -> Array:
    """What it costs when nobody plays anything."""
    return np.append(0.0, np.full((1 << len(worth.kept)) - 1, np.inf))


def _one_more(reached: Array, masks: Array, costs: Array) -> Array:
    """The least that every set costs where another player takes one of some options."""
    least = np.full(len(reached), np.inf)
    able = np.isfinite(costs)
    for mask, cost in zip(masks[able].tolist(), costs[able].tolist(), strict=True):
        low, high = (mask & -mask).bit_length(), mask.bit_length()
        if not mask:
            np.minimum(least, reached + cost, out=least)
            continue
        # Halves of the table without and with a layer.
        halves = (-1, 2, 1 << (low - 1))
        before, after = reached.reshape(halves), least.reshape(halves)[:, 1]
        before = np.minimum(before[:, 0], before[:, 1])
        if high > low:
            quarters = (-1, 2, 1 << (high - low - 1), 1 << (low - 1))
            before, after = before.reshape(quarters), after.reshape(quarters)[:, 1]
            before = np.minimum(before[:, 0], before[:, 1])
        np.minimum(after, before + cost, out=after)
    return least


def own_costs(problem: Problem, section: int, player: int) -> Array:
    """The least that each option of a section costs a player, on any neck that holds it."""
    necks = list(problem.lineup.may_have(player))
    costs = np.array([problem.own_cost(section, neck) for neck in necks])
    least = np.where(problem.playable[section][necks], costs, np.inf).min(axis=0)
    return np.where(problem.allowed(player, section), least, np.inf)


def with_lead(problem: Problem, table: Array, section: int) -> Array:
    """The worth of every set, barred where the lead is left out."""
    lead = problem.worths[section].lead
    return np.where((np.arange(len(table)) & lead) != 0, table, -np.inf) if lead else table
