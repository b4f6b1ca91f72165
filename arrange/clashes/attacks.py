"""Attacks for the findings on rhythm: their times, pitches and strengths, echoes included.

An attack is a moment at which a part begins one or more notes; a strum that takes no longer than 30
ms from note to note is one. Two attacks within 30 ms are together: professional trios miss by 30 to
50 ms (Rasch 1979). Times are seconds at the song's tempo, so that a gap may count in a slow song
and not in a fast one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrange.quantities.texture import amplitude, echo_repeats, parts_with_echo
from arrange.tables.song import Song
from arrange.tables.sounding import Array, each_of

TOGETHER = 0.03  # seconds; two attacks nearer than this are one
ALMOST = 1e-6  # seconds or quarter notes; more than rounding errors, less than anyone can hear


@dataclass(frozen=True)
class Stream:
    """A part's attacks in order of time: their times, pitches and strengths.

    Parameters
    ----------
    onset, seconds : array
        Quarter notes; seconds from the start.
    pitch : array
        The highest; NaN if unpitched.
    single : array of bool
        Whether it is one note.
    weight : array
        Amplitude: 1 for an attack, less for a repeat of the echo.
    begin, count : array of int
        The notes of each attack, or of the attack that a repeat repeats: how many they are, and
        where they begin in `rows`.
    rows : array of int
        Positions in the notes table.
    """

    onset: Array
    seconds: Array
    pitch: Array
    single: Array
    weight: Array
    begin: Array
    count: Array
    rows: Array

    def notes_of(self, attacks: Array) -> Array:
        """Return the notes of some attacks, as positions in the notes table."""
        return self.rows[each_of(self.begin[attacks], self.count[attacks])]


def streams(
    played: tuple[Array, Array, Array, Array], rows: Array, seconds: Array, parts: int
) -> list[Stream]:
    """The attacks of each part, in score order, from the notes that are played.

    Parameters
    ----------
    played : part, pitch, onset and end of each note
    rows : array of int
        Their positions in the notes table.
    seconds : array
        Their onsets.
    parts : int
        How many there are.
    """
    part, pitch, onset, _ = played
    order = np.lexsort((onset, part))
    begins = np.diff(seconds[order], prepend=-np.inf) > TOGETHER + ALMOST
    begins |= np.diff(part[order], prepend=-1) != 0
    first = np.flatnonzero(begins)
    chosen = order[first]
    size = np.diff(np.append(first, len(order)))
    top = np.maximum.reduceat(pitch[order], first) if len(first) else pitch
    bounds = np.searchsorted(part[chosen], np.arange(parts + 1))
    return [
        Stream(
            onset[own],
            seconds[own],
            top[span],
            size[span] == 1,
            np.ones(len(own)),
            first[span],
            size[span],
            rows[order],
        )
        for span in map(slice, bounds, bounds[1:])
        for own in (chosen[span],)
    ]


def with_echoes(song: Song, plain: list[Stream], part: Array, onset: Array) -> dict[int, Stream]:
    """The attacks and repeats of each part with an echo; where several coincide, the loudest.

    `part` and `onset` are those of the notes that are played.
    """
    echoed = {}
    for number in parts_with_echo(song):
        attack = np.unique(onset[part == number])
        repeats = echo_repeats(song, number, attack)
        if not len(repeats.onset):
            continue
        stream = plain[number]
        of = np.searchsorted(stream.onset, attack[repeats.attack], side="right") - 1
        seconds = np.append(stream.seconds, repeats.seconds)
        weight = np.append(stream.weight, amplitude(repeats.level))
        group = groups_of(seconds)
        order = np.lexsort((seconds, -weight, group))
        loudest = order[np.diff(group[order], prepend=-1) > 0]
        echoed[number] = Stream(
            np.append(stream.onset, repeats.onset)[loudest],
            seconds[loudest],
            np.append(stream.pitch, stream.pitch[of])[loudest],
            np.append(stream.single, stream.single[of])[loudest],
            weight[loudest],
            np.append(stream.begin, stream.begin[of])[loudest],
            np.append(stream.count, stream.count[of])[loudest],
            stream.rows,
        )
    return echoed


def lone_attacks(heard: Sequence[Stream]) -> Array:
    """How many attacks of each part (rows) coincide with none of another part (columns)."""
    times = np.unique(np.concatenate([np.empty(0), *(stream.seconds for stream in heard)]))
    attacks = np.zeros((len(heard), len(times)))
    for part, stream in enumerate(heard):
        attacks[part, np.searchsorted(times, stream.seconds)] = 1.0
    return np.asarray(attacks.sum(axis=1)[:, None] - attacks @ attacks.T)


def groups_of(seconds: Array) -> Array:
    """Number of the group that each time is in: from 0, one for all that come together."""
    order = np.argsort(seconds, kind="stable")
    group = np.empty(len(order), dtype=np.int64)
    group[order] = np.cumsum(np.diff(seconds[order], prepend=-np.inf) > TOGETHER + ALMOST) - 1
    return group
