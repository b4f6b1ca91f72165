"""What shares are worth, what is lost, where it clashes: all by condensing, each section once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any, NamedTuple

import numpy as np

from arrange.condensing.clash_penalties import weighed_findings
from arrange.condensing.condensation import Condensation, condensation_of
from arrange.condensing.held_together import Asked
from arrange.condensing.pins_and_bans import PinsAndBans
from arrange.condensing.plan import Plan
from arrange.condensing.plan_by_hand import (
    PlanByHand,
    Taken,
    Trouble,
    best_from_here,
    best_necks,
    every_untried,
    plan_by_hand,
    taken_by,
    untried,
    what_would_do,
    with_parts,
    with_tried,
)
from arrange.condensing.playable_plan import Known
from arrange.condensing.problem import Problem
from arrange.condensing.reasons import LOST, section_choices, section_losses
from arrange.condensing.returns import Returns
from arrange.condensing.swapped_layers import swap_reasons
from arrange.condensing.terms import section_terms
from arrange.errors import ArrangeError
from arrange.findings.ranking import ranked
from arrange.live.layers.shares import Shares
from arrange.text.part_lists import split_parts

_NEAR = 0.005  # seconds that are taken for none
Keyed = tuple[Any, ...]
Row = dict[str, Any]


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
    """

    sections: tuple[SectionFigures, ...]
    plan: Plan
    share: float
    troubles: tuple[Trouble, ...]
    untried: frozenset[int]


