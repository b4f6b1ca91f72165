"""How much of one part's sound does another hide?

A masker raises the threshold around its partials, more above than below; what lies under the
threshold is not heard. Levels are sound pressure levels in dB. The share does not show fusion or
mud: at equal level two tonal parts hardly hide each other, so that the share measures differences
in level.

References
----------
M. R. Schroeder, B. S. Atal and J. L. Hall (1979), J. Acoust. Soc. Am. 66, 1647-1652:
``spread_schroeder``.
E. Terhardt (1979), Hearing Research 1, 155-182: ``slopes_terhardt`` (from memory).
ISO/IEC 11172-3:1993, Annex D, model 1: ``quiet_threshold``, ``spread_mpeg`` and the tonal index
in ``masked_threshold`` (the branch below -1 Bark from memory).
B. R. Glasberg and B. C. J. Moore (1990), Hearing Research 47, 103-138: ``filter_weight`` with the
rounded exponential of one parameter.
The share itself is ours, built on these.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from arrange.errors import ArrangeError
from arrange.hearing.critical_bands import bark, erb
from arrange.hearing.spectra import Array, Partials

_NEPERS = np.log(10) / 10  # exp(_NEPERS * dB) is the power


def spread_schroeder(distance: Array | float) -> Array:
    """Return the level in dB that a masker excites at a distance in Bark, + above it."""
    shifted = np.asarray(distance) + 0.474
    return 15.81 + 7.5 * shifted - 17.5 * np.sqrt(1 + shifted**2)


def slopes_terhardt(frequency: Array | float, level: Array | float) -> tuple[float, Array]:
    """Return the slopes of a masker's excitation below and above it, in dB/Bark.

    Parameters
    ----------
    frequency : float or array
        Of the masker, Hz.
    level : float or array
        Of the masker, dB: the louder, the farther it masks upward.
    """
    return 27.0, 24 + 230 / np.asarray(frequency) - 0.2 * np.asarray(level)


def spread_mpeg(distance: Array | float, level: Array | float) -> Array:
    """Return the level in dB that a masker excites at a distance in Bark, by its own level.

    Minus infinity below -3 and from 8 Bark on.
    """
    dz, x = np.asarray(distance, dtype=float), np.asarray(level, dtype=float)
    # Four straight pieces, joined at -1, 0 and 1 Bark; each clipped to its own stretch.
    lower = 17 * np.minimum(dz + 1, 0) + (0.4 * x + 6) * np.clip(dz, -1, 0)
    upper = 17 * np.clip(dz, 0, 1) + (17 - 0.15 * x) * np.maximum(dz - 1, 0)
    return np.where((dz >= -3) & (dz < 8), lower - upper, -np.inf)


def quiet_threshold(frequency: Array | float) -> Array:
    """Return the threshold in quiet in dB at a frequency in Hz."""
    f = np.maximum(np.asarray(frequency), 1.0) / 1000  # a product may stand still, at 0 Hz
    return 3.64 * f**-0.8 - 6.5 * np.exp(-0.6 * (f - 3.3) ** 2) + 0.001 * f**4


def tone_threshold(frequency: Array, level: Array, at: Array) -> Array:
    """Return the threshold in dB that one tone raises at other frequencies.

    Parameters
    ----------
    frequency, level : float or array
        Of the tonal masker, Hz and dB.
    at : float or array
        Hz; broadcast with the masker.
    """
    rate = bark(frequency)
    index = -6.025 - 0.275 * rate
    return level + index + spread_mpeg(bark(at) - rate, level)


def masked_threshold(masker: Partials, at: Array) -> Array:
    """Return the threshold in dB at each frequency: the masker's and that in quiet, by power.

    Parameters
    ----------
    masker : Partials (..., partials)
    at : array (..., frequencies)
        Hz; NaN gives NaN.
    """
    power = _raised_power(
        masker.frequency[..., None, :], masker.amplitude[..., None, :], at[..., None]
    )
    return 10 * np.log10(power.sum(axis=-1) + quiet_power(at))


def is_masked(masker: Partials, target: Partials) -> Array:
    """Return which partials of the target the masker, or the threshold in quiet, hides.

    Parameters
    ----------
    masker : Partials (..., partials)
    target : Partials (..., partials)
        At the same moments.

    Returns
    -------
    array of bool, the shape of the target's
    """
    return target.level < masked_threshold(masker, target.frequency)


def masked_share(masker: Partials, target: Partials) -> Array:
    """Return the share of the target's energy that the masker hides, 0 to 1; NaN if it is silent.

    Parameters
    ----------
    masker : Partials (..., partials)
    target : Partials (..., partials)
        At the same moments.

    Returns
    -------
    array (...)
    """
    energy = target.amplitude**2
    hidden = np.where(is_masked(masker, target), energy, 0.0).sum(axis=-1)
    return _share(hidden, energy.sum(axis=-1))


@dataclass(frozen=True)
class MaskTable:
    """What each tone of a palette raises at the partials of each other.

    Thresholds add by power, so a song's moments, however many, need each pair of its different
    tones only once.

    Parameters
    ----------
    energy : array (tones, partials)
        Of each tone's partials.
    raised : array (tones, tones, partials)
        Power of the threshold that the first tone raises at the partials of the second.
    quiet : array (tones, partials)
        Power of the threshold in quiet there.
    """

    energy: Array
    raised: Array
    quiet: Array

    def masked_share(self, masker: Array, target: Array) -> Array:
        """Return the share of the target's energy that the masker hides, as ``masked_share``.

        Parameters
        ----------
        masker, target : array (moments, tones)
            How often each tone sounds in each part at each moment.

        Returns
        -------
        array (moments,)
            NaN where the target is silent.
        """
        masker, target = np.asarray(masker, dtype=float), np.asarray(target, dtype=float)
        hides, total = np.zeros(len(target)), target @ self.energy.sum(axis=1)
        masks = np.flatnonzero(np.any(masker, axis=0))
        for tone in np.flatnonzero(np.any(target, axis=0)):
            moments = np.flatnonzero(target[:, tone])
            threshold = masker[np.ix_(moments, masks)] @ self.raised[masks, tone]
            hidden = self.energy[tone] < threshold + self.quiet[tone]
            hides[moments] += target[moments, tone] * (hidden @ self.energy[tone])
        return _share(hides, total)


def mask_table(palette: Partials) -> MaskTable:
    """Return the table of a palette of tones.

    Parameters
    ----------
    palette : Partials (tones, partials)
        A row for each different tone: pitch, timbre and level.

    Raises
    ------
    ArrangeError
        If `palette` has not two axes.
    """
    if palette.frequency.ndim != 2:
        raise ArrangeError(
            f"the palette has the shape {palette.frequency.shape}; give a row for each tone"
        )
    raised = _raised_power(
        palette.frequency[:, None, None, :],
        palette.amplitude[:, None, None, :],
        palette.frequency[None, :, :, None],
    )
    return MaskTable(palette.amplitude**2, raised.sum(axis=-1), quiet_power(palette.frequency))


def threshold_raised(palette: Partials, masker: Array, target: Array) -> Array:
    """Return the power of the threshold that tones of a palette raise at the partials of others.

    Parameters
    ----------
    palette : Partials (tones, partials)
    masker, target : array of int (pairs,)
        Which tone raises it, and at whose partials.

    Returns
    -------
    array (pairs, partials)
        Powers add where several maskers sound, and with ``quiet_power``.
    """
    return _raised_power(
        palette.frequency[masker][:, None, :],
        palette.amplitude[masker][:, None, :],
        palette.frequency[target][:, :, None],
    ).sum(axis=-1)


def filter_weight(frequency: Array | float, center: Array | float) -> Array:
    """Return how strongly (power, 0 to 1) a tone drives the auditory filter at a center in Hz."""
    steep = 4 * np.asarray(center) / erb(center)
    off = np.abs(np.asarray(frequency) - center) / center
    return (1 + steep * off) * np.exp(-steep * off)


def excitation(tones: Partials, center: Array) -> Array:
    """Return the excitation of the ear in dB at each center: what reaches the filter there.

    Parameters
    ----------
    tones : Partials (..., partials)
    center : array (centers,)
        Hz.

    Returns
    -------
    array (..., centers)
        Minus infinity for silence.
    """
    weight = filter_weight(tones.frequency[..., None, :], np.asarray(center)[:, None])
    power = np.nansum(weight * tones.amplitude[..., None, :] ** 2, axis=-1)
    with np.errstate(divide="ignore"):
        return 10 * np.log10(power)


def _raised_power(frequency: Array, amplitude: Array, at: Array) -> Array:
    """Power of ``tone_threshold``; 0 for silence and for missing places."""
    raised = tone_threshold(frequency, 20 * np.log10(np.where(amplitude > 0, amplitude, 1.0)), at)
    return np.where((amplitude > 0) & ~np.isnan(at), np.exp(raised * _NEPERS), 0.0)


def quiet_power(frequency: Array) -> Array:
    """Return the power of the threshold in quiet at frequencies in Hz."""
    # Far beyond hearing the formula exceeds all representable numbers.
    return np.exp(np.minimum(quiet_threshold(frequency), 1_000.0) * _NEPERS)


def _share(part: Array, whole: Array) -> Array:
    return np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), np.nan)
