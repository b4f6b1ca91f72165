"""Exercises made from any song, and the papers of a workshop.

Each kind has a file with ``KIND``, ``IN_WORKSHOP``, ``ask(facts, size, chance)`` and
``reply(exercise, answer)``; ``lessons/`` has the questions at the end of each lesson. A notebook
shows an exercise with a field or choices, and buttons (``asking``). Every answer is checked on the
song itself: a move is tried, a place is looked up, the notes under a capo are counted. The reply is
about that answer. The same song, seed and size give the same exercises.
"""

from __future__ import annotations

from arrange.exercises.environment import check_environment
from arrange.exercises.exercise import SIZES, Exercise
from arrange.exercises.exercise_sounds import exercise_sound
from arrange.exercises.lessons import lesson_exercise
from arrange.exercises.making import KINDS, check_answer, make_exercises, missing_exercises
from arrange.exercises.papers import workshop_papers
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts

__all__ = [
    "KINDS",
    "SIZES",
    "Exercise",
    "Reply",
    "SongFacts",
    "check_answer",
    "check_environment",
    "exercise_sound",
    "lesson_exercise",
    "make_exercises",
    "missing_exercises",
    "workshop_papers",
]
