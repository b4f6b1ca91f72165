"""What shares are worth, with all that is learned meanwhile of what hands can hold."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property, lru_cache

import numpy as np

from arrange.condensing.clash_penalties import weighed_findings
from arrange.condensing.condensation import Condensation
from arrange.condensing.condensed_song import condensed_song
from arrange.condensing.held_together import Asked
from arrange.condensing.plan_by_hand import (
    Taken,
    best_from_here,
    every_untried,
    taken_by,
    untried,
    with_parts,
    with_taken,
    with_tried,
)
from arrange.condensing.playable_plan import Known
from arrange.condensing.problem import Problem
from arrange.condensing.reasons import choices_table
from arrange.findings.ranking import ranked
from arrange.live.layers.figures import Figures, Keyed, KnownFigures, Row, SectionWords
from arrange.live.layers.shares import Shares
from arrange.tables.song import Song
from arrange.text.part_lists import split_parts


class LayersResults:
    """The results of shares for one song and its players, each computed once.

    Parameters
    ----------
    best : Condensation
        The best that there is, with nothing pinned or forbidden.
    """

    def __init__(self, best: Condensation) -> None:
        self.best = best
        found = ranked(weighed_findings(best.known.problem.recorded.song))
        rows: list[Row] = found[["section", "parts", "measure", "kind", "why"]].to_dict("records")
        self._findings = [(frozenset(split_parts(row["parts"])), row) for row in rows]
        clashes = lru_cache(maxsize=4096)(self._find_clashes)
        self._now = KnownFigures(best.known, self.optimum, clashes)

    @property
    def problem(self) -> Problem:
        """The problem, with all that is known by now of what hands can hold."""
        return self._now.problem

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

    def figures(self, shares: Shares) -> Figures:
        """Return all figures of some shares, by what is known now of hands."""
        return self._by(shares).figures(shares)

    @property
    def best_figures(self) -> Figures:
        """The figures of the best that there is."""
        return self._by(Shares(self.optimum)).of_best

    def section_words(self, shares: Shares, figures: Figures, section: int) -> SectionWords:
        """Return what there is to say of a section of shares that have these figures."""
        return figures.by.section_words(shares, figures, section)

    def details(self, shares: Shares, section: int) -> dict[int, list[str]]:
        """Return by player what more there is to say of a section, which takes longer."""
        return self._by(shares).details(shares, section)

    def _by(self, shares: Shares) -> KnownFigures:
        """What is known, with all that is shared out among the options.

        Of very many layers the search leaves out those that matter least; by hand each may be had.
        """
        now = self._now
        known = with_taken(now.known, shares.taken)
        if known is not now.known:
            self._now = now = now.once_known(known)
        return now

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

    def _learn(self, known: Known) -> bool:
        """Take up what is known now; return whether it changes any figure."""
        before = self.problem
        if known.problem.options is before.options and _same_hands(before, known.problem):
            self._now.known = known
            return False
        self._now = self._now.once_known(known)
        return True

    # What takes longer

    def try_hands(self, shares: Shares) -> bool:
        """Finger what has not been tried of some shares; return whether that changes figures."""
        known = self._by(shares).known
        asked = untried(known, shares.taken)
        return bool(asked) and self._learn(with_tried(known, asked))

    def next_trial(self, shares: Shares) -> tuple[Callable[[], Callable[[], bool]], int] | None:
        """Return what to finger next, and how much is left; None if all is known.

        What is returned can be done in another thread. It returns what takes up its answer, unless
        something else has been learned meanwhile, and says whether that changes figures.
        """
        start = self._by(shares).known
        groups: dict[Keyed, list[Asked]] = {}
        for asked in every_untried(start):
            groups.setdefault(asked[1:], []).append(asked)
        own = untried(start, shares.taken)
        if not groups and not own:
            return None

        def finger() -> Callable[[], bool]:
            found = with_tried(start, own or next(iter(groups.values())))
            return lambda: self._now.known is start and self._learn(found)

        return finger, len(groups)

    def best_from(self, shares: Shares, free: frozenset[tuple[int, int]]) -> Taken:
        """Return the best shares that differ in `free` (section, player) alone.

        Raises
        ------
        ArrangeError
            If nothing is left; the message names the rule that stands in the way.
        """
        known, plan = best_from_here(self._by(shares).known, shares.decided(free))
        self._learn(known)
        return taken_by(known.problem, plan)

    def song(self, shares: Shares) -> Song:
        """Return the song as it is shared out, with everybody's part fingered."""
        if shares.taken == self.optimum:
            return self.best.song
        self.try_hands(shares)
        now = self._by(shares)
        plan = now.by_hand(shares).plan
        known = with_parts(now.known, plan)
        choices = choices_table(known.problem, plan, by_hand=True)
        return condensed_song(known.problem, known.fingerings, plan, choices)


def _same_hands(one: Problem, other: Problem) -> bool:
    pairs = [
        *zip(one.playability.playable, other.playability.playable, strict=True),
        *zip(one.playability.stretched, other.playability.stretched, strict=True),
    ]
    return all(np.array_equal(a, b) for a, b in pairs)
