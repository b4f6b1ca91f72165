"""The best path over the units of a stretch: what is chosen in each, so that the whole is best.

One player or two. A unit's option costs what it is by itself and against what the others hold;
to go on to the next unit costs the way of the hand along the neck and the movement of the line on
top. With two players, time is cut wherever either begins a unit; a player's option stays while the
unit lasts, and what the two hold together is counted in each piece. Exact among the options given
(``best_path``); of equally good options the first is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from arrange.best_path import best_path
from arrange.clashes.scene import Scene
from arrange.revoicing.candidates import Options
from arrange.revoicing.clash_costs import meetings, pair_costs
from arrange.revoicing.taste import Prices, Taste
from arrange.revoicing.units import SILENT, Unit
from arrange.tables.sounding import Array

_REST = 8.0  # quarter notes of silence after which a player may begin anywhere (ours)


@dataclass(frozen=True, eq=False)
class Choice:
    """What was chosen.

    Parameters
    ----------
    options : array of int
        A row of each unit's options.
    cost : float
        Of the whole path, mm.
    """

    options: Array
    cost: float


def move_costs(before: Options, after: Options, gap: float, prices: Prices) -> Array:
    """Return what it costs to go from each option to each of the next unit, mm."""
    shape = len(before.cost), len(after.cost)
    if gap >= _REST:
        return np.zeros(shape)
    hand = np.abs(before.place_mm[:, None] - after.place_mm)
    top = np.abs(before.last_top[:, None] - after.first_top)
    return prices.hand * np.nan_to_num(hand) + prices.top * np.nan_to_num(top)


def choose(units: Sequence[Unit], options: Sequence[Options], prices: Prices) -> Choice:
    """Return the best options of one player.

    Parameters
    ----------
    units : sequence of Unit
        In order of time.
    options : sequence of Options
        Of each unit, one at least.
    prices : Prices
    """
    costs = [
        [move_costs(before, after, max(later.begin - unit.finish, 0.0), prices)]
        for (unit, before), (later, after) in pairwise(zip(units, options, strict=True))
    ]
    found = best_path([-each.cost for each in options], costs)
    assert found is not None  # nothing is forbidden among options
    return Choice(found.choices[:, 0], -found.value)


def choose_both(
    scene: Scene,
    units: tuple[Sequence[Unit], Sequence[Unit]],
    options: tuple[Sequence[Options], Sequence[Options]],
    side: str | None,
    taste: Taste,
) -> tuple[Choice, Choice]:
    """Return the best options of two players together.

    Parameters
    ----------
    scene : Scene
    units, options : two sequences
        Of each player.
    side : str, optional
        Whether the first player lies ``"above"`` or ``"below"`` the other over the song.
    taste : Taste
    """
    begins = sorted({unit.begin for own in units for unit in own})
    holders = [_holders(own, begins) for own in units]
    values, costs = [], []
    for step in range(len(begins)):
        at = [own[step] for own in holders]
        value = _own_values(at, holders, options, step)
        if at[0] >= 0 and at[1] >= 0:
            pair = units[0][at[0]], units[1][at[1]]
            held = options[0][at[0]], options[1][at[1]]
            value = value - _together(scene, pair, held, side, taste)
        values.append(value)
        if step:
            costs.append(
                [_step_costs(units[p], options[p], holders[p], step, taste.prices) for p in (0, 1)]
            )
    found = best_path(values, costs)
    assert found is not None  # to stay as written is never forbidden
    chosen = []
    for mover in (0, 1):
        first = [holders[mover].index(number) for number in range(len(units[mover]))]
        chosen.append(Choice(found.choices[first, mover], -found.value))
    return chosen[0], chosen[1]


def _holders(units: Sequence[Unit], begins: Sequence[float]) -> list[int]:
    """Which unit a player is in at each step; -1 before the first."""
    starts = np.array([unit.begin for unit in units])
    return (np.searchsorted(starts, np.array(begins) + 1e-9, side="right") - 1).tolist()


def _own_values(
    at: Sequence[int],
    holders: Sequence[Sequence[int]],
    options: Sequence[Sequence[Options]],
    step: int,
) -> Array:
    """What each player's options are worth by themselves, counted where the unit begins."""
    worth = []
    for mover, number in enumerate(at):
        if number < 0:
            worth.append(np.zeros(1))
            continue
        begins = step == 0 or holders[mover][step - 1] != number
        cost = options[mover][number].cost
        worth.append(-cost if begins else np.zeros_like(cost))
    return worth[0][:, None] + worth[1][None, :]


def _together(
    scene: Scene,
    units: tuple[Unit, Unit],
    options: tuple[Options, Options],
    side: str | None,
    taste: Taste,
) -> Array:
    """What each two options of two players cost together, mm."""
    cost = np.zeros((len(options[0].cost), len(options[1].cost)))
    every = meetings(scene, units, taste)
    for held, table in every:
        for first, second in np.argwhere(held > 0):
            own, its = options[0].pitches[:, first], options[1].pitches[:, second]
            cost += held[first, second] * table[own[:, None], its]
    held = every[0][0]
    if side is not None and held.any():
        seconds = float(held.max())
        tops = [np.where(each.pitches == SILENT, -1, each.pitches).max(axis=1) for each in options]
        cost += seconds * pair_costs(taste)[side][tops[0][:, None], tops[1]]
    return cost


def _step_costs(
    units: Sequence[Unit],
    options: Sequence[Options],
    holders: Sequence[int],
    step: int,
    prices: Prices,
) -> Array:
    """What a change costs a player from step to step; within a unit there is none to make."""
    before, now = holders[step - 1], holders[step]
    if now < 0:
        return np.zeros((1, 1))
    if before < 0:
        return np.zeros((1, len(options[now].cost)))
    if before == now:
        count = len(options[now].cost)
        return np.where(np.eye(count, dtype=bool), 0.0, np.inf)
    gap = max(units[now].begin - units[before].finish, 0.0)
    return move_costs(options[before], options[now], gap, prices)
