"""A section of a part with what is said about it: its attacks, counts and shapes."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property

from arrange.explaining.attacks import NEAR, Attack
from arrange.explaining.held_shapes import Held, SectionShapes
from arrange.explaining.part_sections import Stay
from arrange.explaining.playing_kinds import playing_kind
from arrange.guitar.fret_counting import shown_fret, shown_shape
from arrange.guitar.harmonics import NAME, harmonic_pitches
from arrange.guitar.necks import LEFT_OUT, Neck, Shape
from arrange.tables.song import Song
from arrange.text.words import listed
from arrange.theory.meters import bar_grid, beat_quarters

_WHOLE_SHAPE = 3  # strings from which an attack is said as a shape


@dataclass(frozen=True)
class Passage:
    """What a part does in a section in which it plays.

    Parameters
    ----------
    song : Song
    stay : Stay
    attacks : tuple of Attack
        Of this section.
    own_shapes : SectionShapes
    neck : Neck
        With the capo of this section.
    frets_from : str
        Where frets are counted from in words: ``"nut"`` or ``"capo"``.
    """

    song: Song
    stay: Stay
    attacks: tuple[Attack, ...]
    own_shapes: SectionShapes
    neck: Neck
    frets_from: str

    @cached_property
    def kind(self) -> str:
        """What it is, one of ``playing_kinds``."""
        return playing_kind(self.attacks, beat_quarters(self._meters[self.stay.first - 1]))

    @cached_property
    def throughout(self) -> frozenset[str]:
        """The techniques that every note has."""
        first, *others = (attack.techniques for attack in self.attacks)
        return first.intersection(*others)

    @cached_property
    def _meters(self) -> list[str]:
        return self.song.measures["meter"].tolist()

    @cached_property
    def bars(self) -> dict[int, list[Attack]]:
        """The attacks of each bar that has any."""
        bars: dict[int, list[Attack]] = defaultdict(list)
        for attack in self.attacks:
            bars[attack.measure].append(attack)
        return dict(bars)

    @cached_property
    def counts(self) -> dict[int, tuple[str, ...]]:
        """The count of each attack, by bar: ``"2&"``; ``"after 2"`` where it fits no count."""
        starts = self.song.measures["onset"].tolist()
        lengths = self.song.measures["duration"].tolist()
        return {
            bar: bar_counts_of(
                self._meters[bar - 1], lengths[bar - 1],
                [attack.onset - starts[bar - 1] for attack in attacks],
            )
            for bar, attacks in self.bars.items()
        }  # fmt: skip

    @cached_property
    def shapes(self) -> tuple[tuple[str, Shape], ...]:
        """Each different shape once, with its label: the chord, numbered where it has several.

        One or two strings are no shape to name; they are said string by string.
        """
        return tuple(
            (label, shape)
            for label, shape in self.own_shapes.shapes
            if sum(fret != LEFT_OUT for fret in shape) >= _WHOLE_SHAPE
        )

    @cached_property
    def held(self) -> list[tuple[str, Held]]:
        """Each shape in order of time, with its label; empty where it is no shape to name."""
        named = {label for label, _ in self.shapes}
        return [
            (label if label in named else "", held)
            for label, held in zip(self.own_shapes.labels, self.own_shapes.held, strict=True)
        ]

    def touched(self, attack: Attack) -> dict[int, list[int]]:
        """Return the strings that are touched over each fret for natural harmonics; none where an
        attack is none of these.
        """
        strings, frets = zip(*attack.places, strict=True)
        opened = [self.neck.tuning[string - 1] + self.neck.capo for string in strings]
        sounding = harmonic_pitches(opened, [fret - self.neck.capo for fret in frets]).tolist()
        found: dict[int, list[int]] = {}
        if NAME in attack.techniques and sounding == [note.pitch for note in attack.notes]:
            for string, fret in attack.places:
                found.setdefault(fret, []).append(string)
        return found

    @cached_property
    def touched_frets(self) -> list[int]:
        """The frets over which strings are touched, where all attacks are natural harmonics."""
        if self.pressed_bars:
            return []
        return sorted({fret for attack in self.attacks for fret in self.touched(attack)})

    @cached_property
    def pressed_bars(self) -> list[int]:
        """The bars with attacks that are no natural harmonics."""
        return [bar for bar, own in self.bars.items() if not all(map(self.touched, own))]

    def label_of(self, attack: Attack) -> str:
        """Return the label of the shape that is held at an attack, if all of it is struck."""
        if NAME in attack.techniques:  # belongs to no shape
            return ""
        starts = [held.onset for _, held in self.held]
        label = self.held[bisect_right(starts, attack.onset + NEAR) - 1][0]
        shape = dict(self.shapes).get(label, ())
        own = dict(attack.places)
        is_whole = own == {s: fret for s, fret in enumerate(shape, 1) if fret != LEFT_OUT}
        return label if is_whole else ""

    def shape_text(self, shape: Shape) -> str:
        """Return a shape, low string first, frets as the player counts them."""
        return shown_shape(shape, self.neck.capo, self.frets_from)

    def attack_text(self, attack: Attack) -> str:
        """Return what is struck: a shape, or string and fret of one or two notes; of a shape that
        moves, its fret, with its string where there are several.
        """
        touched = self.touched(attack)
        if touched:
            return " with ".join(
                f"string{'' if len(own) == 1 else 's'} {listed(map(str, own))} touched over "
                f"{self.fret_text(fret)}"
                for fret, own in touched.items()
            )
        movable = self.own_shapes.movable
        if movable:
            string, fret = attack.places[0]
            return f"string {string} " * (len(movable) > 1) + self.fret_text(fret)
        if len(attack.notes) >= _WHOLE_SHAPE:
            frets = dict(attack.places)
            return self.shape_text(
                tuple(frets.get(string, -1) for string in range(1, self.neck.strings + 1))
            )
        return " with ".join(
            f"string {string} {self.fret_text(fret)}" for string, fret in attack.places
        )

    def fret_text(self, fret: int) -> str:
        """Return ``"fret 5"``, or ``"open"``."""
        number = shown_fret(fret, self.neck.capo, self.frets_from)
        return f"fret {number}" if number else "open"


def bar_counts_of(meter: str, length: float, attacks: list[float]) -> tuple[str, ...]:
    """Return the count of each attack of a bar, on the coarsest count that fits all of them."""
    grid = bar_grid(meter, length, attacks)
    if grid is None:
        beat = beat_quarters(meter)
        beats = [int(attack / beat + NEAR) + 1 for attack in attacks]
        return tuple(
            str(number) if abs(attack - (number - 1) * beat) < NEAR else f"after {number}"
            for number, attack in zip(beats, attacks, strict=True)
        )
    return tuple(grid.said[min(round(attack / grid.slot), len(grid.said) - 1)]
                 for attack in attacks)  # fmt: skip
