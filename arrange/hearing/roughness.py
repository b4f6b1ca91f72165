"""How rough does a chord sound, by the beating of partials that lie within a critical band?

Roughness is one side of consonance, not all of it: a rough chord is not a wrong one. Coinciding
partials are merged first, their amplitudes added, so that doubling a part in unison changes nothing
(but see ``roughness_vassilakis``). Hutchinson and Knopoff's figure is divided by the power: it says
how rough a sound is, whatever its level. Compare chords with different numbers of notes with
caution.

For a song, with thousands of moments made of few different tones, use ``tone_table``.

References
----------
W. Hutchinson and L. Knopoff (1978), Interface 7(1), 1-29, with the curve of A. Mashinter (2006),
Empirical Musicology Review 1(2), 65-84: ``roughness``.
W. Sethares (1993), J. Acoust. Soc. Am. 94, 1218-1228: ``roughness_sethares``.
P. Vassilakis (2001), PhD thesis, UCLA, eq. 6.23: ``roughness_vassilakis``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod

import numpy as np

from arrange.errors import ArrangeError
from arrange.hearing.spectra import (
    SAME_TONE,
    Array,
    Lines,
    Partials,
    lines_of,
    partials,
    rolloff,
)

ROUGHEST = 0.25  # the distance in critical bands at which two tones are roughest
FARTHEST = 1.2  # beyond it two tones count as smooth


def critical_bandwidth(one: Array | float, other: Array | float) -> Array:
    """Return Hutchinson and Knopoff's critical bandwidth in Hz between two frequencies in Hz."""
    return 1.72 * ((np.asarray(one) + other) / 2) ** 0.65


def interference(distance: Array | float) -> Array:
    """Return how rough two equal tones are, 0 to 1, by their distance in critical bandwidths."""
    near = np.asarray(distance) / ROUGHEST
    return np.where(near > FARTHEST / ROUGHEST, 0.0, (near * np.exp(1 - near)) ** 2)


def roughness(tones: Partials) -> Array:
    """Return the roughness of each moment after Hutchinson and Knopoff; 0 for silence.

    Parameters
    ----------
    tones : Partials (..., partials)
        All that sounds at the moment, merged or not.

    Returns
    -------
    array (...)
        No unit. About 0.5 for two pure tones a semitone apart, 0.02 for a fifth of rich tones.
    """
    lines = lines_of(tones)
    first, second = _pairs(lines, _reach(lines.frequency))
    strength = lines.amplitude[first] * lines.amplitude[second]
    rough = strength * _interference_of(lines.frequency[first], lines.frequency[second])
    shape = tones.frequency.shape[:-1]
    power = _by_moment(lines.moment, lines.amplitude**2, shape)
    return _over(_by_moment(lines.moment[first], rough, shape), power)


def interval_roughness(low: float, semitones: Array | Sequence[float]) -> Array:
    """Return the ``roughness`` of two strings of a clean guitar, for each interval above a note.

    Parameters
    ----------
    low : float
        The lower note, a MIDI number.
    semitones : sequence of float
        The sizes of the intervals.
    """
    pairs = low + np.stack([np.zeros(len(semitones)), np.asarray(semitones, dtype=float)], axis=1)
    return roughness(partials(pairs, rolloff=rolloff("guitar")))


@dataclass(frozen=True)
class ToneTable:
    """What each two tones of a palette add to the roughness of a chord that holds both.

    Merging keeps Hutchinson and Knopoff's sums quadratic in the strengths of the tones, so a
    song's chords, however many, need each pair of its different tones only once.

    Parameters
    ----------
    rough : array (tones, tones)
        Sum of A_i A_j g_ij over the partials of the two; symmetric.
    power : array (tones, tones)
        Sum of A_i A_j over partials that coincide; symmetric.
    """

    rough: Array
    power: Array

    def roughness(self, strength: Array) -> Array:
        """Return the roughness of chords; equal to ``roughness`` of their partials.

        Parameters
        ----------
        strength : array (..., tones)
            Amplitude of each tone in each chord, as a factor on the palette's; 0 for silence.

        Returns
        -------
        array (...)

        Raises
        ------
        ArrangeError
            If the last axis does not match the palette.
        """
        chords = np.asarray(strength, dtype=float)
        if chords.shape[-1:] != self.rough.shape[:1]:
            raise ArrangeError(
                f"strength has the shape {chords.shape}; "
                f"its last axis is the palette's {len(self.rough)} tones"
            )
        rough = np.einsum("...t,...t->...", chords @ self.rough, chords) / 2
        return _over(rough, np.einsum("...t,...t->...", chords @ self.power, chords))


def tone_table(palette: Partials) -> ToneTable:
    """Return the table of a palette of tones.

    Parameters
    ----------
    palette : Partials (tones, partials)
        A row for each different tone: pitch and timbre.

    Raises
    ------
    ArrangeError
        If `palette` has not two axes.
    """
    if palette.frequency.ndim != 2:
        raise ArrangeError(
            f"the palette has the shape {palette.frequency.shape}; give a row for each tone"
        )
    tones = len(palette.frequency)
    sounds = np.isfinite(palette.frequency) & (palette.amplitude > 0)
    order = np.argsort(palette.frequency[sounds], kind="stable")
    hertz, amplitude = palette.frequency[sounds][order], palette.amplitude[sounds][order]
    tone = np.nonzero(sounds)[0][order]
    lines = Lines(np.zeros(len(hertz), dtype=np.int64), hertz, amplitude)
    first, second = _pairs(lines, _reach(hertz))
    strength = amplitude[first] * amplitude[second]
    cell = tone[first] * tones + tone[second]
    is_same = hertz[second] - hertz[first] <= SAME_TONE * hertz[second]
    rough = strength * ~is_same * _interference_of(hertz[first], hertz[second])
    own = np.bincount(tone, weights=amplitude**2, minlength=tones)
    return ToneTable(
        rough=_symmetric(cell, rough, tones),
        power=_symmetric(cell, strength * is_same, tones) + np.diag(own),
    )


