"""The drive and the echo of a part: one curve, one delay."""

from __future__ import annotations

import numpy as np

from arrange.hearing import drive_named
from arrange.quantities.texture import ECHO_DECIBELS, ECHO_REPEATS
from arrange.sound.tones import RATE, Array

CABINET_HERTZ = 4_500.0  # Hz above which a loudspeaker for guitars gets softer
_REACH = 32  # samples on both sides that the filter looks at
_BLOCK = 2**18  # samples at a time, so that memory stays small


def driven(wave: Array, drive: str) -> Array:
    """Return a part's signal with its drive, as loud at its peak as before.

    The curve is ``tanh(gain * x + bias)`` as in ``hearing``, followed by a loudspeaker's low-pass
    filter. In between the sample rate is doubled, so that the curve's products do not alias.
    """
    peak = max(-wave.min(initial=0.0), wave.max(initial=0.0))
    shape = drive_named(drive)
    if not shape.gain or not peak:
        return wave
    shaped = np.empty_like(wave)
    for begin in range(0, len(wave), _BLOCK):
        start, end = max(begin - _REACH, 0), min(begin + _BLOCK, len(wave))
        fine = _resampled(wave[start : end + _REACH] / peak, 2)
        fine = np.tanh(shape.gain * fine + shape.bias) - np.tanh(shape.bias)
        shaped[begin:end] = _low_passed(fine, 2 * RATE)[::2][begin - start : end - start]
    shaped *= peak / max(-shaped.min(), shaped.max())
    return shaped


def _resampled(wave: Array, times: int) -> Array:
    """The signal at a multiple of its rate: straight lines between the samples."""
    fine = np.repeat(wave, times)
    for step in range(1, times):
        share = step / times
        fine[step::times] = wave * (1 - share) + np.append(wave[1:], 0.0) * share
    return fine


def _low_passed(wave: Array, rate: int) -> Array:
    """The signal without frequencies above the cabinet's limit; there is no delay."""
    # A short symmetric window of the sinc that cuts there.
    place = np.arange(-_REACH, _REACH + 1)
    kernel = np.sinc(2 * CABINET_HERTZ / rate * place) * np.hanning(len(place))
    smooth: Array = np.convolve(wave, kernel / kernel.sum(), mode="same")
    return smooth


def add_echo(wave: Array, into: Array, seconds: float) -> None:
    """Add the repeats of a signal to another, each softer by the same step."""
    for repeat in range(1, ECHO_REPEATS + 1):
        start = round(repeat * seconds * RATE)
        length = min(len(wave), len(into) - start)
        if length > 0:
            into[start : start + length] += wave[:length] * 10 ** (ECHO_DECIBELS * repeat / 20)
