"""Find what was probably meant: the known spelling nearest to an unknown one.

A spelling is near if it has few slips: a sign too many, too few, another one, or two neighbours
swapped. Capitals count less than any slip. All known spellings are stored under their shortened
forms, with signs removed, so that a search takes some microseconds, however many there are.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from itertools import combinations

MOST_SLIPS = 2  # chosen by ear: "Cmjaj7" is Cmaj7, three slips could be anything
SHORT = 3  # shorter texts are given one slip


def nearest_spelling(text: str, known: tuple[str, ...]) -> str | None:
    """Return the known spelling nearest to the text, or None if none is near.

    Parameters
    ----------
    text : str
        As typed.
    known : tuple of str
        All right spellings, the most usual first: that one wins where several are as near.
    """
    folded = text.lower()
    if len(text) > _longest(known) + MOST_SLIPS:
        return None
    most = MOST_SLIPS if len(text) >= SHORT else 1
    index = _index(known)
    near = {number for left in _left_of(folded, most) for number in index.get(left, ())}
    by_slips = {number: slips(folded, known[number].lower()) for number in near}
    fewest = min(by_slips.values(), default=most + 1)
    if fewest > most:
        return None
    nearest = (number for number in by_slips if by_slips[number] == fewest)
    return known[min(nearest, key=lambda number: (slips(text, known[number]), number))]


def unknown_name(what: str, name: str, known: Iterable[str]) -> str:
    """Return what to say of a name that is not known: what was probably meant, and what there is.

    Parameters
    ----------
    what : str
        What it would be the name of: ``"part"``.
    name : str
    known : iterable of str
    """
    names = tuple(dict.fromkeys(known))
    near = nearest_spelling(name, names)
    meant = f"did you mean {near!r}? " if near else ""
    there = f"there are {', '.join(names)}" if names else "there is none"
    return f"there is no {what} {name!r}; {meant}{there}"


@lru_cache(maxsize=32)
def _longest(known: tuple[str, ...]) -> int:
    return max(map(len, known), default=0)


@lru_cache(maxsize=32)
def _index(known: tuple[str, ...]) -> dict[str, list[int]]:
    index: dict[str, list[int]] = {}
    for number, text in enumerate(known):
        for left in _left_of(text.lower(), MOST_SLIPS):
            index.setdefault(left, []).append(number)
    return index


def _left_of(text: str, most: int) -> set[str]:
    """What is left of a text when up to so many of its signs are lost."""
    return {
        "".join(text[at] for at in range(len(text)) if at not in lost)
        for count in range(min(most, len(text)) + 1)
        for lost in combinations(range(len(text)), count)
    }


def slips(one: str, other: str) -> int:
    """Return how many signs to insert, drop, replace or swap (optimal string alignment)."""
    before: list[int] = []
    row = list(range(len(other) + 1))
    for at, sign in enumerate(one, 1):
        older, before, row = before, row, [at]
        for to, wanted in enumerate(other, 1):
            count = min(before[to] + 1, row[to - 1] + 1, before[to - 1] + (sign != wanted))
            if older and to > 1 and sign == other[to - 2] and one[at - 2] == wanted:
                count = min(count, older[to - 2] + 1)
            row.append(count)
    return row[-1]
