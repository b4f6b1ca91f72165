"""The best way through a song for several players at once.

At each step every player takes one of several options. A joint choice has a value, and a change
from one option to another costs a player something, whatever the others do. Because each player
has costs of their own, the best path can be found one player after the other, step by step. It is
exact: no other path has a greater value. Ties go to the options that come first.

Steps that are not neighbours may be linked: a pair of joint choices costs something too
(``linked_path``). Then every path is followed as long as what it has reached, with the best that
could follow if there were no links, comes up to the best path known.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

_CHUNK = 4_000_000  # numbers held in memory at once
_NEAR = 1e-7
WIDTHS = (60, 600, 3000)  # paths that are followed at once
_SORTED = 10  # times as many are sorted out
_MOST_KEPT = 1000  # joint choices of a step among which they go on


@dataclass(frozen=True)
class BestPath:
    """The best path, and how good any other choice could be.

    Parameters
    ----------
    choices : array of int, steps x players
        Which option each player takes at each step.
    value : float
        Of the whole path: values less costs.
    through : tuple of float arrays
        For each step, one axis a player: the value of the best path through each joint choice.
    left : tuple of float arrays
        The same, of all that comes behind that step.
    """

    choices: NDArray[np.int64]
    value: float
    through: tuple[NDArray[np.float64], ...]
    left: tuple[NDArray[np.float64], ...] = field(repr=False)


def best_path(
    values: Sequence[NDArray[np.float64]], costs: Sequence[Sequence[NDArray[np.float64]]]
) -> BestPath | None:
    """Return the path of greatest value; None if every path is forbidden.

    Parameters
    ----------
    values : one array a step
        One axis a player, as long as that player has options there: the value of each joint
        choice; -inf where it is forbidden.
    costs : for each step from the second on, one array a player
        Options before x options now: what the change costs; inf where it is forbidden.
    """
    reached = [values[0]]
    for value, cost in zip(values[1:], costs, strict=True):
        reached.append(_carried(reached[-1], cost) + value)
    left = [np.zeros_like(values[-1])]
    for value, cost in zip(reversed(values[1:]), reversed(costs), strict=True):
        left.append(_carried(left[-1] + value, [own.T for own in cost]))
    left.reverse()
    through = tuple(one + other for one, other in zip(reached, left, strict=True))
    best = float(reached[-1].max())
    if best == -np.inf:
        return None
    return BestPath(_choices(reached, costs), best, through, tuple(left))


def _choices(
    reached: Sequence[NDArray[np.float64]], costs: Sequence[Sequence[NDArray[np.float64]]]
) -> NDArray[np.int64]:
    """The options of the best path, from the last step back."""
    at = np.unravel_index(int(np.argmax(reached[-1])), reached[-1].shape)
    rows = [at]
    for before, cost in zip(reversed(reached[:-1]), reversed(costs), strict=True):
        total = before
        for player, own in enumerate(cost):
            shape = [1] * before.ndim
            shape[player] = -1
            total = total - own[:, at[player]].reshape(shape)
        at = np.unravel_index(int(np.argmax(total)), total.shape)
        rows.append(at)
    return np.array(rows[::-1], dtype=np.int64)


def _carried(
    values: NDArray[np.float64], costs: Sequence[NDArray[np.float64]]
) -> NDArray[np.float64]:
    """The best value with which each joint choice can be reached, player by player."""
    for player, cost in enumerate(costs):
        last = np.moveaxis(values, player, -1)
        flat = last.reshape(-1, last.shape[-1])
        moved = np.empty((len(flat), cost.shape[1]))
        rows = max(_CHUNK // max(cost.size, 1), 1)
        for begin in range(0, len(flat), rows):
            part = flat[begin : begin + rows]
            moved[begin : begin + rows] = (part[:, :, None] - cost).max(axis=1)
        values = np.moveaxis(moved.reshape(*last.shape[:-1], -1), -1, player)
    return values


@dataclass(frozen=True)
class Link:
    """Two steps whose joint choices cost something together.

    Parameters
    ----------
    earlier, later : int
        Each step is the later one of at most one link, and the earlier one of at most one.
    cost : function
        Of joint choices of the earlier step and of the later one, as places in their flattened
        arrays: what each pair costs, 0 or more.
    """

    earlier: int
    later: int
    cost: Callable[[NDArray[np.int64], NDArray[np.int64]], NDArray[np.float64]]


@dataclass(frozen=True)
class LinkedPath:
    """The best path found where steps are linked.

    Parameters
    ----------
    choices : array of int, steps x players
    value : float
        Of the whole path: values less costs and links.
    bound : float
        No path has a greater value; equal to the value where that is proven.
    """

    choices: NDArray[np.int64]
    value: float
    bound: float


def linked_path(
    values: Sequence[NDArray[np.float64]],
    costs: Sequence[Sequence[NDArray[np.float64]]],
    links: Sequence[Link],
    least: float = -np.inf,
    widths: Sequence[int] = WIDTHS,
) -> LinkedPath | None:
    """Return the best path known where some steps are linked; None if every path is forbidden.

    Parameters
    ----------
    values, costs
        As of ``best_path``.
    links : sequence of Link
    least : float
        Paths below this value are of no interest: they may be missed, and `bound` is at least this.
    widths : sequence of int
        How many paths are followed at once, in turn, until the best is proven.
    """
    chain = best_path(values, costs)
    if chain is None:
        return None
    follow = _Following(values, costs, links, chain)
    shapes = [value.shape for value in values]
    flat = [
        int(np.ravel_multi_index(tuple(at), shape))
        for at, shape in zip(chain.choices, shapes, strict=True)
    ]
    best, bound = chain.value - follow.linked(flat), chain.value
    for width in widths:
        if bound <= max(best, least) + _NEAR:
            break
        found, value, missed = follow.paths(width, max(best, least))
        if found is not None and value > best + _NEAR:
            flat, best = found, value
        bound = min(bound, max(missed, best, least))
    choices = [np.unravel_index(at, shape) for at, shape in zip(flat, shapes, strict=True)]
    return LinkedPath(np.array(choices, dtype=np.int64), best, max(bound, best))


@dataclass(frozen=True)
class _Following:
    """Follows many paths at once, from the first step to the last."""

    values: Sequence[NDArray[np.float64]]
    costs: Sequence[Sequence[NDArray[np.float64]]]
    links: Sequence[Link]
    chain: BestPath

    def linked(self, flat: Sequence[int]) -> float:
        """What the links of a path cost."""
        at = [np.array([one]) for one in flat]
        return sum(link.cost(at[link.earlier], at[link.later]).item() for link in self.links)

    def paths(self, width: int, least: float) -> tuple[list[int] | None, float, float]:
        """The best path that is followed, its value, and what a path that is not can reach."""
        keep, missed = self._kept(least)
        into = {link.later: link for link in self.links}
        until = {link.earlier: link.later for link in self.links}
        # What a choice costs at least in its later return.
        matrices = {j: link.cost(keep[link.earlier], keep[j]) for j, link in into.items()}
        owed = {into[j].earlier: cost.min(axis=1, initial=np.inf) for j, cost in matrices.items()}
        total = np.zeros(1)
        held: dict[int, NDArray[np.int64]] = {}
        last, trail = np.zeros(1, dtype=np.int64), []
        for step, kept in enumerate(keep):
            spread = total[:, None] + self.values[step].reshape(-1)[kept]
            if step:
                spread = spread - self._steps(step, keep[step - 1], kept)[last]
            if step in into:
                spread = spread - matrices[step][held[into[step].earlier]]
            hope = spread + self.chain.left[step].reshape(-1)[kept]
            if step in owed:
                hope = hope - owed[step]
            for other, at in held.items():
                if until[other] > step:
                    hope = hope - owed[other][at][:, None]
            row, now = np.nonzero((hope >= least - _NEAR) & (hope > -np.inf))
            if not len(row):
                return None, -np.inf, missed
            total, hope = spread[row, now], hope[row, now]
            if len(row) > _SORTED * width:
                cut = np.argpartition(-hope, _SORTED * width)
                missed = max(missed, float(hope[cut[_SORTED * width]]))
                cut = np.sort(cut[: _SORTED * width])
                row, now, total, hope = row[cut], now[cut], total[cut], hope[cut]
            held = {one: at[row] for one, at in held.items() if until[one] > step}
            if step in until:
                held[step] = now
            best = _best_of_each([now, *held.values()], total)
            if len(best) > width:
                order = np.argsort(-hope[best], kind="stable")
                missed = max(missed, float(hope[best[order[width]]]))
                best = np.sort(best[order[:width]])
            trail.append((row[best], now[best]))
            total, last = total[best], now[best]
            held = {one: at[best] for one, at in held.items()}
        return self._traced(keep, trail, int(total.argmax())), float(total.max()), missed

    def _kept(self, least: float) -> tuple[list[NDArray[np.int64]], float]:
        """The joint choices of each step that can reach a value, and the best of those left out."""
        keep, missed = [], -np.inf
        for through in self.chain.through:
            flat = through.reshape(-1)
            own = np.flatnonzero((flat >= least - _NEAR) & (flat > -np.inf))
            if len(own) > _MOST_KEPT:
                order = np.argsort(-flat[own], kind="stable")
                missed = max(missed, float(flat[own[order[_MOST_KEPT]]]))
                own = np.sort(own[order[:_MOST_KEPT]])
            keep.append(own)
        return keep, missed

    def _steps(
        self, step: int, before: NDArray[np.int64], now: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """What the changes from one step to the next cost, from each kept choice to each."""
        one = np.unravel_index(before, self.values[step - 1].shape)
        other = np.unravel_index(now, self.values[step].shape)
        total = np.zeros((len(before), len(now)))
        for cost, b, n in zip(self.costs[step - 1], one, other, strict=True):
            total += cost[np.ix_(b, n)]
        return total

    @staticmethod
    def _traced(
        keep: Sequence[NDArray[np.int64]],
        trail: Sequence[tuple[NDArray[np.int64], NDArray[np.int64]]],
        at: int,
    ) -> list[int]:
        """The choices of a path, from its place in the last step back."""
        found = []
        for kept, (row, now) in zip(reversed(keep), reversed(trail), strict=True):
            found.append(int(kept[now[at]]))
            at = int(row[at])
        return found[::-1]


def _best_of_each(keys: Sequence[NDArray[np.int64]], total: NDArray[np.float64]) -> Any:
    """Of those that are the same in all keys the place of the best, the first of several."""
    order = np.lexsort((-total, *keys))
    is_first = np.zeros(len(order), dtype=bool)
    is_first[:1] = True
    for key in keys:
        is_first[1:] |= np.diff(key[order]) != 0
    return np.sort(order[is_first])
