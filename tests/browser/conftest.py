"""A real browser and a real JupyterLab, started once for all tests here."""

import contextlib
import os
import shutil

import pytest
from lab import FLAGS, Notebook, copy_lessons, started_lab

from arrange.live.view_notebook import write_page


def _needed(condition, what):
    """Skip where something is missing, but fail where everything must be checked."""
    if not condition:
        if os.environ.get("CI") == "true":
            pytest.fail(f"{what} is needed here")
        pytest.skip(f"{what} is not there")


@pytest.fixture(scope="session")
def browser():
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _needed(False, "playwright (pip install -e '.[browser]')")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    _needed(chromium, "chromium")
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield found
        found.close()


@pytest.fixture(scope="session")
def folder(tmp_path_factory):
    """Return a folder with the lessons, the songs, and live views of the demo songs."""
    folder = tmp_path_factory.mktemp("lab")
    copy_lessons(folder)
    write_page(folder / "datasets" / "low-water.musicxml", folder / "live.ipynb")
    write_page(folder / "datasets" / "last-bell.musicxml", folder / "layers.ipynb", layers=True)
    return folder


@pytest.fixture(scope="session")
def address(folder):
    with started_lab(folder) as address:
        yield address


@pytest.fixture(scope="module")
def notebook_opener(browser, address):
    """Open a notebook for the tests of a file, given its path, the size of the screen and the
    theme.

    A test's own notebook comes from ``open_notebook``: a page that stays open continues to draw and
    to ask the server, and slows the tests after it.
    """
    with notebooks_opened(browser, address) as do:
        yield do


@pytest.fixture
def open_notebook(browser, address):
    """Do the same for one test, and close the page when it ends."""
    with notebooks_opened(browser, address) as do:
        yield do


@contextlib.contextmanager
def notebooks_opened(browser, address):
    opened = []

    def do(path, size=(1280, 720), theme="JupyterLab Light"):
        context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        opened.append(context)
        return Notebook(context.new_page(), address, path, theme)

    try:
        yield do
    finally:
        for context in opened:
            context.close()
