"""Questions of a lesson: exercises with a judge of their own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from random import Random
from typing import Any

from arrange.exercises.answers import find_name
from arrange.exercises.exercise import Exercise, read_answer, shuffled, unread
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.text.words import first_up

Judge = Callable[[str], Reply | None]
_WRONG = 3


def yes(text: str) -> Reply:
    """Return the reply to a right answer."""
    return Reply(True, f"Yes: {text}")


def no(text: str) -> Reply:
    """Return the reply to a wrong answer."""
    return Reply(False, first_up(text))


def question(
    facts: SongFacts, name: str, text: str, form: str, answer: str, hints: tuple[str, ...],
    judge: Judge,
) -> Exercise:  # fmt: skip
    """Return an exercise with a field.

    Parameters
    ----------
    facts : SongFacts
    name : str
        What it is about, in a few words.
    text, form, answer, hints
        As in ``Exercise``.
    judge : callable
        Gives the reply to an answer, or None if it cannot be read.
    """

    def reply(exercise: Exercise, given: Any) -> Reply:
        read = read_answer(exercise, given)
        return (judge(read) if read else None) or unread(exercise, read)

    measures = (1, len(facts.song.measures))
    return Exercise(
        name, "middle", text, form, (), answer, hints, "", measures, (), facts, reply
    )  # fmt: skip


def choice(
    facts: SongFacts, name: str, text: str, form: str, replies: Mapping[str, Reply],
    hints: tuple[str, ...],
) -> Exercise:  # fmt: skip
    """Return an exercise with at most four choices, one of them right.

    Parameters
    ----------
    replies : mapping of answer to Reply
        All answers that have a reply, in the order in which the choices stand.
    """
    right = [each for each, reply in replies.items() if reply.right]
    wrong = [each for each, reply in replies.items() if not reply.right]
    picked = shuffled(Random(name), right[0], wrong, _WRONG)

    def reply(exercise: Exercise, given: Any) -> Reply:
        read = read_answer(exercise, given)
        named = find_name(read, replies)
        return replies[named] if named else unread(exercise, read)

    return Exercise(
        name, "small", text, form, tuple(each for each in replies if each in picked), right[0],
        hints, "", (1, len(facts.song.measures)), (), facts, reply,
    )  # fmt: skip
