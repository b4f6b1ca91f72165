"""A part sheet as one HTML file that needs nothing else: it plays, and prints as on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from arrange.handouts.page_setup import web_page
from arrange.handouts.printing import sentence
from arrange.handouts.sheet_player import player_html
from arrange.handouts.sheets import PartSheet
from arrange.handouts.stretches import Bar, Stretch
from arrange.handouts.systems import System

_A_ROW = 4  # bars


def part_html(sheet: PartSheet, sound: Mapping[str, Any], pages: Sequence[str], paper: str) -> str:
    """Return a part sheet as HTML, which plays what ``song_sound`` gives and prints the pages."""
    systems = sheet.web_systems
    stretches = [_stretch(*each) for each in zip(sheet.stretches, systems, strict=True)]
    return web_page(
        "sheet.html", pages, paper, sheet=sheet, name=sheet.part, stretches=stretches,
        player=player_html(sound, sheet.part),
    )  # fmt: skip


def _stretch(stretch: Stretch, systems: Sequence[Sequence[System]]) -> dict[str, Any]:
    has_bars = not systems and any(bar.chords or bar.counts for bar in stretch.bars)
    spans = zip(stretch.spans[1:], systems[1:], strict=True)
    return {
        "title": stretch.title,
        "sections": stretch.sections,
        "where": stretch.where,
        "facts": "; ".join(stretch.facts),
        "words": stretch.words,
        "cues": sentence(stretch.cues),
        "notices": stretch.notices,
        "shapes": stretch.shapes,
        "seen": ", ".join(stretch.seen),
        "patterns": stretch.patterns,
        "rows": _rows(stretch.bars) if has_bars else [],
        "systems": systems[0] if systems else (),
        "others": [
            *({"label": span.label, "systems": own, "rows": []} for span, own in spans),
            *({"label": row.label, "systems": (), "rows": _rows(row.bars)} for row in stretch.rows),
        ],
    }


def _rows(bars: Sequence[Bar]) -> list[Sequence[Bar]]:
    return [bars[n : n + _A_ROW] for n in range(0, len(bars), _A_ROW)]
