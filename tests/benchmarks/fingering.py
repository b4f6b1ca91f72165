"""Measure how fast a part is fingered, compared with reading it, and how the time grows.

Run it by hand: ``python tests/benchmarks/fingering.py`` (under a minute). One process, medians of
5; the parts are a tune with chords and held notes, drawn at random, so that little repeats, and the
demo's first guitar repeated. The reading time is that of the part's own MusicXML.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from arrange.formats.musicxml import read_musicxml
from arrange.formats.musicxml.writing import write_musicxml
from arrange.formats.reading import read
from arrange.guitar.fingering import finger_part
from arrange.tables.song import Song

sys.path.insert(0, str(Path(__file__).parent.parent))
from songs import song

DATASETS = Path(__file__).parent.parent.parent / "datasets"
SAMPLES = 5
COUNTS = (500, 2_000, 8_000)


def median_ms(task: Callable[[], object]) -> float:
    """Return the median milliseconds of a task, without the first run."""
    times = []
    for _ in range(SAMPLES + 1):
        start = time.perf_counter()
        task()
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times[1:])


def peak_mb(task: Callable[[], object]) -> float:
    """Return the most memory that a task holds, in MB."""
    tracemalloc.start()
    task()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def drawn_part(count: int) -> Song:
    """Return lines, double stops and chords drawn at random, some held under the next."""
    draw = np.random.default_rng(1)
    rows, onset, middle = [], 0.0, 55
    while len(rows) < count:
        middle = int(np.clip(middle + draw.integers(-4, 5), 43, 72))
        size = int(draw.choice([1, 1, 1, 2, 3, 4]))
        pitches = np.unique(middle + draw.choice([0, 3, 4, 7, 10, 12, 15], size=size))
        length = float(draw.choice([0.25, 0.5, 1.0]))
        held = length * (2 if draw.random() < 0.1 else 1)
        rows += [("Guitar", pitch, onset, held) for pitch in pitches.tolist()]
        onset += length
    return song(*rows[:count], tempo=100.0)


def demo_part(count: int) -> Song:
    """Return the demo's first guitar without its frets, repeated."""
    whole = read(DATASETS / "low-water.txt")
    own = whole.notes[whole.notes["part"] == "Guitar 1"]
    rounds = -(-count // len(own))
    rows = [
        ("Guitar", pitch, onset + number * whole.duration, duration)
        for number in range(rounds)
        for pitch, onset, duration in zip(own["pitch"], own["onset"], own["duration"], strict=True)
    ]
    return song(*rows[:count], tempo=102.0)


def as_musicxml(whole: Song) -> bytes:
    """Return the song as MusicXML."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "song.musicxml"
        write_musicxml(whole, path)
        return path.read_bytes()


def main() -> None:
    """Print the table."""
    print(
        f"{'part':16}{'notes':>7}{'sum ms':>9}{'worst ms':>10}{'read ms':>9}{'ratio':>7}{'MB':>7}"
    )
    for name, make in (("drawn", drawn_part), ("demo", demo_part)):
        for count in COUNTS:
            whole = make(count)
            missing = pd.array([None] * len(whole.notes), dtype="Int64")
            whole = replace(whole, notes=whole.notes.assign(string=missing, fret=missing))
            least = median_ms(lambda s=whole: finger_part(s, "Guitar"))
            worst = median_ms(lambda s=whole: finger_part(s, "Guitar", objective="worst"))
            data = as_musicxml(whole)
            reading = median_ms(lambda d=data: read_musicxml(d))
            memory = peak_mb(lambda s=whole: finger_part(s, "Guitar"))
            print(f"{name:16}{count:7}{least:9.0f}{worst:10.0f}{reading:9.0f}"
                  f"{least / reading:7.1f}{memory:7.0f}")  # fmt: skip


if __name__ == "__main__":
    main()
