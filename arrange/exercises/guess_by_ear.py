"""Guess by ear before you look: an interval, or which of two takes has the clash.

What is heard is short and made from the song's own notes: two of a finding, held together; or the
parts of a finding in its first measures, once as written and once with one note moved.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from random import Random
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.clashes import KINDS
from arrange.exercises.answers import find_name, numbers_in
from arrange.exercises.exercise import (
    Exercise,
    InWorkshop,
    NoExerciseError,
    read_answer,
    shuffled,
    unread,
)
from arrange.exercises.finding_words import parts_words
from arrange.exercises.moved_note import MOST_TRIED, moved_note
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.tables.song import Song
from arrange.text.part_lists import split_parts
from arrange.text.words import counted
from arrange.theory.pitch import INTERVAL_NAMES, an_interval, interval_name

KIND = "guess by ear"
IN_WORKSHOP = InWorkshop(
    task="say what you hear before you see a note",
    how=(
        "Nobody looks. Play it twice, at the level of a talking voice; hands up for each choice, "
        "then check it."
    ),
)
_WIDEST = 16  # semitones that can be asked for by name
_WRONG = {"small": 2, "middle": 4}
_TAKES = ("the first take", "the second take")
_TAKES_SHARE = 0.5  # of exercises that are about two takes, where there are any
_NEAR_STEPS = 5  # semitones that a note is moved for the other take, at most
_PAIRS = 24  # findings from which intervals are taken
_MOST_QUARTERS = 4.0
_MOST_BARS = 2
_COLOURS = {
    0: "like one note, a little thicker", 1: "close and stinging, with fast beats",
    2: "close, with a slow rub",
    3: "soft and dark", 4: "soft and bright", 5: "open, a little tense", 6: "restless",
    7: "open and still", 8: "soft, wide and dark", 9: "soft, wide and bright",
    10: "open, as if it wanted to go on",
    11: "sharp, just short of an octave", 12: "like one note twice",
}  # fmt: skip  # common practice in ear training


# How musicians write an interval short: a large M is major, a small one minor (common practice).
_QUALITIES = {"M": "major", "maj": "major", "m": "minor", "min": "minor", "P": "", "p": "",
              "perf": "", "perfect": ""}  # fmt: skip
_PLACES = {"2": "second", "3": "third", "4": "fourth", "5": "fifth", "6": "sixth", "7": "seventh",
           "8": "octave", "9": "ninth", "10": "tenth"}  # fmt: skip
_SAME = {"augmented fourth": 6, "aug fourth": 6, "diminished fifth": 6, "dim fifth": 6, "tt": 6,
         "semitone": 1, "half step": 1, "tone": 2, "whole tone": 2, "whole step": 2}  # fmt: skip


class Take(NamedTuple):
    """What is played once: a song, the parts that are heard (None for all), the measures."""

    song: Song
    parts: Sequence[str] | None
    measures: tuple[int, int]


def ask(facts: SongFacts, size: str, chance: Random) -> Exercise:
    """Return an exercise of this kind.

    Raises
    ------
    NoExerciseError
        If no two parts hold notes together.
    """
    if size != "large" and chance.random() < _TAKES_SHARE:
        rows = facts.of_kinds(lambda kind: kind.can_be_heard).index.tolist()
        for label in chance.sample(rows, len(rows))[:MOST_TRIED]:
            take = facts.once(("take", label), partial(_take, facts, label))
            if take:
                return _ask_takes(facts, size, chance, take)
    pairs = facts.once("pairs", lambda: _pairs(facts))
    if not pairs:
        raise NoExerciseError("no two parts hold notes together that an ear could name")
    return _ask_interval(facts, size, chance, chance.choice(pairs))


def takes_of(exercise: Exercise) -> list[Take]:
    """Return what an exercise by ear plays, one after the other."""
    what, *case = exercise.case
    return _takes(exercise.facts, *case) if what == "takes" else _pair(exercise.facts, *case)


def _pairs(facts: SongFacts) -> list[tuple[int, int]]:
    """Labels of two notes of different parts that sound at once, a pair for each interval."""
    found: dict[int, tuple[int, int]] = {}
    notes = facts.song.notes
    for label in facts.findings.index[:_PAIRS]:
        own = facts.notes(label)
        own = own[own["pitch"].notna() & (own["duration"] > 0)].head(40)
        rows = list(zip(own.index, own["part"], own["pitch"], own["onset"],
                        own["onset"] + own["duration"], strict=True))  # fmt: skip
        for place, (one, part, pitch, begin, end) in enumerate(rows):
            for other, part_b, pitch_b, begin_b, end_b in rows[place + 1 :]:
                size = abs(pitch - pitch_b)
                together = min(end, end_b) - max(begin, begin_b)
                if part != part_b and together >= 1 and size <= _WIDEST and size == int(size):
                    found.setdefault(int(size), (one, other))
    labels = set(notes.index)
    return [pair for pair in found.values() if set(pair) <= labels]


def _ask_interval(facts: SongFacts, size: str, chance: Random, pair: tuple[int, int]) -> Exercise:
    rows = facts.song.notes.loc[list(pair)]
    semitones = int(abs(rows["pitch"].iloc[0] - rows["pitch"].iloc[1]))
    answer = interval_name(semitones)
    choices: tuple[str, ...] = ()
    if size in _WRONG:
        near = 2 if size == "small" else 1
        wrong = [name for n, name in enumerate(INTERVAL_NAMES) if abs(n - semitones) >= near]
        picked = shuffled(chance, answer, wrong, _WRONG[size])
        choices = tuple(sorted(picked, key=INTERVAL_NAMES.index))
    bar = int(rows["measure"].max())
    question = (
        f"Listen to one note of {rows['part'].iloc[0]} and one of {rows['part'].iloc[1]}, which "
        f"sound together ({facts.section_at(bar)}, measure {bar}). Which interval is it?"
    )
    low, high = sorted(rows["pitch"])
    hints = (
        f"What others hear in it: {_COLOURS[semitones % 12 if semitones != 12 else 12]}.",
        f"The lower note is {facts.name(low)}, the upper {facts.name(high)}: count.",
    )
    return Exercise(
        KIND, size, question, "the name of an interval or its semitones, such as major third or 4",
        choices, answer, hints, facts.section_at(bar), (bar, bar), ("interval", pair), facts, reply,
    )  # fmt: skip


def _pair(facts: SongFacts, pair: tuple[int, int]) -> list[Take]:
    """Two notes from where both sound, for a measure at most."""
    notes = facts.song.notes.loc[list(pair)]
    begin = notes["onset"].max()
    end = min((notes["onset"] + notes["sounds"]).min(), begin + _MOST_QUARTERS)
    bar = facts.measures_of(begin, begin)[0]
    held = notes.assign(
        onset=begin, duration=end - begin, measure=bar, section=facts.section_at(bar)
    )
    return [Take(replace(facts.song, notes=held), None, (bar, bar))]


def _take(facts: SongFacts, label: int) -> tuple[int, str, float, int] | None:
    """Finding, part, pitch and semitones of a move that ends a finding and brings nothing new."""
    own = facts.notes(label)
    for part in split_parts(facts.finding(label)["parts"]):
        pitches = sorted(set(own["pitch"][own["part"] == part]))
        if part not in facts.fretted or len(pitches) != 1:
            continue
        note = moved_note(facts, label, part, float(pitches[0]))
        steps = [n for n in range(-_NEAR_STEPS, _NEAR_STEPS + 1) if n]
        tried = note.outcomes(steps)
        good = [n for n in steps if tried[n].ends and not tried[n].brings
                and note.in_chord(note.pitch + n) is not False]  # fmt: skip
        if good:
            return label, part, float(pitches[0]), min(good, key=abs)
    return None


def _ask_takes(
    facts: SongFacts, size: str, chance: Random, case: tuple[int, str, float, int]
) -> Exercise:
    label, part, pitch, semitones = case
    row = facts.finding(label)
    order = chance.randrange(2)
    bars = sorted(facts.measures(label))[:_MOST_BARS]
    parts = parts_words(row["parts"])
    question = (
        f"Listen to two takes of {row['section']}, measure {bars[0]}: {parts}, once as written and "
        f"once with one note of {part} moved. In which take is the {KINDS[row['kind']].noun}?"
        if size == "small"
        else f"Listen to two takes of {row['section']}, measure {bars[0]}: {parts}. In one of them "
        "a note is moved so that a clash ends. Which take has the clash?"
    )
    name, to = facts.name(pitch), facts.name(pitch + semitones)
    hints = (
        "Listen to the held notes, not to the attacks: does it beat, sting or boom?",
        f"One has {name}, the other {to}, in {part}.",
    )
    return Exercise(
        KIND, size, question, "first or second", _TAKES, _TAKES[order], hints, row["section"],
        (bars[0], bars[0]), ("takes", label, part, pitch, semitones, order), facts, reply,
        words=(row["kind"],) if size == "small" else (),
    )  # fmt: skip


def _takes(
    facts: SongFacts, label: int, part: str, pitch: float, semitones: int, order: int
) -> list[Take]:
    """The parts of a finding as written and with one note moved, in the order of the answer."""
    note = moved_note(facts, label, part, pitch)
    notes = facts.song.notes
    moved = pd.Series(notes.index.isin(note.rows), index=notes.index)
    mended = replace(facts.song, notes=notes.assign(pitch=notes["pitch"] + semitones * moved))
    bar = min(facts.measures(label))
    parts = split_parts(facts.finding(label)["parts"])
    takes = [Take(song, parts, (bar, bar)) for song in (facts.song, mended)]
    return takes if order == 0 else takes[::-1]


def reply(exercise: Exercise, answer: Any) -> Reply:
    """Return the reply to an answer."""
    text = read_answer(exercise, answer)
    what, *case = exercise.case
    if what == "takes":
        return _reply_takes(exercise, text.lower(), case)
    semitones = _semitones(text)
    if semitones is None:
        return unread(exercise, text)
    facts, rows = exercise.facts, exercise.facts.song.notes.loc[list(case[0])]
    low, high = sorted(rows["pitch"])
    right = round(high - low)
    names = f"{facts.name(low)} and {facts.name(high)}"
    if semitones == right:
        return Reply(True, f"Yes, {an_interval(right)}: {names}; {_colour(right)}.")
    if semitones % 12 == right % 12:
        wider = "farther apart" if right > semitones else "closer together"
        return Reply(
            False,
            f"The letters of the notes are right, but they lie {wider}, by "
            f"{an_interval(right - semitones)}. Sing from one to the other.",
        )
    wider = "wider" if semitones > right else "closer"
    far = abs(semitones - right)
    return Reply(
        False,
        f"{an_interval(semitones).capitalize()} is {wider} than what you heard, by "
        f"{counted(far, 'semitone')}: it would sound {_colour(semitones)}.",
    )


def _colour(semitones: int) -> str:
    return _COLOURS[12 if semitones == 12 else semitones % 12]


def _semitones(text: str) -> int | None:
    text = re.sub(r"^an? ", "", text.strip(), flags=re.IGNORECASE)
    full = _in_full(text)
    named = find_name(full, INTERVAL_NAMES)
    if named or full in _SAME:
        return INTERVAL_NAMES.index(named) if named else _SAME[full]
    text = text.lower()
    numbers = numbers_in(text.removesuffix(" semitones").removesuffix(" semitone"))
    is_number = len(numbers) == 1 and text.split()[0] == str(numbers[0])
    return numbers[0] if is_number and numbers[0] <= 2 * _WIDEST else None


def _in_full(text: str) -> str:
    """Return an interval written short, such as ``"m3"``, ``"min 3rd"`` or ``"P4"``, in full."""
    words = re.findall(r"\d+(?:nd|rd|th)?|[A-Za-z]+", text)
    full = []
    for word in words:
        place = _PLACES.get(word.rstrip("ndrth")) if word != words[0] or len(word) > 1 else None
        known = _QUALITIES.get(word, _QUALITIES.get(word.lower()) if len(word) > 1 else None)
        full.append(next(each for each in (place, known, word.lower()) if each is not None))
    return " ".join(each for each in full if each)


def _reply_takes(exercise: Exercise, text: str, case: list[Any]) -> Reply:
    label, part, pitch, semitones, order = case
    words = set(text.replace("1st", "first").replace("2nd", "second").split())
    said = [n for n, names in enumerate((("first", "1"), ("second", "2"))) if words & {*names}]
    if len(said) != 1:
        return unread(exercise, text)
    facts = exercise.facts
    row = facts.finding(label)
    name, to = facts.name(pitch), facts.name(pitch + semitones)
    if said[0] == order:
        return Reply(
            True, f"Yes. {row['why']} In the other take {part} has {to} instead of {name}."
        )
    other = np.array(["second", "first"])[said[0]]
    noun = KINDS[row["kind"]].noun
    return Reply(
        False,
        f"In that take {part} has {to} instead of {name}, and the {noun} is gone. Listen to the "
        f"{other} again, to the held notes.",
    )
