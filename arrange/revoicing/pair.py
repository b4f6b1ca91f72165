"""Two parts at once: either may change, so that both stay clear of each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.players import Player
from arrange.revoicing.candidates import Options, Pool
from arrange.revoicing.choosing import choose_both
from arrange.revoicing.clash_costs import Around
from arrange.revoicing.harmonies import Harmonies
from arrange.revoicing.ideas import any_or_fewer, shell
from arrange.revoicing.movers import MOST_OF_TWO, Keeps, Mover, on_strings, played
from arrange.revoicing.preparing import (
    check_some_may_change,
    check_something_to_end,
    make_mover,
    on_neck_of,
    touched,
    two_players,
)
from arrange.revoicing.proposals import Judge, Proposal
from arrange.revoicing.scope import Scope
from arrange.revoicing.stretches import find_stretch
from arrange.revoicing.taste import Taste
from arrange.revoicing.version import Version
from arrange.tables.song import Song
from arrange.tables.sounding import Array

_APART = 3.0  # semitones that each keeps from the middle between two registers (ours)
_OCTAVE = 12


def revoice_pair(
    song: Song,
    parts: Sequence[str],
    section: str | None = None,
    measures: int | tuple[int, int] | None = None,
    *,
    scope: Scope | None = None,
    players: Sequence[Player] | None = None,
    taste: Taste | None = None,
) -> list[Proposal]:
    """Return what two parts could play together in a stretch, so that findings end.

    Parameters
    ----------
    song : Song
    parts : two str
        Labels of parts with strings.
    section : str, optional
        Label of a section; the whole song if neither this nor `measures` is given.
    measures : int or (int, int), optional
        A played bar, or the first and the last of several.
    scope : Scope, optional
        As for ``revoice``, without `ideas`: for two parts all are tried.
    players : two Player, optional
        Who plays the parts, in their order.
    taste : Taste, optional
        As for ``revoice``.

    Returns
    -------
    list of Proposal
        Best first. Of each chord and part the ``MOST_OF_TWO`` cheapest candidates are looked
        at; ``Proposal.cut`` says at how many chords there were more.

    Raises
    ------
    ArrangeError
        As ``revoice``; or if there are not two parts and two players, or the pins leave nothing
        to change.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> ideas = ar.revoice_pair(song, ["Guitar 1", "Guitar 2"], measures=(21, 24))
    >>> ideas[0].idea, len(ideas[0].ended)
    ('Guitar 1 chords, Guitar 2 shells', 1)
    """
    scope, taste = scope or Scope(), taste or Taste()
    names = list(dict.fromkeys(parts))
    if len(names) != 2:
        raise ArrangeError(f"parts={tuple(parts)!r}; give the labels of two parts")
    if scope.ideas is not None:
        raise ArrangeError(
            f"ideas={tuple(scope.ideas)!r} are for one part; for two parts all ideas are tried, so "
            "leave them out of the scope"
        )
    scope.check_pinned_parts(names)
    own = two_players(players)
    for name, player in zip(names, own, strict=True):
        song = on_neck_of(song, name, player)
    stretch = find_stretch(song, section, measures, scope.chord)
    harmonies = Harmonies(song)
    one, other = (
        make_mover(harmonies, names[n], stretch, scope, own[n], taste, (names[1 - n],))
        for n in (0, 1)
    )
    check_some_may_change([one, other], stretch)
    judge = Judge(harmonies, stretch, (one, other), taste)
    check_something_to_end(judge.before, names, stretch)
    return judge.proposals(list(_versions((one, other), judge.before)))


def _versions(movers: tuple[Mover, Mover], before: pd.DataFrame) -> Iterator[Version]:
    one, other = (mover.part for mover in movers)
    must = tuple(touched(mover, before) for mover in movers)
    middle = _middle(movers)
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
    side = _side(movers)
    for name, says, keeps, shifts, is_forced in ideas:
        tune_stays = {*keeps} != {low, high}  # those two say that the parts change places
        options = [
            mover.options(keep, shift, own if is_forced else None, MOST_OF_TWO, distinct=True,
                          tune_stays=tune_stays)
            for mover, keep, shift, own in zip(movers, keeps, shifts, must, strict=True)
        ]  # fmt: skip
        yield _version(movers, options, side, name, says)


def _version(
    movers: tuple[Mover, Mover],
    options: Sequence[Sequence[Options]],
    side: str | None,
    name: str,
    says: str,
) -> Version:
    one, other = movers
    found = choose_both(
        one.scene, (one.units, other.units), (options[0], options[1]), side, one.taste
    )
    both = [
        [(unit, each, row) for unit, each, row in zip(mover.units, own, choice.options,
                                                      strict=True)]
        for mover, own, choice in zip(movers, options, found, strict=True)
    ]  # fmt: skip
    chosen = [each for own in both for each in own]
    notes = played(
        one.scene.song.notes, [unit for unit, _, _ in chosen],
        [own.pitches[row] for _, own, row in chosen],
    )  # fmt: skip
    for mover, own in zip(movers, both, strict=True):
        notes = on_strings(notes, mover.units, [each.shapes[row] for _, each, row in own],
                           mover.neck)  # fmt: skip
    return Version(name, says, notes, cut=sum(each.cut > 0 for own in options for each in own))


def _side(movers: tuple[Mover, Mover]) -> str | None:
    """Whether the first lies above or below the other over the song."""
    one, other = movers
    around = Around(one.scene, one.part, one.taste)
    return around.sides().get(one.scene.parts.index(other.part))


def _middle(movers: tuple[Mover, Mover]) -> float:
    """The middle of the two parts' mean pitches as written."""
    means = [np.concatenate([unit.pitch for unit in mover.units]).mean() for mover in movers]
    return float(np.mean(means))


def _below(pitch: float) -> Keeps:
    def keeps(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
        return (pool.mean[rows] <= pitch) & any_or_fewer(mover, number, pool, rows)

    return keeps


def _above(pitch: float) -> Keeps:
    def keeps(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
        return (pool.mean[rows] >= pitch) & any_or_fewer(mover, number, pool, rows)

    return keeps
