"""A part cut into what moves as one: grips and lines.

A **grip** is what is played under one chord within a bar, if it is chords or picking through a
chord: two notes begin together somewhere, or there are at least four attacks on three pitches or
more, and three notes in four are members. Its pitches are the written voicing, and each note has a
rank in it; rhythm and technique stay when the voicing changes. A note in between that is no member
keeps its name and follows the note of its rank in the nearest octave.

All else is a **line**: it keeps its shape and moves by whole octaves, as one from pause to pause.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from arrange.revoicing.harmonies import Harmonies, Harmony
from arrange.revoicing.stretches import Stretch
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.theory.pitch import key_scale

MOST_STRINGS = 6  # more pitches than that are no grip
_MEMBERS = 0.75  # share of a grip's notes that are members (ours)
_PAUSE = 2.0  # quarter notes of silence that end a line (ours)
_BLOCK = 3  # notes together that make a chord of their own within a bar
_TUNE = 3  # different notes on top of chords from which on they are a tune (ours)
_STEP = 2  # semitones of a step at most
SILENT = 128  # in place of a pitch: a note that is left out


@dataclass(frozen=True, eq=False)
class Unit:
    """Some notes of a part that move as one.

    Parameters
    ----------
    rows : array of int
        Positions in the song's notes table, in order of onset and pitch.
    onset, end : array of float
        Of each note, quarter notes.
    pitch : array of float
        Of each note.
    written : array of int
        The different pitches, low to high: the written voicing, or those of the line.
    rank : array of int
        Of each note among them.
    follows : array of bool
        Notes that are no members, or grace notes: they follow the note of their rank.
    harmony : Harmony or None
        None for a line.
    free : bool
        Whether it may change.
    leans : array of int
        Of each note that follows: the note of the unit next to it, a step away; -1 for none.
    scale : frozenset of int
        The pitch classes of the key there; empty where none is known.
    """

    rows: Array
    onset: Array
    end: Array
    pitch: Array
    written: Array
    rank: Array
    follows: Array
    harmony: Harmony | None
    free: bool
    leans: Array
    scale: frozenset[int] = frozenset()

    @property
    def begin(self) -> float:
        """Quarter notes."""
        return float(self.onset[0])

    @property
    def finish(self) -> float:
        """Quarter notes."""
        return float(self.end.max())

    @property
    def is_strummed(self) -> bool:
        """Whether three notes or more are struck together somewhere."""
        return bool(np.unique(self.onset, return_counts=True)[1].max() >= _BLOCK)

    @property
    def tune_ranks(self) -> Array:
        """The ranks of a tune on top of chords: three notes or more that change over the others."""
        _, first, sizes = np.unique(self.onset, return_index=True, return_counts=True)
        tops = np.unique(np.maximum.reduceat(self.rank, first)[sizes > 1])
        return tops if len(tops) >= _TUNE else tops[:0]

    def stepped(self, note: int, new: Array, followed: float) -> float:
        """Return the pitch of a note that follows, the voicing being at new pitches.

        Parameters
        ----------
        note : int
        new : array of int
            The new pitch of each rank.
        followed : float
            Its own name in the octave of its rank: where it stays if it leans on nothing, or is a
            step from there still.
        """
        leans = int(self.leans[note])
        to = new[self.rank[leans]] if leans >= 0 else SILENT
        if to == SILENT or 0 < abs(followed - to) <= _STEP:
            return followed
        step = self.pitch[note] - self.pitch[leans]
        sizes = (abs(step), _STEP + 1 - abs(step))
        steps = [to + np.copysign(size, step) for size in sizes]
        in_key = self.pitch[note] % 12 in self.scale
        return float(next((at for at in steps if at % 12 in self.scale and in_key), steps[0]))

    def tops(self, which: int) -> float:
        """The highest pitch of the first (0) or the last (-1) attack."""
        at = self.onset == self.onset[which]
        return float(self.pitch[at].max())


def part_units(
    song: Song,
    part: str,
    stretch: Stretch,
    harmonies: Harmonies,
    pinned: Collection[int] = (),
) -> list[Unit]:
    """Return the units of a part in a stretch and a bar around it, in order of time.

    Parameters
    ----------
    song : Song
    part : str
    stretch : Stretch
        Where they are free.
    harmonies : Harmonies
    pinned : collection of int
        Measures in which they are not.
    """
    notes = song.notes
    onset, duration = notes["onset"].to_numpy(), notes["duration"].to_numpy()
    pitch = notes["pitch"].to_numpy()
    cue = notes["technique"].str.contains("cue", na=False).to_numpy(dtype=bool)
    own = (notes["part"] == part).to_numpy(dtype=bool) & np.isfinite(pitch) & ~cue
    own &= (duration > 0) | notes["grace"].to_numpy()
    bars = harmonies.scene.measure_of(onset)
    inside = stretch.holds(onset)
    near = np.zeros(len(song.measures) + 2, dtype=bool)
    for shift in (-1, 0, 1):
        near[bars[inside] + 1 + shift] = True
    rows = np.flatnonzero(own & near[bars + 1])
    rows = rows[np.lexsort((pitch[rows], onset[rows]))]
    chord = harmonies.scene.chord_at(onset[rows]) if len(song.chords) else np.full(len(rows), -1)
    free = inside[rows] & ~np.isin(bars[rows] + 1, list(pinned))
    changes = np.diff(bars[rows]) != 0
    changes |= (np.diff(chord) != 0) | (np.diff(free.astype(np.int8)) != 0)
    units: list[Unit] = []
    for run in np.split(np.arange(len(rows)), np.flatnonzero(changes) + 1):
        if not len(run):
            continue
        at = rows[run]
        harmony = harmonies.at(float(onset[at[0]]))
        for some in _chords_apart(at, onset, pitch):
            scale = key_scale(song.key_at(float(onset[some[0]])))
            unit = _unit(some, onset, duration, pitch, harmony, bool(free[run[0]]))
            units.append(replace(unit, scale=scale))
    return _joined(units)


def _chords_apart(rows: Array, onset: Array, pitch: Array) -> list[Array]:
    """Rows of one bar, cut where a whole chord comes that is another than before."""
    cuts: list[int] = []
    held: set[float] = set()
    for at in np.unique(onset[rows]):
        together = np.flatnonzero(onset[rows] == at)
        sounding = {*pitch[rows[together]].tolist()}
        is_new = len(sounding) >= _BLOCK and held and not (sounding <= held or held <= sounding)
        if is_new:
            cuts.append(int(together[0]))
            held = set()
        held |= sounding
    return np.split(rows, cuts)


def _unit(
    rows: Array, onset: Array, duration: Array, pitch: Array, harmony: Harmony | None, free: bool
) -> Unit:
    own, played = pitch[rows], duration[rows] > 0
    written = np.unique(own)
    follows = np.zeros(len(rows), dtype=bool)
    if harmony is not None:
        member = np.isin(own % 12, harmony.members) & played
        voicing = np.unique(own[member])
        attacks, sizes = np.unique(onset[rows[member]], return_counts=True)
        is_grip = 2 <= len(voicing) <= MOST_STRINGS and member.sum() >= _MEMBERS * played.sum()
        is_grip &= bool((sizes > 1).any()) or (len(attacks) >= 4 and len(voicing) >= 3)
        if is_grip:
            written, follows = voicing, ~member
        else:
            harmony = None
    rank = np.abs(own[:, None] - written).argmin(axis=1)
    end = onset[rows] + duration[rows]
    leans = _leans(onset[rows], own, follows)
    return Unit(rows, onset[rows], end, own, written, rank, follows, harmony, free, leans)


def _leans(onset: Array, pitch: Array, follows: Array) -> Array:
    """For each note that follows, the note after it or else before it that is a step away."""
    leans = np.full(len(onset), -1)
    times = np.unique(onset)
    for note in np.flatnonzero(follows):
        place = int(np.searchsorted(times, onset[note]))
        for near in (place + 1, place - 1):
            if 0 <= near < len(times) and leans[note] < 0:
                far = np.abs(pitch - pitch[note])
                fits = np.flatnonzero((onset == times[near]) & ~follows & (far > 0))
                fits = fits[far[fits] <= _STEP]
                leans[note] = fits[np.argmin(far[fits])] if len(fits) else -1
    return leans


def _joined(units: list[Unit]) -> list[Unit]:
    """The units, with lines that follow each other without a pause made one."""
    found: list[Unit] = []
    for unit in units:
        last = found[-1] if found else None
        goes_on = (
            last is not None
            and last.harmony is None
            and unit.harmony is None
            and last.free == unit.free
            and unit.begin - last.finish < _PAUSE
        )
        if last is not None and goes_on:
            found[-1] = _both(last, unit)
        else:
            found.append(unit)
    return found


def _both(one: Unit, other: Unit) -> Unit:
    pitch = np.concatenate([one.pitch, other.pitch])
    written, rank = np.unique(pitch, return_inverse=True)
    return replace(
        one,
        rows=np.concatenate([one.rows, other.rows]),
        onset=np.concatenate([one.onset, other.onset]),
        end=np.concatenate([one.end, other.end]),
        follows=np.concatenate([one.follows, other.follows]),
        leans=np.concatenate([one.leans, other.leans]),
        pitch=pitch,
        written=written,
        rank=rank,
    )
