"""What does one part do in each section: play, lay out, or play what it has played before?

A section is played as an earlier one where its bars are as long and hold the same notes, at the
same places, on the same strings. Then it need not be written twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

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
        An earlier section that differs in a few bars only, or empty.
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


def part_stays(song: Song, part: str) -> list[Stay]:
    """Return what a part does, section by section."""
    notes = own_notes(song, part)
    bars = bar_contents(song, notes)
    known: list[tuple[Stay, list[Any]]] = []
    stays = []
    columns = ("section", "first_measure", "last_measure", "onset", "duration")
    for section, first, last, onset, duration in zip(
        *(song.sections[name].tolist() for name in columns), strict=True
    ):
        own = bars[first - 1 : last]
        plays = any(held for _, held in own)
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

    Of a note counts where in the bar it begins, how long it is, and what stands in the columns.
    """
    starts = song.measures["onset"].to_numpy()
    place = (notes["onset"] - starts[notes["measure"].to_numpy() - 1]).round(_NEAR)
    values = [place, notes["duration"].round(_NEAR)]
    values += [notes[name].astype(object).where(notes[name].notna(), None) for name in columns]
    held: list[list[Any]] = [[] for _ in range(len(song.measures))]
    for measure, *note in zip(notes["measure"].tolist(), *values, strict=True):
        held[measure - 1].append(tuple(note))
    meters = zip(song.measures["meter"], song.measures["duration"], strict=True)
    return [(meter, tuple(sorted(own, key=repr))) for meter, own in zip(meters, held, strict=True)]


def _compared(stay: Stay, own: list[Any], known: list[tuple[Stay, list[Any]]]) -> Stay:
    """The stay, with the earlier one that it repeats or nearly repeats."""
    best: tuple[int, ...] | None = None
    nearly = ""
    for other, theirs in known:
        if len(theirs) != len(own):
            continue
        pairs = zip(own, theirs, strict=True)
        different = tuple(stay.first + n for n, (here, there) in enumerate(pairs) if here != there)
        if best is None or len(different) < len(best):
            best, nearly = different, other.section
    if best is None or 2 * len(best) > len(own):
        return stay
    place = (stay.section, stay.first, stay.last, stay.onset, stay.end, True)
    if not best:
        return Stay(*place, written_as=nearly)
    return Stay(*place, nearly_as=nearly, different=best)


def who_plays(song: Song) -> pd.DataFrame:
    """Return which parts play in which sections: a row a section, a column a part, booleans."""
    notes = played_notes(song.notes)
    heard = set(zip(notes["section"], notes["part"], strict=True))
    parts, sections = song.parts["part"].tolist(), song.sections["section"].tolist()
    rows = [[(section, part) in heard for part in parts] for section in sections]
    return pd.DataFrame(rows, index=pd.Index(sections), columns=pd.Index(parts), dtype=bool)
