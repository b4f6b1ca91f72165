"""The exercises as a notebook: with the solutions, and the reader's copy without them."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from typing import Any

from arrange.exercises.exercise import Exercise
from arrange.exercises.exercise_sheets import SONG_SOUND, WORDS_TITLE, has_own_sound, word_rows
from arrange.exercises.exercise_sounds import song_once_words
from arrange.exercises.plan import missing_words
from arrange.text.markup import escape_markdown
from arrange.text.notebook_file import code_cell, notebook_of, notebook_text, words_cell

_ANSWER = "answer"  # the tag of cells that the reader's copy leaves out


def solved_notebook(
    title: str, file: str, seed: int, exercises: Sequence[Exercise], missing: dict[str, str]
) -> Any:
    """Return the solved notebook.

    Parameters
    ----------
    title : str
        Of the song.
    file : str
        Name of the song's file, which lies beside the notebook.
    seed : int
    exercises : sequence of Exercise
    missing : dict of kind to reason
        What the song gives no exercise of.
    """
    size = exercises[0].size
    cells = [
        words_cell(
            f"# Workshop: {escape_markdown(title)}\n\n"
            "Choose *Run All Cells* in the menu *Run*, and wait some seconds. Then choose or type "
            "an answer and press *Check*, or the Enter key in a field: the reply says what there "
            "is to learn, and a wrong answer gets the best ones. *Hint* helps, *Show* gives a "
            "right answer and the reason. Turn your speakers down before you press play. The bars "
            "that a question is about are printed in workshop-exercises-A4.pdf, beside this "
            "notebook."
        ),
        code_cell(
            "import arrange as ar\n\n"
            f"song = ar.read({file!r})\n"
            f"exercises = ar.make_exercises(song, seed={seed}, size={size!r})\n"
            "len(exercises)"
        ),
    ]
    if missing:
        cells.append(words_cell(_listed(missing_words(missing))))
    cells.append(words_cell(_song_once(exercises)))
    words = [f"**{kind}**: {text}" for kind, text in word_rows(exercises)]
    if words:
        listing = "\n".join(f"- {each}" for each in words)
        cells.append(words_cell(f"## {WORDS_TITLE}\n\n{listing}"))
    for place, each in enumerate(exercises):
        cells += _exercise(place, each)
    cells.append(
        words_cell(
            "## What did we decide?\n\nOne change for the song, and why: write it on the page to "
            "take home (workshop-handout-A4.pdf, beside this notebook)."
        )
    )
    return notebook_of(cells)


def readers_copy(solved: Any) -> Any:
    """Return a copy of a solved notebook without its answers."""
    copied = copy.deepcopy(solved)
    copied["cells"] = [
        cell for cell in copied["cells"] if _ANSWER not in cell["metadata"].get("tags", ())
    ]
    return copied


def notebook_bytes(notebook: Any) -> bytes:
    """Return a notebook as the bytes of its file."""
    return notebook_text(notebook).encode()


def _song_once(exercises: Sequence[Exercise]) -> str:
    """A player for the file of the song, which is too long to stand in the notebook itself."""
    words = escape_markdown(song_once_words(exercises[0].facts.song))
    return (
        f"## The song, once\n\nHere is {words}. Where do the guitars sit on top of each other? "
        f'Nobody answers yet.\n\n<audio controls src="{SONG_SOUND}"></audio>\n\n'
        f"(The file {SONG_SOUND}, beside this notebook.)"
    )


def _exercise(place: int, exercise: Exercise) -> list[Any]:
    cells = [words_cell(f"## {place + 1}. {exercise.kind.capitalize()}")]
    if has_own_sound(exercise):
        cells.append(code_cell(f"ar.exercise_sound(exercises[{place}])"))
    cells.append(code_cell(f"exercises[{place}]"))
    cells.append(code_cell(f"exercises[{place}].solution()", _ANSWER))
    return cells


def _listed(items: Sequence[str]) -> str:
    """A Markdown list."""
    return "\n".join(f"- {escape_markdown(item)}" for item in items)
