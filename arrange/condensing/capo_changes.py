"""What a player may do section by section, and when there is time to move the capo.

A capo is moved between two notes of its player with enough silence between them (common practice);
sections for which the player lays out are silence too. The tuning stays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from arrange.condensing.plan import Plan
from arrange.condensing.problem import Problem
from arrange.tables.song import Song
from arrange.tables.sounding import Array

CAPO_CHANGE_SECONDS = 8.0  # common practice
_NEAR = 1e-6


@dataclass(frozen=True)
class Ways:
    """What a player may do in a section.

    Parameters
    ----------
    place : array of int
        Of the option.
    neck : array of int
        The number of the neck that it is played on.
    quiet : array
        Seconds of silence up to the end of the section, at most those that a capo takes.
    moves : bool
        Whether the player may move a capo at all; else silence plays no part.
    """

    place: Array
    neck: Array
    quiet: Array
    moves: bool

    def some(self, which: Array) -> Ways:
        """Return some of them."""
        return Ways(self.place[which], self.neck[which], self.quiet[which], self.moves)


def player_ways(
    problem: Problem, player: int, necks: Sequence[int], keep: Sequence[Array] | None = None
) -> list[Ways]:
    """Return for each section what a player may do there on some necks.

    Laying out is there once for every different silence behind it, where a capo may be moved.

    Parameters
    ----------
    problem : Problem
    player : int
    necks : sequence of int
    keep : sequence of array of bool, optional
        For each section, of which options.
    """
    moves = may_move(problem, necks)
    quiet_before = dict.fromkeys(necks, np.array([CAPO_CHANGE_SECONDS]))
    found = []
    for section in range(len(problem.options)):
        tail = problem.costs.silence[section][1]
        pieces, quiet_after = [], {}
        for neck in necks:
            places = problem.may(player, section, neck)
            if keep is not None:
                places = places[keep[section][places]]
            plays = places[places > 0]
            own = _capped(tail[plays])
            rests = _capped(quiet_before[neck] + problem.recorded.seconds[section])
            rests = np.unique(rests) if moves else rests[-1:]
            rests = rests[: len(rests) * (len(plays) < len(places))]
            place = np.concatenate([np.zeros(len(rests), dtype=np.int64), plays])
            quiet = np.concatenate([rests, own])
            pieces.append((place, np.full(len(place), neck), quiet))
            quiet_after[neck] = np.unique(quiet) if moves else np.array([CAPO_CHANGE_SECONDS])
        quiet_before = quiet_after
        place, number, quiet = (np.concatenate(each) for each in zip(*pieces, strict=True))
        found.append(Ways(place, number, quiet, moves))
    return found


def may_move(problem: Problem, necks: Sequence[int]) -> bool:
    """Return whether two of some necks differ by the capo alone."""
    own = [problem.lineup.necks[neck].neck for neck in necks]
    return len({(neck.tuning, neck.frets) for neck in own}) < len(own)


def _capped(seconds: Array) -> Array:
    return np.minimum(np.round(seconds, 6), CAPO_CHANGE_SECONDS)


def way_costs(problem: Problem, section: int, before: Ways, now: Ways) -> Array:
    """Return what it costs a player to go from a section to the next, from each way to each.

    Infinity where the neck is another one and there is no time, or no capo that makes it so.
    """
    gear = problem.lineup.necks
    used = np.union1d(before.neck, now.neck)
    number = int(used[0]) if len(used) else 0
    cost = problem.changes(section, number)[np.ix_(before.place, now.place)]
    other = before.neck[:, None] != now.neck[None, :]
    if not now.moves:
        return np.where(other, np.inf, cost) if len(used) > 1 else cost
    head = problem.costs.silence[section + 1][0][now.place]
    enough = before.quiet[:, None] + head[None, :] >= CAPO_CHANGE_SECONDS - _NEAR
    tunings = [(each.neck.tuning, each.neck.frets) for each in gear]
    of = np.array([tunings.index(each) for each in tunings])
    can = ~other | (enough & (of[before.neck][:, None] == of[now.neck][None, :]))
    # Whoever lays out keeps the capo until there is something to play.
    rests = now.place == 0
    silent = _capped(before.quiet + problem.recorded.seconds[section + 1])
    goes_on = ~other & (np.abs(silent[:, None] - now.quiet[None, :]) < _NEAR)
    can &= ~rests[None, :] | goes_on
    return np.where(can, cost + problem.criteria.weights.capo_change * other, np.inf)


def followed_ways(problem: Problem, choices: Sequence[int], necks: Sequence[int]) -> list[Ways]:
    """Return what one player does in each section as a way each, of given options and necks."""
    quiet, found, moves = CAPO_CHANGE_SECONDS, [], may_move(problem, sorted(set(necks)))
    for section, (place, neck) in enumerate(zip(choices, necks, strict=True)):
        silence = problem.recorded.seconds[section] + quiet
        if place:
            silence = problem.costs.silence[section][1][place]
        quiet = float(_capped(np.array([silence]))[0])
        found.append(Ways(np.array([place]), np.array([neck]), np.array([quiet]), moves))
    return found


def capo_changes_table(problem: Problem, plan: Plan) -> pd.DataFrame:
    """Return a row for each time that a player moves the capo, as of ``Condensation``."""
    recorded, rows = problem.recorded, []
    for player, who in enumerate(problem.lineup.players[: plan.players]):
        options = plan.options(problem, player)
        capos = [problem.lineup.necks[own[player]].neck.capo for own in plan.necks]
        plays = [section for section, option in enumerate(options) if option]
        for before, now in pairwise(plays):
            if capos[before] == capos[now]:
                continue
            notes = np.isin(recorded.layer, options[before]) & (recorded.section == before)
            begins = np.isin(recorded.layer, options[now]) & (recorded.section == now)
            ends = min(float(recorded.end[notes].max()), float(recorded.ends[before]))
            first = float(recorded.onset[begins].min())
            rows.append((
                recorded.sections[now], who.name, capos[before], capos[now],
                _measure(recorded.song, ends - _NEAR), _measure(recorded.song, first + _NEAR),
                float(recorded.song.seconds(first) - recorded.song.seconds(ends)),
            ))  # fmt: skip
    columns = ["section", "player", "before", "after", "last_measure", "measure", "seconds"]
    return pd.DataFrame(rows, columns=columns).astype({"section": "str", "player": "str"})


def _measure(song: Song, onset: float) -> int:
    """The played measure at an onset."""
    return int(np.searchsorted(song.measures["onset"].to_numpy(), onset, side="right"))
