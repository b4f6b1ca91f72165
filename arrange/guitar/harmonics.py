"""Natural harmonics: where an open string is touched, and what it sounds then (common practice).

Touched over a fret, a string sounds an octave above its open note at 12, an octave and a fifth at 7
and 19, two octaves at 5 and 24, two octaves and a major third at 4, 9 and 16; from the capo, where
there is one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from arrange.guitar.necks import Array, Neck

ABOVE = {12: 12, 7: 19, 5: 24, 19: 19, 9: 28, 4: 28, 24: 24, 16: 28}  # semitones, by fret
NAME = "harmonic"  # the technique
_ABOVE = pd.Series(ABOVE, dtype=float)


def natural_places(pitch: float, neck: Neck) -> list[tuple[int, int]]:
    """Return each (string, fret) over which a pitch sounds as a natural harmonic.

    Examples
    --------
    >>> natural_places(64, Neck())  # E4
    [(6, 5), (5, 7), (5, 19), (6, 24)]
    """
    return [
        (string, neck.capo + node)
        for node, above in ABOVE.items()
        for string, opened in enumerate(neck.tuning, 1)
        if opened + neck.capo + above == pitch and neck.capo + node <= neck.last_fret(string)
    ]


def harmonic_pitches(opened: Any, frets: Any) -> Array:
    """Return what strings sound that are touched over frets from the capo; NaN for no harmonic.

    Parameters
    ----------
    opened, frets : sequences of numbers
        The pitch of each string, open at the nut or at the capo.
    """
    above = _ABOVE.reindex(np.asarray(frets, dtype=float)).to_numpy()
    return np.asarray(opened, dtype=float) + above
