"""Measure how long it takes to condense many layers to a few players, and how good the result is.

A made-up song: each layer is one of fourteen kinds of guitar part over a progression, and plays in
about two thirds of the sections. Times are medians of some runs in one process.

    python tests/benchmarks/condensing.py            # speed
    python tests/benchmarks/condensing.py FOLDER     # scores of music21's corpus; tables kept there
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from condensing_corpus import corpus

from arrange.clashes import find_clashes
from arrange.condensing import condense
from arrange.tables.schemas import CHORDS, NOTES, PARTS
from arrange.tables.song import Song, check_table

BARS = 8  # a section
RUNS = 3
LIMIT = 2.0  # seconds, for fourteen layers, twelve sections, two players
# Root, kind, members: a made-up progression in G.
CHORDS_OF = [
    (7, "major", (7, 11, 2)), (4, "minor", (4, 7, 11)), (0, "major-seventh", (0, 4, 7, 11)),
    (2, "dominant", (2, 6, 9, 0)),
]  # fmt: skip


def above(pitch_class: int, lowest: int) -> int:
    """Return the lowest pitch of a pitch class at or above a pitch."""
    return lowest + (pitch_class - lowest) % 12


def stacked(members: tuple[int, ...], lowest: int, count: int) -> list[int]:
    """Return a close chord above a lowest pitch."""
    pitches = [above(members[0], lowest)]
    while len(pitches) < count:
        pitches.append(above(members[len(pitches) % len(members)], pitches[-1] + 1))
    return pitches


Rows = list[tuple[float, float, int]]  # onset in the bar, duration, pitch


def strummed(members: tuple[int, ...], lowest: int, count: int, onsets: list[float]) -> Rows:
    """Return a chord struck at some places of the bar."""
    until = [*onsets[1:], 4.0]
    return [
        (at, end - at, pitch)
        for at, end in zip(onsets, until, strict=True)
        for pitch in stacked(members, lowest, count)
    ]


def picked(members: tuple[int, ...], lowest: int, step: float, order: list[int]) -> Rows:
    """Return a chord's notes one after the other."""
    pitches = stacked(members, lowest, max(order) + 1)
    count = int(4 / step)
    return [(k * step, step, pitches[order[k % len(order)]]) for k in range(count)]


def tune(random: np.random.Generator, members: tuple[int, ...], lowest: int) -> Rows:
    """Return a line that moves over the chord."""
    starts = sorted(random.choice(8, random.integers(3, 7), replace=False) / 2)
    ends = [*starts[1:], 4.0]
    scale = [0, 2, 4, 6, 7, 9, 11]
    pool = [above(random.choice(members if k % 2 else scale), lowest) for k in range(len(starts))]
    return [(at, end - at, pitch) for at, end, pitch in zip(starts, ends, pool, strict=True)]


def bar_of(kind: int, random: np.random.Generator, members: tuple[int, ...], bar: int) -> Rows:
    """Return one bar of a kind of part."""
    if kind == 0:
        return strummed(members, 43, 4, [0, 1, 1.5, 2.5, 3])
    if kind == 1:
        return strummed(members, 52, 3, [0, 1, 1.5, 2.5, 3])
    if kind in (2, 3):
        same = np.random.default_rng(bar + 100)  # the second an octave above the first
        return [(at, lasts, p + 12 * (kind - 2)) for at, lasts, p in tune(same, members, 64)]
    if kind == 4:
        figure = [(0, 0.5, 71), (0.5, 0.5, 74), (1, 1, 76), (2, 0.5, 74), (2.5, 1.5, 71)]
        return [(at, lasts, pitch - (bar % 2) * 2) for at, lasts, pitch in figure]
    if kind == 5:
        return [(at, lasts, pitch - 12) for at, lasts, pitch in bar_of(4, random, members, bar)]
    if kind == 6:
        return strummed(members, 55, 3, [0])
    if kind == 7:
        return [(0, 4, 55)]
    if kind == 8:
        return picked(members, 45, 0.5, [0, 2, 1, 3, 2, 1, 3, 2])
    if kind == 9:
        return [(at, 0.5, above(members[1], 62)) for at in (0.5, 1.5, 2.5, 3.5)]
    if kind == 10:
        return strummed(members[:1] + members[2:3], 40, 2, [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5])
    if kind == 11:
        return tune(random, members, 67) if bar % 8 == 7 else []
    if kind == 12:
        return strummed(members, 62, 3, [1, 3])
    return picked(members, 40, 1.0, [0, 1, 0, 2])


NAMES = ("Strum", "High strum", "Lead", "Lead octave", "Hook", "Hook low", "Held", "Drone",
         "Picking", "Echo", "Fifths", "Fills", "Triads", "Low line")  # fmt: skip


