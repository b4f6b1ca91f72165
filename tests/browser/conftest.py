"""A real browser and a real JupyterLab, started once for all tests here."""

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
    """Return a folder with the lessons, the songs, and a live view of the demo song."""
    folder = tmp_path_factory.mktemp("lab")
    copy_lessons(folder)
    write_page(folder / "datasets" / "low-water.musicxml", folder / "live.ipynb")
    return folder


@pytest.fixture(scope="session")
def address(folder):
    with started_lab(folder) as address:
        yield address


@pytest.fixture(scope="session")
def _notebook(browser, address):
    """Load JupyterLab once, since a browser needs several seconds for that."""
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    yield Notebook(page, address, "live.ipynb")
    page.close()


@pytest.fixture(scope="module")
def open_notebook(_notebook):
    """Open a notebook, given its path, in place of the one before."""

    def do(path):
        _notebook.change_to(path)
        return _notebook

    return do
