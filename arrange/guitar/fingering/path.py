"""The cheapest way through a part: one way to play for each moment, so that the moves are easy.

An exact shortest path (Viterbi's algorithm) over the ways of ``ways.find_ways``. What it costs to
come from one way to the next, in mm: how far the hand goes, more so the less time there is; a
picking hand that skips strings; two or three notes that leave their set of strings; an open string
that is left; a held note that changes its finger; the next way itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from arrange.guitar.fingering.moments import Moment, Places, Stroke
from arrange.guitar.fingering.ways import Task, Ways, find_ways, string_gaps, strings_apart
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Array, Neck

# What a move costs, in mm. Ours, chosen on the tablature that the tests compare with.
HURRY_SECONDS = 0.15  # a move that has so long costs double; half of that, threefold
LEAST_SECONDS = 0.02  # no move counts as shorter
KEPT_SET = 0.3  # of a move's way, where two or three notes stay on their strings
SET_COST = 260.0  # two or three notes struck together after as many on other strings
SAME_SHAPE_COST = 60.0  # the same, in a shape that is kept
DRONE_COST = 100.0  # an open string left, whose note is struck again elsewhere
CROSSING_COST = 2.0  # a string that the picking hand goes up or down
CHANGE_COST = 15.0  # a held note that changes its finger
LET_GO_COST = 60.0  # a held note let go before its end
LET_GO_RINGING_COST = 600.0  # the same, if it is marked to ring: those go last
DAMP_COST = 20.0  # a note marked to ring that has sounded to its written end and is let go

_FEW = (2, 3)  # notes struck together that keep to a set of strings
_MOST_CACHED = 4_000_000  # numbers kept of moves that may come again, 32 MB


@dataclass(frozen=True)
class FingerPath:
    """One way to play for each moment; arrays with an item a moment.

    Parameters
    ----------
    ways : list of Ways
        The one way taken, a row each.
    tasks : list of Task
    move_mm, move_seconds, cost_mm : array of float
        Seconds are NaN for the first moment, to which there is no way to go.
    """

    ways: list[Ways]
    tasks: list[Task]
    move_mm: Array
    move_seconds: Array
    cost_mm: Array


Pairs = tuple[tuple[int, int, float], ...]  # a held note's place among the notes before and now


@dataclass(frozen=True)
class Distances:
    """What moves are looked up in.

    Parameters
    ----------
    mm : array
        Of each fret from the nut.
    ways : array, frets x frets x strings
        From fret to fret, so many strings apart, mm; 0 where a fret is -1.
    gaps : array
        As of ``string_gaps``.
    """

    mm: Array
    ways: Array
    gaps: Array

    @classmethod
    def of(cls, neck: Neck) -> Distances:
        """Return those of a neck."""
        along = neck.mm[:, None, None] - neck.mm[None, :, None]
        spacing = (neck.spacing_mm[:, None, None] + neck.spacing_mm[None, :, None]) / 2
        ways = np.hypot(along, spacing * np.arange(neck.strings + 1))
        ways = np.pad(ways, ((0, 1), (0, 1), (0, 0)))  # at the end, so that fret -1 finds it
        return cls(neck.mm, ways, string_gaps(neck.strings))

    def move_mm(self, before: Ways, after: Ways) -> Array:
        """Return how far the hand goes from each way to each other, mm, before x after.

        The longest of the way of the first finger's place along the neck, and of each finger
        that is down before and after.
        """
        longest = np.abs(self.mm[before.position][:, None] - self.mm[after.position])
        used = (before.finger_fret >= 0).any(axis=0) & (after.finger_fret >= 0).any(axis=0)
        for finger in np.flatnonzero(used).tolist():
            gap = self.gaps[before.finger_strings[:, finger, None], after.finger_strings[:, finger]]
            way = self.ways[before.finger_fret[:, finger, None], after.finger_fret[:, finger], gap]
            np.maximum(longest, way, out=longest)
        return longest


def felt_mm(move: Array, before: Ways, after: Ways) -> Array:
    """Return how far each move counts: less where a few notes stay on their strings."""
    if not _as_few(before, after):
        return move
    same: Array = move * np.where(before.pick_set[:, None] == after.pick_set, KEPT_SET, 1.0)
    return same


def other_cost(before: Ways, after: Ways, pairs: Pairs, again: Places) -> Array:
    """Return what else it costs to come from each way to each other; infinite if it cannot be.

    `pairs` are of held notes, `again` of notes struck before and now.
    """
    crossed = strings_apart(
        before.pick_low[:, None], before.pick_high[:, None], after.pick_low, after.pick_high
    )
    cost = CROSSING_COST * crossed + after.cost_mm
    if _as_few(before, after):
        cost += _set_cost(before, after)
        cost += _drone_cost(before, after, again)
    return _with_held(cost, before, after, pairs)


def _as_few(before: Ways, after: Ways) -> bool:
    """Whether as many notes are struck as before, two or three."""
    counts = [int(np.bitwise_count(ways.pick_set[:1]).sum()) for ways in (before, after)]
    return counts[0] == counts[1] and counts[0] in _FEW


def _set_cost(before: Ways, after: Ways) -> Array:
    """What it costs to change the set of strings."""
    changed = before.pick_set[:, None] != after.pick_set
    same_shape = before.shape[:, None] == after.shape
    return np.where(changed, np.where(same_shape, SAME_SHAPE_COST, SET_COST), 0.0)


def _drone_cost(before: Ways, after: Ways, again: Places) -> Array:
    """What it costs to leave an open string, less what was counted for one that is kept."""
    kept = np.bitwise_count(before.open_set[:, None] & after.open_set)
    cost: Array = kept * -after.open_mm
    for one, other in again:
        left = (before.finger[:, one, None] == 0) & (after.finger[:, other] > 0)
        cost += np.where(left, DRONE_COST, 0.0)
    return cost


def _with_held(cost: Array, before: Ways, after: Ways, held: Pairs) -> Array:
    """The cost with that of notes held from before."""
    for one, other, let_go_cost in held:
        string, now = before.string[:, one, None], after.string[:, other]
        fret, fret_now = before.fret[:, one, None], after.fret[:, other]
        stays = (string == now) & (fret == fret_now) & (now > 0)
        gone = now == 0
        cost = np.where(stays | gone, cost, np.inf)
        cost += np.where(gone & (string > 0), let_go_cost, 0.0)
        changes = stays & (before.finger[:, one, None] != after.finger[:, other])
        cost += np.where(changes, CHANGE_COST, 0.0)
    return cost


def find_path(
    moments: Sequence[Moment], ways: Mapping[Task, Ways], neck: Neck, hand: Hand, objective: str
) -> FingerPath:
    """Return the best way through the moments, with each note that is struck in its place.

    A held note is let go only where no way of holding it can be reached, as few as may be.

    Parameters
    ----------
    moments : sequence of Moment
        At least one; each can be played for itself.
    ways : mapping of Task to Ways
        What is known already.
    neck : Neck
    hand : Hand
    objective : str
        ``"sum"`` for the least total cost; ``"worst"`` for the least cost of the hardest moment,
        and the least total among those.
    """
    tasks = [_task(moment) for moment in moments]
    new = [task for task in dict.fromkeys(tasks) if task not in ways]
    known = {**ways, **dict(zip(new, find_ways(new, neck, hand), strict=True))}
    search = _Search(moments, tasks, known, neck, hand)
    if objective == "worst":
        worst, _ = search.forward(np.maximum)
        chosen = search.trace(bound=float(worst.min()))
    else:
        chosen = search.trace()
    return search.along(chosen)


def _task(moment: Moment) -> Task:
    return Task(
        tuple(stroke.places for stroke in moment.struck),
        tuple(stroke.places for stroke in moment.held),
        driven=moment.driven,
        picked=moment.picked,
    )


class _Search:
    """The moments with their ways, and the moves between them."""

    def __init__(
        self,
        moments: Sequence[Moment],
        tasks: list[Task],
        ways: dict[Task, Ways],
        neck: Neck,
        hand: Hand,
    ) -> None:
        self.tasks, self.ways, self.neck, self.hand = tasks, ways, neck, hand
        self.distances = Distances.of(neck)
        seconds = np.diff([moment.seconds for moment in moments])
        self.seconds = np.maximum(seconds, LEAST_SECONDS)
        self.hurry = (1 + HURRY_SECONDS / self.seconds).tolist()
        self.held = [()] + [_pairs(*two) for two in pairwise(moments)]
        self.cache: dict[tuple[Task, Task, Pairs], tuple[Array, Array, Array]] = {}
        self.cached = 0

    def cost(self, number: int) -> Array:
        """What it costs to come to a moment: ways before x ways there."""
        _, felt, other = self.moves(number)
        return felt * self.hurry[number - 1] + other

    def moves(self, number: int) -> tuple[Array, Array, Array]:
        """How far the hand goes to a moment, how far that counts, and the other costs.

        In mm, ways before x ways there.
        """
        key = self.tasks[number - 1], self.tasks[number], self.held[number]
        if key not in self.cache:
            before, after = self.ways[key[0]], self.ways[key[1]]
            if self.cached > _MOST_CACHED:
                self.cache.clear()
                self.cached = 0
            move = self.distances.move_mm(before, after)
            other = other_cost(before, after, key[2], _again(*key[:2]))
            found = move, felt_mm(move, before, after), other
            self.cached += 3 * found[0].size
            self.cache[key] = found
        return self.cache[key]

    def forward(
        self, join: Callable[[Array, Array], Array], bound: float = np.inf
    ) -> tuple[Array, list[Array]]:
        """Least cost up to each way of the last moment, and from where each way was reached."""
        least = self.ways[self.tasks[0]].cost_mm
        least = np.where(least <= bound, least, np.inf)
        back = []
        for number in range(1, len(self.tasks)):
            total = self.joined(least, number, join, bound)
            while bound == np.inf and not np.isfinite(total).any():
                self.let_one_go(number)
                total = self.joined(least, number, join, bound)
            reached = total.argmin(axis=0)
            back.append(reached.astype(np.int16 if len(total) < 2**15 else np.int32))
            least = total[reached, np.arange(len(reached))]
        return least, back

    def joined(
        self, least: Array, number: int, join: Callable[[Array, Array], Array], bound: float
    ) -> Array:
        """Cost of every way so far, joined with the cost of the next moment."""
        cost = self.cost(number)
        if bound < np.inf:
            cost = np.where(cost <= bound, cost, np.inf)
        return join(least[:, None], cost)

    def let_one_go(self, number: int) -> None:
        """Ask for one held note less at a moment that cannot be reached."""
        task = replace(self.tasks[number], let_go=self.tasks[number].let_go + 1)
        self.tasks[number] = task
        if task not in self.ways:
            self.ways[task] = find_ways([task], self.neck, self.hand)[0]

    def trace(self, bound: float = np.inf) -> list[int]:
        """The way taken at each moment, of least total cost."""
        least, back = self.forward(np.add, bound)
        chosen = [int(least.argmin())]
        for reached in reversed(back):
            chosen.append(int(reached[chosen[-1]]))
        return chosen[::-1]

    def along(self, chosen: list[int]) -> FingerPath:
        """What the moments of a path cost."""
        ways = [
            self.ways[task].take(np.array([row]))
            for task, row in zip(self.tasks, chosen, strict=True)
        ]
        moves, costs = [0.0], [float(ways[0].cost_mm[0])]
        for number, pair in enumerate(pairwise(chosen), 1):
            move, felt, other = self.moves(number)
            moves.append(float(move[pair]))
            costs.append(float(felt[pair] * self.hurry[number - 1] + other[pair]))
        seconds = np.append(np.nan, self.seconds)
        return FingerPath(ways, self.tasks, np.array(moves), seconds, np.array(costs))


def _again(before: Task, after: Task) -> Places:
    """The notes struck at both, by their places among those struck."""
    return tuple(
        (one, other)
        for one, places in enumerate(before.struck)
        for other, now in enumerate(after.struck)
        if places == now
    )


def _pairs(before: Moment, after: Moment) -> Pairs:
    places = {id(stroke): place for place, stroke in enumerate((*before.struck, *before.held))}
    return tuple(
        (places[id(stroke)], place, _let_go_cost(stroke, after.onset))
        for place, stroke in enumerate(after.held, len(after.struck))
    )


def _let_go_cost(stroke: Stroke, onset: float) -> float:
    if onset >= stroke.end:
        return DAMP_COST
    return LET_GO_RINGING_COST if stroke.rings else LET_GO_COST
