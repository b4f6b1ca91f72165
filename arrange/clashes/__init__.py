"""Findings: where the parts of a song get in each other's way. A finding is something to
listen to, not a fault.

A new kind is one function in a file of its family and one line in ``_KINDS``.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from arrange.clashes.harmony import find_outside, find_thirds
from arrange.clashes.intervals import find_mud, find_rubs
from arrange.clashes.limits import DEFAULT_LIMITS, DISPUTED_LIMITS, LOW_INTERVAL_LIMITS, Limits
from arrange.clashes.lines import find_crossings, find_crowding, find_doublings
from arrange.clashes.places import find_in_bass, find_in_voice
from arrange.clashes.scene import Scene, findings_table
from arrange.errors import ArrangeError
from arrange.tables import Song

__all__ = ["DISPUTED_LIMITS", "LOW_INTERVAL_LIMITS", "Limits", "find_clashes"]

_KINDS = {
    "rub": find_rubs,
    "mud": find_mud,
    "crowding": find_crowding,
    "crossing": find_crossings,
    "doubling": find_doublings,
    "third": find_thirds,
    "outside": find_outside,
    "voice": find_in_voice,
    "bass": find_in_bass,
}


def find_clashes(
    song: Song, kinds: Sequence[str] | None = None, limits: Limits = DEFAULT_LIMITS
) -> pd.DataFrame:
    """Return what to listen to in a song, the most severe first.

    Parameters
    ----------
    song : Song
    kinds : sequence of str, optional
        Which kinds to look for: rub, mud, crowding, crossing, doubling, third,
        outside, voice, bass. Default: all.
    limits : Limits
        From which value on something is told.

    Returns
    -------
    DataFrame
        A findings table: ``describe("findings")`` tells its columns and units.

    Raises
    ------
    ArrangeError
        If a kind is unknown.
    """
    unknown = [kind for kind in kinds or () if kind not in _KINDS]
    if unknown:
        raise ArrangeError(f"no finding is of kind {unknown[0]!r}; there are {', '.join(_KINDS)}")
    scene = Scene(song)
    return findings_table(
        scene,
        [
            clash
            for kind, find in _KINDS.items()
            if kinds is None or kind in kinds
            for clash in find(scene, limits)
        ],
    )
