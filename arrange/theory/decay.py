"""How long a struck string sounds before it has died away.

The fundamental falls by e in the seconds of ``DECAY_SECONDS`` at A2 and, like the time that a
string rings, in less time the higher it is: with the square root of the frequency. H. Fleischer,
Dead Spots of Electric Guitars and Basses (ASA/EAA/DAGA meeting, Berlin 1999), measured the time of
a fall by 30 dB: it decreases steadily with the fret, and is longer for electric than for acoustic
instruments. Ours lie between the two: 30 dB take 7 s on the low E string and 3.6 s on the high one;
Fleischer and Zwicker, Acustica 84 (1998) 758-765, have some 10 and 5 s for solid guitars (from
memory). The bass's and the keys' times are ours, by ear.

A string has died away at a fall of ``GONE_DECIBELS``: a quarter as loud, since 10 dB halve the
loudness (the sone scale of ISO 532-1).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from arrange.theory.pitch import frequency

DECAY_SECONDS = {"guitar": 1.8, "bass": 2.2, "keys": 1.4}  # of A2's fundamental, to 1/e
GONE_DECIBELS = 20.0
_A2 = 45.0


def decay_rate(family: str, hertz: Any) -> Any:
    """Return how fast the fundamental of a struck string dies away, in 1/s.

    Parameters
    ----------
    family : str
        As in a parts table; families that are not struck count as a guitar.
    hertz : float or array
    """
    seconds = DECAY_SECONDS.get(family, DECAY_SECONDS["guitar"])
    return np.sqrt(np.asarray(hertz) / frequency(_A2)) / seconds


def seconds_to_fall(family: str, pitch: Any, decibels: float = GONE_DECIBELS) -> Any:
    """Return the seconds in which a struck string of a pitch (MIDI number) falls by so many dB."""
    return decibels * math.log(10) / 20 / decay_rate(family, frequency(pitch))
