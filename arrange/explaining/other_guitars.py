"""What the other guitar does meanwhile, in a few words: chords or a line, above or below, together.

Worked out from what sounds; where more than two others play, nobody can listen to each.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from arrange.explaining.part_sections import Stay, own_and_others
from arrange.tables.song import Song, part_row
from arrange.tables.sounding import Array
from arrange.text.words import listed

MOST = 0.75  # of the attacks; ours
APART = 5.0  # semitones between the middles of two parts, from which one lies above; ours
_MOST_OTHERS = 2
_CHORD = 3  # notes
_DECIMALS = 4  # of a quarter note, to which attacks are together


def other_guitars(
    song: Song, part: str, stays: Sequence[Stay], known: Sequence[Sequence[str]]
) -> dict[str, list[str]]:
    """Return what the other guitars do in each section of a guitar, a few words each.

    Parameters
    ----------
    song : Song
    part : str
    stays : sequence of Stay
        The part's own, as ``part_stays`` gives them.
    known : sequence of sequences of str
        What is said of each section already; a part that is doubled is not described again.
    """
    table = song.parts
    if part_row(song, part)["family"] != "guitar":
        return {stay.section: [] for stay in stays}
    names = table["part"][(table["family"] == "guitar") & (table["part"] != part)].tolist()
    own, every = own_and_others(song, part)
    every = every[every["part"].isin(names) & every["pitch"].notna() & ~every["grace"]]
    mine = dict(list(own[own["pitch"].notna() & ~own["grace"]].groupby("section")))
    theirs = dict(list(every.groupby("section")))
    heard = set(every["part"])
    found: dict[str, list[str]] = {}
    for stay, said in zip(stays, known, strict=True):
        inside = theirs.get(stay.section, every[:0])
        present = set(inside["part"])
        playing = [name for name in names if name in present]
        words: list[str] = []
        if len(playing) <= _MOST_OTHERS:
            for name in playing:
                if not any(each.startswith(f"doubles {name} ") for each in said):
                    other = inside[inside["part"] == name]
                    words.append(f"{name}: {', '.join(_described(other, mine.get(stay.section)))}")
        if stay.plays and len(heard) <= _MOST_OTHERS:
            silent = [name for name in names if name in heard - set(playing)]
            if silent:
                words.append(f"{listed(silent)} {'lays' if len(silent) == 1 else 'lay'} out")
        found[stay.section] = words
    return found


def _described(other: pd.DataFrame, own: pd.DataFrame | None) -> Iterator[str]:
    """What one plays, and against one's own notes where and when."""
    onsets, notes = _attacks(other)
    if np.mean(notes >= _CHORD) >= MOST:
        what = "chords"
    elif np.mean(notes == 1) >= MOST:
        what = "single notes"
    elif np.mean(notes == 2) >= MOST:
        what = "two notes at once"
    else:
        what = "single notes and chords"
    if own is None or own.empty:
        yield what
        return
    higher = other["pitch"].median() - own["pitch"].median()
    where = " above you" if higher >= APART else " below you" if higher <= -APART else ""
    yield what + where
    together = np.isin(onsets, _attacks(own)[0]).mean()
    if together >= MOST:
        yield "struck with you"
    elif together <= 1 - MOST:
        yield "struck between yours"


def _attacks(notes: pd.DataFrame) -> tuple[Array, Array]:
    """When something is struck, and how many notes."""
    return np.unique(notes["onset"].to_numpy().round(_DECIMALS), return_counts=True)
