"""An exercise, a reply, and how an answer is read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from arrange.errors import ArrangeError
from arrange.exercises.song_facts import SongFacts

SIZES = ("small", "middle", "large")
_LONGEST = 200  # letters of an answer


class NoExerciseError(ArrangeError):
    """A song gives no exercise of a kind; the message says why."""


@dataclass(frozen=True)
class InWorkshop:
    """What the papers of a workshop say about a kind of exercise.

    Parameters
    ----------
    task : str
        The task, for the page to take home.
    how : str
        How ten people with one projector do it, for the leader's plan.
    share : int
        How much of the time it gets; most kinds get 1.
    """

    task: str
    how: str
    share: int = 1


@dataclass(frozen=True)
class Exercise:
    """One question about a song.

    Parameters
    ----------
    kind : str
        One of ``KINDS``.
    size : str
        ``"small"`` with choices, ``"middle"``, or ``"large"`` with nothing to choose from and
        more to answer.
    question : str
    form : str
        How an answer is written, with an example.
    choices : tuple of str
        One of them is right. Empty where the answer is free.
    answer : str
        A right answer.
    hints : tuple of str
        Each gives away more than the one before.
    section : str
        Where in the song. Empty where the question asks for it.
    measures : (int, int)
        First and last played measure to look at.
    case : tuple
        What the checker needs beside the song.
    facts : SongFacts
        The song, and what is known about it.
    """

    kind: str
    size: str
    question: str
    form: str
    choices: tuple[str, ...]
    answer: str
    hints: tuple[str, ...]
    section: str
    measures: tuple[int, int]
    case: tuple[Any, ...] = field(repr=False)
    facts: SongFacts = field(repr=False, compare=False)


@dataclass(frozen=True)
class Reply:
    """The reply to an answer: whether it is right, and a sentence or two that teach."""

    right: bool
    text: str

    def __str__(self) -> str:
        return self.text


def read_answer(exercise: Exercise, answer: Any) -> str:
    """Return an answer as text: a letter becomes its choice, a tuple its words; "" for none."""
    if answer is None:
        return ""
    parts = answer if isinstance(answer, tuple | list) else [answer]
    text = " ".join(" ".join(str(part) for part in parts).split())[:_LONGEST]
    if text in exercise.choices:
        return text
    letter = re.fullmatch(r"\(?([a-z])[).]?", text.lower())
    if letter and ord(letter[1]) - 97 < len(exercise.choices):
        return exercise.choices[ord(letter[1]) - 97]
    return text.rstrip(".!")


def unread(exercise: Exercise, text: str) -> Reply:
    """Return the reply to an answer that cannot be read."""
    problem = f"{text[:40]!r} cannot be read as an answer" if text else "No answer yet"
    return Reply(False, f"{problem}: write {wanted(exercise)}.")


def wanted(exercise: Exercise) -> str:
    """Return what an answer looks like."""
    letters = ", ".join(chr(97 + n) for n in range(len(exercise.choices)))
    return f"a letter ({letters}) or {exercise.form}" if letters else exercise.form


def numbers_in(text: str) -> list[int]:
    """Return the whole numbers that stand alone in a text, not those of note names."""
    apart = re.sub(r"\b(?:m|bar|measure|fret|capo)(?=\d)", "", text.lower())
    return [int(each) for each in re.findall(r"(?<![\w#.-])\d{1,6}(?![\w.])", apart)]


def shuffled(chance: Any, right: str, wrong: Sequence[str], most: int) -> tuple[str, ...]:
    """Return the right choice and at most so many wrong ones, in a random order."""
    others = list(dict.fromkeys(each for each in wrong if each != right))
    picked = [right, *chance.sample(others, min(most, len(others)))]
    chance.shuffle(picked)
    return tuple(picked)


def lettered(choices: Sequence[str]) -> list[str]:
    """Return choices with their letters: ``"a) measure 22"``."""
    return [f"{chr(97 + place)}) {choice}" for place, choice in enumerate(choices)]
