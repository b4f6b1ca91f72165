"""A band sheet as PDF and as HTML."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from arrange.handouts.band import BandSheet
from arrange.handouts.page_setup import page_foot, print_template, text_height, web_page
from arrange.handouts.typesetting import PAPERS, compile_template, query_template

_SIZES = (13.0, 12.0, 11.0, 10.0, 9.0, 8.0)  # points; the largest that fits on one page
_SPARE_MM = 6.0


def print_band(sheet: BandSheet, paper: str) -> bytes:
    """Return a band sheet as PDF, on one page where a legible type allows it."""
    room = text_height(paper) - _SPARE_MM
    template = print_template("band.typ")
    data: dict[str, Any] = asdict(sheet) | {
        "name": "band sheet", "player": "", "paper": PAPERS[paper][2], "turns": [],
        "pass": "measure", "sizes": _SIZES, "size": _SIZES[-1],
        "foot": page_foot(sheet.title, "band sheet"),
    }  # fmt: skip
    heights = zip(_SIZES, json.loads(query_template(template, "heights", data)), strict=True)
    size = next((size for size, height in heights if height <= room), _SIZES[-1])
    return compile_template(template, data | {"pass": "print", "size": size})


def band_html(sheet: BandSheet) -> str:
    """Return a band sheet as HTML."""
    return web_page("band.html", sheet={**asdict(sheet), "player": ""}, name="band sheet")
