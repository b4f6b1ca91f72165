"""Which groups of findings the same notes cause.

One wrong note makes a rub with each of the other parts, a clash of thirds and a note outside the
chord: it is one thing to listen to.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes import KINDS
from arrange.clashes.lines import are_meant_doubles
from arrange.tables.sounding import Array
from arrange.text.part_lists import split_parts

SHARE = 0.5  # of its notes, or of its time, that a group has in common with its cause (ours)


def causes(table: pd.DataFrame, groups: Sequence[Sequence[int]], part_of: pd.Series) -> list[int]:
    """Return the number of each group's cause among the groups; its own where it has none.

    A group has its cause in an earlier one if at least half of its notes, of those that the parts
    of the earlier one play, are notes of that, and if ``can_cause`` says so; both are waived by one
    decision, or neither is. A double that is meant comes first: at its time it is also the cause of
    what comes with a double between its two parts, on whatever notes, and what one of them does
    with a third part is the cause of what the other does with it.

    Parameters
    ----------
    table : a findings table
    groups : sequence of rows
        Each with its rows, in the order in which to listen to them.
    part_of : Series
        The part of each row of the notes table.
    """
    about = _Groups(table, groups)
    notes = table["notes"].tolist()
    whose = dict(zip(part_of.index.tolist(), part_of.tolist(), strict=True))
    found, heads = list(range(len(groups))), dict[int, list[int]]()
    doubled: dict[tuple[object, ...], list[int]] = {}
    for number in sorted(found, key=lambda number: not about.is_double[number]):
        cause = about.double_of(number, doubled)
        if cause is None:
            own = {note for each in groups[number] for note in notes[each]}
            shared = Counter(head for note in own for head in heads.get(note, ()))
            of_parts = Counter(whose.get(note) for note in own)
            cause = about.cause_of(number, shared, of_parts)
        if cause is None:
            for note in own:
                heads.setdefault(note, []).append(number)
            doubled.setdefault(about.as_doubled(number), []).append(number)
        else:
            found[number] = cause
    return found


@dataclass(frozen=True)
class _Groups:
    """Groups of findings, each by its first row."""

    table: pd.DataFrame
    groups: Sequence[Sequence[int]]

    def _of_first(self, name: str) -> list[Any]:
        values = self.table[name].tolist()
        return [values[own[0]] for own in self.groups]

    @cached_property
    def kind(self) -> list[str]:
        return self._of_first("kind")

    @cached_property
    def parts(self) -> list[list[str]]:
        return [split_parts(parts) for parts in self._of_first("parts")]

    @cached_property
    def waived(self) -> list[str]:
        return [each if isinstance(each, str) else "" for each in self._of_first("waived")]

    @cached_property
    def is_double(self) -> list[bool]:
        """Which are doubles that are meant."""
        known = {row for rows in self._doubles.values() for row in rows}
        return [own[0] in known for own in self.groups]

    @cached_property
    def _doubles(self) -> dict[frozenset[str], list[int]]:
        """The rows of the table that are doubles that are meant, by their parts."""
        table = self.table
        found: dict[frozenset[str], list[int]] = {}
        is_meant = are_meant_doubles(table)
        for row in np.flatnonzero(is_meant).tolist():
            found.setdefault(frozenset(split_parts(table["parts"].iloc[row])), []).append(row)
        return found

    @cached_property
    def _leaders(self) -> dict[str, str]:
        """For each part that doubles another one, such a part; followed to its end the first."""
        leaders: dict[str, str] = {}
        for pair in self._doubles:
            one, other = (_end_of(leaders, part) for part in pair)
            if one != other:
                leaders[one] = other
        return leaders

    def as_doubled(self, number: int) -> tuple[object, ...]:
        """What groups have in common that are the same but for parts that double each other."""
        parts = sorted(_end_of(self._leaders, part) for part in self.parts[number])
        return self.kind[number], self.waived[number], *parts

    def double_of(self, number: int, known: dict[tuple[object, ...], list[int]]) -> int | None:
        """The double that a group comes with, or the known group that it doubles; else None."""
        if not self._doubles or self.is_double[number]:
            return None
        if KINDS[self.kind[number]].comes_with_a_double:
            parts = self.parts[number]
            for double in np.flatnonzero(self.is_double).tolist():
                if (
                    self.parts[double] == parts
                    and self.waived[double] == self.waived[number]
                    and self._lasts(self.groups[double], number)
                ):
                    return double
        for head in known.get(self.as_doubled(number), ()):
            its, own = set(self.parts[head]), set(self.parts[number])
            doubled = [
                any(self._lasts(self._doubles.get(frozenset({one, other}), ()), number)
                    for other in its - own)
                for one in own - its
            ]  # fmt: skip
            if doubled and all(doubled) and self._lasts(self.groups[head], number):
                return head
        return None

    def cause_of(self, number: int, shared: Counter[int], of_parts: Counter[Any]) -> int | None:
        """The group that has enough notes in common with one, None if none has.

        `shared` has how many, `of_parts` how many of its notes each part has.
        """
        for head in sorted(shared, key=lambda head: (not self.is_double[head], head)):
            played = sum(of_parts[part] for part in self.parts[head])
            if (
                shared[head] >= SHARE * played
                and self.waived[head] == self.waived[number]
                and can_cause(
                    self.kind[head], self.kind[number], self.parts[head] == self.parts[number]
                )
            ):
                return head
        return None

    def _lasts(self, rows: Sequence[int], number: int) -> bool:
        """Whether some findings last for half of the time of a group or more."""
        begin, end = self._spans
        own, its = list(rows), list(self.groups[number])
        common = np.minimum(end[own][:, None], end[its]) - np.maximum(
            begin[own][:, None], begin[its]
        )
        return bool(np.clip(common, 0, None).sum() >= SHARE * (end[its] - begin[its]).sum())

    @cached_property
    def _spans(self) -> tuple[Array, Array]:
        begin = self.table["onset"].to_numpy()
        return begin, begin + self.table["duration"].to_numpy()


def _end_of(leaders: Mapping[str, str], part: str) -> str:
    while part in leaders:
        part = leaders[part]
    return part


def can_cause(one: str, other: str, is_same: bool) -> bool:
    """Return whether the notes of a finding of one kind can be why there is one of another.

    Those of a rub or another kind whose notes can be named can; a departure causes kinds of its own
    group, and those that the same moves may end; any kind another of the same parts, as one says
    what the other says.
    """
    cause, kind = KINDS[one], KINDS[other]
    if cause.is_of_the_song:
        return cause.group == kind.group or bool({*cause.moves} & {*kind.moves})
    return is_same or cause.notes_can_be_named
