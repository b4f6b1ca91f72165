"""What the hand holds and a pick cannot strike in one stroke: where, why, and what would do.

The fewest notes are named to be left out: not the top note and not the lowest if that can be,
rather a note that sounds in another octave too. They keep their places, for somebody who plays with
the fingers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np

from arrange.guitar.fingering.moments import Moment, Stroke
from arrange.guitar.fingering.ways import Ways
from arrange.guitar.hands import THUMB, Hand
from arrange.guitar.necks import Array
from arrange.guitar.picking import MOST_ABOVE_PALM, MOST_PASSED, in_one_stroke
from arrange.tables.song import Song
from arrange.text.words import listed

_OCTAVE = 12


@dataclass(frozen=True)
class _Held:
    """What both hands do at one moment.

    Parameters
    ----------
    struck : dict of string to Stroke
    ringing : set of int
        Strings that ring on from before.
    fingers : dict of string to finger
        Of the strings that are fretted.
    hand : Hand
    """

    struck: dict[int, Stroke]
    ringing: set[int]
    fingers: dict[int, int]
    hand: Hand

    @classmethod
    def of(cls, moment: Moment, way: Ways, hand: Hand) -> _Held:
        """Return what they do in one way to play a moment."""
        strings = [int(string) for string in way.string[0]]
        fingers = {s: int(f) for s, f in zip(strings, way.finger[0], strict=True) if s and f}
        struck = dict(zip(strings, moment.struck, strict=False))
        return cls(struck, set(strings[len(struck) :]) - {0}, fingers, hand)

    def can_be_picked(self, out: Iterable[int] = ()) -> bool:
        """Return whether a pick can strike it without some of the strings."""
        left = self.struck.keys() - set(out)
        if _palm_and_far(self.struck[string] for string in left):
            return False
        fingers = {s: f for s, f in self.fingers.items() if s in left | self.ringing}
        free = self.hand.fingers - len(set(fingers.values()) - {THUMB})
        return bool(
            in_one_stroke(_bits(left), _bits(self.ringing), _bits(fingers), np.array([free]))[0]
        )

    def to_leave_out(self) -> tuple[int, ...]:
        """Return the fewest strings without which a pick can strike the others."""
        every = sorted(self.struck)
        able = (
            min(found, key=self._regret)
            for count in range(1, len(every))
            if (found := [o for o in combinations(every, count) if self.can_be_picked(o)])
        )
        return next(able)  # one note can always be struck

    def _regret(self, out: Sequence[int]) -> tuple[bool, bool, int]:
        """Whether the top note and the lowest are left out, and how many sound in no octave."""
        pitches = {string: stroke.pitch for string, stroke in self.struck.items()}
        left = {pitch % _OCTAVE for string, pitch in pitches.items() if string not in out}
        gone = [pitches[string] for string in out]
        alone = sum(pitch % _OCTAVE not in left for pitch in gone)
        return max(pitches.values()) in gone, min(pitches.values()) in gone, alone

    def why_not(self, names: Mapping[int, str]) -> str:
        """Return what the pick would have to do; `names` are those of the notes, by string."""
        if _palm_and_far(self.struck.values()):
            palm = max(string for string, stroke in self.struck.items() if stroke.palm)
            far = min(string for string, stroke in self.struck.items() if not stroke.palm)
            return f"strike {names[palm]} under the palm and {names[far]}, far above it, at once"
        gaps = [range(high + 1, low) for high, low in pairwise(sorted(self.struck))]
        passed = {string for gap in gaps for string in gap}
        rings = sorted(self.ringing & passed)
        if rings:
            return f"strike {_named(rings)} anew, which {'ring' if rings[1:] else 'rings'} on"
        beside = {string + way for string in self.fingers for way in (-1, 1)}
        far_gaps = {string for gap in gaps if len(gap) > MOST_PASSED for string in gap}
        return f"skip {_named(sorted(far_gaps or passed - beside))}"


def _palm_and_far(strokes: Iterable[Stroke]) -> bool:
    """Whether a note rings too far above one under the palm."""
    every = list(strokes)
    lowest = min((stroke.pitch for stroke in every if stroke.palm), default=np.inf)
    highest = max((stroke.pitch for stroke in every if not stroke.palm), default=-np.inf)
    return highest - lowest > MOST_ABOVE_PALM


def find_unpicked(
    song: Song, moments: Sequence[Moment], ways: Sequence[Ways], hand: Hand
) -> dict[int, str]:
    """Return why notes cannot be struck together with a pick, by row.

    `ways` has the one way taken at each moment.
    """
    problems: dict[int, str] = {}
    for moment, way in zip(moments, ways, strict=True):
        if not moment.picked or (way.one_stroke[0] and not _palm_and_far(moment.struck)):
            continue
        held = _Held.of(moment, way, hand)
        out = held.to_leave_out()
        names = {s: song.note_name(stroke.pitch, moment.onset) for s, stroke in held.struck.items()}
        measure = int(np.searchsorted(song.measures["onset"], moment.onset, side="right"))
        sentence = (
            f"at beat {float(song.beat(moment.onset, measure)):g} the pick would have to "
            f"{held.why_not(names)}; with fingers it can be played, or leave out "
            f"{listed(names[string] for string in out)}"
        )
        for string in out:
            problems.update(dict.fromkeys(held.struck[string].rows, sentence))
    return problems


def _bits(strings: Iterable[int]) -> Array:
    return np.array([sum(1 << string for string in strings)])


def _named(strings: Sequence[int]) -> str:
    return ("strings " if strings[1:] else "string ") + listed(map(str, strings))
