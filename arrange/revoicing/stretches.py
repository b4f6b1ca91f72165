"""Which stretch of a song is meant, and what harmony holds there.

A stretch is given by a section, by measures, by a chord symbol, or by several of them; then it is
where all of them hold. Where there is no chord symbol, the harmony is what all parts sound in that
bar, if that is clear; it is marked as inferred. "N.C." is a chord symbol too and means no chord.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from arrange.clashes.scene import Scene
from arrange.clashes.two_pitches import NO_ROOT, root_under_flat_nine
from arrange.errors import ArrangeError
from arrange.tables.song import Song, section_row
from arrange.tables.sounding import Array
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import KINDS, Chord, chord_intervals, chord_symbol
from arrange.theory.pitch import parse_pitch_class, pitch_class_name

_INFERRED_KINDS = (
    "major", "minor", "dominant", "minor-seventh", "major-seventh", "suspended-fourth",
    "half-diminished", "diminished",
)  # fmt: skip
_ENOUGH = 0.85  # share of the sounding time that an inferred chord must explain (ours)
_PRESENT = 0.05  # share of the sounding time from which a member counts as there (ours)

Span = tuple[float, float]  # begin and end, quarter notes


@dataclass(frozen=True)
class Harmony:
    """A chord as far as voicings ask for it; pitch classes.

    Parameters
    ----------
    symbol : str
    root, bass : int
    members : tuple of int
        The bass among them.
    inferred : bool
        No chord symbol says so; the notes do.
    excused_root : int
        The root that may rub under its own flat nine; -1 for none.
    """

    symbol: str
    root: int
    bass: int
    members: tuple[int, ...]
    inferred: bool = False
    excused_root: int = NO_ROOT

    @property
    def third(self) -> frozenset[int]:
        """The third, if it has one."""
        above = [size for size in (4, 3) if (self.root + size) % 12 in self.members]
        return frozenset((self.root + size) % 12 for size in above[:1])

    @property
    def guides(self) -> frozenset[int]:
        """Third and seventh, which name the chord."""
        sevenths = {(self.root + size) % 12 for size in (10, 11)} & set(self.members)
        return self.third | frozenset(sevenths)


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
        raise ArrangeError(f"{chord} stands nowhere in this song; there are {there}")
    onset = chords["onset"].to_numpy()[same]
    return list(zip(onset, onset + chords["duration"].to_numpy()[same], strict=True))


def _classes(chord: Chord) -> tuple[set[int], int]:
    if not chord.root:
        return set(), -1
    root = parse_pitch_class(chord.root)
    above = chord_intervals(chord.kind, chord.degrees)
    bass = parse_pitch_class(chord.bass) if chord.bass else (root + above[0]) % 12
    return {(root + size) % 12 for size in above}, bass


@dataclass(frozen=True)
class Harmonies:
    """What harmony holds where in a song."""

    song: Song

    @cached_property
    def scene(self) -> Scene:
        """The song's sounding notes."""
        return Scene(self.song)

    @cached_property
    def written(self) -> list[Harmony | None]:
        """The harmony of each chord symbol; None for "N.C." and for a symbol without members."""
        chords = self.song.chords
        columns = (chords[n].tolist() for n in ("symbol", "kind", "root", "bass", "pitch_classes"))
        found: list[Harmony | None] = []
        for symbol, kind, root, bass, members in zip(*columns, strict=True):
            if len(members) < 2 or not isinstance(root, int):
                found.append(None)
                continue
            low = bass if isinstance(bass, int) else root
            classes = tuple(dict.fromkeys((*members, low)))
            excused = root_under_flat_nine(kind, root, members)
            found.append(Harmony(symbol, root, low, classes, excused_root=excused))
        return found

    @cached_property
    def _inferred(self) -> dict[int, Harmony | None]:
        return {}

    def at(self, onset: float) -> Harmony | None:
        """Return what holds at an onset, written or inferred; None if neither."""
        if len(self.song.chords):
            row = int(self.scene.chord_at(np.array([onset]))[0])
            if row >= 0:
                return self.written[row]
        measure = int(self.scene.measure_of(np.array([onset]))[0])
        if measure not in self._inferred:
            self._inferred[measure] = self._infer(measure)
        return self._inferred[measure]

    def _infer(self, measure: int) -> Harmony | None:
        """The chord that explains nearly all that sounds in a bar, and is there whole."""
        bar = self.song.measures.iloc[measure]
        begin, end = float(bar["onset"]), float(bar["onset"] + bar["duration"])
        scene = self.scene
        held = np.minimum(scene.end, end) - np.maximum(scene.onset, begin)
        sounds = (held > 0) & (scene.pitch % 1 == 0)
        if not sounds.any():
            return None
        classes = scene.pitch[sounds].astype(np.int64) % 12
        time = np.bincount(classes, held[sounds], minlength=12)
        time = time / time.sum()
        lowest = int(classes[np.argmin(scene.pitch[sounds])])
        best, found = 0.0, None
        for kind in _INFERRED_KINDS:
            for root in range(12):
                members = [(root + size) % 12 for size in KINDS[kind][0]]
                share = float(time[members].sum())
                if share < _ENOUGH or (time[members] < _PRESENT).any():
                    continue
                worth = share + 0.1 * (root == lowest) - 0.02 * len(members)
                if worth > best + 1e-9:
                    name = pitch_class_name(root, self.song.key_at(begin))
                    symbol = chord_symbol(Chord(name, kind))
                    best, found = worth, Harmony(symbol, root, root, tuple(members), True)
        return found
