"""Rules for two pitches that sound together: do they rub, does a chord excuse it, are they muddy?

The finders use them for the notes of a song, a search for notes that could be played instead.
All functions take arrays of MIDI numbers in any order, and work on whole columns.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from arrange.tables.sounding import Array

NO_ROOT = -1  # no pitch class
_OCTAVE = 12


def is_rub(one: Array, other: Array) -> Array:
    """Return whether two pitches are a minor second, a minor ninth or a compound of them apart."""
    return np.asarray(np.mod(np.abs(one - other), _OCTAVE) == 1)


def rub_weight(one: Array, other: Array, excused_root: Array | int = NO_ROOT) -> Array:
    """Return how much a second of a rub counts, 0 where two pitches do not rub.

    1 where the lower pitch is C4, sqrt(2) an octave lower, between 0.5 and 2 (ours); 0 where the
    lower pitch is the excused root (``root_under_flat_nine``).
    """
    lower = np.minimum(one, other)
    counts = is_rub(one, other) & (np.mod(lower, _OCTAVE) != excused_root)
    return np.where(counts, np.clip(2.0 ** ((60 - lower) / 24), 0.5, 2.0), 0.0)


def root_under_flat_nine(kind: str, root: int, pitch_classes: Collection[int]) -> int:
    """Return the root of a dominant chord whose symbol holds a flat nine, else ``NO_ROOT``.

    That root may rub against what lies a minor ninth above it: the symbol asks for it.
    """
    asks = kind.startswith("dominant") and (root + 1) % _OCTAVE in pitch_classes
    return root if asks else NO_ROOT


def semitones_below(one: Array, other: Array, low_intervals: Mapping[int, int]) -> Array:
    """Return how far the lower pitch lies below the low interval limit of the two.

    0 or less where it does not; minus infinity where the interval has no limit. Quarter tones are
    compared with the nearest interval.
    """
    table = np.full(max(low_intervals, default=0) + 2, -np.inf)
    for size, limit in low_intervals.items():
        table[size] = limit
    size = np.minimum(np.rint(np.abs(one - other)).astype(np.int64), len(table) - 1)
    return np.asarray(table[size] - np.minimum(one, other))
