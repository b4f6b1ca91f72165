"""Which sections of a part are printed once, since the same returns?

A section returns where it has as many bars as an earlier one, and as many with the same notes and
chords as with others; those are named, to be printed below it. Bars of rest do not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from arrange.explaining.part_sections import (
    Stay,
    bar_contents,
    chords_by_bar,
    is_mostly_same,
    own_notes,
)
from arrange.tables.song import Song


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
        nearest, different, is_near = None, tuple[int, ...](), False
        for group in found if stay.plays else ():
            first = group[0].stay
            theirs = bars[first.first - 1 : first.last]
            if not first.plays or len(theirs) != len(own):
                continue
            is_same = [here == there for here, there in zip(own, theirs, strict=True)]
            other = tuple(stay.first + n for n, same in enumerate(is_same) if not same)
            if nearest is None or len(other) < len(different):
                nearest, different = group, other
                is_near = is_mostly_same(is_same, [bool(notes) for (_, notes), *_ in own])
        if nearest is None or not is_near:
            found.append([Return(stay, own)])
        else:
            nearest.append(Return(stay, own, different))
    return found


def _bars(song: Song, part: str) -> list[Any]:
    """What each bar holds, to be compared: notes, chords and key."""
    notes = bar_contents(song, own_notes(song, part))
    keys, lines = song.measures["key"].fillna("").tolist(), song.measures["onset"].tolist()
    onsets, symbols = song.chords["onset"].tolist(), song.chords["symbol"].tolist()
    chords = [
        [(round(max(onsets[row] - line, 0.0), 6), symbols[row]) for row in rows]
        for line, rows in zip(lines, chords_by_bar(song), strict=True)
    ]  # where each holds from, in quarter notes
    return list(zip(notes, chords, keys, strict=True))
