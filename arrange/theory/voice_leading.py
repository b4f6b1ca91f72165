"""How far do the voices move from one chord to the next, at least?

A chord is a set of pitch classes (C is 0), and a voice goes the short way round the octave. The
size is the sum of the semitones that all voices move (the "taxicab" size). With doubling, a note
of either chord may be the start or the end of several voices; one to one, each note has one voice.
Some smallest voice leading has no crossing, so that both are found along the circle of pitch
classes, by dynamic programming or by turning one chord against the other.

References
----------
D. Tymoczko (2006), The geometry of musical chords, Science 313, 72-74, with its supplement: the
size, why no crossing is needed, and the search with doubling.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from arrange.errors import ArrangeError

_OCTAVE = 12


@dataclass(frozen=True)
class VoiceLeading:
    """One way from chord to chord.

    Parameters
    ----------
    size : int
        Semitones that all voices move together.
    voices : tuple of (int, int)
        Pitch class before and after, of each voice.
    """

    size: int
    voices: tuple[tuple[int, int], ...]


def smallest_voice_leading(
    before: Iterable[int], after: Iterable[int], *, doubling: bool = True
) -> VoiceLeading:
    """Return the smallest voice leading between two chords.

    Parameters
    ----------
    before, after : iterable of int
        Pitch classes; any whole number stands for its class, and a class counts once.
    doubling : bool
        Whether a note may take part in several voices.

    Raises
    ------
    ArrangeError
        If a chord has no notes, or without doubling their numbers differ.

    Examples
    --------
    >>> smallest_voice_leading((0, 4, 7, 11), (4, 8, 11, 3)).size
    3
    >>> smallest_voice_leading((0, 4, 7, 11), (4, 8, 11, 3), doubling=False).size
    4
    """
    one = sorted({int(note) % _OCTAVE for note in before})
    other = sorted({int(note) % _OCTAVE for note in after})
    if not one or not other:
        raise ArrangeError("a chord without notes; give pitch classes, such as (0, 4, 7) for C")
    if not doubling and len(one) != len(other):
        raise ArrangeError(
            f"chords of {len(one)} and {len(other)} notes have no voice leading one to one; "
            "allow doubling"
        )
    turns = [other[turn:] + other[:turn] for turn in range(len(other))]
    if doubling:
        ways = [_with_doubling(one, turned) for turned in turns]
    else:
        ways = [tuple(zip(one, turned, strict=True)) for turned in turns]
    voices = min(ways, key=lambda way: sum(_way(*voice) for voice in way))
    return VoiceLeading(sum(_way(*voice) for voice in voices), voices)


def _way(before: int, after: int) -> int:
    """Semitones from one pitch class to another, the short way round."""
    up = (after - before) % _OCTAVE
    return min(up, _OCTAVE - up)


def _with_doubling(one: list[int], other: list[int]) -> tuple[tuple[int, int], ...]:
    """The smallest once round the circle, in which the first notes of both make a voice.

    Both chords come back to their first notes at the end; that voice is counted once.
    """
    rows, columns = [*one, one[0]], [*other, other[0]]
    best: dict[tuple[int, int], tuple[int, tuple[tuple[int, int], ...]]] = {}
    for row, before in enumerate(rows):
        for column, after in enumerate(columns):
            steps = ((row - 1, column - 1), (row - 1, column), (row, column - 1))
            known = [best[step] for step in steps if step in best]
            size, voices = min(known, default=(0, ()), key=lambda way: way[0])
            best[row, column] = size + _way(before, after), (*voices, (before, after))
    return best[len(one), len(other)][1][:-1]
