"""The page that a leader reads first: what each file is, and in which order it is used."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from arrange.exercises.exercise import Exercise
from arrange.exercises.exercise_sheets import SONG_SOUND, has_own_sound, sound_name
from arrange.exercises.exercise_sounds import song_once_words, sound_words
from arrange.exercises.plan import GUESTS, MINUTES, START_PAGE

_ON_BOTH = "{0}-A4.pdf or {0}-letter.pdf"


def start_blocks(file: str, exercises: Sequence[Exercise]) -> list[Any]:
    """Return the page as blocks of a paper.

    Parameters
    ----------
    file : str
        Name of the song's file.
    exercises : sequence of Exercise
    """
    return [
        {"kind": "text", "text": f"This folder is a workshop of {MINUTES} minutes on one song, for "
         f"about {GUESTS} people: they find out by ear, on paper and on the neck where its parts "
         "get in each other’s way, and what else they could play. Whoever leads it need not know "
         "the kit that made it. Nothing here needs a network."},
        {"kind": "heading", "text": "What each file is, in the order of use"},
        {"kind": "table", "head": ["File", "What it is", "Print"], "widths": [5, 8, 0],
         "rows": [list(row) for row in _files(file, exercises)]},
        {"kind": "heading", "text": "The evening before"},
        {"kind": "steps", "items": [
            "Read the plan and the answer sheet, and play each sound once.",
            "Print what the table says, on A4 or on Letter.",
            "Copy the folder, whole, onto the computer that has the loudspeaker. Play the song "
            "there, and set the level to that of a talking voice.",
            f"Only if you show the notebook, where the kit is installed: type arrange ready {file} "
            "in a terminal in this folder. It ends with Ready, or says what is to be done. Then "
            "arrange lab workshop.ipynb opens the notebook in a browser; choose Run All Cells in "
            "the menu Run.",
            "Pack what the plan lists under What to bring.",
        ]},
        {"kind": "heading", "text": "In the hour"},
        {"kind": "steps", "items": [
            "Follow the plan from top to bottom. It says what to do, to say and to play, when, and "
            "what the right answers are.",
            "To check an answer, look it up on the answer sheet and read its reply aloud, or press "
            "Check in the notebook. Take a wrong answer first.",
            "Nobody answers: read a hint from the hint sheet.",
        ]},
        {"kind": "heading", "text": "If something is missing"},
        {"kind": "list", "items": [
            "no kit, or no JupyterLab: sheets and sounds are enough. Any computer or phone plays "
            "the sounds, and the answer sheet has the replies that the notebook gives",
            "no loudspeaker: two guests play the bars that are printed on the sheet",
            "no printer: show the exercise sheet on a screen, and let guests write on any paper",
            "no guitars: point at strings and frets on paper",
        ]},
    ]  # fmt: skip


def _files(file: str, exercises: Sequence[Exercise]) -> list[tuple[str, str, str]]:
    song, many = exercises[0].facts.song, f"{GUESTS} times"
    sounds = [
        (sound_name(number, each),
         f"exercise {number}: {sound_words(each) or 'what is guessed by ear'}", "")
        for number, each in enumerate(exercises, 1) if has_own_sound(each)
    ]  # fmt: skip
    return [
        (START_PAGE, "this page", "once"),
        ("workshop-plan.pdf", "the hour step by step, and what to bring", "once"),
        ("workshop-answers.pdf", "each right answer and why, and the reply to each wrong choice",
         "once"),
        ("workshop-hints.pdf", "hints for each exercise; the first gives away least", "once"),
        (_ON_BOTH.format("workshop-exercises"), "the questions, with the bars that they are about",
         many),
        (_ON_BOTH.format("workshop-handout"), "the page to take home", many),
        (SONG_SOUND, song_once_words(song), ""),
        *sounds,
        ("workshop.ipynb", "the exercises to answer in a browser, where the kit is installed", ""),
        ("workshop-solved.ipynb", "the same with the answers, for you", ""),
        (file, "the song itself; the notebooks read it", ""),
    ]  # fmt: skip
