"""The live view in a real browser, as a player uses it.

Run with ``pytest tests/browser``; needs ``pip install -e '.[browser]'`` and chromium. The tests
wait for conditions, never for a fixed time.
"""

import re
import signal

import pytest
from lab import started_page, wait_for
from live_view import Live
from playwright.sync_api import expect

import arrange as ar

SIZES = ((1920, 1080), (1280, 720))
AUDIO = "document.querySelector('.arrange-live audio')"
THEMES = ("JupyterLab Dark", "JupyterLab Light")


def seconds_of(view):
    """Return how long the sound in the player is."""
    return view.locator("audio").evaluate("each => each.duration")


@pytest.fixture(scope="module")
def opened(open_notebook):
    """Open the live view and run it from the top through the menu."""
    notebook = open_notebook("live.ipynb")
    notebook.run_from_the_top()
    found = Live(notebook.page)
    found.notebook = notebook
    return found


@pytest.fixture
def live(opened):
    """Return the live view with nothing chosen."""
    opened.press("As written")
    opened.shows("Chorus 1 · as written")
    opened.page.wait_for_timeout(1000)  # the time that a hand needs from the button to a slider
    return opened


def test_move_hear_record_and_take_back(live, folder):
    """A player goes through every step, and no fault stays hidden on the way."""
    log = folder / "datasets" / "low-water.decisions.txt"
    live.shows("Chorus 1 · as written")
    live.drag("Octave", 0.25)
    live.shows("Guitar 1: an octave up")
    live.shows("2 → 1 findings, severity 1.20 → 0.30")
    live.choose("Inversion", "third lowest")
    live.shows("an octave up, third lowest")
    live.choose("Drive", "distorted")
    live.choose("Echo", "dotted eighth")
    live.shows("distorted, dotted eighth echo")
    live.press("Undo")
    expect(live.picture).not_to_contain_text("dotted eighth")
    live.press("As written")
    live.shows("Chorus 1 · as written")
    live.slider("Octave").press("ArrowRight")
    live.shows("Guitar 1: an octave up")
    live.press("Before")
    live.page.wait_for_function(
        "() => document.querySelector('.arrange-live audio')?.played.length"
    )
    alone = seconds_of(live.view)
    live.press("Before, then after")
    live.page.wait_for_function(f"once => {AUDIO}?.duration > 1.9 * once", arg=alone)
    expect(live.view.locator("audio")).to_have_count(1)
    live.view.get_by_label("Why", exact=True).fill("room for Guitar 2")
    live.press("Record the decision")
    expect(live.view.locator(".log")).to_contain_text("room for Guitar 2. Before: 2 findings")
    expect(live.view.locator(".log")).to_contain_text(str(log))
    expect(live.view.get_by_label("Why", exact=True)).to_have_value("")
    live.shows("Chorus 1 · as written")
    live.shows("1 → 1 findings")
    assert ar.read_decisions(log).decisions[-1].what == "Guitar 1: an octave up"
    live.press("Undo")
    expect(live.view.locator(".log")).to_contain_text("dropped")
    live.shows("Guitar 1: an octave up")
    assert live.notebook.faults() == []


def test_the_last_slider_message_never_beats_a_button(live):
    """Drag a slider over its whole track and press a button at once: the button's effect stays."""
    for _ in range(3):
        live.drag("Tempo", 0.4)
        live.press("As written")
        live.shows("Chorus 1 · as written")
        live.page.wait_for_timeout(1000)  # late messages have arrived by then
        live.shows("Chorus 1 · as written")
        expect(live.slider("Tempo")).to_have_attribute("aria-valuetext", re.compile("102"))


def test_the_keyboard_reaches_everything(live):
    """From the first slider on, each control gets the focus by the Tab key and has a name."""
    live.slider("Section").focus()
    names = []
    for _ in range(60):  # the player has several stops of its own
        names.append(
            live.page.evaluate(
                """() => {
                  const at = document.activeElement;
                  const row = at.closest('.widget-inline-hbox');
                  return at.textContent.trim().startsWith('as written') || at.tagName === 'SELECT'
                    || !at.matches('button, summary')
                    ? row?.querySelector('.widget-label, label')?.textContent ?? at.tagName
                    : at.textContent.trim();
                }"""
            )
        )
        live.page.keyboard.press("Tab")
    wanted = {
        "Section", "Part", "Beside", "Octave", "Inversion", "Strings", "Capo", "Drive", "Echo",
        "Tempo", "As written", "Undo", "Before", "After", "Each alone", "Before, then after",
        "Moment", "Why", "Record the decision",
    }  # fmt: skip
    assert wanted <= set(names), wanted - set(names)


