"""Which new tones does a driven chord make, where, how strong, and how fast do they beat?

A curve that bends adds products to tones f1, f2 ...: sums and differences of their multiples, such
as f2 - f1 and 2 f1 - f2. The order of a product is the number of times that tones enter it. A curve
that bends equally both ways makes only odd orders. The curve has no memory, and a note's own
harmonics are left out: each note enters as its fundamental.

References
----------
The amplitudes of a polynomial are plain trigonometry. Those of a clipping curve follow from the
curve's Fourier transform and a product of Bessel functions: W. R. Bennett and S. O. Rice (1934),
Philosophical Magazine 18, 422-424 (from memory).
H. Penttinen and E. Lilja, The power chord is more complex than previously thought: what is
added depends on the ratio of the interval.
"""

from __future__ import annotations

from functools import cache, lru_cache
from itertools import combinations_with_replacement
from math import factorial, prod
from typing import NamedTuple

import numpy as np

from arrange.errors import ArrangeError
from arrange.hearing.critical_bands import erb
from arrange.hearing.spectra import SAME_TONE, Array, Drive, Partials

HIGHEST_ORDER = 3
_STEP = 0.05


class Products(NamedTuple):
    """Intermodulation products of tones.

    Parameters
    ----------
    combination : array (products, tones) of int
        How often each tone enters: (2, -1) is 2 f1 - f2. Harmonics, such as (2, 0), are among
        them.
    frequency : array (..., products)
        Hz; NaN where a tone is missing, near 0 where a product stands still.
    amplitude : array (..., products)
        As the tones'; 0 where a tone is missing.
    """

    combination: Array
    frequency: Array
    amplitude: Array

    @property
    def order(self) -> Array:
        """How many times tones enter each product."""
        return np.abs(self.combination).sum(axis=1)

    @property
    def tones(self) -> Partials:
        """The products as pure tones."""
        return Partials(self.frequency, self.amplitude)


class Beats(NamedTuple):
    """The nearest tone to each.

    Parameters
    ----------
    rate : array (..., tones)
        Beats a second with the nearest tone; NaN if none lies within an ERB.
    partner : array (..., tones) of int
        Which tone that is; -1 for none.
    """

    rate: Array
    partner: Array


def intermodulation_products(
    frequency: Array, amplitude: Array | float, square: float, cube: float
) -> Products:
    """Return the products of ``y = a1 x + square x^2 + cube x^3``.

    Parameters
    ----------
    frequency : array (..., tones)
        Hz; NaN where a chord has fewer.
    amplitude : float or array (..., tones)
    square, cube : float
        The curve's coefficients. With a cube the second order is still exact; what the cube
        adds to the tones themselves is left out.

    Returns
    -------
    Products
        Of order 2 and 3.
    """
    frequency, amplitude = _tones(frequency, amplitude)
    combination = _combinations(frequency.shape[-1])
    times = np.abs(combination)
    order = times.sum(axis=1)
    ways = [factorial(n) for n in order] / np.array(
        [np.prod([factorial(k) for k in row]) for row in times]
    )
    coefficient = np.where(order == 2, square, cube) * ways / 2.0 ** (order - 1)
    strength = coefficient * np.prod(amplitude[..., None, :] ** times, axis=-1)
    return Products(combination, _product_frequency(combination, frequency), np.abs(strength))


def clipping_products(frequency: Array, amplitude: Array | float, drive: Drive) -> Products:
    """Return the products of ``y = tanh(gain x + bias) / gain``, however hard it clips.

    Parameters
    ----------
    frequency : array (..., tones)
        Hz; NaN where a chord has fewer.
    amplitude : float or array (..., tones)
        Where all of a chord's amplitudes add to 1, its peaks just reach 1.
    drive : Drive
        ``DRIVES`` holds some. A clean one makes no products.

    Returns
    -------
    Products
        Of order 2 and 3. Tones in no simple ratio have just these; where products coincide, as
        those of a just fifth, each has its own row, and the phases decide what they add up to.
    """
    frequency, amplitude = _tones(frequency, amplitude)
    combination = _combinations(frequency.shape[-1])
    strength = _clipped_chords(combination, amplitude, drive)
    return Products(combination, _product_frequency(combination, frequency), strength)


def clipped_tones(frequency: Array, amplitude: Array | float, drive: Drive) -> Partials:
    """Return the tones themselves after the curve of ``clipping_products``, for the same chords.

    ``spectra.joined`` puts them and the products' tones together.
    """
    frequency, amplitude = _tones(frequency, amplitude)
    if drive.gain == 0:
        return Partials(frequency, amplitude)
    single = np.eye(frequency.shape[-1], dtype=np.int64)
    return Partials(frequency, _clipped_chords(single, amplitude, drive))


