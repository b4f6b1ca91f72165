"""An exercise: what it asks, how an answer is read, and how it shows itself."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from arrange.errors import ArrangeError, shown
from arrange.exercises.answers import answer_text, find_name, plain_signs
from arrange.exercises.asking import PRINTED, AnswerForm
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.text.markup import NO_FORMULAS, escape_html
from arrange.text.words import first_up

SIZES = ("small", "middle", "large")


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
class Passage:
    """Bars that a question is about: printed on the sheets of a workshop, and heard.

    Parameters
    ----------
    parts : tuple of str
    stretches : tuple of (int, int)
        First and last played measure of each, in the order of the question.
    has_frets : bool
        Whether strings and frets may be printed; they would give a capo away.
    """

    parts: tuple[str, ...]
    stretches: tuple[tuple[int, int], ...]
    has_frets: bool = True


@dataclass(frozen=True)
class Exercise:
    """One question about a song. A notebook shows it with a field or choices, and buttons.

    Parameters
    ----------
    kind : str
        One of ``KINDS``, or the lesson that asks it.
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
    reply : callable
        Called with the exercise and an answer, gives the ``Reply``.
    passage : Passage, optional
        The bars that the question is about, unless they would give the answer away.
    words : tuple of str
        Kinds of finding that the question or its choices name.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> (capo,) = ar.make_exercises(song, seed=1, size="small", kinds=["which capo"])
    >>> print(capo.check("12"))
    A capo at fret 12 leaves little neck; look from 0 to 7.
    """

    kind: str
    size: str
    question: str
    form: str
    choices: tuple[str, ...]
    answer: str = field(repr=False)
    hints: tuple[str, ...] = field(repr=False)
    section: str
    measures: tuple[int, int]
    case: tuple[Any, ...] = field(repr=False)
    facts: SongFacts = field(repr=False, compare=False)
    reply: Callable[[Exercise, Any], Reply] = field(repr=False, compare=False)
    passage: Passage | None = field(default=None, repr=False)
    words: tuple[str, ...] = field(default=(), repr=False)

    def check(self, answer: Any) -> Reply:
        """Return whether an answer is right, and what there is to learn from it.

        Parameters
        ----------
        answer : str, number or tuple
            As ``form`` says, or the letter of a choice. An answer that cannot be read gets a reply
            that says how to write it.
        """
        if isinstance(answer, float) and answer.is_integer():
            answer = int(answer)
        if isinstance(answer, float):
            return Reply(False, f'{shown(answer)} is a number worked out by Python. Put quotation '
                                f'marks around your answer, such as check("2/5"), and write '
                                f"{wanted(self)}.")  # fmt: skip
        return self.reply(self, answer)

    def solution(self) -> Reply:
        """Return a right answer and the reason."""
        right = dict(zip(self.choices, lettered(self.choices), strict=True))
        answer = right.get(self.answer, self.answer)
        return Reply(True, f"{answer}. {self.check(self.answer)}", "An answer")

    def __str__(self) -> str:
        write = first_up(wanted(self))
        lines = [f"{first_up(self.kind)}. {self.question}", *lettered(self.choices)]
        return "\n".join([*lines, f'Answer by exercise.check("..."). {write}.'])

    @cached_property
    def answer_form(self) -> AnswerForm:
        """The field, the buttons and the reply: the same each time, so that what is typed stays."""
        choices = [*zip(lettered(self.choices), self.choices, strict=True)]
        return AnswerForm(self._task_html(), choices, self.hints, self.check, self.solution)

    def _task_html(self) -> str:
        how = "" if self.choices else f"<p>Write {escape_html(wanted(self))}.</p>"
        title = f"<p><strong>{escape_html(first_up(self.kind))}</strong></p>"
        return f"{title}<p>{escape_html(self.question)}</p>{how}"

    def _repr_html_(self) -> str:
        """The text that stands where there are no widgets, such as on paper."""
        choices = "".join(f"<li>{escape_html(each)}</li>" for each in lettered(self.choices))
        how = f'Answer by <code>exercise.check("...")</code>, with {escape_html(wanted(self))}.'
        listing = f"<ul>{choices}</ul>" if choices else ""
        classes = f"{PRINTED} {NO_FORMULAS}"
        return f'<div class="{classes}">{self._task_html()}{listing}<p>{how}</p></div>'

    def _ipython_display_(self) -> None:
        self.answer_form.display({"text/plain": str(self), "text/html": self._repr_html_()})


def read_answer(exercise: Exercise, answer: Any) -> str:
    """Return an answer as text: a letter becomes its choice, a tuple its words; "" for none."""
    whole = answer_text((answer,)) if isinstance(answer, str) else answer_text(answer)
    for text in (" ".join(str(answer).split()), whole):
        if text in exercise.choices:
            return text
    letter = re.fullmatch(r"(?:answer |choice )?\(?([a-z])[).:]?", whole.lower())
    if letter and ord(letter[1]) - 97 < len(exercise.choices):
        return exercise.choices[ord(letter[1]) - 97]
    text = re.sub(r"^([a-z])\) ", "", whole) if exercise.choices else whole
    return find_name(text, exercise.choices) or plain_signs(text).rstrip(".!")


def unread(exercise: Exercise, text: str) -> Reply:
    """Return the reply to an answer that cannot be read."""
    problem = f"{shown(text)} cannot be read as an answer" if text else "No answer yet"
    return Reply(False, f"{problem}: write {wanted(exercise)}.")


def wanted(exercise: Exercise) -> str:
    """Return what an answer looks like."""
    letters = ", ".join(chr(97 + n) for n in range(len(exercise.choices)))
    return f"a letter ({letters}) or {exercise.form}" if letters else exercise.form


def shuffled(chance: Any, right: str, wrong: Sequence[str], most: int) -> tuple[str, ...]:
    """Return the right choice and at most so many wrong ones, in a random order."""
    others = list(dict.fromkeys(each for each in wrong if each != right))
    picked = [right, *chance.sample(others, min(most, len(others)))]
    chance.shuffle(picked)
    return tuple(picked)


def lettered(choices: Sequence[str]) -> list[str]:
    """Return choices with their letters: ``"a) measure 22"``."""
    return [f"{chr(97 + place)}) {choice}" for place, choice in enumerate(choices)]
