"""The lessons have one form: a number, a question as in the README, exercises at the end.

The right answers are those of the demo songs, worked out by hand from their tables.
"""

import json
import re
from pathlib import Path

import pytest

from arrange.errors import ArrangeError
from arrange.exercises import demo_songs
from arrange.exercises.lessons import LESSONS as LESSON_EXERCISES
from arrange.exercises.lessons import lesson_exercise

MOST_CELLS, MOST_WORDS = 25, 1500
ROOT = Path(__file__).parent.parent
LESSONS = sorted((ROOT / "notebooks").glob("*.ipynb"))
ROWS = re.findall(
    r"^\| \[(\d\d) (.+)\]\(notebooks/(.+)\) \| (.+) \|$",
    (ROOT / "README.md").read_text(encoding="utf-8"),
    re.MULTILINE,
)


def test_every_lesson_has_its_row_in_the_readme():
    rows, lessons = [name for *_, name, _ in ROWS], [path.name for path in LESSONS]
    assert rows == lessons, "README, Notebooks: a row for each, in order"


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_title_question_and_exercises(path):
    """The title has the form that DEVELOPERS asks for, and the README's row says the same."""
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    rows = [(n, t, q) for n, t, name, q in ROWS if name == path.name]
    assert len(rows) == 1, "the README's table of notebooks has one row for each"
    [(number, topic, question)] = rows
    head = [f"# {int(number)} {topic}", "", f"**{question}**"]
    assert "".join(cells[0]["source"]).splitlines()[:3] == head, "the row and the first cell differ"
    code = ["".join(each["source"]) for each in cells if each["cell_type"] == "code"]
    edited = [text for text in code if re.search("^(PATH|BOOK) = ", text, re.MULTILINE)]
    assert len(edited) == 1, "one cell has a line 'PATH = ' or 'BOOK = '"
    asked = [text for text in code if text.startswith("ar.lesson_exercise")]
    number, count = int(number), len(LESSON_EXERCISES[int(number)])
    wanted = [f"ar.lesson_exercise({number}, {place})" for place in range(1, count + 1)]
    assert code[-count:] == asked == wanted, "the exercises stand at the end, a cell for each"
    tags = [tag for each in cells for tag in each["metadata"].get("tags", ())]
    assert "solution" not in tags + "".join(code).lower().split(), "a solution is for *Show*"


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_short_and_plain(path):
    """As long as an hour allows; what is hidden is announced; the notebook's settings stay."""
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    text = {kind: ["".join(each["source"]) for each in cells if each["cell_type"] == kind]
            for kind in ("code", "markdown")}  # fmt: skip
    assert len(text["code"]) <= MOST_CELLS
    assert sum(len(each.split()) for each in text["markdown"]) <= MOST_WORDS
    assert not [each for each in text["code"] if re.search(r"^\s*(%|!|get_ipython)", each, re.M)]
    hidden = [n for n, each in enumerate(cells) if each["metadata"].get("jupyter")]
    if hidden:
        before = "".join("".join(each["source"]) for each in cells[: hidden[0]])
        assert "hidden" in before, "say that the code of some cells is hidden"


def test_the_first_lesson_leads_to_all_others():
    links = re.findall(r"\]\((\S+\.ipynb)\)", LESSONS[0].read_text(encoding="utf-8"))
    assert list(dict.fromkeys(links)) == [path.name for path in LESSONS[1:]]


def replies_to(exercise):
    """Return the replies to each choice, to nothing, and to what is silly."""
    for choice in exercise.choices:
        yield exercise.check(choice)
    for answer in (None, "", "blue", "2/5", "D#", "é" * 300, 0.4):
        yield exercise.check(answer)


