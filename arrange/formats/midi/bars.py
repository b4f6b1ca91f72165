"""The bars that the time signatures make, with their keys, tempos and markers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from arrange.errors import ReadError
from arrange.formats.midi.events import (
    CUE,
    KEY,
    MARKER,
    METER,
    TEMPO,
    TEXT,
    Array,
    Events,
    Meta,
)
from arrange.formats.notices import cut_names_notice
from arrange.formats.section_names import names_section
from arrange.formats.written import DEFAULT_TEMPO
from arrange.song_size import MOST_MEASURES, MOST_TEXT
from arrange.text.words import first_few
from arrange.theory.pitch import key_name

MOST_UNIT = 7  # the shortest beat is a 128th of a whole note, 2 to the power of this
_MICROSECONDS = 60_000_000  # in a minute


@dataclass(frozen=True)
class Bars:
    """The bars of a file.

    Parameters
    ----------
    ticks : int
        Ticks in a quarter note, of the Song's grid.
    factor : int
        Ticks of that grid in one tick of the file.
    starts, lengths : arrays
        In ticks of the grid.
    meters, keys : list
        Of each bar.
    tempos : list of (bar, offset, quarter notes a minute)
    marks : list of (bar, text, is a marker)
    ends : array
        Tick of the grid at which each track ends.
    """

    ticks: int
    factor: int
    starts: Array
    lengths: Array
    meters: list[str]
    keys: list[str | None]
    tempos: list[tuple[int, int, float]]
    marks: list[tuple[int, str, bool]]
    ends: Array

    def at(self, tick: Any) -> Any:
        """The bar in which a tick of the grid lies."""
        return np.maximum(np.searchsorted(self.starts, tick, side="right") - 1, 0)

    def of(self, metas: Sequence[Meta]) -> list[int]:
        """The bars in which meta events stand."""
        ticks = np.array([meta.tick for meta in metas], dtype=np.int64)
        return list(self.at(ticks * self.factor).tolist())

    def seconds(self, tick: Array) -> Array:
        """The time in seconds of ticks of the grid."""
        changes, reached, pace = self._tempo_map
        row = np.maximum(np.searchsorted(changes, tick, side="right") - 1, 0)
        return reached[row] + (tick - changes[row]) * pace[row]

    @cached_property
    def _tempo_map(self) -> tuple[Array, Array, Array]:
        """Where the tempo changes: ticks, seconds, and seconds a tick from there."""
        bar, offset, tempo = zip(*(self.tempos or [(0, 0, DEFAULT_TEMPO)]), strict=True)
        changes = self.starts[list(bar)] + np.array(offset, dtype=np.int64)
        pace = 60 / np.array(tempo) / self.ticks
        reached = np.concatenate([[0.0], np.cumsum(np.diff(changes) * pace[:-1])])
        return changes, reached, pace

    def up_to(self, notes: dict[str, Array]) -> Bars:
        """Only as many bars as the placed notes and the ends of the tracks ask for."""
        sounding = self.starts[notes["measure"]] + notes["offset"] + notes["duration"]
        bar = self.at(self.ends)
        # A track that ends a little behind a bar line does not ask for another bar.
        sixteenth = self.ticks // 4
        ends = self.starts[bar] + np.rint((self.ends - self.starts[bar]) / sixteenth) * sixteenth
        last = max(int(ends.max()), int(sounding.max(initial=0)))
        needed = max(int(np.searchsorted(self.starts, last)), 1)
        count = max(needed, int(notes["measure"].max(initial=0)) + 1)
        return replace(
            self,
            starts=self.starts[:count],
            lengths=self.lengths[:count],
            meters=self.meters[:count],
            keys=self.keys[:count],
            tempos=[tempo for tempo in self.tempos if tempo[0] < count],
            marks=[mark for mark in self.marks if mark[0] < count],
        )


def lay_bars(events: Events, ticks: int, name: str, notices: list[str]) -> Bars:
    """Return the bars up to beyond the last event; `ticks` are the Song's in a quarter note.

    Raises
    ------
    ReadError
        If there are more than ``MOST_MEASURES``.
    """
    factor = ticks // events.ticks
    starts, lengths, meters = _meters(events, ticks, factor, name, notices)
    bars = Bars(
        ticks, factor, starts, lengths, meters, [None] * len(starts), [], [], events.ends * factor
    )
    return replace(
        bars,
        keys=_keys(events, bars, notices),
        tempos=_tempos(events, bars, notices),
        marks=_marks(events, bars, notices),
    )


def _meters(
    events: Events, ticks: int, factor: int, name: str, notices: list[str]
) -> tuple[Array, Array, list[str]]:
    """Start, length and meter of each bar."""
    changes: dict[int, tuple[str, int]] = {}
    leaders: dict[int, int] = {}  # the first track that has one at a place decides there
    bad = 0
    for meta in events.metas_of(METER):
        if len(meta.data) < 2 or not meta.data[0] or meta.data[1] > MOST_UNIT:
            bad += 1
            continue
        beats, unit = meta.data[0], 1 << meta.data[1]
        if leaders.setdefault(meta.tick, meta.track) == meta.track:
            changes[meta.tick * factor] = (f"{beats}/{unit}", 4 * ticks * beats // unit)
    if bad:
        notices.append(f"time signatures that make no sense, left out: {bad}")
    if not changes:
        notices.append("no time signature is given: 4/4 is assumed")
    if 0 not in changes:
        changes[0] = ("4/4", 4 * ticks)  # what the format assumes before the first

    starts: list[Array] = []
    lengths: list[Array] = []
    meters: list[str] = []
    cut: list[int] = []
    places = sorted(changes)
    latest = int(events.ends.max()) * factor
    # One bar more than asked for, since notes near the end may be moved to the next bar line.
    for place, after in zip(places, [*places[1:], None], strict=True):
        meter, length = changes[place]
        # A bar line may lie between two ticks of the file, the time signature on one of them.
        slack = min(factor - 1, length // 2) if length % factor else 0
        if after is None:
            count = (latest - place) // length + 2
        else:
            count = max(-((place + slack - after) // length), 1)
        if len(meters) + count > MOST_MEASURES:
            raise ReadError(
                f"its time signatures make more than {MOST_MEASURES:,} bars; mend the time "
                f"signature in bar {len(meters) + 1}, {meter}, or a damaged time",
                file=name,
            )
        begin = place + length * np.arange(count, dtype=np.int64)
        width = np.full(count, length, dtype=np.int64)
        if after is not None:
            width[-1] = after - begin[-1]
            if abs(int(width[-1]) - length) > slack:
                cut.append(len(meters) + count)
        starts.append(begin)
        lengths.append(width)
        meters += [meter] * count
    if cut:
        notices.append(
            f"a time signature stands inside a bar and cuts it short: bar {first_few(cut, 6)}"
        )
    return np.concatenate(starts), np.concatenate(lengths), meters


def _keys(events: Events, bars: Bars, notices: list[str]) -> list[str | None]:
    """The key of each bar, from the first track that has one."""
    changes: dict[int, str] = {}
    bad = 0
    metas = events.metas_of(KEY)
    leader = min((meta.track for meta in metas), default=0)
    for meta, bar in zip(metas, bars.of(metas), strict=True):
        fifths = int.from_bytes(meta.data[:1], signed=True)
        if len(meta.data) < 2 or abs(fifths) > 7 or meta.data[1] > 1:
            bad += 1
        elif meta.track == leader:
            mode = "minor" if meta.data[1] else "major"
            changes[bar] = key_name(fifths, mode)
    if bad:
        notices.append(f"key signatures that make no sense, left out: {bad}")
    keys: list[str | None] = []
    for bar in range(len(bars.starts)):
        keys.append(changes.get(bar, keys[-1] if keys else None))
    return keys


def _tempos(events: Events, bars: Bars, notices: list[str]) -> list[tuple[int, int, float]]:
    changes: dict[int, float] = {}
    bad = 0
    for meta in events.metas_of(TEMPO):
        length = int.from_bytes(meta.data[:3])
        if len(meta.data) < 3 or not length:
            bad += 1
            continue
        changes[meta.tick * bars.factor] = _roundest_tempo(length)
    if bad:
        notices.append(f"tempos that make no sense, left out: {bad}")
    if changes and 0 not in changes:
        changes[0] = DEFAULT_TEMPO  # what the format assumes before the first
    places = np.array(sorted(changes), dtype=np.int64)
    bar = bars.at(places)
    offset = places - bars.starts[bar]
    tempos = [changes[place] for place in places.tolist()]
    return list(zip(bar.tolist(), offset.tolist(), tempos, strict=True))


def _roundest_tempo(microseconds: int) -> float:
    """The tempo with the fewest decimals that a file keeps as these microseconds a quarter."""
    tempo = _MICROSECONDS / microseconds
    for decimals in range(7):
        rounded = round(tempo, decimals)
        if rounded > 0 and round(_MICROSECONDS / rounded) == microseconds:
            return rounded
    return tempo


def _marks(events: Events, bars: Bars, notices: list[str]) -> list[tuple[int, str, bool]]:
    """Markers, and the cue points and texts that name a section."""
    found = [
        (meta, meta.text)
        for kind in (MARKER, CUE, TEXT)
        for meta in events.metas_of(kind)
        if kind == MARKER or len(meta.data) < MOST_TEXT
    ]
    found = [
        (meta, text)
        for meta, text in found
        if text and (meta.kind == MARKER or names_section(text))
    ]
    cut = sum(meta.is_cut for meta, _ in found)
    if cut:
        notices.append(cut_names_notice(cut))
    # A marker a little early is meant for the bar line.
    early = bars.ticks // 4
    place = np.array([meta.tick for meta, _ in found], dtype=np.int64) * bars.factor
    bar = bars.at(place + early)
    inside = int((np.abs(place - bars.starts[bar]) > early).sum())
    if inside:
        notices.append(f"markers inside a bar, whose sections begin with it: {inside}")
    return [
        (at, text, meta.kind == MARKER)
        for at, (meta, text) in zip(bar.tolist(), found, strict=True)
    ]
