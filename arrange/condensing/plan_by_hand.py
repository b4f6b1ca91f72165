"""A plan that somebody made by hand: what it is worth, and what of it cannot be played.

Worth, costs, losses and reasons are those of the search (``terms``, ``reasons``); what is added
here is what the search never meets: a plan that breaks a rule. Of the necks that the players may
have those are taken that serve the plan best.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from arrange.best_path import best_path
from arrange.condensing.capo_changes import may_move, player_ways, way_costs
from arrange.condensing.held_together import Asked
from arrange.condensing.impossible_plans import refusal, too_fast
from arrange.condensing.pins_and_bans import MOST_MERGED, PinsAndBans
from arrange.condensing.plan import Plan
from arrange.condensing.playable_plan import Known, playable_plan
from arrange.condensing.player_options import Option
from arrange.condensing.problem import Problem
from arrange.condensing.returns import Returns
from arrange.condensing.terms import section_terms
from arrange.text.part_lists import join_parts

# For each section, the layers that each player has there.
Taken = tuple[tuple[Option, ...], ...]
BestNecks = Callable[[Problem, int, tuple[int, ...]], list[int] | None]
SectionTerms = Callable[[Problem, Returns, Plan, int], dict[str, float]]


class Trouble(NamedTuple):
    """What is wrong with a plan; -1 where it is about no player or no section in particular."""

    section: int
    player: int
    why: str


@dataclass(frozen=True)
class PlanByHand:
    """A plan made by hand.

    Parameters
    ----------
    plan : Plan
        Its value is the sum of all terms, whether it can be played or not.
    troubles : tuple of Trouble
        The rules that it breaks; none if it can be played as it is.
    """

    plan: Plan
    troubles: tuple[Trouble, ...]


def taken_by(problem: Problem, plan: Plan) -> Taken:
    """Return what a plan gives each player in each section."""
    return tuple(
        tuple(own.options[place] for place in chosen)
        for own, chosen in zip(problem.options, plan.choices, strict=True)
    )


def why_no_option(problem: Problem, section: int, option: Option) -> str:
    """Return why one player cannot be given some layers in a section; empty if they can."""
    worth, names = problem.worths[section], problem.recorded.names
    where = problem.recorded.sections[section]
    for layer in option:
        if layer not in worth.layers:
            return f"{names[layer]} does not play in {where}"
    if len({worth.class_of[layer] for layer in option}) < len(option):
        return f"{join_parts(names[layer] for layer in option)} play exactly the same in {where}"
    if len(option) > MOST_MERGED:
        return f"one player cannot play {len(option)} layers at once; two are the most"
    return ""


def with_taken(known: Known, taken: Taken) -> Known:
    """Return what is known with all that is taken among the options; `known` if it is already."""
    problem = known.problem.with_options(taken)
    return known if problem is known.problem else replace(known, problem=problem)


def untried(known: Known, taken: Taken) -> list[Asked]:
    """Return what a plan asks of a hand and has not been fingered yet, on every neck."""
    problem = known.problem
    return [
        (section, option, number)
        for section, chosen in enumerate(taken)
        for player, option in enumerate(chosen)
        for number in problem.lineup.may_have(player)
        if option and not _is_tried(known, (section, option, number))
    ]


def every_untried(known: Known) -> list[Asked]:
    """Return all that can be asked of a hand and has not been fingered yet; single layers first."""
    found = [
        (section, option, number)
        for section, own in enumerate(known.problem.options)
        for option in own.options
        for number in range(len(known.problem.lineup.necks))
        if option and not _is_tried(known, (section, option, number))
    ]
    return sorted(found, key=lambda asked: (len(asked[1]), asked[1], asked[2]))


def _is_tried(known: Known, asked: Asked) -> bool:
    section, option, number = asked
    place = known.problem.options[section].options.index(option)
    if len(option) > 1 and not known.problem.playable[section][number, place]:
        return True
    is_held = asked in known.problem.playability.fingered
    return is_held or bool(known.fingerings.problems.get(asked))


def with_tried(known: Known, asked: Iterable[Asked]) -> Known:
    """Return what is known once some options have been fingered, each for itself.

    What the search learns of the options of its answers, in the same way.
    """
    asked = list(asked)
    for number in sorted({neck for _, _, neck in asked}):
        wanted = [
            (section, known.problem.options[section].options.index(option))
            for section, option, neck in asked
            if neck == number
        ]
        known, _ = known.tested_in_full(wanted, number)
    left = [one for one in asked if len(one[1]) == 1 or _may_hold(known.problem, one)]
    known = known.with_asked(left)
    for one in left:
        if known.fingerings.problems.get(one):
            known = known.refused(one)
    taken = [
        (section, (known.problem.options[section].options.index(option),), (number,))
        for section, option, number in left
        if _may_hold(known.problem, (section, option, number))
    ]
    return known.with_stretches(taken)


def _may_hold(problem: Problem, asked: Asked) -> bool:
    section, option, number = asked
    options = problem.options[section].options
    if option not in options:
        return False
    return bool(problem.playable[section][number, options.index(option)])


def best_necks(problem: Problem, player: int, places: tuple[int, ...]) -> list[int] | None:
    """Return the necks on which a player's options cost least; None without time for a capo.

    What the others do plays no part: worth and returns ask for layers, not for necks, and all necks
    of a player have the same sounds. What no hand can hold is weighed on every neck.
    """
    problem = _weighed(problem, player, places)
    necks = problem.lineup.may_have(player)
    cost = np.array([
        [problem.own_cost(section, neck)[place] for neck in necks]
        for section, place in enumerate(places)
    ])  # fmt: skip
    held = zip(problem.playable, places, strict=True)
    cost[~np.array([own[list(necks), place] for own, place in held])] = np.inf
    total = cost.sum(axis=0)
    best = int(total.argmin())
    is_least = total[best] <= cost.min(axis=1).sum()
    if np.isfinite(total[best]) and (is_least or not may_move(problem, necks)):
        return [necks[best]] * len(places)
    return _moving_necks(problem, player, places)


def _moving_necks(problem: Problem, player: int, places: Sequence[int]) -> list[int] | None:
    keep = [
        np.arange(len(own.options)) == place
        for own, place in zip(problem.options, places, strict=True)
    ]
    ways = player_ways(problem, player, problem.lineup.may_have(player), keep)
    if not all(len(own.place) for own in ways):
        return None
    values = [
        -np.array([
            problem.own_cost(section, neck)[place]
            for place, neck in zip(own.place.tolist(), own.neck.tolist(), strict=True)
        ])
        for section, own in enumerate(ways)
    ]  # fmt: skip
    costs = [
        [way_costs(problem, section, before, now)]
        for section, (before, now) in enumerate(pairwise(ways))
    ]
    path = best_path(values, costs)
    if path is None:
        return None
    return [int(own.neck[at]) for own, (at,) in zip(ways, path.choices.tolist(), strict=True)]


def _weighed(problem: Problem, player: int, places: Sequence[int]) -> Problem:
    """The problem in which a player can hold everything that is asked."""
    necks = list(problem.lineup.may_have(player))
    freed = {
        (section, problem.options[section].options[place], number): True
        for section, place in enumerate(places)
        if not problem.playable[section][necks, place].any()
        for number in necks
    }
    return problem.with_known(freed) if freed else problem


def plan_by_hand(
    problem: Problem,
    returns: Returns,
    taken: Taken,
    terms: SectionTerms = section_terms,
    necks_of: BestNecks = best_necks,
) -> PlanByHand:
    """Return a plan with the necks that serve it best, what it is worth, and what is wrong with it.

    Parameters
    ----------
    problem : Problem
        Nothing is pinned or banned in it. What has not been tried of the plan (``untried``) is
        taken for playable, and for comfortable.
    returns : Returns
        Of this problem, or of one with the same options.
    taken : Taken
        Each of them an option of its section (``with_taken``).
    terms, necks_of : callable
        ``section_terms`` and ``best_necks``, or what remembers what they have returned.
    """
    choices = [
        tuple(own.options.index(option) for option in chosen)
        for own, chosen in zip(problem.options, taken, strict=True)
    ]
    troubles = [*_not_held(problem, taken), *_without_lead(problem, taken)]
    necks = []
    for player in range(returns.players):
        own = tuple(chosen[player] for chosen in choices)
        found = necks_of(problem, player, own)
        if found is None:
            pinned = _pinned(_weighed(problem, player, own), taken)
            why = next(too_fast(pinned, player), "")
            troubles.append(Trouble(-1, player, why or "there is no time to move the capo"))
            found = [problem.lineup.may_have(player)[0]] * len(choices)
        necks.append(found)
    plan = Plan(choices, list(zip(*necks, strict=True)), np.nan, np.nan)
    value = sum(
        sum(terms(problem, returns, plan, section).values()) for section in range(len(choices))
    )
    return PlanByHand(replace(plan, value=value, bound=value), tuple(troubles))


def _not_held(problem: Problem, taken: Taken) -> Iterator[Trouble]:
    for section, chosen in enumerate(taken):
        for player, option in enumerate(chosen):
            necks = problem.lineup.may_have(player)
            if any(_may_hold(problem, (section, option, number)) for number in necks):
                continue
            where = problem.recorded.sections[section]
            yield Trouble(
                section, player,
                f"{problem.lineup.name(player)} has {problem.name(option)} in {where}: no hand can "
                "hold it, or no pick can strike it",
            )  # fmt: skip


def what_would_do(problem: Problem, player: int, section: int, option: Option) -> str:
    """Return what refuses an option that cannot be held, and what would do, in words."""
    refuses, would_do = refusal(problem, player, section, option)
    # What else to pin is no advice for who decides by hand.
    return f"{refuses} {problem.name(option)}; {would_do.split(':')[0]}"


def with_parts(known: Known, plan: Plan) -> Known:
    """Return it with everybody's whole part fingered, as far as hands can play it."""
    for player in range(plan.players):
        known, _ = known.with_part(plan, player)
    return known


