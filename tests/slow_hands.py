"""What a hand can hold, computed a second way: every way to place the fingers, one by one.

It is slow and obvious, and follows the description of the model in ``arrange/guitar``; only the
constants are shared.
"""

from itertools import combinations
from math import hypot

from arrange.guitar import hands
from arrange.guitar.necks import LEFT_OUT


def hits(shape, neck):
    """Return the strings that are held; string 1 is 0."""
    return [string for string, fret in enumerate(shape) if fret > neck.capo]


def may_lie(shape, group):
    """Return whether one finger can hold these strings: one fret, nothing nearer to the nut
    between.
    """
    fret = shape[group[0]]
    inside = range(min(group), max(group) + 1)
    return all(shape[s] == fret for s in group) and all(
        s in group or shape[s] == LEFT_OUT or shape[s] > fret for s in inside
    )


def partitions(strings):
    """Return every way to share strings among fingers."""
    if not strings:
        yield []
        return
    first, *rest = strings
    for size in range(len(rest) + 1):
        for others in combinations(rest, size):
            left = [s for s in rest if s not in others]
            for more in partitions(left):
                yield [(first, *others), *more]


def in_order(shape, groups):
    """Return the fingers from the nut up; at one fret, from the lowest-sounding string."""
    return sorted(groups, key=lambda group: (shape[group[0]], -max(group)))


def wide(group):
    """Return whether a barre is too wide for any finger but the first."""
    return max(group) - min(group) + 1 > hands.BARRE_STRINGS


def least_reach(shape, groups, neck, hand):
    """Return the longest distance between two fingers, as of fingers 1 and 4, for the best choice
    of fingers.
    """
    best = float("inf")
    for fingers in combinations(range(1, hand.fingers + 1), len(groups)):
        if any(wide(group) and finger != 1 for group, finger in zip(groups, fingers, strict=True)):
            continue
        longest = 0.0
        for a, b in combinations(range(len(groups)), 2):
            low, high = shape[groups[a][0]], shape[groups[b][0]]
            apart = min(abs(s - t) for s in cover(groups[a]) for t in cover(groups[b]))
            across = apart * (neck.spacing_mm[low] + neck.spacing_mm[high]) / 2
            way = hypot(neck.mm[high] - neck.mm[low], across)
            longest = max(longest, way / hands.SPREAD[fingers[b] - fingers[a]])
        best = min(best, longest)
    return best


def cover(group):
    """Return all strings that a finger lies on."""
    return range(min(group), max(group) + 1)


def span(shape, neck):
    """Return the distance from the first to the last fret held, in mm."""
    frets = [shape[s] for s in hits(shape, neck)]
    return neck.mm[max(frets)] - neck.mm[min(frets)] if frets else 0.0


def can_hold(shape, neck, hand):
    """Return whether any way to place the fingers holds the shape."""
    if any(_can_hold(rest, neck, hand) and near for rest, near in _thumb_ways(shape, neck, hand)):
        return True
    return _can_hold(shape, neck, hand)


def _can_hold(shape, neck, hand):
    if span(shape, neck) > hand.refuse_mm:
        return False
    for groups in partitions(hits(shape, neck)):
        if len(groups) <= hand.fingers and all(may_lie(shape, group) for group in groups):
            groups = in_order(shape, groups)
            if least_reach(shape, groups, neck, hand) <= hand.refuse_mm:
                return True
    return False


def _thumb_ways(shape, neck, hand):
    """Return the shape without the thumb's string, and whether the thumb is near enough."""
    if hand.thumb and shape[-1] > neck.capo:
        rest = (*shape[:-1], neck.capo)
        place = min((rest[s] for s in hits(rest, neck)), default=shape[-1])
        yield rest, abs(neck.mm[place] - neck.mm[shape[-1]]) <= hands.THUMB_MM


def as_barres(shape, neck, low, other):
    """Return fingers with barres laid from the lowest-sounding string as far as possible."""
    held = hits(shape, neck)
    lowest = min((shape[s] for s in held), default=0)
    groups = []
    for string in reversed(held):
        allowed = low if shape[string] == lowest else other
        for group in groups:
            longer = (*group, string)
            first = group in groups_at(groups, shape, lowest)[:1]
            if allowed and may_lie(shape, longer) and (first or not wide(longer)):
                groups[groups.index(group)] = longer
                break
        else:
            groups.append((string,))
    return in_order(shape, groups)


def groups_at(groups, shape, fret):
    """Return the fingers at a fret, lowest-sounding string first."""
    return in_order(shape, [group for group in groups if shape[group[0]] == fret])


def cost(shape, neck, hand):
    """Return the least cost of separate fingers or barres, at the lowest fret and at the others."""
    ways = [_cost(shape, neck, hand)]
    for rest, near in _thumb_ways(shape, neck, hand):
        if near:
            ways.append(_cost(rest, neck, hand) + hands.THUMB_COST)
    return min(ways)


def _cost(shape, neck, hand):
    best = float("inf")
    for low in (True, False):
        for other in (True, False):
            groups = as_barres(shape, neck, low, other)
            if len(groups) > hand.fingers or span(shape, neck) > hand.refuse_mm:
                continue
            reach = least_reach(shape, groups, neck, hand)
            if reach > hand.refuse_mm:
                continue
            barres = [len(group) > 1 for group in groups]
            total = hands.REACH_COST * reach + hands.FINGER_COST * len(groups)
            total += hands.BEYOND_COMFORT_COST * max(reach - hand.comfortable_mm, 0)
            total += hands.BEYOND_STRETCH_COST * max(reach - hand.stretch_mm, 0)
            total += hands.BARRE_COST * sum(barres[:1]) + hands.OTHER_BARRE_COST * sum(barres[1:])
            for group in groups:
                top = min(group)
                if len(group) > 1 and top and LEFT_OUT < shape[top - 1] < shape[top]:
                    total += hands.ARCH_COST
            best = min(best, total + muting(shape, groups, hand))
    return best


def muting(shape, groups, hand):
    """Return how the unused strings between two that sound are muted."""
    sounding = [s for s, fret in enumerate(shape) if fret != LEFT_OUT]
    total, alone = 0.0, False
    for string in range(min(sounding, default=0) + 1, max(sounding, default=0)):
        if shape[string] != LEFT_OUT:
            continue
        if any(string + 1 in g or min(g) < string < max(g) for g in groups):
            total += hands.LEAN_COST
        elif any(string - 1 in group for group in groups):
            total += hands.TIP_COST
        else:
            alone = True
    if alone:
        spare = hand.fingers > len(groups)
        total += hands.SPARE_COST if spare else hands.AROUND_COST
    return total
