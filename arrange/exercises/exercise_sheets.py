"""The sheets of exercises, hints and answers, as blocks of a paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from arrange.clashes import KINDS
from arrange.exercises.exercise import Exercise, lettered
from arrange.exercises.exercise_sounds import is_whole_song, sound_words
from arrange.exercises.guess_by_ear import KIND as BY_EAR
from arrange.exercises.making import check_answer
from arrange.exercises.printed_bars import PrintedBars, printed_bars

SONG_SOUND = "workshop-song.flac"
WORDS_TITLE = "What the words mean"
_HOW_PRINTED = (
    "The bars are printed below the questions, and count as they are played: the first bar of a "
    "line has its number. Frets count from the nut; 0 is an open string, over a capo too."
)
_FIRST_WORDS = (
    ("finding", "a place to listen to, where parts may get in each other's way; no fault."),
    ("register", "how high or low notes lie: a stretch of pitch, such as from C3 to C4."),
)
_NO_BARS = PrintedBars([], "")


def has_own_sound(exercise: Exercise) -> bool:
    """Return whether an exercise has a sound file of its own."""
    return exercise.kind == BY_EAR or not (exercise.passage is None or is_whole_song(exercise))


def sound_name(number: int, exercise: Exercise) -> str:
    """Return the sound file of an exercise: its own or the song's; empty for none."""
    if has_own_sound(exercise):
        return f"workshop-sound-{number}.flac"
    return SONG_SOUND if exercise.passage else ""


def word_rows(exercises: Sequence[Exercise]) -> list[tuple[str, str]]:
    """Return the words that some exercises use, each explained: kinds of finding, and two more."""
    asked = {word for each in exercises for word in each.words}
    kinds = [(name, f"{kind.lane}; {kind.meaning}.") for name, kind in KINDS.items()
             if name in asked]  # fmt: skip
    return [*_FIRST_WORDS, *kinds] if kinds else []


def exercise_blocks(exercises: Sequence[Exercise]) -> list[dict[str, Any]]:
    """Return the sheet for guests: the words, then each question with its bars."""
    blocks: list[dict[str, Any]] = [{"kind": "text", "text": _HOW_PRINTED}]
    words = word_rows(exercises)
    if words:
        rows = [list(row) for row in words]
        blocks.append({"kind": "box", "title": WORDS_TITLE, "rows": rows})
    for number, each in enumerate(exercises, 1):
        bars = printed_bars(each)
        lines = _how(number, each)
        if bars.left_out:
            lines.append(("Bars:", bars.left_out))
        blocks.append(_block(number, each, lines, bars, blank=True))
    return blocks


def _how(number: int, exercise: Exercise) -> list[tuple[str, str]]:
    """What to listen to, and how a free answer is written."""
    name = sound_name(number, exercise)
    heard = sound_words(exercise) if name and name != SONG_SOUND else ""
    sound = [("Sound:", f"{name}{': ' if heard else ''}{heard}")] if name else []
    return sound + ([] if exercise.choices else [("Write", f"{exercise.form}.")])


def hint_blocks(exercises: Sequence[Exercise]) -> list[dict[str, Any]]:
    """Return the sheet of hints."""
    return [
        _block(number, each, [(f"Hint {n}.", hint) for n, hint in enumerate(each.hints, 1)])
        for number, each in enumerate(exercises, 1)
    ]


def right_words(exercise: Exercise) -> str:
    """Return a right answer, with its letter where there are choices."""
    right = dict(zip(exercise.choices, lettered(exercise.choices), strict=True))
    return right.get(exercise.answer, exercise.answer)


def answer_blocks(exercises: Sequence[Exercise]) -> list[dict[str, Any]]:
    """Return the answer sheet: the right answer and its reply, the reply to each wrong choice."""
    blocks = []
    for number, each in enumerate(exercises, 1):
        lines = [
            ("Answer:", right_words(each)),
            ("Why:", check_answer(each, each.answer).text),
        ]
        for choice, words in zip(each.choices, lettered(each.choices), strict=True):
            if choice != each.answer:
                lines.append((f"{words}:", check_answer(each, choice).text))
        blocks.append(_block(number, each, lines))
    return blocks


def _block(
    number: int,
    exercise: Exercise,
    lines: Sequence[tuple[str, str]],
    bars: PrintedBars = _NO_BARS,
    *,
    blank: bool = False,
) -> dict[str, Any]:
    return {
        "kind": "exercise", "number": number, "name": exercise.kind,
        "question": exercise.question, "choices": lettered(exercise.choices),
        "lines": [list(line) for line in lines], "bars": bars.rows, "blank": blank,
        "breakable": len(lines) > 4,
    }  # fmt: skip
