"""Two players at once: either may move, so that both stay clear of each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
import pandas as pd

from arrange.clashes import Limits
from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.errors import ArrangeError
from arrange.guitar.hands import Hand
from arrange.revoicing.candidates import Options, Pool
from arrange.revoicing.clash_costs import Around
from arrange.revoicing.ideas import Version, any_or_fewer, shell
from arrange.revoicing.judging import findings_of_each
from arrange.revoicing.players import MOST_OF_TWO, Keeps, Player, on_strings, played
from arrange.revoicing.proposals import Bench, Proposal
from arrange.revoicing.search import choose_both
from arrange.revoicing.setting import TOP_FRET, check_something_to_end, make_player, touched
from arrange.revoicing.stretches import Harmonies, find_stretch
from arrange.revoicing.weights import Weights
from arrange.tables.song import Song
from arrange.tables.sounding import Array

_APART = 3.0  # semitones that each keeps from the middle between two registers (ours)
_OCTAVE = 12


def revoice_pair(
    song: Song,
    parts: Sequence[str],
    *,
    section: str | None = None,
    measures: int | tuple[int, int] | None = None,
    chord: str | None = None,
    pinned: Mapping[str, Iterable[int]] | None = None,
    hand: Hand | None = None,
    top_fret: int = TOP_FRET,
    limits: Limits = DEFAULT_LIMITS,
    weights: Weights | None = None,
) -> list[Proposal]:
    """Return what two parts could play together in a stretch, so that findings end.

    Parameters
    ----------
    song : Song
    parts : two str
        Labels of parts with strings.
    section, measures, chord : optional
        The stretch, as for ``revoice``.
    pinned : mapping of part to measures, optional
        Where a part stays as written.
    hand, top_fret, limits, weights
        As for ``revoice``.

    Returns
    -------
    list of Proposal
        Best first. Of each chord and player the ``MOST_OF_TWO`` cheapest candidates are looked
        at; ``Proposal.cut`` says at how many chords there were more.

    Raises
    ------
    ArrangeError
        As ``revoice``; or if there are not two parts, or the pins leave nothing to move.
    """
    names = list(dict.fromkeys(parts))
    if len(names) != 2:
        raise ArrangeError(f"parts={tuple(parts)!r}; give the labels of two parts")
    pins = dict(pinned or {})
    for name in pins:
        if name not in names:
            raise ArrangeError(f"{name!r} is pinned and not among the two parts, {names}")
    stretch = find_stretch(song, section, measures, chord)
    harmonies = Harmonies(song)
    weights, hand = weights or Weights(), hand or Hand()
    one, other = (
        make_player(
            song, name, stretch, harmonies, (names[1 - n],), pins.get(name, ()), hand, top_fret,
            weights, may_be_pinned=True,
        )
        for n, name in enumerate(names)
    )  # fmt: skip
    if not len(one.rows) and not len(other.rows):
        raise ArrangeError(
            f"{' and '.join(names)} are both pinned in all that they play in {stretch.name}; "
            "take a pin away"
        )
    before = findings_of_each(song, [song.notes], stretch, limits)[0]
    check_something_to_end(before, names, stretch)
    bench = Bench(song, stretch, harmonies, (one, other), limits, weights, hand)
    return bench.proposals(list(_versions((one, other), before)), before)


def _versions(players: tuple[Player, Player], before: pd.DataFrame) -> Iterator[Version]:
    one, other = (player.part for player in players)
    must = tuple(touched(player, before) for player in players)
    middle = _middle(players)
    low, high = _below(middle - _APART), _above(middle + _APART)
    down, up = (0, -_OCTAVE), (0, _OCTAVE)
    both = f"{one} and {other}"
    few = "two or three notes"
    ideas = (
        ("both move", f"{both} take the voicings that stay clear of each other",
         (any_or_fewer, any_or_fewer), ((*down, *up), (*down, *up)), False),
        (f"{one} low, {other} high", f"{one} plays low and {other} high",
         (low, high), (down, up), True),
        (f"{one} high, {other} low", f"{one} plays high and {other} low",
         (high, low), (up, down), True),
        (f"{one} shells, {other} chords", f"{one} plays {few} and {other} chords higher up",
         (shell, high), ((0,), up), True),
        (f"{one} chords, {other} shells", f"{one} plays chords higher up and {other} {few}",
         (high, shell), (up, (0,)), True),
    )  # fmt: skip
    side = _side(players)
    for name, says, keeps, shifts, is_forced in ideas:
        options = [
            player.options(keep, shift, own if is_forced else None, MOST_OF_TWO, distinct=True)
            for player, keep, shift, own in zip(players, keeps, shifts, must, strict=True)
        ]
        yield _version(players, options, side, name, says)


def _version(
    players: tuple[Player, Player],
    options: Sequence[Sequence[Options]],
    side: str | None,
    name: str,
    says: str,
) -> Version:
    one, other = players
    found = choose_both(
        one.scene, (one.units, other.units), (options[0], options[1]), side, one.weights
    )
    both = [
        [(unit, each, row) for unit, each, row in zip(player.units, own, choice.options,
                                                      strict=True)]
        for player, own, choice in zip(players, options, found, strict=True)
    ]  # fmt: skip
    chosen = [each for own in both for each in own]
    notes = played(
        one.scene.song.notes, [unit for unit, _, _ in chosen],
        [own.pitches[row] for _, own, row in chosen],
    )  # fmt: skip
    for player, own in zip(players, both, strict=True):
        notes = on_strings(notes, player.units, [each.shapes[row] for _, each, row in own],
                           player.neck)  # fmt: skip
    return Version(name, says, notes, cut=sum(each.cut > 0 for own in options for each in own))


def _side(players: tuple[Player, Player]) -> str | None:
    """Whether the first lies above or below the other over the song."""
    one, other = players
    around = Around(one.scene, one.part, one.weights)
    return around.sides().get(one.scene.parts.index(other.part))


def _middle(players: tuple[Player, Player]) -> float:
    """The middle of the two parts' mean pitches as written."""
    means = [np.concatenate([unit.pitch for unit in player.units]).mean() for player in players]
    return float(np.mean(means))


def _below(pitch: float) -> Keeps:
    def keeps(player: Player, number: int, pool: Pool, rows: Array) -> Array:
        return (pool.mean[rows] <= pitch) & any_or_fewer(player, number, pool, rows)

    return keeps


def _above(pitch: float) -> Keeps:
    def keeps(player: Player, number: int, pool: Pool, rows: Array) -> Array:
        return (pool.mean[rows] >= pitch) & any_or_fewer(player, number, pool, rows)

    return keeps
