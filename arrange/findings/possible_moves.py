"""The moves that a part could try: up and down, by octaves, left out; not yet tried on a
finding.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.clashes.scene import Scene
from arrange.guitar.fingering import part_capos
from arrange.guitar.necks import STANDARD_FRETS, STANDARD_TUNINGS
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.text.words import counted, listed

_MOST_NAMED = 3  # notes to be left out that are named one by one


@dataclass(frozen=True)
class Move:
    """A change of some notes of one part, not yet tried."""

    part: str
    way: str  # of each way only the smallest that ends the finding is given
    text: str
    rows: tuple[int, ...]
    semitones: float = np.nan
    quarters: tuple[float, ...] = ()
    in_chord: bool | None = None
    second_choice: bool = False
    fits: bool = False  # whether its part is in the chord while another is not

    @property
    def size(self) -> float:
        """Semitones or quarter notes moved, of all notes together."""
        if self.quarters:
            return sum(map(abs, self.quarters))
        return (1 if self.leaves_out else abs(self.semitones)) * len(self.rows)

    @property
    def leaves_out(self) -> bool:
        """Whether the notes are not played at all."""
        return not self.quarters and bool(np.isnan(self.semitones))

    @property
    def order(self) -> tuple[bool, bool, bool, float]:
        """Leaving out stands last, members of the chord before other notes."""
        return self.leaves_out, self.fits, self.second_choice, self.size

    @property
    def listing(self) -> tuple[bool, bool, float]:
        """The order of those that help."""
        return self.leaves_out, self.fits, self.size


def moved_notes(notes: pd.DataFrame, move: Move) -> pd.DataFrame:
    """Return some rows of a notes table as a move leaves them, under their own labels."""
    rows = notes.index.get_indexer(list(move.rows))
    if move.leaves_out:
        return notes.drop(index=notes.index[rows])
    if move.quarters:
        onset = notes["onset"].to_numpy().copy()
        onset[rows] += move.quarters
        return notes.assign(onset=onset)
    pitch = notes["pitch"].to_numpy().copy()
    pitch[rows] += move.semitones
    string, fret = notes["string"].copy(), notes["fret"].copy()
    string.iloc[rows] = fret.iloc[rows] = pd.NA  # the note lies elsewhere on the neck
    return notes.assign(pitch=pitch, string=string, fret=fret)


@dataclass(frozen=True)
class Unit:
    """Some notes of one part that move as one."""

    song: Song
    part: str
    notes: pd.DataFrame

    def steps(self, name: str) -> Iterator[Move]:
        """Up and down by less than an octave; members of the chord before other notes."""
        pitch, onset = self.pitch[0], float(self.notes["onset"].iloc[0])
        for semitones in (sign * size for size in range(1, 12) for sign in (1, -1)):
            if not self._is_playable(semitones):
                continue
            up = "up" if semitones > 0 else "down"
            far = "a semitone" if abs(semitones) == 1 else f"{abs(semitones)} semitones"
            to = "" if np.ptp(self.pitch) else f" to {self._scene.name(pitch + semitones, onset)}"
            lands = self._lands(semitones)
            yield Move(
                self.part, f"{up} {name}", f"{name} {up} {far}{to}".strip(), self._rows,
                semitones, in_chord=lands, second_choice=lands is False,
            )  # fmt: skip

    def octaves(self, name: str, second_choice: bool = False) -> Iterator[Move]:
        """An octave up and down."""
        for semitones, far in ((12, "an octave higher"), (-12, "an octave lower")):
            if self._is_playable(semitones):
                way = far if second_choice else f"{far} {name}".strip()
                yield Move(
                    self.part, way, f"{name} {far}".strip(), self._rows, semitones,
                    in_chord=self._lands(semitones), second_choice=second_choice,
                )  # fmt: skip

    def left_out(self, name: str) -> Move:
        """Not played."""
        return Move(
            self.part, f"out {name}", f"leave out {name or self._notes_words()}", self._rows
        )

    def _notes_words(self) -> str:
        """The notes by their names; where there are many, from the lowest to the highest."""
        onset = float(self.notes["onset"].iloc[0])
        known = np.unique(self.pitch[~np.isnan(self.pitch)])
        names = [self._scene.name(pitch, onset) for pitch in known]
        if names and len(names) <= _MOST_NAMED:
            return listed(names)
        where = f", {names[0]} to {names[-1]}" if names else ""
        return f"its {counted(len(self.notes), 'note')} here{where}"

    @cached_property
    def pitch(self) -> Array:
        """Sounding pitches."""
        return self.notes["pitch"].to_numpy()

    @cached_property
    def _rows(self) -> tuple[int, ...]:
        return tuple(self.notes.index.sort_values().tolist())

    @cached_property
    def _scene(self) -> Scene:
        return Scene(self.song)

    @cached_property
    def _neck(self) -> tuple[float, float]:
        """Lowest and highest note of the part; MIDI's where it has no neck."""
        parts = self.song.parts
        row = parts.iloc[int(np.argmax(parts["part"] == self.part))]
        tuning = row["tuning"] if isinstance(row["tuning"], tuple) else None
        tuning = tuning or STANDARD_TUNINGS.get(row["family"])
        if not tuning:
            return 0.0, 127.0
        frets = STANDARD_FRETS.get(row["family"], 22)
        capo = part_capos(self.song, self.part, self.notes).max()
        return float(min(tuning) + capo), float(max(tuning) + frets)

    def _is_playable(self, semitones: int) -> bool:
        low, high = self._neck
        return bool(low <= self.pitch.min() + semitones and self.pitch.max() + semitones <= high)

    @cached_property
    def _members(self) -> list[tuple[float, set[int]]]:
        """Pitch and members of its chord symbol, for each note that has one."""
        chords = self.song.chords
        if chords.empty:
            return []
        row = self._scene.chord_at(self.notes["onset"].to_numpy())
        classes, bass = chords["pitch_classes"].tolist(), chords["bass"].fillna(-1).tolist()
        return [
            (pitch, {*classes[at], *({int(bass[at])} - {-1})})
            for pitch, at in zip(self.pitch.tolist(), row.tolist(), strict=True)
            if at >= 0 and len(classes[at]) > 1
        ]

    @property
    def fits(self) -> bool:
        """Whether all notes are members of their chord symbols."""
        return self._lands(0) is not False

    def _lands(self, semitones: int) -> bool | None:
        """Whether moved notes are members of their chord symbols; None where none stands."""
        answers = [(pitch + semitones) % 12 in held for pitch, held in self._members]
        return all(answers) if answers else None
