"""Octaves and power chords as one shape that the hand puts at one fret after the other.

A shape is known by its lowest string; the line that goes with it says at which fret that string is
held. A passage is read so where every attack is such a shape, each lowest string has one shape
alone, and there are more places than shapes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from arrange.explaining.playing_kinds import OCTAVES, POWER, is_octave, is_power
from arrange.guitar.necks import Neck

MOST = 3  # shapes in a passage; ours
_CIRCLED = "①②③④⑤⑥⑦⑧⑨⑩"  # a string's number (common practice)


@dataclass(frozen=True)
class MovableShape:
    """A shape without a fret.

    Parameters
    ----------
    kind : str
        ``OCTAVES`` or ``POWER`` of ``playing_kinds``.
    above : tuple of (string, frets)
        Low string first; by how many frets each string is above the lowest one.
    fingers : tuple of int
        Of the same strings, as most often in the passage; 0 for none.
    is_constant : bool
        Whether it has these fingers wherever no string is open.
    """

    kind: str
    above: tuple[tuple[int, int], ...]
    fingers: tuple[int, ...]
    is_constant: bool

    @property
    def string(self) -> int:
        """The lowest string."""
        return self.above[0][0]


def circled(string: int) -> str:
    """Return how a sheet writes a string's number."""
    return _CIRCLED[string - 1]


def movable_shapes(
    attacks: Sequence[Mapping[int, tuple[int, int]]], neck: Neck
) -> tuple[MovableShape, ...]:
    """Return the shapes of a passage, lowest string first; none where it is not made of them.

    Parameters
    ----------
    attacks : sequence of mapping of string to (fret, finger)
        Fingers as ``finger_part`` gives them, -1 where none is known.
    neck : Neck
    """
    fingers: dict[int, Counter[tuple[int, ...]]] = {}
    open_fingers: dict[int, tuple[int, ...]] = {}
    kinds: dict[int, tuple[str, tuple[tuple[int, int], ...]]] = {}
    places = set()
    for attack in attacks:
        low_first = sorted(attack.items(), reverse=True)
        kind = _kind([neck.tuning[string - 1] + fret for string, (fret, _) in low_first])
        string, (lowest, _) = low_first[0]
        above = tuple((each, fret - lowest) for each, (fret, _) in low_first)
        if not kind or kinds.setdefault(string, (kind, above)) != (kind, above):
            return ()
        places.add((string, lowest))
        own = tuple(finger for _, (_, finger) in low_first)
        if all(fret > neck.capo for _, (fret, _) in low_first):
            fingers.setdefault(string, Counter())[own] += 1
        open_fingers.setdefault(string, own)
    if not len(kinds) < len(places) or len(kinds) > MOST:
        return ()
    found = []
    for string, (kind, above) in sorted(kinds.items(), reverse=True):
        known = fingers.get(string, Counter([open_fingers[string]]))
        often = known.most_common(1)[0][0]
        often = often if min(often) >= 0 else (0,) * len(often)
        found.append(MovableShape(kind, above, often, len(known) == 1))
    return tuple(found)


def _kind(pitches: Sequence[int]) -> str:
    """What a shape is whose lowest string has the lowest pitch."""
    if pitches[0] != min(pitches):
        return ""
    return OCTAVES if is_octave(pitches) else POWER if is_power(pitches) else ""
