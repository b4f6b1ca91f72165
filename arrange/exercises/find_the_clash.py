"""Find the clash: in which measure, or in which section?

Every right place is accepted, whether or not the exercise was made from it; exactly one of the
choices is right.
"""

from __future__ import annotations

import re
from random import Random
from typing import Any

from arrange.clashes import KINDS
from arrange.exercises.answers import find_name, notes_in, numbers_in, other_names
from arrange.exercises.evidence import heard
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
from arrange.text.part_lists import split_parts
from arrange.text.words import first_up, listed, measures_words, runs_words
from arrange.theory.pitch import parse_note

KIND = "find the clash"
IN_WORKSHOP = InWorkshop(
    task="in which measure or section is it?",
    how=(
        "In pairs, with the bars on the sheet and the sound. Let two pairs say where and why, then "
        "check both answers, the wrong one first."
    ),
)
_WRONG = 3
_LEAST_WRONG = 2
_MOST_NOTES = 3
_WHOLE = 0.6  # share of a section's measures from which on the section is asked for


def ask(facts: SongFacts, size: str, chance: Random) -> Exercise:
    """Return an exercise of this kind.

    Raises
    ------
    NoExerciseError
        If the song has no finding, or its findings are everywhere.
    """
    labels = facts.findings.index.tolist()
    if not labels:
        raise NoExerciseError("nothing was found in this song that could be looked for")
    chance.shuffle(labels)
    for label in labels:
        made = _measure(facts, size, chance, label) or _section(facts, size, chance, label)
        if made:
            return made
    raise NoExerciseError("what was found in this song is everywhere, so no place differs")


def _own(facts: SongFacts, label: int) -> list[int]:
    """The findings of the same kind, of the same parts or of some of them."""
    row, table = facts.finding(label), facts.findings
    asked = set(split_parts(row["parts"]))
    return [
        label for label, kind, parts in zip(table.index, table["kind"], table["parts"], strict=True)
        if kind == row["kind"] and set(split_parts(parts)) <= asked
    ]  # fmt: skip


def _right_measures(facts: SongFacts, label: int) -> frozenset[int]:
    own = _own(facts, label)
    return frozenset().union(*(facts.measures(each) for each in own))


def _measure(facts: SongFacts, size: str, chance: Random, label: int) -> Exercise | None:
    """Ask for a measure, if the clash does not fill nearly the whole section."""
    row = facts.finding(label)
    section, kind, parts = row["section"], row["kind"], row["parts"]
    first, last = facts.section_measures(section)
    right = _right_measures(facts, label)
    inside = [bar for bar in range(first, last + 1) if bar in right]
    outside = [bar for bar in range(first, last + 1) if bar not in right]
    if not inside or len(inside) > _WHOLE * (last - first + 1) or len(outside) < _LEAST_WRONG:
        return None
    clause = KINDS[kind].question.format(parts=parts_words(parts))
    names = row["pitches"].split()
    can_be_named = KINDS[kind].notes_can_be_named and len(names) <= _MOST_NOTES
    wants_notes = size == "large" and can_be_named
    span = (first, last) if size == "middle" else (1, len(facts.song.measures))
    where = {
        "small": "In which of these measures",
        "middle": f"In which measure of {section} ({measures_words(first, last)})",
        "large": "In which measure of the song",
    }[size]
    answer = f"measure {chance.choice(inside)}"
    choices: tuple[str, ...] = ()
    if size == "small":
        wrong = outside if len(outside) >= _WRONG else _nearest(facts, right, first, last)
        choices = shuffled(chance, answer, [f"measure {bar}" for bar in wrong], _WRONG)
        choices = tuple(sorted(choices, key=lambda each: int(each.split()[-1])))
    form = "the number of a measure, as played, such as 12"
    more = ""
    if wants_notes:
        bar = next(iter(sorted(facts.measures(label) & right)))
        answer = f"measure {bar}: {' '.join(names)}"
        form = "a measure and the notes, such as 12: F3 Gb3"
        more = " And which notes are they?" if len(names) > 1 else " And which note is it?"
    return Exercise(
        KIND, size, f"{where} {clause}?{more}", form, choices, answer,
        _hints(facts, label, section), section if size == "middle" else "", span,
        ("measure", label, right, wants_notes), facts, reply,
        Passage(tuple(split_parts(parts)), _bars_asked(choices) or (span,)), (kind,),
    )  # fmt: skip


