"""Which layers of a section are weighed in all their combinations, where too many play for that.

Of layers that play exactly the same one stands for all. For so many players a good choice is looked
for, one player after the other taking what adds most to the others' layers; those are kept that,
taken in the place of one of them, lose least. What is left out is bounded (``section_bounds``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from arrange.condensing.pins_and_bans import PinsAndBans
from arrange.condensing.player_costs import PlayerCosts
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.condensing.section_worth import SectionWorth
from arrange.errors import ArrangeError
from arrange.tables.sounding import Array

MOST_LAYERS = 18  # in a section, up to which all are kept
MOST_KEPT = 14  # of more
_NEIGHBOURS = 3  # of these, kept for what they are worth in a section before or after
_ROUNDS = 3  # in which each player chooses again


def with_kept(
    worths: Sequence[SectionWorth],
    recorded: RecordedLayers,
    costs: PlayerCosts,
    decided: PinsAndBans,
    players: int,
) -> tuple[SectionWorth, ...]:
    """Return the worths with tables of the layers that are kept.

    Raises
    ------
    ArrangeError
        If more layers are pinned in a section than can be kept.
    """
    most = [len(worth.layers) > MOST_LAYERS for worth in worths]
    if not any(most):
        return tuple(worths)
    stands = [
        _one_of_each(worth, recorded, decided, section) for section, worth in enumerate(worths)
    ]
    losses = np.full((len(recorded.names), len(worths)), np.inf)
    for section, worth in enumerate(worths):
        losses[stands[section], section] = _losses(worth, costs.merges(section), players)
    found = []
    for section, worth in enumerate(worths):
        if not most[section]:
            found.append(worth)
            continue
        pinned = decided.pinned(section)
        if len(pinned) > MOST_LAYERS:
            raise ArrangeError(_too_many_words(recorded.sections[section], len(pinned), decided))
        lead = [stands[section][worth.lead_class]] if worth.lead_class >= 0 else []
        may = [one for one in stands[section] if not decided.is_banned(one, section)]
        kept = _chosen([*pinned, *lead], may, losses, section)
        found.append(replace(worth, kept=tuple(sorted(kept))))
    return tuple(found)


def _too_many_words(where: str, count: int, decided: PinsAndBans) -> str:
    if decided.by_hand:
        return (
            f"{count} layers are not to be changed in {where}, and of very many no more than "
            f"{MOST_LAYERS} can be kept: let more be changed"
        )
    return (
        f"{count} layers are pinned in {where!r}; of more than {MOST_LAYERS} that play no more "
        f"than {MOST_LAYERS} can be pinned: pin fewer"
    )


def _one_of_each(
    worth: SectionWorth, recorded: RecordedLayers, decided: PinsAndBans, section: int
) -> list[int]:
    """Of each class the layer that stands for it: banned least, there in most sections."""
    there = recorded.present.sum(axis=1)
    return [
        min(own, key=lambda one: (decided.bans_of(one, section), -int(there[one]), one))
        for own in worth.classes
    ]


def _chosen(first: list[int], may: list[int], losses: Array, section: int) -> list[int]:
    """So many layers: the first in any case, then those that lose least, here and beside."""
    own = sorted(may, key=lambda one: losses[one, section])
    beside = losses[:, max(section - 1, 0) : section + 2].min(axis=1)
    near = sorted(may, key=lambda one: beside[one])
    kept = list(dict.fromkeys([*first, *own]))[: max(MOST_KEPT - _NEIGHBOURS, len(set(first)))]
    return list(dict.fromkeys([*kept, *near]))[: max(MOST_KEPT, len(kept))]


def _losses(worth: SectionWorth, merges: Array, players: int) -> Array:
    """What is lost at least where a layer of each class is taken, seconds.

    Parameters
    ----------
    worth : SectionWorth
    merges : array
        What it costs to play two layers at once: layers x layers.
    players : int
    """
    count = len(worth.classes)
    covers, seconds = worth.all_items
    supplies = covers.astype(np.float64)
    firsts = [own[0] for own in worth.classes]
    cost = merges[np.ix_(firsts, firsts)]
    np.fill_diagonal(cost, 0.0)
    takes: list[tuple[int, ...]] = [()] * players
    losses = np.full(count, np.inf)
    for turn in range(players * _ROUNDS if count else 0):
        player = turn % players
        others = sorted({one for n, own in enumerate(takes) if n != player for one in own})
        left = np.where(covers[:, others].any(axis=1), 0.0, seconds)[:, None] * supplies
        adds = left.sum(axis=0)
        # Without the threads of a matrix product, which wait longer than this takes.
        shared = np.einsum("ij,ik->jk", left, supplies)
        both = adds[:, None] + adds - shared - cost
        lead = worth.lead_class
        if lead >= 0 and lead not in others:
            barred = np.arange(count) != lead
            both[np.ix_(barred, barred)] = -np.inf
        best = divmod(int(both.argmax()), count)
        takes[player] = tuple(sorted(set(best)))
        if turn == players * (_ROUNDS - 1):
            losses[:] = np.inf
        losses = np.minimum(losses, both.max() - both.max(axis=1))
    return losses
