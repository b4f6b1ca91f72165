"""All limits of the findings in one place.

Each default says where it comes from; "ours" means set by us, to be moved by ear.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

# Lowest place of an interval's bottom note (sounding MIDI number, C4 is 60) before it tends to
# sound muddy, by its size in semitones; unisons and octaves have no limit. Low interval limits
# as taught after Lowell and Pullig, Arranging for Large Jazz Ensemble, Berklee Press 2003 (from
# memory; the ninths and tenths too). The sizes in DISPUTED_LIMITS stand up to three semitones
# higher (the tritone an octave lower) in the glossary of sweetwater.com; the other simple
# intervals stand there just so.
LOW_INTERVAL_LIMITS: dict[int, int] = {
    1: 52,  # E3
    2: 51,  # Eb3
    3: 48,  # C3
    4: 46,  # Bb2
    5: 46,  # Bb2
    6: 47,  # B2
    7: 34,  # Bb1
    8: 41,  # F2
    9: 41,  # F2
    10: 41,  # F2
    11: 41,  # F2
    13: 40,  # E2
    14: 39,  # Eb2
    15: 36,  # C2
    16: 34,  # Bb1
}
DISPUTED_LIMITS = (4, 5, 6, 7)


@dataclass(frozen=True)
class Limits:
    """From which value on something is told. A smaller limit tells more.

    Parameters
    ----------
    rub : float
        Weighted seconds that a minor second or ninth is held (ours).
    mud : float
        Semitones below the low interval limit, times seconds held (ours).
    low_intervals : mapping of semitones to MIDI number
        The low interval limits; ``LOW_INTERVAL_LIMITS``.
    crowding : float
        Overlap coefficient of a section, of the time in which both sound (ours).
    crowding_seconds : float
        Seconds that both must sound in that section (ours).
    crossing : float
        Seconds that the upper part stays below (ours).
    doubling : float
        Attacks in a row in unison or octaves (ours).
    third : float
        Seconds that two parts disagree on a chord's third (ours).
    outside : float
        Weighted seconds that a note is held outside the chord symbol (ours).
    voice : float
        Share of the singing in a section during which a part stays near the sung note (ours).
    voice_seconds : float
        Seconds that must be sung in that section (ours).
    bass : float
        Seconds that a part lies under or right above the bass (ours).
    """

    rub: float = 0.4
    mud: float = 2.0
    low_intervals: Mapping[int, int] = field(default_factory=lambda: dict(LOW_INTERVAL_LIMITS))
    crowding: float = 0.4
    crowding_seconds: float = 4.0
    crossing: float = 1.0
    doubling: float = 6.0
    third: float = 0.4
    outside: float = 1.0
    voice: float = 0.5
    voice_seconds: float = 2.0
    bass: float = 2.0


DEFAULT_LIMITS = Limits()
