"""Which beat do players count, and how is it written?

In 6/8, 9/8, 12/8 and their like in sixteenths a beat is a dotted note of three; in other meters
it is the lower number's note value (textbooks of elementary theory; from memory). In 2/2 players
count halves. A tempo is given in that beat, and a bar is counted in it. Meters that are added up,
such as 3+2/8, have a beat for each group of short notes, and the short notes are counted through,
as in 6/8 (common practice).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from arrange.song_size import MOST_BAR, MOST_COUNT, MOST_TERMS, MOST_UNIT

FREE = "free"  # a meter without numbers
_METER = re.compile(r"(\d+)/(\d+)$")
_TERM = re.compile(r"([1-9][0-9]{0,2}(?:\+[1-9][0-9]{0,2})*)/([1-9][0-9]{0,2})")
_SHORT = 8  # the lower number from which a group of notes is one beat
_INSIDE: dict[int, tuple[str, ...]] = {
    1: (), 2: ("&",), 3: ("trip", "let"), 4: ("e", "&", "a"),
}  # fmt: skip
# Quarter notes: how they are called.
_NAMES = {
    4.0: "whole", 3.0: "dotted half", 2.0: "half", 1.5: "dotted quarter",
    1.0: "quarter", 0.75: "dotted eighth", 0.5: "eighth", 0.375: "dotted sixteenth",
    0.25: "sixteenth",
}  # fmt: skip


def meter_terms(meter: str) -> tuple[tuple[str, int], ...]:
    """Return upper and lower number of each term of a meter; none where it is free or none.

    ``"3+2/8 + 3/4"`` gives ``(("3+2", 8), ("3", 4))``. The upper numbers of a term add up to
    ``MOST_COUNT`` at most, the lower ones are note values, 1, 2, 4 to ``MOST_UNIT``; the bar is
    ``MOST_BAR`` quarter notes long at most.
    """
    terms = []
    for term in meter.split(" + ", MOST_TERMS):
        found = _TERM.fullmatch(term)
        unit = int(found[2]) if found else 0
        counts = sum(map(int, found[1].split("+"))) if found else 0
        if not found or counts > MOST_COUNT or unit > MOST_UNIT or unit & (unit - 1):
            return ()
        terms.append((found[1], unit))
    return tuple(terms) if _quarters(terms) <= MOST_BAR else ()


def meter_quarters(meter: str) -> Fraction:
    """Return the length of a full bar in quarter notes; 0 where the meter is free or none."""
    return _quarters(meter_terms(meter))


def _quarters(terms: Iterable[tuple[str, int]]) -> Fraction:
    return sum(
        (Fraction(4 * sum(map(int, counts.split("+"))), unit) for counts, unit in terms),
        Fraction(0),
    )


def is_compound(meter: str) -> bool:
    """Return whether a beat of the meter has three parts: 6/8, 9/8, 12/8, 6/16, ..."""
    found = _METER.match(meter)
    return bool(found) and int(found[1]) in (6, 9, 12, 15) and int(found[2]) >= 8  # type: ignore[index]


def beat_quarters(meter: str) -> float:
    """Return the beat that players count, in quarter notes; a quarter where the meter is free."""
    found = _METER.match(meter)
    if not found:
        return 1.0
    return 4 / int(found[2]) * (3 if is_compound(meter) else 1)


def added_beats(meter: str) -> tuple[float, ...]:
    """Return the length of each beat of a meter that is added up, in quarter notes; else none.

    A group of eighths or shorter notes is one beat, a group of longer notes has a beat for each:
    ``"3+2/8"`` gives ``(1.5, 1.0)``, ``"2/4 + 3/8"`` gives ``(1.0, 1.0, 1.5)``.
    """
    terms = meter_terms(meter)
    if len(terms) < 2 and not any("+" in counts for counts, _ in terms):
        return ()
    beats: list[float] = []
    for counts, unit in terms:
        for count in map(int, counts.split("+")):
            beats += [4 / unit] * count if unit < _SHORT else [4 / unit * count]
    return tuple(beats)


def beat_name(meter: str) -> str:
    """Return what that beat is called, such as ``"dotted quarter"``."""
    return _NAMES.get(beat_quarters(meter), f"1/{round(4 / beat_quarters(meter))}")


def beats_a_minute(tempo: float, meter: str) -> float:
    """Return the tempo that players count, from quarter notes a minute."""
    return tempo / beat_quarters(meter)


def tempo_words(tempo: float, meter: str) -> str:
    """Return the tempo as players read it: ``"dotted quarter = 108"``."""
    return f"{beat_name(meter)} = {round(beats_a_minute(tempo, meter), 1):g}"


def bar_counts(meter: str, parts: int) -> list[str]:
    """Return what players count through a bar, `parts` to each beat.

    Simple meters are counted 1 & 2 &, 1 e & a, 1 trip let; compound ones by their short notes,
    1 2 3 4 5 6 (common practice).

    Parameters
    ----------
    meter : str
    parts : int
        Equal parts of a beat: 1, 2, 3 or 4; of a compound beat 3 or 6.

    Returns
    -------
    list of str
        One entry a part; for other meters or parts an empty list.
    """
    found = _METER.match(meter)
    if not found:
        return []
    if is_compound(meter):
        tokens = [str(number + 1) for number in range(int(found[1]))]
        return tokens if parts == 3 else [t for n in tokens for t in (n, "&")] if parts == 6 else []
    return _counted(int(found[1]), parts) if parts in _INSIDE else []


def _counted(numbers: int, parts: int) -> list[str]:
    return [sign for n in range(numbers) for sign in (str(n + 1), *_INSIDE[parts])]


class BarGrid(NamedTuple):
    """What players count through one bar.

    Parameters
    ----------
    slot : float
        From count to count, quarter notes.
    counts : list of str
        As they stand in a row: 1 & 2 &.
    said : list of str
        Each by itself: 1, 1&, 2, 2&.
    places : list of int
        Of each in its beat, from 0.
    parts : int
        Counts in a beat; where beats are unequal, in a quarter note.
    """

    slot: float
    counts: list[str]
    said: list[str]
    places: list[int]
    parts: int


def bar_grid(meter: str, length: float, attacks: Sequence[float]) -> BarGrid | None:
    """Return the coarsest count that fits all attacks of a bar; None where none does.

    Parameters
    ----------
    meter : str
    length : float
        Of the bar, quarter notes; a pickup bar has the last counts of a full one.
    attacks : sequence of float
        Quarter notes from the start of the bar.
    """
    for full in _full_grids(meter):
        slots = min(round(length / full.slot), len(full.counts))
        at = [attack / full.slot for attack in attacks]
        if slots and all(abs(place - round(place)) <= 1e-4 for place in at):
            first = len(full.counts) - slots
            return full._replace(counts=full.counts[first:], said=full.said[first:],
                                 places=full.places[first:])  # fmt: skip
    return None


@cache
def _full_grids(meter: str) -> tuple[BarGrid, ...]:
    """The counts of a full bar, from coarse to fine."""
    return tuple(_each_full_grid(meter))


def _each_full_grid(meter: str) -> Iterator[BarGrid]:
    beats = added_beats(meter)
    if not beats:
        for parts in (3, 6) if is_compound(meter) else (2, 4, 3):
            counts = bar_counts(meter, parts)
            places = [n % parts for n in range(len(counts))]
            yield BarGrid(beat_quarters(meter) / parts, counts, _said(counts), places, parts)
        return
    lower = max(unit for _, unit in meter_terms(meter))
    for parts in (1, 2) if lower >= _SHORT else (2, 4, 3):
        slot = 4 / lower / parts
        counts = _counted(round(sum(beats) * lower / 4), parts)
        places = [place for beat in beats for place in range(round(beat / slot))]
        yield BarGrid(slot, counts, _said(counts), places, max(round(1 / slot), 1))


def _said(counts: Sequence[str]) -> list[str]:
    """Each count with the number before it, if it is none."""
    said, number = [], ""
    for count in counts:
        number = count if count.isdecimal() else number
        said.append(count if count.isdecimal() else number + count)
    return said
