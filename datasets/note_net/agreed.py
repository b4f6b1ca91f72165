"""What training and ``arrange.recording`` agree on; tests/test_recording.py compares the two."""

from __future__ import annotations

import numpy as np

RATE, HOP = 22_050, 256  # samples a second, and from frame to frame
LONG, SHORT = 4096, 1024  # samples of the windows of the two spectra
BINS_LOW, BINS_HIGH, PER_SEMITONE = 23, 125, 3  # pitches, MIDI numbers, and bins
FLOOR = 90.0  # dB below full level, at which a bin is 0
LOW, PITCHES = 35, 54  # the lowest pitch that is heard, MIDI number, and how many
LEVEL = 0.1  # root mean square of a layer's loud parts
BINS = (BINS_HIGH - BINS_LOW) * PER_SEMITONE + 1


def bin_weights(size: int) -> np.ndarray:
    """Return how much of each line of a spectrum is in each bin, lines x bins: triangles, at least
    two lines wide.
    """
    hertz = np.arange(size // 2 + 1) * RATE / size
    centre = 440 * 2 ** ((BINS_LOW + np.arange(BINS) / PER_SEMITONE - 69) / 12)
    half = np.maximum(centre * (2 ** (1 / 12 / PER_SEMITONE) - 1), RATE / size)
    weights = np.maximum(0, 1 - np.abs(hertz - centre[:, None]) / half[:, None])
    return np.ascontiguousarray(weights.T, dtype=np.float32)
