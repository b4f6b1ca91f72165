"""Which sections of a part are printed once, since the same returns?

A section returns where it has as many bars as an earlier one and at least half of them hold the
same notes and chords; the other bars are named, to be printed below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrange.explaining.part_sections import Stay, bar_contents, own_notes
from arrange.tables.song import Song

_NEAR = 1e-6  # quarter notes
_MOST_DIFFERENT = 0.5  # share of its bars in which a section may differ from what it returns as


@dataclass(frozen=True)
class Return:
    """A section that is played as an earlier one.

    Parameters
    ----------
    stay : Stay
    contents : tuple
        What each of its bars holds, to be compared.
    different : tuple of int
        Its bars that are not the same, played measures.
    """

    stay: Stay
    contents: tuple[Any, ...]
    different: tuple[int, ...] = ()


def returning_sections(song: Song, part: str, stays: Sequence[Stay]) -> list[list[Return]]:
    """Return the sections of a part by what is printed once, in the order of the first of each.

    Parameters
    ----------
    song : Song
    part : str
    stays : sequence of Stay
        The part's own, as ``part_stays`` gives them. One in which it rests stands alone.
    """
    bars = _bars(song, part)
    found: list[list[Return]] = []
    for stay in stays:
        own = tuple(bars[stay.first - 1 : stay.last])
        nearest, different = None, tuple[int, ...]()
        for group in found if stay.plays else ():
            first = group[0].stay
            theirs = bars[first.first - 1 : first.last]
            if not first.plays or len(theirs) != len(own):
                continue
            pairs = zip(own, theirs, strict=True)
            other = tuple(stay.first + n for n, (here, there) in enumerate(pairs) if here != there)
            if nearest is None or len(other) < len(different):
                nearest, different = group, other
        if nearest is None or len(different) > _MOST_DIFFERENT * len(own):
            found.append([Return(stay, own)])
        else:
            nearest.append(Return(stay, own, different))
    return found


def _bars(song: Song, part: str) -> list[Any]:
    """What each bar holds, to be compared: notes, chords and key."""
    notes = bar_contents(song, own_notes(song, part))
    keys = song.measures["key"].fillna("").tolist()
    return list(zip(notes, _chords_by_bar(song), keys, strict=True))


def _chords_by_bar(song: Song) -> list[list[tuple[float, str]]]:
    """The chord symbols that hold in each bar, and from where in it, in quarter notes."""
    onsets = song.chords["onset"].to_numpy()
    ends = onsets + song.chords["duration"].to_numpy()
    starts = song.measures["onset"].to_numpy()
    first = np.searchsorted(starts, onsets + _NEAR, side="right") - 1
    last = np.searchsorted(starts, ends - _NEAR, side="left") - 1
    held: list[list[tuple[float, str]]] = [[] for _ in starts]
    for symbol, onset, begin, end in zip(
        song.chords["symbol"].tolist(), onsets.tolist(), first.tolist(), last.tolist(), strict=True
    ):
        for bar in range(begin, end + 1):
            held[bar].append((round(max(onset - starts[bar], 0.0), 6), symbol))
    return held
