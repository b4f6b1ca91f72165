"""Measure how fast the live view follows in a browser: from a slider's event to the new picture on
the screen, and from letting go to a sound that is ready.

Run it by hand: ``python tests/benchmarks/live.py`` (some two minutes; needs ``.[browser]`` and
chromium). It shows Chorus 1 of the demo song in headless Chromium on the machine itself. A slider
is dragged to and fro with the mouse, a step every 50 ms. The clock runs in the page: from the mouse
event that moves the handle to the frame in which the picture of that value is painted. Values that
were passed over before they were shown do not count. ``bare`` is, for comparison, the round trip of
a slider that only writes its value into a text: the time that the browser, the server and the
kernel take. ``layers`` is the other view: fourteen layers are shared out, a press every 700 ms, and
the clock runs from the press to the frame in which the cell, the figures and the words of that
press are painted; ``layers, kernel alone`` is what the figures of a press take without a browser.
"""

from __future__ import annotations

import random
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

sys.path.insert(0, str(Path(__file__).parent.parent / "browser"))

from lab import FLAGS, Notebook, copy_lessons, started_lab

from arrange.condensing import condense
from arrange.condensing.plan_by_hand import why_no_option
from arrange.formats.reading import read
from arrange.live.layers.results import LayersResults
from arrange.live.layers.shares import Shares
from arrange.live.view_notebook import write_page

ROUNDS = 4
STEP_MS = 50
PRESS_MS = 700
BARE = """
import ipywidgets as widgets
slider, text = widgets.IntSlider(description="Bare", max=40), widgets.HTML("value 0")
slider.observe(lambda change: setattr(text, "value", f"value {change.new}"), "value")
box = widgets.VBox([slider, text])
box.add_class("bare")
box
"""
# Every change of the slider's own value is stored with its time; when the picture shows that value,
# the time until the next painted frame is taken.
WATCH = """
([handles, pictures, says]) => {
  window.taken = []; window.asked = new Map();
  const handle = document.querySelector(handles);
  const picture = document.querySelector(pictures);
  new MutationObserver(() => {
    window.asked.set(handle.getAttribute('aria-valuenow'), performance.now());
  }).observe(handle, {attributes: true, attributeFilter: ['aria-valuenow']});
  window.expected = null;
  new MutationObserver(() => {
    const text = picture.textContent;
    for (const [value, start] of [...window.asked]) {
      const expected = says[String(Number(value))];
      if (expected !== undefined && text.includes(expected)) {
        const now = [...window.asked].filter(([, at]) => at <= start).map(([each]) => each);
        now.forEach(each => window.asked.delete(each));
        requestAnimationFrame(() => window.taken.push(performance.now() - start));
      }
    }
  }).observe(picture, {childList: true, subtree: true, characterData: true});
}
"""


def drag(page: Page, handle: Any, shares: list[float]) -> None:
    """Pull a slider's handle along its track, a step every 50 ms, and let it go where it began."""
    box = handle.bounding_box()
    base = handle.locator("xpath=ancestor::*[contains(@class, 'noUi-base')]").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    for share in [*shares, 0.0]:
        page.mouse.move(x + share * base["width"], y)
        page.wait_for_timeout(STEP_MS)
    page.mouse.up()
    page.wait_for_timeout(400)


def to_and_fro(reach: float, steps: int) -> list[float]:
    """Return shares of a slider's track: up, down past the start, and back."""
    up = [reach * n / steps for n in range(1, steps + 1)]
    return [*up, *up[::-1], *[-each for each in up], *[-each for each in up[::-1]]]


def measure(
    page: Page, box: str, name: str, says: dict[int, str], shares: list[float]
) -> list[float]:
    """Return the milliseconds from each event to its picture."""
    row = page.locator(f"{box} .widget-inline-hbox", has=page.get_by_text(name, exact=True))
    row.first.evaluate("(each, name) => each.classList.add('watched-' + name)", name)
    watched = f".watched-{name} .noUi-handle"
    picture = ".arrange-pane" if box != ".bare" else f"{box} .widget-html"
    page.evaluate(WATCH, [watched, picture, {str(k): v for k, v in says.items()}])
    for _ in range(ROUNDS):
        drag(page, page.locator(watched), shares)
    return page.evaluate("window.taken")


def sound_ready(page: Page) -> list[float]:
    """Return the milliseconds from letting a slider go to a new sound that the player can play."""
    found = []
    for _ in range(6 * ROUNDS):
        handle = page.locator(".watched-Tempo .noUi-handle")
        box = handle.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.evaluate(
            """() => { window.ready = null;
              const sound = () => document.querySelector('.arrange-live audio');
              let old = null;  // the sound while the slider moves
              const keep = () => { old = sound()?.src; };
              window.addEventListener('mousemove', keep, {capture: true});
              window.addEventListener('mouseup', () => { const start = performance.now();
                window.removeEventListener('mousemove', keep, {capture: true});
                const look = () => {
                  if (sound()?.src !== old && sound()?.readyState >= 3)
                    window.ready = performance.now() - start;
                  else requestAnimationFrame(look); };
                look(); }, {once: true, capture: true}); }"""
        )
        page.mouse.move(x, y)
        page.mouse.down()
        side = 1 if len(found) % 2 else -1
        for step in range(1, 5):
            page.wait_for_timeout(STEP_MS)
            page.mouse.move(x + side * 12 * step, y)
        page.mouse.up()
        page.wait_for_function("() => window.ready !== null")
        found.append(page.evaluate("window.ready"))
        page.wait_for_timeout(1000)
    return found


