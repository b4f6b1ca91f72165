"""Why each player takes what they take, what was lost, and what each term comes to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from arrange.condensing.board import Board
from arrange.condensing.options import Option
from arrange.condensing.search import Plan
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
_LITTLE = 0.005  # of a second, below which nothing is told
_CHANGES = "changes"


def terms_table(board: Board, plan: Plan) -> pd.DataFrame:
    """Return what each term comes to in each section, and what all layers together would give."""
    fullest = board.fullest(len(plan.necks))
    rows = []
    for section, worth in enumerate(board.worths):
        chosen = plan.choices[section]
        mask = _mask(board, plan, section)
        everything = worth.by_term((1 << len(worth.layers)) - 1)
        values = worth.by_term(mask)
        values["growth"] = -float(worth.too_full(fullest, board.weights.growth)[mask])
        merging = board.merging[section]
        values["merging"] = -sum(float(merging[place]) for place in chosen)
        values["instrument"] = -sum(
            float(board.own_cost(section, neck)[place] - merging[place])
            for neck, place in zip(plan.necks, chosen, strict=True)
        )
        values[_CHANGES] = -_change(board, plan, section) if section else 0.0
        rows += [
            (board.material.sections[section], term, value, everything.get(term, 0.0), "seconds")
            for term, value in values.items()
        ]
    table = pd.DataFrame(rows, columns=["section", "term", "value", "of_all", "unit"])
    # Where all layers give nothing there is no share to tell.
    table["share"] = table["value"] / table["of_all"].where(table["of_all"] > 0)
    return table.astype({"section": "str", "term": "str", "unit": "str"})


def _change(board: Board, plan: Plan, section: int) -> float:
    pairs = zip(plan.choices[section - 1], plan.choices[section], strict=True)
    return float(sum(board.steps[section - 1][before, now] for before, now in pairs))


def _mask(board: Board, plan: Plan, section: int, without: int = -1) -> int:
    """What all play together, or all but one player."""
    masks = board.options[section].masks
    total = 0
    for player, place in enumerate(plan.choices[section]):
        total |= 0 if player == without else int(masks[place])
    return total


def choices_table(board: Board, plan: Plan, players: Sequence[str]) -> pd.DataFrame:
    """Return a row for each section and player: what is taken, and why."""
    rows = []
    roles = board.roles["role"].tolist()
    for section, name in enumerate(board.material.sections):
        for player, label in enumerate(players):
            option = plan.options(board, player)[section]
            first = board.kinds.first(option) if option else -1
            neck = board.necks[plan.necks[player]]
            adds = _adds(board, plan, section, player)
            rows.append(
                {
                    "section": name,
                    "player": label,
                    "action": ("lays out", "takes", "merges")[len(option)],
                    "layers": tuple(board.material.names[layer] for layer in option),
                    "role": roles[first] if option else None,
                    "drive": DRIVES[board.kinds.drive[first]] if option else None,
                    "tuning": neck.tuning,
                    "capo": neck.capo,
                    "adds": sum(adds.values()),
                    "unit": "seconds",
                    "reason": _reason(board, plan, section, player, adds),
                }
            )
    table = pd.DataFrame(rows)
    texts = ["section", "player", "action", "role", "drive", "unit", "reason"]
    return table.astype(dict.fromkeys(texts, "str"))


def _adds(board: Board, plan: Plan, section: int, player: int) -> dict[str, float]:
    """What a player adds to the others, by term."""
    worth = board.worths[section]
    with_it = worth.by_term(_mask(board, plan, section))
    without = worth.by_term(_mask(board, plan, section, without=player))
    return {term: with_it[term] - without[term] for term in with_it}


def _reason(board: Board, plan: Plan, section: int, player: int, adds: Mapping[str, float]) -> str:
    option = plan.options(board, player)[section]
    if (player, section) in board.rules.pins:
        return f"pinned to {board.name(option)}"
    if not option:
        return _why_out(board, plan, section, player)
    said = []
    worth = board.worths[section]
    leads = [layer for layer in option if worth.mask([layer]) & worth.lead]
    if leads:
        said.append(f"{board.material.names[leads[0]]} is the lead, which is always kept")
    told = _largest(adds)
    if told:
        said.append(f"adds {sum(adds.values()):.1f} s, most of it {told}")
    elif not leads:
        said.append("the others bring nearly all of it already; it costs nothing to go on with it")
    if len(option) == 2:
        turns = board.never_at_once(section, option)
        said.append("the two are never heard at once" if turns else "one hand can hold both")
    if section:
        before = plan.options(board, player)[section - 1]
        stays = [board.material.names[layer] for layer in option if layer in before]
        if stays:
            said.append(f"stays on {' and '.join(stays)}")
    return "; ".join(said)


def _largest(adds: Mapping[str, float]) -> str:
    """The one or two terms that say most, in words."""
    found = sorted(((-value, term) for term, value in adds.items() if term in _WORDS))
    found = [(value, term) for value, term in found if -value > _LITTLE]
    if not found:
        return ""
    most = found[0][0]
    return " and ".join(_WORDS[term] for value, term in found[:2] if value <= most / 2)


def _why_out(board: Board, plan: Plan, section: int, player: int) -> str:
    """Why a player lays out."""
    worth, own = board.worths[section], board.options[section]
    if not worth.layers:
        return "nothing sounds here"
    mask = _mask(board, plan, section)
    silent = [layer for bit, layer in enumerate(worth.layers) if not mask >> bit & 1]
    if not silent:
        return "every layer that sounds here is played already"
    may = board.may(player, section, plan.necks[player])
    may = may[(own.masks[may] & mask) == 0]
    may = may[may != 0]
    if not len(may):
        return "none of the layers left can be held or is allowed here"
    table = worth.covered
    gain = table[mask | own.masks[may]] - table[mask] - board.merging[section][may]
    best = int(np.argmax(gain))
    name = board.name(own.options[int(may[best])])
    if gain[best] <= _LITTLE:
        return f"what is left, {name}, is heard in the others already"
    fullest = board.fullest(len(plan.necks))
    growth = worth.too_full(fullest, board.weights.growth)
    if growth[mask | own.masks[may[best]]] - growth[mask] >= gain[best]:
        return (
            f"so that the section stays in its place: with {name} it would be fuller than the "
            "song's growth leaves room for"
        )
    return f"{name} would add {gain[best]:.1f} s, less than the changes to it and from it cost"


def lost_table(board: Board, plan: Plan, left: Left) -> pd.DataFrame:
    """Return a row for each layer that is not played in a section, and each with notes left out."""
    rows = []
    for section, worth in enumerate(board.worths):
        mask = _mask(board, plan, section)
        for bit, layer in enumerate(worth.layers):
            if not mask >> bit & 1:
                rows.append(_lost(board, plan, section, bit, mask))
            if (layer, section) in left:
                rows.append(_left_out(board, section, layer, left[layer, section]))
        for layer, place in left:
            if place == section and layer not in worth.layers:
                rows.append(_left_out(board, section, layer, left[layer, section]))
    columns = ["section", "layer", "role", "what", "measures", "value", "unit", "share", "why"]
    table = pd.DataFrame(rows, columns=columns)
    return table.astype(
        dict.fromkeys(["section", "layer", "role", "what", "measures", "unit", "why"], "str")
    )


def _lost(board: Board, plan: Plan, section: int, bit: int, mask: int) -> tuple[Any, ...]:
    worth, material = board.worths[section], board.material
    layer = worth.layers[bit]
    more = worth.by_term(mask | 1 << bit)
    now = worth.by_term(mask)
    adds = {term: more[term] - now[term] for term in more}
    value = float(worth.covered[mask | 1 << bit] - worth.covered[mask])
    everything = float(worth.covered[-1])
    own = np.flatnonzero((material.section == section) & (material.layer == layer))
    alone = own[~_is_heard(board, section, own, mask)]
    return (
        material.sections[section],
        material.names[layer],
        board.roles["role"].iloc[layer],
        _largest(adds) or "nothing",
        _measures(material.measure[alone]),
        value,
        "seconds",
        value / everything if everything else 0.0,
        _why_lost(board, plan, section, bit, mask, value),
    )


def _is_heard(board: Board, section: int, own: Array, mask: int) -> Array:
    """Which notes begin in a layer that is played too, in some octave."""
    material, worth = board.material, board.worths[section]
    played = [layer for bit, layer in enumerate(worth.layers) if mask >> bit & 1]
    others = (material.section == section) & np.isin(material.layer, played)
    code = material.place * 12 + np.rint(np.nan_to_num(material.pitch)).astype(np.int64) % 12
    return np.isin(code[own], code[others])


def _measures(measures: Array) -> str:
    """Measures as runs, such as "5-8, 11"; empty for none."""
    numbers = np.unique(measures)
    if not len(numbers):
        return ""
    runs = np.split(numbers, np.flatnonzero(np.diff(numbers) > 1) + 1)
    return ", ".join(f"{run[0]}" if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def _why_lost(board: Board, plan: Plan, section: int, bit: int, mask: int, value: float) -> str:
    worth, own = board.worths[section], board.options[section]
    same = [
        board.material.names[layer] for at, layer in enumerate(worth.layers)
        if worth.class_of(bit) >> at & 1 and mask >> at & 1
    ]  # fmt: skip
    if same:
        return f"{same[0]} plays exactly the same: nothing is lost"
    if value <= _LITTLE:
        return "every note of it is heard in what is played"
    layer = worth.layers[bit]
    fullest = board.fullest(len(plan.necks))
    growth = worth.too_full(fullest, board.weights.growth)
    if growth[mask | 1 << bit] - growth[mask] >= value:
        return "with it the section would be fuller than its place in the song"
    resting = [player for player, place in enumerate(plan.choices[section]) if place == 0]
    if any((player, section) in board.rules.pins for player in resting):
        return "a player who could take it is pinned to lay out"
    if resting:
        return "it adds less than the changes to it and from it cost"
    merges = [
        tuple(sorted((*own.options[place], layer)))
        for place in plan.choices[section] if len(own.options[place]) == 1
    ]  # fmt: skip
    held = [
        merge for merge in merges
        if merge in own.options and own.playable[:, own.options.index(merge)].any()
    ]  # fmt: skip
    costs = [float(board.merging[section][own.options.index(merge)]) for merge in held]
    if held and min(costs) >= value:
        return "to play it beside what a player has is harder than what it adds is worth"
    if held:
        return "what the players have adds more, and a change to a merge with it costs more"
    if merges:
        return "what the players have adds more, and no hand could hold it beside that"
    return "what the players have adds more"


def _left_out(board: Board, section: int, layer: int, whys: Sequence[str]) -> tuple[Any, ...]:
    return (
        board.material.sections[section],
        board.material.names[layer],
        board.roles["role"].iloc[layer],
        f"{len(whys)} {'note' if len(whys) == 1 else 'notes'} that no player's neck and hand allow",
        ", ".join(dict.fromkeys(why.split(":")[0].removeprefix("measure ") for why in whys)),
        float("nan"),
        "seconds",
        float("nan"),
        whys[0],
    )


def whys_impossible(board: Board, players: int) -> Iterator[str]:
    """Yield for each section in which no choice is allowed the rule that stands in the way."""
    for section, worth in enumerate(board.worths):
        own, where = board.options[section], board.material.sections[section]
        names = [board.players[player] for player in range(players)]
        may = [
            board.rules.allowed(player, section, own) & own.playable.any(axis=0)
            for player in range(players)
        ]
        for player in range(players):
            if may[player].any():
                continue
            pin = board.rules.pins.get((player, section))
            if pin is not None:
                yield (
                    f"{names[player]!r} is pinned to {board.name(pin)} in {where!r}, which no neck "
                    "and hand allow: every part must be playable"
                )
            else:
                yield f"everything is forbidden to {names[player]!r} in {where!r}"
        if worth.lead:
            lead = board.material.names[worth.layers[worth.lead.bit_length() - 1]]
            can = (own.masks & worth.lead) != 0
            if not (can & own.playable.any(axis=0)).any():
                yield (
                    f"{lead!r} is the lead in {where!r} and must be kept, but no neck and hand "
                    "allow it: give it another role, roles={...}, or another neck, necks=[...]"
                )
            elif not any((can & allowed).any() for allowed in may):
                yield (
                    f"{lead!r} is the lead in {where!r} and must be kept, but pins and bans leave "
                    "it to nobody: free one of them, or give it another role, roles={...}"
                )


def layers_of(option: Option, names: Sequence[str]) -> tuple[str, ...]:
    """Return the names of an option's layers."""
    return tuple(names[layer] for layer in option)
