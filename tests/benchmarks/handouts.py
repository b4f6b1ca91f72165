"""How fast handouts are written, and how that grows with the song.

Run it by hand: ``python tests/benchmarks/handouts.py`` (about a minute). One process, medians of 3,
the first run left out. Two players, PDF and HTML for each and for the band. The demo is three and a
half minutes long; the longer song is the demo's sections one after the other again, each bar of
the copy a fret higher, so that nothing is written as before.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd

from arrange.formats.reading import read
from arrange.handouts import STYLES, write_handout
from arrange.tables.song import Song

DATASETS = Path(__file__).parent.parent.parent / "datasets"
SAMPLES = 3


def medians(task: Callable[[], object]) -> tuple[float, float]:
    """Median seconds on the clock and on the processor."""
    clock, processor = [], []
    for _ in range(SAMPLES + 1):
        start, used = time.perf_counter(), time.process_time()
        task()
        clock.append(time.perf_counter() - start)
        processor.append(time.process_time() - used)
    return statistics.median(clock[1:]), statistics.median(processor[1:])


def twice(song: Song) -> Song:
    """The song and once more, a semitone higher and on frets one higher."""
    bars, length = len(song.measures), song.duration
    again = {
        "sections": song.sections.assign(
            section=song.sections["section"] + " again",
            first_measure=song.sections["first_measure"] + bars,
            last_measure=song.sections["last_measure"] + bars,
        ),
        "measures": song.measures.assign(
            measure=song.measures["measure"] + bars, section=song.measures["section"] + " again"
        ),
        "chords": song.chords.assign(
            measure=song.chords["measure"] + bars, section=song.chords["section"] + " again"
        ),
        "notes": song.notes.assign(
            measure=song.notes["measure"] + bars, section=song.notes["section"] + " again",
            pitch=song.notes["pitch"] + 1, fret=song.notes["fret"] + 1,
        ),
    }  # fmt: skip
    tables = {
        name: pd.concat(
            [getattr(song, name), table.assign(onset=table["onset"] + length)], ignore_index=True
        )
        for name, table in again.items()
    }
    return replace(song, **tables)


def main() -> None:
    demo = read(DATASETS / "low-water.musicxml")
    print("song                       bars  style     seconds  of the processor")
    for name, song in (("demo", demo), ("demo, twice as long", twice(demo))):
        for style in STYLES:
            with tempfile.TemporaryDirectory() as folder:
                clock, used = medians(
                    lambda s=song, f=folder, y=style: write_handout(s, f, style=y)
                )
            print(f"{name:<25}{len(song.measures):>6}  {style:<9}{clock:>8.2f}{used:>18.2f}")


if __name__ == "__main__":
    main()
