"""Notes: which key down goes with which key up, and the grid that they lie on.

Pairing. The ups and downs of one key on one channel of one track are read like brackets: a down
without an up is a stuck note, an up without a down is nothing. Of the others the first down goes
with the first up, so that of two notes of one pitch that overlap the one that began first ends
first. A stuck note ends where its pitch is struck again, but with its bar at the latest.

The grid. For each part:

1. Onsets that lie on a grid are kept exactly. They do if all are multiples of eight ticks or more
   (live playing hits such multiples by chance only), if the file's ticks are no finer than 1/24
   quarter note, or if all are the nearest ticks to multiples of 1/d quarter note, eight ticks or
   more apart, with d one of ``ROUNDED``.
2. Others are moved to the nearest lines, counted from the start of the bar, of one of the grids
   ``GRIDS``: the coarsest on which their mean distance from the lines, in steps of the grid, is
   within a quarter of the best. (Chance gives a quarter of a step on each, so a finer grid is not
   better for being finer.)
3. Ends are kept if onsets and ends lie on a grid, and else moved to the lines of the onsets' grid,
   of sixteenths at least.

A note of no length, in the file or after moving, lasts one step of that grid, a sixteenth at most.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrange.formats.midi.bars import Bars
from arrange.formats.midi.events import DRUM_CHANNEL, NOTE_OFF, NOTE_ON, Array, Events

GRID = 3360  # lines in a quarter note: every grid below has its lines among them
GRIDS = (4, 6, 8, 12, 16, 20, 24, 28, 48)  # lines in a quarter note, from sixteenths on
ROUNDED = (12, 20, 24, 28, 48, 56, 60, 84, 96)
FINE = 8  # ticks: onsets that are all multiples of so many were put there, not played
COARSE = 24  # ticks in a quarter note: a file with no more is a grid itself
NO_GRID = 0.2  # of a step, the mean distance where there is no grid; chance gives 0.25
MOST_NAMED = 8  # parts that a notice names


@dataclass(frozen=True)
class Pairs:
    """Notes as the file has them, in order of their beginning within each track.

    Parameters
    ----------
    track, channel, pitch : arrays of int
    down, up : arrays of int
        Ticks of the file; for a stuck note `up` is where the key goes down again, or -1.
    stuck, overlaps : arrays of bool
        It has no key up; it goes on while its pitch is struck again.
    """

    track: Array
    channel: Array
    pitch: Array
    down: Array
    up: Array
    stuck: Array
    overlaps: Array


def pair_notes(events: Events) -> Pairs:
    """Return each key down with the key up that ends it."""
    place = np.flatnonzero((events.status == NOTE_ON) | (events.status == NOTE_OFF))
    line = (events.track[place] * 16 + events.channel[place]) * 128 + events.first[place]
    order = np.argsort(line, kind="stable")
    place, line = place[order], line[order]
    is_down = (events.status[place] == NOTE_ON) & (events.second[place] > 0)
    depth = np.cumsum(np.where(is_down, 1, -1))
    level = np.where(is_down, depth, depth + 1)
    # On one level of one line an up that follows a down at once is its bracket.
    by_level = np.lexsort((np.arange(len(line)), level, line))
    first, second = by_level[:-1], by_level[1:]
    fits = (
        is_down[first]
        & ~is_down[second]
        & (line[first] == line[second])
        & (level[first] == level[second])
    )
    downs = np.sort(first[fits])
    ups = np.sort(second[fits])  # the first down with the first up, line by line
    tick = events.tick[place]

    all_downs = np.flatnonzero(is_down)
    next_down = np.full(len(place), -1)
    again = line[all_downs[:-1]] == line[all_downs[1:]]
    next_down[all_downs[:-1][again]] = tick[all_downs[1:][again]]
    up = next_down.copy()
    up[downs] = tick[ups]
    stuck = is_down.copy()
    stuck[downs] = False
    overlaps = ~stuck & (next_down >= 0) & (next_down < up)

    rows = all_downs[np.argsort(place[all_downs], kind="stable")]
    return Pairs(
        track=events.track[place[rows]],
        channel=events.channel[place[rows]],
        pitch=events.first[place[rows]],
        down=tick[rows],
        up=up[rows],
        stuck=stuck[rows],
        overlaps=overlaps[rows],
    )


def place_notes(
    events: Events,
    pairs: Pairs,
    part_of_note: Array,
    labels: Sequence[str],
    bars: Bars,
    notices: list[str],
) -> dict[str, Array]:
    """Return the columns of ``Written.notes``, on the grid."""
    down = pairs.down * bars.factor
    bar = bars.at(down)
    bar_end = bars.starts[bar] + bars.lengths[bar]
    up = np.where(pairs.up < 0, bar_end, pairs.up * bars.factor)
    up = np.where(pairs.stuck, np.minimum(up, bar_end), up)
    downs, ups = _Times.of(down, bars), _Times.of(up, bars)
    onset, end = down.copy(), up.copy()
    short = np.zeros(len(down), dtype=bool)
    moves: list[str] = []
    by_part = np.argsort(part_of_note, kind="stable")
    edges = np.searchsorted(part_of_note[by_part], np.arange(len(labels) + 1)).tolist()
    for label, begin, until in zip(labels, edges[:-1], edges[1:], strict=True):
        rows = by_part[begin:until]
        if not len(rows):
            continue
        grid = _on_grid(downs.take(rows), ups.take(rows), events.ticks, bars)
        short[rows] = grid.end <= grid.onset
        onset[rows] = grid.onset
        end[rows] = np.where(short[rows], grid.onset + grid.shortest, grid.end)
        moves += _moves_texts(label, grid, down[rows], up[rows], bars)
    notices += moves[:MOST_NAMED]
    if len(moves) > MOST_NAMED:
        notices.append(f"the notes of {len(moves) - MOST_NAMED} more parts were moved to a grid")
    for rows, problem in (
        (pairs.stuck, "whose key never goes up: each ends where its pitch is struck again, or "
         "with its bar"),
        (pairs.overlaps, "that sound on while their pitch is struck again: the one that begins "
         "first ends first"),
        (short, "of no length, in the file or on the grid: each lasts a step of the grid"),
    ):  # fmt: skip
        _report_repair(part_of_note[rows], labels, problem, notices)
    bar = bars.at(onset)
    nothing = np.full(len(down), -1)
    no = np.zeros(len(down), dtype=bool)
    return {
        "part": part_of_note,
        "measure": bar,
        "offset": onset - bars.starts[bar],
        "duration": end - onset,
        "pitch": np.where(pairs.channel == DRUM_CHANNEL, np.nan, pairs.pitch.astype(np.float64)),
        "voice": nothing,
        "string": nothing,
        "fret": nothing,
        "technique": np.zeros(len(down), dtype=np.int64),
        "grace": no,
        "tie_start": no,
        "tie_stop": no,
    }


@dataclass(frozen=True)
class _Times:
    """Times in ticks of the Song's grid: the start of the bar, where in it, and its length."""

    start: Array
    offset: Array
    length: Array

    @classmethod
    def of(cls, times: Array, bars: Bars) -> _Times:
        bar = bars.at(times)
        return cls(bars.starts[bar], times - bars.starts[bar], bars.lengths[bar])

    def take(self, rows: Array) -> _Times:
        return _Times(self.start[rows], self.offset[rows], self.length[rows])

    def nearest(self, step: int) -> Array:
        """How far into the bar the nearest lines of a grid are that begins anew with each bar."""
        return np.minimum((2 * self.offset + step) // (2 * step) * step, self.length)


@dataclass(frozen=True)
class _Placed:
    """Times of a part on its grid; `lines` in a quarter note, 0 if none were moved."""

    onset: Array
    end: Array
    onset_lines: int
    end_lines: int
    shortest: int


def _on_grid(down: _Times, up: _Times, ticks: int, bars: Bars) -> _Placed:
    """Put onsets and ends on the part's grid; `ticks` are the file's in a quarter note."""
    onset, lines = _lying(down, ticks, bars)
    onset_lines = 0
    if not lines:
        moved = [down.nearest(bars.ticks // grid) for grid in GRIDS]
        off = [
            float(np.abs(near - down.offset).mean()) * grid
            for near, grid in zip(moved, GRIDS, strict=True)
        ]
        best = next(at for at, far in enumerate(off) if far <= 1.25 * min(off))
        onset, lines = moved[best], GRIDS[best]
        onset_lines = lines
    end, end_lines = _lying(up, ticks, bars)
    if onset_lines or not end_lines:
        end_lines = math.lcm(lines, 4)
        end = up.nearest(bars.ticks // end_lines)
    else:
        end_lines = 0
    return _Placed(
        down.start + onset, up.start + end, onset_lines, end_lines, bars.ticks // max(lines, 4)
    )


def _lying(times: _Times, ticks: int, bars: Bars) -> tuple[Array, int]:
    """Offsets that lie on a grid, and its lines in a quarter note; 0 if they lie on none."""
    step = int(np.gcd.reduce(np.append(times.offset, bars.ticks)))
    if step >= FINE * bars.factor or ticks <= COARSE:
        return times.offset, bars.ticks // step
    for lines in ROUNDED:
        if lines * FINE > ticks:
            break
        near = times.nearest(bars.ticks // lines)
        if 2 * np.abs(near - times.offset).max() <= bars.factor:
            return near, lines
    return times.offset, 0


def _moves_texts(label: str, grid: _Placed, down: Array, up: Array, bars: Bars) -> list[str]:
    """How far the times of a part were moved: milliseconds, and quarter notes."""
    moves = []
    for what, lines, old, new in (
        ("onsets", grid.onset_lines, down, grid.onset),
        ("ends", grid.end_lines, up, grid.end),
    ):
        far = np.abs(new - old)
        if not lines or not far.any():
            continue
        seconds = np.abs(bars.seconds(new) - bars.seconds(old)) * 1000
        quarters = far / bars.ticks
        moves.append(
            f"{what} moved to multiples of 1/{lines} quarter note, "
            f"by {seconds.mean():.1f} ms ({quarters.mean():.3f} quarter notes) on average and "
            f"{seconds.max():.1f} ms ({quarters.max():.3f}) at most"
            + (
                ", hardly nearer than chance would have it: it may not follow the beat"
                if what == "onsets" and quarters.mean() * lines > NO_GRID
                else ""
            )
        )
    return [f"{label}: {'; '.join(moves)}"] if moves else []


def _report_repair(
    part_of_note: Array, labels: Sequence[str], problem: str, notices: list[str]
) -> None:
    parts, counts = np.unique(part_of_note, return_counts=True)
    if len(parts):
        named = [
            f"{count} in {labels[part]}"
            for part, count in zip(parts.tolist()[:MOST_NAMED], counts.tolist(), strict=False)
        ]
        more = ["..."] if len(parts) > MOST_NAMED else []
        notices.append(f"notes {problem} ({', '.join(named + more)})")
