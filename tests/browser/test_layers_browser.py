"""The view of layers in a browser, as two guitarists use it who share out a song."""

import re

from accessible import violations
from playwright.sync_api import expect

import arrange as ar

NAMELESS = """each => each.filter(one => !(one.getAttribute('aria-label') || one.textContent.trim()
  || one.labels?.length)).map(one => one.outerHTML)"""
PATTERN = "each => getComputedStyle(each).backgroundImage"
expect.set_options(timeout=30_000)  # the kernel also tries hands meanwhile
LOG = "last-bell.decisions.txt"


def test_two_players_share_out_fourteen_layers(open_notebook, folder):
    """Press, undo, best from here, compare, hear, record; by mouse and by keyboard; restarted."""
    notebook = open_notebook("layers.ipynb")
    page = notebook.page
    notebook.run_once()
    view = page.locator(".arrange-layers")
    totals = view.locator("[data-part=totals]")

    def cell(name):
        return view.get_by_role("button", name=re.compile(f"^{name}"))

    def press(name):
        view.get_by_role("button", name=name, exact=True).click()

    expect(totals).to_contain_text("This is the best.", timeout=90_000)
    assert view.locator("button, select, input, audio").evaluate_all(NAMELESS) == []
    assert violations(page, ".arrange-layers") == []
    patterns = [cell(f"{what}: Player {number}").first.evaluate(PATTERN)
                for number, what in ((1, "Hook, Intro"), (2, "Rhythm, Intro"))]  # fmt: skip
    assert len(set(patterns)) == 2
    # A press gives to the next player; what no hand holds is said.
    cell("Pulse, Verse 1: nobody").click()
    expect(totals).to_contain_text("it differs in Verse 1")
    expect(cell("Pulse, Verse 1: Player 2")).to_have_attribute("aria-pressed", "true")
    expect(view.locator("[data-part=troubles]")).to_contain_text("Player 2 has Pulse + Rhythm")
    press("Undo")
    expect(totals).to_contain_text("This is the best.")
    # By keyboard: the hook to nobody, with the arrows to the verse's fills, which go too.
    cell("Hook, Intro").focus()
    page.keyboard.press("0")
    expect(cell("Hook, Intro: nobody")).to_be_focused()
    page.keyboard.press("ArrowRight")
    expect(cell("Hook, Verse 1: does not play")).to_be_focused()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    expect(cell("Fills, Verse 1: Player 1")).to_be_focused()
    assert cell("Fills, Verse 1").evaluate("one => getComputedStyle(one).outlineWidth") == "3px"
    page.keyboard.press("Delete")
    expect(cell("Fills, Verse 1: nobody")).to_be_focused()
    expect(totals).to_contain_text("it differs in Intro and Verse 1")
    expect(view.locator("h3")).to_contain_text("Verse 1, bars 9 to 16")
    # What is kept stays; the rest is looked for again.
    press("Keep this for Player 1")
    expect(cell("Echo, Verse 1: Player 1, kept")).to_be_visible()
    press("Find")
    found = view.locator("[data-part=words]")
    expect(found).to_contain_text("against what there was")
    expect(cell("Hook, Intro: Player 1")).to_be_visible()
    expect(cell("Echo, Verse 1: Player 1, kept")).to_be_visible()
    press("Compare with the best")
    expect(cell("Fills, Verse 1: .*; the best: Player 1")).to_be_visible()
    notebook.choose_theme("JupyterLab Dark")
    assert violations(page, ".arrange-layers") == []
    notebook.choose_theme("JupyterLab Light")
    press("Mine")
    page.wait_for_function("() => document.querySelector('.arrange-layers audio').duration > 5")
    # Somebody else writes; that is shown first, and the second press records.
    log = folder / "datasets" / LOG
    ar.record_decision(log, ar.Decision("the drummer counts in", "we start together"))
    view.get_by_label("Why").focus()
    page.keyboard.type("the echo is enough")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    words = view.locator("[data-part=words]")
    expect(words).to_contain_text("Somebody else has written in the log")
    press("Record the decision")
    expect(words).to_contain_text("Recorded")
    expect(view.get_by_label("Why")).to_have_value("")
    (_, done) = ar.read_decisions(log).decisions
    assert (done.why, done.status) == ("the echo is enough", "agreed")
    assert "; Verse 1: Player 1 Echo" in done.after
    assert notebook.faults() == []
    # What was shared out is there again after a restart.
    notebook.run_from_the_top()
    expect(cell("Echo, Verse 1: Player 1, kept")).to_be_visible(timeout=60_000)
    log.unlink()
