"""What could each part alone do to end a finding? The smallest change that does.

This is a hint, not a search: one part moves at a time, with all of its notes that make the finding.
Each move given was tried: the finding was looked for again on the changed notes, within its section
and at most eight bars around it (a crossing over the whole song, whose top lines decide which part
is the upper one; a departure in the whole song). The player decides whether the move is good music.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes import KINDS, Kind, Limits, find_in
from arrange.clashes.attacks import ALMOST
from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.clashes.rhythm import MISSED_REPEATS
from arrange.clashes.scene import Scene
from arrange.errors import ArrangeError
from arrange.findings.finding_notes import finding_notes, finding_parts, finding_row
from arrange.findings.possible_moves import Move, Unit, moved_notes
from arrange.findings.recheck import (
    Change,
    compare_findings,
    departures_in,
    has_ended,
    notes_around,
    recheck,
)
from arrange.guitar.fingering import fingered_song
from arrange.tables.song import Song
from arrange.tables.sounding import Array, is_played

_AT_ONCE = 12  # moves that are tried in one recheck
_VALUES = {0.25: "a sixteenth", 0.125: "a thirty-second", 1 / 6: "a triplet sixteenth"}


def smallest_moves(song: Song, finding: Any, limits: Limits = DEFAULT_LIMITS) -> pd.DataFrame:
    """Return, for each part of a finding, the smallest changes that end it.

    This is a hint, not a search: each part moves alone, with all its notes of the finding. Moves
    are tried in order of size and given only if the finding is gone then, and if what comes instead
    is less severe than what ends. Under a chord symbol, steps to its members come first; other
    notes are tried only if no member helps, and the part that plays outside the chord moves before
    one that does not. Fretted parts stay on their neck, and no note moves onto one that the part
    holds already. Singers and basses stay where they are, unless they alone are outside the chord,
    and a bass does not go up past the other part's lowest note: a guitar that came too low is the
    one to move.

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
        A row a move, the smallest first (semitones or quarter notes of all notes moved), those of
        the part outside the chord before others, leaving out last: ``part``; ``move``, as a player
        says it; ``semitones``, missing unless pitch changes; ``quarters``, a tuple, how far each
        changed note moves in time, empty unless it does; ``changed``, a tuple of labels of the
        notes table; ``in_chord``, whether all of them land on members of their chord symbols
        (missing where none stands);
        ``also``, how many new findings of any kind it brings in the passage. If no move of one
        part ends it, one row says so and why, and changes nothing.

    Raises
    ------
    ArrangeError
        As ``finding_notes``.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> rub = ar.find_clashes(song, ["rub"]).iloc[0]
    >>> ar.smallest_moves(song, rub)[["part", "move"]].head(2)
           part                   move
    0  Guitar 1  down a semitone to A4
    1  Guitar 1   up 2 semitones to C5
    """
    bench = _Bench(song, finding_row(song, finding), limits)
    moves = sorted(bench.ending_moves(), key=lambda each: each[0].listing)
    rows = [
        (move.part, move.text, move.semitones, move.quarters, move.rows, move.in_chord, also)
        for move, also in moves
    ] or [(bench.finding.parts, bench.no_move, np.nan, (), (), None, 0)]  # fmt: skip
    names = ("part", "move", "semitones", "quarters", "changed", "in_chord", "also")
    frame = pd.DataFrame(rows, columns=names)
    return frame.astype({"part": "str", "move": "str", "semitones": float, "in_chord": "boolean"})


def smallest_move(song: Song, finding: Any, limits: Limits = DEFAULT_LIMITS) -> str:
    """Return the first move that ends a finding in one phrase: ``"Guitar 2: an octave lower"``.

    As ``smallest_moves``, but the first that helps is enough, so that it is quicker.
    """
    bench = _Bench(song, finding_row(song, finding), limits)
    return next((f"{move.part}: {move.text}" for move, _ in bench.ending_moves()), bench.no_move)


def apply_move(song: Song, move: Any) -> Song:
    """Return the song with a move made; a moved note that had a string has one again.

    Parameters
    ----------
    song : Song
    move : a row of ``smallest_moves``

    Raises
    ------
    ArrangeError
        If the row holds no move, or is none of ``smallest_moves``.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> rub = ar.find_clashes(song, ["rub"]).iloc[0]
    >>> changed = ar.apply_move(song, ar.smallest_moves(song, rub).iloc[0])
    >>> len(ar.find_clashes(changed, ["rub"]))
    0
    """
    if not hasattr(move, "changed"):
        raise ArrangeError("this is no row of smallest_moves(song, finding): give one of its rows")
    if not len(move.changed):
        raise ArrangeError(f"this row changes nothing: {move.move}")
    made = Move(
        move.part, "", move.move, tuple(move.changed), float(move.semitones), tuple(move.quarters)
    )
    notes = moved_notes(song.notes, made)
    if made.quarters:
        bar = Scene(song).measure_of(notes["onset"].to_numpy())
        section = song.measures["section"].array.take(bar)
        notes = notes.assign(measure=bar + 1, section=section)
    changed = replace(song, notes=notes)
    strung = song.notes["string"].loc[list(made.rows)].dropna().index
    if made.leaves_out or made.quarters or strung.empty:
        return changed
    fingered = fingered_song(changed, [move.part]).notes
    string, fret = (notes[name].copy() for name in ("string", "fret"))
    string.loc[strung], fret.loc[strung] = (
        fingered["string"].loc[strung],
        fingered["fret"].loc[strung],
    )
    return replace(changed, notes=notes.assign(string=string, fret=fret))


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

    @property
    def kind(self) -> Kind:
        """The row of its kind."""
        return KINDS[self.finding.kind]

    @cached_property
    def parts(self) -> list[str]:
        """Labels, in score order."""
        return finding_parts(self.song, self.finding)

    @property
    def is_of_an_echo(self) -> bool:
        """Whether an echo misses and no note does."""
        return bool(self.finding.unit == MISSED_REPEATS)

    @property
    def no_move(self) -> str:
        """Why there is none."""
        if self.is_of_an_echo:
            return (
                "no single move ends it: an echo misses, not a note; set it to another note value"
            )
        return (
            "no single move ends it: each part alone was tried, up, down and left out as far as "
            "the kind allows, and what helps brings as much; it takes both, or more than these "
            "notes"
        )

    def ending_moves(self) -> Iterator[tuple[Move, int]]:
        """The moves that end the finding and bring less than that, one for each part and way, in
        the order tried, and how many new findings each brings.
        """
        done: set[tuple[str, str]] = set()
        moves = sorted(filter(self._is_sound, self._moves()), key=lambda move: move.order)
        for first in range(0, len(moves), _AT_ONCE):
            some = moves[first : first + _AT_ONCE]
            some = [move for move in some if (move.part, move.way) not in done]
            some = [move for move, ends in zip(some, self._ends(some), strict=True) if ends]
            if not some:
                continue
            before, *after = recheck(self.song, self._versions(some), self._span, self.limits)
            for move, found in zip(some, after, strict=True):
                if (move.part, move.way) in done:
                    continue
                change = self._change(move, before, found)
                if self._is_worth_it(change):
                    done.add((move.part, move.way))
                    yield move, len(change.brought)

    def _change(self, move: Move, before: pd.DataFrame, after: pd.DataFrame) -> Change:
        """What a move does to the findings of the passage, departures of its parts among them."""
        changed = replace(self.song, notes=moved_notes(self.song.notes, move))
        departs = departures_in(changed, self._span, self.parts, self.limits)
        return compare_findings(pd.concat([before, self._departures]), pd.concat([after, departs]))

    @cached_property
    def _departures(self) -> pd.DataFrame:
        return departures_in(self.song, self._span, self.parts, self.limits)

    def _is_worth_it(self, change: Change) -> bool:
        """Whether what a change brings is less severe in all than what it ends."""
        ended = max(change.ended["severity"].sum(), self.finding.severity)
        return bool(change.brought["severity"].sum() < ended)

    def _is_sound(self, move: Move) -> bool:
        """Whether no note moves onto one that its part holds already."""
        if move.leaves_out or move.quarters:
            return True
        notes = self.song.notes
        moved, others = notes.loc[list(move.rows)], notes[notes["part"] == move.part]
        others = others.drop(index=moved.index)
        (start, end, pitch), (begin, until, at) = (
            (onset, onset + each["sounds"].to_numpy(), each["pitch"].to_numpy())
            for each in (moved, others)
            for onset in (each["onset"].to_numpy(),)
        )
        same = pitch[:, None] + move.semitones == at
        return not (
            same & (start[:, None] < until - ALMOST) & (begin < end[:, None] - ALMOST)
        ).any()

    def _ends(self, moves: Sequence[Move]) -> list[bool]:
        """Whether each move ends the finding."""
        if self.kind.is_of_the_song:
            return [self._ends_in_the_song(move) for move in moves]
        parts = None if self.kind.others_matter else self.parts
        before, *after = recheck(
            self.song, self._versions(moves, parts), self._span, self.limits,
            (self.finding.kind,), self.parts,
        )  # fmt: skip
        return [has_ended(self.finding, before, each) for each in after]

    def _ends_in_the_song(self, move: Move) -> bool:
        changed = replace(self.song, notes=moved_notes(self.song.notes, move))
        before, after = (
            find_in(Scene(each, asked=self.parts), (self.finding.kind,), self.limits)
            for each in (self.song, changed)
        )
        return has_ended(self.finding, before, after)

    @property
    def _span(self) -> tuple[float, float]:
        """The begin and end of the finding, in quarter notes."""
        return self.finding.onset, self.finding.onset + self.finding.duration

    def _versions(
        self, moves: Sequence[Move], parts: Sequence[str] | None = None
    ) -> list[pd.DataFrame]:
        """The notes of the passage, as they are and after each move; of some parts, or all."""
        notes = notes_around(self.song, *self._span)
        if parts is not None:
            notes = notes[notes["part"].isin(parts)]
        return [notes, *(moved_notes(notes, move) for move in moves)]

    def _moves(self) -> Iterator[Move]:
        """The moves to try, for each part."""
        if self.is_of_an_echo:
            return
        for part in self.parts:
            own = self.notes[self.notes["part"] == part]
            if own.empty or part in self._staying:
                continue
            by_pitch = self.kind.moves_one_pitch and bool(np.ptp(own["pitch"]))
            for _, unit in own.groupby("pitch" if by_pitch else "part"):
                name = str(unit["name"].iloc[0]) if by_pitch else ""
                for move in filter(self._leaves_the_bass_lowest, self._moves_of(part, unit, name)):
                    yield replace(move, fits=part in self._fitting)
        if "shift" in self.kind.moves:
            yield from self._shifts()

    def _moves_of(self, part: str, unit: pd.DataFrame, name: str) -> Iterator[Move]:
        """What to try with some notes of a part; a name where it has others too."""
        notes, moves = Unit(self.song, part, unit), self.kind.moves
        if "step" in moves:
            yield from notes.steps(name)
        if "octave" in moves:
            yield from notes.octaves(name)
        if "octave" in moves and "step" not in moves:
            line = self._line(part)
            if len(line) > len(unit):
                yield from Unit(self.song, part, line).octaves("the whole line", True)
        yield notes.left_out(name)

    @cached_property
    def _fitting(self) -> set[str]:
        """The parts whose notes are all members of their chord symbols, where another's are not."""
        if self.kind.group != "harmony":
            return set()
        fits = {
            part: Unit(self.song, part, own).fits
            for part, own in self.notes.groupby("part", sort=False)
        }
        return {str(part) for part, own in fits.items() if own and not all(fits.values())}

    @cached_property
    def _staying(self) -> set[str]:
        """Singers and basses, where another part could move: whose place it is stays there."""
        stay = {part for part in self.parts if self._families[part] in ("voice", "bass")}
        if stay == set(self.parts) or (self._fitting and not stay & self._fitting):
            return set()
        return stay

    @cached_property
    def _families(self) -> dict[str, str]:
        parts = self.song.parts
        return dict(zip(parts["part"], parts["family"], strict=True))

    def _leaves_the_bass_lowest(self, move: Move) -> bool:
        """Whether a move does not take a bass up past what another part of the finding plays."""
        if self._families[move.part] != "bass" or not move.semitones > 0:
            return True
        of_others = ~self.notes["part"].map(self._families).eq("bass")
        highest = self.song.notes["pitch"].loc[list(move.rows)].max() + move.semitones
        return not (self.notes["pitch"][of_others] < highest).any()

    def _line(self, part: str) -> pd.DataFrame:
        """All that a part plays while the finding lasts, with a pitch."""
        notes, begin = self.song.notes, self.finding.onset
        end = begin + self.finding.duration
        onset = notes["onset"].to_numpy()
        if self.kind.is_of_attacks:  # the last attack of a run is its end
            inside = (onset >= begin - ALMOST) & (onset <= end + ALMOST)
        else:
            inside = (onset < end - ALMOST) & (onset + notes["sounds"] > begin + ALMOST)
        inside &= (notes["part"] == part).to_numpy() & is_played(notes)
        return notes[inside & notes["pitch"].notna()]

    def _shifts(self) -> Iterator[Move]:
        """Moves of each part's attacks onto those of the other part that they miss."""
        onset = self.song.notes["onset"].loc[list(self.finding.notes)]
        part = self.song.notes["part"].loc[list(self.finding.notes)]
        for name, other in (self.parts, self.parts[::-1]):
            own, theirs = onset[part == name], np.unique(onset[part == other])
            if own.empty or not len(theirs):
                continue
            own = own.sort_index()
            shift = theirs[np.abs(theirs - own.to_numpy()[:, None]).argmin(axis=1)] - own.to_numpy()
            rows = own.index.tolist()
            yield Move(
                name,
                "shift",
                f"together with {other}: {self._shift_text(rows[0], shift)}",
                tuple(rows),
                quarters=tuple(shift.tolist()),
            )

    def _shift_text(self, row: int, shift: Array) -> str:
        """The distance as a note value where there is one, else in milliseconds."""
        if np.ptp(shift) > 1e-6:
            return "each attack onto the nearest of the other's"
        far = abs(float(shift[0]))
        value = next((text for size, text in _VALUES.items() if abs(size - far) < 1e-3), None)
        if value is None:
            onset = float(self.song.notes["onset"].iloc[row])
            seconds = abs(self.song.seconds(onset + float(shift[0])) - self.song.seconds(onset))
            value = f"{1000 * seconds:.0f} ms"
        return f"{value} {'earlier' if shift[0] < 0 else 'later'}"
