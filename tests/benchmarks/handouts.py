"""Measure how fast handouts are written, and how the time grows with the song.

Run it by hand: ``python tests/benchmarks/handouts.py`` (about a minute). One process, medians of 3,
the first run left out. Two players, PDF and HTML for each and for the band. The demo is three and a
half minutes long; the longer song repeats the demo's sections with each bar of the copy a fret
higher, so that no line can be reused. ``--sections`` takes minutes: it measures songs of 200
sections of four bars, all different or made of four that return, once each.

Seconds of the processor with ``--sections`` on a machine with two cores, before equal lines were
engraved once and sections that return were worked out once, and after:

sections    style      before   after
200         notation     19.3    19.3
200         shapes        7.7     8.1
4 return    notation      4.2     4.1
4 return    shapes        6.5     5.1

Here all bars differ, so that notation gains nothing. For a song of 200 different sections made of
eight different bars it took 22.3 before and 15.7 after.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from random import Random

import pandas as pd

from arrange.formats.chart import read_chart
from arrange.formats.reading import read
from arrange.handouts import STYLES, Layout, write_handout
from arrange.tables.song import Song

DATASETS = Path(__file__).parent.parent.parent / "datasets"
SAMPLES = 3


def medians(task: Callable[[], object]) -> tuple[float, float]:
    """Return median seconds on the clock and on the processor."""
    clock, processor = [], []
    for _ in range(SAMPLES + 1):
        start, used = time.perf_counter(), time.process_time()
        task()
        clock.append(time.perf_counter() - start)
        processor.append(time.process_time() - used)
    return statistics.median(clock[1:]), statistics.median(processor[1:])


def twice(song: Song) -> Song:
    """Return the song played twice, the second time a semitone and one fret higher."""
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


SHAPES = ("577655", "x57775", "577555", "x57765")


def many_sections(count: int, different: int) -> Song:
    """Return sections of four bars, with two shapes a bar for each guitar, drawn at random."""
    chance = Random(1)
    lines = ["key: E major", "part: Guitar 1; standard tuning", "part: Guitar 2; standard tuning"]
    kinds = []
    for _ in range(different):
        bars = [[_moved(chance) for _ in range(4)] for _ in range(4)]
        rhythms = [chance.choice(["", "eighths", "quarters", "picked-up"]) for _ in range(4)]
        kinds.append([
            "Guitar 1 | " + " | ".join(f"{a} {b} eighths" for a, b, _, _ in bars) + " |",
            "Guitar 2 | " + " | ".join(
                f"{c} {d} {rhythm}" for (_, _, c, d), rhythm in zip(bars, rhythms, strict=True)
            ) + " |",
        ])  # fmt: skip
    for number in range(count):
        lines += [f"section: S{number + 1}", *kinds[number % different]]
    return read_chart("\n".join(lines).encode())


def _moved(chance: Random) -> str:
    """Return a shape moved somewhere along the neck."""
    shape, frets = chance.choice(SHAPES), chance.randrange(7)
    return "-".join(sign if sign == "x" else str(int(sign) + frets) for sign in shape)


def time_sections() -> None:
    """Time two hundred sections, all different or returning, once each."""
    for different in (200, 4):
        song = many_sections(200, different)
        for style in STYLES:
            with tempfile.TemporaryDirectory() as folder:
                start, used = time.perf_counter(), time.process_time()
                write_handout(song, folder, layout=Layout(style=style))
                clock, used = time.perf_counter() - start, time.process_time() - used
            print(f"200 sections of {different:<11}{800:>6}  {style:<9}{clock:>8.2f}{used:>18.2f}")


def main() -> None:
    print("song                       bars  style     seconds  of the processor")
    if "--sections" in sys.argv:
        time_sections()
        return
    demo = read(DATASETS / "low-water.musicxml")
    for name, song in (("demo", demo), ("demo, twice as long", twice(demo))):
        for style in STYLES:
            with tempfile.TemporaryDirectory() as folder:
                clock, used = medians(
                    lambda s=song, f=folder, y=style: write_handout(s, f, layout=Layout(style=y))
                )
            print(f"{name:<25}{len(song.measures):>6}  {style:<9}{clock:>8.2f}{used:>18.2f}")


if __name__ == "__main__":
    main()
