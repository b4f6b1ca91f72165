"""A band sheet as PDF and as HTML: a page of chords in letters, and one in numbers."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from arrange.handouts.band import BandSheet
from arrange.handouts.page_setup import (
    breakable,
    page_foot,
    print_template,
    text_height,
    web_page,
)
from arrange.handouts.progressions import Entry, Progression
from arrange.handouts.sheet_player import player_html
from arrange.handouts.typesetting import PAPERS, Typeset, query_template
from arrange.text.words import counted, joined_labels
from arrange.theory.chord_symbols import number_parts

_SIZES = (13.0, 12.0, 11.0, 10.0, 9.0, 8.0)  # points; the largest that fits on one page
_SPARE_MM = 6.0


def print_band(sheet: BandSheet, paper: str) -> Typeset:
    """Return the pages of a band sheet: one of letters, one of numbers, if a legible type fits."""
    template = print_template("band.typ")
    data: dict[str, Any] = {
        **breakable(_data(sheet)), "name": "band sheet", "player": "",
        "paper": PAPERS[paper][2], "turns": [],
        "pass": "measure", "sizes": _SIZES, "room": text_height(paper) - _SPARE_MM,
        "size": _SIZES[-1], "numbers_size": _SIZES[-1],
        "foot": page_foot(sheet.title, "band sheet"), "why_so": "",
    }  # fmt: skip
    fitting = json.loads(query_template(template, "sizes", data))  # a size or none for each page
    sizes = [size or _SIZES[-1] for size in fitting]
    done = {"pass": "print", "size": sizes[0], "numbers_size": sizes[-1],
            "why_so": "" if all(fitting) else _why_long(sheet)}  # fmt: skip
    return Typeset(template, data | done)


def _why_long(sheet: BandSheet) -> str:
    """Why the chords, in letters or in numbers, take more than a page."""
    bars = sum(len(each.bars) for each in sheet.progressions)
    return (
        f"More pages than one: {counted(len(sheet.rows), 'section')} and "
        f"{counted(bars, 'bar')} of chords, with what is said of them, are more than a page holds "
        "in a legible type."
    )


def band_html(sheet: BandSheet, sound: Mapping[str, Any], pages: Sequence[str], paper: str) -> str:
    """Return a band sheet as HTML, which plays what ``song_sound`` gives and prints the pages."""
    return web_page(
        "band.html", pages, paper, sheet={**_data(sheet), "player": ""}, name="band sheet",
        player=player_html(sound),
    )  # fmt: skip


def _data(sheet: BandSheet) -> dict[str, Any]:
    firsts = {row.section: row.first for row in sheet.rows}
    chords = [
        _chords(each, sheet.progressions[0].keys[0], firsts[each.sections[0]])
        for each in sheet.progressions
    ]
    bars = [bar for each in chords for bar in each["bars"]]
    letters = [
        [len(e["symbol"]) + len(e["count"]) if e["is_chord"] else 0.5 for e in bar] for bar in bars
    ]
    return asdict(sheet) | {
        "progressions": chords,
        "longest_bar": max((max(own) + 0.9) * len(own) - 0.9 for own in letters),
    }


def _chords(chords: Progression, song_key: tuple[int, str], first: int) -> dict[str, Any]:
    """What the templates draw of a progression that is played from its first bar on.

    The key is named where it is not the song's; `played` is when each bar is, as the player of a
    page reads it.
    """
    length = len(chords.bars)
    times = [[first + n + length * time for time in range(chords.times)] for n in range(length)]
    keys = [
        (f"from its bar {bar}: " if bar > 1 else "") + (f"key {key}" if key else "no key")
        for bar, key in chords.keys
        if (bar, key) != song_key
    ]
    where = counted(length, "bar")
    return {
        "label": joined_labels(chords.sections),
        "sections": chords.sections,
        "played": [" ".join(f"{bar} {bar}" for bar in own) for own in times],
        "where": where + (f", {chords.times} times" if chords.times > 1 else ""),
        "key_words": ", ".join(keys),
        "bars": [[_entry(entry) for entry in bar] for bar in chords.bars],
    }


def _entry(entry: Entry) -> dict[str, Any]:
    """A place in a bar; `number` is what stands on the line, raised, and on the line again."""
    degree, kind, bass = number_parts(entry.number)
    is_minor = kind.startswith("m") and not kind.startswith("maj")
    number = [degree + kind[:is_minor], kind[is_minor:], bass]
    open_, close = ("(", ")") if entry.is_held else ("", "")
    return {
        "symbol": f"{open_}{entry.symbol}{close}", "number": number, "count": entry.count,
        "is_chord": entry.is_chord, "arrow": "→" if entry.is_pushed else "",
        "is_held": entry.is_held,
    }  # fmt: skip
