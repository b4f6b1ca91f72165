"""Findings: where the parts of a song get in each other's way. A finding is something to
listen to, not a fault.

Severity runs from 0 to 1 and compares across kinds: for nearly all it is ``scene.grows`` of the
value over its limit, so that what has just reached its limit has 0.29, twice that 0.5, four times
0.75. Two are told apart by their nature: ``crowding`` is a share of time and stands for itself,
``doubling`` is never a fault and stays below a half, an exact one below a fifth. What the value
of a kind is stands with its function.

A new kind is one function in a file of its family and one line in ``_KINDS``.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import pandas as pd

from arrange.clashes.harmony import find_outside, find_thirds
from arrange.clashes.intervals import find_mud, find_rubs
from arrange.clashes.limits import DEFAULT_LIMITS, DISPUTED_LIMITS, LOW_INTERVAL_LIMITS, Limits
from arrange.clashes.lines import find_crossings, find_crowding, find_doublings
from arrange.clashes.places import find_in_bass, find_in_voice
from arrange.clashes.rhythm import find_busy, find_fusing, find_near
from arrange.clashes.scene import Clash, Scene, findings_table
from arrange.clashes.sonority import find_drive, find_masking, find_roughness
from arrange.errors import ArrangeError
from arrange.tables import Song

__all__ = ["DISPUTED_LIMITS", "LOW_INTERVAL_LIMITS", "Limits", "find_clashes"]

_KINDS = {
    "rub": find_rubs,
    "mud": find_mud,
    "roughness": find_roughness,
    "crowding": find_crowding,
    "masking": find_masking,
    "crossing": find_crossings,
    "doubling": find_doublings,
    "third": find_thirds,
    "outside": find_outside,
    "drive": find_drive,
    "voice": find_in_voice,
    "bass": find_in_bass,
    "near": find_near,
    "busy": find_busy,
    "fusing": find_fusing,
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
        outside, voice, bass, near, busy, fusing, roughness, masking, drive. Default: all.
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
    return findings_table(scene, list_clashes(scene, _KINDS if kinds is None else kinds, limits))


def list_clashes(scene: Scene, kinds: Collection[str], limits: Limits) -> list[Clash]:
    """Return the clashes of some kinds one by one, in the order of the kinds, not yet a table."""
    return [
        clash for kind, find in _KINDS.items() if kind in kinds for clash in find(scene, limits)
    ]