@dataclass(frozen=True)
class Sethares:
    """Constants of Sethares's curve; ``weight`` is ``"product"`` or ``"lesser"`` amplitude."""

    rise: float
    slope: float
    floor: float
    scale: float
    weight: str


SETHARES_PAPER = Sethares(rise=3.5, slope=0.021, floor=19.0, scale=1.0, weight="product")
SETHARES_CODE = Sethares(rise=3.51, slope=0.0207, floor=18.96, scale=5.0, weight="lesser")
_FALL = 5.75
_AT_BEST = 0.24


def roughness_sethares(tones: Partials, constants: Sethares = SETHARES_CODE) -> Array:
    """Return the roughness of each moment after Sethares, which grows with the amplitudes.

    Parameters
    ----------
    tones : Partials (..., partials)
    constants : Sethares
        ``SETHARES_CODE``, of the author's later program, or ``SETHARES_PAPER``, of 1993.

    Returns
    -------
    array (...)
    """
    lines = lines_of(tones)
    first, second = _pairs(lines, np.full(len(lines.frequency), np.inf))
    one, other = lines.amplitude[first], lines.amplitude[second]
    weight = one * other if constants.weight == "product" else np.minimum(one, other)
    curve = _sethares_curve(lines.frequency[first], lines.frequency[second], constants)
    return _by_moment(
        lines.moment[first], constants.scale * weight * curve, tones.frequency.shape[:-1]
    )


def roughest_difference(frequency: Array | float) -> Array:
    """Return the difference in Hz at which two pure tones are roughest, the lower one given.

    The top of Sethares's curve of 1993 with the slope and floor of his program.
    """
    place = np.log(_FALL / SETHARES_PAPER.rise) / (_FALL - SETHARES_PAPER.rise)
    return place * (SETHARES_CODE.slope * np.asarray(frequency) + SETHARES_CODE.floor) / _AT_BEST


def roughness_vassilakis(tones: Partials) -> Array:
    """Return the roughness of each moment after Vassilakis, each pair of partials counted once.

    Coinciding partials stay separate, as in his table of dyads; this model serves for checks.
    """
    lines = lines_of(tones, merging=False)
    first, second = _pairs(lines, np.full(len(lines.frequency), np.inf))
    one, other = lines.amplitude[first], lines.amplitude[second]
    depth = 2 * np.minimum(one, other) / (one + other)
    constants = Sethares(3.5, SETHARES_CODE.slope, SETHARES_CODE.floor, 1.0, "product")
    curve = _sethares_curve(lines.frequency[first], lines.frequency[second], constants)
    rough = (one * other) ** 0.1 * 0.5 * depth**3.11 * curve
    return _by_moment(lines.moment[first], rough, tones.frequency.shape[:-1])


def _sethares_curve(low: Array, high: Array, constants: Sethares) -> Array:
    distance = _AT_BEST / (constants.slope * low + constants.floor) * (high - low)
    return np.exp(-constants.rise * distance) - np.exp(-_FALL * distance)


def _interference_of(low: Array, high: Array) -> Array:
    return interference((high - low) / critical_bandwidth(low, high))


def _reach(frequency: Array) -> Array:
    """The highest frequency that may still be rough with each one, or slightly more.

    The edge solves edge = f + 1.2 * bandwidth(f, edge); from any value above the solution, the
    right side is above it too, and nearer.
    """
    edge = 2 * frequency + 100
    for _ in range(3):
        edge = frequency + FARTHEST * critical_bandwidth(frequency, edge)
    return edge


def _pairs(lines: Lines, reach: Array) -> tuple[Array, Array]:
    """Indices of every pair of lines of a moment whose second lies above, within reach."""
    highest = lines.frequency.max(initial=0.0)
    shift = lines.moment * (2 * highest + 1)  # each moment on its own stretch of the axis
    key = lines.frequency + shift
    until = np.searchsorted(key, np.minimum(reach, highest + 0.5) + shift, side="right")
    count = np.maximum(until - np.arange(len(key)) - 1, 0)
    first = np.repeat(np.arange(len(key)), count)
    within = np.arange(len(first)) - np.repeat(np.cumsum(count) - count, count)
    return first, first + 1 + within


def _by_moment(moment: Array, values: Array, shape: tuple[int, ...]) -> Array:
    return np.bincount(moment, weights=values, minlength=prod(shape)).reshape(shape)


def _symmetric(cell: Array, values: Array, size: int) -> Array:
    half = np.bincount(cell, weights=values, minlength=size * size).reshape(size, size)
    return half + half.T


def _over(rough: Array, power: Array) -> Array:
    return np.where(power > 0, rough / np.where(power > 0, power, 1.0), 0.0)
