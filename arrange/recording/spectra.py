"""What the net sees of a layer: how strong each third of a semitone is, moment by moment."""

from __future__ import annotations

from functools import cache

import numpy as np

from arrange.recording.audio_files import RATE
from arrange.tables.sounding import Array

HOP = 256  # samples from frame to frame
LONG, SHORT = 4096, 1024  # samples of a window: one tells pitches apart, the other moments
LOWEST, HIGHEST = 23, 125  # pitches, MIDI numbers
PER_SEMITONE = 3  # bins
BINS = (HIGHEST - LOWEST) * PER_SEMITONE + 1
FLOOR = 90.0  # dB below full level, at which a bin is 0
LEVEL = 0.1  # root mean square of a layer's loud parts: -20 dB below full
_TENTH = RATE // 10  # samples over which loudness is taken
_LOUD_WITHIN = 30.0  # dB of the loudest tenth of a second, within which a layer plays
_LOUD = 0.8  # share of the playing time that is softer than its loud parts
_AT_ONCE, _BAND = 16, 12  # frames and bins: so few that numpy multiplies them in one thread


def levelled(samples: Array) -> Array:
    """Return a layer with its loud parts at ``LEVEL``; silence stays as it is.

    The whole layer is levelled at once: levelled window by window, hiss in a rest would be as
    loud as what is played.
    """
    blocks = samples[: len(samples) // _TENTH * _TENTH].reshape(-1, _TENTH)
    loudness = np.sqrt(np.mean(blocks**2, axis=1, dtype=np.float64))
    loudest = loudness.max(initial=0.0)
    if loudest < 1e-5:
        return samples
    plays = loudness > loudest * 10 ** (-_LOUD_WITHIN / 20)
    return samples * np.float32(LEVEL / np.quantile(loudness[plays], _LOUD))


def spectra(samples: Array, first: int, last: int) -> Array:
    """Return the spectra of some frames of a levelled layer.

    Parameters
    ----------
    samples : array of float32
    first, last : int
        Frames, the last not among them. Frame 0 is at the start of the layer.

    Returns
    -------
    array of float32, 2 x frames x bins
        For the long and the short window: 0 at ``FLOOR`` below full level and under it, 1 at full
        level. The bins go from ``LOWEST`` to ``HIGHEST``.
    """
    out = np.empty((2, last - first, BINS), dtype=np.float32)
    for row, size in enumerate((LONG, SHORT)):
        window = np.hanning(size + 1)[:-1].astype(np.float32)
        window *= 2 / window.sum()
        bands = _bands(size)
        for begin in range(first, last, _AT_ONCE):
            end = min(begin + _AT_ONCE, last)
            own = out[row, begin - first : end - first]
            lines = np.fft.rfft(_windows(samples, begin, end, size) * window)
            squares = lines.view(np.float32) ** 2  # of real and imaginary parts, in turn
            for bins, parts, weights in bands:
                np.matmul(squares[:, parts], weights, out=own[:, bins])
    return np.maximum(np.log10(out + 1e-12) * np.float32(10 / FLOOR) + 1, 0)


def power(bins: Array) -> Array:
    """Return the power of bins that ``spectra`` gives, 1 at full level."""
    return 10 ** ((bins - 1) * (FLOOR / 10))


def _windows(samples: Array, begin: int, end: int, size: int) -> Array:
    """The windows in the middle of which the frames are; silence before and after the layer."""
    start, stop = begin * HOP - size // 2, (end - 1) * HOP + size // 2
    piece = samples[max(start, 0) : max(stop, 0)]
    around = (max(-start, 0), stop - max(start, 0) - len(piece))
    return np.lib.stride_tricks.sliding_window_view(np.pad(piece, around), size)[::HOP]


@cache
def _bands(size: int) -> list[tuple[slice, slice, Array]]:
    """Some bins at a time, the real and imaginary parts of the lines that are in them, and how
    much of each part is in each bin.
    """
    weights = np.repeat(_bin_weights(size), 2, axis=0)
    bands = []
    for begin in range(0, BINS, _BAND):
        bins = slice(begin, min(begin + _BAND, BINS))
        own = np.flatnonzero(weights[:, bins].any(axis=1))
        parts = slice(int(own[0]), int(own[-1]) + 1)
        bands.append((bins, parts, np.ascontiguousarray(weights[parts, bins])))
    return bands


def _bin_weights(size: int) -> Array:
    """How much of each line of a spectrum is in each bin: a triangle that is a bin wide on either
    side, or a line where lines are further apart.
    """
    hertz = np.arange(size // 2 + 1) * RATE / size
    steps = LOWEST + np.arange(BINS) / PER_SEMITONE
    centre = 440 * 2 ** ((steps - 69) / 12)
    half = np.maximum(centre * (2 ** (1 / 12 / PER_SEMITONE) - 1), RATE / size)
    weights = np.maximum(0, 1 - np.abs(hertz - centre[:, None]) / half[:, None])
    return np.asarray(weights.T, dtype=np.float32)
