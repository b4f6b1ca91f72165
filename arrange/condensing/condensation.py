"""Many layers condensed to a few players: the question, the answer, and what it is worth."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.condensing.capo_changes import capo_changes_table
from arrange.condensing.condensed_song import condensed_song
from arrange.condensing.estimated_roles import roles_of
from arrange.condensing.growth import growth_table
from arrange.condensing.lineup import Lineup
from arrange.condensing.pins_and_bans import read_pins_and_bans
from arrange.condensing.plan import Plan
from arrange.condensing.playable_plan import Known, next_best, playable_plan
from arrange.condensing.player_options import layer_names
from arrange.condensing.problem import Criteria, Problem
from arrange.condensing.reasons import choices_table, lost_table
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.condensing.terms import terms_table
from arrange.condensing.weights import Weights
from arrange.errors import ArrangeError, shortened
from arrange.guitar.players import Player, read_player, song_players
from arrange.tables.song import Song
from arrange.text.letters import check_text
from arrange.text.progress import steps

_UNNAMED = 2  # players where nobody is named
MOST_PLAYERS = 16  # more than any stage holds; the search grows with each


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
        ``capo``; ``adds``, what it adds to the other players, in its ``unit``; ``reason``.
    lost : DataFrame
        A row for each section and layer that is not played there, or has notes that cannot be
        played: ``section``; ``layer``; ``role``; ``what`` is lost; ``measures``, where notes of
        it are heard in no other; ``value``, what it would add, in its ``unit``; ``share`` of
        what all layers are worth there; ``why``.
    terms : DataFrame
        A row for each section and term: ``value``; ``of_all``, what all layers together would
        give; ``share``; ``unit``.
    known : Known
        The problem, and what has been learned about it.
    plan : Plan
        The same choices as numbers.

    Examples
    --------
    >>> import arrange as ar
    >>> two = ar.condense(ar.read("datasets/last-bell.musicxml"), ["Ann", "Ben"])
    >>> two
    <Condensation: 14 layers to 2 players, 77% of their worth, proven>
    >>> two.choices.loc[0, ["section", "player", "action", "layers"]].tolist()
    ['Intro', 'Ann', 'takes', ('Hook',)]
    """

    song: Song
    choices: pd.DataFrame
    lost: pd.DataFrame
    terms: pd.DataFrame
    known: Known = field(repr=False)
    plan: Plan = field(repr=False)

    def __repr__(self) -> str:
        return (
            f"<Condensation: {len(self.roles)} layers to {self.plan.players} players, "
            f"{self.share:.0%} of their worth, {'proven' if self.is_proven else 'gap '}"
            f"{'' if self.is_proven else f'{self.gap:.1%}'}>"
        )

    @property
    def recorded(self) -> Song:
        """The song with all its layers."""
        return self.known.problem.recorded.song

    @property
    def roles(self) -> pd.DataFrame:
        """The roles of the layers, as of ``layer_roles``."""
        return self.known.problem.criteria.roles

    @property
    def value(self) -> float:
        """Worth of the whole, seconds: the sum of all terms."""
        return self.plan.value

    @property
    def bound(self) -> float:
        """No choice is worth more; equal to the value where it is proven to be the best."""
        return self.plan.bound

    @property
    def is_proven(self) -> bool:
        """Whether no choice can be worth more."""
        return self.bound - self.value <= 1e-6

    @property
    def gap(self) -> float:
        """How much better anything could be at most, as a share of the value."""
        return self.plan.gap

    @property
    def share(self) -> float:
        """The value as a share of what all layers together are worth."""
        return _share(self.known.problem, self.plan)

    @cached_property
    def growth(self) -> pd.DataFrame:
        """How full each section is, recorded and played; columns as of ``growth_table``."""
        recorded = self.known.problem.recorded
        players = [player.name for player in self.known.problem.lineup.players]
        return growth_table(recorded.song, recorded.names, self.song, players)

    def changed_from(self, other: Condensation) -> pd.DataFrame:
        """Return where a player has other layers than in another condensation of the song.

        A row each: ``section``, ``player``, the layers ``before``, in the other one, and ``now``.

        Examples
        --------
        >>> import arrange as ar
        >>> song = ar.read("datasets/last-bell.musicxml")
        >>> two = ar.condense(song, ["Ann", "Ben"])
        >>> pinned = ar.condense(song, ["Ann", "Ben"], pins=[("Ann", "Bridge", "Slide")])
        >>> pinned.changed_from(two)[["section", "player", "before", "now"]].values.tolist()
        [['Bridge', 'Ann', ('Pulse',), ('Slide',)]]
        """
        keys = ["section", "player"]
        both = other.choices[[*keys, "layers"]].merge(self.choices[[*keys, "layers"]], on=keys)
        both.columns = pd.Index([*keys, "before", "now"])
        return both[both["before"] != both["now"]].reset_index(drop=True)

    @cached_property
    def capo_changes(self) -> pd.DataFrame:
        """Where a player moves the capo.

        A row each: ``section``, from which on the capo is another one; ``player``; ``before`` and
        ``after``, the frets, 0 for none; ``last_measure``, in which the player's last note ends
        before that; ``measure`` of the first note after it; ``seconds`` of silence between the two.
        """
        return capo_changes_table(self.known.problem, self.plan)

    @cached_property
    def alternatives(self) -> pd.DataFrame:
        """The next best for each section.

        A row each: ``section``; ``rank``, from 1; ``choice``, what each player does; ``value`` of
        the best whole that goes through it, and what it ``costs`` against the value, seconds;
        the best first, at most three. All of them can be held by a hand.
        """
        problem, rows = self.known.problem, []
        for section, others in enumerate(next_best(self.known, self.plan)):
            for rank, (value, chosen) in enumerate(others, 1):
                options = [problem.options[section].options[place] for place in chosen]
                choice = "; ".join(
                    f"{player.name}: {problem.name(option)}"
                    for player, option in zip(problem.lineup.players, options, strict=True)
                )
                layers = tuple(layer_names(option, problem.recorded.names) for option in options)
                name = problem.recorded.sections[section]
                rows.append((name, rank, choice, layers, value, self.value - value, "seconds"))
        columns = ["section", "rank", "choice", "layers", "value", "costs", "unit"]
        table = pd.DataFrame(rows, columns=columns)
        return table.astype({"section": "str", "choice": "str", "unit": "str"})

    def by_players(self, most: int = 4) -> pd.DataFrame:
        """Return how the value grows with the players, from one to `most`.

        The first ones are the players of this condensation; any more are like the last of them.

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
        known, rows = self.known, []
        for players in steps(range(1, most + 1), "Trying more players", "number"):
            known, plan = playable_plan(known, players)
            rows.append((players, plan.value, plan.bound, _share(known.problem, plan), plan.gap))
        return pd.DataFrame(rows, columns=["players", "value", "bound", "share", "gap"])


def _share(problem: Problem, plan: Plan) -> float:
    return plan.value / problem.whole if problem.whole else 1.0


def condense(
    song: Song,
    players: int | Sequence[str | Player] | None = None,
    *,
    layers: Sequence[str] | None = None,
    roles: Mapping[str, str] | None = None,
    pins: Iterable[tuple[str, str | None, Any]] = (),
    forbid: Iterable[tuple[str | None, str | None, Any]] = (),
    weights: Weights | None = None,
) -> Condensation:
    """Return a song whose layers are shared out among a few players, section by section.

    In each section a player takes one layer, merges two, or lays out. The lead is always kept, and
    the players' hands can hold everything. Of all choices that obey this and the pins, the one of
    greatest worth is taken (``Weights``). Of more than 18 layers in a section those are kept that
    can matter, and those that are pinned; ``gap`` says how much better anything could be with the
    others too.

    Parameters
    ----------
    song : Song
    players : int or sequence of str or Player, optional
        How many, or who; else those that the song names, or two. A name alone is an electric guitar
        with whatever serves best; ``"Ann: acoustic; capo none or 2"`` says what a player has, as a
        line of the song does. A ``Player`` brings a hand and may bring a neck, capos and
        sounds. A player without a neck gets what serves best of a guitar in standard tuning and the
        tunings and capos that the layers were recorded with. The tuning stays for the whole song; a
        capo is moved where there is time for it.
    layers : sequence of str, optional
        Labels of the parts to condense; else all guitars. All other parts stay as they are.
    roles : mapping of layer to role, optional
        Where ``layer_roles`` is wrong.
    pins : of (player, section, layers)
        What a player takes there: a layer, a tuple of two, or ``()`` to lay out. Section None for
        each in which these layers play.
    forbid : of (player, section, layers)
        What a player must not take: a layer, alone or in a merge; a merge; ``()`` for laying out.
        Player or section None for all.
    weights : Weights, optional

    Raises
    ------
    ArrangeError
        If nobody plays or more than ``MOST_PLAYERS``, no layer lies on a neck, a name is unknown,
        pins contradict each other, more than 18 of many layers are pinned in one section, or a
        rule leaves no choice; the message names it.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> one = ar.condense(song, [ar.Player("Ann", neck=ar.Neck(capo=2))])
    >>> one.song.parts.loc[one.song.parts["part"] == "Ann", "capo"].tolist()
    [2]
    >>> one.is_proven
    True
    """
    named = song_players(song)
    people = _players(players if players is not None else named or _UNNAMED)
    names = [player.name for player in people]
    recorded = RecordedLayers.of(song, layers)
    _check_names(song, recorded, names)
    table = roles_of(recorded, roles)
    decided = read_pins_and_bans(recorded, names, pins, forbid)
    lineup = Lineup.of(people, recorded, decided)
    criteria = Criteria.of(recorded, table, weights or Weights())
    known = Known.of(Problem.of(recorded, criteria, lineup))
    known, plan = playable_plan(known, len(people))
    notices = _notices(recorded, known.problem, len(people))
    if players is None and not named:
        notices.append(
            "nobody is named: two players, each with an electric guitar and the tuning, the capos "
            "and the sounds that serve best; say who plays, players=[...]"
        )
    return condensation_of(known, plan, notices)


def condensation_of(known: Known, plan: Plan, notices: Iterable[str] = ()) -> Condensation:
    """Return the answer that a plan is, of which every part has been fingered."""
    problem = known.problem
    choices = choices_table(problem, plan)
    made = condensed_song(problem, known.fingerings, plan, choices)
    return Condensation(
        replace(made, notices=(*made.notices, *notices)),
        choices,
        lost_table(problem, plan, known.left_out),
        terms_table(problem, plan),
        known,
        plan,
    )


def _players(players: int | Sequence[str | Player]) -> tuple[Player, ...]:
    if isinstance(players, str | Player):
        players = [players]
    if isinstance(players, int | float):
        _check_count(players)
        return tuple(Player(f"Player {number}") for number in range(1, int(players) + 1))
    given = [one if isinstance(one, Player) else check_text("player", one) for one in players]
    if not given:
        raise ArrangeError("no players; at least one has to play")
    _check_count(len(given))
    if not all(isinstance(one, Player) or one.strip() for one in given):
        raise ArrangeError(f"players={shortened(given)}; each needs a name that is not empty")
    people = [one if isinstance(one, Player) else read_player(one) for one in given]
    names = [one.name for one in people]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise ArrangeError(f"two players are called {twice[0]!r}; give each a name of their own")
    return tuple(people)


def _check_count(players: float) -> None:
    if players not in range(1, MOST_PLAYERS + 1):
        raise ArrangeError(
            f"players={shortened(players, 24)}; at least one has to play, and at most "
            f"{MOST_PLAYERS} can"
        )


def _check_names(song: Song, recorded: RecordedLayers, names: Sequence[str]) -> None:
    others = set(song.parts["part"]) - set(recorded.names)
    taken = [name for name in names if name in others]
    if taken:
        raise ArrangeError(
            f"a player is called {taken[0]!r}, as is a part that stays in the song; give the "
            "player another name"
        )
    if not recorded.present.any():
        raise ArrangeError(f"nothing to condense: {', '.join(recorded.names)} play no note")


def _notices(recorded: RecordedLayers, problem: Problem, players: int) -> list[str]:
    """What a reader of the song should know of the layers and the players."""
    found = []
    if players > len(recorded.names):
        found.append(
            f"{players} players for {len(recorded.names)} layers: each layer is kept, and "
            f"{players - len(recorded.names)} lay out"
        )
    here: list[bool] = np.asarray(recorded.present.any(axis=0)).tolist()
    silent = [
        name for name, plays in zip(recorded.sections, here, strict=True)
        if not plays
    ]  # fmt: skip
    if silent:
        found.append(f"no layer plays in {', '.join(silent)}: all lay out there")
    playable = problem.recorded.present
    gone = [
        name for layer, name in enumerate(recorded.names)
        if recorded.present[layer].any() and not playable[layer].any()
    ]  # fmt: skip
    found += [f"{name} cannot be played at all: no note of it lies on any neck" for name in gone]
    if recorded.song.chords.empty:
        found.append("no chord symbols: harmony was weighed by the notes that sound")
    return found
