"""The windows of sound that the net is trained on, and where they are computed."""

from __future__ import annotations

import torch
from agreed import HOP, RATE
from passages import BEFORE

FRAMES = 258  # of a window
SAMPLES = (FRAMES - 1) * HOP  # from its first frame to its last
FIRST = int(BEFORE * RATE)  # the sample at its first frame
SIZE = 131_072  # samples computed: what is before a window, the window, what is after it
DEVICE = "cuda" if torch.cuda.is_available() else "cpu"


def uniform(size: tuple[int, ...], low: float, high: float) -> torch.Tensor:
    """Return random numbers between two limits."""
    return torch.rand(size, device=DEVICE) * (high - low) + low


def one_in(count: int, share: float) -> torch.Tensor:
    """Return which windows have something that a share of them has, B x 1."""
    return torch.rand((count, 1), device=DEVICE) < share


def decibels(level: torch.Tensor) -> torch.Tensor:
    """Return the factor of a level in dB."""
    return 10 ** (level / 20)
