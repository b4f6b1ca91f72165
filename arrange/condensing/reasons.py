"""Tables of a plan: what each player takes and why, and what is lost."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from arrange.condensing.lineup import Gear
from arrange.condensing.plan import Plan
from arrange.condensing.player_options import layer_names
from arrange.condensing.problem import Problem
from arrange.condensing.swapped_layers import swap_reasons
from arrange.condensing.terms import taken_layers
from arrange.guitar.necks import capo_words
from arrange.guitar.players import nearest_drive
from arrange.tables.schemas import DRIVES
from arrange.tables.sounding import Array

Left = Mapping[tuple[int, int], Sequence[str]]  # (layer, section): why notes of it were left out

_WORDS = {
    "line": "its own line",
    "harmony": "chord members",
    "attacks": "attacks",
    "top": "the highest line",
    "presence": "being there",
}
LOST = ["section", "layer", "role", "what", "measures", "value", "unit", "share", "why"]
_LEFT_OUT = "too many layers play here to weigh all, and it is one of those that matter least"
_LITTLE = 0.005  # of a second, below which nothing is reported


def choices_table(problem: Problem, plan: Plan, *, by_hand: bool = False) -> pd.DataFrame:
    """Return a row for each section and player: what is taken, and why.

    Of a plan made `by_hand` it is not said that anything else would be worth less.
    """
    swapped = swap_reasons(problem, plan, by_hand=by_hand)
    rows = [
        row
        for section in range(len(problem.recorded.sections))
        for row in section_choices(problem, plan, section, swapped, by_hand=by_hand)
    ]
    table = pd.DataFrame(rows)
    texts = ["section", "player", "action", "role", "drive", "echo", "unit", "reason"]
    return table.astype(dict.fromkeys(texts, "str"))


def section_choices(
    problem: Problem,
    plan: Plan,
    section: int,
    swapped: Mapping[tuple[int, int], list[str]],
    *,
    by_hand: bool = False,
) -> list[dict[str, Any]]:
    """Return a row for each player: what is taken in a section, and why.

    `swapped` is as of ``swap_reasons``. Of a plan made `by_hand` it is not said that anything else
    would be worth less.
    """
    rows = []
    roles = problem.criteria.roles["role"].tolist()
    for player, who in enumerate(problem.lineup.players):
        option = plan.options(problem, player)[section]
        first = problem.costs.traits.first(option) if option else -1
        gear = problem.lineup.necks[plan.necks[section][player]]
        drive, echo = _sound(problem, first, section, gear) if option else (None, None)
        adds = _adds(problem, plan, section, player)
        said = [_reason(problem, plan, section, player, adds, by_hand=by_hand)]
        said += swapped.get((section, player), [])
        rows.append(
            {
                "section": problem.recorded.sections[section],
                "player": who.name,
                "action": ("lays out", "takes", "merges")[len(option)],
                "layers": layer_names(option, problem.recorded.names),
                "role": roles[first] if option else None,
                "drive": drive,
                "echo": echo,
                "tuning": gear.neck.tuning,
                "capo": gear.neck.capo,
                "adds": sum(adds.values()),
                "unit": "seconds",
                "reason": "; ".join(said),
            }
        )
    return rows


def _sound(problem: Problem, layer: int, section: int, gear: Gear) -> tuple[str, str | None]:
    """The drive and the echo that a layer is played with in a section."""
    drive = nearest_drive(gear.sounds, DRIVES[problem.recorded.drives[layer, section]])
    return drive, problem.recorded.echoes[layer, section] if gear.echo else None


def _adds(problem: Problem, plan: Plan, section: int, player: int) -> dict[str, float]:
    """What a player adds to the others, by term."""
    worth = problem.worths[section]
    with_it = worth.by_term(taken_layers(problem, plan, section))
    without = worth.by_term(taken_layers(problem, plan, section, without=player))
    return {term: with_it[term] - without[term] for term in with_it}


def _reason(
    problem: Problem,
    plan: Plan,
    section: int,
    player: int,
    adds: Mapping[str, float],
    *,
    by_hand: bool,
) -> str:
    option = plan.options(problem, player)[section]
    if (player, section) in problem.lineup.decided.pins:
        lacks = _lacks(problem, plan, section, player) if option else ()
        return "; ".join([f"pinned to {problem.name(option)}", *lacks])
    if not option:
        return _why_out(problem, plan, section, player, by_hand=by_hand)
    said = []
    worth = problem.worths[section]
    leads = [layer for layer in option if worth.mask([layer]) & worth.lead]
    if leads:
        said.append(f"{problem.recorded.names[leads[0]]} is the lead, which is always kept")
    most = _largest(adds)
    if most:
        said.append(f"adds {sum(adds.values()):.1f} s, most of it {most}")
    elif not leads:
        said.append("the others bring nearly all of it already")
        said += [] if by_hand else ["it costs nothing to go on with it"]
    if len(option) == 2:
        turns = problem.costs.never_at_once(section, option)
        said.append("the two are never heard at once" if turns else "one hand can hold both")
    said += _lacks(problem, plan, section, player)
    if section:
        before = plan.options(problem, player)[section - 1]
        stays = [problem.recorded.names[layer] for layer in option if layer in before]
        if stays:
            said.append(f"stays on {' and '.join(stays)}")
    return "; ".join(said)


def _lacks(problem: Problem, plan: Plan, section: int, player: int) -> Iterator[str]:
    """What the recording had and the player's gear does not."""
    gear = problem.lineup.necks[plan.necks[section][player]]
    name = problem.lineup.name(player)
    option = plan.options(problem, player)[section]
    layer = problem.costs.traits.first(option)
    recorded = DRIVES[problem.recorded.drives[layer, section]]
    drive, echo = _sound(problem, layer, section, gear)
    if drive != recorded:
        yield f"recorded {recorded}, played {drive}: the nearest that {name} has"
    known = problem.recorded.necks[layer, section]
    if known is not None and known.capo != gear.neck.capo:
        yield f"recorded with {capo_words(known.capo)}, played with {capo_words(gear.neck.capo)}"
    if problem.recorded.echoes[layer, section] and not echo:
        yield f"played without its echo, which {name} does not have"
    for other in set(option) - {layer}:
        yield from _merged_with(problem, section, other, layer, gear)


