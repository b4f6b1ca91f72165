"""What layers that are left out of a section's tables could add to those that are kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from arrange.condensing.section_worth import SectionWorth, over_sets
from arrange.tables.sounding import Array

_ROWS = 256  # sets looked at together


@dataclass(frozen=True)
class LeftOut:
    """Layers that are left out of the tables of a section.

    Parameters
    ----------
    worth : SectionWorth
    layers : tuple of int
        One of each class of which none is kept.
    merges : array
        What it costs to play two layers at once: layers x layers, of all the song.
    adds : array
        What each of them adds to every set of those kept: layers left out x sets.
    most : array
        The most that a player adds to every set with one or two of them, less what it costs to
        play the two at once.
    """

    worth: SectionWorth
    layers: tuple[int, ...]
    merges: Array
    adds: Array
    most: Array

    @classmethod
    def of(cls, worth: SectionWorth, layers: Sequence[int], merges: Array) -> LeftOut:
        """Return some layers of a section; `merges` is layers x layers."""
        covers, seconds = worth.all_items
        masks = worth.masks(covers)
        adds = []
        for layer in layers:
            own = covers[:, worth.class_of[layer]]
            covered = over_sets(masks[own], seconds[own], len(worth.kept))
            adds.append(seconds[own].sum() - covered)
        most = np.asarray(np.max(adds, axis=0))
        for (one, first), (other, second) in combinations(zip(layers, adds, strict=True), 2):
            np.maximum(most, first + second - merges[one, other], out=most)
        return cls(worth, tuple(layers), merges, np.array(adds), most)

    @cached_property
    def beside(self) -> Array:
        """What it costs to play one of them beside a layer that is kept: kept x left out."""
        return self.merges[np.ix_(self.worth.kept, self.layers)]

    @cached_property
    def _choices(self) -> Array:
        """What a player may take with one of them at least: two classes a row, or one twice."""
        others = [self.worth.class_of[layer] for layer in self.worth.kept]
        own = [self.worth.class_of[layer] for layer in self.layers]
        rows = [(one, one) for one in own]
        rows += [(one, other) for one in own for other in dict.fromkeys(others)]
        return np.array([*rows, *combinations(own, 2)])

    @cached_property
    def _costs(self) -> Array:
        """What each of these choices costs."""
        firsts = np.array([own[0] for own in self.worth.classes])
        one, other = firsts[self._choices].T
        return np.asarray(np.where(one == other, 0.0, self.merges[one, other]))

    @cached_property
    def _supplied(self) -> Array:
        """Which items each of these choices supplies: choices x items."""
        covers, _ = self.worth.all_items
        return np.asarray(covers.T[self._choices].any(axis=1), dtype=np.float64)

    def with_one(self, least: Array, grown: Array, best: float) -> float:
        """Return the most where one player takes something that is left out; `best` if less.

        Parameters
        ----------
        least : array
            What it costs the other players to play every set of those kept.
        grown : array
            What growth takes away from every set.
        best : float
        """
        bits, table = np.arange(len(self.worth.kept)), self.worth.covered - grown
        bound = table + self.most
        for bit in bits:
            halves = (-1, 2, 1 << bit)
            beside = table + (self.adds - self.beside[bit][:, None]).max(axis=0)
            without = bound.reshape(halves)[:, 0]
            np.maximum(without, beside.reshape(halves)[:, 1], out=without)
        bound -= least
        order = np.argsort(-bound, kind="stable")[: int((bound > best).sum())]
        of_bit = [self.worth.class_of[layer] for layer in self.worth.kept]
        for begin in range(0, len(order), _ROWS):
            sets = order[begin : begin + _ROWS]
            if bound[sets[0]] <= best:
                break
            others = np.zeros((len(sets), len(self.worth.classes)), dtype=bool)
            row, which = np.nonzero(sets[:, None] >> bits & 1)
            others[row, np.array(of_bit)[which]] = True
            most = self._best_beside(others) - least[sets] - grown[sets]
            best = max(best, float(most.max()))
        return best

    def with_two(self, best: float) -> float:
        """Return the most where two players take something that is left out; `best` if less."""
        _, seconds = self.worth.all_items
        alone = self._supplied @ seconds - self._costs
        # Two are worth no more than each alone, added up: one of them more than half.
        order = np.flatnonzero(alone > best / 2)
        for begin in range(0, len(order), _ROWS):
            rows = order[begin : begin + _ROWS]
            others = np.zeros((len(rows), len(self.worth.classes)), dtype=bool)
            np.put_along_axis(others, self._choices[rows], True, axis=1)
            best = max(best, float((self._best_beside(others) - self._costs[rows]).max()))
        return best

    def _best_beside(self, others: Array) -> Array:
        """The most for each row of classes (rows x classes) with one of the choices beside it."""
        covers, seconds = self.worth.all_items
        left = np.where(others.astype(np.float64) @ covers.T, 0.0, seconds)
        adds = left @ self._supplied.T - self._costs
        lead = self.worth.lead_class
        if lead >= 0:
            adds[np.ix_(~others[:, lead], ~(self._choices == lead).any(axis=1))] = -np.inf
        return np.asarray(seconds.sum() - left.sum(axis=1) + adds.max(axis=1))
