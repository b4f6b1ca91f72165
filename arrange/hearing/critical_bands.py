"""How wide is a critical band, and where on the ear's own frequency axis does a tone lie?

Two scales are in use: the ERB (equivalent rectangular bandwidth, narrower, newer) and the Bark.

References
----------
B. R. Glasberg and B. C. J. Moore (1990), Hearing Research 47, 103-138: ERB and ERB-rate.
E. Zwicker (1961), J. Acoust. Soc. Am. 33, 248: the edges of the 24 critical bands.
E. Zwicker and E. Terhardt (1980), J. Acoust. Soc. Am. 68, 1523: ``bark``, ``bark_width``.
H. Traunmüller (1990), J. Acoust. Soc. Am. 88, 97-100: ``bark_traunmuller`` (from memory).
"""

from __future__ import annotations

import numpy as np

from arrange.hearing.spectra import Array

# Upper edges in Hz of Bark 1 to 24.
BARK_EDGES = (
    100, 200, 300, 400, 510, 630, 770, 920, 1080, 1270, 1480, 1720,
    2000, 2320, 2700, 3150, 3700, 4400, 5300, 6400, 7700, 9500, 12000, 15500,
)  # fmt: skip


def erb(frequency: Array | float) -> Array:
    """Return the width in Hz of the auditory filter at a frequency in Hz."""
    return 24.7 * (4.37 * np.asarray(frequency) / 1000 + 1)


def erb_rate(frequency: Array | float) -> Array:
    """Return the number of ERBs below a frequency in Hz."""
    return 21.4 * np.log10(4.37 * np.asarray(frequency) / 1000 + 1)


def erb_frequency(rate: Array | float) -> Array:
    """Return the frequency in Hz of a number of ERBs, the inverse of ``erb_rate``."""
    return (10 ** (np.asarray(rate) / 21.4) - 1) * 1000 / 4.37


def bark(frequency: Array | float) -> Array:
    """Return the critical-band rate in Bark of a frequency in Hz, after Zwicker and Terhardt."""
    hertz = np.asarray(frequency)
    return 13 * np.arctan(0.00076 * hertz) + 3.5 * np.arctan((hertz / 7500) ** 2)


def bark_width(frequency: Array | float) -> Array:
    """Return the width in Hz of a critical band, after Zwicker and Terhardt."""
    return 25 + 75 * (1 + 1.4 * (np.asarray(frequency) / 1000) ** 2) ** 0.69


def bark_traunmuller(frequency: Array | float) -> Array:
    """Return the critical-band rate in Bark of a frequency in Hz, after Traunmüller.

    With his corrections below 2 and above 20.1 Bark.
    """
    hertz = np.asarray(frequency)
    rate = 26.81 * hertz / (1960 + hertz) - 0.53
    return rate + 0.15 * np.maximum(2 - rate, 0) + 0.22 * np.maximum(rate - 20.1, 0)
