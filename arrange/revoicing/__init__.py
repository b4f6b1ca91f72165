"""Proposals that keep parts apart: what else a player could play where findings stand.

``revoice``
    one part in a stretch; several distinct ideas, the best first
``revoice_pair``
    two parts, either of which may move
``find_capos``
    which two capos keep two players apart, over the whole song

The harmony stays what the chord symbols say: a new voicing has only members of its chord, and a
third or seventh that some part sounded is sounded by some part still; an idea that gives one up on
purpose says so. Rhythm and technique stay unless the idea is about them. A stretch is cut into
grips and lines (``units``); what a guitarist would try (``ideas``) leaves some of the voicings
within reach (``candidates``); the choice over the chords is a shortest path (``search``), exact
among the candidates that it is given; each version is then held against the findings themselves,
and fingered (``judging``, ``proposals``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

from arrange.clashes import Limits
from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.errors import ArrangeError
from arrange.guitar.hands import Hand
from arrange.revoicing.capos import find_capos
from arrange.revoicing.ideas import (
    IDEAS,
    RHYTHM_IDEAS,
    Version,
    capo_versions,
    doubled,
    fewer_strings,
    laid_out,
    octave_versions,
    voicing_versions,
)
from arrange.revoicing.judging import findings_of_each
from arrange.revoicing.pair import revoice_pair
from arrange.revoicing.players import Player
from arrange.revoicing.proposals import Bench, Proposal, proposals_table
from arrange.revoicing.setting import (
    TOP_FRET,
    check_something_to_end,
    make_player,
    nearest_other,
    touched,
)
from arrange.revoicing.stretches import Harmonies, find_stretch
from arrange.revoicing.weights import Weights
from arrange.tables.song import Song
from arrange.theory.spelling import unknown_name

__all__ = ["IDEAS", "Proposal", "Weights", "find_capos", "proposals_table", "revoice",
           "revoice_pair"]  # fmt: skip


def revoice(
    song: Song,
    part: str,
    *,
    section: str | None = None,
    measures: int | tuple[int, int] | None = None,
    chord: str | None = None,
    pinned: Iterable[int] = (),
    ideas: Sequence[str] | None = None,
    hand: Hand | None = None,
    top_fret: int = TOP_FRET,
    limits: Limits = DEFAULT_LIMITS,
    weights: Weights | None = None,
) -> list[Proposal]:
    """Return what else a part could play in a stretch, so that findings end.

    Parameters
    ----------
    song : Song
    part : str
        Label of a part with strings.
    section : str, optional
        Label of a section; the stretch is where this and the next two hold.
    measures : int or (int, int), optional
        A played bar, or the first and the last of several.
    chord : str, optional
        A chord symbol: every place of it.
    pinned : iterable of int
        Measures in which the part stays as written.
    ideas : sequence of str, optional
        Those of ``IDEAS`` to try; all if not given.
    hand : Hand, optional
    top_fret : int
        The highest fret that new voicings may use.
    limits : Limits
        From which value on a finding is told.
    weights : Weights, optional
        What each thing costs.

    Returns
    -------
    list of Proposal
        Best first, each idea once; behind those, ideas whose result is nearly that of one before.

    Raises
    ------
    ArrangeError
        If there is no such part, section, measure, chord or idea; the part has no strings, is
        silent there or pinned throughout; there is nothing to end; or nothing that was tried
        helps: the message says what stood against each idea.
    """
    names = _known_ideas(ideas)
    stretch = find_stretch(song, section, measures, chord)
    harmonies = Harmonies(song)
    weights, hand = weights or Weights(), hand or Hand()
    player = make_player(song, part, stretch, harmonies, (), pinned, hand, top_fret, weights)
    before = findings_of_each(song, [song.notes], stretch, limits)[0]
    check_something_to_end(before, (part,), stretch)
    bench = Bench(song, stretch, harmonies, (player,), limits, weights, hand)
    other = nearest_other(song, part, before, stretch)
    return bench.proposals(_versions(player, before, names, other, bool(tuple(pinned))), before)


def _known_ideas(ideas: Sequence[str] | None) -> Sequence[str]:
    for name in ideas or ():
        if name not in IDEAS:
            raise ArrangeError(unknown_name("idea", name, IDEAS))
    return IDEAS if ideas is None else ideas


def _versions(
    player: Player, before: pd.DataFrame, names: Sequence[str], other: str | None, is_pinned: bool
) -> list[Version]:
    forced = touched(player, before)
    found = list(voicing_versions(player, forced, names))
    if "fewer strings" in names:
        found.append(fewer_strings(player, forced))
    if "capo" in names:
        found += capo_versions(player, is_pinned)
    found += [each for each in octave_versions(player) if each.idea in names]
    if "lay out" in names:  # before thinning, which may leave nothing and is the same then
        found.append(laid_out(player))
    if other is not None:
        if "exact double" in names:
            found += doubled(player, other)
        found += [make(player, other) for name, make in RHYTHM_IDEAS.items() if name in names]
    return found
