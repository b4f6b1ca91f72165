"""A section of a part as all that is said about it needs it: its attacks, counts and shapes."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.explaining.attacks import NEAR, Attack
from arrange.explaining.held_shapes import Held, Struck, held_shapes, labelled_shapes
from arrange.explaining.part_sections import Stay
from arrange.explaining.playing_kinds import playing_kind
from arrange.guitar.fret_counting import shown_fret, shown_shape
from arrange.guitar.necks import Neck, Shape
from arrange.tables.song import Song
from arrange.theory.meters import bar_grid, beat_quarters

_WHOLE_SHAPE = 3  # strings from which an attack is said as a shape


@dataclass(frozen=True)
class Passage:
    """What a part does in a section in which it plays.

    Parameters
    ----------
    song : Song
    stay : Stay
    struck : a table
        As ``struck_notes`` gives them, of this section.
    attacks : tuple of Attack
    neck : Neck
        With the capo of this section.
    frets_from : str
        Where frets are counted from in words: ``"nut"`` or ``"capo"``.
    """

    song: Song
    stay: Stay
    struck: pd.DataFrame
    attacks: tuple[Attack, ...]
    neck: Neck
    frets_from: str

    @cached_property
    def kind(self) -> str:
        """What it is, one of ``playing_kinds``."""
        return playing_kind(self.attacks, beat_quarters(self._meters[self.stay.first - 1]))

    @cached_property
    def throughout(self) -> frozenset[str]:
        """The techniques of every note."""
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
    def held(self) -> list[tuple[str, Held]]:
        """Each shape in order of time, with its label; one under another comes once a time."""
        return list(zip(*self._labelled[:2], strict=True))

    @cached_property
    def shapes(self) -> tuple[tuple[str, Shape], ...]:
        """Each different shape once, with its label: the chord, numbered where it has several."""
        return tuple(self._labelled[2])

    @cached_property
    def _labelled(self) -> tuple[list[str], list[Held], list[tuple[str, Shape]]]:
        struck = self.struck.sort_values("onset", kind="stable")
        held = held_shapes(
            Struck(
                np.array([self._onsets[onset] for onset in struck["onset"].tolist()]),
                (struck["onset"] + struck["duration"]).to_numpy(),
                struck["measure"].to_numpy(),
                struck["string"].to_numpy(dtype=np.int64),
                struck["fret"].to_numpy(dtype=np.int64),
                struck["technique"].str.contains("muted", na=False).to_numpy(dtype=bool),
            ),
            self.song,
        )
        labels, shapes = labelled_shapes(self.song, held, self.neck)
        return labels, held, shapes

    @cached_property
    def _onsets(self) -> dict[float, float]:
        """The onset of the attack that each note belongs to."""
        starts = np.array([attack.onset for attack in self.attacks])
        own = self.struck["onset"].to_numpy()
        return dict(zip(
            own.tolist(), starts[np.searchsorted(starts, own + NEAR, side="right") - 1].tolist(),
            strict=True,
        ))  # fmt: skip

    def shape_text(self, shape: Shape) -> str:
        """Return a shape, low string first, frets as the player counts them."""
        return shown_shape(shape, self.neck.capo, self.frets_from)

    def attack_text(self, attack: Attack) -> str:
        """Return what is struck: a shape, or string and fret of one or two notes."""
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
