"""The best plan of which every part has been fingered, and the next best choices."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain

import numpy as np

from arrange.condensing.fingered_lines import Fingerings, layers_taken
from arrange.condensing.held_together import Asked
from arrange.condensing.impossible_plans import no_choice, whys_impossible
from arrange.condensing.other_choices import Other, other_choices
from arrange.condensing.plan import Plan
from arrange.condensing.plan_search import solve
from arrange.condensing.problem import Problem
from arrange.errors import ArrangeError
from arrange.text.progress import steps

MOST_OTHERS = 3  # alternatives a section
_MOST_ROUNDS = 500

# A section, the place of each player's option there, and the neck of each.
Taken = tuple[int, tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True)
class Known:
    """A problem and what has been learned about it.

    Parameters
    ----------
    problem : Problem
    fingerings : Fingerings
    left_out : mapping
        For each layer and section, why notes had to be left out or let go early.
    """

    problem: Problem
    fingerings: Fingerings
    left_out: Mapping[tuple[int, int], Sequence[str]] = field(default_factory=dict)

    @classmethod
    def of(cls, problem: Problem) -> Known:
        """Return a problem of which every layer can be played by somebody.

        Layers are thinned out where no neck and hand allow them.

        Raises
        ------
        ArrangeError
            If nothing of them is left, or nothing of the lead.
        """
        return _thinned_at_first(cls(problem, Fingerings(problem.recorded, problem.lineup.necks)))

    def with_asked(self, asked: Sequence[Asked]) -> Known:
        """Return it with sections fingered, each for itself."""
        return replace(self, fingerings=self.fingerings.with_asked(asked))

    def with_part(self, plan: Plan, player: int) -> tuple[Known, list[Asked]]:
        """Return it with a player's whole part fingered, and what of it cannot be played."""
        fingerings, refused = self.fingerings, []
        for choices, neck in plan.by_neck(self.problem, player):
            fingerings, bad = fingerings.with_part(choices, neck)
            refused += bad
        return replace(self, fingerings=fingerings), refused

    def with_stretches(self, taken: Sequence[Taken]) -> Known:
        """Return it with what is known of stretches once some options have been fingered."""
        problem = self.problem
        found: dict[Asked, float] = {}
        for section, chosen, necks in taken:
            for place, neck in zip(chosen, necks, strict=True):
                option = problem.options[section].options[place]
                asked = section, option, neck
                if option and asked not in problem.playability.fingered and asked not in found:
                    here = [s for s, own in enumerate(problem.options) if option in own.options]
                    shares = self.fingerings.stretched_shares(option, neck, here)
                    found |= {(each, option, neck): float(shares[each]) for each in here}
        playability = problem.playability.with_stretches(found)
        return replace(self, problem=replace(problem, playability=playability))

    def costs_more(self, before: Known, taken: Sequence[Taken]) -> bool:
        """Return whether some options cost more than with what was known before."""
        own, earlier = (known.problem.playability.stretched for known in (self, before))
        return any(
            own[section][neck, place] > earlier[section][neck, place]
            for section, chosen, necks in taken
            for place, neck in zip(chosen, necks, strict=True)
        )

    def tested_in_full(
        self, wanted: Sequence[tuple[int, int]], number: int
    ) -> tuple[Known, list[Asked]]:
        """Return it with all moments of some options tested, and those that cannot be held."""
        problem = self.problem
        playability, bad = problem.playability.tested_in_full(wanted, number)
        known = replace(self, problem=replace(problem, playability=playability))
        return known, [(s, problem.options[s].options[place], number) for s, place in bad]

    def refused(self, asked: Asked) -> Known:
        """Return it without what cannot be played; a layer that nobody can play is thinned out."""
        section, option, _ = asked
        known = replace(self, problem=self.problem.with_known({asked: False}))
        if len(option) > 1:
            return known
        every = [(section, option, number) for number in range(len(self.problem.lineup.necks))]
        known = known.with_asked(every)
        if all(known.fingerings.problems[one] for one in every):
            return known.thinned([(section, option[0])])
        return known

    def thinned(self, stuck: Sequence[tuple[int, int]]) -> Known:
        """Return it with layers as they can be played on the neck that each lies on best.

        `stuck` are sections and layers, of which every neck has been asked.
        """
        problems = self.fingerings.problems
        necks = range(len(self.problem.lineup.necks))
        asked = []
        for section, layer in stuck:
            trouble = [len(problems[section, (layer,), number]) for number in necks]
            asked.append((section, (layer,), trouble.index(min(trouble))))
        fingerings, gone = self.fingerings.thinned(asked)
        _check_left(self.problem, fingerings, sorted({layer for _, layer in stuck}))
        problem = self.problem.with_recorded(fingerings.recorded, {section for section, _ in stuck})
        problem = problem.with_known({one: not bad for one, bad in fingerings.problems.items()})
        left_out = dict(self.left_out)
        for key, whys in gone.items():
            left_out[key] = [*left_out.get(key, ()), *whys]
        return Known(problem, fingerings, left_out)


