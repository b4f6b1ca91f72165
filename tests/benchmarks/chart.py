"""Measure how fast a chart is read, compared with the MusicXML of the same song.

Run it by hand: ``python tests/benchmarks/chart.py`` (under a minute). One process, the same songs
in turn, medians of 7. The long song is the demo repeated until it has 300 bars; both files are
written by this package, without repeat signs.
"""

from __future__ import annotations

import gc
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from arrange.formats.chart import format_chart, read_chart
from arrange.formats.musicxml import read_musicxml
from arrange.formats.musicxml.writing import write_musicxml
from arrange.tables.song import Song

DATASETS = Path(__file__).parent.parent.parent / "datasets"
SAMPLES = 7
BARS = 300


def in_turn(tasks: list[Callable[[], object]]) -> list[float]:
    """Return the median milliseconds of each task; the tasks take turns within each round."""
    times: list[list[float]] = [[] for _ in tasks]
    for _ in range(SAMPLES + 1):
        for task, own in zip(tasks, times, strict=True):
            gc.collect()
            start = time.perf_counter()
            task()
            own.append(1000 * (time.perf_counter() - start))
    return [statistics.median(own[1:]) for own in times]


def long_chart() -> bytes:
    """Return the chart of the demo with its sections repeated until the song is long."""
    text = format_chart(read_chart((DATASETS / "low-water.txt").read_bytes()))
    head, *sections = text.split("\n\nsection: ")
    rounds = -(-BARS // 92)  # bars of the demo as played
    return "\n\nsection: ".join([head, *sections * rounds]).encode()


def as_musicxml(song: Song) -> bytes:
    """Return the song as MusicXML."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "song.musicxml"
        write_musicxml(song, path)
        return path.read_bytes()


def main() -> None:
    """Print the table."""
    print(f"{'song':28}{'bars':>6}{'notes':>7}{'chart kB':>10}{'xml kB':>8}"
          f"{'chart ms':>10}{'xml ms':>8}{'ratio':>7}")  # fmt: skip
    typed = {name: (DATASETS / f"{name}.txt").read_bytes() for name in ("low-water", "tarrow-weir")}
    charts = {
        **{f"{name}, typed": data for name, data in typed.items()},
        **{f"{name}, written": format_chart(read_chart(d)).encode() for name, d in typed.items()},
        "300 bars, written": long_chart(),
    }
    for name, data in charts.items():
        song = read_chart(data)
        score = as_musicxml(song)
        chart, xml = in_turn([lambda d=data: read_chart(d), lambda d=score: read_musicxml(d)])
        print(f"{name:28}{len(song.measures):6}{len(song.notes):7}{len(data) / 1000:10.0f}"
              f"{len(score) / 1000:8.0f}{chart:10.1f}{xml:8.1f}{chart / xml:7.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
