"""Why there is no plan at all: which rule stands in the way, and what would do."""

from __future__ import annotations

from collections.abc import Iterator

from arrange.condensing.problem import Problem


def whys_impossible(problem: Problem, players: int) -> Iterator[str]:
    """Yield for each section in which no choice is allowed the rule that stands in the way."""
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
                yield (
                    f"{name!r} is pinned to {problem.name(pin)} in {where!r}, which no neck and "
                    "hand allow: every part must be playable"
                )
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
                yield (
                    f"{lead!r} is the lead in {where!r} and must be kept, but pins and bans leave "
                    "it to nobody: free one of them, or give it another role, roles={...}"
                )
