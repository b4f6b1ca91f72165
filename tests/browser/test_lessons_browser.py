"""Every lesson runs in a real browser, from the top, through the menu."""

import pytest
from lab import ROOT
from live_view import Live

LESSONS = sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb"))


@pytest.fixture(scope="module")
def notebook(notebook_opener):
    """One JupyterLab for all lessons, as a reader has it."""
    return notebook_opener("live.ipynb")


@pytest.mark.parametrize("lesson", LESSONS)
def test_a_lesson_runs_from_the_top_by_the_menu(notebook, lesson):
    notebook.change_to(f"notebooks/{lesson}.ipynb")
    notebook.run_from_the_top()
    if lesson.startswith("07"):
        live = Live(notebook.page)
        live.slider("Octave").press("ArrowRight")
        live.shows("an octave up")
    assert notebook.faults() == []
