"""Layers that change hands between two returns of a section, and what is gained by it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from arrange.condensing.plan import Plan
from arrange.condensing.plan_search import path_value, some_players, with_chosen
from arrange.condensing.problem import Problem
from arrange.condensing.returns import Returns
from arrange.condensing.terms import terms_table

_WORDS = {
    "line": "lines",
    "harmony": "chord members",
    "attacks": "attacks",
    "top": "the highest line",
    "presence": "being there",
    "clash": "clashes",
    "growth": "room to grow",
    "merging": "two lines in one hand",
    "instrument": "sound and capo",
    "changes": "changes from section to section",
    "swapped": "other layers that would change hands",
    "thinner": "a section that would be thinner than before",
}
_LITTLE = 0.05  # seconds


def swaps(problem: Problem, plan: Plan) -> Iterator[tuple[int, int, int, int]]:
    """Yield section, layer, the player who has it there, and who had it in the earlier return."""
    returns = Returns(problem, plan.players)
    for section, earlier in enumerate(returns.earlier):
        if earlier < 0:
            continue
        before, now = (
            returns.joint(each, [np.array([place]) for place in plan.choices[each]])
            for each in (earlier, section)
        )
        for player in range(plan.players):
            others = before.had[:, 0].max(axis=0) - before.had[player, 0]
            for layer in np.flatnonzero(others * now.taken[player, 0]).tolist():
                yield section, layer, player, int(before.had[:, 0, layer].argmax())


def swap_reasons(
    problem: Problem, plan: Plan, *, by_hand: bool = False
) -> dict[tuple[int, int], list[str]]:
    """Return for each section and player what is said of the layers that somebody else had.

    Of a plan made `by_hand` it is not said what is gained by it.
    """
    found: dict[tuple[int, int], list[str]] = {}
    returns, names = Returns(problem, plan.players), problem.recorded
    for section, layer, player, other in swaps(problem, plan):
        who, had = problem.lineup.name(player), problem.lineup.name(other)
        before = names.sections[returns.earlier[section]]
        text = f"{who} has {names.names[layer]} here, which {had} had in {before}"
        if not by_hand:
            text += f", because {_why(problem, plan, (section, layer), (player, other))}"
        found.setdefault((section, player), []).append(text)
    return found


def _why(problem: Problem, plan: Plan, swap: tuple[int, int], between: tuple[int, int]) -> str:
    kept = _keeping(problem, plan, swap, between)
    if kept is None:
        return "pins, bans, necks and hands leave no other way"
    gain = plan.value - kept.value
    if gain <= _LITTLE:
        return "it makes no difference to the whole"
    terms = [
        terms_table(problem, each).groupby("term", sort=False)["value"].sum()
        for each in (plan, kept)
    ]
    most = str((terms[0] - terms[1]).idxmax())
    return f"to keep it would cost {gain:.1f} s, most of it for {_WORDS[most]}"


def _keeping(
    problem: Problem, plan: Plan, swap: tuple[int, int], between: tuple[int, int]
) -> Plan | None:
    """The best plan in which a layer of a section does not change hands, necks as they are."""
    tables = problem.tables(plan.players)
    group = some_players(problem, tables, plan, sorted(between))
    group = replace(group, returns=group.returns.keeping(*swap))
    path = group.best()
    if path is None or path.value < -1e6:
        return None
    chosen = with_chosen(plan.choices, group.chosen(path.choices, "place"), group.players)
    value = path_value(problem, tables, chosen, plan.necks)
    return Plan(chosen, plan.necks, value, plan.bound)
