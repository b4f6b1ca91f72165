"""How high lines of engraved bars will be, to find a size of type before they are engraved.

A line with notation is as high as the web page's lines of the same bars, but for its letters; one
of tablature alone has the rows of signs that its bars ask for. For the demo songs the sum over a
part lies within 6 % of the engraved one, mostly within 2 %.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from arrange.guitar.necks import Array
from arrange.handouts.systems import System, letter_sizes

# In the engraver's picture coordinates; measured on lines of the demo songs.
_TAB = 1833.0  # six strings, and what stands around them
_NOTES = 4300.0  # a line with notation, where no line of the same bars is known
_LONGER = 50.0  # what a line gains that holds more bars than the known one
_SYMBOLS, _SYMBOL_HIGH = 100.0, 0.78  # a row of chord symbols, and how high against its type
_COUNT_HIGH = 0.76
# Rows below tablature, or above it: each grows with the numbers, or is as high as here.
_FINGERS, _STROKES, _PLACES = 318.0, 180.0, 370.0
_PALM, _RING, _ARCS = 297.0, 258.0, 301.0


@dataclass(frozen=True)
class LineHeights:
    """What the height of a part's lines comes from.

    Parameters
    ----------
    signs : array of bool, bars x 6
        Which bars of the song have fingers, strokes, frets of a shape that moves, P.M., let ring,
        arcs.
    has_symbols : bool
        Whether chord symbols stand above.
    with_notes : mapping of bar to float
        Heights of engraved lines with notation.
    web_mm : float
        Their staff's height.
    """

    signs: Array
    has_symbols: bool
    with_notes: dict[int, float]
    web_mm: float

    @classmethod
    def of(
        cls,
        notes: pd.DataFrame,
        bars: int,
        lines: Iterable[System],
        web_mm: float,
        *,
        has_symbols: bool,
    ) -> LineHeights:
        """Return the heights of a part's lines.

        Parameters
        ----------
        notes : DataFrame
            Of ``marked_notes``.
        bars : int
            Of the song.
        lines : iterable of System
            Lines with notation that are engraved already.
        web_mm : float
        has_symbols : bool
        """
        technique = notes["technique"].fillna("")
        named = [technique.str.contains(name) for name in ("palm", "let ring", "hammer|pull")]
        own = notes["finger"] > 0, notes["stroke"] != "", notes["place"] != ""
        flags = np.column_stack([*own, *named])
        signs = np.zeros((bars, flags.shape[1]), dtype=bool)
        np.logical_or.at(signs, notes["measure"].to_numpy(dtype=np.int64) - 1, flags.astype(bool))
        high = {bar: line.height * line.width for line in lines
                for bar in range(line.first, line.last + 1)}  # fmt: skip
        return cls(signs, has_symbols, high, web_mm)

    def of_line(self, first: int, last: int, staff_mm: float, *, has_notes: bool) -> float:
        """Return how high a line of bars will be, in the engraver's picture coordinates."""
        here, web = letter_sizes(staff_mm), letter_sizes(self.web_mm)
        signs = np.flatnonzero(self.signs[first - 1 : last].max(axis=0))
        finger, stroke, place, palm, ring, arcs = (sign in signs for sign in range(6))
        if has_notes:
            known = max(self.with_notes.get(bar, _NOTES) for bar in range(first, last + 1))
            letters = _SYMBOL_HIGH * (here.symbol - web.symbol) * self.has_symbols
            rows = _FINGERS * finger + _PLACES * place
            return known + letters + rows * (here.scale - web.scale) + _LONGER
        symbols = (_SYMBOLS + _SYMBOL_HIGH * here.symbol) * self.has_symbols
        rows = (_FINGERS * finger + _STROKES * stroke + _PLACES * place) * here.scale
        return (
            _TAB + symbols + _COUNT_HIGH * here.count + rows
            + _PALM * palm + _RING * ring + _ARCS * arcs
        )  # fmt: skip
