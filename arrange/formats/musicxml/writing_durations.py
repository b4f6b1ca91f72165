"""Time as it stands in a file: divisions of a quarter note, and note values with dots and tuplets.

A length that is no single note value is cut at the beat, so that a reader sees where the
beats lie, and then into as few values as there are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np

from arrange.formats.musicxml.attributes import MOST_DIVISIONS
from arrange.formats.musicxml.events import Array

# Times come as the nearest floating-point numbers to fractions with denominators below this.
_MOST_DENOMINATOR = 20_000
# Where the times have no common grid: fine enough for 128th notes, their triplets,
# quintuplets and septuplets.
_FALLBACK_DIVISIONS = 32 * 9 * 5 * 7

# MusicXML note-type-value, from 16 quarter notes down, each half of the one before. Its 512th and
# 1024th are left out: partitura knows neither, and lengths that need them come of rounding.
_TYPES = ("long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th",
          "256th")  # fmt: skip
_LONGEST = 16
# Tuplets: so many in the time of so many.
_TUPLETS = {1: (1, 1), 3: (3, 2), 5: (5, 4), 7: (7, 4), 9: (9, 8)}


@dataclass(frozen=True)
class Value:
    """A note value: ``Value("eighth", 0, 3, 2)`` is an eighth in a triplet."""

    type: str
    dots: int = 0
    actual: int = 1
    normal: int = 1


# Lengths in quarter notes of one value, longest first.
_VALUES = sorted(
    (
        (Fraction(_LONGEST, 2**at) * (2 - Fraction(1, 2**dots)), Value(name, dots))
        for at, name in enumerate(_TYPES)
        for dots in (0, 1, 2)
    ),
    key=lambda pair: -pair[0],
)


def find_divisions(times: Array) -> tuple[int, bool]:
    """Return divisions of a quarter note in which all times are whole, and whether they are.

    Parameters
    ----------
    times : array of float
        Quarter notes.
    """
    divisions = 1
    for time in np.unique(np.round(times % 1.0, 10)).tolist():
        denominator = Fraction(time).limit_denominator(_MOST_DENOMINATOR).denominator
        divisions = math.lcm(divisions, denominator)
        if divisions > MOST_DIVISIONS:
            return _FALLBACK_DIVISIONS, False
    return divisions, True


@lru_cache(maxsize=65_536)
def cut_into_values(
    offset: int, length: int, divisions: int, beat: int
) -> tuple[tuple[int, Value | None], ...]:
    """Return the note values, in order, that make up a length, each with its own length.

    Parameters
    ----------
    offset : int
        Where it begins, in divisions behind a beat.
    length : int
        In divisions.
    divisions : int
        Of a quarter note.
    beat : int
        Length of a beat in divisions.

    Returns
    -------
    tuple of (length, Value)
        The lengths add up; a length of no note value stands with None.
    """
    values = _values(Fraction(length, divisions))
    if len(values) > 1:
        to_beat = -offset % beat
        beats = length // beat * beat
        first = to_beat if 0 < to_beat < length else beats
        if 0 < first < length:
            return (
                *cut_into_values(offset % beat, first, divisions, beat),
                *cut_into_values((offset + first) % beat, length - first, divisions, beat),
            )
    parts = [(quarters * divisions, value) for quarters, value in values]
    if not parts or any(part.denominator > 1 for part, _ in parts):
        return ((length, None),)
    return tuple((int(part), value) for part, value in parts)


def _values(quarters: Fraction) -> list[tuple[Fraction, Value]]:
    """The fewest values that add up to a length, longest first; none where no values do."""
    odd = quarters.denominator
    while odd % 2 == 0:
        odd //= 2
    actual, normal = _TUPLETS.get(odd, (0, 1))
    rest = quarters * actual / normal
    found: list[tuple[Fraction, Value]] = []
    for size, value in _VALUES:
        while actual and size <= rest:
            found.append((size * normal / actual, Value(value.type, value.dots, actual, normal)))
            rest -= size
    return found if rest == 0 else []