def _merged_with(
    problem: Problem, section: int, other: int, first: int, gear: Gear
) -> Iterator[str]:
    """What the second layer of a merge gives up for the sound of the first."""
    recorded = problem.recorded
    name, main = recorded.names[other], recorded.names[first]
    drive, echo = _sound(problem, first, section, gear)
    own = DRIVES[recorded.drives[other, section]]
    if own != drive:
        yield f"{name} was recorded {own}, and is played {drive} with {main}"
    if recorded.echoes[other, section] != echo:
        had = "without its echo" if echo is None else f"with the echo of {main}"
        yield f"{name} is played {had}"
    known, neck = recorded.necks[other, section], recorded.necks[first, section]
    if known is not None and known.capo not in (gear.neck.capo, neck and neck.capo):
        yield (
            f"{name} was recorded with {capo_words(known.capo)}, and is played with "
            f"{capo_words(gear.neck.capo)}"
        )


def _largest(adds: Mapping[str, float]) -> str:
    """The one or two terms that say most, in words."""
    found = sorted(((-value, term) for term, value in adds.items() if term in _WORDS))
    found = [(value, term) for value, term in found if -value > _LITTLE]
    if not found:
        return ""
    most = found[0][0]
    return " and ".join(_WORDS[term] for value, term in found[:2] if value <= most / 2)


