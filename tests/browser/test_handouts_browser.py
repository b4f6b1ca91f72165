"""Sheets as HTML in a real browser: on a phone, a tablet and a laptop."""

from pathlib import Path

import pytest
from lab import ROOT

import arrange as ar

WIDTHS = (380, 900, 1300)

# Of texts that belong together, those on several lines: the tops of their letters differ.
DIVIDED = """(selector) => [...document.querySelectorAll(selector)].filter(each => {
    const range = document.createRange(); range.selectNodeContents(each);
    const tops = [...range.getClientRects()].map(box => Math.round(box.top));
    return Math.max(...tops) - Math.min(...tops) > 6 }).map(each => each.textContent)"""
FRETS = """() => [...document.querySelectorAll('.system text')].map(
    each => each.getBoundingClientRect().height)"""
ENERGIES = (
    "[...document.querySelectorAll('.energy')].map(each => each.getBoundingClientRect().width)"
)
WIDE = "[...document.querySelectorAll('.system')].some(each => each.scrollWidth > each.clientWidth)"
COUNTS = """() => [...document.querySelectorAll('.bars, .patterns')].map(row =>
    [...row.querySelectorAll('.count')].map(each =>
        [each.parentElement.getBoundingClientRect().top, each.getBoundingClientRect().top]))"""


@pytest.fixture(scope="module")
def sheets(tmp_path_factory):
    """A song with a tempo that changes, and one with two shapes in a bar."""
    folder = tmp_path_factory.mktemp("sheets")
    low = ar.read(ROOT / "datasets/low-water.txt")
    shapes = ar.Layout(style="shapes")
    paths = ar.write_handout(low, folder, player="Guitar 1", layout=shapes)
    barn = ar.read(ROOT / "datasets/barn-lights.txt")
    paths += ar.write_handout(barn, folder, player="Acoustic", layout=shapes)
    return [Path(path) for path in paths if path.suffix == ".html"]


@pytest.fixture(params=WIDTHS)
def opened(request, browser, sheets):
    page = browser.new_page(viewport={"width": request.param, "height": 900})
    yield lambda word: page.goto(next(p for p in sheets if word in p.name).as_uri()) and page
    page.close()


@pytest.mark.parametrize("name", ["low-water-at-ferrystone-band", "barn-lights-at-ostrey-band"])
def test_a_row_of_the_band_sheet_has_its_bars_in_one_piece(opened, name):
    page = opened(name)
    assert page.evaluate(DIVIDED, "th, td:nth-child(2), td:nth-child(3)") == []
    lengths = page.evaluate(ENERGIES)
    if name.startswith("low"):
        assert lengths.count(max(lengths)) == 1  # a full section's bar is longer than all others


@pytest.mark.parametrize("name", ["ferrystone-guitar-1", "ferrystone-band", "ostrey-acoustic"])
def test_nothing_reaches_over_the_edge(opened, name):
    """What is wider than the screen moves alone, which is said, and the page stays where it is."""
    page = opened(name)
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert page.locator(".if-narrow").is_visible() == page.evaluate(WIDE)


def test_frets_can_be_read_on_a_phone(opened):
    """Seven pixels and more, some 1.1 mm on a phone of 160 pixels an inch."""
    heights = opened("ferrystone-guitar-1").evaluate(FRETS)
    assert heights
    assert min(heights) >= 7


def test_counts_of_a_row_stand_beside_each_other(opened):
    """Also where one of its bars names the shapes that it has."""
    page = opened("ostrey-acoustic")
    rows = page.evaluate(COUNTS)
    assert any(rows)
    for row in rows:
        lines = {}
        for bar, count in row:
            lines.setdefault(round(bar), set()).add(round(count))
        assert all(len(tops) == 1 for tops in lines.values())
