"""All limits of the findings in one place.

Each default says where it comes from; "ours" means set by us, to be moved by ear.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from arrange.errors import ArrangeError
from arrange.theory.pitch import interval_name, note_name

# Lowest place of an interval's bottom note (sounding MIDI number, C4 is 60) before it tends to
# sound muddy, by its size in semitones; unisons and octaves have no limit. Low interval limits
# as taught after Lowell and Pullig, Arranging for Large Jazz Ensemble, Berklee Press 2003 (from
# memory; the ninths and tenths too). The sizes in DISPUTED_LIMITS stand up to three semitones
# higher (the tritone an octave lower) in the glossary of sweetwater.com; the other simple
# intervals have the same limits there.
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
GOALS = ("separate", "blend")


def low_interval_table(key: str | None = None) -> pd.DataFrame:
    """Return the low interval limits for people: each interval, its lowest place as two notes, and
    whether handbooks differ on it.

    Parameters
    ----------
    key : str, optional
        It spells the notes.
    """
    rows = [
        (
            interval_name(size),
            f"{note_name(bottom, key)} and {note_name(bottom + size, key)}",
            size in DISPUTED_LIMITS,
        )
        for size, bottom in LOW_INTERVAL_LIMITS.items()
    ]
    return pd.DataFrame(rows, columns=["interval", "lowest place", "handbooks differ"])


@dataclass(frozen=True)
class Limits:
    """The values from which on findings are reported. A smaller limit reports more.

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
        Semitones that the upper part stays below, times seconds (ours, on the half of a collection
        of good music that was kept for tuning: tests/benchmarks/damage.py).
    doubling : float
        Attacks in a row in unison or octaves (ours).
    third : float
        Seconds that two parts disagree on a chord's third (ours).
    outside : float
        Weighted seconds that a note is held outside the chord symbol (ours).
    outside_key_seconds : float
        Seconds of notes that lie outside the key, in three bars on end and more (ours).
    voice : float
        Share of the singing in a section during which a part stays near the sung note (ours).
    voice_seconds : float
        Seconds that must be sung in that section (ours).
    bass : float
        Seconds that a part lies under or right above the bass (ours).
    roughness : float
        How much rougher than each alone two parts are together (ours; Hutchinson and Knopoff's
        scale, on which a semitone of two guitars has about 0.5, a low third 0.2 to 0.3).
    roughness_seconds : float
        Seconds over which they are (ours).
    masking : float
        Share of a part's energy that another hides, mean over a section (ours).
    masking_seconds : float
        Seconds that both must sound in that section (ours).
    drive : float
        How much rougher an overdrive makes what one part holds (ours; the same scale).
    drive_seconds : float
        Seconds over which it does (ours).
    near : float
        Attacks in a run that miss each other, those below 50 ms and echoes counting less (ours).
    near_seconds : float
        How far apart two attacks may lie and still miss each other, at most a sixteenth (ours).
    busy : float
        Attacks a second of two parts at once; 100 ms from one to the next is about the fastest
        that is heard as a rhythm (J. London, Hearing in Time, 2004, as quoted in the rhythm
        perception timeline of musiccog.ohio-state.edu).
    busy_seconds : float
        Seconds over which they do (ours).
    fusing : float
        Attacks in alternation over which two lines fuse (ours).
    fusing_semitones : float
        Step between the lines below which they do: the fission boundary, 3 to 4 semitones (van
        Noorden 1975, from memory).
    register : float
        How far a part leaves its register, in its usual swing (ours, as ``crossing``).
    scale : float
        Share of a part's time outside the scale of the others, beyond what is usual for it (ours,
        as ``crossing``).
    grid : float
        Share of a part's attacks that miss the others', beyond what is usual for it (ours, as
        ``crossing``).
    goal : str
        What two parts of one family are meant to be: ``"separate"``, two that the ear keeps
        apart, or ``"blend"``, one wide part. Parts that blend may share a register, cross, fuse
        and double each other exactly: none of this is reported. A doubling that is not exact
        counts in full.

    Raises
    ------
    ArrangeError
        If the goal is neither.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> strict, loose = ar.Limits(crossing=7.0), ar.Limits(crossing=28.0)
    >>> [len(ar.find_clashes(song, ["crossing"], limits)) for limits in (strict, loose)]
    [2, 1]
    """

    rub: float = 0.4
    mud: float = 2.0
    low_intervals: Mapping[int, int] = field(default_factory=lambda: dict(LOW_INTERVAL_LIMITS))
    crowding: float = 0.4
    crowding_seconds: float = 4.0
    crossing: float = 14.0
    doubling: float = 6.0
    third: float = 0.4
    outside: float = 1.0
    outside_key_seconds: float = 2.0
    voice: float = 0.5
    voice_seconds: float = 2.0
    bass: float = 2.0
    roughness: float = 0.2
    roughness_seconds: float = 1.0
    masking: float = 0.3
    masking_seconds: float = 2.0
    drive: float = 0.06
    drive_seconds: float = 0.5
    near: float = 4.0
    near_seconds: float = 0.25
    busy: float = 10.0
    busy_seconds: float = 2.0
    fusing: float = 12.0
    fusing_semitones: float = 3.0
    register: float = 1.1
    scale: float = 0.45
    grid: float = 0.4
    goal: str = "separate"

    def __post_init__(self) -> None:
        if self.goal not in GOALS:
            raise ArrangeError(f"goal={self.goal!r}: it is one of {', '.join(map(repr, GOALS))}")


DEFAULT_LIMITS = Limits()
