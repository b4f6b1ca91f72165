"""All papers of a workshop, from a song and a seed."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from arrange.errors import ArrangeError
from arrange.exercises.exercise_sheets import (
    SONG_SOUND,
    answer_blocks,
    exercise_blocks,
    has_own_sound,
    hint_blocks,
    sound_name,
)
from arrange.exercises.exercise_sounds import exercise_sound, song_once
from arrange.exercises.making import exercises_of
from arrange.exercises.notebooks import notebook_bytes, readers_copy, solved_notebook
from arrange.exercises.plan import START_PAGE, handout_blocks, plan_blocks
from arrange.exercises.start_page import start_blocks
from arrange.formats.files import check_folder, read_bytes, whole_files
from arrange.formats.reading import read
from arrange.handouts.page_setup import breakable
from arrange.handouts.typesetting import PAPERS, Typeset, query_template
from arrange.sound import render_sound, write_sound
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

    A page that says what each file is and in which order it is used; the leader's plan for sixty
    minutes, the hint and the answer sheet as PDF on A4; the exercise sheet, with the bars that it
    asks about, and a page to take home on A4 and on Letter; the song as sound, and a sound for each
    exercise about a passage; a copy of the song; ``workshop-solved.ipynb``, the source, and
    ``workshop.ipynb``, the guests' copy without the answers. Nothing of it needs a network.

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
    title = song.title or readable(path.stem)
    progress("making the sounds")
    sounds = {SONG_SOUND: render_sound(song, measures=song_once(song))} | {
        sound_name(number, each): exercise_sound(each)
        for number, each in enumerate(exercises, 1) if has_own_sound(each)
    }  # fmt: skip
    progress("printing and writing")
    solved = solved_notebook(title, path.name, seed, exercises, missing)
    mine = {
        path.name: read_bytes(path),
        "workshop.ipynb": notebook_bytes(readers_copy(solved)),
        "workshop-solved.ipynb": notebook_bytes(solved),
    }
    if not overwrite:
        _check_kept(folder, mine)
    sheets = {
        "workshop-plan.pdf": ("Leader's plan", plan_blocks(exercises, missing)),
        "workshop-hints.pdf": ("Hints", hint_blocks(exercises)),
        "workshop-answers.pdf": ("Answers", answer_blocks(exercises)),
    }
    files = mine | {file: print_paper(title, *sheet) for file, sheet in sheets.items()}
    asked, taken = exercise_blocks(exercises), handout_blocks(song, exercises)
    start = start_blocks(path.name, exercises)
    files[START_PAGE] = print_page(title, "Read me first", start, "A4")
    for paper in PAPERS:
        files[f"workshop-exercises-{paper}.pdf"] = print_paper(title, "Exercises", asked, paper)
        files[f"workshop-handout-{paper}.pdf"] = print_page(title, "To take home", taken, paper)
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
    data = {"title": title, "name": name, "paper": PAPERS[paper][2], "size": size,
            "foot": foot}  # fmt: skip
    whole = [each if each["kind"] == "code" else breakable(each) for each in blocks]
    return breakable(data) | {"blocks": whole}  # type: ignore[no-any-return]


@cache
def _template() -> bytes:
    return (Path(__file__).parent / "paper.typ").read_bytes()
