"""The exercises at the end of the lessons: one file for each lesson, in their order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

from arrange.errors import ArrangeError
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons import (
    a_whole_songbook,
    clashing_voicings,
    decisions_and_handouts,
    keeping_parts_apart,
    many_layers,
    on_the_neck,
    reading_a_song,
    register_and_range,
    sound_and_time,
    start_here,
    the_workshop,
    type_a_song,
)

LESSONS: dict[int, tuple[Callable[[], Exercise], ...]] = {
    1: start_here.EXERCISES,
    2: reading_a_song.EXERCISES,
    3: register_and_range.EXERCISES,
    4: clashing_voicings.EXERCISES,
    5: sound_and_time.EXERCISES,
    6: type_a_song.EXERCISES,
    7: on_the_neck.EXERCISES,
    8: keeping_parts_apart.EXERCISES,
    9: many_layers.EXERCISES,
    10: decisions_and_handouts.EXERCISES,
    11: the_workshop.EXERCISES,
    12: a_whole_songbook.EXERCISES,
}


@lru_cache(maxsize=64)
def lesson_exercise(lesson: int, number: int) -> Exercise:
    """Return an exercise at the end of a lesson: a question about its demo song.

    Parameters
    ----------
    lesson : int
        The lesson's number.
    number : int
        The exercise's number in it, from 1.

    Raises
    ------
    ArrangeError
        If there is no such lesson or exercise, or its demo song is not there.

    Examples
    --------
    >>> import arrange as ar
    >>> capo = ar.lesson_exercise(7, 1)
    >>> print(capo.check("2"))
    With the capo at 2 it sounds F#: each fret is a semitone more.
    """
    if lesson not in LESSONS:
        raise ArrangeError(f"there is no lesson {lesson!r}; they are 1 to {max(LESSONS)}")
    asked = LESSONS[lesson]
    if number not in range(1, len(asked) + 1):
        raise ArrangeError(
            f"lesson {lesson} has no exercise {number!r}; it has {len(asked)}, from 1"
        )
    made = asked[number - 1]()
    return replace(made, kind=f"lesson {lesson}, exercise {number}: {made.kind}")