def _without_lead(problem: Problem, taken: Taken) -> Iterator[Trouble]:
    for section, (worth, chosen) in enumerate(zip(problem.worths, taken, strict=True)):
        played = worth.mask(layer for option in chosen for layer in option)
        if worth.lead and not worth.lead & played:
            lead = problem.recorded.names[worth.classes[worth.lead_class][-1]]
            where = problem.recorded.sections[section]
            yield Trouble(section, -1, f"{lead} is the lead in {where}, and nobody plays it")


def _pinned(problem: Problem, taken: Taken) -> Problem:
    """The problem in which everybody is pinned to what they have."""
    pins = {
        (player, section): option
        for section, chosen in enumerate(taken)
        for player, option in enumerate(chosen)
    }
    return replace(problem, lineup=replace(problem.lineup, decided=PinsAndBans(pins, (), True)))


def best_from_here(known: Known, decided: PinsAndBans) -> tuple[Known, Plan]:
    """Return the best plan that keeps what is decided, and what is known by then.

    Parameters
    ----------
    known : Known
        Of a problem in which nothing is decided.
    decided : PinsAndBans

    Raises
    ------
    ArrangeError
        If no choice is left; the message names the rule that stands in the way.
    """
    problem = known.problem
    asked = replace(known, problem=problem.with_decided(decided))
    found, plan = playable_plan(asked, len(problem.lineup.players))
    free = replace(found, problem=replace(found.problem, lineup=problem.lineup))
    return free, plan
