"""Which decisions and remarks are for whose sheet, and in which words they stand there.

A decision is for the parts that it names or changes, by their labels, their players' names or
their instruments; one that names none, or a part that this song does not have (a layer, a slip of
the pen), is for everybody. A remark is for everybody, unless it begins with names and a colon:
``Guitar 2, Ness: wait for the second time``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from arrange.decisions import Decision, DecisionLog
from arrange.tables.song import Remark, Song, part_row
from arrange.text.words import bars_words, listed

MOST_DECISIONS = 12
_OPEN = {"agreed": "Decided", "proposed": "Proposed"}
_LONGEST = 400  # letters of a decision on a part sheet
_NAMES = ("part", "player", "instrument")


@dataclass(frozen=True)
class Notices:
    """What a player is asked to keep in mind: all through the song, and section by section."""

    song: tuple[str, ...]
    sections: dict[str, tuple[str, ...]]


def part_notices(song: Song, part: str, log: DecisionLog | None) -> Notices:
    """Return the remarks and the decisions that stand on the sheet of a part.

    Parameters
    ----------
    song : Song
    part : str
    log : DecisionLog, optional
        Those proposed and agreed are printed, the last ones where there are many.
    """
    row = part_row(song, part)
    own = {row[name] for name in _NAMES if isinstance(row[name], str)}
    known = {name for column in _NAMES for name in song.parts[column].dropna()}
    places: dict[str, list[str]] = {"": [], **{name: [] for name in song.sections["section"]}}
    for remark in song.remarks:
        names = _addressed(remark, known)
        if not names or names & own:
            for section in remark.sections or ("",):
                places.setdefault(section, []).append(remark.text)
    decided: dict[str, list[Decision]] = {}
    for decision in open_decisions(log):
        names = _concerned(decision)
        if not names or names & own or names - known:
            for section in _sections(song, decision):
                decided.setdefault(section, []).append(decision)
    for section, decisions in decided.items():
        places[section] += last_decisions(
            decisions,
            [f"{_OPEN[each.status]}: {decision_words(each, _LONGEST)}." for each in decisions],
        )
    return Notices(
        tuple(places.pop("")),
        {section: tuple(sentences) for section, sentences in places.items() if sentences},
    )


def open_decisions(log: DecisionLog | None) -> list[Decision]:
    """Return the decisions that are proposed or agreed."""
    return [each for each in log.decisions if each.status in _OPEN] if log else []


def last_decisions(decisions: Sequence[Decision], sentences: Sequence[str]) -> list[str]:
    """Return the words of the last decisions, and how many came before them."""
    more = len(decisions) - MOST_DECISIONS
    earlier = [f"{more} earlier ones stand in the log"] if more > 0 else []
    return [*earlier, *sentences[-MOST_DECISIONS:]]


def decision_words(decision: Decision, longest: int) -> str:
    """Return where a decision holds, what it is and why, in so many letters."""
    place = [decision.section] if decision.section else []
    if decision.measures:
        first, last = decision.measures
        place.append(bars_words(range(first, last + 1)))
    names = listed(decision.parts)
    place += [names] if names and not decision.what.startswith(f"{names}: ") else []
    where = f"{', '.join(place)}: " if place else ""
    words = f"{where}{decision.what} – {decision.why}"
    return words if len(words) <= longest else words[: longest - 1].rstrip() + "…"


def _addressed(remark: Remark, known: set[str]) -> set[str]:
    """The names that a remark begins with; none if anything else stands before its colon."""
    before, colon, _ = remark.text.partition(":")
    labels = {name.casefold(): name for name in known}
    names = [labels.get(word.strip().casefold()) for word in re.split(r",| and ", before)]
    return set(filter(None, names)) if colon and all(names) else set()


def _concerned(decision: Decision) -> set[str]:
    """The names in a decision, and the parts that it changes."""
    changed = {part for part, _, _ in decision.spans} if decision.change else set()
    added = set(decision.change.parts["part"]) if decision.change else set()
    return {*decision.parts, *changed, *added}


def _sections(song: Song, decision: Decision) -> Iterator[str]:
    """The sections in which a decision holds; an empty label for all the song."""
    table = song.sections
    if decision.section and not decision.measures:
        is_there = (table["section"] == decision.section).any()
        yield decision.section if is_there else ""
        return
    if not decision.measures:
        yield ""
        return
    first, last = decision.measures
    inside = (table["first_measure"] <= last) & (table["last_measure"] >= first)
    yield from table["section"][inside] if inside.any() else [""]
