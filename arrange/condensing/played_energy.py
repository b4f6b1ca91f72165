"""How full a section is with what the players take there, in the terms of ``song_energy``.

For each player: the time that they sound, the notes that sound, the attacks, and the power; each
against the most that so many players could reach anywhere in the song.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrange.condensing.player_costs import PlayerCosts
from arrange.quantities.texture import DRIVE_DECIBELS
from arrange.tables.schemas import DRIVES
from arrange.tables.sounding import Array


@dataclass(frozen=True)
class PlayedEnergy:
    """How full each option sounds.

    Parameters
    ----------
    terms : tuple of array, options x 4
        For each section: share of the time that it sounds, notes that sound on average, attacks a
        second, and power on average.
    most : array
        The most that the players could reach of each.
    """

    terms: tuple[Array, ...]
    most: Array

    @classmethod
    def of(cls, costs: PlayerCosts, players: int) -> PlayedEnergy:
        """Return the energy of all options, for so many players."""
        terms = tuple(_terms(costs, section) for section in range(len(costs.options)))
        each = [np.sort(own, axis=0)[::-1][:players].sum(axis=0) for own in terms]
        most = np.max(each, axis=0)
        return cls(terms, np.where(most > 0, most, 1))

    def joint(self, section: int, places: Sequence[Array]) -> Array:
        """Return the energy of joint choices of a section, 0 to 1, as of ``Returns.joint``."""
        terms = self.terms[section]
        shares = np.sum([terms[own] for own in places], axis=0) / self.most
        shares[:, 3] = np.sqrt(shares[:, 3])
        return np.asarray(shares.mean(axis=1))


def _terms(costs: PlayerCosts, section: int) -> Array:
    recorded, options = costs.recorded, costs.options[section].options
    whole = max(float(recorded.seconds[section]), 1e-9)
    sounds, strikes, seconds = costs.taking_turns[section]
    cut = recorded.sliced(section)
    notes = np.bincount(
        recorded.layer[cut.note], cut.seconds[cut.at], minlength=len(recorded.names)
    )
    driven = np.array([DRIVE_DECIBELS[drive] for drive in DRIVES])[recorded.drives[:, section]]
    power = 10 ** ((recorded.parts["level"].to_numpy(dtype=np.float64) + driven) / 10)
    found = np.zeros((len(options), 4))
    for at, option in enumerate(options):
        if option:
            own = list(option)
            busy = sounds[own].max(axis=0) @ seconds
            struck = strikes[own].max(axis=0).sum()
            found[at] = busy, notes[own].sum(), struck, busy * power[costs.traits.first(option)]
    return found / whole
