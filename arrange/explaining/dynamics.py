"""How loud is each section, in a word: softer, louder, full, building?

The word comes from the energy curve alone (``song_energy``), in shares of the song's fullest
section. The limits are ours, set by the figures of the demo songs:

- ``full`` within 0.1 of the fullest section, if not all are;
- ``softer``, ``louder`` at least 0.12 under or over the section before;
- ``building`` where the second half of the section lies at least 0.2 over its first half.

A section of none of these goes on as the one before, and has no word. Up and down are left to
strokes and to the neck.
"""

from __future__ import annotations

import numpy as np

from arrange.quantities.texture import song_energy
from arrange.tables.song import Song
from arrange.text.words import listed

_FULL = 0.1
_STEP = 0.12
_BUILD = 0.2
_LEAST_BARS = 4  # of a section that can build
_NEAR = 1e-9


def dynamics_words(song: Song) -> dict[str, str]:
    """Return for each section ``"softer"``, ``"louder"``, ``"full"``, ``"building"``, two, or
    nothing."""
    energy = song_energy(song)["energy"].fillna(0.0).to_numpy()
    bars = song_energy(song, by="measure")["energy"].fillna(0.0).to_numpy()
    fullest = max(float(energy.max(initial=0.0)), _NEAR)
    shares, steps = energy / fullest, np.diff(energy, prepend=energy[:1]) / fullest
    is_even = shares.min(initial=1.0) >= 1 - _FULL - _NEAR
    found = {}
    for row, share, step in zip(song.sections.itertuples(), shares, steps, strict=True):
        own = bars[row.first_measure - 1 : row.last_measure] / fullest
        half = len(own) // 2
        builds = len(own) >= _LEAST_BARS and own[-half:].mean() - own[:half].mean() >= _BUILD
        is_full = share >= 1 - _FULL - _NEAR and not is_even
        level = "full" if is_full else _step_word(step)
        found[row.section] = listed(filter(None, [level, "building" if builds else ""]))
    return found


def _step_word(step: float) -> str:
    return "softer" if step <= -_STEP else "louder" if step >= _STEP else ""
