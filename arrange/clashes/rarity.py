"""How rare a finding is: in how many passages of well-made music its kind goes as far.

``rarity.csv`` has some values of each kind, and in one of how many passages the kind reaches each,
for music for instruments, for small choirs and for large ones. Between its rows the logarithm of
that number is a straight line over the value, from 1 at a value of 0; beyond the last row the last
line goes on. ``tests/benchmarks/rarity.py`` makes the table and says of which music. Where there is
too little of it the tails are fitted, and a sentence gives no number larger than the passages that
there are.

Kinds that are not in the table are measured by their limit alone: those that need a singer, a bass,
an amplifier or chord symbols, which the collection lacks, and doublings, which may be meant.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from arrange.tables.sounding import Array

PASSAGE = 90.0  # quarter notes: about a minute
SLOW = 5.0  # severity is a half at one passage in 2 ** 5, three quarters at one in 4 ** 5 (ours)
INSTRUMENTS, SMALL_CHOIR, LARGE_CHOIR = "instruments", "small choir", "large choir"
SMALL = 4  # parts of a choir
OFTEN = 2.0  # one passage in fewer than so many is often
UNKNOWN = "How rare this is in well-made music is not known."
_RARE, _SO_FAR = "Fewer than one passage in ", " goes this far."
_RARITY = re.compile(rf" (?:{UNKNOWN}|(?:{_RARE}[\d,]+ of w|W)ell-made music(?: often)?{_SO_FAR})$")

FILE = Path(__file__).with_name("rarity.csv")


class Curve(NamedTuple):
    """How often well-made music goes how far in one kind.

    Parameters
    ----------
    passages : int
        How many it was measured on.
    value : array
        Ascending, from 0.
    log_one_in : array
        Natural logarithm of N, where one passage in N goes so far.
    """

    passages: int
    value: Array
    log_one_in: Array

    def at(self, value: Array) -> Array:
        """Return ``log_one_in`` of some values."""
        known = np.interp(value, self.value, self.log_one_in)
        (*_, before, last), (*_, low, high) = self.value, self.log_one_in
        beyond = (high - low) / (last - before) * np.maximum(value - last, 0)
        return np.asarray(known + beyond)


Curves = dict[tuple[str, str, str], Curve]  # of each kind, unit and ensemble


class Rarity(NamedTuple):
    """How rare some findings are, a value each.

    Parameters
    ----------
    log_one_in : array
        Natural logarithm of N, where fewer than one passage in N goes so far; NaN where that is not
        known.
    passages : array of int
        How many the kind was measured on, 0 for none.
    """

    log_one_in: Array
    passages: Array


def ensemble(families: Array) -> str:
    """Return what a song is compared with: choirs of up to four parts, where most of the parts are
    voices; larger ones; or music for instruments.
    """
    pitched = families[families != "drums"]
    if 2 * np.count_nonzero(pitched == "voice") <= len(pitched):
        return INSTRUMENTS
    return SMALL_CHOIR if len(pitched) <= SMALL else LARGE_CHOIR


def curves_of(rows: Iterable[Mapping[str, Any]]) -> Curves:
    """Return the curves that the rows of a table describe."""
    points: dict[tuple[str, str, str], list[tuple[int, float, float]]] = {}
    for row in rows:
        point = int(row["passages"]), float(row["value"]), float(row["one_in"])
        points.setdefault((row["kind"], row["unit"], row["ensemble"]), []).append(point)
    return {
        key: Curve(
            own[0][0],
            np.array([0.0, *(value for _, value, _ in own)]),
            np.log([1.0, *(one_in for *_, one_in in own)]),
        )
        for key, own in points.items()
    }


@cache
def curves() -> Curves:
    """Return the curves of the package."""
    with FILE.open(encoding="utf-8", newline="") as file:
        return curves_of(csv.DictReader(file))


def rarity(keys: Sequence[tuple[str, str]], value: Array, families: Array) -> Rarity:
    """Return how rare findings are.

    Parameters
    ----------
    keys : sequence of (kind, unit of the value)
    value : array
    families : array
        Of the parts of the song.
    """
    number = {key: place for place, key in enumerate(dict.fromkeys(keys))}
    which = np.array([number[key] for key in keys], dtype=np.int64)
    log_one_in, passages = np.full(len(keys), np.nan), np.zeros(len(keys), dtype=np.int64)
    known, group = curves(), ensemble(families)
    for key, place in number.items():
        curve = known.get((*key, group))
        if curve:
            own = which == place
            log_one_in[own], passages[own] = curve.at(value[own]), curve.passages
    return Rarity(log_one_in, passages)


def severities(rare: Rarity, ratio: Array) -> Array:
    """Return the severities of findings, 0 to 1, from their rarity and from value / limit.

    It is 1 - N ** (-1 / 5), where fewer than one passage in N goes so far: 0.2 at one in 3, 0.5 at
    one in 32, 0.75 at one in 1,024, never quite 1. Where the rarity is not known it is
    1 - 2 ** (-ratio / 2): 0.29 at the limit, 0.5 at twice, 0.75 at four times the limit.
    """
    known = -np.expm1(-rare.log_one_in / SLOW)
    return np.where(np.isnan(rare.log_one_in), 1 - 2 ** (-ratio / 2), known)


def rarity_sentences(rare: Rarity) -> list[str]:
    """Return how rare each finding is, as a sentence for people.

    The number is rounded down to one digit, and no larger than the passages that there are.
    """
    is_known = rare.passages > 0
    most = np.log(np.maximum(rare.passages, 1))
    one_in = np.exp(np.minimum(np.where(is_known, rare.log_one_in, 0), most)) * (1 + 1e-9)
    digit = 10 ** np.floor(np.log10(one_in))
    rounded = (np.floor(one_in / digit) * digit).astype(np.int64)
    return [
        UNKNOWN if not known
        else f"Well-made music often{_SO_FAR}" if number < OFTEN
        else f"{_RARE}{number:,} of well-made music{_SO_FAR}"
        for known, number in zip(is_known.tolist(), rounded.tolist(), strict=True)
    ]  # fmt: skip


def without_rarity(why: str) -> str:
    """Return what a finding says, without the sentence on how rare it is."""
    return _RARITY.sub("", why)
