"""A sheet as one HTML file that needs nothing else, pictures inside; it prints well."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

import jinja2

from arrange.handouts.band import BandSheet
from arrange.handouts.printing import bars_title, sentence
from arrange.handouts.sheet_player import player_html
from arrange.handouts.sheets import PartSheet, Stretch

_A_ROW = 4  # bars
_EQUATION = re.compile(r"(?:dotted )?[^\s,;]+ = [^\s,;]+")


def part_html(sheet: PartSheet, sound: Mapping[str, Any]) -> str:
    """Return a part sheet as HTML, which plays the song that ``song_sound`` gives."""
    places = {stretch.section: n for n, stretch in enumerate(sheet.stretches, 1)}
    stretches = [_stretch(stretch, places) for stretch in sheet.stretches]
    return _template().render(kind="part", sheet=sheet, name=sheet.part, stretches=stretches,
                              player=player_html(sound, sheet.part))  # fmt: skip


def band_html(sheet: BandSheet) -> str:
    """Return a band sheet as HTML."""
    return _template().render(
        kind="band",
        sheet={**asdict(sheet), "player": ""},
        name="band sheet",
        stretches=[],
        player="",
    )


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


def _unbroken(text: str) -> str:
    """The same, no tempo and no pair of chords divided by the end of a line."""
    return _EQUATION.sub(lambda found: found[0].replace(" ", "\u00a0"), text)


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    environment.filters["unbroken"] = _unbroken
    return environment.from_string(
        (Path(__file__).parent / "sheet.html").read_text(encoding="utf-8")
    )
