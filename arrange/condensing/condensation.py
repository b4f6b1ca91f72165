"""Many layers condensed to a few players: the question asked, searched, fingered and told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.condensing.board import Board
from arrange.condensing.layers import roles_of
from arrange.condensing.material import Material
from arrange.condensing.playing import Bench
from arrange.condensing.reasons import (
    choices_table,
    layers_of,
    lost_table,
    terms_table,
)
from arrange.condensing.result import condensed_song
from arrange.condensing.rules import read_rules
from arrange.condensing.search import Plan
from arrange.condensing.settling import in_order, next_best, settled, thin_what_cannot_be_held
from arrange.condensing.weights import Weights
from arrange.condensing.worth import check_layers
from arrange.errors import ArrangeError, shortened
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.tables.song import Song
from arrange.text.letters import check_text

MOST_PLAYERS = 16  # more than any stage holds; the search grows with each
MOST_NECKS = 4  # tunings and capos that are tried where none are told


@dataclass(frozen=True)
class Condensation:
    """A song condensed to a few players, and why it came out so.

    Parameters
    ----------
    song : Song
        One part a player in place of the layers; all other parts as they were.
    choices : DataFrame
        A row for each section and player: ``section``; ``player``; ``action``, takes, merges or
        lays out; ``layers``, a tuple; ``role`` and ``drive`` of the first of them; ``tuning``,
        ``capo``; ``adds``, what it adds to the other players, in the ``unit`` told; ``reason``.
    lost : DataFrame
        A row for each section and layer that is not played there, or has notes that cannot be
        played: ``section``; ``layer``; ``role``; ``what`` is lost; ``measures``, where notes of
        it are heard in no other; ``value``, what it would add, in the ``unit`` told; ``share`` of
        what all layers are worth there; ``why``.
    value : float
        Worth of the whole, seconds: the sum of all terms.
    bound : float
        No choice is worth more; equal to `value` where it is proven to be the best.
    terms : DataFrame
        A row for each section and term: ``value``; ``of_all``, what all layers together would
        give; ``share``; ``unit``.
    roles : DataFrame
        As of ``layer_roles``.
    """

    song: Song
    choices: pd.DataFrame
    lost: pd.DataFrame
    value: float
    bound: float
    terms: pd.DataFrame
    roles: pd.DataFrame
    _board: Board = field(repr=False)
    _bench: Bench = field(repr=False)
    _plan: Plan = field(repr=False)

    def __repr__(self) -> str:
        return (
            f"<Condensation: {len(self.roles)} layers to {len(self._plan.necks)} players, "
            f"{self.share:.0%} of their worth, {'proven' if self.is_proven else 'gap '}"
            f"{'' if self.is_proven else f'{self.gap:.1%}'}>"
        )

    @property
    def is_proven(self) -> bool:
        """Whether no choice can be worth more."""
        return self.bound - self.value <= 1e-6

    @property
    def gap(self) -> float:
        """How much better anything could be at most, as a share of the value."""
        return (self.bound - self.value) / max(abs(self.value), 1e-9)

    @property
    def share(self) -> float:
        """The value as a share of what all layers together are worth."""
        whole = sum(float(worth.covered[-1]) for worth in self._board.worths)
        return self.value / whole if whole else 1.0

    @cached_property
    def alternatives(self) -> pd.DataFrame:
        """The next best for each section.

        A row each: ``section``; ``rank``, from 1; ``choice``, what each player does; ``value`` of
        the best whole that goes through it, and what it ``costs`` against the value, seconds;
        the best first, at most three. All of them can be held by a hand.
        """
        board, rows = self._board, []
        players = board.players[: len(self._plan.necks)]
        for section, told in enumerate(next_best(board, self._bench, self._plan)):
            for rank, (value, chosen) in enumerate(told, 1):
                options = [board.options[section].options[place] for place in chosen]
                said = "; ".join(
                    f"{player}: {board.name(option)}"
                    for player, option in zip(players, options, strict=True)
                )
                layers = tuple(layers_of(option, board.material.names) for option in options)
                name = board.material.sections[section]
                rows.append((name, rank, said, layers, value, self.value - value, "seconds"))
        columns = ["section", "rank", "choice", "layers", "value", "costs", "unit"]
        table = pd.DataFrame(rows, columns=columns)
        return table.astype({"section": "str", "choice": "str", "unit": "str"})

    def by_players(self, most: int = 4) -> pd.DataFrame:
        """Return how the value grows with the players, from one to `most`.

        Returns
        -------
        DataFrame
            A row for each number of players: ``players``; ``value`` and ``bound``, seconds;
            ``share`` of what all layers together are worth; ``gap``, how much better anything
            could be, as a share of the value; 0 where it is proven.

        Raises
        ------
        ArrangeError
            If `most` is not from 1 to ``MOST_PLAYERS``.
        """
        _check_count(most)
        rows = []
        whole = sum(float(worth.covered[-1]) for worth in self._board.worths)
        for players in range(1, most + 1):
            plan = settled(self._board, self._bench, players)
            gap = (plan.bound - plan.value) / max(abs(plan.value), 1e-9)
            share = plan.value / whole if whole else 1.0
            rows.append((players, plan.value, plan.bound, share, gap))
        return pd.DataFrame(rows, columns=["players", "value", "bound", "share", "gap"])


def condense(
    song: Song,
    players: int | Sequence[str] = 2,
    *,
    layers: Sequence[str] | None = None,
    roles: Mapping[str, str] | None = None,
    pins: Iterable[tuple[str, str | None, Any]] = (),
    forbid: Iterable[tuple[str | None, str | None, Any]] = (),
    weights: Weights | None = None,
    necks: Sequence[Neck] | None = None,
    hand: Hand | None = None,
) -> Condensation:
    """Return a song whose layers are shared out among a few players, section by section.

    In each section a player takes one layer, merges two, or lays out. The lead is always kept,
    everything can be held by the players' hands, and of all choices that obey this and the pins
    the one of greatest worth is taken (``Weights``).

    Parameters
    ----------
    song : Song
    players : int or sequence of str
        How many, or their names.
    layers : sequence of str, optional
        Labels of the parts to condense; else all guitars. All other parts stay as they are.
    roles : mapping of layer to role, optional
        Where ``layer_roles`` is wrong.
    pins : of (player, section, layers)
        What a player takes there: a layer, a tuple of two, or ``()`` to lay out. Section None for
        each in which these layers play.
    forbid : of (player, section, layers)
        What a player must not take: a layer, alone or in a merge; a merge; ``()``: laying out.
        Player or section None for all.
    weights : Weights, optional
    necks : sequence of Neck, optional
        One a player. Else each gets what serves best of a guitar in standard tuning and the
        tunings and capos that the layers were recorded with, the same for the whole song.
    hand : Hand, optional
        Of all players.

    Raises
    ------
    ArrangeError
        If nobody plays or more than ``MOST_PLAYERS``, no layer lies on a neck, a name is unknown,
        pins speak against each other, or a rule leaves no choice; the message names it.
    """
    names = _player_names(players)
    material = Material.of(song, layers)
    _check_names(song, material, names)
    check_layers(material)  # before what takes minutes on hundreds of layers
    table = roles_of(material, roles)
    board = Board(
        material,
        table,
        weights or Weights(),
        *_necks(material, names, necks),
        names,
        read_rules(material, names, pins, forbid),
        hand or Hand(),
    )
    bench = Bench(board.necks, board.hand)
    thin_what_cannot_be_held(board, bench)
    plan = in_order(board, settled(board, bench, len(names)))
    choices = choices_table(board, plan, names)
    told = condensed_song(board, bench, plan, names, _notices(board, material, len(names)))
    return Condensation(
        replace(told, notices=(*told.notices, *_other_drives(choices, told.parts))),
        choices,
        lost_table(board, plan, bench.left),
        plan.value,
        plan.bound,
        terms_table(board, plan),
        table,
        board,
        bench,
        plan,
    )


def _player_names(players: int | Sequence[str]) -> tuple[str, ...]:
    if isinstance(players, str):
        players = [players]
    if isinstance(players, int | float):
        _check_count(players)
        return tuple(f"Player {number}" for number in range(1, int(players) + 1))
    names = tuple(check_text("player", name) for name in players)
    if not names:
        raise ArrangeError("no players; at least one has to play")
    _check_count(len(names))
    if not all(isinstance(name, str) and name.strip() for name in names):
        raise ArrangeError(f"players={shortened(list(names))}; each needs a name that is not empty")
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise ArrangeError(f"two players are called {twice[0]!r}; give each a name of their own")
    return names


def _check_count(players: float) -> None:
    if players not in range(1, MOST_PLAYERS + 1):
        raise ArrangeError(
            f"players={shortened(players, 24)}; at least one has to play, and at most "
            f"{MOST_PLAYERS} can"
        )


def _check_names(song: Song, material: Material, names: Sequence[str]) -> None:
    others = set(song.parts["part"]) - set(material.names)
    taken = [name for name in names if name in others]
    if taken:
        raise ArrangeError(
            f"a player is called {taken[0]!r}, as is a part that stays in the song; give the "
            "player another name"
        )
    if not material.present.any():
        raise ArrangeError(f"nothing to condense: {', '.join(material.names)} play no note")


def _necks(
    material: Material, players: Sequence[str], told: Sequence[Neck] | None
) -> tuple[tuple[Neck, ...], tuple[int, ...] | None]:
    """The necks to be tried, and which each player has where that is told."""
    if told is not None:
        if len(told) != len(players):
            raise ArrangeError(f"{len(told)} necks for {len(players)} players; give one a player")
        different = tuple(dict.fromkeys(told))
        return different, tuple(different.index(neck) for neck in told)
    time = (material.end - material.onset) * material.is_played
    per_layer = np.bincount(material.layer, time, minlength=len(material.names))
    use: dict[Neck, float] = {Neck(): np.inf}
    for known, family, lasts in zip(
        material.necks, material.parts["family"], per_layer.tolist(), strict=True
    ):
        if known is not None and family == "guitar":
            use[known] = use.get(known, 0.0) + lasts
    ranked = sorted(use, key=lambda n: (-use[n], n.tuning, n.capo, n.frets))
    if len(players) < len(material.names):
        ranked = ranked[:MOST_NECKS]
    return tuple(ranked), None


def _notices(board: Board, material: Material, players: int) -> list[str]:
    """What has to be told with the song."""
    told = []
    if players > len(material.names):
        told.append(
            f"{players} players for {len(material.names)} layers: each layer is kept, and "
            f"{players - len(material.names)} lay out"
        )
    here: list[bool] = np.asarray(material.present.any(axis=0)).tolist()
    silent = [
        name for name, plays in zip(material.sections, here, strict=True)
        if not plays
    ]  # fmt: skip
    if silent:
        told.append(f"no layer plays in {', '.join(silent)}: all lay out there")
    gone = [
        name for layer, name in enumerate(material.names)
        if material.present[layer].any() and not board.material.present[layer].any()
    ]  # fmt: skip
    told += [f"{name} cannot be played at all: no note of it lies on any neck" for name in gone]
    if material.song.chords.empty:
        told.append("no chord symbols: harmony was weighed by the notes that sound")
    return told


def _other_drives(choices: pd.DataFrame, parts: pd.DataFrame) -> list[str]:
    """Where a player takes layers of another drive than the one that the parts table tells."""
    drives = dict(zip(parts["part"], parts["drive"], strict=True))
    told = []
    for (player, drive), own in choices.dropna(subset="drive").groupby(["player", "drive"]):
        if drive != drives[player]:
            told.append(
                f"{player} is told as {drives[player]} all through, since a part has one drive; "
                f"what was taken in {', '.join(own['section'])} was recorded {drive}"
            )
    return told
