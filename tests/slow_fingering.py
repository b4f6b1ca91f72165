"""Fingering computed a second, slow and obvious way: every possible path, one after the other.

``grips.hold_shape`` decides whether a shape can be held; it has a slow twin of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise, product
from math import hypot

from arrange.guitar.fingering import path, ways
from arrange.guitar.fingering.moments import Moment
from arrange.guitar.grips import hold_shape
from arrange.guitar.hands import (
    BEYOND_COMFORT_COST,
    BEYOND_STRETCH_COST,
    REACH_COST,
    SPREAD,
    Hand,
)
from arrange.guitar.necks import LEFT_OUT, Neck


@dataclass
class Way:
    """One way to play a moment; `place` and `finger` are listed by note, struck notes first."""

    place: list[tuple[int, int] | None]
    finger: list[int]
    position: int
    fingers: dict[int, tuple[int, int, int]]  # finger: fret, lowest and highest string number
    picked: list[int]
    cost: float
    capo: int
    open_mm: float  # cost of each open string


def ways_of(moment: Moment, gone: int, neck: Neck, hand: Hand) -> list[Way]:
    """Return every way to play a moment with so many held notes released."""
    tones = [*moment.struck, *moment.held]
    count = len(moment.struck)
    options = [
        tone.places if number < count else (*tone.places, None) for number, tone in enumerate(tones)
    ]
    found = []
    for places in product(*options):
        strings = [place[0] for place in places if place]
        if places.count(None) == gone and len(set(strings)) == len(strings):
            found += _taken(list(places), count, neck, hand, moment)
    return found


def _taken(places: list, count: int, neck: Neck, hand: Hand, moment: Moment) -> list[Way]:
    shape = [LEFT_OUT] * neck.strings
    for place in places:
        if place:
            shape[place[0] - 1] = place[1]
    grip = hold_shape(tuple(shape), neck, hand)
    if not grip.playable:
        return []
    groups: dict[int, list[int]] = {}
    for string, finger in enumerate(grip.fingers, 1):
        if finger:
            groups.setdefault(finger, []).append(string)
    downs = [(shape[g[0] - 1], min(g), max(g)) for _, g in sorted(groups.items())]
    was_first = 1 in groups
    struck = [place for place in places[:count] if place]
    base = grip.cost_mm - (grip.muting_mm if count < ways.STRUCK_TOGETHER else 0)
    heights = [neck.mm[fret] - neck.mm[neck.capo] for _, fret in struck if fret > neck.capo]
    if len(struck) == 1:
        base += ways.LINE_HEIGHT_COST * (struck[0][1] - neck.capo) ** 2
    elif heights:
        base += ways.HEIGHT_COST * sum(heights) / len(heights)
    strings = [string for string, _ in struck]
    if moment.picked:
        inside = range(min(strings), max(strings))
        base += ways.SKIPPED_COST * sum(string not in strings for string in inside)
        if not _one_stroke(strings, places, len(groups.keys() - {5}), neck, hand):
            base += ways.UNPICKED_COST
    opens = sum(fret == neck.capo for _, fret in struck)
    found = []
    for choice, position, extra in _choices(downs, was_first, grip.reach_mm, neck, hand):
        down = dict(zip(choice, downs, strict=True))
        fingers = [_finger_at(place, down) for place in places]
        cost = base + extra + (ways.FOURTH_FINGER_COST if 4 in down else 0)
        home = min(neck.capo + ways.OPEN_POSITION, neck.frets)
        open_mm = ways.OPEN_COST * (neck.mm[position] - neck.mm[neck.capo + 1])
        if len(struck) == 1:
            open_mm = ways.LINE_OPEN_COST * max(neck.mm[position] - neck.mm[home], 0)
        open_mm += ways.DRIVEN_OPEN_COST if moment.driven else 0
        cost += open_mm * opens
        found.append(Way(places, fingers, position, down, strings, cost, neck.capo, open_mm))
    return found


def _one_stroke(strings: list[int], places: list, used: int, neck: Neck, hand: Hand) -> bool:
    """Whether a pick passes only what is silent, gap by gap."""
    sounding = {place[0] for place in places if place}
    fretted = {place[0] for place in places if place and place[1] > neck.capo}
    free = hand.fingers - used
    for high, low in pairwise(sorted(strings)):
        gap = set(range(high + 1, low))
        if len(gap) > 2 or gap & sounding:
            return False
        alone = gap - {low - 1 if low in fretted else 0, high + 1 if high in fretted else 0}
        free -= len(alone) > 0
    return free >= 0


def _finger_at(place: tuple[int, int] | None, down: dict) -> int:
    for finger, (fret, low, high) in down.items():
        if place and place[1] == fret and low <= place[0] <= high:
            return finger
    return 0


def _choices(downs: list, was_first: bool, least: float, neck: Neck, hand: Hand) -> list:
    """Return (fingers, position, extra cost) of every way to finger the held notes."""
    if not downs:
        return [((), position, 0.0) for position in range(neck.capo + 1, neck.frets + 1)]
    found, limit = [], max(least, hand.stretch_mm) + 1e-6
    for choice in combinations(range(1, hand.fingers + 1), len(downs)):
        reach = max(
            (_way(a, b, neck) / SPREAD[g - f]
             for (f, a), (g, b) in combinations(zip(choice, downs, strict=True), 2)),
            default=0.0,
        )  # fmt: skip
        unlike = sum(
            abs((down[0] - downs[0][0]) - (finger - choice[0]))
            for finger, down in zip(choice, downs, strict=True)
        )
        position = downs[0][0] - (choice[0] - 1)
        moved_barre = downs[0][1] != downs[0][2] and was_first != (choice[0] == 1)
        if reach <= limit and position > neck.capo and not moved_barre:
            found.append((choice, position, unlike))
    fewest = min(unlike for *_, unlike in found)
    taken = [(c, p, ways.UNLIKE_COST * (unlike - fewest)) for c, p, unlike in found]
    (fret, low, high) = downs[0]
    if len(downs) == 1 and low == high and hand.fingers == 4 and fret - 4 > neck.capo:
        reach = neck.mm[fret] - neck.mm[fret - 4]
        if reach <= hand.refuse_mm:
            cost = REACH_COST * reach + BEYOND_COMFORT_COST * max(reach - hand.comfortable_mm, 0)
            cost += BEYOND_STRETCH_COST * max(reach - hand.stretch_mm, 0)
            taken.append(((4,), fret - 4, cost))
    return taken


def _way(one: tuple, other: tuple, neck: Neck) -> float:
    strings = max(other[1] - one[2], one[1] - other[2], 0)
    spacing = (neck.spacing_mm[one[0]] + neck.spacing_mm[other[0]]) / 2
    return hypot(neck.mm[one[0]] - neck.mm[other[0]], strings * spacing)


def step_cost(before: Way, after: Way, two: tuple[Moment, Moment], neck: Neck) -> float | None:
    """Return the cost of the change from one way to the next; None if it is impossible."""
    move = abs(neck.mm[before.position] - neck.mm[after.position])
    for finger in before.fingers.keys() & after.fingers.keys():
        move = max(move, _way(before.fingers[finger], after.fingers[finger], neck))
    seconds = max(two[1].seconds - two[0].seconds, path.LEAST_SECONDS)
    counts = len(two[0].struck), len(two[1].struck)
    few = counts in ((2, 2), (3, 3))
    same_strings = set(before.picked) == set(after.picked)
    counted = move * path.KEPT_SET if few and same_strings else move
    cost = counted * (1 + path.HURRY_SECONDS / seconds) + after.cost
    if few:
        cost += _few_cost(before, after, two, same_strings=same_strings)
    cost += path.CROSSING_COST * max(
        min(after.picked) - max(before.picked), min(before.picked) - max(after.picked), 0
    )
    earlier = [*two[0].struck, *two[0].held]
    for number, tone in enumerate(two[1].held, len(two[1].struck)):
        was = next(place for place, other in enumerate(earlier) if other is tone)
        if after.place[number] is None:
            let_go = path.LET_GO_RINGING_COST if tone.rings else path.LET_GO_COST
            let_go = let_go if two[1].onset < tone.end else path.DAMP_COST
            cost += let_go if before.place[was] else 0
        elif after.place[number] != before.place[was]:
            return None
        elif after.finger[number] != before.finger[was]:
            cost += path.CHANGE_COST
    return cost


def _few_cost(before: Way, after: Way, two: tuple[Moment, Moment], *, same_strings: bool) -> float:
    """Return the cost of string changes between few notes, and of open strings left or kept."""
    struck = [way.place[: len(two[0].struck)] for way in (before, after)]
    cost = 0.0
    if not same_strings:
        same_shape = _shape(struck[0], before.capo) == _shape(struck[1], after.capo)
        cost += path.SAME_SHAPE_COST if same_shape else path.SET_COST
    for string, fret in struck[1]:
        if fret == after.capo and (string, fret) in struck[0]:
            cost -= after.open_mm
    for old, place in zip(two[0].struck, struck[0], strict=True):
        for new, other in zip(two[1].struck, struck[1], strict=True):
            if old.places == new.places and place[1] == before.capo < other[1]:
                cost += path.DRONE_COST
    return cost


def _shape(places: list, capo: int) -> tuple:
    """Return a shape that is equal wherever it lies; one with open strings differs from one
    without.
    """
    string, fret = (min(numbers) for numbers in zip(*places, strict=True))
    return fret == capo, sorted((s - string, f - fret) for s, f in places)


def every_path(moments: list[Moment], neck: Neck, hand: Hand) -> list[list[float]]:
    """Return the costs of every path by moment; held notes are released only if necessary."""
    paths = [([way], [way.cost]) for way in ways_of(moments[0], 0, neck, hand)]
    for two in pairwise(moments):
        for gone in range(len(two[1].held) + 1):
            there = ways_of(two[1], gone, neck, hand)
            longer = [
                ([after], [*costs, cost])
                for (before, costs) in paths
                for after in there
                if (cost := step_cost(before[0], after, two, neck)) is not None
            ]
            if longer:
                break
        paths = longer
    return [costs for _, costs in paths]
