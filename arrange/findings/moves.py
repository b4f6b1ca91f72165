"""What could each part alone do to end a finding? The smallest change that does.

A hint, not a search: one part moves at a time, all of its notes that make the finding in one
way. Each move told was tried: the finding was looked for again on the changed notes, within its
section and at most eight bars around it (a crossing over the whole song, whose top lines decide
which part is the upper one). Whether the move is good music the player decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes import Limits
from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.clashes.scene import Scene
from arrange.errors import ArrangeError
from arrange.findings.behind import Window, finding_notes, finding_row, near_shifts
from arrange.findings.passage import Passage, near_rows
from arrange.findings.tries import Move, Unit
from arrange.sounding import Array
from arrange.tables import Song

_STEPS = ("rub", "mud", "third", "outside", "bass", "drive")  # kinds that few semitones may end
_OCTAVES = (
    "rub", "mud", "bass", "drive", "crowding", "crossing", "voice", "masking", "roughness",
    "fusing",
)  # fmt: skip
_BY_PITCH = ("mud", "drive")  # kinds that a part may make alone: its notes move one by one
_OF_A_PAIR = (
    "crowding", "crossing", "doubling", "third", "outside", "voice", "bass", "near", "busy",
    "fusing",
)  # fmt: skip  # kinds to which the other parts make no difference
_VALUES = {0.25: "a sixteenth", 0.125: "a thirty-second", 1 / 6: "a triplet sixteenth"}


def smallest_moves(song: Song, finding: Any, limits: Limits = DEFAULT_LIMITS) -> pd.DataFrame:
    """Return, for each part of a finding, the smallest changes that end it.

    A hint, not a search: each part alone, all its notes of the finding in one way; tried in
    order of size and told only if the finding is gone then. Where a chord symbol stands, steps
    to its members come first; other notes only where no member helps. Fretted parts stay on
    their neck; a singer's note stays where it is.

    Parameters
    ----------
    song : Song
        The song that it was found in.
    finding : a row of the findings table, or the label of one in ``find_clashes(song)``
    limits : Limits
        Those that it was found with.

    Returns
    -------
    DataFrame
        A row a move, the smallest first (semitones or quarter notes of all notes moved), leaving
        out last: ``part``; ``move``, as a player says it; ``semitones``, missing unless pitch
        changes; ``quarters``, a tuple, how far each changed note moves in time, empty unless it
        does; ``changed``, a tuple of labels of the notes table; ``in_chord``, whether all of
        them land on members of their chord symbols (missing where none stands);
        ``also``, how many new findings of any kind it brings in the passage. If no move of one
        part ends it, one row says so and why, and changes nothing.

    Raises
    ------
    ArrangeError
        As ``finding_notes``.
    """
    bench = _Bench(song, finding_row(song, finding), limits)
    moves = sorted(bench.ending_moves(), key=lambda move: (move.leaves_out, move.size))
    rows = [
        (move.part, move.text, move.semitones, move.quarters, move.rows, move.in_chord, also)
        for move, also in zip(moves, bench.new_findings(moves) if moves else (), strict=True)
    ] or [(bench.finding.parts, bench.no_move, np.nan, (), (), None, 0)]  # fmt: skip
    names = ("part", "move", "semitones", "quarters", "changed", "in_chord", "also")
    frame = pd.DataFrame(rows, columns=names)
    return frame.astype({"part": "str", "move": "str", "semitones": float, "in_chord": "boolean"})


def smallest_move(song: Song, finding: Any, limits: Limits = DEFAULT_LIMITS) -> str:
    """Return the first move that ends a finding in one phrase: ``"Guitar 2: an octave lower"``.

    As ``smallest_moves``, but the first that helps is enough, so that it is quicker.
    """
    bench = _Bench(song, finding_row(song, finding), limits)
    return next((f"{move.part}: {move.text}" for move in bench.ending_moves()), bench.no_move)


def apply_move(song: Song, move: Any) -> Song:
    """Return the song with a move made.

    Parameters
    ----------
    song : Song
    move : a row of ``smallest_moves``

    Raises
    ------
    ArrangeError
        If the row tells no move.
    """
    if not len(move.changed):
        raise ArrangeError(f"this row changes nothing: {move.move}")
    notes = song.notes
    rows = notes.index.get_indexer(list(move.changed))
    if len(move.quarters):
        onset = notes["onset"].to_numpy().copy()
        onset[rows] += move.quarters
        bar = Scene(song).measure_of(onset)
        section = song.measures["section"].array.take(bar)
        notes = notes.assign(onset=onset, measure=bar + 1, section=section)
    elif np.isnan(move.semitones):
        notes = notes.drop(index=notes.index[rows])
    else:
        pitch = notes["pitch"].to_numpy().copy()
        pitch[rows] += move.semitones
        string, fret = notes["string"].copy(), notes["fret"].copy()
        string.iloc[rows] = fret.iloc[rows] = pd.NA  # it lies elsewhere on the neck
        notes = notes.assign(pitch=pitch, string=string, fret=fret)
    return replace(song, notes=notes)


def _spans(findings: pd.DataFrame) -> Iterator[tuple[tuple[str, str], float, float]]:
    """Kind and parts, begin and end of each finding."""
    ends = findings["onset"] + findings["duration"] + 1e-6
    yield from zip(
        zip(findings["kind"], findings["parts"], strict=True), findings["onset"], ends, strict=True
    )


@dataclass(frozen=True)
class _Bench:
    """A finding, and its passage on which moves are tried."""

    song: Song
    finding: Any
    limits: Limits

    @cached_property
    def notes(self) -> pd.DataFrame:
        """The notes that make the finding."""
        return finding_notes(self.song, self.finding)

    @cached_property
    def window(self) -> Window:
        """The notes of its parts in its time."""
        return Window(self.song, self.finding)

    @property
    def no_move(self) -> str:
        """Why there is none."""
        if self.window.echoing:
            return (
                f"no single move ends it: the echo of {self.window.echoing} misses, not a note; "
                "set it to another note value"
            )
        return (
            "no single move ends it: each part alone was tried, up, down and left out as far as "
            "the kind allows; it takes both, or more than these notes"
        )

    def ending_moves(self) -> Iterator[Move]:
        """The moves that end the finding, one for each part and way, in the order tried."""
        done: set[tuple[str, str]] = set()
        for move in sorted(self._moves(), key=lambda move: move.order):
            if (move.part, move.way) not in done and self._ends(move):
                done.add((move.part, move.way))
                yield move

    def new_findings(self, moves: Sequence[Move]) -> list[int]:
        """How many findings each move brings where there was none of their kind and parts."""
        rows = near_rows(self.song, self.finding.onset, self.finding.duration)
        before, *after = Passage(self.song, rows, None, self.limits).find_each(moves)
        known: dict[tuple[str, str], list[tuple[float, float]]] = {}
        for own, begin, end in _spans(before):
            known.setdefault(own, []).append((begin, end))
        return [
            sum(
                not any(begin < last and end > first for begin, end in known.get(own, ()))
                for own, first, last in _spans(each)
            )
            for each in after
        ]

    def _ends(self, move: Move) -> bool:
        """Whether only those of its kind and parts are left that were there beside it."""
        left = self._at_its_time(self._of_its_kind.find(move))
        own = {(round(float(self.finding.onset), 6), self.finding.pitches)}
        return not left or left <= self._at_its_time(self._of_its_kind.before) - own

    def _at_its_time(self, findings: pd.DataFrame) -> set[tuple[float, str]]:
        """Onset and pitches of the findings of its parts that touch its time."""
        row, end = self.finding, findings["onset"] + findings["duration"]
        same = findings["parts"] == row.parts
        same &= (findings["onset"] <= row.onset + row.duration + 1e-6) & (end >= row.onset - 1e-6)
        return set(zip(findings["onset"][same].round(6), findings["pitches"][same], strict=True))

    @cached_property
    def _of_its_kind(self) -> Passage:
        kind = self.finding.kind
        parts = self.window.parts if kind in _OF_A_PAIR else None
        onset, duration = self.finding.onset, self.finding.duration
        if kind == "crossing":  # the top lines of the whole song tell which part is the upper
            onset, duration = 0.0, self.song.duration
        rows = near_rows(self.song, onset, duration, parts)
        return Passage(self.song, rows, (kind,), self.limits)

    def _moves(self) -> Iterator[Move]:
        """What to try, for each part."""
        kind = self.finding.kind
        if self.window.echoing:
            return
        for part, family in zip(self.window.parts, self.window.families, strict=True):
            own = self.notes[self.notes["part"] == part]
            if own.empty or (kind == "voice" and family == "voice"):
                continue
            by_pitch = kind in _BY_PITCH and bool(np.ptp(own["pitch"]))
            for _, unit in own.groupby("pitch" if by_pitch else "part"):
                name = str(unit["name"].iloc[0]) if by_pitch else ""
                notes = Unit(self.song, part, unit)
                if kind in _STEPS:
                    yield from notes.steps(name)
                if kind in _OCTAVES:
                    yield from notes.octaves(name)
                if kind in _OCTAVES and kind not in _STEPS:
                    inside = self.window.part == self.window.parts.index(part)
                    line = self.song.notes.iloc[self.window.rows[inside]]
                    if len(line) > len(unit):
                        yield from Unit(self.song, part, line).octaves("the whole line", True)
                yield notes.left_out(name)
        if kind == "near":
            yield from self._shifts()

    def _shifts(self) -> Iterator[Move]:
        """Each part's attacks onto those of the other that they miss."""
        notes, quarters = near_shifts(self.window)
        for number, part in enumerate(self.window.parts):
            own = self.window.part[notes] == number
            rows, shift = self.window.rows[notes[own]], quarters[own]
            if not len(rows):
                continue
            order, other = np.argsort(rows), self.window.parts[1 - number]
            yield Move(
                part,
                "shift",
                f"together with {other}: {self._shift_text(int(rows[0]), shift)}",
                tuple(rows[order].tolist()),
                quarters=tuple(shift[order].tolist()),
            )

    def _shift_text(self, row: int, shift: Array) -> str:
        """How far, in a note value where there is one, else in milliseconds."""
        if np.ptp(shift) > 1e-6:
            return "each attack onto the nearest of the other's"
        far = abs(float(shift[0]))
        value = next((text for size, text in _VALUES.items() if abs(size - far) < 1e-3), None)
        if value is None:
            onset = float(self.song.notes["onset"].iloc[row])
            seconds = abs(self.song.seconds(onset + float(shift[0])) - self.song.seconds(onset))
            value = f"{1000 * seconds:.0f} ms"
        return f"{value} {'earlier' if shift[0] < 0 else 'later'}"
