"""Every lesson runs from the top and is shown in a real browser; exercises are answered.

Lessons in which something is pressed or typed run through the menu, the others by a kernel alone.
"""

import json
import sys
from pathlib import Path

import pytest
from accessible import violations
from lab import ROOT, running
from live_view import Live
from playwright.sync_api import expect

from arrange.exercises.lessons import LESSONS as EXERCISES

LESSONS = sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb"))


class Asked:
    """An exercise as a pupil sees it, found by a piece of its question."""

    def __init__(self, page, words):
        self.page = page
        found = page.locator(".arrange-exercise", has_text=words)
        expect(found).to_have_count(1)
        self.form = found
        self.field = found.get_by_label("Answer", exact=True)

    def press(self, name):
        self.form.get_by_role("button", name=name, exact=True).click()

    def replies(self, verdict, text):
        reply = self.form.get_by_role("alert").last
        expect(reply).to_contain_text(f"{verdict}.", timeout=20_000)
        expect(reply).to_contain_text(text)

    def is_gone_after_editing(self):
        """Check that the old reply is gone once the answer has changed."""
        expect(self.form.get_by_text("press Check")).to_be_visible()
        expect(self.form.locator(".right, .wrong")).to_have_count(0)


def answer_by_keyboard(page):
    """Reach the field and the buttons by the Tab key; type fast, and check by Enter."""
    asked = Asked(page, "shape of E, 022100")
    asked.field.focus()
    page.keyboard.type('"2"')
    page.keyboard.press("Enter")
    asked.replies("Not yet", "sounds F#")
    page.keyboard.press("Control+a")
    page.keyboard.type("33")
    asked.is_gone_after_editing()
    page.keyboard.press("Backspace")
    page.keyboard.press("Tab")
    for name in ("Check", "Hint", "Show"):
        assert page.evaluate("document.activeElement.textContent.trim()") == name
        page.keyboard.press("Enter")
        page.keyboard.press("Tab")
    asked.replies("An answer", "3. Yes: fret 3.")
    expect(asked.form).to_contain_text("A capo at fret 1 makes F of it.")
    expect(page.get_by_text('exercise.check("...")').first).to_be_hidden()


def answer_by_clicking(page):
    asked = Asked(page, "most room between the highest note")
    asked.press("Check")
    asked.replies("Not yet", "No answer yet")
    asked.form.get_by_text("Turnaround").click()
    asked.press("Check")
    asked.replies("Not yet", "In Turnaround Guitar 2 reaches up")
    page.wait_for_timeout(1500)  # from then on a change is a change
    asked.form.get_by_text("Chorus 3").click()
    asked.is_gone_after_editing()
    asked.press("Check")
    asked.replies("Right", "7 semitones")


def answer_in_the_workshop(page):
    """Choose by the keyboard; type a place, which is no division."""
    asked = Asked(page, "the upper one goes below the other")
    asked.form.get_by_role("radio").first.focus()
    for key in ("Tab", "Space", "Tab", "Tab", "Tab", "Enter"):  # the second of four, then Check
        page.keyboard.press(key)
    expect(asked.form.get_by_role("radio", checked=True)).to_have_count(1)
    expect(asked.form.locator(".right, .wrong")).to_be_visible()
    asked = Asked(page, "This time give a wrong answer")
    asked.field.fill("2/5")
    expect(asked.field).to_have_css("outline-style", "solid")  # the focus is seen
    asked.press("Check")
    asked.replies("Not yet", "Wrong, but it does not end")


ANSWERS = {"03": answer_by_clicking, "07": answer_by_keyboard, "11": answer_in_the_workshop}
TOUCHED = [lesson for lesson in LESSONS if lesson[:2] in ("03", "06", "07", "08", "11")]
SHOWN = [lesson for lesson in LESSONS if lesson not in TOUCHED]


@pytest.fixture(scope="module", autouse=True)
def ran(request, folder):
    """Run the lessons that are only shown meanwhile, by kernels alone; return how to wait for them.

    A kernel and a browser work on one processor each.
    """
    cases = [item.callspec.params for item in request.session.items if hasattr(item, "callspec")]
    asked = [lesson for lesson in SHOWN if {"shown": lesson} in cases]
    paths = [folder / "notebooks" / f"{lesson}.ipynb" for lesson in asked]
    command = [sys.executable, Path(__file__).with_name("run_lessons.py"), *paths]
    with running(command, folder, "run_lessons.log") as process:
        yield lambda: process.wait(300)


@pytest.mark.parametrize(
    "lesson",
    [pytest.param(each, marks=pytest.mark.long if each[:2] in ("06", "07", "08") else ())
     for each in TOUCHED],
)  # fmt: skip
def test_a_lesson_runs_from_the_top_by_the_menu(open_notebook, lesson):
    notebook = open_notebook(f"notebooks/{lesson}.ipynb")
    notebook.run_once()
    if lesson.startswith("08"):
        live = Live(notebook.page)
        live.slider("Octave").press("ArrowRight")
        live.shows("an octave up")
    if lesson[:2] in ANSWERS:
        ANSWERS[lesson[:2]](notebook.page)
        assert violations(notebook.page, ".arrange-exercise") == []
    if lesson.startswith("06"):
        notebook.choose_theme("JupyterLab Dark")
        assert violations(notebook.page, ".arrange-exercise") == []
        notebook.choose_theme("JupyterLab Light")
    assert notebook.faults() == []


@pytest.mark.sampled
@pytest.mark.parametrize("shown", SHOWN)
def test_a_lesson_is_shown_as_its_kernel_ran_it(open_notebook, ran, folder, shown):
    """Every cell ran, and all that it shows is there: the exercises, with their widgets, too."""
    assert ran() == 0, (folder / "run_lessons.log").read_text()
    notebook = open_notebook(f"notebooks/{shown}.ipynb")
    asked = notebook.page.locator(".arrange-exercise")
    expect(asked).to_have_count(len(EXERCISES[int(shown[:2])]), timeout=60_000)
    for one in asked.all():
        expect(one.get_by_role("button", name="Check")).to_be_visible(timeout=20_000)
    cells = json.loads((folder / "notebooks" / f"{shown}.ipynb").read_text("utf-8"))["cells"]
    assert all(each["execution_count"] for each in cells if each["cell_type"] == "code")
    assert notebook.faults() == []
