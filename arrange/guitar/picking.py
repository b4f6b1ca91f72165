"""What the picking hand sounds in one stroke, with a pick or with its fingers.

Fingers sound any strings together. A pick passes every string between the outermost that it
sounds, and each of those has to sound too, or be silent under the fretting hand (common practice,
after the mechanics of a stroke; how fast a pick can stroke is not judged):

- of one or two strings between two that sound, each is silenced by the finger on the next lower
  string, which leans on it, by the tip of the one on the next higher, or by a finger that holds
  nothing and lies there, as between the notes of an octave; each such place takes a finger;
- three or more between two that sound are not passed: these are pinched with the fingers, or with
  pick and fingers;
- a string that rings on from before is not passed, since it would be struck anew;
- what the palm mutes and what rings more than an octave above it are not struck at once: palm and
  pick stay at the low strings, and a line far above a pulse takes a finger.
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import pairwise

import numpy as np

from arrange.guitar.necks import Array

PICKS = ("pick", "fingers")

MOST_PASSED = 2  # strings between two that sound
MOST_ABOVE_PALM = 12  # semitones from what the palm mutes to what rings in the same stroke

# Guitars and their relatives that are played with the fingers (common practice).
_FINGERED = re.compile(
    r"\b(classic(al)?|nylon|spanish|flamenco|konzertgitarre|lute|laute|vihuela|ukulele|banjo)\b",
    re.IGNORECASE,
)
_NYLON = 25  # General MIDI program of the guitar with nylon strings, from 1


def usual_picks(instrument: str, family: str = "guitar", program: int | None = None) -> str:
    """Return how an instrument is played where nobody says: a guitar with a pick, if not classical.

    Examples
    --------
    >>> usual_picks("electric guitar"), usual_picks("Classical Guitar"), usual_picks("", "bass")
    ('pick', 'fingers', 'fingers')
    """
    is_fingered = family != "guitar" or program == _NYLON or _FINGERED.search(instrument)
    return "fingers" if is_fingered else "pick"


def in_one_stroke(struck: Array, ringing: Array, held: Array, free: Array) -> Array:
    """Return whether a pick sounds the strings struck, and no others, in one stroke.

    Parameters
    ----------
    struck, ringing, held : array of int
        Strings that are struck, that ring on from before, and that a finger holds, as bits: string
        1 is bit 1.
    free : array of int
        Fingers of the fretting hand that hold nothing.
    """
    passed, is_far = _passed(int(np.max(struck, initial=0)).bit_length())
    alone = passed[struck] & ~(held >> 1 | held << 1)
    places = np.bitwise_count(alone & ~(alone << 1))  # neighbours lie under one finger
    result: Array = ~is_far[struck] & (places <= free) & (passed[struck] & ringing == 0)
    return result


def strings_passed(struck: Array) -> Array:
    """Return the strings that a pick passes between those that it sounds, as bits."""
    return _passed(int(np.max(struck, initial=0)).bit_length())[0][struck]


def strings_too_far(struck: Array) -> Array:
    """Return whether more strings lie between two that are struck than any pick passes."""
    return _passed(int(np.max(struck, initial=0)).bit_length())[1][struck]


@lru_cache(maxsize=16)
def _passed(bits: int) -> tuple[Array, Array]:
    """For each set of strings: those between them, and whether there are too many somewhere."""
    passed = np.zeros(1 << bits, dtype=np.int32)
    is_far = np.zeros(1 << bits, dtype=bool)
    for struck in range(1 << bits):
        strings = [string for string in range(bits) if struck >> string & 1]
        for high, low in pairwise(strings):
            passed[struck] |= (1 << low) - (1 << high + 1)
            is_far[struck] |= low - high - 1 > MOST_PASSED
    return passed, is_far
