"""Notes of guitars that are computed, every one another instrument."""

from __future__ import annotations

import numpy as np
from agreed import RATE
from collect_notes import SECONDS

MOST = 60  # partials of a note
HIGHEST = 10_500  # Hz
BESIDE = 0.4  # strength of a second vibration of each partial, against which it beats

Note = tuple[str, int, np.ndarray]


def computed_strings(instrument: int, seed: int) -> list[Note]:
    """Return family, pitch and wave of the notes of an instrument.

    Its partials are a little sharp, as strong as it follows from where the string is plucked and
    where it is heard, and the high ones die away sooner.
    """
    rng = np.random.default_rng([seed, instrument])
    pluck, pickup = rng.uniform(0.04, 0.3), rng.uniform(0.03, 0.3)
    tilt, stiff = rng.uniform(0.2, 1.3), 10 ** rng.uniform(-5.3, -3.5)
    slow, fast = rng.uniform(0.25, 1.2), 10 ** rng.uniform(-0.5, 0.6)
    colour = np.exp(rng.normal(0, 0.7, MOST))
    rows = []
    for pitch in range(33 + instrument % 3, 91, 3):
        lowest = 440 * 2 ** ((pitch - 69) / 12)
        number = np.arange(1, int(9000 / lowest) + 1)[:MOST]
        hertz = number * lowest * np.sqrt(1 + stiff * number**2)
        number, hertz = number[hertz < HIGHEST], hertz[hertz < HIGHEST]
        place = np.sin(np.pi * number * pluck) * np.sin(np.pi * number * pickup)
        strength = np.abs(place) / number**tilt * colour[: len(number)]
        strength *= rng.uniform(0.6, 1.4, len(number))
        bright = fast * (hertz / 1000) ** rng.uniform(0.7, 1.5)
        fades = slow * (lowest / 110) ** 0.4 * (1 + bright)
        rows.append((f"computed {instrument}", pitch, _ringing(rng, hertz, strength, fades)))
    return rows


def _ringing(
    rng: np.random.Generator, hertz: np.ndarray, strength: np.ndarray, fades: np.ndarray
) -> np.ndarray:
    """The sum of partials that die away by ``fades`` (1/s), with a click; its peak is 1."""
    at = np.arange(int(SECONDS * RATE)) / RATE
    beats = rng.uniform(-0.4, 0.4, len(hertz))  # Hz
    phases = rng.uniform(0, 2 * np.pi, len(hertz))
    wave = np.zeros(len(at))
    for each, loud, fade, beat, phase in zip(hertz, strength, fades, beats, phases, strict=True):
        own = np.sin(2 * np.pi * each * at)
        own += BESIDE * np.sin(2 * np.pi * (each + beat) * at + phase)
        wave += loud * np.exp(-fade * at) * own
    click = np.exp(-np.arange(200) / 40) * rng.uniform(0, 0.3) * np.abs(wave).max()
    wave[:200] += rng.normal(size=200) * click
    return wave / np.abs(wave).max()
