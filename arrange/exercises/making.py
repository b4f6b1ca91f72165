"""Exercises made from a song, and their answers checked: every kind in one table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random
from typing import Any

from arrange.errors import ArrangeError
from arrange.exercises import (
    find_the_clash,
    fix_on_the_neck,
    guess_by_ear,
    name_its_kind,
    which_capo,
    which_layer,
)
from arrange.exercises.exercise import SIZES, Exercise, InWorkshop, NoExerciseError
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.tables.song import Song

# The ear first, before anybody looks.
_MODULES = (
    guess_by_ear, find_the_clash, name_its_kind, fix_on_the_neck, which_capo, which_layer,
)  # fmt: skip
_ASK: dict[str, Callable[[SongFacts, str, Random], Exercise]] = {
    each.KIND: each.ask for each in _MODULES
}
IN_WORKSHOP: dict[str, InWorkshop] = {each.KIND: each.IN_WORKSHOP for each in _MODULES}

KINDS = tuple(_ASK)


def make_exercises(
    song: Song | SongFacts,
    seed: int = 1,
    size: str = "small",
    kinds: Sequence[str] | None = None,
) -> tuple[Exercise, ...]:
    """Return exercises made from a song, one of each kind that it gives.

    Parameters
    ----------
    song : Song or SongFacts
        ``SongFacts(song)`` keeps what is known about a song, so that many exercises of one song are
        quick; ``SongFacts(song, limits)`` looks for findings by other limits.
    seed : int
        Another one, other exercises.
    size : str
        ``"small"``: choose among a few; ``"middle"``: find it yourself; ``"large"``: in the whole
        song, or with more to answer.
    kinds : sequence of str, optional
        Some of ``KINDS``, in the order wanted; else all.

    Returns
    -------
    tuple of Exercise
        Kinds that the song gives no exercise of are left out; ``missing_exercises`` says why.

    Raises
    ------
    ArrangeError
        If a kind or the size is unknown, or the song gives none at all.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> (capo,) = ar.make_exercises(song, seed=1, size="small", kinds=["which capo"])
    >>> capo.section, capo.choices
    ('Tune (2)', ('no capo', 'fret 1', 'fret 6', 'fret 7'))
    """
    return exercises_of(song, seed, size, kinds)[0]


def missing_exercises(song: Song | SongFacts) -> dict[str, str]:
    """Return the kinds that a song gives no exercise of, each with the reason.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/harbour-set/2-salt-on-the-step.txt")
    >>> ar.missing_exercises(song)["guess by ear"]
    'no two parts hold notes together that an ear could name'
    """
    return _made(song if isinstance(song, SongFacts) else SongFacts(song), 1, SIZES[0], KINDS)[1]


def exercises_of(
    song: Song | SongFacts,
    seed: int,
    size: str,
    kinds: Sequence[str] | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[tuple[Exercise, ...], dict[str, str]]:
    """Return the exercises of ``make_exercises``, and the kinds left out, each with the reason.

    `progress` is called with each step, in words, when it begins.
    """
    _check(size, kinds)
    facts = song if isinstance(song, SongFacts) else SongFacts(song)
    made, missing = _made(facts, seed, size, KINDS if kinds is None else kinds, progress)
    if not made:
        reasons = "; ".join(f"{kind}: {why}" for kind, why in missing.items())
        raise ArrangeError(f"this song gives no exercise. {reasons}")
    return made, missing


def _made(
    facts: SongFacts,
    seed: int,
    size: str,
    kinds: Sequence[str],
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[tuple[Exercise, ...], dict[str, str]]:
    made, missing = [], {}
    for number, kind in enumerate(kinds, 1):
        progress(f"making exercise {number} of {len(kinds)}: {kind}")
        try:
            made.append(_ASK[kind](facts, size, Random(f"{seed} {size} {kind}")))
        except NoExerciseError as error:
            missing[kind] = str(error)
    return tuple(made), missing


def _check(size: str, kinds: Sequence[str] | None) -> None:
    if size not in SIZES:
        raise ArrangeError(f"size={size!r}; it is one of {', '.join(map(repr, SIZES))}")
    if isinstance(kinds, str):
        raise ArrangeError(f"kinds={kinds!r}; give several, such as [{kinds!r}]")
    for kind in kinds or ():
        if kind not in KINDS:
            raise ArrangeError(f"no exercise is called {kind!r}; there are {', '.join(KINDS)}")
    if kinds is not None and not len(kinds):
        raise ArrangeError(f"kinds is empty; there are {', '.join(KINDS)}")


def check_answer(exercise: Exercise, answer: Any) -> Reply:
    """Return whether an answer is right, and what there is to learn from it.

    Parameters
    ----------
    exercise : Exercise
    answer : str, number or tuple
        As ``exercise.form`` says, or the letter of a choice. An answer that cannot be read gets a
        reply that says how to write it.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> (capo,) = ar.make_exercises(song, seed=1, size="small", kinds=["which capo"])
    >>> ar.check_answer(capo, capo.answer).right
    True
    >>> print(ar.check_answer(capo, "fret 12"))
    A capo at fret 12 leaves little neck; look from 0 to 7.
    """
    return exercise.check(answer)
