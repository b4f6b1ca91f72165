"""The best path of several players is compared with all paths and with a published special case."""

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrange.best_path import Link, best_path, linked_path


def slow_best(values, costs):
    """Try all paths one after the other; return the first of the best."""
    best, where = -np.inf, None
    for path in product(*(list(np.ndindex(value.shape)) for value in values)):
        total = sum(value[at] for value, at in zip(values, path, strict=True))
        for cost, before, now in zip(costs, path, path[1:], strict=False):
            total -= sum(own[b, n] for own, b, n in zip(cost, before, now, strict=True))
        if total > best:
            best, where = total, path
    return best, where


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(1, 3), st.integers(1, 4), st.booleans())
def test_all_paths_tried(seed, players, steps, is_barred):
    """The value is that of the best of all paths; whole numbers make ties frequent."""
    draw = np.random.default_rng(seed)
    most = {1: 5, 2: 3, 3: 2}[players]
    shapes = [tuple(draw.integers(1, most + 1, players)) for _ in range(steps)]
    values = [draw.integers(-3, 4, shape).astype(float) for shape in shapes]
    costs = [
        [draw.integers(0, 4, (b, n)).astype(float) for b, n in zip(before, now, strict=True)]
        for before, now in pairwise(shapes)
    ]
    if is_barred:
        for own in (own for cost in costs for own in cost):
            own[draw.random(own.shape) < 0.3] = np.inf
    best, where = slow_best(values, costs)
    found = best_path(values, costs)
    if where is None:
        assert found is None
        return
    assert found.value == best
    total = sum(value[tuple(at)] for value, at in zip(values, found.choices, strict=True))
    for cost, before, now in zip(costs, found.choices, found.choices[1:], strict=False):
        total -= sum(own[b, n] for own, b, n in zip(cost, before, now, strict=True))
    assert total == best
    for step, through in enumerate(found.through):
        for at in np.ndindex(through.shape):
            fixed = [*values]
            fixed[step] = np.full_like(values[step], -np.inf)
            fixed[step][at] = values[step][at]
            assert through[at] == slow_best(fixed, costs)[0]


def made_up(draw, players, steps, most):
    """Values and costs of whole numbers, and links of some steps to earlier ones."""
    shapes = [tuple(draw.integers(1, most + 1, players)) for _ in range(steps)]
    values = [draw.integers(-3, 4, shape).astype(float) for shape in shapes]
    costs = [
        [draw.integers(0, 4, (b, n)).astype(float) for b, n in zip(before, now, strict=True)]
        for before, now in pairwise(shapes)
    ]
    earlier = list(range(steps - 1))
    tables = {}
    for later in range(1, steps):
        free = [step for step in earlier if step < later]
        if free and draw.random() < 0.7:
            step = int(draw.choice(free))
            earlier.remove(step)
            size = np.prod(shapes[step]), np.prod(shapes[later])
            tables[step, later] = draw.integers(0, 6, size).astype(float)
    return values, costs, tables


def linked(tables):
    return [
        Link(*ends, lambda one, other, table=table: table[np.ix_(one, other)])
        for ends, table in tables.items()
    ]


def path_worth(values, costs, tables, path):
    """What a path is worth by its definition."""
    total = sum(value[tuple(at)] for value, at in zip(values, path, strict=True))
    for cost, before, now in zip(costs, path, path[1:], strict=False):
        total -= sum(own[b, n] for own, b, n in zip(cost, before, now, strict=True))
    flat = [np.ravel_multi_index(at, v.shape) for at, v in zip(path, values, strict=True)]
    return total - sum(table[flat[one], flat[other]] for (one, other), table in tables.items())


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(1, 2), st.integers(2, 5), st.sampled_from([1, 3, 3000]))
def test_all_linked_paths_tried(seed, players, steps, width):
    """However few paths are followed: the value is that of a path, the bound that of none."""
    values, costs, tables = made_up(np.random.default_rng(seed), players, steps, 4 // players)
    every = product(*(list(np.ndindex(value.shape)) for value in values))
    best = max(path_worth(values, costs, tables, path) for path in every)
    found = linked_path(values, costs, linked(tables), widths=(1, width))
    assert found.value <= best <= found.bound
    assert found.value == path_worth(values, costs, tables, [tuple(at) for at in found.choices])
    if width == 3000:
        assert found.value == best == found.bound


def test_paths_too_many_to_hold_at_once(monkeypatch):
    """If the work is cut into pieces, the answer is the same."""
    draw = np.random.default_rng(7)
    values = [draw.random((7, 5)) for _ in range(4)]
    costs = [[draw.random((7, 7)), draw.random((5, 5))] for _ in range(3)]
    whole = best_path(values, costs)
    monkeypatch.setattr("arrange.best_path._CHUNK", 30)
    cut = best_path(values, costs)
    assert cut.value == whole.value
    np.testing.assert_array_equal(cut.choices, whole.choices)


# Seven phrases, as (begin, end, weight): choose which to play when only so many can sound at once.
# This is the weighted interval scheduling problem on several machines, polynomial (E. M. Arkin and
# E. B. Silverberg, Scheduling jobs with fixed start and end times, Discrete Applied Mathematics
# 18 (1987) 1-8, from memory). Best weights worked by trying all subsets.
PHRASES = [(0, 8, 10), (4, 12, 7), (8, 16, 9), (0, 4, 4), (4, 8, 3), (12, 16, 5), (2, 14, 11)]


@pytest.mark.parametrize(("players", "best"), [(1, 19), (2, 35), (3, 46)])
def test_phrases_for_some_players(players, best):
    """A phrase is played whole by one player or not at all, and its weight counts at its end."""
    edges = sorted({edge for begin, end, _ in PHRASES for edge in (begin, end)})
    steps = list(pairwise(edges))
    rest = len(PHRASES)
    options = range(rest + 1)
    values, costs = [], []
    for begin, end in steps:
        one = np.array(
            [w if e == end else 0 if b <= begin and end <= e else -np.inf for b, e, w in PHRASES]
            + [0.0]
        )
        joint = np.zeros((rest + 1,) * players)
        for at in np.ndindex(joint.shape):
            played = [option for option in at if option != rest]
            joint[at] = sum(one[o] for o in at) if len(set(played)) == len(played) else -np.inf
        values.append(joint)
        own = np.full((rest + 1, rest + 1), np.inf)
        for before, now in product(options, options):
            goes_on = before == now
            begins = now == rest or PHRASES[now][0] == begin
            own[before, now] = 0 if goes_on or begins else np.inf
        costs.append([own] * players)
    assert best_path(values, costs[1:]).value == best
    kept = [
        sum(w for _, _, w in subset)
        for bits in range(2 ** len(PHRASES))
        for subset in [[p for n, p in enumerate(PHRASES) if bits >> n & 1]]
        if all(sum(b <= at < e for b, e, _ in subset) <= players for at in edges)
    ]
    assert max(kept) == best
