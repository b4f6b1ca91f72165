"""Where to break pages, so that there is time to turn them.

A page may end before any block: a line of music, or the head of a section with its first line.
The best ends are looked for together: few pages, each turned where the player rests, rather
before a section than within one. Time to turn is from the end of the last note to the next one.
"""

from __future__ import annotations

from collections.abc import Sequence

TURN_SECONDS = 4.0  # enough to turn a page and find the place again; ours
LEAST_SECONDS = 1.0  # less is of no use
# What an end costs, against one page more. Ours.
NO_TIME_COST = 0.6
WITHIN_SECTION_COST = 0.2


def page_starts(
    heights: Sequence[float],
    rests: Sequence[float],
    begins_section: Sequence[bool],
    room: float,
) -> list[int]:
    """Return the block that each page begins with.

    Parameters
    ----------
    heights : sequence of float
        Of each block, any unit.
    rests : sequence of float
        Seconds to turn before each block.
    begins_section : sequence of bool
    room : float
        Height of a page. A block that is higher has a page of its own.
    """
    count = len(heights)
    best = [0.0, *[float("inf")] * count]  # what the pages up to each block cost
    came = [0] * (count + 1)
    for start in range(count):
        turn = turn_cost(rests[start], begins_section[start]) if start else 0.0
        high = 0.0
        for end in range(start + 1, count + 1):
            high += heights[end - 1]
            if high > room and end > start + 1:
                break
            cost = best[start] + 1 + turn
            # Of equal ways the one with the fuller page before, so the later start.
            if cost < best[end] - 1e-9 or (cost < best[end] + 1e-9 and start > came[end]):
                best[end], came[end] = cost, start
    starts, at = [], count
    while at:
        at = came[at]
        starts.append(at)
    return starts[::-1]


def turn_cost(seconds: float, begins_section: bool) -> float:
    """Return what a page end costs, from the time to turn and whether a section begins there."""
    of_use = seconds if seconds >= LEAST_SECONDS else 0.0
    short = max(TURN_SECONDS - of_use, 0.0) / TURN_SECONDS
    return NO_TIME_COST * short + (0.0 if begins_section else WITHIN_SECTION_COST)