def _why_out(problem: Problem, plan: Plan, section: int, player: int, *, by_hand: bool) -> str:
    """Why a player lays out."""
    worth, own = problem.worths[section], problem.options[section]
    if not worth.layers:
        return "nothing sounds here"
    played = taken_layers(problem, plan, section)
    if played.issuperset(worth.layers):
        return "every layer that sounds here is played already"
    mask = worth.mask(played)
    may = problem.may(player, section, plan.necks[section][player])
    may = may[(own.masks[may] & mask) == 0]
    may = may[may != 0]
    if not len(may):
        return "none of the layers left can be held or is allowed here"
    left = [own.options[place] for place in may.tolist()]
    gain = worth.adds(played, left) - problem.costs.merging[section][may]
    best = int(np.argmax(gain))
    name = problem.name(left[best])
    if gain[best] <= _LITTLE:
        return f"what is left, {name}, is heard in the others already"
    if by_hand:
        return f"{name} would add {gain[best]:.1f} s"
    fuller = problem.growth_of(section, plan.players, {*played, *left[best]})
    if fuller - problem.growth_of(section, plan.players, played) >= gain[best]:
        return f"to leave room to grow: {_too_full(problem, section, name)}"
    return f"{name} would add {gain[best]:.1f} s, less than the changes to it and from it cost"


def _too_full(problem: Problem, section: int, name: str) -> str:
    """How full the recording is here, against which the players would be too full."""
    return (
        f"the recording is at {problem.worths[section].place:.0%} of its fullest section here, "
        f"and with {name} the players would be nearer to theirs"
    )


def lost_table(problem: Problem, plan: Plan, left: Left) -> pd.DataFrame:
    """Return a row for each layer that is not played in a section, and each with notes left out."""
    sections = range(len(problem.worths))
    rows = [row for section in sections for row in section_losses(problem, plan, section, left)]
    table = pd.DataFrame(rows, columns=LOST)
    return table.astype(
        dict.fromkeys(["section", "layer", "role", "what", "measures", "unit", "why"], "str")
    )


def section_losses(
    problem: Problem, plan: Plan, section: int, left: Left, *, by_hand: bool = False
) -> list[tuple[Any, ...]]:
    """Return the rows of a section, with the columns ``LOST``; other sections play no part.

    Of a plan made `by_hand` it is not said that to play a layer would cost more: ``why`` may be
    empty.
    """
    worth, rows = problem.worths[section], []
    played = taken_layers(problem, plan, section)
    now = worth.by_term(played)
    for layer in worth.layers:
        if layer not in played:
            rows.append(_lost(problem, plan, section, layer, now, by_hand=by_hand))
        if (layer, section) in left:
            rows.append(_left_out(problem, section, layer, left[layer, section]))
    for layer, place in left:
        if place == section and layer not in worth.layers:
            rows.append(_left_out(problem, section, layer, left[layer, section]))
    return rows


def _lost(
    problem: Problem,
    plan: Plan,
    section: int,
    layer: int,
    now: Mapping[str, float],
    *,
    by_hand: bool,
) -> tuple[Any, ...]:
    """The row of a layer that is not played; `now` is what those played are worth, by term."""
    worth, recorded = problem.worths[section], problem.recorded
    played = taken_layers(problem, plan, section)
    more = worth.by_term({*played, layer})
    adds = {term: more[term] - now[term] for term in more}
    value = worth.worth_of({*played, layer}) - worth.worth_of(played)
    everything = worth.worth_of(worth.layers)
    own = np.flatnonzero((recorded.section == section) & (recorded.layer == layer))
    alone = own[~_is_heard(problem, section, own, played)]
    return (
        recorded.sections[section],
        recorded.names[layer],
        problem.criteria.roles["role"].iloc[layer],
        _largest(adds) or "nothing",
        _measures(recorded.measure[alone]),
        value,
        "seconds",
        value / everything if everything else 0.0,
        _why_lost(problem, plan, section, layer, value, by_hand=by_hand),
    )