def layered_song(layers: int, sections: int, seed: int = 1) -> Song:
    """Return a song of that many layers and sections."""
    random = np.random.default_rng(seed)
    names = [NAMES[k % 14] + (f" {k // 14 + 1}" if k >= 14 else "") for k in range(layers)]
    bars = BARS * sections
    labels = [f"Part {k + 1}" for k in range(sections)]
    plays = random.random((layers, sections)) < 0.7
    plays[0], plays[2 % layers] = True, True
    rows = []
    for layer, section in zip(*np.nonzero(plays), strict=True):
        for bar in range(section * BARS, section * BARS + BARS):
            members = CHORDS_OF[bar % 4][2]
            rows += [
                (names[layer], 4 * bar + at, lasts, bar + 1, labels[section], pitch + (layer >= 14))
                for at, lasts, pitch in bar_of(layer % 14, random, members, bar)
            ]
    part, onset, duration, measure, section_of, pitch = zip(*rows, strict=True)
    columns = {
        "part": part, "onset": onset, "duration": duration, "measure": measure,
        "section": section_of, "pitch": np.array(pitch, dtype=np.float64), "voice": None,
        "string": None, "fret": None, "technique": None, "grace": False,
        "source_id": [f"n{number}" for number in range(len(rows))],
    }  # fmt: skip
    notes = check_table(pd.DataFrame(columns), NOTES)
    return Song(_parts(names), *_form(labels, bars), notes)


def _parts(names: list[str]) -> pd.DataFrame:
    columns = {
        "part": names, "instrument": names, "family": "guitar", "tuning": None, "capo": 0,
        "transpose": -12, "drive": [("clean", "overdriven")["Lead" in n] for n in names],
        "echo": None, "level": 0.0, "program": None, "player": None,
    }  # fmt: skip
    return check_table(pd.DataFrame(columns), PARTS)


def _form(labels: list[str], bars: int) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Return sections, measures and chords."""
    firsts = np.arange(len(labels)) * BARS
    sections = pd.DataFrame(
        {"section": labels, "kind": "other", "pass": 1, "first_measure": firsts + 1,
         "last_measure": firsts + BARS, "onset": 4.0 * firsts, "duration": 4.0 * BARS}
    )  # fmt: skip
    number = np.arange(bars)
    label = np.repeat(labels, BARS)
    measures = pd.DataFrame(
        {"measure": number + 1, "written": [str(k + 1) for k in number], "section": label,
         "onset": 4.0 * number, "duration": 4.0, "meter": "4/4", "key": "G major", "tempo": 100.0}
    )  # fmt: skip
    chords = [CHORDS_OF[k % 4] for k in number]
    table = pd.DataFrame(
        {"onset": 4.0 * number, "duration": 4.0, "measure": number + 1, "section": label,
         "symbol": [kind for _, kind, _ in chords], "root": [root for root, _, _ in chords],
         "bass": [root for root, _, _ in chords], "kind": [kind for _, kind, _ in chords],
         "pitch_classes": [members for _, _, members in chords], "degree": None}
    )  # fmt: skip
    return sections, measures, check_table(table, CHORDS)


def seconds(task: Callable[[], object], runs: int = RUNS) -> float:
    """Return the median time of a task, after one run to warm up."""
    times = []
    for _ in range(runs + 1):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return statistics.median(times[1:])


def row(layers: int, sections: int, players: int) -> None:
    """Print one case."""
    song = layered_song(layers, sections)
    found = condense(song, players)
    took = seconds(lambda: condense(song, players), 1 if players > 2 else RUNS)
    looking = seconds(lambda: find_clashes(song), 1)
    print(f"{layers:7}{sections:9}{players:8}{len(song.notes):7}{took:9.2f}{looking:10.2f}"
          f"{found.share:8.1%}{found.gap:8.2%}", flush=True)  # fmt: skip


def main() -> None:
    """Print the tables."""
    if len(sys.argv) > 1:
        corpus(Path(sys.argv[1]))
        return
    print(f"{'layers':>7}{'sections':>9}{'players':>8}{'notes':>7}{'seconds':>9}{'findings':>10}"
          f"{'worth':>8}{'gap':>8}")  # fmt: skip
    row(14, 12, 2)
    print(f"limit for this one: {LIMIT:g} seconds\n\nlayers")
    for layers in (4, 6, 8, 10, 12, 14, 16):
        row(layers, 12, 2)
    print("\nsections")
    for sections in (3, 6, 12, 24):
        row(14, sections, 2)
    print("\nplayers")
    for players in (1, 2, 3, 4):
        row(14, 12, players)


if __name__ == "__main__":
    main()
