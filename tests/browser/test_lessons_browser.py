"""Every lesson runs in a real browser, from the top, through the menu."""

import pytest
from lab import ROOT
from live_view import Live

LESSONS = sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("lesson", LESSONS)
def test_a_lesson_runs_from_the_top_by_the_menu(open_notebook, lesson):
    notebook = open_notebook(f"notebooks/{lesson}.ipynb")
    notebook.run_from_the_top()
    if lesson.startswith("07"):
        live = Live(notebook.page)
        live.slider("Octave").press("ArrowRight")
        live.shows("an octave up")
    assert notebook.faults() == []