def test_what_cannot_be_played_is_reported_in_the_view(live):
    for _ in range(7):
        live.slider("Capo").press("ArrowRight")
    live.shows("capo at fret 7")
    expect(live.view.locator(".words")).to_contain_text("Guitar 1 cannot play all of it")
    assert live.notebook.faults() == []


def test_a_log_that_cannot_be_written_is_reported_in_the_view(live, folder):
    log = folder / "datasets" / "low-water.decisions.txt"
    kept = log.rename(log.with_suffix(".kept")) if log.exists() else None
    log.mkdir()
    try:
        live.slider("Octave").press("ArrowRight")
        live.shows("an octave up")
        live.press("Record the decision")
        expect(live.view.get_by_role("alert")).to_contain_text(str(log))
        assert live.notebook.faults() == []
    finally:
        log.rmdir()
        if kept:
            kept.rename(log)


@pytest.mark.parametrize("theme", THEMES)
def test_it_fits_the_screen_in_light_and_dark(live, theme):
    """Controls and picture fit on one screen; text contrasts with its background in either theme.

    WCAG 2.2, 1.4.3: at least 4.5 : 1 for text.
    """
    live.notebook.choose_theme(theme)
    for width, height in SIZES:
        live.page.set_viewport_size({"width": width, "height": height})
        live.page.wait_for_function(
            "width => document.querySelector('.arrange-picture').clientWidth > 0.6 * width"
            " && innerWidth === width",
            arg=width,
        )
        live.view.evaluate("each => each.scrollIntoView()")
        top, whole = live.view.bounding_box(), live.picture.bounding_box()
        assert whole["y"] + whole["height"] - top["y"] < height - 120  # the lab's own bars
        smallest = live.picture.evaluate(
            """svg => Math.min(...[...svg.querySelectorAll('text')].map(each =>
                 parseFloat(getComputedStyle(each).fontSize)))
               * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width"""
        )
        assert smallest >= 10 * width / 1280
        assert live.view.evaluate("each => each.scrollWidth <= each.clientWidth + 1")
    for kind in ("head", "one-name", "two-name", "axis", "finding"):
        line = live.picture.locator(f"text.{kind}").first
        assert contrast(line, live.view) >= 4.5, kind


def contrast(text, paper):
    """Return the contrast between a text's fill and the paper, as WCAG 2.2 defines it."""
    one = _luminance(text.evaluate("each => getComputedStyle(each).fill"))
    other = _luminance(paper.evaluate("each => getComputedStyle(each).backgroundColor"))
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)


def _luminance(colour):
    parts = [float(each) / 255 for each in re.findall(r"[\d.]+", colour)[:3]]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_the_page_without_code(browser, folder, tmp_path):
    """The page for the band shows no code, works, and leaves no process when all is closed."""
    with started_page(folder / "datasets" / "low-water.musicxml", tmp_path, 10) as served:
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        complaints, asked = [], []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda each: complaints.append(each.text) if each.type == "error" else 0)
        page.on("request", lambda request: asked.append(request.url))
        page.on("websocket", lambda socket: asked.append(socket.url.replace("ws:", "http:", 1)))
        page.goto(served.address)
        live = Live(page)
        assert "explore_parts" not in page.content()
        live.slider("Octave").press("ArrowRight")
        live.shows("Guitar 1: an octave up")
        live.press("As written")
        live.shows("Chorus 1 · as written")
        assert complaints == []
        inside = (served.address, "data:", "blob:")
        assert [each for each in asked if not each.startswith(inside)] == []
        page.close()
        wait_for(lambda: not served.kernels())
        assert served.left_after(signal.SIGTERM) == []
