"""What harmony a song has where.

Where there is no chord symbol, the harmony is inferred, if that is sure, and marked so. "N.C." is a
chord symbol too and means no chord.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from arrange.clashes.scene import Scene
from arrange.clashes.two_pitches import NO_ROOT, root_under_flat_nine
from arrange.quantities.harmony import inferred_chords
from arrange.tables.song import Song

_SURE = 0.8  # from that confidence on an inferred chord counts; nine of ten are right (measured)
_NEAR = 1e-9  # quarter notes


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
    def _inferred(self) -> tuple[list[float], list[tuple[float, Harmony]]]:
        """Onsets of the inferred chords that are sure enough; end and harmony of each."""
        chords = inferred_chords(self.song)
        chords = chords[chords["confidence"] >= _SURE]
        columns = (chords[n].tolist() for n in ("duration", "symbol", "root", "pitch_classes"))
        onsets = chords["onset"].tolist()
        return onsets, [
            (onset + lasts, Harmony(symbol, root, root, members, True))
            for onset, lasts, symbol, root, members in zip(onsets, *columns, strict=True)
        ]

    def at(self, onset: float) -> Harmony | None:
        """Return the harmony at an onset, written or inferred; None if there is none."""
        if len(self.song.chords):
            row = int(self.scene.chord_at(np.array([onset]))[0])
            if row >= 0:
                return self.written[row]
        onsets, found = self._inferred
        place = bisect_right(onsets, onset + _NEAR) - 1
        return found[place][1] if place >= 0 and onset < found[place][0] - _NEAR else None