def _check_left(problem: Problem, fingerings: Fingerings, layers: Sequence[int]) -> None:
    """Raise an ArrangeError if thinning has left nothing, or nothing of the lead."""
    recorded = fingerings.recorded
    for layer in layers:
        left = (recorded.layer == layer) & ~np.isnan(recorded.pitch)
        if not left.any() and problem.criteria.roles["role"].iloc[layer] == "lead":
            raise ArrangeError(
                f"{recorded.names[layer]!r} is the lead and must be kept, but no note of it lies "
                "on any player's neck: transpose it, give it another role, roles={...}, or give a "
                "player another neck, players=[Player(name, neck), ...]"
            )
    if not recorded.present.any():
        raise ArrangeError(
            f"nothing can be played: no note of {', '.join(recorded.names)} lies on any player's "
            "neck; transpose the layers, or give other necks, players=[Player(name, neck), ...]"
        )


def _thinned_at_first(known: Known) -> Known:
    """Look closer at layers of which no neck holds every moment."""
    problem = known.problem
    necks = range(len(problem.lineup.necks))
    singles = [
        (section, own.options.index((layer,)))
        for section, own in enumerate(problem.options)
        for layer in problem.worths[section].kept
    ]
    doubtful: list[Asked] = []
    for number in necks:
        known, bad = known.tested_in_full(singles, number)
        doubtful += bad
    # Strings that the source gave may let go what a hand could not hold.
    bound = [one for one in doubtful if known.fingerings.is_bound(one)]
    known = known.with_asked(bound)
    learned = dict.fromkeys(doubtful, False)
    learned |= {one: not known.fingerings.problems[one] for one in bound}
    known = replace(known, problem=known.problem.with_known(learned))
    stuck = [
        (section, known.problem.options[section].options[at][0])
        for section, at in singles
        if not known.problem.playable[section][:, at].any()
    ]
    if not stuck:
        return known
    known = known.with_asked([(section, (layer,), n) for section, layer in stuck for n in necks])
    return known.thinned(stuck)


def playable_plan(known: Known, players: int) -> tuple[Known, Plan]:
    """Return the best plan of which every part has been fingered, and what is known by then.

    What turns out not to be playable is forbidden and the search begins again: a forbidden option
    only takes away, so that the best plan found with all its parts playable is the best of all.

    Raises
    ------
    ArrangeError
        If no choice is left; the message names the rule that stands in the way.
    """
    rounds = iter(range(_MOST_ROUNDS))  # how many it takes nobody knows
    for _ in steps(rounds, "Sharing out the layers", "round"):
        plan = solve(known.problem, players)
        if plan is None:
            why = next(whys_impossible(known.problem, players), None)
            raise ArrangeError(why or no_choice(known.problem))
        known, is_refused = _with_moments(known, plan)
        if is_refused:
            continue
        refused: list[Asked] = []
        for player in range(players):
            known, bad = known.with_part(plan, player)
            refused += bad
        if not refused:
            taken = [
                (section, *own)
                for section, own in enumerate(zip(plan.choices, plan.necks, strict=True))
            ]
            learned = known.with_stretches(taken)
            if not learned.costs_more(known, taken):
                return known, in_order(known.problem, plan)
            known = learned
        for asked in refused:
            known = known.refused(asked)
    raise ArrangeError(
        f"after {_MOST_ROUNDS} rounds there are still merges that cannot be played; name fewer "
        "layers, layers=[...]"
    )


def _with_moments(known: Known, plan: Plan) -> tuple[Known, bool]:
    """Test each moment of a plan; return what is known then, and if something was refused."""
    found = False
    for number in sorted({neck for necks in plan.necks for neck in necks}):
        wanted = [
            (section, place)
            for section, chosen in enumerate(plan.choices)
            for place, own in zip(chosen, plan.necks[section], strict=True)
            if own == number
        ]
        known, refused = known.tested_in_full(wanted, number)
        single = [one for one in refused if len(one[1]) == 1]
        known = known.with_asked(single)
        bad = [one for one in single if known.fingerings.problems[one]]
        found |= len(refused) > len(single) or bool(bad)
        for one in bad:
            known = known.refused(one)
        if bad:
            break  # a layer has changed, and with it what is known of moments
    return known, found