class LayersResults:
    """The results of shares for one song and its players, each computed once.

    Parameters
    ----------
    best : Condensation
        The best that there is, with nothing pinned or forbidden.
    """

    def __init__(self, best: Condensation) -> None:
        self.best = best
        self._known = best.known
        self._returns = Returns(self.problem, best.plan.players)
        found = weighed_findings(best.known.problem.recorded.song)
        found = ranked(found)
        rows: list[Row] = found[["section", "parts", "measure", "kind", "why"]].to_dict("records")
        self._findings = [(frozenset(split_parts(row["parts"])), row) for row in rows]
        self._clashes = lru_cache(maxsize=4096)(self._find_clashes)
        self._would_do = lru_cache(maxsize=512)(self._find_what_would_do)
        self._top: list[Figures] = []
        self._forget()

    @property
    def problem(self) -> Problem:
        """The problem, with all that is known by now of what hands can hold."""
        return self._known.problem

    @cached_property
    def bars(self) -> list[tuple[int, int]]:
        """The first and the last bar of each section."""
        table = self.problem.recorded.song.sections
        return list(
            zip(table["first_measure"].tolist(), table["last_measure"].tolist(), strict=True)
        )

    @cached_property
    def optimum(self) -> Taken:
        """What the best plan gives each player."""
        return taken_by(self.best.known.problem, self.best.plan)

    @property
    def best_figures(self) -> Figures:
        """The figures of the best that there is."""
        if not self._top:
            self._top = [self.figures(Shares(self.optimum))]
        return self._top[0]

    def figures(self, shares: Shares) -> Figures:
        """Return all figures of some shares, by what is known now of hands."""
        problem = self.problem
        by_hand = self._by_hand(shares)
        plan = by_hand.plan
        sections = tuple(self._section(plan, section) for section in range(len(shares.taken)))
        share = plan.value / problem.whole if problem.whole else 1.0
        left = frozenset(section for section, _, _ in untried(self._known, shares.taken))
        return Figures(sections, plan, share, by_hand.troubles, left)

    def _by_hand(self, shares: Shares) -> PlanByHand:
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
        by_hand, plan = shares.taken != self.optimum, figures.plan
        key = by_hand, self._key(plan, section)
        if key not in self._said:
            rows = section_losses(
                self.problem, plan, section, self._known.left_out, by_hand=by_hand
            )
            lost = [dict(zip(LOST, row, strict=True)) for row in rows]
            self._said[key] = SectionWords(
                section_choices(self.problem, plan, section, {}, by_hand=by_hand),
                # Notes that cannot be played have no value.
                sorted(lost, key=lambda row: -np.nan_to_num(row["value"])),
            )
        return self._said[key]

    def _find_clashes(self, section: int, chosen: tuple[tuple[int, ...], ...]) -> list[Row]:
        """The findings of a section between layers that different players have."""
        names, where = self.problem.recorded.names, self.problem.recorded.sections[section]
        holder = {names[one]: player for player, own in enumerate(chosen) for one in own}
        return [
            row
            for parts, row in self._findings
            if row["section"] == where
            and parts <= holder.keys()
            and len({holder[one] for one in parts}) > 1
        ]

    def _forget(self) -> None:
        """Drop what depends on what is known of hands."""
        self._top.clear()
        self._necks: dict[Keyed, list[int] | None] = {}
        self._worths: dict[Keyed, dict[str, float]] = {}
        self._made: dict[Keyed, SectionFigures] = {}
        self._said: dict[Keyed, SectionWords] = {}

    def _learn(self, known: Known) -> bool:
        """Take up what is known now; return whether it changes any figure."""
        before = self.problem
        self._known = known
        if known.problem.options is not before.options:  # a layer has been thinned out
            self._returns = Returns(known.problem, self.best.plan.players)
        elif _same_hands(before, known.problem):
            return False
        self._forget()
        return True

    # What takes longer

    def try_hands(self, shares: Shares) -> bool:
        """Finger what has not been tried of some shares; return whether that changes figures."""
        asked = untried(self._known, shares.taken)
        return bool(asked) and self._learn(with_tried(self._known, asked))

    def next_trial(self, shares: Shares) -> tuple[Callable[[], Callable[[], bool]], int] | None:
        """Return what to finger next, and how much is left; None if all is known.

        What is returned can be done in another thread. It returns what takes up its answer, unless
        something else has been learned meanwhile, and says whether that changes figures.
        """
        start = self._known
        groups: dict[Keyed, list[Asked]] = {}
        for asked in every_untried(start):
            groups.setdefault(asked[1:], []).append(asked)
        own = untried(start, shares.taken)
        if not groups and not own:
            return None

        def finger() -> Callable[[], bool]:
            found = with_tried(start, own or next(iter(groups.values())))
            return lambda: self._known is start and self._learn(found)

        return finger, len(groups)

    def best_from(self, shares: Shares, free: frozenset[tuple[int, int]]) -> Taken:
        """Return the best shares that differ in `free` (section, player) alone.

        Raises
        ------
        ArrangeError
            If nothing is left; the message names the rule that stands in the way.
        """
        decided = shares.decided(free)
        self._check_possible(shares, decided)
        known, plan = best_from_here(self._known, decided)
        self._learn(known)
        return taken_by(self.problem, plan)

    def _check_possible(self, shares: Shares, decided: PinsAndBans) -> None:
        """Report what leaves a search nothing, in the words of the view."""
        for section, player, why in self.figures(shares).troubles:
            if (player, section) in decided.pins:
                raise ArrangeError(
                    f"{why}, and it is not to be changed: take a layer away there, or let more be "
                    "changed"
                )
        for section, worth in enumerate(self.problem.worths):
            leads = worth.classes[worth.lead_class] if worth.lead else ()
            may = (
                one in decided.pins.get((player, section), leads)
                and (section, player, one) not in shares.forbidden
                for player in range(len(shares.taken[section]))
                for one in leads
            )
            if leads and not any(may):
                names = self.problem.recorded
                raise ArrangeError(
                    f"{names.names[leads[0]]} is the lead in {names.sections[section]} and has to "
                    "be played, but it is left to nobody: let somebody have it, or let more be "
                    "changed"
                )

    def condensation(self, shares: Shares) -> Condensation:
        """Return the shares as a condensation, with everybody's part fingered."""
        if shares.taken == self.optimum:
            return self.best
        self.try_hands(shares)
        made = self._by_hand(shares)
        plan = replace(made.plan, bound=max(self.best.bound, made.plan.value))
        known = with_parts(self._known, plan)
        return condensation_of(known, plan, [trouble.why for trouble in made.troubles])

    def details(self, shares: Shares, section: int) -> dict[int, list[str]]:
        """Return by player what more there is to say of a section: what would do where no hand can
        hold it, and what is gained by layers that change hands.
        """
        made, found = self._by_hand(shares), dict[int, list[str]]()
        for place, player, _ in made.troubles:
            if place == section and player >= 0:
                option = shares.taken[section][player]
                found.setdefault(player, []).append(self._would_do(player, section, option))
        if not made.troubles:
            by_hand = shares.taken != self.optimum
            swapped = swap_reasons(self.problem, made.plan, by_hand=by_hand)
            for (place, player), said in swapped.items():
                if place == section:
                    found.setdefault(player, []).extend(said)
        return found

    def _find_what_would_do(self, player: int, section: int, option: tuple[int, ...]) -> str:
        return what_would_do(self.problem, player, section, option)


def _same_hands(one: Problem, other: Problem) -> bool:
    pairs = [
        *zip(one.playability.playable, other.playability.playable, strict=True),
        *zip(one.playability.stretched, other.playability.stretched, strict=True),
    ]
    return all(np.array_equal(a, b) for a, b in pairs)
