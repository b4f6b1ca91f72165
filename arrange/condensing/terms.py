"""What each term of a plan's worth comes to, section by section."""

from __future__ import annotations

import numpy as np
import pandas as pd

from arrange.condensing.plan import Plan
from arrange.condensing.problem import Problem
from arrange.condensing.returns import Returns


def terms_table(problem: Problem, plan: Plan) -> pd.DataFrame:
    """Return what each term comes to in each section, and what all layers together would give."""
    rows, returns = [], Returns(problem, plan.players)
    for section, worth in enumerate(problem.worths):
        everything = worth.by_term(worth.layers)
        rows += [
            (problem.recorded.sections[section], term, value, everything.get(term, 0.0), "seconds")
            for term, value in section_terms(problem, returns, plan, section).items()
        ]
    table = pd.DataFrame(rows, columns=["section", "term", "value", "of_all", "unit"])
    # Where all layers give nothing there is no share.
    table["share"] = table["value"] / table["of_all"].where(table["of_all"] > 0)
    return table.astype({"section": "str", "term": "str", "unit": "str"})


def section_terms(problem: Problem, returns: Returns, plan: Plan, section: int) -> dict[str, float]:
    """Return what each term comes to in a section, seconds.

    It depends on what is taken there, in the section before, and in the one that it is a return of.
    """
    chosen = plan.choices[section]
    played = taken_layers(problem, plan, section)
    values = problem.worths[section].by_term(played)
    values["growth"] = -problem.growth_of(section, plan.players, played)
    merging = problem.costs.merging[section]
    values["merging"] = -sum(float(merging[place]) for place in chosen)
    values["instrument"] = -sum(
        float(problem.own_cost(section, neck)[place] - merging[place])
        for neck, place in zip(plan.necks[section], chosen, strict=True)
    )
    values["changes"] = -_change(problem, plan, section) if section else 0.0
    values["swapped"], values["thinner"] = _returning(returns, plan, section)
    return values


def _change(problem: Problem, plan: Plan, section: int) -> float:
    total = 0.0
    for player, neck in enumerate(plan.necks[section]):
        before, now = (plan.choices[each][player] for each in (section - 1, section))
        moved = plan.necks[section - 1][player] != neck
        total += float(problem.changes(section - 1, neck)[before, now])
        total += problem.criteria.weights.capo_change * moved
    return total


def _returning(returns: Returns, plan: Plan, section: int) -> tuple[float, float]:
    """What swapped layers and a thinner return take away."""
    if returns.earlier[section] < 0:
        return 0.0, 0.0
    before, now = (
        returns.joint(each, [np.array([place]) for place in plan.choices[each]])
        for each in (returns.earlier[section], section)
    )
    swapped = returns.swapping(section, before, now).item()
    return -swapped, -returns.thinner(section, before, now).item()


def taken_layers(problem: Problem, plan: Plan, section: int, without: int = -1) -> set[int]:
    """Return the layers that all play together, or all but one player."""
    options = problem.options[section].options
    return {
        layer
        for player, place in enumerate(plan.choices[section])
        if player != without
        for layer in options[place]
    }
