"""The exercises as a notebook: solved, which is the source, and the reader's copy of it."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from typing import Any

import nbformat
from nbformat import v4

from arrange.exercises.exercise import Exercise, lettered, wanted
from arrange.exercises.guess_by_ear import KIND as BY_EAR
from arrange.exercises.plan import missing_words
from arrange.text.markup import escape_markdown

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
        _words(
            f"# Workshop: {escape_markdown(title)}\n\n"
            "Write your answer into the cell that says `answer`, run it "
            "and the one below: it checks itself and says what there is to learn. A wrong answer "
            "gets the best replies. Turn your speakers down before you press play."
        ),
        _code(
            "import arrange as ar\n\n"
            f"song = ar.read({file!r})\n"
            f"exercises = ar.make_exercises(song, seed={seed}, size={size!r})\n"
            "len(exercises)"
        ),
    ]
    if missing:
        cells.append(_words(_listed(missing_words(missing))))
    for place, each in enumerate(exercises):
        cells += _exercise(place, each)
    cells.append(
        _words(
            "## What did we decide?\n\nOne change for the song, and why. `ar.record_decision` "
            "keeps it in a file beside the song."
        )
    )
    notebook = v4.new_notebook(
        cells=cells,
        metadata={
            "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
            "language_info": {"name": "python"},
        },
    )
    for number, cell in enumerate(notebook["cells"]):
        cell["id"] = f"cell-{number}"  # the same song gives the same bytes
    return notebook


def readers_copy(solved: Any) -> Any:
    """Return a copy of a solved notebook without its answers."""
    copied = copy.deepcopy(solved)
    for cell in copied["cells"]:
        if _ANSWER in cell["metadata"].get("tags", ()):
            cell["source"] = "answer = None"
    return copied


def notebook_bytes(notebook: Any) -> bytes:
    """Return a notebook as the bytes of its file, checked."""
    nbformat.validate(notebook)
    return (nbformat.writes(notebook) + "\n").encode()


def _exercise(place: int, exercise: Exercise) -> list[Any]:
    paragraphs = [
        f"## {place + 1}. {exercise.kind.capitalize()}",
        escape_markdown(exercise.question),
        _listed(lettered(exercise.choices)),
        f"Write {escape_markdown(wanted(exercise))}.",
    ]
    cells = [_words("\n\n".join(filter(None, paragraphs)))]
    if exercise.kind == BY_EAR:
        cells.append(_code(f"ar.exercise_sound(exercises[{place}])"))
    cells.append(_code(f"answer = {exercise.answer!r}", _ANSWER))
    cells.append(
        _code(
            f"reply = ar.check_answer(exercises[{place}], answer)\n"
            "assert reply.right, reply.text\n"
            "print(reply.text)"
        )
    )
    return cells


def _listed(items: Sequence[str]) -> str:
    """A Markdown list."""
    return "\n".join(f"- {escape_markdown(item)}" for item in items)


def _words(text: str) -> Any:
    return v4.new_markdown_cell(text)


def _code(text: str, *tags: str) -> Any:
    cell = v4.new_code_cell(text)
    if tags:
        cell["metadata"]["tags"] = list(tags)
    return cell
