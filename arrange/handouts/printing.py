"""A sheet on paper: blocks, their heights, and the largest type in which they fit two facing pages.

A song that does not fit keeps a legible type and takes more pages, which end where there is time
to turn; the sheet says why.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

import numpy as np

from arrange.explaining.part_sections import own_notes
from arrange.handouts.engraving import STAFF_MM
from arrange.handouts.page_setup import (
    breakable,
    page_foot,
    print_template,
    text_height,
    text_width,
)
from arrange.handouts.page_turns import LEAST_SECONDS, TURN_SECONDS, page_starts
from arrange.handouts.sheets import PartSheet
from arrange.handouts.stretches import EITHER, RATHER_NOTES, TAB, Bar, Stretch
from arrange.handouts.systems import System
from arrange.handouts.typesetting import PAPERS, Typeset, query_template
from arrange.tables.song import Song
from arrange.text.words import counted, first_up

FACING = 2  # pages that lie open on the stand

_PART_SIZE = 13.0  # points; some 4.6 mm, read at arm's length
# Against that size and the usual staff: the smallest has a staff of 4.0 mm, and is taken only where
# there is no other way to two pages.
_SCALES = (1.0, 0.94, 0.88, 0.82, 0.76, 0.7, 0.67, 0.65, 0.63, 0.61, 0.59)
_LONG_SCALE = 0.88  # where two pages do not do
_CHORDS_IN_TAB = (
    "Chords stand in tablature with counts, so that all lies open on two pages; the web page has "
    "their notation."
)
_NO_NOTATION = (
    "Tablature with counts, so that all lies open on two pages; the web page has the notation."
)
_A_ROW = 4  # bars that are drawn with their counts
_A_ROW_OF_CHORDS = 8
_SHAPES_A_ROW, _MOST_SHAPES_A_ROW = 9, 12  # in the largest size, and in any; as in sheet.typ
_MOST_BESIDE = 0.5  # of the width, up to which shapes leave room for bars beside them
_MOST_BESIDE_BARS = 16  # each with its counts, beside a shape that moves
_GAP_MM = 4.0
_MM_A_LETTER = 0.27  # of a chord symbol, to a point of its size
_CHORD_SIZE = 15.0  # points
_LEAST_CHORD = 10.0
_SPARE_MM = 0.5
_SVG = re.compile(r"<svg [^>]*>")


@dataclass(frozen=True)
class _Piece:
    """What no page end divides: what the template draws, its height in mm, and the seconds
    without a note of the part around its beginning.
    """

    block: dict[str, Any]
    height: float
    rest: float


@dataclass(frozen=True)
class _Pages:
    """Pieces in a size, the piece that each page begins with, and what is said of the layout."""

    scale: float
    pieces: list[_Piece]
    starts: list[int]
    why_so: str

    @property
    def high(self) -> float:
        """Height of all pieces with music, mm."""
        return sum(piece.height for piece in self.pieces if piece.block["kind"] != "lesson")

    @property
    def count(self) -> int:
        """Pages with music; a teacher's words stand behind them."""
        music = sum(piece.block["kind"] != "lesson" for piece in self.pieces)
        return int(np.searchsorted(self.starts, music - 1, side="right"))


def print_part(sheet: PartSheet, song: Song, paper: str) -> Typeset:
    """Return the pages of a part sheet: two facing ones where a legible type allows it."""
    pages = _best_pages(sheet, _rests(song, sheet.part), paper)
    blocks = [piece.block for piece in pages.pieces]
    turns = _turns(pages.starts, [piece.rest for piece in pages.pieces])
    printed = {"pass": "print", "starts": pages.starts, "turns": turns,
               "why_so": pages.why_so}  # fmt: skip
    return Typeset(print_template("sheet.typ"), _data(sheet, blocks, paper, pages.scale) | printed)


def _best_pages(sheet: PartSheet, rests: Sequence[float], paper: str) -> _Pages:
    """The pages with notation where that fits, else without that of chords, else without any; in
    the largest size that fits.

    Sizes are first tried with blank lines of music, which are quick; of each way the smallest size
    first, and where it is too large for the first way the one that takes the least room, since a
    long song fits in none. `rests` is of each bar.
    """
    forms = {span.form for stretch in sheet.stretches for span in stretch.spans}
    ways = [in_tab for in_tab in ((TAB,), (TAB, EITHER), (TAB, EITHER, RATHER_NOTES))
            if in_tab[-1] in forms or len(in_tab) == 1]  # fmt: skip

    def blank(scale: float, in_tab: Sequence[str]) -> _Pages:
        return _laid_out(sheet, rests, paper, scale, in_tab, are_blank=True)

    def fits(in_tab: Sequence[str], scale: float) -> bool:
        return blank(scale, in_tab).count <= FACING

    room = FACING * (text_height(paper) - _SPARE_MM)
    for in_tab in ways:
        is_last = in_tab == ways[-1]
        scales: tuple[float, ...] = _SCALES if is_last else _SCALES[:-1]
        least = blank(scales[-1], in_tab)
        if least.count > FACING:
            if in_tab == ways[0]:
                last = least if is_last else blank(_SCALES[-1], ways[-1])
                if last.count > FACING + 1:
                    break
            may_fit = is_last or least.high <= room
            scales = scales[-1:] * may_fit
        else:
            scales = tuple(s for s in scales if s <= scales[-1] * room / least.high)
            scales = scales[bisect_left(scales[:-1], True, key=partial(fits, in_tab)) :]
        for scale in scales:
            pages = _laid_out(sheet, rests, paper, scale, in_tab)
            if pages.count <= FACING:
                return pages
    return _laid_out(sheet, rests, paper, _LONG_SCALE, (TAB,))


