"""Which partials does a note or a chord hold, how strong is each, and which of them coincide?

An amplitude of 1 is 0 dB; where levels are sound pressure levels, that is 20 µPa. Partials are
exact multiples of the fundamental: the stiffness of strings is left out.

References
----------
T. Smyth, Music 206: Digital Waveguides (UC San Diego), Plucked String: the modes of a plucked
string are excited with the inverse square of their number, in displacement. A magnetic pickup
and a bridge follow the string's velocity and force, which makes it the inverse of the number:
6 dB an octave, if the point of plucking is left out. The same fall holds for a bowed string and,
without its formants, for a sung vowel (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import prod
from typing import Any, NamedTuple

import numpy as np

from arrange.errors import ArrangeError
from arrange.theory.pitch import frequency

Array = np.ndarray[Any, Any]

PARTIALS = 10
SAME_TONE = 1e-6  # partials this near to each other, relative to their frequency, are one


@dataclass(frozen=True)
class Drive:
    """How hard a signal is driven into ``tanh(gain * x + bias)``, the peak of `x` being 1.

    Parameters
    ----------
    gain : float
        Slope of the curve over that of one which just reaches its end; 0 is a straight line.
    bias : float
        Lack of symmetry.
    rolloff : float
        Fall of a driven note's partials in dB an octave.
    """

    gain: float
    bias: float
    rolloff: float


# Gains and biases are ours. The roll-offs follow from them: the line through the mean levels of
# the first ten partials of notes of 6 dB an octave, with random phases, after the curve.
DRIVES = {
    "clean": Drive(gain=0.0, bias=0.0, rolloff=6.0),
    "edge": Drive(gain=2.0, bias=0.5, rolloff=6.0),
    "overdriven": Drive(gain=5.0, bias=0.5, rolloff=5.4),
    "distorted": Drive(gain=10.0, bias=0.5, rolloff=5.0),
}
# Families that are played through an amplifier; the others are as clean.
AMPLIFIED = ("guitar", "bass", "keys")


class Partials(NamedTuple):
    """Pure tones of one or many moments.

    Parameters
    ----------
    frequency : array (..., partials)
        Hz; NaN where a moment has fewer.
    amplitude : array (..., partials)
        1 is 0 dB; 0 where a moment has fewer.
    """

    frequency: Array
    amplitude: Array

    @property
    def level(self) -> Array:
        """Levels in dB; minus infinity for silence."""
        with np.errstate(divide="ignore"):
            return 20 * np.log10(self.amplitude)


class Lines(NamedTuple):
    """The partials of many moments in one column, sorted by moment and frequency."""

    moment: Array
    frequency: Array
    amplitude: Array


def drive_named(name: str) -> Drive:
    """Return the ``Drive`` of a parts table's word.

    Raises
    ------
    ArrangeError
        If there is no such drive.
    """
    if name not in DRIVES:
        raise ArrangeError(f"no drive is called {name!r}; write one of {', '.join(DRIVES)}")
    return DRIVES[name]


def rolloff(family: str = "guitar", drive: str = "clean") -> float:
    """Return the fall of a part's partials in dB an octave.

    Parameters
    ----------
    family, drive : str
        As in a parts table. Without an amplifier (voice, other) the drive does not count.

    Raises
    ------
    ArrangeError
        If there is no such drive.
    """
    driven = drive_named(drive)
    return driven.rolloff if family in AMPLIFIED else DRIVES["clean"].rolloff


def partials(
    pitch: Array, level: Array | float = 0.0, rolloff: Array | float = 6.0, count: int = PARTIALS
) -> Partials:
    """Return the partials of chords of harmonic tones.

    Parameters
    ----------
    pitch : array (..., notes)
        Sounding MIDI numbers; NaN where a chord has fewer notes.
    level : float or array (..., notes)
        Of the fundamentals, dB.
    rolloff : float or array (..., notes)
        Fall in dB an octave. With 20 log10(2), about 6.02, partial k is 1/k as strong as the
        first; 6 is taken as just that.
    count : int
        Partials of a note.

    Returns
    -------
    Partials
        (..., notes * count), those of one note next to each other.
    """
    pitch = np.asarray(pitch, dtype=float)
    fall = np.asarray(rolloff, dtype=float)[..., None] / 6.0
    number = np.arange(1, count + 1)
    hertz = frequency(pitch)[..., None] * number
    first = np.where(np.isnan(pitch), 0.0, 10 ** (np.asarray(level, dtype=float) / 20))
    amplitude = np.broadcast_to(first[..., None] * number**-fall, hertz.shape)
    shape = (*pitch.shape[:-1], pitch.shape[-1] * count)
    return Partials(hertz.reshape(shape), amplitude.reshape(shape))


def joined(*parts: Partials) -> Partials:
    """Return the partials of several parts at the same moments as those of one."""
    return Partials(
        np.concatenate([part.frequency for part in parts], axis=-1),
        np.concatenate([part.amplitude for part in parts], axis=-1),
    )


def merged(tones: Partials) -> Partials:
    """Return partials in order of frequency, with coinciding ones made one.

    Their amplitudes are added, as if they were in phase.
    """
    lines = lines_of(tones)
    moments = prod(tones.frequency.shape[:-1])
    counts = np.bincount(lines.moment, minlength=moments)
    place = np.arange(len(lines.moment)) - np.repeat(np.cumsum(counts) - counts, counts)
    shape = (moments, int(counts.max(initial=0)))
    hertz, amplitude = np.full(shape, np.nan), np.zeros(shape)
    hertz[lines.moment, place] = lines.frequency
    amplitude[lines.moment, place] = lines.amplitude
    whole = (*tones.frequency.shape[:-1], shape[1])
    return Partials(hertz.reshape(whole), amplitude.reshape(whole))


def lines_of(tones: Partials, *, merging: bool = True) -> Lines:
    """Return the partials of all moments in one column, coinciding ones merged or left apart.

    The moments are counted through the leading axes of `tones`, in C order.
    """
    hertz, amplitude = _rows(tones.frequency), _rows(tones.amplitude)
    order = np.argsort(hertz, axis=1)  # NaN comes last
    hertz = np.take_along_axis(hertz, order, axis=1)
    amplitude = np.take_along_axis(amplitude, order, axis=1)
    sounds = np.isfinite(hertz) & (amplitude > 0)
    moment = np.nonzero(sounds)[0]
    hertz, amplitude = hertz[sounds], amplitude[sounds]
    if not merging:
        return Lines(moment, hertz, amplitude)
    is_new = np.ones(len(hertz), dtype=bool)
    is_new[1:] = (np.diff(hertz) > SAME_TONE * hertz[1:]) | (np.diff(moment) > 0)
    starts = np.flatnonzero(is_new)
    strength = np.add.reduceat(amplitude, starts) if len(starts) else amplitude
    return Lines(moment[starts], hertz[starts], strength)


def _rows(values: Array) -> Array:
    return values.reshape(prod(values.shape[:-1]), values.shape[-1])
