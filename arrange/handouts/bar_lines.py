"""Bar lines of a part: which may be cut, and which bars repeat the bar before."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from arrange.explaining.part_sections import bar_contents
from arrange.formats.musicxml.writing_layers import LEADING
from arrange.guitar.necks import Array
from arrange.handouts.excerpts import chords_within
from arrange.tables.song import Song

PLAYED = ("voice", "pitch", "string", "fret", "technique", "grace")  # of a note
_NEAR = 1e-6  # quarter notes


class BarLines(NamedTuple):
    """What holds for each measure of a song, in order.

    Parameters
    ----------
    is_closed : array of bool
        Its left bar line may not be cut: a note, a chord symbol, or a slide, hammer-on or
        pull-off goes over it, or meter or key is new there.
    is_same : list of bool
        It repeats the bar before: the same notes, none of them held over a line of the bar,
        under the same chord symbols.
    """

    is_closed: Array
    is_same: list[bool]


def bar_lines(song: Song, notes: pd.DataFrame) -> BarLines:
    """Return what holds for each measure of the song; `notes` are those of one part."""
    own = notes.sort_values("onset", kind="stable")
    after = own.groupby("string", dropna=False)["onset"].shift(-1).fillna(song.duration)
    leads = own["technique"].fillna("").str.contains("|".join(LEADING)).to_numpy(dtype=bool)
    onset = np.concatenate([own["onset"], own["onset"][leads]])
    end = np.concatenate([own["onset"] + own["duration"], after[leads] + 2 * _NEAR])
    is_crossed = _goes_over(song, onset, end)
    begun = song.chords["onset"].to_numpy()
    chords = _goes_over(song, begun, begun + song.chords["duration"].to_numpy())
    signs = song.measures[["meter", "key"]].fillna("")
    is_new = (signs != signs.shift()).any(axis=1).to_numpy()
    may_repeat = ~is_crossed & ~np.append(is_crossed[1:], False) & ~is_new
    return BarLines(is_crossed | chords | is_new, _same_as_before(song, notes, may_repeat))


def _goes_over(song: Song, onset: Array, end: Array) -> Array:
    """By measure, whether anything with these onsets and ends goes over its left bar line."""
    lines = song.measures["onset"].to_numpy()
    change = np.zeros(len(lines) + 1, dtype=np.int64)  # of how much goes over each line
    np.add.at(change, np.searchsorted(lines, onset + _NEAR), 1)
    np.add.at(change, np.searchsorted(lines, np.maximum(end, onset + 2 * _NEAR) - _NEAR), -1)
    return np.cumsum(change)[:-1] > 0


def _same_as_before(song: Song, notes: pd.DataFrame, may_repeat: Array) -> list[bool]:
    bars = bar_contents(song, notes, PLAYED)
    starts = song.measures["onset"].tolist()
    ends = [*starts[1:], song.duration]

    def is_same(bar: int) -> bool:
        if not (may_repeat[bar] and bars[bar][1] and bars[bar] == bars[bar - 1]):
            return False
        own, before = (chord_contents(song, starts[n], ends[n]) for n in (bar, bar - 1))
        return own == before

    return [bar > 0 and is_same(bar) for bar in range(len(bars))]


def repeated_bars(first: int, last: int, is_same: Sequence[bool], most: int) -> frozenset[int]:
    """Return the measures of a stretch that are drawn as the sign of the bar before.

    Only two or more in a row are drawn so, and in a long row every `most`-th is written again.
    """
    found: set[int] = set()
    for same, run in itertools.groupby(range(first + 1, last + 1), lambda bar: is_same[bar - 1]):
        bars = list(run)
        if same and len(bars) > 1:
            found.update(bar for bar in bars if (bar - bars[0] + 1) % most)
    return frozenset(found)


def chord_contents(song: Song, start: float, end: float) -> tuple[tuple[float, float, str], ...]:
    """Return the chords between two onsets: when after the first, for how long, their symbols."""
    rows, onset, length = chords_within(song, start, end)
    symbols = song.chords["symbol"].to_numpy()[rows].tolist()
    return tuple(zip((onset - start).round(6).tolist(), length.round(6).tolist(), symbols,
                     strict=True))  # fmt: skip