def _laid_out(
    sheet: PartSheet,
    rests: Sequence[float],
    paper: str,
    scale: float,
    in_tab: Sequence[str],
    *,
    are_blank: bool = False,
) -> _Pages:
    width = text_width(paper)
    systems = sheet.systems(width, STAFF_MM * scale, in_tab, are_blank=are_blank)
    blocks = _blocks(sheet, systems, width, scale)
    before = [_rest_before(block, rests) for block in blocks]
    data = _data(sheet, [_without_pictures(block) for block in blocks], paper, scale)

    def with_words(why_so: str) -> _Pages:
        query = query_template(print_template("sheet.typ"), "heights", data | {"why_so": why_so})
        pieces = list(map(_Piece, blocks, json.loads(query), before))
        starts = page_starts(
            [piece.height for piece in pieces], before, ["title" in block for block in blocks],
            text_height(paper) - _SPARE_MM,
        )  # fmt: skip
        return _Pages(scale, pieces, starts, why_so)

    pages = with_words({EITHER: _CHORDS_IN_TAB, RATHER_NOTES: _NO_NOTATION}.get(in_tab[-1], ""))
    if pages.count <= FACING or are_blank:
        return pages
    return with_words(_why_long(sheet, pages.count))


def _without_pictures(block: dict[str, Any]) -> dict[str, Any]:
    """A block as high, for heights are known without what is drawn."""
    blank = {"picture": ""} if "picture" in block else {}
    shapes = [_SVG.match(each)[0] + "</svg>" for each in block.get("shapes", ())]  # type: ignore[index]
    return block | blank | ({"shapes": shapes} if shapes else {})


def _why_long(sheet: PartSheet, count: int) -> str:
    """Why there are more pages than lie open at once."""
    bars = sum(stretch.times[0].last - stretch.times[0].first + 1 for stretch in sheet.stretches
               if stretch.plays)  # fmt: skip
    return (
        f"{count} pages: {counted(len(sheet.stretches), 'section')} with "
        f"{counted(bars, 'bar')} that do not return, more than two pages hold in a legible type."
    )


def _blocks(
    sheet: PartSheet, systems: Sequence[Sequence[Sequence[System]]], width: float, scale: float
) -> list[dict[str, Any]]:
    """All that stands on the pages, in order."""
    found: list[dict[str, Any]] = [{"kind": "head", "above": 0.0}]
    for stretch, own in zip(sheet.stretches, systems, strict=True):
        found += _stretch_blocks(stretch, own, width, scale)
    found.append({"kind": "words", "above": 2.0 * scale, "lines": list(sheet.cautions)})
    for title, steps in sheet.lessons:
        found.append({"kind": "lesson", "above": 4.0 * scale, "title": title, "lines": list(steps)})
    return found


def _stretch_blocks(
    stretch: Stretch, systems: Sequence[Sequence[System]], width: float, scale: float
) -> list[dict[str, Any]]:
    head: dict[str, Any] = {
        "kind": "stretch",
        "above": 2.5 * scale,
        "title": stretch.title,
        "where": stretch.where,
        "facts": "; ".join(stretch.facts),
        "words": stretch.words,
        "cues": sentence(stretch.cues),
        "notices": list(stretch.notices),
        "seen": list(stretch.seen),
        "first": stretch.times[0].first,
        "plays": stretch.plays,
    }
    if stretch.shapes:
        head["shapes"] = list(stretch.shapes)
    is_few = stretch.moves and not systems and len(stretch.bars) <= _MOST_BESIDE_BARS
    is_beside = bool(stretch.patterns) or is_few
    if is_beside:
        head["patterns"] = [asdict(pattern) for pattern in stretch.patterns]
        wide = _shapes_wide(stretch, width, scale)
        head["beside_shapes"] = 0 < wide <= _MOST_BESIDE * width
        head["shapes_wide"] = wide if head["beside_shapes"] else width / 4
    others = _others(stretch, systems, width, scale)
    rows = [_system_row(system, "") for system in systems[0]] if systems else []
    has_bars = not systems and any(bar.chords or bar.counts for bar in stretch.bars)
    if has_bars and is_beside:
        head["rows"] = _bar_rows(stretch.bars, width - head["shapes_wide"] - _GAP_MM, scale)
    elif has_bars:
        rows = _bar_rows(stretch.bars, width, scale)
    blocks = [head | (rows[0] if rows else {})]
    return blocks + [{"kind": "row", "above": 0.8 * scale, **row} for row in [*rows[1:], *others]]


