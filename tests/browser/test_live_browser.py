"""The live view in a real browser, as a player uses it.

Run with ``pytest tests/browser``; needs ``pip install -e '.[browser]'`` and chromium. The tests
wait for conditions, never for a fixed time.
"""

import re
import signal

import pytest
from accessible import violations
from lab import started_page
from live_view import Live
from playwright.sync_api import expect

import arrange as ar

SIZES = ((1920, 1080), (1280, 720))
OUTLINE = """each => { const {outlineStyle, outlineWidth} = getComputedStyle(each);
    return `${outlineStyle} ${outlineWidth}` }"""
AUDIO = "document.querySelector('.arrange-live audio')"
THEMES = ("JupyterLab Dark", "JupyterLab Light")


def seconds_of(view):
    """Return how long the sound in the player is."""
    return view.locator("audio").evaluate("each => each.duration")


@pytest.fixture(scope="module")
def opened(open_notebook):
    """Open the live view and run it through the menu."""
    notebook = open_notebook("live.ipynb")
    notebook.run_once()
    found = Live(notebook.page)
    found.notebook = notebook
    return found


@pytest.fixture
def live(opened):
    """Return the live view with nothing chosen."""
    opened.choose("Section", "Chorus 1")
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
    live.shows("2 → 1 findings, severity 0.80 → 0.17")
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
    live.view.get_by_label("Why", exact=True).focus()
    live.page.keyboard.type("room for Guitar 2")
    live.page.keyboard.press("Tab")
    live.page.keyboard.press("Space")
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


def test_all_controls_have_names_and_states_and_react_to_keys(live):
    """Names and states as the browser gives them to a screen reader; keys alone do everything."""
    for each in live.view.locator("button, select, input, [tabindex='0']").all():
        if each.is_visible():
            words = each.aria_snapshot().splitlines()[0]
            assert re.match(r"""- '?\w+ "[^"]+""", words), words
    expect(live.view.locator("audio")).to_have_attribute("aria-label", "player")
    live.view.get_by_role("slider", name="Octave").focus()
    live.page.keyboard.press("Tab")  # to its number, which can be typed
    expect(live.view.get_by_role("textbox", name="Octave")).to_be_focused()
    live.page.keyboard.press("Tab")
    expect(live.view.locator(".tip")).to_have_text("Which member of a chord lies lowest")
    live.page.keyboard.press("Escape")
    expect(live.view.locator(".tip")).to_have_count(0)
    live.view.get_by_role("slider", name="Octave").focus()
    live.page.keyboard.press("ArrowRight")
    live.shows("Guitar 1: an octave up")
    section = live.view.get_by_role("button", name="Verse 3")
    section.press("Enter")
    live.shows("Verse 3 · Guitar 1: an octave up")
    expect(section).to_be_focused()  # though the picture was drawn anew
    expect(section).to_have_attribute("aria-pressed", "true")
    expect(live.view.get_by_label("Section", exact=True)).to_have_value("Verse 3")
    finding = live.view.get_by_role("button", name=re.compile("^bar 39: mud")).first
    finding.press("Space")
    expect(finding).to_have_attribute("aria-pressed", "true")
    expect(live.view.locator("rect.marked")).to_have_count(1)
    expect(live.view.get_by_label("Moment", exact=True)).to_have_value("bar 39")
    expect(live.view.locator(".findings .why").first).to_be_visible()
    live.view.get_by_role("button", name="Undo").press("Enter")
    live.shows("Chorus 1 · Guitar 1: an octave up")
    live.view.get_by_role("button", name="Redo").press("Enter")
    live.shows("Verse 3 · Guitar 1: an octave up")
    live.press("Before")
    before = live.view.get_by_role("button", name="Before", exact=True)
    expect(before).to_have_attribute("aria-pressed", "true")
    live.choose("Section", "Chorus 1")
    live.shows("Chorus 1 · Guitar 1: an octave up")


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
def test_it_is_seen_on_every_screen_in_light_and_dark(live, theme):
    """Controls, strip and ranges fit on one screen; on a telephone nothing is cut off.

    WCAG 2.2: text has a contrast of 4.5 : 1 (1.4.3), controls and the focus of 3 : 1 (1.4.11);
    nothing is lost at 200 %, which is half as wide a screen (1.4.4, 1.4.10).
    """
    live.notebook.choose_theme(theme)
    chart = live.view.locator("svg.arrange-picture")
    for width, height in SIZES:
        live.page.set_viewport_size({"width": width, "height": height})
        live.page.wait_for_function(
            "([least, width]) => innerWidth === width"
            " && document.querySelector('.arrange-pane').clientWidth > least",
            arg=[0.6 * width, width],
        )
        live.view.evaluate("each => each.scrollIntoView()")
        top, whole = live.view.bounding_box(), chart.bounding_box()
        assert whole["y"] + whole["height"] - top["y"] < height - 120  # the lab's own bars
        assert smallest(chart) >= 10
        assert live.view.evaluate("each => each.scrollWidth <= each.clientWidth + 1")
    for kind in ("chord", "one-name", "two-name", "axis", "count", "tab"):
        if chart.locator(f"text.{kind}").count():
            assert contrast(chart.locator(f"text.{kind}").first, live.view) >= 4.5, kind
    for kind in ("select", ".form button", ".jupyter-button", ".noUi-handle"):
        assert contrast(live.view.locator(kind).first, live.view, "borderTopColor") >= 3, kind
    live.view.get_by_label("Section", exact=True).focus()
    focused = live.view.get_by_label("Section", exact=True)
    assert violations(live.page, ".arrange-live") == []
    assert contrast(focused, live.view, "outlineColor") >= 3
    undo = live.view.get_by_role("button", name="Undo", exact=True)
    for each in (focused, undo, live.view.get_by_label("Why", exact=True)):
        each.focus()
        live.page.keyboard.press("Shift")  # it has the focus from the keyboard
        assert each.evaluate(OUTLINE) == "solid 3px"


