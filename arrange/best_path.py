"""The best way through a song for several players at once.

At each step every player takes one of several options. A joint choice has a value, and a change
from one option to another costs a player something, whatever the others do. Because each player
has costs of their own, the best path can be found one player after the other, step by step. It is
exact: no other path has a greater value. Ties go to the options that come first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_CHUNK = 4_000_000  # numbers held in memory at once


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
    """

    choices: NDArray[np.int64]
    value: float
    through: tuple[NDArray[np.float64], ...]


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
    through = tuple(one + other for one, other in zip(reached, reversed(left), strict=True))
    best = float(reached[-1].max())
    if best == -np.inf:
        return None
    return BestPath(_choices(reached, costs), best, through)


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