def _shapes_wide(stretch: Stretch, width: float, scale: float) -> float:
    """How wide the shapes are beside each other, mm."""
    a_row = min(int(_SHAPES_A_ROW / scale), _MOST_SHAPES_A_ROW)
    return width * len(stretch.shapes) / a_row


def _others(
    stretch: Stretch, systems: Sequence[Sequence[System]], width: float, scale: float
) -> list[dict[str, Any]]:
    """The bars in which a later time differs, a row each, or beside each other where they fit."""
    found: list[dict[str, Any]] = []
    for span, own in zip(stretch.spans[1:], systems[1:], strict=True):
        for n, system in enumerate(own):
            cut = system.cut()
            share = min(system.natural / system.width, 1.0)
            item = _system_row(cut, span.label if not n else "") | {"share": share}
            room = found and sum(each["share"] for each in found[-1]["beside"]) + share <= 1.0
            if room:
                found[-1]["beside"].append(item)
            else:
                found.append({"beside": [item], "first": stretch.times[0].first})
    for row in stretch.rows:
        own_rows = _bar_rows(row.bars, width, scale)
        found += [{**each, "label": row.label if not n else "", "first": stretch.times[0].first}
                  for n, each in enumerate(own_rows)]  # fmt: skip
    return found


def _system_row(system: System, label: str) -> dict[str, Any]:
    return {
        "picture": system.picture,
        "height": system.height,
        "first": system.first,
        "number": system.number(),
        "label": label,
    }


def _bar_rows(bars: Sequence[Bar], width: float, scale: float) -> list[dict[str, Any]]:
    """Bars in rows of four or eight, as wide as their chord symbols ask; all in one size."""
    a_row = _A_ROW if any(bar.counts for bar in bars) else _A_ROW_OF_CHORDS
    if _fitting_size(bars, width / a_row) < _CHORD_SIZE * scale:
        a_row = _A_ROW
    cells = max(min(a_row, len(bars)), _A_ROW)
    fits = min(_fitting_size(bars, width / cells), _CHORD_SIZE * scale)
    rows = []
    for start in range(0, len(bars), a_row):
        own = bars[start : start + a_row]
        blank = [None] * (cells - len(own))
        rows.append({"bars": [*map(asdict, own), *blank], "first": own[0].number,
                     "chord_size": max(fits, _LEAST_CHORD)})  # fmt: skip
    return rows


def _fitting_size(bars: Sequence[Bar], width: float) -> float:
    """Size of type, in points, in which the chord symbols of each bar fit beside each other."""
    longest = max((sum(len(c) + 1.5 for c in bar.chords) for bar in bars), default=0)
    return (width - 9) / (_MM_A_LETTER * max(longest, 1))


def sentence(cues: Sequence[str]) -> str:
    """Return cues as one line of text."""
    text = "; ".join(cues)
    return first_up(text) + "." if text else ""


def _rests(song: Song, part: str) -> list[float]:
    """Seconds without a note of the part around the beginning of each bar."""
    notes = own_notes(song, part)
    onset = notes["onset"].to_numpy()
    end = onset + notes["duration"].to_numpy()
    lines = song.measures["onset"].to_numpy()
    latest = np.append(0.0, np.maximum.accumulate(end))  # of the notes up to each
    begun = np.searchsorted(onset, lines - 1e-9)  # notes before each line
    begin = np.minimum(latest[begun], lines)
    after = np.append(onset, song.duration)[begun]
    rests: list[float] = (song.seconds(after) - song.seconds(begin)).tolist()
    return [0.0, *rests[1:]]  # the music begins below the form


def _rest_before(block: dict[str, Any], rests: Sequence[float]) -> float:
    if "first" not in block:
        return 0.0 if block["kind"] == "head" else float("inf")  # after the end
    return rests[block["first"] - 1]


def _turns(starts: Sequence[int], rests: Sequence[float]) -> list[str]:
    """What stands at the foot of each page."""
    lines = []
    for page, start in enumerate(starts[1:], 2):
        seconds = rests[start]
        if not page % 2:
            lines.append(f"Lay page {page} beside this one")
        elif np.isinf(seconds):
            lines.append("Turn after the end")
        elif seconds >= TURN_SECONDS:
            lines.append(f"Turn in the rest: {seconds:.0f} s")
        elif seconds >= LEAST_SECONDS:
            lines.append(f"Turn quickly: {seconds:.0f} s, or lay page {page} beside too")
        else:
            lines.append(f"No time to turn: lay page {page} beside too")
    return lines


def _data(
    sheet: PartSheet, blocks: Sequence[dict[str, Any]], paper: str, scale: float
) -> dict[str, Any]:
    return breakable({
        "pass": "measure", "paper": PAPERS[paper][2], "size": _PART_SIZE * scale, "scale": scale,
        "title": sheet.title, "name": sheet.part, "player": sheet.player,
        "foot": page_foot(sheet.title, sheet.part), "facts": sheet.facts, "form": sheet.form,
        "legend": sheet.legend, "shapes": list(sheet.shapes), "why_so": "", "blocks": list(blocks),
        "notices": list(sheet.notices), "starts": [], "turns": [],
    })  # fmt: skip
