"""The sound of one note, made without recordings: a few partials that die away or hold.

Partials are exact multiples of the fundamental (A4 is 440 Hz, ISO 16), so that a note is in tune
to the digit. A plucked string dies away as ``theory.decay`` says; how much sooner its high partials
do is ours, by ear.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from arrange.hearing import partials
from arrange.theory.decay import DECAY_SECONDS, decay_rate

Array = np.ndarray[Any, Any]

RATE = 44_100  # samples a second
MOST_SECONDS = 8.0  # a plucked note has died away by then; a held one goes on
_ATTACK_SECONDS = {"guitar": 0.001, "bass": 0.001, "keys": 0.002}
_HELD_ATTACK_SECONDS = 0.02
RELEASE_SECONDS = 0.03
_MUTED = 0.12  # times as long a muted string rings
_HIGHEST_HERTZ = 9_000.0
_BLOCK = 4_096  # samples over which an envelope is taken as straight


def tone(family: str, pitch: float, samples: int, muted: bool) -> Array:
    """Return one note, mono, its strongest partial with an amplitude of about 1.

    Parameters
    ----------
    family : str
        As in a parts table; guitar, bass and keys die away, the others hold.
    pitch : float
        MIDI number.
    samples : int
        How long it sounds, at ``RATE``; a short fade at its end is inside.
    muted : bool
        Stopped with the hand, so that it dies away at once.
    """
    wave = _ringing(family, pitch, -(-samples // RATE), muted)[:samples].copy()
    fade = min(int(RELEASE_SECONDS * RATE), samples)
    wave[samples - fade :] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
    return wave


@dataclass(frozen=True)
class Partials:
    """The partials of one note: Hz, amplitudes, how fast they die away (1/s), attack (seconds)."""

    hertz: Array
    strength: Array
    rate: Array
    attack: float


def note_partials(family: str, pitch: float, muted: bool) -> Partials:
    """Return the partials of a note, as `tone` sounds it."""
    spectrum = partials(np.array([pitch]))
    heard = spectrum.frequency < _HIGHEST_HERTZ
    hertz, strength = spectrum.frequency[heard], spectrum.amplitude[heard]
    if family not in DECAY_SECONDS:
        return Partials(hertz, strength, np.zeros(len(hertz)), _HELD_ATTACK_SECONDS)
    rate = decay_rate(family, hertz[:1]) * np.arange(1, len(hertz) + 1) ** 0.7
    rate = rate / (_MUTED if muted else 1.0)
    return Partials(hertz, strength, rate, _ATTACK_SECONDS[family])


@lru_cache(maxsize=256)
def _ringing(family: str, pitch: float, seconds: int, muted: bool) -> Array:
    """A note that rings on, from which shorter notes are cut; it is the same at every tempo."""
    wave = _sum(note_partials(family, pitch, muted), seconds * RATE).astype(np.float32)
    wave.setflags(write=False)
    return wave


def _sum(tones: Partials, samples: int) -> Array:
    wave = np.zeros(samples)
    for hertz, strength, rate in zip(tones.hertz, tones.strength, tones.rate, strict=True):
        # Within a block, rotation and decay are one complex power.
        wave += _partial(hertz, strength, rate, samples)
    return wave * np.minimum(np.arange(samples) / RATE / tones.attack, 1.0)


def _partial(hertz: float, strength: float, rate: float, samples: int) -> Array:
    """A sine that dies away: one block, rotated and weakened from block to block."""
    turn = 2j * np.pi * hertz / RATE - rate / RATE
    block = np.exp(turn * np.arange(min(_BLOCK, samples)))
    starts = np.exp(turn * _BLOCK * np.arange(-(-samples // _BLOCK)))
    whole: Array = (strength * np.outer(starts, block).imag).ravel()[:samples]
    return whole


KNOCK_SECONDS, KNOCK_DECAY_SECONDS, KNOCK_STRENGTH = 0.3, 0.04, 0.5


@lru_cache(maxsize=4)
def knock(samples: int) -> Array:
    """Return an unpitched stroke: noise that dies away, the same each time."""
    noise = np.random.default_rng(1).standard_normal(samples)
    return noise * np.exp(-np.arange(samples) / (KNOCK_DECAY_SECONDS * RATE)) * KNOCK_STRENGTH


CLICK_SECONDS = 0.04


def click_partials(accent: bool) -> Partials:
    """Return the one partial of a click of the count: higher on the first beat."""
    hertz = 1_500.0 if accent else 1_000.0
    return Partials(np.array([hertz]), np.ones(1), np.array([1 / 0.008]), 0.0005)


@lru_cache(maxsize=2)
def click(accent: bool) -> Array:
    """Return a click of the count."""
    return _sum(click_partials(accent), int(CLICK_SECONDS * RATE))
