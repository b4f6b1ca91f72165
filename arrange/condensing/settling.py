"""The best plan of which every part has been fingered, and the next best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain

import numpy as np

from arrange.condensing.board import Board
from arrange.condensing.playing import Asked, Bench
from arrange.condensing.reasons import whys_impossible
from arrange.condensing.search import Plan, other_choices, solve
from arrange.errors import ArrangeError

TOLD = 3  # alternatives a section
_MOST_ROUNDS = 500


def settled(board: Board, bench: Bench, players: int) -> Plan:
    """The best plan of which every part has been fingered.

    What turns out not to be playable is forbidden and the search begins anew: a forbidden option
    only takes away, so that the best plan found with all its parts playable is the best of all.
    """
    for _ in range(_MOST_ROUNDS):
        plan = solve(board, players)
        if plan is None:
            why = next(whys_impossible(board, players), None)
            raise ArrangeError(
                why or "pins, bans and the lead that must be kept leave no choice; free one of them"
            )
        if _refused_by_moments(board, bench, plan):
            continue
        bad = [
            asked
            for player in range(players)
            for asked in bench.part(board.material, plan.options(board, player), plan.necks[player])
        ]
        if not bad:
            return plan
        for asked in bad:
            _refuse(board, bench, asked)
    raise ArrangeError(
        f"after {_MOST_ROUNDS} rounds there are still merges that cannot be played; name fewer "
        "layers, layers=[...]"
    )


def _refused_by_moments(board: Board, bench: Bench, plan: Plan) -> bool:
    """Whether something in the plan asks for what no hand can hold at one moment."""
    found = False
    for neck in sorted(set(plan.necks)):
        asked = [
            (section, place)
            for section, chosen in enumerate(plan.choices)
            for place, own in zip(chosen, plan.necks, strict=True)
            if own == neck
        ]
        refused = board.demands.refuse(board.options, asked, neck, board.necks[neck], board.hand)
        whole = [(s, board.options[s].options[place], neck) for s, place in refused]
        single = [one for one in whole if len(one[1]) == 1]
        bench.ask(board.material, single)
        bad = [one for one in single if bench.known[one]]
        found |= len(whole) > len(single) or bool(bad)
        for one in bad:
            _refuse(board, bench, one)
        if bad:
            break  # a layer has changed, and with it what is known of moments
    return found


def _refuse(board: Board, bench: Bench, asked: Asked) -> None:
    """Forbid what cannot be played; a layer that nobody can play whole is thinned out."""
    section, option, neck = asked
    board.learn(section, option, neck, playable=False)
    if len(option) > 1:
        return
    others = range(len(board.necks))
    bench.ask(board.material, [(section, option, other) for other in others])
    if all(bench.known[section, option, other] for other in others):
        _thin(board, bench, [(section, option[0])])


def _thin(board: Board, bench: Bench, stuck: Sequence[tuple[int, int]]) -> None:
    """Leave out of layers what cannot be played on the neck that each lies on best."""
    necks = range(len(board.necks))
    asked = []
    for section, layer in stuck:
        trouble = [len(bench.known[section, (layer,), neck]) for neck in necks]
        asked.append((section, (layer,), trouble.index(min(trouble))))
    material = bench.thinned(board.material, asked)
    for layer in sorted({layer for _, layer in stuck}):
        left = (material.layer == layer) & ~np.isnan(material.pitch)
        if not left.any() and board.roles["role"].iloc[layer] == "lead":
            raise ArrangeError(
                f"{material.names[layer]!r} is the lead and must be kept, but no note of it lies "
                "on any player's neck: transpose it, give it another role, roles={...}, or "
                "another neck, necks=[...]"
            )
    if not material.present.any():
        raise ArrangeError(
            f"nothing can be played: no note of {', '.join(material.names)} lies on any player's "
            "neck; transpose the layers, or give other necks, necks=[...]"
        )
    board.change(material, sorted({section for section, _ in stuck}))
    for known, problems in bench.known.items():
        board.learn(*known, playable=not problems)


def thin_what_cannot_be_held(board: Board, bench: Bench) -> None:
    """Look closer at layers of which no neck holds every moment."""
    material = board.material
    singles = [
        (section, own.options.index((layer,)))
        for section, own in enumerate(board.options)
        for layer in board.worths[section].layers
    ]
    doubtful: list[Asked] = []
    for number, neck in enumerate(board.necks):
        refused = board.demands.refuse(board.options, singles, number, neck, board.hand)
        doubtful += [(s, board.options[s].options[place], number) for s, place in refused]
    for asked in doubtful:
        board.learn(*asked, playable=False)
    # Strings that the source gave may let go what a hand could not hold.
    bound = [
        one for one in doubtful
        if material.has_strings[one[1][0]] and material.necks[one[1][0]] == board.necks[one[2]]
    ]  # fmt: skip
    bench.ask(material, bound)
    for asked in bound:
        board.learn(*asked, playable=not bench.known[asked])
    stuck = [
        (section, board.options[section].options[at][0])
        for section, at in singles
        if not board.options[section].playable[:, at].any()
    ]
    if stuck:
        necks = range(len(board.necks))
        bench.ask(material, [(section, (layer,), n) for section, layer in stuck for n in necks])
        _thin(board, bench, stuck)


def in_order(board: Board, plan: Plan) -> Plan:
    """The same plan with players who may change places in order, the highest first."""
    players = len(plan.necks)
    if board.rules.tells_apart(players):
        return plan
    material = board.material
    keys = []
    for player in range(players):
        own = plan.options(board, player)
        taken = np.zeros((len(material.names), len(own)), dtype=bool)
        for section, option in enumerate(own):
            taken[list(option), section] = True
        note = taken[material.layer, material.section] & ~np.isnan(material.pitch)
        lasts = (material.end - material.onset)[note]
        mean = float(lasts @ material.pitch[note] / lasts.sum()) if lasts.sum() else -np.inf
        keys.append((-mean, own, player))
    order = [player for _, _, player in sorted(keys)]
    if board.fixed_necks is not None:  # only those with equal necks change places
        free = {neck: iter([p for p in order if plan.necks[p] == neck]) for neck in set(plan.necks)}
        order = [next(free[neck]) for neck in plan.necks]
    choices = [tuple(chosen[player] for player in order) for chosen in plan.choices]
    return replace(plan, choices=choices, necks=tuple(plan.necks[player] for player in order))


Other = tuple[float, tuple[int, ...]]  # value of the best plan through a joint choice


def next_best(board: Board, bench: Bench, plan: Plan) -> list[list[Other]]:
    """For each section the first few other choices that differ by more than who plays what.

    All of them can be played: those found first are fingered together, and what falls out is made
    up for by the next.
    """
    left = [_different(board, plan, s, own) for s, own in enumerate(other_choices(board, plan))]
    told: list[list[Other]] = [[] for _ in left]
    is_short = True
    while is_short:
        new = []
        for section, (own, found) in enumerate(zip(left, told, strict=True)):
            while len(found) < TOLD and (one := next(own, None)):
                found.append(one)
                new.append((section, one))
        is_short = False
        for section, one in _unplayable(board, bench, plan, new):
            told[section].remove(one)
            is_short = True
    return told


def _unplayable(
    board: Board, bench: Bench, plan: Plan, new: Sequence[tuple[int, Other]]
) -> list[tuple[int, Other]]:
    """Those choices of which something cannot be held."""
    for neck in sorted(set(plan.necks)):
        wanted = [
            (section, place)
            for section, (_, chosen) in new
            for place, own in zip(chosen, plan.necks, strict=True)
            if own == neck
        ]
        board.demands.refuse(board.options, wanted, neck, board.necks[neck], board.hand)
    able, bad = {}, []
    for section, one in new:
        own = board.options[section]
        pairs = list(zip(one[1], plan.necks, strict=True))
        if all(own.playable[neck, place] for place, neck in pairs):
            able[section, one] = [(section, own.options[place], neck) for place, neck in pairs]
        else:
            bad.append((section, one))
    bench.ask(board.material, [asked for each in able.values() for asked in each])
    return bad + [key for key, each in able.items() if any(bench.known[asked] for asked in each)]


def _different(board: Board, plan: Plan, section: int, found: Iterator[Other]) -> Iterator[Other]:
    """Those that differ by more than who plays what."""
    are_alike = not board.rules.tells_apart(len(plan.necks))
    seen: set[tuple[int, ...]] = set()
    for value, chosen in chain([(plan.value, plan.choices[section])], found):
        key = tuple(sorted(chosen)) if are_alike else chosen
        if key not in seen:
            if seen:
                yield value, chosen
            seen.add(key)
