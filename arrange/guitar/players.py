"""Who plays: a person with an instrument and a hand of their own."""

from __future__ import annotations

from dataclasses import dataclass, field

from arrange.errors import ArrangeError
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck


@dataclass(frozen=True)
class Player:
    """A person who plays one part.

    Parameters
    ----------
    name : str
        The label of this player's part.
    neck : Neck, optional
        Tuning, capo and frets of the instrument; else that of the part, or what serves best.
    hand : Hand
        What this hand can hold.

    Raises
    ------
    ArrangeError
        If the name is empty.

    Examples
    --------
    >>> import arrange as ar
    >>> ann = ar.Player("Ann", neck=ar.Neck(capo=2), hand=ar.Hand(thumb=True))
    >>> ann.name, ann.neck.capo, ann.hand.thumb
    ('Ann', 2, True)
    """

    name: str
    neck: Neck | None = None
    hand: Hand = field(default_factory=Hand)

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ArrangeError("a player has no name; write the name that stands on their part")