def _is_heard(problem: Problem, section: int, own: Array, played: set[int]) -> Array:
    """Which notes begin in a layer that is played too, in some octave."""
    recorded = problem.recorded
    others = (recorded.section == section) & np.isin(recorded.layer, list(played))
    code = recorded.place * 12 + np.rint(np.nan_to_num(recorded.pitch)).astype(np.int64) % 12
    return np.isin(code[own], code[others])


def _measures(measures: Array) -> str:
    """Measures as runs, such as "5-8, 11"; empty for none."""
    numbers = np.unique(measures)
    if not len(numbers):
        return ""
    runs = np.split(numbers, np.flatnonzero(np.diff(numbers) > 1) + 1)
    return ", ".join(f"{run[0]}" if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def _why_lost(
    problem: Problem, plan: Plan, section: int, layer: int, value: float, *, by_hand: bool
) -> str:
    worth, played = problem.worths[section], taken_layers(problem, plan, section)
    same = sorted(played.intersection(worth.classes[worth.class_of[layer]]))
    if same:
        return f"{problem.recorded.names[same[0]]} plays exactly the same: nothing is lost"
    if value <= _LITTLE:
        return "every note of it is heard in what is played"
    if layer not in worth.kept:
        return "" if by_hand else _LEFT_OUT
    resting = [player for player, place in enumerate(plan.choices[section]) if place == 0]
    if by_hand:
        merges = _merges(problem, plan, section, layer)
        if resting or not merges or _held(problem, section, merges):
            return ""
        return "no hand could hold it, or no pick strike it, beside what the players have"
    growth = problem.growth_of(section, plan.players, {*played, layer})
    if growth - problem.growth_of(section, plan.players, played) >= value:
        return (
            f"to leave room to grow: {_too_full(problem, section, problem.recorded.names[layer])}"
        )
    if any((player, section) in problem.lineup.decided.pins for player in resting):
        return "a player who could take it is pinned to lay out"
    if resting:
        return "it adds less than the changes to it and from it cost"
    return _why_not_merged(problem, plan, section, layer, value)


def _merges(problem: Problem, plan: Plan, section: int, layer: int) -> list[tuple[int, ...]]:
    """The layer together with what each player has, where that is a single one."""
    own = problem.options[section].options
    return [
        tuple(sorted((*own[place], layer)))
        for place in plan.choices[section] if len(own[place]) == 1
    ]  # fmt: skip


def _held(problem: Problem, section: int, merges: Sequence[tuple[int, ...]]) -> list[int]:
    """The places of those merges that some hand can hold."""
    options, playable = problem.options[section].options, problem.playable[section]
    places = [options.index(merge) for merge in merges if merge in options]
    return [place for place in places if playable[:, place].any()]


def _why_not_merged(problem: Problem, plan: Plan, section: int, layer: int, value: float) -> str:
    merges = _merges(problem, plan, section, layer)
    held = _held(problem, section, merges)
    if held and problem.costs.merging[section][held].min() >= value:
        return "to play it beside what a player has is harder than what it adds is worth"
    if held:
        return "what the players have adds more, and a change to a merge with it costs more"
    known = [merge for merge in merges if merge in problem.options[section].options]
    necks = range(len(problem.lineup.necks))
    if any(problem.playability.needs_fingers(section, merge, necks) for merge in known):
        return "what the players have adds more, and beside that a pick could not strike it"
    if merges:
        return "what the players have adds more, and no hand could hold it beside that"
    return "what the players have adds more"


def _left_out(problem: Problem, section: int, layer: int, whys: Sequence[str]) -> tuple[Any, ...]:
    return (
        problem.recorded.sections[section],
        problem.recorded.names[layer],
        problem.criteria.roles["role"].iloc[layer],
        f"{len(whys)} {'note' if len(whys) == 1 else 'notes'} that no player's neck and hand allow",
        ", ".join(dict.fromkeys(why.split(":")[0].removeprefix("measure ") for why in whys)),
        float("nan"),
        "seconds",
        float("nan"),
        whys[0],
    )
