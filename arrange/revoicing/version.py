"""What an idea makes of a part."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Version:
    """The song's notes as an idea leaves them.

    Parameters
    ----------
    idea : str
    says : str
        What the player does, after the part's name.
    notes : DataFrame
    gives_up : bool
        Thirds and sevenths may be given up by it.
    capo : int or None
        A new capo for the part.
    cut : int
        At how many chords the search left out candidates as too costly.
    """

    idea: str
    says: str
    notes: pd.DataFrame
    gives_up: bool = False
    capo: int | None = None
    cut: int = 0
