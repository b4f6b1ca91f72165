"""Which way does the picking hand strum at each count?

The hand swings evenly, down on the beat and up between, as fast as the shortest notes ask; it goes
on swinging where nothing is struck. In three to a beat it begins each beat anew: down, up, down
(common practice, as jigs are picked).
"""

from __future__ import annotations

from collections.abc import Sequence

DOWN, UP = "↓", "↑"


def strum_strokes(counts: Sequence[str], swings: int, parts: int) -> list[str]:
    """Return the stroke of each count of a bar.

    Parameters
    ----------
    counts : sequence of str
        As ``bar_grid`` gives them; a beat begins at each number in simple meters, at the first
        and every third number in compound ones.
    swings : int
        Counts that the hand strokes through in a beat, the finest of the section: 2, 3, 4 or 6.
    parts : int
        Counts of this bar in a beat; `swings` is a multiple, or 3 beside 2 and 4.
    """
    each = swings // parts if swings % parts == 0 else 1
    first = len(counts) % parts  # a pickup bar ends with a whole beat
    places = [(number - first) % parts * each for number in range(len(counts))]
    if swings % 3 == 0 and swings < 6:
        return [UP if place == 1 else DOWN for place in places]
    return [UP if place % 2 else DOWN for place in places]
