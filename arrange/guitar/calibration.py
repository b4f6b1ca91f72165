"""Whose hand it is: limits found by trying a few reaches on one's own guitar.

Stretches hurt hands: stop at the first pain, rest, come back another day; if it returns, ask a
teacher or somebody qualified in medicine.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

import numpy as np

from arrange.errors import ArrangeError
from arrange.guitar.hands import Hand
from arrange.guitar.necks import LEFT_OUT, Neck, check_shape

TRIED = ((1, 4), (3, 7), (1, 5))  # three reaches to try, first finger's and fourth finger's fret
ANSWERS = ("comfortable", "stretch", "refuse")


def calibrate_hand(
    tried: Mapping[tuple[int, int], str], neck: Neck, *, thumb: bool = False
) -> Hand:
    """Return the hand of somebody who has tried a few reaches on their own guitar.

    Put the first finger on one fret and the fourth on another of one string, play both, and say
    how it feels. Without force: a reach that hurts is a reach to refuse.

    Parameters
    ----------
    tried : mapping of (fret, fret) to str
        ``"comfortable"``, ``"stretch"`` or ``"refuse"`` for each; ``TRIED`` are good ones.
    neck : Neck
        The guitar it was tried on.
    thumb : bool
        Whether the thumb may come over the neck.

    Raises
    ------
    ArrangeError
        If nothing was tried, an answer is none of the three, or a longer reach is said to be
        easier than a shorter one.

    Examples
    --------
    >>> import arrange as ar
    >>> answers = {(1, 4): "comfortable", (3, 7): "stretch", (1, 5): "refuse"}
    >>> hand = ar.calibrate_hand(answers, ar.Neck())
    >>> round(hand.comfortable_mm), round(hand.stretch_mm), round(hand.refuse_mm)
    (97, 112, 119)
    """
    reaches: dict[str, list[float]] = {answer: [] for answer in ANSWERS}
    for (low, high), answer in tried.items():
        if answer not in reaches:
            raise ArrangeError(
                f"frets {low} to {high} feel {answer!r}; say one of {', '.join(ANSWERS)}"
            )
        check_shape([low] + [LEFT_OUT] * (neck.strings - 1), neck)
        check_shape([high] + [LEFT_OUT] * (neck.strings - 1), neck)
        reaches[answer].append(abs(float(neck.mm[high] - neck.mm[low])))
    if not tried:
        raise ArrangeError("no reach was tried; play frets 1 and 4, 3 and 7, 1 and 5")
    for easy, hard in combinations(ANSWERS, 2):
        if max(reaches[easy], default=0) >= min(reaches[hard], default=np.inf):
            raise ArrangeError(
                f"a reach of {max(reaches[easy]):.0f} mm feels {easy!r} and a shorter one of "
                f"{min(reaches[hard]):.0f} mm {hard!r}; try both once more"
            )
    default = Hand()
    refused = min(reaches["refuse"], default=np.inf)
    if reaches["stretch"] or reaches["comfortable"]:
        possible = max(reaches["stretch"] + reaches["comfortable"])
    else:
        possible = refused * default.stretch_mm / default.refuse_mm
    ratio = default.comfortable_mm / default.stretch_mm
    strained = min(reaches["stretch"], default=np.inf)
    comfortable = max(reaches["comfortable"], default=min(possible, strained) * ratio)
    most = possible * default.refuse_mm / default.stretch_mm
    if refused < np.inf:
        most = (possible + refused) / 2
    return Hand(comfortable, possible, most, thumb=thumb)
