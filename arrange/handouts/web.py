"""A sheet as one HTML file that needs nothing else, pictures inside; it prints well."""

from __future__ import annotations

from typing import Any

from arrange.handouts.page_setup import web_page
from arrange.handouts.printing import bars_title, sentence
from arrange.handouts.sheets import PartSheet, Stretch

_A_ROW = 4  # bars


def part_html(sheet: PartSheet) -> str:
    """Return a part sheet as HTML."""
    places = {stretch.section: n for n, stretch in enumerate(sheet.stretches, 1)}
    stretches = [_stretch(stretch, places) for stretch in sheet.stretches]
    return web_page("sheet.html", sheet=sheet, name=sheet.part, stretches=stretches)


def _stretch(stretch: Stretch, places: dict[str, int]) -> dict[str, Any]:
    systems = () if stretch.written_as else stretch.systems
    bars = stretch.bars if stretch.written_as else stretch.struck or stretch.bars
    if systems or not any(bar.chords or bar.counts for bar in bars):
        bars = ()
    return {
        "section": stretch.section,
        "where": bars_title(stretch.first, stretch.last - stretch.first + 1),
        "facts": "; ".join(stretch.facts),
        "written_as": stretch.written_as,
        "link": places.get(stretch.written_as),
        "cues": sentence(stretch.cues),
        "notices": stretch.notices,
        "shapes": () if stretch.written_as else stretch.shapes,
        "rows": [bars[n : n + _A_ROW] for n in range(0, len(bars), _A_ROW)],
        "systems": systems,
    }
