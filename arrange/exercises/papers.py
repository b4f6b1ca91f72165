"""All papers of a workshop, from a song and a seed."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from arrange.errors import ArrangeError
from arrange.exercises.exercise import Exercise, lettered
from arrange.exercises.guess_by_ear import KIND as BY_EAR
from arrange.exercises.guess_by_ear import exercise_sound
from arrange.exercises.making import check_answer, exercises_of
from arrange.exercises.notebooks import notebook_bytes, readers_copy, solved_notebook
from arrange.exercises.plan import handout_blocks, plan_blocks
from arrange.formats.files import check_folder, read_bytes, whole_files
from arrange.formats.reading import read
from arrange.handouts.typesetting import PAPERS, Typeset, query_template
from arrange.sound import write_sound
from arrange.text.letters import readable

_SIZE = 11.0  # points
_ONE_PAGE_SIZES = (10.5, 10.0, 9.5, 9.0, 8.5, 8.0, 7.5)  # the largest that fits
_LONGEST_FOOT = 60


def workshop_papers(
    path: str | os.PathLike[str],
    folder: str | os.PathLike[str],
    *,
    seed: int = 1,
    size: str = "small",
    overwrite: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Path, ...]:
    """Write what a workshop on a song needs into a folder.

    A copy of the song; ``workshop-solved.ipynb``, the source, and ``workshop.ipynb``, the reader's
    copy without the answers; the exercise, hint and answer sheets and the leader's plan for sixty
    minutes as PDF on A4; a one-page handout on A4 and on Letter; a sound for each exercise by ear.

    Parameters
    ----------
    path : path
        The song's file.
    folder : path
        Made if it is not there; other files in it stay.
    seed, size
        As for ``make_exercises``.
    overwrite : bool
        Replace notebooks that are there, and what somebody wrote into them.
    progress : callable
        Called with each step, in words, when it begins.

    Returns
    -------
    tuple of Path

    Raises
    ------
    ArrangeError
        If the song cannot be read or gives no exercise, a notebook that is there differs, or the
        folder cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     papers = ar.workshop_papers("datasets/tarrow-weir.txt", folder)
    >>> [path.name for path in papers[:3]]
    ['tarrow-weir.txt', 'workshop.ipynb', 'workshop-solved.ipynb']
    """
    path, folder = Path(path), Path(folder)
    check_folder(folder)
    progress("reading")
    song = read(path)
    exercises, missing = exercises_of(song, seed, size, progress=progress)
    progress("printing and writing")
    title = song.title or readable(path.stem)
    solved = solved_notebook(title, path.name, seed, exercises, missing)
    mine = {
        path.name: read_bytes(path),
        "workshop.ipynb": notebook_bytes(readers_copy(solved)),
        "workshop-solved.ipynb": notebook_bytes(solved),
    }
    if not overwrite:
        _check_kept(folder, mine)
    sheets = {
        "exercises": ("Exercises", _exercise_blocks(exercises)),
        "hints": ("Hints", _hint_blocks(exercises)),
        "answers": ("Answers", _answer_blocks(exercises)),
        "plan": ("Leader's plan", plan_blocks(exercises, missing)),
    }
    files = mine | {
        f"workshop-{word}.pdf": print_paper(title, name, blocks)
        for word, (name, blocks) in sheets.items()
    }
    for paper in PAPERS:
        page = print_page(title, "To take home", handout_blocks(song, exercises), paper)
        files[f"workshop-handout-{paper}.pdf"] = page
    sounds = {
        _sound_name(number): exercise_sound(each)
        for number, each in enumerate(exercises, 1) if each.kind == BY_EAR
    }  # fmt: skip
    with whole_files(folder) as draft:
        for name, data in files.items():
            if not _is_same(folder / name, data):
                (draft / name).write_bytes(data)
        for name, sound in sounds.items():
            write_sound(sound, draft / name)
    return tuple(folder / name for name in (*files, *sounds))


def _check_kept(folder: Path, files: dict[str, bytes]) -> None:
    """Raise an ArrangeError if a file that somebody wrote in would be lost."""
    for name, data in files.items():
        there = folder / name
        if there.is_file() and not _is_same(there, data):
            raise ArrangeError(
                f"{there} is there already and differs; name another folder, or overwrite it"
            )


def _is_same(path: Path, data: bytes) -> bool:
    """Whether a file is there and holds these bytes."""
    return path.is_file() and path.read_bytes() == data


def print_paper(
    title: str, name: str, blocks: Sequence[Any], paper: str = "A4", size: float = _SIZE
) -> bytes:
    """Return a paper as PDF."""
    return Typeset(_template(), _data(title, name, blocks, paper, size)).pdf()


def print_page(title: str, name: str, blocks: Sequence[Any], paper: str) -> bytes:
    """Return a paper as PDF on one page, in the largest type that fits.

    Raises
    ------
    ArrangeError
        If it does not fit in legible type.
    """
    for size in _ONE_PAGE_SIZES:
        data = _data(title, name, blocks, paper, size)
        if json.loads(query_template(_template(), "pages", data)) == 1:
            return Typeset(_template(), data).pdf()
    raise ArrangeError(f"{name!r} does not fit on one page of {paper} in legible type")


def _data(title: str, name: str, blocks: Sequence[Any], paper: str, size: float) -> dict[str, Any]:
    foot = f"{title}, {name}"
    if len(foot) > _LONGEST_FOOT:
        foot = f"{title[: _LONGEST_FOOT - len(name) - 3].rstrip()}…, {name}"
    return {"title": title, "name": name, "paper": PAPERS[paper][2], "size": size,
            "foot": foot, "blocks": list(blocks)}  # fmt: skip


def _exercise_blocks(exercises: Sequence[Exercise]) -> list[dict[str, Any]]:
    return [
        _block(number, each, _how(number, each), blank=True)
        for number, each in enumerate(exercises, 1)
    ]


def _how(number: int, exercise: Exercise) -> list[tuple[str, str]]:
    """What to listen to, and how a free answer is written."""
    sound = [("Sound:", _sound_name(number))] if exercise.kind == BY_EAR else []
    return sound + ([] if exercise.choices else [("Write", f"{exercise.form}.")])


def _sound_name(number: int) -> str:
    return f"workshop-sound-{number}.wav"


def _hint_blocks(exercises: Sequence[Exercise]) -> list[dict[str, Any]]:
    return [
        _block(number, each, [(f"Hint {n}.", hint) for n, hint in enumerate(each.hints, 1)])
        for number, each in enumerate(exercises, 1)
    ]


def _answer_blocks(exercises: Sequence[Exercise]) -> list[dict[str, Any]]:
    """The right answer and its reply, and the reply to each wrong choice."""
    blocks = []
    for number, each in enumerate(exercises, 1):
        right = dict(zip(each.choices, lettered(each.choices), strict=True))
        lines = [
            ("Answer:", right.get(each.answer, each.answer)),
            ("Why:", check_answer(each, each.answer).text),
        ]
        for choice, words in right.items():
            if choice != each.answer:
                lines.append((f"{words}:", check_answer(each, choice).text))
        blocks.append(_block(number, each, lines))
    return blocks


def _block(
    number: int, exercise: Exercise, lines: Sequence[tuple[str, str]], *, blank: bool = False
) -> dict[str, Any]:
    return {
        "kind": "exercise", "number": number, "name": exercise.kind, "question": exercise.question,
        "choices": lettered(exercise.choices), "lines": [list(line) for line in lines],
        "blank": blank, "breakable": len(lines) > 4,
    }  # fmt: skip


@cache
def _template() -> bytes:
    return (Path(__file__).parent / "paper.typ").read_bytes()
