"""What all training scripts agree on: rate, frames, pitches, and where to compute."""

from __future__ import annotations

import torch

RATE, HOP = 22_050, 256
FRAMES = 258  # of a window
LONG, SHORT = 4096, 1024  # samples of the two spectra
BINS_LOW, BINS_HIGH, PER_SEMITONE = 23, 125, 3
LOW, PITCHES = 35, 54
BEFORE = 2.0  # seconds of music before a window
SAMPLES = (FRAMES - 1) * HOP
PRE = int(BEFORE * RATE)
SIZE = 131_072  # samples of a window with what is before and after it
DEVICE = "cuda" if torch.cuda.is_available() else "cpu"


def uniform(size: tuple[int, ...], low: float, high: float) -> torch.Tensor:
    """Return random numbers between two limits."""
    return torch.rand(size, device=DEVICE) * (high - low) + low
