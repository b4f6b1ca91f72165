"""Counts below a tablature that stands alone: when each attack comes, as players say it.

A count's sign stands alone where its number is struck too, else behind the number: 1 & 2&. A bar
whose rhythm fits no count has none.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pandas as pd

from arrange.guitar.necks import Array
from arrange.tables.song import Song
from arrange.theory.meters import bar_grid

_NEAR = 6  # decimals of a quarter note
_GAP = 0.22  # between two counts, against their size
# Advance widths of DejaVu Sans, from the font's hmtx table.
_WIDTHS = {"&": 0.78, "e": 0.615, "a": 0.613, "t": 0.392, "r": 0.411, "i": 0.278, "p": 0.635,
           "l": 0.278}  # fmt: skip
_DIGIT = 0.636


def attack_counts(song: Song, notes: pd.DataFrame) -> Array:
    """Return the count of each note of one part, empty where it has none.

    Grace notes and cues are not counted, nor is a bar whose attacks fit no count.
    """
    is_cue = notes["technique"].str.contains("cue", na=False).to_numpy(dtype=bool)
    own = notes[~is_cue & ~notes["grace"].to_numpy(dtype=bool)]
    starts, lengths = (song.measures[name].to_numpy() for name in ("onset", "duration"))
    meters = song.measures["meter"].tolist()
    bar = own["measure"].to_numpy(dtype=np.int64) - 1
    at = pd.Series((own["onset"].to_numpy() - starts[bar]).round(_NEAR), index=own.index)
    counts = pd.Series("", index=notes.index, dtype=object)
    for number, attacks in at.groupby(bar):
        written = _bar_counts(meters[number], lengths[number], sorted(set(attacks)))
        counts[attacks.index] = [written.get(attack, "") for attack in attacks]
    return counts.to_numpy()


def _bar_counts(meter: str, length: float, attacks: list[float]) -> dict[float, str]:
    """How the count of each attack of a bar is written."""
    grid = bar_grid(meter, length, attacks)
    if grid is None:
        return {}
    most = len(grid.counts) - 1
    places = [min(round(attack / grid.slot), most) for attack in attacks]
    said = {grid.said[place] for place in places}
    return {
        attack: grid.counts[place] if _number(grid.said[place]) in said else grid.said[place]
        for attack, place in zip(attacks, places, strict=True)
    }


def _number(count: str) -> str:
    """The number with which a count begins."""
    return "".join(itertools.takewhile(str.isdecimal, count))


def fitted_counts(counts: Sequence[tuple[float, str]], size: float) -> list[float]:
    """Return how narrow each count is written so that none touches another: 1 is its own width.

    Parameters
    ----------
    counts : sequence of (x, text)
        From left to right; each stands with its middle at x.
    size : float
        Of the letters, in the same coordinates.
    """
    wide = np.array([sum(_WIDTHS.get(sign, _DIGIT) for sign in text) for _, text in counts])
    room = np.diff([x for x, _ in counts]) - _GAP * size
    fit = room / ((wide[:-1] + wide[1:]) / 2 * size)
    fits = np.minimum(np.append(fit, 1.0), np.insert(fit, 0, 1.0))
    return np.minimum(fits, 1.0).tolist()
