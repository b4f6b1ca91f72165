"""What a part strikes: one attack after the other, each with its strings, frets and fingers.

All that is explained is read from here, and this is read from ``finger_part``'s table.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

NEAR = 1e-6  # quarter notes
_WITHOUT = "cue"


@dataclass(frozen=True)
class Placed:
    """A note that lies on the neck; `finger` is 0 for an open string, -1 where none holds it."""

    string: int
    fret: int
    finger: int
    pitch: float
    end: float
    techniques: tuple[str, ...]


@dataclass(frozen=True)
class Attack:
    """All that is struck at one time, low string first.

    Parameters
    ----------
    onset : float
    measure : int
    notes : tuple of Placed
    position : int
        Fret of the first finger; 0 where nothing is fretted, so that the hand may be anywhere.
    seconds : float
        Since the attack before; not a number for the first one.
    is_jump : bool
        Whether the hand's way here is far or fast.
    """

    onset: float
    measure: int
    notes: tuple[Placed, ...]
    position: int
    seconds: float
    is_jump: bool

    @property
    def places(self) -> tuple[tuple[int, int], ...]:
        """String and fret of each note, low string first."""
        return tuple((note.string, note.fret) for note in self.notes)

    @property
    def techniques(self) -> frozenset[str]:
        """The techniques that all its notes share."""
        first, *others = (frozenset(note.techniques) for note in self.notes)
        return first.intersection(*others)

    @property
    def is_muted(self) -> bool:
        """Whether all its notes are muted, by either hand."""
        return bool(self.techniques & {"muted", "palm mute"})

    @property
    def end(self) -> float:
        """When the last of its notes ends."""
        return max(note.end for note in self.notes)


def struck_notes(fingered: pd.DataFrame) -> pd.DataFrame:
    """Return the notes of ``finger_part``'s table that lie on the neck; no grace notes, no cues."""
    is_cue = fingered["technique"].str.contains(_WITHOUT, na=False).to_numpy(dtype=bool)
    has_place = fingered[["string", "fret", "pitch"]].notna().to_numpy().all(axis=1)
    return fingered[has_place & ~is_cue & ~fingered["grace"].to_numpy()]


def part_attacks(struck: pd.DataFrame) -> list[Attack]:
    """Return the attacks of the notes that ``struck_notes`` gives, in order of time."""
    struck = struck.sort_values(["onset", "string"], ascending=[True, False], kind="stable")
    onset = struck["onset"].to_numpy()
    starts = np.flatnonzero(np.diff(onset, prepend=-np.inf) > NEAR).tolist()
    notes = list(_placed(struck))
    position = struck["position"].to_numpy(dtype=np.int64, na_value=0).tolist()
    measure, times = struck["measure"].tolist(), onset.tolist()
    seconds, jump = struck["move_seconds"].tolist(), struck["jump"].tolist()
    attacks = []
    for first, last in zip(starts, [*starts[1:], len(notes)], strict=True):
        own = tuple(notes[first:last])
        is_held = any(note.finger > 0 for note in own)
        attacks.append(Attack(
            times[first], measure[first], own, max(position[first:last]) if is_held else 0,
            seconds[first], any(jump[first:last]),
        ))  # fmt: skip
    return attacks


def _placed(struck: pd.DataFrame) -> Iterator[Placed]:
    ends = (struck["onset"] + struck["duration"]).tolist()
    finger = struck["finger"].to_numpy(dtype=np.int64, na_value=-1).tolist()
    columns = (struck[name].tolist() for name in ("string", "fret", "pitch", "technique"))
    for string, fret, pitch, technique, own, end in zip(*columns, finger, ends, strict=True):
        names = tuple(technique.split(", ")) if isinstance(technique, str) else ()
        yield Placed(int(string), int(fret), own, pitch, end, names)
