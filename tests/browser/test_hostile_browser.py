"""Texts of a song that look like markup, on every page, in a real browser.

No script in them runs, no other server is asked for anything, and each is shown as it is written.
"""

import json

import pytest
from accessible import violations, violations_by_width_and_colour
from hostile import (
    HOSTILE,
    TITLE,
    hostile_notebook,
    hostile_song,
    with_chord_symbols,
    write_hostile,
)
from lab import started_page
from playwright.sync_api import expect

import arrange as ar
from arrange.exercises.notebooks import notebook_bytes
from arrange.live.view_notebook import write_page
from arrange.report.studying import Study
from arrange.sending import write_song_page
from arrange.songbook import write_songbook

# Links and pictures whose address can only come from a text of the song.
DOORS = """() => [...document.querySelectorAll('a, img, iframe, form, object')].filter(each =>
    /^javascript:/.test(each.href ?? each.src ?? '') || each.hostname === 'outside.invalid'
    || /outside.invalid/.test(each.src ?? '')).map(each => each.outerHTML)"""


class Watched:
    """A page in the browser, with a record of anything that it should not do."""

    def __init__(self, context, home):
        self.page, self.faults = context.new_page(), []
        inside = (home, home.replace("http:", "ws:", 1), "data:", "blob:", "about:")

        def asked(url):
            if not url.startswith(inside):
                self.faults.append(f"asked {url}")

        self.page.on("request", lambda request: asked(request.url))
        self.page.on("websocket", lambda socket: asked(socket.url))
        self.page.on("dialog", lambda dialog: self.faults.append(dialog.message))

    def shows_text_alone(self):
        """Check that no script ran, nothing was requested, no text became a link or a picture."""
        self.page.wait_for_load_state("networkidle")
        assert self.page.evaluate("window.ran") is None
        assert self.page.evaluate(DOORS) == []
        assert self.faults == []


@pytest.fixture(scope="module")
def hostile(folder):
    """Write everything that is made from the song into the folder that the lab shows."""
    place = folder / "hostile"
    place.mkdir()
    song = write_hostile(place)
    made = with_chord_symbols(hostile_song())
    log = ar.read_decisions(ar.decisions_path(song))
    Study(made, log=log).write(place / "study")
    write_songbook(ar.read_songbook([song]), place / "book")
    ar.write_handout(made, place / "sheets", player=HOSTILE[0], decisions=log)
    (place / "workshop-solved.ipynb").write_bytes(notebook_bytes(hostile_notebook()))
    (place / "sent").mkdir()
    write_song_page(song, place / "sent" / "page.html")
    write_page(song, place / "shown.ipynb")
    notebook = json.loads((place / "shown.ipynb").read_text())
    live = notebook["cells"][1]
    shown = (
        "study = ar.study({!r})\nstudy",
        "study.song.parts",
        "study.findings",
        "study.log.table",
    )
    for number, source in enumerate(shown):
        notebook["cells"].append({**live, "id": f"s{number}", "source": [source.format(str(song))]})
    (place / "shown.ipynb").write_text(json.dumps(notebook))
    return place


@pytest.fixture
def context(browser):
    with browser.new_context() as context:
        yield context


def written_pages(place):
    return sorted(place.glob("*/*.html"))


@pytest.mark.long
def test_pages_that_are_written(context, hostile):
    """The report, the songbook, the sheets and the page to send show the texts as they are."""
    pages = written_pages(hostile)
    assert len(pages) == 5
    for path in pages:
        watched = Watched(context, hostile.as_uri())
        watched.page.goto(path.as_uri())
        watched.shows_text_alone()
        shown = " ".join(watched.page.locator("body").inner_text().split())
        assert TITLE in shown, path
        assert violations_by_width_and_colour(watched.page) == []
        watched.page.close()


@pytest.mark.long
def test_the_live_page(context, hostile, tmp_path):
    """The page without code shows the texts as they are, and so does a decision recorded on it."""
    with started_page(hostile / "hostile.musicxml", tmp_path) as served:
        watched = Watched(context, served.address)
        watched.page.goto(served.address)
        view = watched.page.locator(".arrange-live")
        expect(view.locator("svg.arrange-picture")).to_be_visible(timeout=60_000)
        assert TITLE in " ".join(watched.page.locator("h1").inner_text().split())
        view.locator(".noUi-handle").nth(1).press("ArrowRight")
        view.get_by_label("Why", exact=True).fill(HOSTILE[1])
        view.get_by_role("button", name="Record the decision").click()
        expect(view.locator(".log li")).to_have_count(len(HOSTILE) + 1)
        for text in HOSTILE:
            expect(view.locator(".log")).to_contain_text(text)
        watched.shows_text_alone()


@pytest.mark.sampled
@pytest.mark.usefixtures("hostile")
@pytest.mark.parametrize("name", ["workshop-solved", "shown"])
def test_notebooks_in_the_lab(open_notebook, name):
    """A workshop's notebook, a live view, a study and tables show the texts as they are."""
    notebook = open_notebook(f"hostile/{name}.ipynb")
    page, asked = notebook.page, []
    page.on("request", lambda request: asked.append(request.url))
    if name == "shown":
        notebook.run_once()
        page.locator(".arrange-study").wait_for(state="attached")
    title = page.locator(".jp-RenderedMarkdown h1").first
    expect(title).to_contain_text(HOSTILE[0])
    assert TITLE in " ".join(title.text_content().split())
    page.wait_for_load_state("networkidle")
    assert page.evaluate("window.ran") is None
    assert page.evaluate(DOORS) == []
    assert [url for url in asked if "outside.invalid" in url] == []
    place = ".arrange-study" if name == "shown" else ".jp-Notebook"
    assert name != "shown" or violations(page, place) == []
    assert page.locator(f"{place} mjx-container").count() == 0  # no formula either