def beats(tones: Partials) -> Beats:
    """Return how fast each tone beats with the nearest other; coinciding tones do not beat.

    Parameters
    ----------
    tones : Partials (..., tones)
        Played and added tones together, as from ``spectra.joined``.
    """
    hertz = np.where(tones.amplitude > 0, tones.frequency, np.nan)
    one, other = hertz[..., :, None], hertz[..., None, :]
    apart = np.abs(one - other)
    apart = np.where(apart > SAME_TONE * np.maximum(one, other), apart, np.inf)
    if not apart.shape[-1]:
        return Beats(hertz, np.empty(hertz.shape, dtype=np.int64))
    nearest = apart.argmin(axis=-1)
    rate = np.take_along_axis(apart, nearest[..., None], axis=-1)[..., 0]
    beating = rate <= erb(hertz)
    return Beats(np.where(beating, rate, np.nan), np.where(beating, nearest, -1))


def _tones(frequency: Array, amplitude: Array | float) -> tuple[Array, Array]:
    frequency = np.asarray(frequency, dtype=float)
    if not frequency.ndim:
        raise ArrangeError("one frequency makes no chord; give an array with an axis of tones")
    amplitude = np.broadcast_to(np.asarray(amplitude, dtype=float), frequency.shape)
    return frequency, np.where(np.isnan(frequency), 0.0, amplitude)


@cache
def _combinations(tones: int) -> Array:
    """How often each tone enters each product of order 2 and 3, the first that does with +."""
    signed = [sign * row for row in np.eye(tones, dtype=np.int64) for sign in (1, -1)]
    rows = {
        tuple(np.sum(chosen, axis=0).tolist())
        for order in range(2, HIGHEST_ORDER + 1)
        for chosen in combinations_with_replacement(signed, order)
    }
    wanted = [row for row in rows if sum(map(abs, row)) > 1 and next(filter(None, row)) > 0]
    wanted.sort(key=lambda row: (sum(map(abs, row)), [-k for k in row]))
    table = np.array(wanted, dtype=np.int64).reshape(len(wanted), tones)
    table.flags.writeable = False  # every caller gets the same one
    return table


def _product_frequency(combination: Array, frequency: Array) -> Array:
    """Frequencies of the products; a missing tone matters only to the products that it enters."""
    missing = np.isnan(frequency)
    place = np.abs(np.where(missing, 0.0, frequency) @ combination.T)
    lacks = missing.astype(float) @ np.abs(combination).T > 0
    return np.where(lacks, np.nan, place)


def _clipped_chords(combination: Array, amplitude: Array, drive: Drive) -> Array:
    """Amplitudes of products of many chords; equal sets of amplitudes are computed once."""
    rows = amplitude.reshape(prod(amplitude.shape[:-1]), amplitude.shape[-1])
    chords, which = np.unique(rows, axis=0, return_inverse=True)
    strengths = [_clipped(combination, chord, drive) for chord in chords]
    table = np.array(strengths).reshape(len(chords), len(combination))
    return table[which.ravel()].reshape(*amplitude.shape[:-1], len(combination))


def _clipped(combination: Array, amplitude: Array, drive: Drive) -> Array:
    """Amplitudes of products behind the curve, whatever their number.

    tanh(u) is the integral of sin(w u) / sinh(pi w / 2) over w > 0. With a sum of cosines in u,
    exp(i w u) expands into Bessel functions, so that one integral for each product remains; a sum
    at midpoints gives it nearly exactly, since it is even in w and decays fast.
    """
    if drive.gain == 0:
        return np.zeros(len(combination))
    w, bessel = _bessel_of(drive.gain, tuple(amplitude.tolist()))
    times = np.abs(combination)
    terms = np.ones((len(w), len(combination)))
    for tone in range(len(amplitude)):
        terms *= bessel[:, tone, times[:, tone]]
    turn = np.imag(1j ** times.sum(axis=1) * np.exp(1j * drive.bias * w)[:, None])
    integral = np.sum(turn * terms / np.sinh(np.pi * w / 2)[:, None], axis=0) * _STEP
    return np.abs(2 * integral) / drive.gain


@lru_cache(maxsize=64)  # most chords come at one of few strengths
def _bessel_of(gain: float, amplitude: tuple[float, ...]) -> tuple[Array, Array]:
    """The midpoints w, and the Bessel functions at gain * w * amplitude: w x tones x orders."""
    w = (np.arange(320) + 0.5) * _STEP  # up to 16, where the sinh is past 4e10
    return w, _bessel(gain * np.multiply.outer(w, np.array(amplitude)))


def _bessel(x: Array) -> Array:
    """Bessel functions of the first kind of orders 0 to ``HIGHEST_ORDER``, on a last axis."""
    points = 2 ** int(np.ceil(np.log2(2 * np.abs(x).max(initial=1.0) + 64)))
    angle = 2 * np.pi * np.arange(points) / points
    wave = np.exp(1j * x[..., None] * np.sin(angle))
    return np.real(np.fft.fft(wave, axis=-1)[..., : HIGHEST_ORDER + 1]) / points