def in_order(problem: Problem, plan: Plan) -> Plan:
    """Return the same plan with players who may change places in order, the highest first."""
    players, lineup = plan.players, problem.lineup
    if lineup.decided.sets_apart(players):
        return plan
    recorded = problem.recorded
    keys = []
    for player in range(players):
        own = plan.options(problem, player)
        taken = layers_taken(recorded, own)
        note = taken[recorded.layer, recorded.section] & ~np.isnan(recorded.pitch)
        lasts = (recorded.end - recorded.onset)[note]
        mean = float(lasts @ recorded.pitch[note] / lasts.sum()) if lasts.sum() else -np.inf
        keys.append((-mean, own, player))
    order = [player for _, _, player in sorted(keys)]
    # Only those who may have the same necks change places.
    may_have = [lineup.may_have(player) for player in range(players)]
    free = {necks: iter([p for p in order if may_have[p] == necks]) for necks in may_have}
    order = [next(free[necks]) for necks in may_have]
    choices, necks = (
        [tuple(own[player] for player in order) for own in path]
        for path in (plan.choices, plan.necks)
    )
    return replace(plan, choices=choices, necks=necks)


def next_best(known: Known, plan: Plan) -> list[list[Other]]:
    """Return for each section the first few other choices that differ by more than who plays what.

    All of them can be played: those found first are fingered together, and what falls out is made
    up for by the next. What they ask of a hand is weighed; what the other sections of the best plan
    through each would ask only where it is known already.
    """
    while True:
        known, others = _others(known, plan)
        taken = [
            (section, chosen, plan.necks[section])
            for section, own in enumerate(others)
            for _, chosen in own
        ]
        learned = known.with_stretches(taken)
        if not learned.costs_more(known, taken):
            return others
        known = learned


def _others(known: Known, plan: Plan) -> tuple[Known, list[list[Other]]]:
    """The next choices by what is known of stretches, and what is known once they are fingered."""
    problem = known.problem
    left = [_different(problem, plan, s, own) for s, own in enumerate(other_choices(problem, plan))]
    others: list[list[Other]] = [[] for _ in left]
    is_short = True
    while is_short:
        new = []
        for section, (own, found) in enumerate(zip(left, others, strict=True)):
            while len(found) < MOST_OTHERS and (one := next(own, None)):
                found.append(one)
                new.append((section, one))
        is_short = False
        known, bad = _unplayable(known, plan, new)
        for section, one in bad:
            others[section].remove(one)
            is_short = True
    return known, others


def _unplayable(
    known: Known, plan: Plan, new: Sequence[tuple[int, Other]]
) -> tuple[Known, list[tuple[int, Other]]]:
    """Those choices of which something cannot be held."""
    for number in sorted({neck for necks in plan.necks for neck in necks}):
        wanted = [
            (section, place)
            for section, (_, chosen) in new
            for place, own in zip(chosen, plan.necks[section], strict=True)
            if own == number
        ]
        known, _ = known.tested_in_full(wanted, number)
    able, bad = {}, []
    for section, one in new:
        playable, options = known.problem.playable[section], known.problem.options[section].options
        pairs = list(zip(one[1], plan.necks[section], strict=True))
        if all(playable[number, place] for place, number in pairs):
            able[section, one] = [(section, options[place], number) for place, number in pairs]
        else:
            bad.append((section, one))
    known = known.with_asked([asked for each in able.values() for asked in each])
    problems = known.fingerings.problems
    bad += [key for key, each in able.items() if any(problems[asked] for asked in each)]
    return known, bad


def _different(
    problem: Problem, plan: Plan, section: int, found: Iterator[Other]
) -> Iterator[Other]:
    """Those that differ by more than who plays what."""
    are_alike = not problem.lineup.decided.sets_apart(plan.players)
    seen: set[tuple[int, ...]] = set()
    for value, chosen in chain([(plan.value, plan.choices[section])], found):
        key = tuple(sorted(chosen)) if are_alike else chosen
        if key not in seen:
            if seen:
                yield value, chosen
            seen.add(key)
