"""Name its kind: what can be heard here?

Other kinds that are found in the same parts at the same time are accepted too, and are not offered
as wrong choices.
"""

from __future__ import annotations

from random import Random
from typing import Any

import pandas as pd

from arrange.clashes import KINDS
from arrange.exercises.answers import find_name
from arrange.exercises.evidence import heard, intervals
from arrange.exercises.exercise import (
    Exercise,
    InWorkshop,
    NoExerciseError,
    Passage,
    read_answer,
    shuffled,
    unread,
)
from arrange.exercises.finding_words import notes_words, parts_words
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.tables.setups import song_in_section
from arrange.text.part_lists import split_parts
from arrange.text.words import an, listed, measures_words
from arrange.theory.pitch import an_interval
from arrange.theory.spelling import nearest_spelling

KIND = "name its kind"
IN_WORKSHOP = InWorkshop(
    task="which kind of finding is it?",
    how=(
        "All together: each names one kind that it is not, and why. Check a wrong one too: the "
        "reply says what speaks against it."
    ),
)
_WRONG = {"small": 2, "middle": 4, "large": 0}
_BEGUN = 4  # letters with which a kind may begin: "crowd", "rough"


def ask(facts: SongFacts, size: str, chance: Random) -> Exercise:
    """Return an exercise of this kind.

    Raises
    ------
    NoExerciseError
        If the song has no finding.
    """
    labels = facts.findings.index.tolist()
    if not labels:
        raise NoExerciseError("nothing was found in this song that could be named")
    label = chance.choice(labels)
    row = facts.finding(label)
    right, near = _kinds_here(facts, label)
    wrong = [kind for kind in KINDS if kind not in right | near]
    choices = shuffled(chance, row["kind"], wrong, _WRONG[size]) if _WRONG[size] else ()
    bars = sorted(facts.measures(label))
    first, last = bars[0], bars[-1]
    notes = f"The notes: {notes_words(row['kind'], row['pitches'])}. " if size != "large" else ""
    question = (
        f"{parts_words(row['parts'])}, {row['section']}, {measures_words(first, last)}. {notes}"
        "Which kind of finding is it?"
    )
    form = "one word: " + ", ".join(choices or KINDS)
    return Exercise(
        KIND, size, question, form, choices, row["kind"], _hints(row), row["section"],
        (first, last), (label, frozenset(right), frozenset(near)), facts, reply,
        Passage(tuple(split_parts(row["parts"])), ((first, last),)), choices or tuple(KINDS),
    )  # fmt: skip


def _kinds_here(facts: SongFacts, label: int) -> tuple[set[str], set[str]]:
    """Kinds found in these parts or some of them at this time, and kinds with others in them."""
    row, table = facts.finding(label), facts.findings
    end = row["onset"] + row["duration"]
    here = table[(table["onset"] <= end) & (table["onset"] + table["duration"] >= row["onset"])]
    asked = set(split_parts(row["parts"]))
    parts = [set(split_parts(own)) for own in here["parts"]]
    right = {kind for kind, own in zip(here["kind"], parts, strict=True) if own <= asked}
    near = {kind for kind, own in zip(here["kind"], parts, strict=True) if own & asked}
    return right, near - right


def _hints(row: Any) -> tuple[str, ...]:
    many = len(split_parts(row["parts"]))
    return (
        "It takes one part alone." if many == 1 else "It is something between two parts.",
        f"It says: {KINDS[row['kind']].meaning}.",
    )


def reply(exercise: Exercise, answer: Any) -> Reply:
    """Return the reply to an answer."""
    text = read_answer(exercise, answer)
    text = find_name(text, KINDS) or text.lower()
    label, right, near = exercise.case
    if text not in KINDS:
        begun = (kind for kind in KINDS if len(text) >= _BEGUN and kind.startswith(text))
        meant = next(begun, None) or (nearest_spelling(text, tuple(KINDS)) if text else None)
        if meant:
            return Reply(False, f"There is no kind {text!r}; did you mean {meant!r}?")
        return unread(exercise, text)
    facts, row = exercise.facts, exercise.facts.finding(label)
    if text == row["kind"]:
        also = sorted(right - {text})
        more = f" You may say {listed(also, 'or')} as well: it is found here too." if also else ""
        return Reply(True, f"Yes, {text}. {row['why']}{more}")
    if text in right:
        return Reply(True, f"Yes, {text} is found here too; the question meant {row['kind']}.")
    if text in near:
        return Reply(False, f"{_beside(facts, row, text)} These notes are something else.")
    return Reply(False, f"Not {text} ({KINDS[text].meaning}). "
                        f"{_against(facts, label, text)}")  # fmt: skip


def _beside(facts: SongFacts, row: Any, kind: str) -> str:
    """A sentence on the parts between which a kind is found at this time."""
    table = facts.findings
    end = row["onset"] + row["duration"]
    same = table[(table["kind"] == kind) & (table["onset"] <= end)
                 & (table["onset"] + table["duration"] >= row["onset"])]  # fmt: skip
    asked = set(split_parts(row["parts"]))
    parts = next(own for own in same["parts"] if set(split_parts(own)) & asked)
    return f"There is {kind} here as well, but of {parts_words(parts)}."


def _against(facts: SongFacts, label: int, kind: str) -> str:
    """A sentence on what contradicts a kind in these notes."""
    row, notes = facts.finding(label), facts.notes(label)
    parts = split_parts(row["parts"])
    table = song_in_section(facts.song, row["section"]).parts.set_index("part")
    about = KINDS[kind]
    if about.parts > len(parts) and not about.family:
        return f"It takes two parts, and these notes are of {parts[0]} alone."
    if about.family and about.family not in set(table["family"][parts]):
        who = "singer" if about.family == "voice" else about.family
        return f"There is no {who} among {listed(parts)}." if len(parts) > 1 else (
            f"{parts[0]} is no {who}."
        )  # fmt: skip
    if about.evidence == "amplifier":
        drives = [f"{part} is {table['drive'][part]}" for part in parts]
        if all(table["drive"][parts] == "clean"):
            return f"{listed(drives)}: there is no amplifier to make anything rough."
        return f"{listed(drives)}, but these notes stay clean under it."
    if about.evidence == "lowest note":
        return _not_low(facts, notes)
    if about.evidence == "interval":
        return _no_rub(facts, notes)
    first, last = min(facts.measures(label)), max(facts.measures(label))
    sentence = heard(facts, parts, first, last, kind)
    return f"It was looked for here and not found: {sentence}."


def _not_low(facts: SongFacts, notes: pd.DataFrame) -> str:
    low = float(notes["pitch"].min())
    highest = max(facts.limits.low_intervals.values(), default=0)
    if low >= highest:
        return f"The lowest note here, {facts.name(low)}, is too high up for that."
    return f"The lowest note here is {facts.name(low)}: its intervals stay clear there."


def _no_rub(facts: SongFacts, notes: pd.DataFrame) -> str:
    sizes = intervals(notes)
    if not sizes:
        return "These notes are never held at one time by two parts."
    size, low, high = min(sizes)
    interval = an_interval(size)
    return f"The two come no nearer than {interval}, {facts.name(low)} and {facts.name(high)}." if (
        size != 1
    ) else f"There is {an('minor second')}, but too short or too soft to be a finding."  # fmt: skip
