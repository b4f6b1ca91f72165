"""What happens to a finding, to the hand and to the top line if one note of a part moves.

Findings are computed again in the passage around the finding, at most eight bars to either side,
which shows whether it ends and what comes instead. The hand is checked at every moment at which the
note is struck, and the top line from the attack before to the attack after.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.exercises.song_facts import SongFacts
from arrange.findings.possible_moves import Move, moved_notes
from arrange.findings.recheck import compare_findings, has_ended, notes_around, recheck
from arrange.guitar.grips import Grip, hold_shape
from arrange.guitar.necks import LEFT_OUT, Array, Neck

_NEAR = 1e-6
_DECIMALS = 6
_OCTAVE = 12
MOST_TRIED = 24  # notes or findings that one exercise tries; each takes some tenths of a second
WIDEST_LEAP = 12  # semitones that a top line may leap without breaking up (common practice)


@dataclass(frozen=True)
class Outcome:
    """What a move does: whether the finding ends, and which findings it brings, in sentences."""

    ends: bool
    brings: tuple[tuple[str, str], ...]  # kind and sentence


@dataclass(frozen=True, eq=False)
class MovedNote:
    """One note of a part in a finding, each time that it is struck, and what it could become.

    Parameters
    ----------
    facts : SongFacts
    label : int
        The finding.
    part : str
    pitch : float
    """

    facts: SongFacts
    label: int
    part: str
    pitch: float

    @property
    def neck(self) -> Neck:
        """The part's neck in the section in which the finding begins."""
        return self.facts.neck(self.part, self.facts.finding(self.label)["section"])

    @cached_property
    def rows(self) -> tuple[int, ...]:
        """Labels of the notes in the notes table."""
        notes = self.facts.notes(self.label)
        own = notes[(notes["part"] == self.part) & (notes["pitch"] == self.pitch)]
        return tuple(sorted(set(own.index.tolist())))

    @cached_property
    def onsets(self) -> tuple[float, ...]:
        """When the note is struck."""
        return tuple(self.facts.song.notes["onset"].loc[list(self.rows)].tolist())

    @cached_property
    def _line(self) -> Line:
        """The whole part with strings and frets."""
        return part_line(self.facts, self.part)

    @cached_property
    def places(self) -> tuple[tuple[int, int], ...]:
        """String and fret of the note, the usual one first."""
        line = self._line
        here = np.isin(line.onset, np.round(self.onsets, _DECIMALS)) & (line.pitch == self.pitch)
        here &= line.string > 0
        found = Counter(zip(line.string[here].tolist(), line.fret[here].tolist(), strict=True))
        return tuple(place for place, _ in found.most_common())

    def outcome(self, semitones: int | None) -> Outcome:
        """Return what a move brings; None leaves the note out."""
        return self.outcomes([semitones])[semitones]

    def outcomes(self, asked: Iterable[int | None]) -> dict[int | None, Outcome]:
        """Return what moves bring, all tried at once."""
        known = self._outcomes
        new = [each for each in dict.fromkeys(asked) if each not in known]
        if new:
            known.update(zip(new, self._tried(new), strict=True))
        return known

    @cached_property
    def _outcomes(self) -> dict[int | None, Outcome]:
        return {}

    def _tried(self, asked: list[int | None]) -> list[Outcome]:
        song, row = self.facts.song, self.facts.finding(self.label)
        moves = [
            Move(self.part, "", "", self.rows, np.nan if n is None else float(n)) for n in asked
        ]
        span = row["onset"], row["onset"] + row["duration"]
        notes = notes_around(song, *span)
        versions = [notes, *(moved_notes(notes, move) for move in moves)]
        before, *after = recheck(song, versions, span, self.facts.limits)
        return [self._judged(before, each) for each in after]

    def _judged(self, before: pd.DataFrame, after: pd.DataFrame) -> Outcome:
        row = self.facts.finding(self.label)
        brought = compare_findings(before, after).brought
        others = brought[(brought["kind"] != row["kind"]) | (brought["parts"] != row["parts"])]
        return Outcome(
            has_ended(row, before, after),
            tuple(zip(others["kind"].tolist(), others["why"].tolist(), strict=True)),
        )

    def in_chord(self, pitch: float) -> bool | None:
        """Return whether a note belongs to the chord symbols above it; None where none stands."""
        answers = []
        for onset in self.onsets:
            chord = self.facts.chord_at(onset)
            if chord is None or len(chord["pitch_classes"]) < 2:
                continue
            bass = [] if pd.isna(chord["bass"]) else [int(chord["bass"])]
            answers.append(int(pitch) % _OCTAVE in {*chord["pitch_classes"], *bass})
        return all(answers) if answers else None

    def taken(self, string: int) -> float | None:
        """Return the pitch that the part holds on a string at the same time, or None."""
        for onset in self.onsets:
            for row in self.held(onset):
                if row[0] == string:
                    return row[2]
        return None

    def is_held(self, pitch: float) -> bool:
        """Return whether the part sounds a pitch on another string each time."""
        return all(any(row[2] == pitch for row in self.held(onset)) for onset in self.onsets)

    def held(self, onset: float) -> list[tuple[int, int, float]]:
        """Return string, fret and pitch of the other notes that the part holds at a time."""
        return self._held[onset]

    @cached_property
    def _held(self) -> dict[float, list[tuple[int, int, float]]]:
        line, found = self._line, {}
        for onset in self.onsets:
            here = (line.onset <= onset + _NEAR) & (line.end > onset + _NEAR)
            here &= (line.string > 0) & (line.pitch != self.pitch)
            columns = (line.string[here], line.fret[here], line.pitch[here])
            found[onset] = list(zip(*(column.tolist() for column in columns), strict=True))
        return found

    def grip(self, string: int, fret: int) -> Grip:
        """Return the hardest grip that a place makes with what else is held."""
        neck = self.neck
        grips = []
        for onset in self.onsets:
            shape = [LEFT_OUT] * neck.strings
            for other, at, _ in self.held(onset):
                shape[other - 1] = at
            shape[string - 1] = fret
            grips.append(hold_shape(tuple(shape), neck))
        return max(grips, key=lambda grip: (not grip.playable, grip.reach_mm))

    def leap(self, pitch: float) -> tuple[int, int]:
        """Return the widest leap of the top line around the note, before and after, semitones."""
        line = self._line
        times, which = np.unique(line.onset, return_inverse=True)
        touched = np.isin(times, np.round(self.onsets, _DECIMALS))
        moved = touched[which] & (line.pitch == self.pitch)
        around = touched[1:] | touched[:-1]
        widest = []
        for pitches in (line.pitch, np.where(moved, pitch, line.pitch)):
            tops = np.full(len(times), -np.inf)
            np.maximum.at(tops, which, pitches)
            widest.append(round(float(np.abs(np.diff(tops))[around].max(initial=0))))
        return widest[0], widest[1]


@dataclass(frozen=True, eq=False)
class Line:
    """A part with strings and frets as arrays, a value for each note; string 0 if unknown."""

    onset: Array
    end: Array
    pitch: Array
    string: Array
    fret: Array


def part_line(facts: SongFacts, part: str) -> Line:
    """Return a part with strings and frets, made once."""
    return facts.once(("line", part), lambda: _part_line(facts.fingered(part)))


def _part_line(notes: pd.DataFrame) -> Line:
    own = notes[notes["pitch"].notna() & (notes["duration"] > 0)]
    onset = own["onset"].to_numpy()
    string, fret = (own[name].fillna(0).to_numpy(dtype=np.int64) for name in ("string", "fret"))
    end = onset + own["duration"].to_numpy()
    return Line(onset.round(_DECIMALS), end, own["pitch"].to_numpy(), string, fret)


def moved_note(facts: SongFacts, label: int, part: str, pitch: float) -> MovedNote:
    """Return one note in a finding as a note that may move, made once."""
    return facts.once(
        ("moved note", label, part, pitch), lambda: MovedNote(facts, label, part, pitch)
    )