def _bars_asked(choices: tuple[str, ...]) -> tuple[tuple[int, int], ...]:
    """The measures among which one is chosen."""
    return tuple((int(each.split()[-1]),) * 2 for each in choices)  # type: ignore[misc]


def _nearest(facts: SongFacts, right: frozenset[int], first: int, last: int) -> list[int]:
    """Measures next to a section and without the clash, as many as are needed."""
    bars = [bar for bar in range(1, len(facts.song.measures) + 1) if bar not in right]
    return sorted(bars, key=lambda bar: max(first - bar, bar - last, 0))[: _WRONG + 1]


def _section(facts: SongFacts, size: str, chance: Random, label: int) -> Exercise | None:
    """Ask for a section, if these parts do not clash in this way in all of them."""
    row = facts.finding(label)
    parts = split_parts(row["parts"])
    order = facts.song.sections["section"].tolist()
    own = [facts.sections(each) for each in _own(facts, label)]
    right = frozenset().union(*own)
    others = [name for name in order if name not in right and _any_plays(facts, parts, name)]
    if len(others) < 2:
        return None
    clause = KINDS[row["kind"]].question.format(parts=parts_words(row["parts"]))
    answer = row["section"]
    choices: tuple[str, ...] = ()
    if size == "small":
        picked = shuffled(chance, answer, others, _WRONG)
        choices = tuple(sorted(picked, key=order.index))
    most = "" if size == "small" else " One is enough."
    bars = tuple(facts.section_measures(name) for name in choices)
    return Exercise(
        KIND, size, f"In which section {clause}?{most}", f"a section, such as {order[-1]}",
        choices, answer, _hints(facts, label, ""), "", (1, len(facts.song.measures)),
        ("section", label, right, False), facts, reply,
        Passage(tuple(parts), bars or ((1, len(facts.song.measures)),)), (row["kind"],),
    )  # fmt: skip


def _any_plays(facts: SongFacts, parts: list[str], section: str) -> bool:
    first, last = facts.section_measures(section)
    return any(facts.plays(part, range(first, last + 1)) for part in parts)


def _hints(facts: SongFacts, label: int, section: str) -> tuple[str, ...]:
    """Hints: what is asked, roughly where (`section`, if a measure is asked for), and the notes."""
    row = facts.finding(label)
    hints = [f"What is looked for: {row['kind']}, that is {KINDS[row['kind']].meaning}."]
    if section:
        hints.append(f"There is one in {section}.")
    else:
        kind = facts.song.sections.set_index("section")["kind"][row["section"]]
        if kind != "other":
            hints.append(f"There is one where the {kind} is.")
    hints.append(f"The notes: {notes_words(row['kind'], row['pitches'])}.")
    return tuple(hints)


def reply(exercise: Exercise, answer: Any) -> Reply:
    """Return the reply to an answer."""
    text = read_answer(exercise, answer)
    if not text:
        return unread(exercise, text)
    what, label, right, wants_notes = exercise.case
    if what == "section":
        return _reply_section(exercise, text, label, right)
    numbers = numbers_in(text)
    if len(numbers) != 1:
        return unread(exercise, text)
    if wants_notes:
        return _reply_notes(exercise, numbers[0], text, label, right)
    return _reply_measure(exercise, numbers[0], label, right)


def _reply_measure(exercise: Exercise, bar: int, label: int, right: frozenset[int]) -> Reply:
    facts = exercise.facts
    row = facts.finding(label)
    bars = len(facts.song.measures)
    if not 1 <= bar <= bars:
        return Reply(False, f"There is no measure {bar}; as played the song has {bars}.")
    first, last = exercise.measures
    if bar in right:
        why = _why_at(facts, bar, label)
        also = [each for each in sorted(right) if first <= each <= last and each != bar]
        more = f" It is there in {runs_words(also)} too." if also else ""
        return Reply(True, f"Yes. {why}{more}")
    if not first <= bar <= last:  # a section was named
        return Reply(
            False,
            f"Measure {bar} lies in {facts.section_at(bar)}; look within {exercise.section}, "
            f"{measures_words(first, last)}.",
        )
    parts = split_parts(row["parts"])
    sentence = first_up(heard(facts, parts, bar, bar, row["kind"]))
    return Reply(False, f"Not in measure {bar}. {sentence}.{_instead(facts, bar, parts)}")


