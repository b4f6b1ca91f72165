"""Measure how long it takes to condense many layers to a few players, and how good the result is.

The songs are made up (``tests/layered_songs.py``): fourteen kinds of guitar part over a
progression, and forty layers as a band may overdub them. Median of some runs, one process, on
whatever machine this is; beside the time that passes the time of its processors.

    python tests/benchmarks/condensing.py            # speed
    python tests/benchmarks/condensing.py FOLDER     # scores of music21's corpus; tables kept there
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

from condensing_corpus import corpus

from arrange.clashes import find_clashes
from arrange.condensing import condense
from arrange.tables.song import Song

sys.path.insert(0, str(Path(__file__).parent.parent))
from layered_songs import layered_song, overdubbed_song

RUNS = 3
LIMIT = 2.0  # seconds, for fourteen layers, twelve sections, two players
LIMIT_OF_FORTY = 10.0  # seconds, for forty layers, twenty sections, two to four players


def seconds(task: Callable[[], object], runs: int = RUNS) -> tuple[float, float]:
    """Median time of a task and of its processors, after one run to warm up."""
    times, busy = [], []
    for _ in range(runs + 1):
        start, used = time.perf_counter(), time.process_time()
        task()
        times.append(time.perf_counter() - start)
        busy.append(time.process_time() - used)
    return statistics.median(times[1:]), statistics.median(busy[1:])


def row(song: Song, players: int) -> None:
    """Print one case."""
    layers, sections = len(song.parts), len(song.sections)
    found = condense(song, players)
    took, busy = seconds(lambda: condense(song, players), 1 if players > 2 else RUNS)
    looking, _ = seconds(lambda: find_clashes(song), 1)
    print(f"{layers:7}{sections:9}{players:8}{len(song.notes):7}{took:9.2f}{busy:7.2f}"
          f"{looking:10.2f}{found.share:8.1%}{found.gap:8.2%}", flush=True)  # fmt: skip


def main() -> None:
    """Print the tables."""
    if len(sys.argv) > 1:
        corpus(Path(sys.argv[1]))
        return
    print(f"{'layers':>7}{'sections':>9}{'players':>8}{'notes':>7}{'seconds':>9}{'busy':>7}"
          f"{'findings':>10}{'worth':>8}{'gap':>8}")  # fmt: skip
    row(layered_song(14, 12), 2)
    print(f"limit for this one: {LIMIT:g} seconds\n\nforty layers as overdubbed")
    for players in (2, 3, 4):
        row(overdubbed_song(), players)
    print(f"limit for these: {LIMIT_OF_FORTY:g} seconds\n\nforty layers in all sections")
    for players in (2, 3, 4):
        row(overdubbed_song(share=1.0), players)
    print("\na hundred layers")
    row(overdubbed_song(100, 3), 2)
    print("\nlayers")
    for layers in (4, 6, 8, 10, 12, 14, 16):
        row(layered_song(layers, 12), 2)
    print("\nsections")
    for sections in (3, 6, 12, 24):
        row(layered_song(14, sections), 2)
    print("\nplayers")
    for players in (1, 2, 3, 4):
        row(layered_song(14, 12), players)


if __name__ == "__main__":
    main()
