"""Re-voicing computed the slow, obvious way: try every choice, compare every note with every other.

This is the slow twin of ``arrange.revoicing.choosing``, without tables of seconds and without a
path search.
"""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np

from arrange.revoicing.clash_costs import pair_costs

SILENT = 128
REST = 8.0


def move(one, before, other, after, prices):
    """Return the cost for a part to go from option `before` in one unit to `after` in the next."""
    (unit, options), (later, later_options) = one, other
    if max(later.begin - unit.finish, 0.0) >= REST:
        return 0.0
    hand = abs(options.place_mm[before] - later_options.place_mm[after])
    top = abs(top_pitch(unit, options, before, -1) - top_pitch(later, later_options, after, 0))
    return prices.hand * (0 if np.isnan(hand) else hand) + prices.top * top


def top_pitch(unit, options, row, which):
    """Return the highest pitch of the first or last attack of a unit in one of its options."""
    at = np.flatnonzero(unit.onset == unit.onset[which])
    return float(max(options.pitches[row, unit.rank[n]] for n in at))


def path_cost(own, rows, prices):
    """Return the cost of a choice for one player: each option by itself, and the moves between."""
    cost = sum(options.cost[row] for (_, options), row in zip(own, rows, strict=True))
    steps = pairwise(zip(own, rows, strict=True))
    return cost + sum(move(one, b, other, a, prices) for (one, b), (other, a) in steps)


def slow_choice(units, options, prices):
    """Return the cheapest of all choices of one player, the first of equal ones, and its cost."""
    own = list(zip(units, options, strict=True))
    every = product(*(range(len(each.cost)) for each in options))
    costs = {rows: path_cost(own, rows, prices) for rows in every}
    best = min(costs.values())
    return best, next(rows for rows, cost in costs.items() if cost <= best + 1e-9)


def meeting(song, one, row, other, its, side, taste):
    """Return what two units of two players cost together: each pair of notes, while both sound."""
    (unit, options), (with_unit, with_options) = one, other
    tables, cost, longest = pair_costs(taste), 0.0, {}
    for a, b in product(range(len(unit.rows)), range(len(with_unit.rows))):
        begin = max(unit.onset[a], with_unit.onset[b])
        end = min(unit.end[a], with_unit.end[b])
        if end <= begin:
            continue
        seconds = song.seconds(end) - song.seconds(begin)
        ranks = int(unit.rank[a]), int(with_unit.rank[b])
        longest[ranks] = longest.get(ranks, 0.0) + seconds
        pitches = options.pitches[row, ranks[0]], with_options.pitches[its, ranks[1]]
        cost += seconds * tables["family"][pitches]
    if side and longest:
        tops = [max(p for p in o.pitches[n] if p != SILENT)
                for o, n in ((options, row), (with_options, its))]  # fmt: skip
        cost += max(longest.values()) * tables[side][tops[0], tops[1]]
    return cost


def slow_pair(song, units, options, side, taste):
    """Return the lowest cost of two players together."""
    players = [list(zip(u, o, strict=True)) for u, o in zip(units, options, strict=True)]
    spans = [
        [(u.begin, later.begin) for u, later in pairwise(own)] + [(own[-1].begin, np.inf)]
        for own in units
    ]
    meets = [
        (a, b)
        for a, b in product(range(len(units[0])), range(len(units[1])))
        if max(spans[0][a][0], spans[1][b][0]) < min(spans[0][a][1], spans[1][b][1])
    ]
    known = {
        (a, row, b, its): meeting(song, players[0][a], row, players[1][b], its, side, taste)
        for a, b in meets
        for row in range(len(options[0][a].cost))
        for its in range(len(options[1][b].cost))
    }
    ways = [list(product(*(range(len(each.cost)) for each in own))) for own in options]
    alone = [
        {rows: path_cost(own, rows, taste.prices) for rows in every}
        for own, every in zip(players, ways, strict=True)
    ]
    return min(
        alone[0][one] + alone[1][other] + sum(known[a, one[a], b, other[b]] for a, b in meets)
        for one in ways[0]
        for other in ways[1]
    )
