"""Proposals that keep parts apart: what else a player could play where there are findings.

``revoice``
    one part in a stretch; several distinct ideas, the best first
``revoice_pair``
    two parts, either of which may change
``find_capos``
    which two capos keep two players apart, over the whole song
``change_key``
    the song in another key, with the capo and the shapes of each guitar

The harmony stays what the chord symbols say: a new voicing has only members of its chord, and a
third or seventh that some part sounded is still sounded by some part; an idea that gives one up on
purpose says so, as does one without the root. An inversion holds what names the chord; a tune on
top, where nobody sings, stays at its pitch unless the idea is about registers; a passing note keeps
its step. Rhythm and technique stay unless the idea is about them. How far a re-voicing may
go is its ``Scope``; by what it is judged is the ``Taste``.

A part that may change (``movers``) is cut into grips and lines (``units``); what a guitarist would
try (``ideas``) leaves some of the voicings within reach (``candidates``); the choice over the
chords is a shortest path (``choosing``), exact among the candidates that it is given; each version
is then held against the findings themselves, and fingered (``judging``, ``proposals``).
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.players import Player
from arrange.revoicing.capos import find_capos
from arrange.revoicing.changing_key import change_key
from arrange.revoicing.harmonies import Harmonies
from arrange.revoicing.ideas import (
    IDEAS,
    RHYTHM_IDEAS,
    SMALL_IDEAS,
    capo_versions,
    doubled,
    laid_out,
    octave_versions,
    voicing_versions,
)
from arrange.revoicing.movers import Mover
from arrange.revoicing.pair import revoice_pair
from arrange.revoicing.preparing import (
    check_some_may_change,
    check_something_to_end,
    make_mover,
    nearest_other,
    on_neck_of,
    touched,
)
from arrange.revoicing.proposals import Judge, Proposal, proposals_table
from arrange.revoicing.scope import Scope
from arrange.revoicing.stretches import find_stretch
from arrange.revoicing.taste import Prices, Taste
from arrange.revoicing.version import Version
from arrange.tables.song import Song
from arrange.theory.spelling import unknown_name

__all__ = ["IDEAS", "Prices", "Proposal", "Scope", "Taste", "change_key", "find_capos",
           "proposals_table", "revoice", "revoice_pair"]  # fmt: skip


def revoice(
    song: Song,
    part: str,
    section: str | None = None,
    measures: int | tuple[int, int] | None = None,
    *,
    scope: Scope | None = None,
    player: Player | None = None,
    taste: Taste | None = None,
) -> list[Proposal]:
    """Return what else a part could play in a stretch, so that findings end.

    Parameters
    ----------
    song : Song
    part : str
        Label of a part with strings.
    section : str, optional
        Label of a section; the whole song if neither this nor `measures` is given.
    measures : int or (int, int), optional
        A played bar, or the first and the last of several.
    scope : Scope, optional
        What may change there: a chord, pinned measures, the ideas to try, the highest fret.
    player : Player, optional
        Who plays the part; a neck of their own takes the place of the part's.
    taste : Taste, optional
        From which value on something is a finding, and what each thing costs.

    Returns
    -------
    list of Proposal
        Best first, each idea once; behind those, ideas whose result is nearly that of one before.

    Raises
    ------
    ArrangeError
        If there is no such part, section, measure, chord or idea; the part has no strings, is
        silent there or pinned throughout; there is nothing to end; or nothing that was tried
        helps: the message says of each idea why not.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> scope = ar.Scope(ideas=["clear voicings", "fewer strings"])
    >>> ideas = ar.revoice(song, "Guitar 2", "Verse 3", scope=scope)
    >>> [(each.idea, len(each.ended), each.notes_lost) for each in ideas]
    [('clear voicings', 8, 18), ('fewer strings', 8, 46)]
    """
    scope, taste = scope or Scope(), taste or Taste()
    names = _known_ideas(scope.ideas)
    scope.check_pinned_parts([part])
    song = on_neck_of(song, part, player)
    stretch = find_stretch(song, section, measures, scope.chord)
    harmonies = Harmonies(song)
    mover = make_mover(harmonies, part, stretch, scope, player, taste)
    check_some_may_change([mover], stretch)
    judge = Judge(harmonies, stretch, (mover,), taste)
    check_something_to_end(judge.before, [part], stretch)
    other = nearest_other(song, part, judge.before, stretch)
    is_pinned = bool(scope.pins_of(song, part))
    return judge.proposals(_versions(mover, judge.before, names, other, is_pinned))


def _known_ideas(ideas: Sequence[str] | None) -> Sequence[str]:
    for name in ideas or ():
        if name not in IDEAS:
            raise ArrangeError(unknown_name("idea", name, IDEAS))
    return IDEAS if ideas is None else ideas


def _versions(
    mover: Mover, before: pd.DataFrame, names: Sequence[str], other: str | None, is_pinned: bool
) -> list[Version]:
    forced = touched(mover, before)
    found = list(voicing_versions(mover, forced, names))
    found += [make(mover, forced) for name, make in SMALL_IDEAS.items() if name in names]
    if "capo" in names:
        found += capo_versions(mover, is_pinned)
    found += [each for each in octave_versions(mover) if each.idea in names]
    if "lay out" in names:  # before thinning, which may leave nothing and is the same then
        found.append(laid_out(mover))
    if other is not None:
        if "exact double" in names:
            found += doubled(mover, other)
        found += [make(mover, other) for name, make in RHYTHM_IDEAS.items() if name in names]
    return found