def _why_at(facts: SongFacts, bar: int, label: int) -> str:
    """The sentence of the finding that can be heard in a measure."""
    here = [each for each in _own(facts, label) if bar in facts.measures(each)]
    return str(facts.finding(label if label in here else here[0])["why"])


def _instead(facts: SongFacts, bar: int, parts: list[str]) -> str:
    """What else is found in some of these parts in that measure."""
    table = facts.findings
    kinds = [
        kind for label, kind, own in zip(table.index, table["kind"], table["parts"], strict=True)
        if set(split_parts(own)) & set(parts) and bar in facts.measures(label)
    ]  # fmt: skip
    found = listed(dict.fromkeys(kinds))
    return f" What is to be heard there is another thing: {found}." if kinds else ""


def _reply_notes(
    exercise: Exercise, bar: int, text: str, label: int, right: frozenset[int]
) -> Reply:
    """A measure and notes: first the place, then the notes, then their octaves."""
    placed = _reply_measure(exercise, bar, label, right)
    if not placed.right:
        return placed
    facts = exercise.facts
    names = notes_in(text)
    given = set(names.values())
    if not given:
        return Reply(False, f"Measure {bar} is right. Which notes are they? Write {exercise.form}.")
    here = [each for each in _own(facts, label) if bar in facts.measures(each)]
    wanted = [{parse_note(n) for n in facts.finding(each)["pitches"].split()} for each in here]
    if given in wanted:
        return Reply(True, placed.text + other_names(names, facts.name))
    nearest = max(wanted, key=lambda each: len(each & given))
    if {pitch % 12 for pitch in given} == {pitch % 12 for pitch in nearest}:
        return Reply(
            False,
            f"Measure {bar} is right and so are the letters; one stands in another octave. "
            "Count from middle C, which is C4.",
        )
    strange = sorted(given - nearest)
    others = listed(facts.name(pitch) for pitch in strange)
    if not strange:
        return Reply(False, f"Measure {bar} is right; a note is still missing.")
    verb = "belongs" if len(strange) == 1 else "belong"
    return Reply(False, f"Measure {bar} is right; {others} {verb} to something else.")


def _which_section(exercise: Exercise, text: str) -> Reply:
    """The reply to what is no section's name, such as ``"chorus"`` where there are several."""
    sections = exercise.facts.song.sections["section"]
    several = [each for each in sections if each.lower().startswith(f"{text.lower()} ")]
    if several:
        verb = "is" if len(several) == 1 else "are"
        return Reply(False, f"There {verb} {listed(several)}: write which.")
    return unread(exercise, text)


def _reply_section(exercise: Exercise, text: str, label: int, right: frozenset[str]) -> Reply:
    facts = exercise.facts
    name = find_name(text, facts.song.sections["section"])
    if name is None:
        numbers = numbers_in(text)
        is_bar = len(numbers) == 1 and 1 <= numbers[0] <= len(facts.song.measures)
        if not is_bar or re.search(
            r"[a-z]", text.lower().replace("measure", "").replace("bar", "")
        ):
            return _which_section(exercise, text)
        name = facts.section_at(numbers[0])
    row = facts.finding(label)
    own = [each for each in _own(facts, label) if name in facts.sections(each)]
    if own:
        why = facts.finding(label if label in own else own[0])["why"]
        others = [each for each in facts.song.sections["section"] if each in right - {name}]
        more = (
            f" {listed(others)} {'has' if len(others) == 1 else 'have'} it too." if others else ""
        )
        return Reply(True, f"Yes. {why}{more}")
    parts = split_parts(row["parts"])
    sentence = first_up(heard(facts, parts, *facts.section_measures(name), row["kind"]))
    return Reply(False, f"Not in {name}. {sentence}.")
