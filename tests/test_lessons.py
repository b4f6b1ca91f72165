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
    solved = [place for place, text in enumerate(code) if text.startswith("# Solution")]
    assert solved, "no exercise has a cell that begins with '# Solution'"
    for place in solved:
        assert "assert" in "".join(code[place + 1 : place + 2]), f"no check below {code[place]!r}"
