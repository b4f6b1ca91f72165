"""Measure how fast the hearing models are on many moments at once.

Run it by hand: ``python tests/benchmarks/hearing.py`` (some seconds). Medians of 15, in ms, for 100
moments and for 3,000 of a song: two parts of four notes of ten partials each. The tables are made
once for a song, from its different tones.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from arrange.hearing import (
    DRIVES,
    Partials,
    beats,
    clipping_products,
    joined,
    loudness,
    mask_table,
    masked_share,
    partials,
    roughness,
    roughness_sethares,
    roughness_vassilakis,
    tone_table,
)
from arrange.theory.pitch import frequency

LOWEST, HIGHEST = 40, 76
SAMPLES = 15


def median(task: Callable[[], object]) -> float:
    """Return the median milliseconds of a task."""
    task()
    times = []
    for _ in range(SAMPLES):
        start = time.perf_counter()
        task()
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times)


def counts(pitches: np.ndarray, shift: int) -> np.ndarray:
    """Return how often each tone of the palette sounds at each moment."""
    table = np.zeros((len(pitches), 2 * (HIGHEST - LOWEST + 1)))
    row = np.arange(len(pitches))[:, None]
    np.add.at(table, (row, pitches.astype(int) - LOWEST + shift), 1)
    return table


def main() -> None:
    """Print the table."""
    rng = np.random.default_rng(7)
    every = np.arange(LOWEST, HIGHEST + 1.0)
    palette = partials(np.tile(every, 2)[:, None], np.repeat([70.0, 64], len(every))[:, None])
    print(f"tables of {len(palette.frequency)} tones, ms:")
    print(f"  tone_table {median(lambda: tone_table(palette)):.2f}")
    print(f"  mask_table {median(lambda: mask_table(palette)):.2f}")
    for moments in (100, 3000):
        pitches = rng.integers(LOWEST, HIGHEST + 1, (moments, 8)).astype(float)
        one, other = partials(pitches[:, :4], 70), partials(pitches[:, 4:], 64)
        both = joined(one, other)
        tones, masks = tone_table(palette), mask_table(palette)
        a, b = counts(pitches[:, :4], 0), counts(pitches[:, 4:], len(every))
        power_chords = frequency(pitches[:, :3])
        products = clipping_products(power_chords, 1 / 3, DRIVES["overdriven"])
        lines = joined(Partials(power_chords, np.ones((moments, 3))), products.tones)
        tasks: dict[str, Callable[[], object]] = {
            "partials": lambda p=pitches: partials(p),
            "roughness": lambda x=both: roughness(x),
            "roughness, from the table": lambda t=tones, w=a + b: t.roughness(w),
            "masked_share": lambda x=one, y=other: masked_share(x, y),
            "masked_share, from the table": lambda t=masks, x=a, y=b: t.masked_share(x, y),
            "loudness": lambda x=one: loudness(x),
            "clipping_products, three tones": lambda f=power_chords: clipping_products(
                f, 1 / 3, DRIVES["overdriven"]
            ),
            "beats, three tones and products": lambda x=lines: beats(x),
        }
        if moments == 100:
            tasks["roughness_sethares"] = lambda x=both: roughness_sethares(x)
            tasks["roughness_vassilakis"] = lambda x=both: roughness_vassilakis(x)
        print(f"{moments} moments, ms:")
        for name, task in tasks.items():
            print(f"  {name:34}{median(task):9.3f}")


if __name__ == "__main__":
    main()
