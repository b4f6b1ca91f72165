"""Exercises made from any song, and the papers of a workshop.

Each kind has a file with ``KIND``, ``IN_WORKSHOP``, ``ask(facts, size, chance)`` and
``reply(exercise, answer)``. Every answer is checked on the song itself: a move is tried, a place is
looked up, the notes under a capo are counted. The reply is about that answer. The same song, seed
and size give the same exercises.
"""

from __future__ import annotations

from arrange.exercises.environment import check_environment
from arrange.exercises.exercise import SIZES, Exercise, Reply
from arrange.exercises.guess_by_ear import exercise_sound
from arrange.exercises.making import KINDS, check_answer, make_exercises, missing_exercises
from arrange.exercises.papers import workshop_papers
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
    "make_exercises",
    "missing_exercises",
    "workshop_papers",
]
