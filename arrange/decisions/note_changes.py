"""What a decision changes in a song: which parts and bars, and their notes afterwards.

A change is small: the rows of parts that are new or different, the parts that are removed, what a
part has otherwise in a section, and for each part the bars whose notes differ with the notes that
replace them. It can be made again on
a later state of the song as long as its passage is the same there, which the passage's fingerprint
shows.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.tables.schema_check import check_table
from arrange.tables.schemas import NOTES, PARTS, SETUPS
from arrange.tables.setups import part_setups, where_otherwise
from arrange.tables.song import Song

_SLACK = 1e-6  # quarter notes, of sums that are rounded
Span = tuple[str, int, int]  # a part, its first and last bar, as played


@dataclass(frozen=True)
class Change:
    """What differs between two songs of one form.

    Parameters
    ----------
    spans : tuple of (part, first measure, last measure)
        Where notes are replaced.
    notes : notes table
        All notes that begin there afterwards.
    parts : parts table
        New parts, and those that are different.
    setups : setups table
        What parts have in sections in which it is different; also where that is what their rows of
        the parts table say.
    removed : tuple of str
        Parts that are removed.
    """

    spans: tuple[Span, ...]
    notes: pd.DataFrame
    parts: pd.DataFrame
    setups: pd.DataFrame
    removed: tuple[str, ...] = ()


def change_between(before: Song, after: Song) -> Change:
    """Return the change that turns one song into the other.

    Raises
    ------
    ArrangeError
        If bars, sections or chords differ: a decision changes parts and notes only.
    """
    for name in ("measures", "sections", "chords"):
        if not _same_rows(getattr(before, name), getattr(after, name)):
            raise ArrangeError(
                f"the two songs differ in their {name}; a decision changes parts and notes only"
            )
    old, new = _rows_by_bar(before), _rows_by_bar(after)
    kept = after.parts["part"].tolist()
    bars = sorted(
        (kept.index(part), measure)
        for part, measure in {*old, *new}
        if part in kept and old.get((part, measure)) != new.get((part, measure))
    )
    spans: list[Span] = []
    for index, measure in bars:
        part = kept[index]
        if spans and spans[-1][0] == part and spans[-1][2] == measure - 1:
            spans[-1] = (part, spans[-1][1], measure)
        else:
            spans.append((part, measure, measure))
    known = before.parts.set_index("part")
    rows = [
        row
        for row, part in enumerate(kept)
        if part not in known.index
        or not _same_rows(before.parts[before.parts["part"] == part], after.parts.iloc[[row]])
    ]
    return Change(
        tuple(spans),
        check_table(_written(after.notes[in_spans(after.notes, spans)]), NOTES),
        check_table(after.parts.iloc[rows], PARTS),
        check_table(_other_setups(before, after), SETUPS),
        tuple(part for part in before.parts["part"] if part not in kept),
    )


def _other_setups(before: Song, after: Song) -> pd.DataFrame:
    """What the parts of the later song have that the earlier one's setups do not give them."""
    if before.setups.empty and after.setups.empty:
        return after.setups
    kept = before.setups["part"].isin(after.parts["part"])
    now = part_setups(after)
    known = _plain(part_setups(replace(after, setups=before.setups[kept])))
    return now[[one != other for one, other in zip(_plain(now), known, strict=True)]]


def same_change(one: Change | None, other: Change | None) -> bool:
    """Return whether two changes do the same to a song."""
    if one is None or other is None:
        return one is other
    return (
        (one.spans, one.removed) == (other.spans, other.removed)
        and _same_rows(one.notes, other.notes)
        and _same_rows(one.parts, other.parts)
        and _same_rows(one.setups, other.setups)
    )


