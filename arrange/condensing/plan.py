"""A plan: what each player takes in each section, on which neck."""

from __future__ import annotations

from dataclasses import dataclass

from arrange.condensing.player_options import LAY_OUT, Option
from arrange.condensing.problem import Problem

Paths = list[tuple[int, ...]]  # for each section, a number for each player


@dataclass(frozen=True)
class Plan:
    """What each player takes in each section.

    Parameters
    ----------
    choices : list of tuple of int
        For each section, the place of each player's option.
    necks : list of tuple of int
        For each section, which neck each player has.
    value : float
    bound : float
        No choice is worth more.
    """

    choices: Paths
    necks: Paths
    value: float
    bound: float

    @property
    def players(self) -> int:
        """How many play."""
        return len(self.choices[0])

    @property
    def gap(self) -> float:
        """How much better anything could be at most, as a share of the value."""
        return (self.bound - self.value) / max(abs(self.value), 1e-9)

    def options(self, problem: Problem, player: int) -> list[Option]:
        """Return the options that a player takes."""
        return [
            problem.options[section].options[chosen[player]]
            for section, chosen in enumerate(self.choices)
        ]

    def by_neck(self, problem: Problem, player: int) -> list[tuple[tuple[Option, ...], int]]:
        """Return for each neck that a player has somewhere the options taken there, and its number.

        In all other sections the player lays out.
        """
        options = self.options(problem, player)
        necks = [own[player] for own in self.necks]
        return [
            (tuple(o if n == neck else LAY_OUT for o, n in zip(options, necks, strict=True)), neck)
            for neck in dict.fromkeys(necks)
        ]
