"""The chords of each section, bar by bar and beat by beat, in letters and in numbers.

A bar holds one entry a beat: a chord of the chords table, a slash where one goes on, a dash where
none is written. A bar that one chord fills from its beginning has that chord alone. A chord between
the beats has its count; one that goes on over the next bar line is pushed (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import ceil
from typing import Any

from arrange.explaining.part_sections import chords_by_bar
from arrange.tables.song import Song
from arrange.theory.meters import added_beats, bar_grid, beat_quarters

GOES_ON, NOTHING = "/", "–"
_MOST_BEATS = 12  # of a bar with an entry a beat; in longer ones chords have their count
_LEAST_ONCE = 2  # bars printed once that come several times over
_NEAR = 1e-6  # quarter notes


@dataclass(frozen=True)
class Entry:
    """A place in a bar.

    Parameters
    ----------
    symbol : str
        Of the chords table, or ``GOES_ON`` or ``NOTHING``.
    number : str
        The same as a number in the key; empty where the table has none.
    count : str
        Where in the bar, for a chord between the beats: ``"4&"``.
    is_pushed : bool
        Between the beats at the end of a bar, and on into the next one.
    is_held : bool
        Goes on from before the section.
    """

    symbol: str
    number: str = ""
    count: str = ""
    is_pushed: bool = False
    is_held: bool = False

    @property
    def is_chord(self) -> bool:
        """Whether this is a chord, and not what stands where none begins."""
        return self.symbol not in (GOES_ON, NOTHING)


Bars = tuple[tuple[Entry, ...], ...]


@dataclass(frozen=True)
class Progression:
    """What one or several sections have as their chords.

    Parameters
    ----------
    sections : tuple of str
    bars : tuple of tuple of Entry
    keys : tuple of (int, str)
        The bar of the section, from 1, that each key begins with; the key is empty for none.
    times : int
        How often `bars` are played to fill a section.
    """

    sections: tuple[str, ...]
    bars: Bars
    keys: tuple[tuple[int, str], ...]
    times: int = 1


def song_progressions(song: Song) -> list[Progression]:
    """Return every section's chords; sections with the same ones, in the same meter, share them."""
    by_bar = _places(song)
    meters, keys = song.measures["meter"].tolist(), song.measures["key"].fillna("").tolist()
    same: dict[Any, list[str]] = {}
    for row in song.sections.itertuples():
        own = range(row.first_measure - 1, row.last_measure)
        bars = tuple(_entries(song, bar, by_bar[bar], row.onset) for bar in own)
        about = tuple((meters[bar], keys[bar]) for bar in own)
        same.setdefault((bars, about), []).append(row.section)
    found = []
    for (bars, about), sections in same.items():
        times = _times(list(zip(bars, about, strict=True)))
        length = len(bars) // times
        names = [key for _, key in about[:length]]
        changes = [(n + 1, key) for n, key in enumerate(names) if not n or key != names[n - 1]]
        found.append(Progression(tuple(sections), bars[:length], tuple(changes), times))
    return found


def _times(bars: list[Any]) -> int:
    """How often the same bars, at least two, come one after the other."""
    count = len(bars)
    lengths = (n for n in range(_LEAST_ONCE, count // 2 + 1) if count % n == 0)
    return next((count // n for n in lengths if bars == bars[:n] * (count // n)), 1)


_Place = tuple[float, float, str, str]  # from and to, against the bar line; symbol, number


def _places(song: Song) -> list[list[_Place]]:
    """The chords that sound in each bar, in order."""
    onsets = song.chords["onset"].tolist()
    ends = (song.chords["onset"] + song.chords["duration"]).tolist()
    symbols, numbers = (song.chords[name].fillna("").tolist() for name in ("symbol", "degree"))
    return [
        [(onsets[row] - line, ends[row] - line, symbols[row], numbers[row]) for row in rows]
        for line, rows in zip(song.measures["onset"].tolist(), chords_by_bar(song), strict=True)
    ]


def _entries(song: Song, bar: int, chords: Sequence[_Place], section: float) -> tuple[Entry, ...]:
    row = song.measures.iloc[bar]
    length, meter, line = float(row["duration"]), row["meter"], float(row["onset"])
    edges = _beats(meter, length)
    beats = len(edges) - 1
    is_first = abs(line - section) < _NEAR
    entries: list[Entry] = []
    for at, after in pairwise(edges):
        sounds = next((c for c in chords if c[0] < at + _NEAR and c[1] > at + _NEAR), None)
        if sounds and (abs(sounds[0] - at) < _NEAR or (is_first and not at)):
            is_held = sounds[0] < -_NEAR
            entries.append(Entry(*sounds[2:], is_held=is_held))
        else:
            entries.append(Entry(GOES_ON if sounds else NOTHING))
        for onset, end, symbol, number in chords:
            if at + _NEAR <= onset < after - _NEAR and onset < length:
                is_pushed = end > length + _NEAR and after > length - _NEAR and beats > 1
                count = _count(meter, length, onset)
                entries.append(Entry(symbol, number, count, is_pushed))
    signs = {entry.symbol for entry in entries[1:]}
    is_filled = entries[0].is_chord and signs <= {GOES_ON}
    return tuple(entries[:1] if is_filled or signs | {entries[0].symbol} == {NOTHING} else entries)


def _beats(meter: str, length: float) -> list[float]:
    """Where each beat of a bar begins, in quarter notes, and where the last one ends."""
    added = added_beats(meter)
    if added and abs(sum(added) - length) < _NEAR:
        edges = [0.0, *accumulate(added)]
    else:
        beat = beat_quarters(meter)
        edges = [beat * n for n in range(max(ceil(length / beat - _NEAR), 1) + 1)]
    return edges if len(edges) - 1 <= _MOST_BEATS else [0.0, length]


def _count(meter: str, length: float, onset: float) -> str:
    grid = bar_grid(meter, length, [onset])
    if grid:
        return grid.said[round(onset / grid.slot)]
    return f"beat {1 + onset / beat_quarters(meter):.3g}"
