"""Which groups of findings the same notes cause.

One wrong note makes a rub with each of the other parts, a clash of thirds and a note outside the
chord: it is one thing to listen to.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import pandas as pd

from arrange.clashes import KINDS
from arrange.clashes.lines import are_exact_doubles
from arrange.text.part_lists import split_parts

SHARE = 0.5  # of its notes, that a group has in common with its cause (ours)


def causes(table: pd.DataFrame, groups: Sequence[Sequence[int]], part_of: pd.Series) -> list[int]:
    """Return the number of each group's cause among the groups; its own where it has none.

    A group has its cause in an earlier one if at least half of its notes, of those that the parts
    of the earlier one play, are notes of that, and if ``can_cause`` says so; both are waived by one
    decision, or neither is. A double that is meant causes all that its parts do to each other
    meanwhile.

    Parameters
    ----------
    table : a findings table
    groups : sequence of rows
        Each with its rows, in the order in which to listen to them.
    part_of : Series
        The part of each row of the notes table.
    """
    kind, parts = table["kind"].tolist(), table["parts"].tolist()
    waived, notes = table["waived"].fillna("").tolist(), table["notes"].tolist()
    whose = dict(zip(part_of.index.tolist(), part_of.tolist(), strict=True))
    first = [own[0] for own in groups]
    doubled = are_exact_doubles(table.iloc[first]).tolist()
    found, heads = list(range(len(groups))), dict[int, list[int]]()
    for number in sorted(found, key=lambda number: not doubled[number]):
        row, own = first[number], {note for each in groups[number] for note in notes[each]}
        shared = Counter(head for note in own for head in heads.get(note, ()))
        of_parts = Counter(whose.get(note) for note in own)
        for head in sorted(shared, key=lambda head: (not doubled[head], head)):
            top = first[head]
            played = sum(of_parts[part] for part in split_parts(parts[top]))
            is_same = parts[top] == parts[row]
            if (
                shared[head] >= SHARE * played
                and waived[top] == waived[row]
                and can_cause(kind[top], kind[row], is_same)
            ):
                found[number] = head
                break
        else:
            for note in own:
                heads.setdefault(note, []).append(number)
    return found


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