# The number of each press is part of the new state; when the words change, the next painted frame
# is taken.
WATCH_LAYERS = """
() => {
  window.taken = []; window.pressed = null;
  const view = document.querySelector('.arrange-layers');
  view.addEventListener('click', event => {
    if (event.target.closest('[data-cell]')) window.pressed = performance.now();
  }, {capture: true});
  new MutationObserver(() => {
    if (window.pressed === null) return;
    const start = window.pressed;
    window.pressed = null;
    requestAnimationFrame(() => window.taken.push(performance.now() - start));
  }).observe(view.querySelector('[data-part=totals]'), {childList: true, subtree: true});
}
"""


def share_out(page: Page, presses: int) -> list[float]:
    """Return the milliseconds from each press of a cell to all that follows from it."""
    page.evaluate(WATCH_LAYERS)
    playing = page.locator(".arrange-layers [data-cell]:not(.silent)")
    draw = random.Random(1)
    for _ in range(presses):
        playing.nth(draw.randrange(playing.count())).click()
        page.wait_for_timeout(PRESS_MS)
    return page.evaluate("window.taken")


def kernel_alone(song: Path, presses: int) -> list[float]:
    """Return the milliseconds that the figures of a press take in the kernel."""
    results = LayersResults(condense(read(song), 2))
    shares, draw, taken = Shares(results.optimum), random.Random(1), []
    places = [
        (section, layer)
        for section, worth in enumerate(results.problem.worths)
        for layer in worth.kept
    ]
    while len(taken) < presses:
        section, layer = draw.choice(places)
        given = shares.given(section, layer, shares.next_holder(section, layer))
        if any(why_no_option(results.problem, section, each) for each in given.taken[section]):
            continue
        shares, start = given, time.perf_counter()
        results.figures(shares)
        taken.append(1000 * (time.perf_counter() - start))
    return taken


def print_row(name: str, taken: list[float]) -> None:
    """Print a row of the table."""
    ordered = sorted(taken)
    p95 = ordered[min(int(0.95 * len(ordered)), len(ordered) - 1)]
    print(f"| {name} | {len(taken)} | {statistics.median(taken):.0f} | {p95:.0f} |", flush=True)


def main() -> None:
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        copy_lessons(folder)
        notebook = write_page(folder / "datasets" / "low-water.musicxml", folder / "live.ipynb")
        bare = notebook.read_text().replace("import arrange as ar", "pass")
        start = bare.index('"ar.explore_parts')
        cut = (
            bare[:start] + "\"exec(open('bare.py').read()); box\"" + bare[bare.index("\n", start) :]
        )
        (folder / "bare.ipynb").write_text(cut)
        (folder / "bare.py").write_text(BARE)
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        with started_lab(folder) as address:
            print("| dragged | pictures | median ms | 95 % ms |\n|---|--:|--:|--:|")
            page = browser.new_page(viewport={"width": 1280, "height": 720})
            Notebook(page, address, "bare.ipynb").run_from_the_top()
            page.locator(".bare").wait_for()
            says = {value: f"value {value}" for value in range(41)}
            print_row("bare", measure(page, ".bare", "Bare", says, to_and_fro(0.4, 12)[:24]))
            page.close()
            page = browser.new_page(viewport={"width": 1280, "height": 720})
            Notebook(page, address, "live.ipynb").run_from_the_top()
            page.locator(".arrange-pane .arrange-picture").wait_for()
            page.locator(".arrange-live").first.evaluate("each => each.scrollIntoView()")
            page.wait_for_timeout(15_000)  # a player looks before moving
            everything: list[float] = []
            octaves = {-2: "two octaves down", -1: "an octave down", 0: "as written",
                       1: "an octave up", 2: "two octaves up"}  # fmt: skip
            capos = {fret: f"capo at fret {fret}" for fret in range(1, 8)} | {0: "as written"}
            tempos = {value: f"tempo {value}" for value in range(40, 200)} | {102: "as written"}
            for slider, says, shares in (
                ("Octave", octaves, to_and_fro(0.5, 8)),
                ("Capo", capos, to_and_fro(0.9, 14)[:28]),
                ("Tempo", tempos, to_and_fro(0.3, 12)),
            ):
                taken = measure(page, ".arrange-live", slider, says, shares)
                print_row(slider, taken)
                everything += taken
            print_row("all three", everything)
            print_row("letting go to sound", sound_ready(page))
            page.close()
            layers = folder / "datasets" / "last-bell.musicxml"
            write_page(layers, folder / "layers.ipynb", layers=True)
            page = browser.new_page(viewport={"width": 1280, "height": 1000})
            Notebook(page, address, "layers.ipynb").run_from_the_top()
            page.locator(".arrange-layers table").wait_for()
            page.wait_for_timeout(30_000)  # until most of what hands can hold has been tried
            print_row("layers", share_out(page, 30 * ROUNDS))
        print_row("layers, kernel alone", kernel_alone(layers, 30 * ROUNDS))
        browser.close()


if __name__ == "__main__":
    main()
