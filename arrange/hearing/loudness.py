"""How loud is a tone, and approximately how loud is a whole part?

Levels are sound pressure levels in dB; loudness levels are in phon, loudness in sone.

References
----------
ISO 226:2003, the second edition: equal-loudness contours. (The third, of 2023, differs by at
most about 0.6 dB, from memory.)
ISO 532-1:2017, from E. Zwicker and H. Fastl (1991), J. Acoust. Soc. Jpn (E) 12(1): sone and phon.
The total of many partials is ours: their loudness levels, spread over the ear's filters (see
``masking.filter_weight``), each filter adding its power to 0.301, so that 10 phon double it.
"""

from __future__ import annotations

import numpy as np

from arrange.hearing.critical_bands import erb_frequency
from arrange.hearing.masking import filter_weight
from arrange.hearing.spectra import Array, Partials

# ISO 226:2003, table 1: Hz, exponent, magnitude of the transfer function (dB), threshold (dB).
_TABLE = np.array([
    (20, 0.532, -31.6, 78.5), (25, 0.506, -27.2, 68.7), (31.5, 0.480, -23.0, 59.5),
    (40, 0.455, -19.1, 51.1), (50, 0.432, -15.9, 44.0), (63, 0.409, -13.0, 37.5),
    (80, 0.387, -10.3, 31.5), (100, 0.367, -8.1, 26.5), (125, 0.349, -6.2, 22.1),
    (160, 0.330, -4.5, 17.9), (200, 0.315, -3.1, 14.4), (250, 0.301, -2.0, 11.4),
    (315, 0.288, -1.1, 8.6), (400, 0.276, -0.4, 6.2), (500, 0.267, 0.0, 4.4),
    (630, 0.259, 0.3, 3.0), (800, 0.253, 0.5, 2.2), (1000, 0.250, 0.0, 2.4),
    (1250, 0.246, -2.7, 3.5), (1600, 0.244, -4.1, 1.7), (2000, 0.243, -1.0, -1.3),
    (2500, 0.243, 1.7, -4.2), (3150, 0.243, 2.5, -6.0), (4000, 0.242, 1.2, -5.4),
    (5000, 0.242, -2.1, -1.5), (6300, 0.245, -7.1, 6.0), (8000, 0.254, -11.2, 12.6),
    (10000, 0.271, -10.7, 13.9), (12500, 0.301, -3.1, 12.3),
]).T  # fmt: skip

_CENTERS = erb_frequency(np.arange(1.0, 39.0))  # 26 Hz to 15 kHz, one ERB apart
_DOUBLING = np.log10(2)  # exponent of power that doubles with each 10 phon


def equal_loudness(frequency: Array | float, phon: Array | float) -> Array:
    """Return the level in dB at which a pure tone is as loud as one of 1 kHz at `phon` dB.

    Parameters
    ----------
    frequency : float or array
        Hz, 20 to 12 500; beyond, as at the ends.
    phon : float or array
    """
    exponent, transfer, threshold = _parameters(frequency)
    floor = _heard(exponent, transfer, threshold)
    rise = 4.47e-3 * (10 ** (0.025 * np.asarray(phon)) - 1.15) + floor
    return 10 / exponent * np.log10(rise) - transfer + 94


def loudness_level(frequency: Array | float, level: Array | float) -> Array:
    """Return the loudness level in phon of a pure tone, the inverse of ``equal_loudness``.

    Parameters
    ----------
    frequency : float or array
        Hz.
    level : float or array
        dB. What lies near or below the threshold of hearing has 0 phon.
    """
    exponent, transfer, threshold = _parameters(frequency)
    floor = _heard(exponent, transfer, threshold)
    rise = 10 ** (exponent * (np.asarray(level) + transfer - 94) / 10)
    return 40 * np.log10(np.maximum((rise - floor) / 4.47e-3 + 1.15, 1.0))


def sone(phon: Array | float) -> Array:
    """Return the loudness in sone of a loudness level in phon."""
    level = np.asarray(phon, dtype=float)
    return np.where(
        level >= 40, 2 ** ((level - 40) / 10), (np.maximum(level, 0) / 40) ** (1 / 0.35)
    )


def phon(sone: Array | float) -> Array:
    """Return the loudness level in phon of a loudness in sone; at least 3."""
    loud = np.asarray(sone, dtype=float)
    soft = np.maximum(40 * np.maximum(loud, 0) ** 0.35, 3.0)
    return np.where(loud >= 1, 40 + 10 * np.log2(np.maximum(loud, 1.0)), soft)


def loudness(tones: Partials) -> Array:
    """Return about how loud each moment is, in sone: to compare parts, not to measure rooms.

    Parameters
    ----------
    tones : Partials (..., partials)

    Returns
    -------
    array (...)
        0 for silence.
    """
    level = loudness_level(tones.frequency, tones.level)
    power = np.where(level > 0, 10 ** (level / 10), 0.0)
    return _spread_loudness(tones.frequency, power) / _ONE_SONE


def _spread_loudness(frequency: Array, power: Array) -> Array:
    weight = filter_weight(frequency[..., None, :], _CENTERS[:, None])
    return (np.nansum(weight * power[..., None, :], axis=-1) ** _DOUBLING).sum(axis=-1)


def _parameters(frequency: Array | float) -> tuple[Array, Array, Array]:
    """The table's three columns at any frequency, between rows by its logarithm."""
    place = np.log(np.maximum(np.asarray(frequency, dtype=float), _TABLE[0, 0]))
    exponent, transfer, threshold = (
        np.interp(place, np.log(_TABLE[0]), column) for column in _TABLE[1:]
    )
    return exponent, transfer, threshold


def _heard(exponent: Array, transfer: Array, threshold: Array) -> Array:
    return (0.4 * 10 ** ((threshold + transfer) / 10 - 9)) ** exponent


_ONE_SONE = _spread_loudness(np.array([1000.0]), np.array([1e4]))  # 1 kHz at 40 phon
