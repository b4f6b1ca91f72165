"""Which groups of findings the same notes cause.

One wrong note makes a rub with each of the other parts, a clash of thirds and a note outside the
chord: it is one thing to listen to.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import pandas as pd

from arrange.clashes import KINDS

SHARE = 0.5  # of its notes, that a group has in common with its cause (ours)
QUIET = 0.2  # severity below which a doubling is exact, and reads as meant (``find_doublings``)


def causes(table: pd.DataFrame, groups: Sequence[Sequence[int]]) -> list[int]:
    """Return the number of each group's cause among the groups; its own where it has none.

    A group has its cause in an earlier one if at least half of its notes are notes of that, and if
    that one is of a kind whose notes can be named, or departs from the song, or is of the same
    parts; a double that is meant causes all that its parts do to each other meanwhile. Both are
    waived by one decision or neither is.

    Parameters
    ----------
    table : a findings table
    groups : sequence of rows
        Each with its rows, in the order in which to listen to them.
    """
    kind, parts, severity = (table[name].tolist() for name in ("kind", "parts", "severity"))
    waived, notes = table["waived"].fillna("").tolist(), table["notes"].tolist()
    found = list(range(len(groups)))
    doubled = [kind[own[0]] == "doubling" and severity[own[0]] < QUIET for own in groups]
    heads: dict[int, list[int]] = {}
    for number in sorted(found, key=lambda number: not doubled[number]):
        first = groups[number][0]
        own = {note for row in groups[number] for note in notes[row]}
        shared = Counter(head for note in own for head in heads.get(note, ()))
        for head, count in sorted(shared.items(), key=lambda item: (not doubled[item[0]], item[0])):
            top, about = groups[head][0], KINDS[kind[groups[head][0]]]
            is_same = parts[top] == parts[first]
            can_cause = is_same or about.notes_can_be_named or about.is_of_the_song
            if count >= SHARE * len(own) and waived[top] == waived[first] and can_cause:
                found[number] = head
                break
        else:
            for note in own:
                heads.setdefault(note, []).append(number)
    return found
