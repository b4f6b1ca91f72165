"""A part as moments: what is struck at each, what rings on, and where each note may lie.

A moment is an onset of the part; each grace note has one of its own, ``GRACE_SECONDS`` before the
next. A note written in two voices at one moment is struck once. A note is held that sounds more
than ``OVERLAP`` quarter notes past the next onset; one that is marked to ring sounds to its written
end, and among others that ring to the end of its measure. It ends sooner when its pitch is struck
anew, or when the source puts another note on its string.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from arrange.guitar.harmonics import NAME, natural_places
from arrange.guitar.necks import Array, Neck
from arrange.tables.song import Song
from arrange.theory.pitch import note_name

GRACE_SECONDS = 0.08
OVERLAP = 0.125  # quarter notes that a note may reach into the next without being held
_ROUNDING = 1e-9

Place = tuple[int, int]  # string, fret
Places = tuple[Place, ...]


@dataclass(frozen=True, eq=False)
class Stroke:
    """What one stroke on one string has to sound: a note, or one that two voices share.

    Parameters
    ----------
    rows : tuple of int
        Its rows in the part's notes.
    pitch : float
    places : tuple of (string, fret)
        Where it may lie.
    fixed : bool
        The source gave its string.
    onset, end : float
        Quarter notes.
    rings : bool
        It is marked to ring.
    line : float
        End of its measure, quarter notes.
    palm : bool
        It is muted with the palm.
    """

    rows: tuple[int, ...]
    pitch: float
    places: Places
    fixed: bool
    onset: float
    end: float
    rings: bool
    line: float
    palm: bool


@dataclass
class Moment:
    """What begins at one time, and what is held from before.

    Parameters
    ----------
    seconds : float
    onset : float
        Quarter notes.
    struck, held : list of Stroke
    driven : bool
        The part sounds overdriven or more.
    picked : bool
        It is played with a pick, not with the fingers.
    """

    seconds: float
    onset: float
    struck: list[Stroke]
    held: list[Stroke] = field(default_factory=list)
    driven: bool = False
    picked: bool = True


def part_moments(
    song: Song, notes: pd.DataFrame, neck: Neck, *, is_own_neck: bool
) -> tuple[list[Moment], dict[int, str]]:
    """Return the moments of a part's notes, and what is wrong with single notes, by row.

    Parameters
    ----------
    song : Song
    notes : a notes table, of one part, in order of onset
    neck : Neck
    is_own_neck : bool
        Whether it is the neck the source wrote its frets for, so that a fret which does not
        give its note is a fault to report.
    """
    problems: dict[int, str] = {}
    columns = _columns(notes)
    columns["line"] = _lines(song)[notes["measure"].to_numpy() - 1].tolist()
    seconds = np.asarray(song.seconds(notes["onset"].to_numpy())).tolist()
    moments: list[Moment] = []
    for rows in _rows_together(columns):
        strokes = {}
        for row in rows:
            stroke, problem = _stroke(row, columns, neck, song)
            if problem and (is_own_neck or stroke is None):
                problems[row] = problem
            if stroke is not None:
                strokes[row] = stroke
        onset, second = columns["onset"][rows[0]], seconds[rows[0]]
        graces = [stroke for row, stroke in strokes.items() if columns["grace"][row]]
        for back, grace in zip(range(len(graces), 0, -1), graces, strict=True):
            moments.append(Moment(second - back * GRACE_SECONDS, onset, [grace]))
        struck = [
            (columns["voice"][r], stroke)
            for r, stroke in strokes.items()
            if not columns["grace"][r]
        ]
        if struck:
            moments.append(Moment(second, onset, _merged(struck)))
    return moments, problems


def _stroke(
    row: int, columns: dict[str, list[Any]], neck: Neck, song: Song
) -> tuple[Stroke | None, str]:
    """What a row asks for, and what is wrong with it; None if it lies nowhere."""
    names = ("pitch", "string", "fret", "onset", "duration", "technique", "line")
    pitch, string, fret, onset, duration, technique, line = (columns[name][row] for name in names)
    key, is_harmonic = song.key_at(onset), NAME in technique
    places, fixed, problem = _note_places(pitch, string, fret, is_harmonic, neck, key)
    if not places:
        return None, problem
    rings = "let ring" in technique
    end, palm = onset + duration, "palm mute" in technique
    return Stroke((row,), pitch, places, fixed, onset, end, rings, line, palm), problem


def _lines(song: Song) -> Array:
    """End of each measure, quarter notes."""
    return song.measures["onset"].to_numpy() + song.measures["duration"].to_numpy()


def hold_on(moments: list[Moment]) -> None:
    """Find for each moment which notes from before are held."""
    held: list[Stroke] = []
    before: list[Stroke] = []
    for moment in moments:
        struck = {stroke.pitch for stroke in moment.struck}
        strings = {stroke.places[0][0] for stroke in moment.struck if stroke.fixed}
        all_ring = all(stroke.rings for stroke in moment.struck)
        held = [
            stroke
            for stroke in held + before
            if _sounds_on(stroke, moment.onset, all_ring)
            and stroke.pitch not in struck
            and not (stroke.fixed and stroke.places[0][0] in strings)
        ]
        before = moment.struck
        moment.held = held


def _sounds_on(stroke: Stroke, onset: float, all_ring: bool) -> bool:
    if not stroke.rings:
        return stroke.end > onset + OVERLAP + _ROUNDING
    return max(stroke.end, stroke.line if all_ring else 0.0) > onset + _ROUNDING


def _columns(notes: pd.DataFrame) -> dict[str, list[Any]]:
    columns = {name: notes[name].tolist() for name in ("onset", "duration", "pitch", "grace")}
    for name in ("string", "fret"):
        columns[name] = notes[name].to_numpy(dtype=np.int64, na_value=-1).tolist()
    for name in ("technique", "voice"):
        columns[name] = notes[name].fillna("").tolist()
    return columns


def _rows_together(columns: dict[str, list[Any]]) -> list[list[int]]:
    """Rows that begin together, of notes with a pitch that the part itself plays."""
    together: list[list[int]] = []
    last = None
    for row, (onset, pitch, technique) in enumerate(
        zip(columns["onset"], columns["pitch"], columns["technique"], strict=True)
    ):
        if pitch != pitch or "cue" in technique:
            continue
        if onset == last:
            together[-1].append(row)
        else:
            together.append([row])
        last = onset
    return together


@lru_cache(maxsize=1024)
def _places(pitch: float, neck: Neck) -> Places:
    return tuple(neck.places(pitch))


def _note_places(
    pitch: float, string: int, fret: int, is_harmonic: bool, neck: Neck, key: str | None
) -> tuple[Places, bool, str]:
    """Where a note may lie, whether the source said so, and what is wrong with what it said."""
    places = _places(pitch, neck)
    if is_harmonic and (string < 1 or fret < 0):
        touched = [place for place in natural_places(pitch, neck) if string in (-1, place[0])]
        if places and not touched:
            return places, False, _no_harmonic(pitch, neck, key)
        return tuple(touched), False, "" if touched else neck.why_no_place(pitch, key)
    if string < 1:
        return places, False, "" if places else neck.why_no_place(pitch, key)
    named = f"string {string}" if fret < 0 else f"string {string}, fret {fret}"
    kept = tuple(place for place in places if place[0] == string and fret in (-1, place[1]))
    if is_harmonic and string <= neck.strings and neck.capo <= fret <= neck.frets:
        kept = ((string, fret),)  # where it is touched
    if kept:
        return kept, True, ""
    if not places:
        return places, False, neck.why_no_place(pitch, key)
    return (
        places,
        False,
        (
            f"the source puts {note_name(pitch, key)} on {named}, where it does not lie in this "
            "tuning with this capo; it is fingered from its pitch: check tuning, capo and octave"
        ),
    )


def _no_harmonic(pitch: float, neck: Neck, key: str | None) -> str:
    held = [fret for string, fret in neck.places(pitch - 12)
            if neck.capo < fret <= neck.last_fret(string) - 12]  # fmt: skip
    way = " (an artificial one: hold it an octave lower, touch 12 frets above)"
    return (
        f"no open string has {note_name(pitch, key)} as a natural harmonic{way if held else ''}; "
        "it is fingered as a plain note"
    )


def _merged(here: list[tuple[str, Stroke]]) -> list[Stroke]:
    """One stroke for what two voices, or two rows of one place, share."""
    merged: list[tuple[str, Stroke]] = []
    for voice, stroke in here:
        for number, (other_voice, other) in enumerate(merged):
            one_place = stroke.fixed and other.fixed and stroke.places == other.places
            two_voices = voice != other_voice and not (stroke.fixed and other.fixed)
            if stroke.pitch == other.pitch and (one_place or two_voices):
                kept = stroke if stroke.fixed else other
                both = Stroke(other.rows + stroke.rows, stroke.pitch, kept.places, kept.fixed,
                            stroke.onset, max(stroke.end, other.end),
                            stroke.rings or other.rings, stroke.line,
                            stroke.palm and other.palm)  # fmt: skip
                merged[number] = (other_voice, both)
                break
        else:
            merged.append((voice, stroke))
    return [stroke for _, stroke in merged]
