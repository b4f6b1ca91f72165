"""Findings: where the parts of a song get in each other's way. A finding is something to
listen to, not a fault.

Severity runs from 0 to 1 and compares across kinds: it says how rare it is that well-made music
goes so far. Fewer than one passage in N does, and severity is 1 - N ** (-1 / 5): a half at one in
32, three quarters at one in a thousand. A few kinds cannot be compared, and are measured by value
over limit (``rarity`` says which and how). ``voice`` is weighed by how much a part is in the way.
``doubling`` is never a fault: its severity stays below a half, that of one that is meant below
0.14. The function of each kind says what its value is.

``kinds`` has a row for each kind, with its finder; ``table`` makes the findings table.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from arrange.clashes.kinds import EVIDENCE, GROUPS, KINDS, MOVES, Kind
from arrange.clashes.limits import (
    DEFAULT_LIMITS,
    DISPUTED_LIMITS,
    LOW_INTERVAL_LIMITS,
    Limits,
    low_interval_table,
)
from arrange.clashes.scene import Scene
from arrange.clashes.table import find_in
from arrange.errors import ArrangeError
from arrange.song_size import MOST_MEETINGS
from arrange.tables.song import Song

__all__ = [
    "DISPUTED_LIMITS",
    "EVIDENCE",
    "GROUPS",
    "KINDS",
    "LOW_INTERVAL_LIMITS",
    "MOVES",
    "Kind",
    "Limits",
    "find_clashes",
    "find_in",
    "low_interval_table",
]


def find_clashes(
    song: Song, kinds: Sequence[str] | None = None, limits: Limits = DEFAULT_LIMITS
) -> pd.DataFrame:
    """Return what to listen to in a song, the most severe first.

    Parameters
    ----------
    song : Song
    kinds : sequence of str, optional
        Which kinds to look for, keys of ``KINDS``. Default: all.
    limits : Limits
        The values from which on findings are reported.

    Returns
    -------
    DataFrame
        A findings table: ``describe("findings")`` gives its columns and units.

    Raises
    ------
    ArrangeError
        If a kind is unknown, or more parts sound together for longer than can be compared.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> findings = ar.find_clashes(song, ["crossing", "rub"])
    >>> findings[["section", "measure", "kind", "parts"]].head(2)
            section  measure      kind                parts
    0  Instrumental       61  crossing  Guitar 1 + Guitar 2
    1  Pre-chorus 1       22       rub  Guitar 1 + Guitar 2
    """
    unknown = [kind for kind in kinds or () if kind not in KINDS]
    if unknown:
        raise ArrangeError(f"no finding is of kind {unknown[0]!r}; there are {', '.join(KINDS)}")
    scene = Scene(song)
    if scene.meetings > MOST_MEETINGS:
        raise ArrangeError(
            f"{len(song.parts)} parts over {len(song.measures):,} measures are too much to "
            f"compare: two of them sound together {scene.meetings:,} times, and {MOST_MEETINGS:,} "
            "is the most; take out parts or measures that you do not ask about"
        )
    return find_in(scene, KINDS if kinds is None else kinds, limits)
