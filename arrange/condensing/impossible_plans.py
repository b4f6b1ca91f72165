"""Why there is no plan at all: which rule stands in the way, and what would do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from arrange.condensing.capo_changes import CAPO_CHANGE_SECONDS, Ways, player_ways, way_costs
from arrange.condensing.held_together import can_hold
from arrange.condensing.player_options import Option
from arrange.condensing.problem import Problem
from arrange.guitar.necks import TUNINGS, Neck, capo_words, parse_tuning, tuning_name
from arrange.tables.sounding import Array
from arrange.text.words import listed

_CAPOS = range(13)  # that are proposed
_LET_MORE = "let more be changed"  # of what somebody has shared out by hand
_NO_CAPO = "no capo helps: pin something else, or another player"


def whys_impossible(problem: Problem, players: int) -> Iterator[str]:
    """Yield for each section in which no choice is allowed the rule that stands in the way.

    Then for each player who would have to change necks faster than that can be done.
    """
    for section, worth in enumerate(problem.worths):
        where = problem.recorded.sections[section]
        can_hold = [problem.can_hold(player, section) for player in range(players)]
        may = [problem.allowed(player, section) & can for player, can in enumerate(can_hold)]
        for player in range(players):
            if may[player].any():
                continue
            name = problem.lineup.name(player)
            pin = problem.lineup.decided.pins.get((player, section))
            if pin is not None:
                yield _refused_words(problem, player, section, pin)
            else:
                yield f"everything is forbidden to {name!r} in {where!r}"
        if worth.lead_class >= 0:
            lead = problem.recorded.names[worth.classes[worth.lead_class][-1]]
            can = (problem.options[section].masks & worth.lead) != 0
            if not any((can & held).any() for held in can_hold):
                yield (
                    f"{lead!r} is the lead in {where!r} and must be kept, but no neck and hand "
                    "allow it: give it another role, roles={...}, or give a player another neck, "
                    "players=[Player(name, neck), ...]"
                )
            elif not any((can & allowed).any() for allowed in may):
                yield _lead_left_words(problem, lead, where)
    for player in range(players):
        yield from too_fast(problem, player)


def _refused_words(problem: Problem, player: int, section: int, pin: Option) -> str:
    """Why a player cannot have what is decided, and what to do."""
    refuses, would_do = refusal(problem, player, section, pin)
    name, where = problem.lineup.name(player), problem.recorded.sections[section]
    if problem.lineup.decided.by_hand:
        return (
            f"{name} has {problem.name(pin)} in {where}, which {refuses}, and it is not to be "
            f"changed: take a layer away there, or {_LET_MORE}"
        )
    return (
        f"{name!r} is pinned to {problem.name(pin)} in {where!r}, which {refuses}: every part must "
        f"be playable; {would_do}"
    )


def _lead_left_words(problem: Problem, lead: str, where: str) -> str:
    """That what is decided leaves the lead to nobody, and what to do."""
    if problem.lineup.decided.by_hand:
        return (
            f"{lead} is the lead in {where} and has to be played, but it is left to nobody: let "
            f"somebody have it, or {_LET_MORE}"
        )
    return (
        f"{lead!r} is the lead in {where!r} and must be kept, but pins and bans leave it to "
        "nobody: free one of them, or give it another role, roles={...}"
    )


def no_choice(problem: Problem) -> str:
    """Return that nothing is left to choose, where no single rule stands in the way."""
    if problem.lineup.decided.by_hand:
        return (
            "what is forbidden or not to be changed and the lead, which has to be played, leave no "
            f"choice: {_LET_MORE}"
        )
    return "pins, bans and the lead that must be kept leave no choice; free one of them"


def refusal(problem: Problem, player: int, section: int, option: Option) -> tuple[str, str]:
    """Return what refuses an option, and what would do, in words."""
    refuses = "no neck and hand allow"
    if option not in problem.options[section].options:
        return refuses, _NO_CAPO
    if problem.playability.needs_fingers(section, option, problem.lineup.may_have(player)):
        return "a pick cannot strike", "with the fingers it would do"
    return refuses, _what_would_do(problem, player, section, option)


def _what_would_do(problem: Problem, player: int, section: int, option: Option) -> str:
    """What else a player could have, or be pinned to, so that an option can be held."""
    asked, options = problem.playability.asked, problem.options[section].options
    place = options.index(option)
    own = asked.which[(asked.section == section) & (asked.option == place)]
    sets, struck = asked.sets[own], asked.struck[own]
    held = [problem.lineup.necks[number] for number in problem.lineup.may_have(player)]
    known = {each.neck for each in held}
    own_capos = {neck.capo for neck in known}
    capos = sorted(_CAPOS, key=lambda capo: (min(abs(capo - own) for own in own_capos), capo))

    def fits(neck: Neck) -> bool:
        if neck in known or not can_hold(sets, neck, held[0].hand).all():
            return False
        picked = held[0].picks == "pick"
        return not picked or bool(can_hold(struck, neck, held[0].hand, picked=True).all())

    for neck in dict.fromkeys(replace(each.neck, capo=0) for each in held):
        for capo in capos:
            if fits(replace(neck, capo=capo)):
                return f"with {capo_words(capo)} it would do"
    for tuning in map(parse_tuning, TUNINGS.values()):
        if len(tuning) == len(held[0].neck.tuning) and fits(replace(held[0].neck, tuning=tuning)):
            return (
                f"in {tuning_name(tuning)} tuning with {capo_words(held[0].neck.capo)} it would do"
            )
    return _NO_CAPO


def too_fast(problem: Problem, player: int) -> Iterator[str]:
    """Yield why a player alone cannot go from one section to the next, whatever the others do."""
    ways = player_ways(problem, player, problem.lineup.may_have(player))
    if not all(len(own.place) for own in ways):
        return
    reached = np.zeros(len(ways[0].place))
    before = 0  # the last section for which the player does not have to lay out
    for section in range(len(ways) - 1):
        one, other = ways[section], ways[section + 1]
        if one.place.all():
            before = section
        reached = (reached[:, None] + way_costs(problem, section, one, other)).min(axis=0)
        if not np.isfinite(reached).any():
            yield _without_time(problem, player, (before, section + 1), (ways[before], other))
            return
        ways[section + 1] = other.some(np.isfinite(reached))
        reached = np.zeros(len(ways[section + 1].place))


def _without_time(
    problem: Problem, player: int, sections: tuple[int, int], ways: tuple[Ways, Ways]
) -> str:
    names, said, pins = problem.recorded.sections, [], problem.lineup.decided.pins
    by_hand = problem.lineup.decided.by_hand
    necks = [[problem.lineup.necks[n].neck for n in np.unique(own.neck).tolist()] for own in ways]
    tunings = [{neck.tuning for neck in own} for own in necks]
    is_tuning = not tunings[0] & tunings[1]
    for section, own in zip(sections, necks, strict=True):
        pin = pins.get((player, section))
        what = problem.name(pin) if pin is not None else "something"
        words = [f"{tuning_name(neck.tuning)} tuning" if is_tuning else capo_words(neck.capo)
                 for neck in own]  # fmt: skip
        said.append(f"{what} in {names[section]!r} with {listed(dict.fromkeys(words), 'or')}")
    about = f"{problem.lineup.name(player)!r} would have to play {' and '.join(said)}"
    if is_tuning:
        todo = (
            "give one of them to somebody else" if by_hand else "free a pin, or pin another player"
        )
        return f"{about}, and a tuning stays for the whole song: {todo}"
    todo = (
        "give one of them to somebody else, or nothing in a section between"
        if by_hand
        else "free a pin, or pin a section between to nothing"
    )
    return (
        f"{about}, and there are {_seconds(problem, sections, ways):.1f} s to move the capo, where "
        f"{CAPO_CHANGE_SECONDS:.0f} are needed: {todo}"
    )


def _seconds(problem: Problem, sections: tuple[int, int], ways: tuple[Ways, Ways]) -> float:
    """The most silence that there can be between two sections."""
    first, last = sections
    silence: list[Array] = [problem.costs.silence[first][1], problem.costs.silence[last][0]]
    most = sum(float(own[w.place].max()) for own, w in zip(silence, ways, strict=True))
    return most + float(problem.recorded.seconds[first + 1 : last].sum())
