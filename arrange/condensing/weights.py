"""What counts how much when many layers become a few parts: every weight, in one place.

All terms are in one unit, seconds of the song: a weight of 1 makes a second of full cover
worth one second; a change between two sections costs as much as so many seconds are worth. The
figures are ours, to be moved by ear; that a lead counts more than a hook, a hook more than the
rhythm, and fills and pads least, is the order of arranging handbooks (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.tables.sounding import Array

_PARTS = 2.0**20


@dataclass(frozen=True)
class Weights:
    """What each term is worth.

    Parameters
    ----------
    lead, hook, rhythm, fill, pad, double : float
        A second of a layer of that role; times (1 + its salience) / 2. One for each of ``ROLES``.
    line : float
        A second that a layer's own notes are heard.
    octave : float
        The share of that, 0 to 1, which asks for the very octave; the rest asks for the note in
        any octave, so that an octave double adds little.
    harmony : float
        A second with all members of its chord.
    third, seventh, fifth, root, root_over_bass, other : float
        How the members of a chord share that, against each other; the root counts little where a
        bass plays that stays in the song.
    attacks : float
        A second of the section, shared out evenly among the moments at which anything begins.
    top : float
        A second of the highest line.
    presence : float
        A second that a layer is there, whatever it adds.
    clash : float
        How much findings between two layers take away where both are played: 0 for nothing, 1 for
        so much that a layer that clashes all through adds nothing of its own.
    growth : float
        A second of a section that is wholly fuller than its place in the song allows.
    other_neck : float
        A second of a layer on another tuning or capo than it was recorded with; at most
        `presence`.
    other_sound : float
        A second of a layer for each step from its drive to the nearest that its player has: clean,
        edge, overdriven, distorted.
    stretch : float
        A second of what a player takes, all attacks of which ask for more than the hand's
        comfortable span.
    lost_echo : float
        A second of a layer that was recorded with an echo, played without one.
    mixed_sound : float
        A second of a layer that is merged into one with another drive, and played with that.
    merging : float
        A second in which one player holds two lines at once, at its hardest; times the mean of 1,
        the share of their attacks then that fall on one of the two alone, and the octaves between
        their mean pitches, at most 1. Two lines that take turns cost nothing.
    role_change, sound_change : float
        Seconds that it costs when a player goes to layers of another role, or another drive.
    place : float
        Seconds for each semitone between the mean pitches of what one player plays before and
        after a change.
    leaving : float
        Seconds for each layer left that goes on in the next section.
    capo_change : float
        Seconds for each time that a player moves the capo.
    swapped : float
        Seconds for each layer that a player takes in a section which somebody else had in the
        section's earlier return.
    thinner : float
        A second of a section that is wholly thinner than its earlier return, where the recording
        is not.

    Raises
    ------
    ArrangeError
        If a weight is negative, or a share beyond 1.
    """

    lead: float = 1.0
    hook: float = 0.8
    rhythm: float = 0.6
    fill: float = 0.4
    pad: float = 0.3
    double: float = 0.3
    line: float = 1.0
    octave: float = 0.2
    harmony: float = 1.0
    third: float = 1.0
    seventh: float = 1.0
    fifth: float = 0.4
    root: float = 0.6
    root_over_bass: float = 0.2
    other: float = 0.7
    attacks: float = 0.5
    top: float = 0.5
    presence: float = 0.03
    clash: float = 0.5
    growth: float = 0.5
    other_neck: float = 0.02
    other_sound: float = 0.1
    lost_echo: float = 0.2
    stretch: float = 0.5
    mixed_sound: float = 0.1
    merging: float = 0.8
    role_change: float = 1.0
    sound_change: float = 1.0
    place: float = 0.05
    leaving: float = 1.0
    capo_change: float = 1.0
    swapped: float = 2.0
    thinner: float = 5.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0 <= value < float("inf"):
                raise ArrangeError(f"Weights({field.name}={value}): a weight is 0 or more")
        for name, most, what in (
            ("octave", 1.0, "a share of 1"),
            ("clash", 1.0, "1, beyond which a layer more could make things worse"),
            ("other_neck", self.presence, "presence, beyond which a layer more could cost"),
        ):
            if getattr(self, name) > most:
                raise ArrangeError(
                    f"Weights({name}={getattr(self, name)}): it is at most {most:g} ({what})"
                )

    def of_layers(self, roles: pd.DataFrame) -> Array:
        """Return what a second of each layer is worth, with roles as of ``layer_roles``."""
        worth = np.array([getattr(self, role) for role in roles["role"]], dtype=np.float64)
        return worth * (1 + roles["salience"].to_numpy()) / 2


def rounded(seconds: Array) -> Array:
    """Return seconds in whole parts of 2 ** -20, so that equal ones are equal to the last bit."""
    return np.rint(seconds * _PARTS) / _PARTS
