"""How is this one shape held, with which fingers, or why can it not be?

``hands`` has the model, and answers for many shapes at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from arrange.guitar.hands import FINGER_NAMES, Grips, Hand, hold_shapes, verdicts
from arrange.guitar.necks import Neck, Shape, check_shape, format_shape


@dataclass(frozen=True)
class Grip:
    """How one shape is held.

    Parameters
    ----------
    shape : tuple of int
        Frets from the nut, string 1 first.
    playable : bool
    why_not : str
        What prevents it; empty if it can be held.
    fingers : tuple of int
        As in ``Grips``, string 1 first.
    position : int
        Fret of the first finger; 0 where nothing is held.
    span_mm, reach_mm, muting_mm, cost_mm : float
    barres : int
    verdict : str
        One of ``VERDICTS``, or ``"refused"``.
    """

    shape: Shape
    playable: bool
    why_not: str
    fingers: tuple[int, ...]
    position: int
    span_mm: float
    reach_mm: float
    muting_mm: float
    cost_mm: float
    barres: int
    verdict: str

    @property
    def fingering(self) -> str:
        """The fingers as text, low string first: a dash where none is down."""
        return "".join(FINGER_NAMES[finger] or "-" for finger in reversed(self.fingers))


def hold_shape(shape: Shape, neck: Neck, hand: Hand | None = None) -> Grip:
    """Return how a hand holds one shape, or why it cannot.

    Raises
    ------
    ArrangeError
        If the shape does not lie on the neck.
    """
    hand = hand or Hand()
    shape = check_shape(shape, neck)
    grips = hold_shapes(np.array([shape]), neck, hand)
    playable = bool(grips.playable[0])
    reach = float(grips.reach_mm[0])
    return Grip(
        shape,
        playable,
        "" if playable else _why_not(shape, grips, hand),
        tuple(grips.fingers[0].tolist()) if playable else (0,) * len(shape),
        int(grips.position[0]) if playable else 0,
        float(grips.span_mm[0]),
        reach,
        float(grips.muting_mm[0]),
        float(grips.cost_mm[0]),
        int(grips.barres[0]),
        str(verdicts(grips, hand)[0]),
    )


def _why_not(shape: Shape, grips: Grips, hand: Hand) -> str:
    text, needed = format_shape(shape), int(grips.needed[0])
    if needed > hand.fingers:
        return (
            f"{text} takes {needed} fingers and a hand frets with {hand.fingers}; leave out a "
            "string, or look for the notes on other strings"
        )
    reach = max(float(grips.reach_mm[0]), float(grips.span_mm[0]))
    return (
        f"{text} asks for a reach of {reach:.0f} mm and the hand's limit is "
        f"{hand.refuse_mm:.0f} mm; move it up the neck, or leave out the farthest note"
    )