def apply_change(song: Song, change: Change) -> Song:
    """Return the song with a change made.

    Raises
    ------
    ArrangeError
        If the notes or setups name an unknown part or section, or notes are outside of the song.
    """
    most = song.duration + _SLACK
    onset, duration = change.notes["onset"], change.notes["duration"]
    if not (onset.between(0, most) & (duration <= most)).all():
        raise ArrangeError(f"notes are outside of the song's {song.duration:g} quarter notes")
    notes = song.notes
    goes = in_spans(notes, change.spans) | notes["part"].isin(change.removed).to_numpy()
    changed = change.parts["part"].tolist()
    parts = song.parts[~song.parts["part"].isin(change.removed)]
    rows = [
        change.parts[change.parts["part"] == part] if part in changed else row
        for part, row in ((row["part"].iloc[0], row) for row in _single_rows(parts))
    ]
    new = change.parts[~change.parts["part"].isin(parts["part"])]
    changed_song = replace(
        song,
        parts=pd.concat([*rows, new], ignore_index=True),
        notes=pd.concat([notes[~goes], change.notes], ignore_index=True),
        setups=song.setups[~song.setups["part"].isin(change.removed)],
    )
    return _with_setups(changed_song, change.setups) if len(change.setups) else changed_song


def _with_setups(song: Song, setups: pd.DataFrame) -> Song:
    """The song in which parts have these setups in place of their own."""
    replace(song, setups=setups)  # checks that their parts and sections are there
    keys, every = ["part", "section"], part_setups(song)
    last = pd.concat([every, setups], ignore_index=True).drop_duplicates(keys, keep="last")
    in_order = every[keys].merge(last, on=keys)
    return replace(song, setups=where_otherwise(in_order, song.parts))


def passage_fingerprint(song: Song, spans: Iterable[Span], removed: Sequence[str] = ()) -> str:
    """Return 16 hexadecimal digits that change when a passage changes.

    The notes of those parts and bars count, the parts' tuning and capo, the meter of the bars and
    their chord symbols. Sounds, levels and words do not count.
    """
    last = int(song.measures["measure"].iloc[-1])
    spans = [*spans, *((part, 1, last) for part in removed)]
    digest = hashlib.sha256()
    notes = song.notes[in_spans(song.notes, spans)]
    for row in sorted(map(str, _plain(_written(notes).drop(columns=["source_id", "section"])))):
        digest.update(row.encode())
    measure = song.measures["measure"].to_numpy()
    covered = np.zeros(len(measure), dtype=bool)
    for _, first, end in spans:
        covered |= (first <= measure) & (measure <= end)
    for table, names in (
        (song.measures, ["measure", "duration", "meter"]),
        (song.chords, ["onset", "duration", "measure", "root", "kind"]),
    ):
        digest.update(str(_plain(table[table["measure"].isin(measure[covered])][names])).encode())
    there = {part for part, _, _ in spans}
    parts = song.parts[song.parts["part"].isin(there)]
    digest.update(str(_plain(parts[["part", "tuning", "capo"]])).encode())
    setups = song.setups[song.setups["part"].isin(there)]
    if len(setups):
        digest.update(str(_plain(setups[["part", "section", "capo"]])).encode())
    return digest.hexdigest()[:16]


def in_spans(notes: pd.DataFrame, spans: Iterable[Span]) -> np.ndarray:
    """Return which notes begin in the spans."""
    part, measure = notes["part"].to_numpy(dtype=object), notes["measure"].to_numpy()
    inside = np.zeros(len(notes), dtype=bool)
    for name, first, last in spans:
        inside |= (part == name) & (first <= measure) & (measure <= last)
    return inside


def _rows_by_bar(song: Song) -> dict[tuple[str, int], list[tuple[Any, ...]]]:
    """The notes of each part and bar, in an order that does not depend on the table's."""
    found: dict[tuple[str, int], list[tuple[Any, ...]]] = {}
    parts, measures = song.notes["part"].tolist(), song.notes["measure"].tolist()
    for part, measure, row in zip(parts, measures, _plain(_written(song.notes)), strict=True):
        found.setdefault((part, measure), []).append(row)
    return {place: sorted(rows, key=str) for place, rows in found.items()}


def _written(notes: pd.DataFrame) -> pd.DataFrame:
    """Notes without what a Song computes of them, which may change with those of other bars."""
    return notes.drop(columns="sounds")


def _single_rows(frame: pd.DataFrame) -> list[pd.DataFrame]:
    return [frame.iloc[[row]] for row in range(len(frame))]


def _same_rows(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    return _plain(one) == _plain(other)


def _plain(frame: pd.DataFrame) -> list[tuple[Any, ...]]:
    """Rows as tuples in which missing is None, so that equal rows compare equal."""
    columns = [
        [None if value is pd.NA or value != value else value for value in frame[name].tolist()]
        for name in frame.columns
    ]
    return list(zip(*columns, strict=True))
