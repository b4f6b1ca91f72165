"""Which stretch of a song is meant.

A stretch is given by a section, by measures, by a chord symbol, or by several of them; then it is
where all of them hold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from arrange.errors import ArrangeError
from arrange.tables.song import Song, section_row
from arrange.tables.sounding import Array
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import Chord, chord_intervals
from arrange.theory.pitch import parse_pitch_class

Span = tuple[float, float]  # begin and end, quarter notes


@dataclass(frozen=True)
class Stretch:
    """Where something may change.

    Parameters
    ----------
    spans : tuple of (float, float)
        Begin and end, quarter notes.
    name : str
        As a player says it.
    """

    spans: tuple[Span, ...]
    name: str

    def holds(self, onset: Array) -> Array:
        """Return whether each onset lies in it."""
        begins, ends = np.array(self.spans).T
        row = np.searchsorted(begins, onset + 1e-9, side="right") - 1
        return (row >= 0) & (onset + 1e-9 < ends[row])


def find_stretch(
    song: Song,
    section: str | None = None,
    measures: int | tuple[int, int] | None = None,
    chord: str | None = None,
) -> Stretch:
    """Return the stretch that is meant; the whole song if nothing is given.

    Parameters
    ----------
    song : Song
    section : str, optional
        Label of a section.
    measures : int or (int, int), optional
        A played bar, or the first and the last of several.
    chord : str, optional
        A chord symbol: every place where that chord holds.

    Raises
    ------
    ArrangeError
        If there is no such section, measure or chord, or nowhere all of them hold.
    """
    spans: list[Span] = [(0.0, song.duration)]
    names = []
    if section is not None:
        row = section_row(song, section)
        spans = [(float(row["onset"]), float(row["onset"] + row["duration"]))]
        names.append(section)
    if measures is not None:
        first, last = (measures, measures) if isinstance(measures, int) else measures
        count = len(song.measures)
        if not 1 <= first <= last <= count:
            raise ArrangeError(
                f"measures={measures!r}; write a played bar or (first, last) within 1 to {count}"
            )
        begin = float(song.measures["onset"].iloc[first - 1])
        row = song.measures.iloc[last - 1]
        spans = _shared(spans, [(begin, float(row["onset"] + row["duration"]))])
        names.append(f"measure {first}" if first == last else f"measures {first} to {last}")
    if chord is not None:
        spans = _shared(spans, _chord_spans(song, chord))
        names.append(f"every {chord}")
    name = ", ".join(names) or "the whole song"
    if not spans:
        raise ArrangeError(f"no stretch is left where all of this holds: {name}; ask for less")
    return Stretch(tuple(spans), name)


def _shared(spans: list[Span], others: list[Span]) -> list[Span]:
    pairs = ((max(a, c), min(b, d)) for a, b in spans for c, d in others)
    return sorted((begin, end) for begin, end in pairs if end > begin + 1e-9)


def _chord_spans(song: Song, chord: str) -> list[Span]:
    """Every place of a chord, however it is spelled."""
    chords = song.chords
    same = (chords["symbol"] == chord).to_numpy(dtype=bool)
    if not same.any():
        wanted = parse_chord(chord)
        classes, bass = _classes(wanted)
        same = np.array(
            [
                set(members) == classes and low == bass
                for members, low in zip(
                    chords["pitch_classes"], chords["bass"].fillna(-1).astype(int), strict=True
                )
            ],
            dtype=bool,
        )
    if not same.any():
        there = ", ".join(dict.fromkeys(chords["symbol"])) or "no chord symbols at all"
        raise ArrangeError(f"{chord} is nowhere in this song; there are {there}")
    onset = chords["onset"].to_numpy()[same]
    return list(zip(onset, onset + chords["duration"].to_numpy()[same], strict=True))


def _classes(chord: Chord) -> tuple[set[int], int]:
    if not chord.root:
        return set(), -1
    root = parse_pitch_class(chord.root)
    above = chord_intervals(chord.kind, chord.degrees)
    bass = parse_pitch_class(chord.bass) if chord.bass else (root + above[0]) % 12
    return {(root + size) % 12 for size in above}, bass
