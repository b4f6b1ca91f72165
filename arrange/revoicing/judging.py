"""What a version does to the findings and the harmony of a stretch.

``findings.recheck`` finds the findings of each version; here are those that touch the stretch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from arrange.clashes import Limits
from arrange.clashes.scene import Scene
from arrange.findings.recheck import departures_in, recheck
from arrange.revoicing.harmonies import Harmonies, Harmony
from arrange.revoicing.stretches import Stretch
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.theory.pitch import pitch_class_name

_OCTAVE = 12


def findings_of_each(
    song: Song, versions: Sequence[pd.DataFrame], stretch: Stretch, limits: Limits
) -> list[pd.DataFrame]:
    """Return the findings that touch a stretch, for each version of the song's notes.

    Parameters
    ----------
    song : Song
    versions : sequence of notes tables
    stretch : Stretch
    limits : Limits

    Returns
    -------
    list of findings tables
        With the sections, measures and beats of the song.
    """
    spans = np.array(stretch.spans)
    span = spans[:, 0].min(), spans[:, 1].max()
    own = [] if versions and versions[0] is song.notes else [song.notes]  # say who is on top
    tables = [notes.reset_index(drop=True) for notes in (*own, *versions)]
    found = recheck(song, tables, span, limits)[len(own) :]
    return [each[_touching(each, stretch)].reset_index(drop=True) for each in found]


def departures_of_each(
    song: Song, versions: Sequence[pd.DataFrame], stretch: Stretch, limits: Limits
) -> list[pd.DataFrame]:
    """Return the findings on which the whole song decides that touch a stretch, for each version
    of the song's notes; arguments as ``findings_of_each``.
    """
    spans, parts = np.array(stretch.spans), song.parts["part"].tolist()
    span = float(spans[:, 0].min()), float(spans[:, 1].max())
    found = (
        departures_in(replace(song, notes=notes.reset_index(drop=True)), span, parts, limits)
        for notes in versions
    )
    return [each[_touching(each, stretch)] for each in found]


def _touching(findings: pd.DataFrame, stretch: Stretch) -> Array:
    """Whether each finding shares time with the stretch."""
    onset = findings["onset"].to_numpy()[:, None]
    end = onset + findings["duration"].to_numpy()[:, None]
    begins, ends = np.array(stretch.spans).T
    return np.asarray(((onset < ends - 1e-6) & (end > begins + 1e-6)).any(axis=1))


def counts_by_measure(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Return number and severity of findings before and after, a row a measure and kind.

    Columns: ``measure``, ``kind``; ``before``, ``after``, their number; ``severity_before``,
    ``severity_after``, the sum of their severities.
    """
    table: dict[tuple[int, str], list[float]] = {}
    for side, findings in enumerate((before, after)):
        columns = (findings[name].tolist() for name in ("measure", "kind", "severity"))
        for measure, kind, severity in zip(*columns, strict=True):
            row = table.setdefault((measure, kind), [0, 0, 0.0, 0.0])
            row[side] += 1
            row[2 + side] += severity
    rows = [(*place, *table[place]) for place in sorted(table)]
    names = ["measure", "kind", "before", "after", "severity_before", "severity_after"]
    return pd.DataFrame(rows, columns=names).astype(
        {"measure": "int64", "kind": "str", "before": "int64", "after": "int64",
         "severity_before": "float64", "severity_after": "float64"}
    )  # fmt: skip


Place = tuple[Harmony, float, float]  # a harmony, and from when to when it holds


def places_of(song: Song, stretch: Stretch, harmonies: Harmonies) -> list[Place]:
    """Return the harmonies of a stretch, bar by bar where there is no symbol."""
    edges = {edge for span in stretch.spans for edge in span}
    for table in (song.chords, song.measures):
        edges |= set(table["onset"].tolist()) | set((table["onset"] + table["duration"]).tolist())
    lines = np.array(sorted(edges))
    inside = np.flatnonzero(stretch.holds(lines[:-1]))
    pieces = [(harmonies.at(float(lines[at])), float(lines[at]), float(lines[at + 1]))
              for at in inside]  # fmt: skip
    found: list[Place] = []
    for harmony, begin, end in pieces:
        if harmony is None:
            continue
        if found and found[-1][0] is harmony and abs(found[-1][2] - begin) < 1e-9:
            found[-1] = (harmony, found[-1][1], end)
        else:
            found.append((harmony, begin, end))
    return found


def sounded(notes: pd.DataFrame, places: Sequence[Place]) -> list[set[int]]:
    """Return the pitch classes that sound in each place."""
    pitched = notes[notes["pitch"].notna() & (notes["duration"] > 0)]
    onset = pitched["onset"].to_numpy()
    end = onset + pitched["duration"].to_numpy()
    bit = 1 << (np.rint(pitched["pitch"].to_numpy()).astype(np.int64) % _OCTAVE)
    found = []
    for _, begin, finish in places:
        there = (onset < finish - 1e-6) & (end > begin + 1e-6)
        bits = int(np.bitwise_or.reduce(bit[there])) if there.any() else 0
        found.append({number for number in range(_OCTAVE) if bits >> number & 1})
    return found


def given_up(
    places: Sequence[Place], before: Sequence[set[int]], after: Sequence[set[int]]
) -> list[tuple[Harmony, int, float]]:
    """Return the thirds and sevenths that sounded in some part and no longer do in any.

    Each with its harmony and onset.
    """
    return [
        (harmony, guide, begin)
        for (harmony, begin, _), had, has in zip(places, before, after, strict=True)
        for guide in sorted(harmony.guides & had - has)
    ]


def given_up_words(song: Song, gone: Sequence[tuple[Harmony, int, float]]) -> tuple[str, ...]:
    """Return what ``given_up`` gives as words: ``"E of C7 in measure 4"``."""
    onsets = np.array([begin for _, _, begin in gone])
    measures = Scene(song).measure_of(onsets) + 1 if len(gone) else onsets
    return tuple(
        f"{pitch_class_name(guide, song.key_at(begin))} of {harmony.symbol} in measure {measure}"
        for (harmony, guide, begin), measure in zip(gone, measures.tolist(), strict=True)
    )


def top_steps(notes: pd.DataFrame) -> float:
    """Return how far the line on top of some notes of a part goes, all steps together."""
    known, which = np.unique(notes["onset"].to_numpy(), return_inverse=True)
    line = np.full(len(known), -np.inf)
    np.maximum.at(line, which, notes["pitch"].to_numpy())
    return float(np.abs(np.diff(line)).sum())


def foreign(
    places: Sequence[Place], before: Sequence[set[int]], after: Sequence[set[int]]
) -> list[tuple[Harmony, int, float]]:
    """Return the pitch classes outside the chord that did not sound there before."""
    return [
        (harmony, other, begin)
        for (harmony, begin, _), had, has in zip(places, before, after, strict=True)
        for other in sorted(has - had - set(harmony.members))
    ]