def smallest(svg):
    """Return the height of the smallest letters, in pixels as they are seen."""
    return svg.evaluate(
        """svg => Math.min(...[...svg.querySelectorAll('text')].map(each =>
             parseFloat(getComputedStyle(each).fontSize)))
           * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width"""
    )


def test_a_view_whose_kernel_is_gone_shows_its_last_picture(open_notebook):
    """What was chosen comes back when the cell is run again."""
    notebook = open_notebook("live.ipynb")
    notebook.run_from_the_top()
    live = Live(notebook.page)
    saved = notebook.page.locator(".arrange-saved")
    expect(saved).to_be_hidden()
    live.choose("Section", "Verse 3")
    live.shows("Verse 3 · as written")
    expect(saved).to_contain_text("Verse 3 · as written")
    notebook.menu("File", "Save Notebook")
    notebook.menu("Kernel", "Shut Down Kernel")
    notebook.page.reload()
    expect(saved).to_be_visible(timeout=60_000)
    expect(saved).to_contain_text("Verse 3 · as written")
    expect(notebook.page.get_by_text("Error displaying widget")).to_be_hidden()
    notebook.run_from_the_top()
    Live(notebook.page).shows("Verse 3 · as written")
    expect(saved).to_be_hidden()
    Live(notebook.page).choose("Section", "Chorus 1")  # as the next test finds it
    expect(saved).to_contain_text("Chorus 1 · as written")


def contrast(each, paper, colour="fill"):
    """Return the contrast between a colour of an element and the paper, as WCAG 2.2 defines it."""
    one = _luminance(each.evaluate(f"each => getComputedStyle(each).{colour}"))
    other = _luminance(paper.evaluate("each => getComputedStyle(each).backgroundColor"))
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)


def _luminance(colour):
    parts = [float(each) / 255 for each in re.findall(r"[\d.]+", colour)[:3]]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_the_page_without_code(browser, folder, tmp_path):
    """The page for the band shows no code, works, and leaves no process when it is stopped."""
    with started_page(folder / "datasets" / "low-water.musicxml", tmp_path) as served:
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        complaints, asked = [], []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda each: complaints.append(each.text) if each.type == "error" else 0)
        page.on("request", lambda request: asked.append(request.url))
        page.on("websocket", lambda socket: asked.append(socket.url.replace("ws:", "http:", 1)))
        page.goto(served.address)
        live = Live(page)
        assert "explore_parts" not in page.content()
        live.press("As written")  # it opens where it was left
        live.shows("Chorus 1 · as written")
        page.wait_for_timeout(1000)
        live.slider("Octave").press("ArrowRight")
        live.shows("Guitar 1: an octave up")
        live.press("As written")
        live.shows("Chorus 1 · as written")
        page.set_viewport_size({"width": 390, "height": 800})  # a telephone
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        expect(live.view.locator(".findings")).to_be_visible()
        assert violations(page) == []
        assert smallest(live.view.locator("svg.arrange-picture")) >= 12
        assert smallest(live.view.locator("svg.arrange-neck").first) >= 10
        for each in ("svg.arrange-picture .bar rect", "summary", ".findings button"):
            box = live.view.locator(each).first.bounding_box()
            assert box["height"] >= 23.9, each  # pixels, for a finger (WCAG 2.2, 2.5.8)
        assert complaints == []
        inside = (served.address, "data:", "blob:")
        assert [each for each in asked if not each.startswith(inside)] == []
        # Out of the Wi-Fi, it says so; back again, it goes on. (It looks by itself, too.)
        lost = page.get_by_role("alert").filter(has_text="has lost the computer")
        page.route("**/api/kernels/*", lambda route: route.abort())
        for _ in range(2):
            page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        expect(lost.get_by_role("button", name="Load it again")).to_be_visible()
        assert violations(page) == []
        page.unroute("**/api/kernels/*")
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        expect(lost).to_have_count(0)
        page.close()
        assert served.left_after(signal.SIGTERM) == []
