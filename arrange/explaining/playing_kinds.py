"""What is it that a part plays in a section: strummed chords, a line, octaves, a drone ...?

Decided on the fingered notes, by the first rule that at least ``MOST`` of the attacks keep:

- rest: nothing is struck;
- harmonics: all notes of an attack are harmonics;
- muted pulse: all notes of an attack are muted or palm-muted;
- octaves: two notes, twelve semitones apart;
- power chords: a lowest note with fifths and octaves above it, a fifth at least;
- drone over a moving line: two notes, one string at the same fret in all of these attacks, on the
  others three pitches or more;
- double stops: two notes;
- triads: three notes that are a major, minor, diminished, augmented or suspended triad;
- held chords: three notes or more, struck two beats or more apart in the middle (median);
- strummed chords: three notes or more;
- picked chords: one or two notes, each part of a shape of three strings or more in which no string
  needs a second fret and the frets held lie within a hand;
- held notes: one note, struck two beats or more apart in the middle;
- line: one note.

What keeps none of them is single notes and chords in turn. The names are the trade's (common
practice), the shares and limits ours.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

import numpy as np

from arrange.explaining.attacks import NEAR, Attack
from arrange.guitar.harmonics import NAME

MOST = 0.75  # of the attacks
HAND_FRETS = 4  # from the lowest to the highest fret of a shape that is picked
LONG_BEATS = 2.0

REST, HARMONICS, MUTED, OCTAVES, POWER, DRONE, DOUBLE = (
    "rest", "harmonics", "muted pulse", "octaves", "power chords", "drone over a moving line",
    "double stops",
)  # fmt: skip
TRIADS, HELD, STRUMMED, PICKED, NOTES, LINE, MIXED = (
    "triads", "held chords", "strummed chords", "picked chords", "held notes", "line",
    "single notes and chords in turn",
)  # fmt: skip

_TRIADS = {
    frozenset(pitches)
    for pitches in ((0, 4, 7), (0, 3, 7), (0, 3, 6), (0, 4, 8), (0, 5, 7), (0, 2, 7))
}
_LEAST_SHAPE = 3  # strings
_LINE_PITCHES = 3  # that a line over a drone has at least


def playing_kind(attacks: Sequence[Attack], beat: float) -> str:
    """Return what a passage is; `beat` is the beat that players count, in quarter notes.

    See the module's docstring for the rules.
    """
    if not attacks:
        return REST
    for kind, holds in _RULES:
        if _share(attacks, holds) >= MOST:
            return kind
    if _drones(attacks):
        return DRONE
    if _share(attacks, lambda attack: len(attack.notes) == 2) >= MOST:
        return DOUBLE
    if _share(attacks, _is_triad) >= MOST:
        return TRIADS
    is_long = _is_long(attacks, beat)
    if _share(attacks, lambda attack: len(attack.notes) > 2) >= MOST:
        return HELD if is_long else STRUMMED
    if _is_picked(attacks):
        return PICKED
    if _share(attacks, lambda attack: len(attack.notes) == 1) >= MOST:
        return NOTES if is_long else LINE
    return MIXED


def _share(attacks: Sequence[Attack], holds: Callable[[Attack], bool]) -> float:
    return sum(map(holds, attacks)) / len(attacks)


def is_octave(pitches: Sequence[float]) -> bool:
    """Return whether pitches are two, an octave apart."""
    return len(pitches) == 2 and abs(pitches[0] - pitches[1]) == 12


def is_power(pitches: Sequence[float]) -> bool:
    """Return whether pitches are a lowest one and fifths and octaves above it, a fifth at least."""
    lowest = min(pitches)
    return {(pitch - lowest) % 12 for pitch in pitches} == {0, 7}


def _pitches(attack: Attack) -> list[float]:
    return [note.pitch for note in attack.notes]


def _is_triad(attack: Attack) -> bool:
    if len(attack.notes) != 3:
        return False
    pitches = {note.pitch % 12 for note in attack.notes}
    return any(frozenset((pitch - root) % 12 for pitch in pitches) in _TRIADS for root in pitches)


_RULES: tuple[tuple[str, Callable[[Attack], bool]], ...] = (
    (HARMONICS, lambda attack: NAME in attack.techniques),
    (MUTED, lambda attack: attack.is_muted),
    (OCTAVES, lambda attack: is_octave(_pitches(attack))),
    (POWER, lambda attack: is_power(_pitches(attack))),
)  # fmt: skip


def _drones(attacks: Sequence[Attack]) -> bool:
    pairs = [attack.notes for attack in attacks if len(attack.notes) == 2]
    places = Counter((note.string, note.fret) for notes in pairs for note in notes)
    if not places:
        return False
    drone, times = places.most_common(1)[0]
    moving = {
        note.pitch
        for notes in pairs
        if drone in [(each.string, each.fret) for each in notes]
        for note in notes
        if (note.string, note.fret) != drone
    }
    return times >= MOST * len(attacks) and len(moving) >= _LINE_PITCHES


def _is_long(attacks: Sequence[Attack], beat: float) -> bool:
    """Whether attacks come two beats or more apart, the last one until its end."""
    onsets = [attack.onset for attack in attacks]
    gaps = np.diff([*onsets, max(attacks[-1].end, onsets[-1])])
    return bool(np.median(gaps) >= LONG_BEATS * beat - NEAR)


def _is_picked(attacks: Sequence[Attack]) -> bool:
    """Whether most attacks are one or two notes of a shape that a hand holds meanwhile."""
    shapes: list[dict[int, int]] = []
    held: dict[int, int] = {}  # the same without open strings
    sizes: list[int] = []  # attacks of one or two notes, by shape
    for attack in attacks:
        own = {note.string: note.fret for note in attack.notes if note.finger}
        fits = shapes and all(
            shapes[-1].get(string, fret) == fret for string, fret in attack.places
        )
        if not fits or not _within_a_hand(held | own):
            shapes.append({})
            sizes.append(0)
            held = {}
        held |= own
        shapes[-1].update(attack.places)
        sizes[-1] += len(attack.notes) <= 2
    in_shapes = sum(
        size for shape, size in zip(shapes, sizes, strict=True) if len(shape) >= _LEAST_SHAPE
    )
    return in_shapes >= MOST * len(attacks)


def _within_a_hand(held: dict[int, int]) -> bool:
    return not held or max(held.values()) - min(held.values()) <= HAND_FRETS
