"""Where to break pages, so that there is time to turn them.

Pages lie in pairs on the stand, 1 beside 2, 3 beside 4: only from a pair to the next one must be
turned. A page may end before any block: a line of music, or the head of a section with its first
line. The best ends are looked for together: few pages, each pair turned where the player rests,
rather before a section than within one. Time to turn is from the end of the last note to the next.
"""

from __future__ import annotations

from collections.abc import Sequence

TURN_SECONDS = 4.0  # enough to turn a page and find the place again; ours
LEAST_SECONDS = 1.0  # less is of no use
# What an end costs, against one page more. Ours.
NO_TIME_COST = 0.6
WITHIN_SECTION_COST = 0.2
EMPTY_COST = 0.5
_FULL = 2 / 3  # of a page, from which it does not look empty


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
    count, none = len(heights), float("inf")
    # What the pages up to each block cost, apart by whether a left or a right page begins there.
    best = [[0.0, none], *[[none, none] for _ in range(count)]]
    came = [[0, 0] for _ in range(count + 1)]
    for start in range(count):
        for side in (0, 1):
            turn = turn_cost(rests[start], begins_section[start], is_beside=bool(side))
            before = best[start][side] + 1 + (turn if start else 0.0)
            high = 0.0
            for end in range(start + 1, count + 1):
                high += heights[end - 1]
                if high > room and end > start + 1:
                    break
                is_empty = high < _FULL * room and end < count
                # Of equal ways the one with the fuller page before, so the later start.
                cost = before + EMPTY_COST * is_empty
                if cost < best[end][1 - side] + 1e-9:
                    best[end][1 - side], came[end][1 - side] = cost, start
    side = 0 if best[count][0] < best[count][1] else 1
    starts, at = [], count
    while at:
        at, side = came[at][side], 1 - side
        starts.append(at)
    return starts[::-1]


def turn_cost(seconds: float, begins_section: bool, *, is_beside: bool) -> float:
    """Return what a page end costs.

    Parameters
    ----------
    seconds : float
        Time to turn.
    begins_section : bool
        Whether the next page begins with a section.
    is_beside : bool
        Whether the next page lies beside this one.
    """
    of_use = seconds if seconds >= LEAST_SECONDS else 0.0
    short = 0.0 if is_beside else max(TURN_SECONDS - of_use, 0.0) / TURN_SECONDS
    return NO_TIME_COST * short + (0.0 if begins_section else WITHIN_SECTION_COST)
