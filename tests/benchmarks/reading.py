"""Measure how fast and in how much memory a score is read and measured, against other readers.

Run it by hand: ``python tests/benchmarks/reading.py`` (some minutes). It prints two tables. All
readers read the same bytes in turn in one process, the heap is trimmed between samples, and times
are medians of 7 (3 for the slow readers). Memory is the growth of the peak resident size in a fresh
process.
"""

from __future__ import annotations

import ctypes
import gc
import io
import multiprocessing
import re
import statistics
import sys
import tempfile
import time
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path

import music21
from lxml import etree

from arrange.clashes import find_clashes
from arrange.formats.musicxml import read_musicxml
from arrange.quantities.register import part_ranges, register_overlap
from arrange.tables.song import Song

CORPUS = Path(music21.__file__).parent
FILES = (
    "corpus/beethoven/opus133.mxl",
    "corpus/beethoven/opus132.mxl",
    "corpus/mozart/k458/movement1.mxl",
    "corpus/beethoven/opus59no3/movement3.mxl",
    "corpus/bach/bwv248.64-6.mxl",
    "corpus/mozart/k155/movement2.mxl",
    "corpus/leadSheet/fosterBrownHair.mxl",
    "corpus/bach/bwv66.6.mxl",
    "musicxml/lilypondTestSuite/71e-TabStaves.xml",
)
SAMPLES, SLOW_SAMPLES = 7, 3


def score_bytes(path: Path) -> bytes:
    """Return the bytes of a score, unpacked."""
    data = path.read_bytes()
    if data.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = [n for n in archive.namelist() if "META" not in n and n.endswith("xml")]
            data = archive.read(names[0])
    return data


def trim() -> None:
    """Give freed memory back, so that each sample starts from the same heap."""
    gc.collect()
    ctypes.CDLL("libc.so.6").malloc_trim(0)


def in_turn(tasks: list[Callable[[], object]], samples: int) -> list[float]:
    """Return the median milliseconds of each task; the tasks take turns within each round."""
    times: list[list[float]] = [[] for _ in tasks]
    for _ in range(samples + 1):
        for task, own in zip(tasks, times, strict=True):
            trim()
            start = time.perf_counter()
            task()
            own.append(1000 * (time.perf_counter() - start))
    return [statistics.median(own[1:]) for own in times]


def measure(song: Song) -> None:
    """Compute ranges and overlaps by song, section and measure, and the findings."""
    for by in ("song", "section", "measure"):
        part_ranges(song.notes, by, song.parts)
        register_overlap(song.notes, by)
    find_clashes(song)


def peak_megabytes(task: str, path: Path) -> float:
    """Return the growth of the peak resident size while a task runs in a fresh process."""
    context = multiprocessing.get_context("spawn")
    with context.Pool(1) as pool:
        return pool.apply(_peak, (task, path))


def _peak(task: str, path: Path) -> float:
    data = score_bytes(path)
    read_musicxml(score_bytes(CORPUS / FILES[-1]))  # modules that are loaded once do not count
    trim()
    before = _status("VmRSS")
    Path("/proc/self/clear_refs").write_text("5")  # the peak starts anew
    kept = etree.fromstring(data) if task == "lxml" else read_musicxml(data)
    peak = _status("VmHWM")
    del kept
    return peak - before


def _status(name: str) -> float:
    text = Path("/proc/self/status").read_text()
    return int(re.search(rf"{name}:\s+(\d+)", text)[1]) / 1024


def main() -> None:
    """Print the tables."""
    warnings.simplefilter("ignore")
    import partitura

    print("milliseconds (ratio to lxml's parse)")
    print(f"{'file':44}{'kB':>7}{'notes':>7}{'lxml':>8}{'arrange':>9}{'ratio':>7}"
          f"{'limit':>7}{'measure':>9}{'music21':>10}{'partitura':>11}")  # fmt: skip
    for name in FILES:
        data = score_bytes(CORPUS / name)
        song = read_musicxml(data, played=False)
        lxml, ours, measured = in_turn(
            [
                lambda data=data: etree.fromstring(data),
                lambda data=data: read_musicxml(data, played=False),
                lambda song=song: measure(song),
            ],
            SAMPLES,
        )
        with tempfile.NamedTemporaryFile(suffix=".musicxml") as file:
            file.write(data)
            file.flush()
            others = in_turn(
                [
                    lambda path=file.name: music21.converter.parse(
                        path, forceSource=True
                    ).flatten(),
                    lambda path=file.name: partitura.load_musicxml(path),
                ],
                1 if len(data) > 2e6 else SLOW_SAMPLES,
            )
        limit = 2.5 * lxml + (4 if len(data) < 150_000 else 0)
        print(f"{name:44}{len(data) / 1000:7.0f}{len(song.notes):7}{lxml:8.1f}{ours:9.1f}"
              f"{ours / lxml:7.2f}{limit:7.0f}{measured:9.1f}"
              f"{others[0]:9.0f}{others[0] / ours:5.0f}x"
              f"{others[1]:8.0f}{others[1] / ours:5.0f}x")  # fmt: skip
        sys.stdout.flush()

    print("\npeak memory, MB")
    for name in FILES[:4]:
        tree, ours = (peak_megabytes(task, CORPUS / name) for task in ("lxml", "ours"))
        print(f"{name:44} lxml's tree {tree:6.1f}   arrange {ours:6.1f}   {ours / tree:.2f}x")


if __name__ == "__main__":
    main()