@pytest.mark.sampled
@pytest.mark.parametrize("lesson", LESSON_EXERCISES)
def test_each_exercise_of_a_lesson_gets_fitting_replies(lesson):
    """The answer that *Show* gives is right; choices get a reply each; the song stays as it was."""
    for number in range(1, len(LESSON_EXERCISES[lesson]) + 1):
        each = lesson_exercise(lesson, number)
        assert each is lesson_exercise(lesson, number), "what was typed stays when it is run again"
        before = each.facts.song.notes.copy()
        for answer in (each.answer, f'"{each.answer}"', f" {each.answer.lower()} "):
            reply = each.check(answer)
            assert reply.right, (each.question, answer, reply.text)
            assert reply.text.startswith("Yes")
        assert reply.text in each.solution().text
        replies = [*replies_to(each)]
        choices = replies[: len(each.choices)]
        assert sum(reply.right for reply in choices) == bool(choices)
        assert len({reply.text for reply in choices}) == len(choices) != 1
        for reply in replies[len(choices) :]:
            assert not reply.right, (each.question, reply.text)
            assert len(reply.text) > 10
        assert "quotation marks" in replies[-1].text
        assert len(each.hints) >= 2
        for text in (each.question, each.form, *each.hints, *(str(one) for one in replies)):
            assert not [sign for sign in ("  ", "..,", " a eighth", "nan", "<NA>") if sign in text]
            assert len(text) < 700
        assert each.facts.song.notes.equals(before)


# What only some of them can be asked: by hand.
OTHERS = (
    (1, 1, "Chorus 1", False, "not asked for"), (1, 2, "22", False, "as played"),
    (1, 2, "bar 16", True, "of the page"), (1, 3, "Bb4", False, "does not play Bb4"),
    (1, 3, "a 4", False, "cannot be read"), (1, 3, "A♭4", False, "Ab4"),
    (2, 1, "5-10", True, ""), (2, 1, "5,6,7,8,9,10", True, ""),
    (2, 1, "5 to 13", False, "Measure 11"),
    (2, 1, "6 to 10", False, "measure 5 is too"), (2, 3, "0", False, "lower"),
    (3, 1, "1/4", True, ""), (3, 1, "25 %", True, ""), (3, 1, ",25", True, ""),
    (3, 1, "0,5", False, "smaller"), (4, 2, "A#4", False, "where it is now"),
    (4, 2, "E flat 4", False, "no note of F"), (5, 1, "E2 and G#2", False, "beat"),
    (5, 2, "588 ms", False, "a quarter"), (5, 2, "0.294", False, "seconds"),
    (6, 1, "x02210 | x32010", False, "F has"),
    (6, 1, "x02210 | 13321", False, "cannot be read yet"), (6, 2, "muted", False, "begins at"),
    (6, 3, "first time", False, "1, 2"), (7, 1, "4", False, "Ab"),
    (7, 2, "x-x-2-0-1-x", False, "too low"), (7, 2, "x-x-10-9-8-x", False, "is the 1"),
    (7, 3, "1", False, "97 mm"), (7, 3, "9", False, "already"), (7, 4, "fret 1", False, "still"),
    (8, 1, "2 3 1", False, "C#m: 1 is too little"), (9, 1, "pulse, bridge", False, "Pulse"),
    (10, 3, "72 s", False, "eighths"), (10, 3, "36 seconds", True, ""),
    (11, 3, "no capo", False, "Without a capo"), (12, 1, "3, 6", True, ""),
    (12, 2, "1 2 3 4 5 6", False, "begins with"), (12, 3, "999999", False, "G#"),
)  # fmt: skip


@pytest.mark.parametrize(("lesson", "number", "answer", "right", "words"), OTHERS)
def test_an_answer_gets_the_reply_for_it(lesson, number, answer, right, words):
    reply = lesson_exercise(lesson, number).check(answer)
    assert (reply.right, words in reply.text) == (right, True), reply.text


def test_what_is_not_there_is_refused(monkeypatch):
    for lesson, number in ((0, 1), (13, 1), (3, 0), (3, 4), ("3", 1)):
        with pytest.raises(ArrangeError, match=r"lesson"):
            lesson_exercise(lesson, number)
    monkeypatch.setattr(demo_songs, "_NEAR", (Path("nowhere"),))
    with pytest.raises(ArrangeError, match="in a copy of the whole project"):
        demo_songs.demo_path("low-water.musicxml")
