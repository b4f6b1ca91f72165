"""What shares are worth, what is lost, where it clashes, by what is known of hands at one time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from arrange.condensing.plan import Plan
from arrange.condensing.plan_by_hand import (
    PlanByHand,
    Taken,
    Trouble,
    best_necks,
    plan_by_hand,
    untried,
    what_would_do,
)
from arrange.condensing.playable_plan import Known
from arrange.condensing.problem import Problem
from arrange.condensing.reasons import LOST, section_choices, section_losses
from arrange.condensing.returns import Returns
from arrange.condensing.swapped_layers import swap_reasons
from arrange.condensing.terms import section_terms
from arrange.live.layers.shares import Shares

_NEAR = 0.005  # seconds that are taken for none
Keyed = tuple[Any, ...]
Row = dict[str, Any]
Clashes = Callable[[int, tuple[tuple[int, ...], ...]], list[Row]]


@dataclass(frozen=True)
class SectionFigures:
    """A section with what is shared out there.

    Parameters
    ----------
    terms : dict of str to float
        What each term of the worth comes to, seconds.
    of_all : float
        What all layers together are worth there, seconds.
    lost : int
        How many layers that play there nobody has.
    clashes : list of dict
        The findings between layers of different players, the most severe first.
    recorded, played : float
        How full it is, of the fullest that the layers, and that so many players can be.
    """

    terms: dict[str, float]
    of_all: float
    lost: int
    clashes: list[Row]
    recorded: float
    played: float

    @property
    def value(self) -> float:
        """Worth of the section, seconds."""
        return sum(self.terms.values())

    @property
    def share(self) -> float:
        """The worth as a share of what all layers are worth there."""
        return self.value / self.of_all if self.of_all else 1.0

    @property
    def is_behind(self) -> bool:
        """Whether it is thinner than the section that it is a return of, and should not be."""
        return self.terms["thinner"] < -_NEAR


class SectionWords(NamedTuple):
    """A section in words: for each player what is taken and why, as of ``section_choices``, and
    what is not played, as of ``Condensation.lost``, what is worth most first.
    """

    choices: list[Row]
    lost: list[Row]


@dataclass(frozen=True)
class Figures:
    """Shares in figures.

    Parameters
    ----------
    sections : tuple of SectionFigures
    plan : Plan
    share : float
        The value as a share of what all layers are worth.
    troubles : tuple of Trouble
        Why it cannot be played.
    untried : frozenset of int
        Sections of which some hand has not been tried yet.
    by : KnownFigures
        By which they were worked out.
    """

    sections: tuple[SectionFigures, ...]
    plan: Plan
    share: float
    troubles: tuple[Trouble, ...]
    untried: frozenset[int]
    by: KnownFigures


class KnownFigures:
    """The figures of shares by what is known at one time, each section worked out once.

    Parameters
    ----------
    known : Known
        With all that is asked about among its options (``with_taken``).
    best : Taken
        What the best plan gives each player.
    clashes : callable
        Returns the findings of a section between the layers of different players.
    """

    def __init__(
        self, known: Known, best: Taken, clashes: Clashes, returns: Returns | None = None
    ) -> None:
        self.known, self.best = known, best
        self._clashes = clashes
        self._returns = returns or Returns(self.problem, len(best[0]))
        self._necks: dict[Keyed, list[int] | None] = {}
        self._worths: dict[Keyed, dict[str, float]] = {}
        self._made: dict[Keyed, SectionFigures] = {}
        self._said: dict[Keyed, SectionWords] = {}

    @property
    def problem(self) -> Problem:
        """The problem, with all that is known of what hands can hold."""
        return self.known.problem

    def once_known(self, known: Known) -> KnownFigures:
        """Return the figures by what is known later."""
        is_same = known.problem.options is self.problem.options
        return KnownFigures(known, self.best, self._clashes, self._returns if is_same else None)

    @cached_property
    def of_best(self) -> Figures:
        """The figures of the best that there is."""
        return self.figures(Shares(self.best))

    def figures(self, shares: Shares) -> Figures:
        """Return all figures of some shares."""
        problem = self.problem
        by_hand = self.by_hand(shares)
        plan = by_hand.plan
        sections = tuple(self._section(plan, section) for section in range(len(shares.taken)))
        share = plan.value / problem.whole if problem.whole else 1.0
        left = frozenset(section for section, _, _ in untried(self.known, shares.taken))
        return Figures(sections, plan, share, by_hand.troubles, left, self)

    def by_hand(self, shares: Shares) -> PlanByHand:
        """Return some shares as a plan, and what is wrong with it."""
        return plan_by_hand(self.problem, self._returns, shares.taken, self._terms, self._necks_of)

    def _terms(
        self, problem: Problem, returns: Returns, plan: Plan, section: int
    ) -> dict[str, float]:
        key = self._key(plan, section)
        if key not in self._worths:
            self._worths[key] = section_terms(problem, returns, plan, section)
        return self._worths[key]

    def _necks_of(self, problem: Problem, player: int, places: tuple[int, ...]) -> list[int] | None:
        key = player, places
        if key not in self._necks:
            self._necks[key] = best_necks(problem, player, places)
        return self._necks[key]

    def _key(self, plan: Plan, section: int) -> Keyed:
        """All that the figures of a section depend on: it, the one before, and its earlier one."""
        asked = {max(section - 1, 0), section, max(self._returns.earlier[section], 0)}
        return section, *((plan.choices[one], plan.necks[one]) for one in sorted(asked))

    def _section(self, plan: Plan, section: int) -> SectionFigures:
        """The figures of a section, worked out once for all that they depend on."""
        key = self._key(plan, section)
        if key not in self._made:
            self._made[key] = self._make_section(plan, section)
        return self._made[key]

    def _make_section(self, plan: Plan, section: int) -> SectionFigures:
        problem, worth = self.problem, self.problem.worths[section]
        chosen = tuple(problem.options[section].options[place] for place in plan.choices[section])
        joint = self._returns.joint(section, [np.array([place]) for place in plan.choices[section]])
        return SectionFigures(
            self._terms(problem, self._returns, plan, section),
            worth.worth_of(worth.layers),
            len(set(worth.layers) - {one for own in chosen for one in own}),
            self._clashes(section, chosen),
            float(problem.criteria.energy[section]),
            float(joint.full.item()),
        )

    def section_words(self, shares: Shares, figures: Figures, section: int) -> SectionWords:
        """Return what there is to say of a section of shares that have these figures.

        Of what is not the best it is not said that anything else would be worth less.
        """
        by_hand, plan = shares.taken != self.best, figures.plan
        key = by_hand, self._key(plan, section)
        if key not in self._said:
            left_out = self.known.left_out
            rows = section_losses(self.problem, plan, section, left_out, by_hand=by_hand)
            lost = [dict(zip(LOST, row, strict=True)) for row in rows]
            self._said[key] = SectionWords(
                section_choices(self.problem, plan, section, {}, by_hand=by_hand),
                # Notes that cannot be played have no value.
                sorted(lost, key=lambda row: -np.nan_to_num(row["value"])),
            )
        return self._said[key]

    def details(self, shares: Shares, section: int) -> dict[int, list[str]]:
        """Return by player what more there is to say of a section: what would do where no hand can
        hold it, and what is gained by layers that change hands.
        """
        made, found = self.by_hand(shares), dict[int, list[str]]()
        for place, player, _ in made.troubles:
            if place == section and player >= 0:
                option = shares.taken[section][player]
                words = what_would_do(self.problem, player, section, option)
                found.setdefault(player, []).append(words)
        if not made.troubles:
            by_hand = shares.taken != self.best
            swapped = swap_reasons(self.problem, made.plan, by_hand=by_hand)
            for (place, player), said in swapped.items():
                if place == section:
                    found.setdefault(player, []).extend(said)
        return found
