"""The lessons have one form: a number, a question as in the README, exercises with checks."""

import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
LESSONS = sorted((ROOT / "notebooks").glob("*.ipynb"))
ROWS = re.findall(
    r"^\| \[(\d\d) (.+)\]\(notebooks/(.+)\) \| (.+) \|$",
    (ROOT / "README.md").read_text(encoding="utf-8"),
    re.MULTILINE,
)


def test_every_lesson_has_its_row_in_the_readme():
    assert [name for *_, name, _ in ROWS] == [path.name for path in LESSONS]


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_title_question_and_exercises(path):
    """The title has the form that DEVELOPERS asks for, and the README's row says the same."""
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    [(number, topic, question)] = [(n, t, q) for n, t, name, q in ROWS if name == path.name]
    title, _, bold, *_ = "".join(cells[0]["source"]).splitlines()
    assert title == f"# {int(number)} {topic}"
    assert bold == f"**{question}**"
    code = ["".join(each["source"]) for each in cells if each["cell_type"] == "code"]
    edited = [text for text in code if re.search("^(PATH|BOOK) = ", text, re.MULTILINE)]
    assert len(edited) == 1
    solved = [place for place, text in enumerate(code) if text.startswith("# Solution")]
    assert solved
    assert all("assert" in code[place + 1] for place in solved)
