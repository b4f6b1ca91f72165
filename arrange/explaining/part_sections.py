"""What does one part do in each section: play, lay out, or play what it has played before?

A section is played as an earlier one where its bars are as long and hold the same notes, at the
same places, on the same strings, those that ring on from before too. Then it need not be written
twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from arrange.tables.song import Song
from arrange.tables.sounding import played_notes

_NEAR = 6  # decimals of a quarter note
_PLAYED = ("pitch", "string", "fret", "technique", "grace")


@dataclass(frozen=True)
class Stay:
    """What a part does in one section.

    Parameters
    ----------
    section : str
    first, last : int
        Played measures.
    onset, end : float
        Quarter notes.
    plays : bool
    written_as : str
        The earlier section in which the same is played, or empty.
    nearly_as : str
        An earlier section that differs in fewer bars than it has alike, bars of rest left out, or
        in as many, and not by resting there; else empty.
    different : tuple of int
        Those bars, as played here.
    """

    section: str
    first: int
    last: int
    onset: float
    end: float
    plays: bool
    written_as: str = ""
    nearly_as: str = ""
    different: tuple[int, ...] = ()


def own_notes(song: Song, part: str) -> pd.DataFrame:
    """Return what a part plays, in order of time; cue notes are left out."""
    notes = song.notes[song.notes["part"] == part]
    is_cue = notes["technique"].fillna("").str.contains("cue")
    return notes[~is_cue].sort_values(["onset", "pitch"], kind="stable")


def own_and_others(song: Song, part: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return what a part plays, as ``own_notes`` does, and what the others play."""
    notes = played_notes(song.notes)
    return own_notes(song, part), notes[notes["part"] != part]


def part_stays(song: Song, part: str) -> list[Stay]:
    """Return what a part does, section by section."""
    notes = own_notes(song, part)
    bars = bar_contents(song, notes)
    heard = set(notes["section"])
    known: list[tuple[Stay, list[Any]]] = []
    stays = []
    columns = ("section", "first_measure", "last_measure", "onset", "duration")
    for section, first, last, onset, duration in zip(
        *(song.sections[name].tolist() for name in columns), strict=True
    ):
        own = bars[first - 1 : last]
        plays = section in heard
        stay = Stay(section, first, last, onset, onset + duration, plays)
        if plays:
            stay = _compared(stay, own, known)
            if not stay.written_as:
                known.append((stay, own))
        stays.append(stay)
    return stays


def bar_contents(
    song: Song, notes: pd.DataFrame, columns: Sequence[str] = _PLAYED
) -> list[tuple[Any, tuple[Any, ...]]]:
    """Return what each bar of the song holds, to be compared: its meter and length, its notes.

    A note counts in every bar in which it sounds: where in the bar it is struck (nowhere, if it
    is held from before), where it ends or the bar does, and what stands in the columns.
    """
    starts = song.measures["onset"].to_numpy()
    ends = starts + song.measures["duration"].to_numpy()
    onset = notes["onset"].to_numpy()
    end = onset + notes["duration"].to_numpy()
    first = notes["measure"].to_numpy(dtype=np.int64) - 1
    last = np.searchsorted(starts, end - 10.0**-_NEAR, side="left") - 1
    count = np.maximum(last - first, 0) + 1
    row = np.repeat(np.arange(len(notes)), count)
    bar = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    struck = np.where(bar == first[row], onset[row] - starts[bar], -1.0).round(_NEAR)
    until = (np.minimum(end[row], ends[bar]) - starts[bar]).round(_NEAR)
    described = [notes[name].astype(object).where(notes[name].notna(), None) for name in columns]
    values = list(zip(*described, strict=True))
    held: list[list[Any]] = [[] for _ in range(len(song.measures))]
    for at, *piece, note in zip(bar.tolist(), struck.tolist(), until.tolist(), row.tolist(),
                                strict=True):  # fmt: skip
        held[at].append((*piece, *values[note]))
    meters = zip(song.measures["meter"], song.measures["duration"], strict=True)
    return [(meter, tuple(sorted(own, key=repr))) for meter, own in zip(meters, held, strict=True)]


def chords_by_bar(song: Song) -> list[list[int]]:
    """Return the rows of the chords table that sound in each bar of the song, in order."""
    onsets = song.chords["onset"].to_numpy()
    ends = onsets + song.chords["duration"].to_numpy()
    lines, near = song.measures["onset"].to_numpy(), 10.0**-_NEAR
    first = np.searchsorted(lines, onsets + near, side="right") - 1
    last = np.searchsorted(lines, ends - near, side="left") - 1
    held: list[list[int]] = [[] for _ in lines]
    for row, (begin, end) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        for bar in range(max(begin, 0), end + 1):
            held[bar].append(row)
    return held


def _compared(stay: Stay, own: list[Any], known: list[tuple[Stay, list[Any]]]) -> Stay:
    """The stay, with the earlier one that it repeats or nearly repeats."""
    best: tuple[int, ...] | None = None
    nearly, is_near = "", False
    for other, theirs in known:
        if len(theirs) != len(own):
            continue
        if own != theirs and is_thinner(theirs, own, [bool(notes) for _, notes in theirs]):
            continue
        is_same = [here == there for here, there in zip(own, theirs, strict=True)]
        different = tuple(stay.first + n for n, same in enumerate(is_same) if not same)
        if best is None or len(different) < len(best):
            best, nearly = different, other.section
            is_near = is_mostly_same(is_same, [bool(notes) for _, notes in own])
    if best is None or not is_near:
        return stay
    place = (stay.section, stay.first, stay.last, stay.onset, stay.end, True)
    if not best:
        return Stay(*place, written_as=nearly)
    return Stay(*place, nearly_as=nearly, different=best)


def is_mostly_same(is_same: Sequence[bool], is_played: Sequence[bool]) -> bool:
    """Return whether two sections have as many bars alike as not; bars of rest do not count."""
    alike = sum(same and played for same, played in zip(is_same, is_played, strict=True))
    return alike >= len(is_same) - sum(is_same)


def is_thinner(own: Sequence[Any], others: Sequence[Any], is_played: Sequence[bool]) -> bool:
    """Return whether a section is the same as another in every bar in which it plays."""
    pairs = zip(own, others, is_played, strict=True)
    return all(here == there for here, there, plays in pairs if plays)


def who_plays(song: Song) -> pd.DataFrame:
    """Return which parts play in which sections: a row a section, a column a part, booleans."""
    notes = played_notes(song.notes)
    heard = set(zip(notes["section"], notes["part"], strict=True))
    parts, sections = song.parts["part"].tolist(), song.sections["section"].tolist()
    rows = [[(section, part) in heard for part in parts] for section in sections]
    return pd.DataFrame(rows, index=pd.Index(sections), columns=pd.Index(parts), dtype=bool)
