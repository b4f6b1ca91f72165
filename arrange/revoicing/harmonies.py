"""What harmony a song has where.

Where there is no chord symbol, the harmony is what all parts sound in that bar, if that is clear;
it is marked as inferred. "N.C." is a chord symbol too and means no chord.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from arrange.clashes.scene import Scene
from arrange.clashes.two_pitches import NO_ROOT, root_under_flat_nine
from arrange.tables.song import Song
from arrange.theory.chords import KINDS, Chord, chord_symbol
from arrange.theory.pitch import pitch_class_name

_INFERRED_KINDS = (
    "major", "minor", "dominant", "minor-seventh", "major-seventh", "suspended-fourth",
    "half-diminished", "diminished",
)  # fmt: skip
_ENOUGH = 0.85  # share of the sounding time that an inferred chord must explain (ours)
_PRESENT = 0.05  # share of the sounding time from which a member counts as there (ours)


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
    bass_is_foreign : bool
        The bass is no member of the chord above it.
    """

    symbol: str
    root: int
    bass: int
    members: tuple[int, ...]
    inferred: bool = False
    excused_root: int = NO_ROOT
    bass_is_foreign: bool = False

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

    @property
    def names_it(self) -> frozenset[int]:
        """What the chord is known by: root, third, seventh or sixth, a suspended or added tone, an
        altered fifth or ninth. The perfect fifth is not among them, nor what lies on top of a
        seventh unaltered, nor a bass that is no member.
        """
        sizes = {(member - self.root) % 12 for member in self.members}
        plain = {7} | ({2, 5, 9} if sizes & {10, 11} else set())
        if not sizes & {3, 4}:
            plain -= {2, 5}  # suspended
        if self.bass_is_foreign:
            plain.add((self.bass - self.root) % 12)
        return frozenset((self.root + size) % 12 for size in {0, *sizes} - plain)


@dataclass(frozen=True)
class Harmonies:
    """The harmony of a song at each of its times."""

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
            found.append(Harmony(symbol, root, low, classes, excused_root=excused,
                                 bass_is_foreign=low not in members))  # fmt: skip
        return found

    @cached_property
    def _inferred(self) -> dict[int, Harmony | None]:
        return {}

    def at(self, onset: float) -> Harmony | None:
        """Return the harmony at an onset, written or inferred; None if there is none."""
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
