"""Measure how fast every voicing of a chord is found, on six strings and 22 frets.

Run it by hand: ``python tests/benchmarks/hands.py`` (some seconds). It prints the least and the
median of 40 calls, in ms, for a chord asked for the first time and for a chord asked for again,
which is cached. Processor time stands beside it, since other work on the machine makes the clock
time longer.
"""

from __future__ import annotations

import statistics
import time

import numpy as np

from arrange.guitar.hands import Hand, hold_shapes
from arrange.guitar.necks import LEFT_OUT, Neck
from arrange.guitar.voicing_search import candidates
from arrange.guitar.voicings import _found, _query, find_voicings

CHORDS = ("C", "C7", "Cmaj7", "Cm7b5", "G7", "Em7", "Am9", "D/F#")
SAMPLES = 40


def clocked(task) -> tuple[float, float, float]:
    """Return the least and median ms by the clock, and the least by the processor."""
    wall, own = [], []
    for _ in range(SAMPLES + 3):
        start, start_own = time.perf_counter(), time.process_time()
        task()
        own.append(1000 * (time.process_time() - start_own))
        wall.append(1000 * (time.perf_counter() - start))
    return min(wall[3:]), statistics.median(wall[3:]), min(own[3:])


def main() -> None:
    """Print the table."""
    neck, hand = Neck(), Hand()
    print(f"{'chord':8}{'candidates':>11}{'voicings':>9}{'least':>7}{'median':>8}{'own':>6}"
          f"{'again':>8}  ms")  # fmt: skip
    for chord in CHORDS:
        query = _query(chord, neck)
        begun = len(candidates(query, neck, hand))
        found = len(find_voicings(chord, neck, hand))
        least, median, own = clocked(lambda query=query: _found.__wrapped__(query, neck, hand))
        _, again, _ = clocked(lambda chord=chord: find_voicings(chord, neck, hand))
        print(f"{chord:8}{begun:11,}{found:9,}{least:7.1f}{median:8.1f}{own:6.1f}{again:8.2f}")

    random = np.random.default_rng(1)
    shapes = random.integers(1, 18, 30_000)[:, None] + random.integers(0, 5, (30_000, 6))
    shapes = np.where(random.random(shapes.shape) < 0.4, LEFT_OUT, shapes)
    least, median, own = clocked(lambda: hold_shapes(shapes, neck, hand))
    print(f"30,000 shapes held{least:17.1f}{median:8.1f}{own:6.1f}")


if __name__ == "__main__":
    main()
