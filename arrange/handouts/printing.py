"""A sheet as PDF: blocks, their heights, page ends where there is time to turn, and the pages."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import islice
from typing import Any

import numpy as np

from arrange.explaining.part_sections import own_notes
from arrange.handouts.page_setup import page_foot, print_template, text_height, text_width
from arrange.handouts.page_turns import LEAST_SECONDS, TURN_SECONDS, page_starts, pair_of
from arrange.handouts.sheets import Bar, PartSheet, Stretch
from arrange.handouts.typesetting import PAPERS, compile_template, query_template
from arrange.tables.song import Song
from arrange.text.words import first_up

_PART_SIZE = 13.0  # points; some 4.6 mm, read at arm's length
_A_ROW = 4  # bars
_A_ROW_UNPLAYED = 8  # where chord symbols are short
_MM_A_LETTER = 0.27  # of a chord symbol, to a point of its size
_CHORD_SIZE = 15.0  # points
_LEAST_CHORD = 10.0
_SPARE_MM = 1.0


@dataclass(frozen=True)
class _Piece:
    """What no page end divides: what the template draws, its height in mm, and the seconds
    without a note of the part around its beginning.
    """

    block: dict[str, Any]
    height: float
    rest: float


def print_part(sheet: PartSheet, song: Song, paper: str) -> bytes:
    """Return a part sheet as PDF.

    A section is written as another where that one lies open on the stand, and is written out
    where one would have to leaf back.
    """
    forms = _forms(sheet, song, paper)
    room = text_height(paper) - _SPARE_MM
    written_as = {s.section: s.written_as for s in sheet.stretches if s.written_as}
    while True:
        pieces = [piece for name, is_short, own in forms
                  if is_short == (name in written_as) for piece in own]  # fmt: skip
        starts = page_starts(
            [piece.height for piece in pieces], [piece.rest for piece in pieces],
            ["section" in piece.block for piece in pieces], room,
        )  # fmt: skip
        pages = {piece.block["section"]: page_of(n, starts)
                 for n, piece in enumerate(pieces) if "section" in piece.block}  # fmt: skip
        far = next((own for own, other in written_as.items()
                    if pair_of(pages[own]) != pair_of(pages[other])), None)  # fmt: skip
        if far is None:
            break
        source = written_as.pop(far)
        sections = list(pages)
        for own, other in written_as.items():  # the nearer one serves those after it
            if other == source and sections.index(own) > sections.index(far):
                written_as[own] = far
    blocks = [piece.block for piece in pieces]
    for block in blocks:
        if block.get("section") in written_as:
            source = written_as[block["section"]]
            block["cues"] = sentence([_again(source, str(pages[source])), *block["own_cues"]])
    turns = _turns(starts, [piece.rest for piece in pieces])
    return _compile(_data(sheet, blocks, paper, starts, turns, is_final=True))


def _forms(sheet: PartSheet, song: Song, paper: str) -> list[tuple[str, bool, list[_Piece]]]:
    """All that may stand on the pages, in order: the section, whether it refers to another one,
    and its pieces; a section that repeats one comes in both forms.
    """
    width = text_width(paper)
    form = {"picture": sheet.form, "height": sheet.form_height, "legend": sheet.legend}
    head: list[dict[str, Any]] = [{"kind": "head", "above": 0.0},
                                  {"kind": "form", "above": 2.5, **form}]  # fmt: skip
    end: dict[str, Any] = {"kind": "words", "above": 4.0, "lines": list(sheet.cautions)}
    found = [("", False, head)]
    for stretch in sheet.stretches:
        found.append((stretch.section, False, _stretch_blocks(stretch.written_out(), width)))
        if stretch.written_as:
            found.append((stretch.section, True, _stretch_blocks(stretch, width)))
    found.append(("", False, [end]))
    blocks = [block for _, _, own in found for block in own]
    heights = json.loads(_query(_data(sheet, blocks, paper, [], [])))
    rests = _rests(song, sheet.part, blocks)
    pieces = iter(map(_Piece, blocks, heights, rests))
    return [(name, is_short, list(islice(pieces, len(own)))) for name, is_short, own in found]


def page_of(block: int, starts: Sequence[int]) -> int:
    """Return the page that a block stands on, from 1."""
    return int(np.searchsorted(starts, block, side="right"))


def _stretch_blocks(stretch: Stretch, width: float) -> list[dict[str, Any]]:
    count = stretch.last - stretch.first + 1
    is_short = bool(stretch.written_as)
    cues = [_again(stretch.written_as, "00")] * is_short + list(stretch.cues)
    head: dict[str, Any] = {
        "kind": "stretch",
        "above": 3.5,
        "section": stretch.section,
        "where": bars_title(stretch.first, count),
        "facts": "; ".join(stretch.facts),
        "cues": sentence(cues),
        "own_cues": list(stretch.cues),
        "notices": list(stretch.notices),
        "first": stretch.first,
    }
    if stretch.shapes and not is_short:
        head["shapes"] = list(stretch.shapes)
    rows: list[dict[str, Any]] = [
        {
            "picture": system.picture,
            "height": system.height,
            "first": system.first,
            "number": system.number(),
        }
        for system in stretch.systems
        if not is_short
    ]
    all_bars = stretch.bars if is_short or not stretch.struck else stretch.struck
    a_row = _A_ROW if stretch.plays and not is_short else _A_ROW_UNPLAYED
    if _chord_size(all_bars, width / a_row) < _CHORD_SIZE:
        a_row = _A_ROW
    if not rows and any(bar.chords or bar.counts for bar in all_bars):
        for start in range(0, count, a_row):
            own = all_bars[start : start + a_row]
            bars = [asdict(bar) for bar in own] + [None] * (
                a_row - len(own) if count > a_row else 0
            )
            size = _chord_size(own, width / len(bars))
            rows.append({"bars": bars, "first": own[0].number, "chord_size": size})
    blocks = [head | (rows[0] if rows else {})]
    return blocks + [{"kind": "row", "above": 1.5, **row} for row in rows[1:]]


def _chord_size(bars: Sequence[Bar], width: float) -> float:
    """Size of type, in points, in which the chord symbols of each bar fit beside each other."""
    longest = max((sum(len(c) + 1.5 for c in bar.chords) for bar in bars), default=0)
    fits = (width - 9) / (_MM_A_LETTER * max(longest, 1))
    return max(min(fits, _CHORD_SIZE), _LEAST_CHORD)


def bars_title(first: int, count: int) -> str:
    """Return where a section lies: ``"bars 5–12 (8 bars)"``."""
    if count == 1:
        return f"bar {first}"
    return f"bars {first}–{first + count - 1} ({count} bars)"


def sentence(cues: Sequence[str]) -> str:
    """Return cues as one line of text."""
    text = "; ".join(cues)
    return first_up(text) + "." if text else ""


def _again(section: str, page: str) -> str:
    return f"play {section} again (page {page})"


def _rests(song: Song, part: str, blocks: Sequence[dict[str, Any]]) -> list[float]:
    """Seconds without a note of the part around the beginning of each block."""
    notes = own_notes(song, part)
    onsets = np.sort(notes["onset"].to_numpy())
    ends = np.sort((notes["onset"] + notes["duration"]).to_numpy())
    bars = song.measures["onset"].to_numpy()
    rests = []
    for block in blocks:
        if "first" not in block:
            rests.append(float("inf") if block is blocks[-1] else 0.0)  # cautions: after the end
            continue
        if block["first"] == 1:  # the music begins below the form
            rests.append(0.0)
            continue
        line = bars[block["first"] - 1]
        before = onsets < line - 1e-9
        held = (notes["onset"].to_numpy() < line - 1e-9) & (
            (notes["onset"] + notes["duration"]).to_numpy() > line + 1e-9
        )
        done = ends[ends <= line + 1e-9].max(initial=0.0)
        after = onsets[~before].min(initial=song.duration)
        begin = line if held.any() else done
        rests.append(song.seconds(after) - song.seconds(begin))
    return rests


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
    sheet: PartSheet,
    blocks: Sequence[dict[str, Any]],
    paper: str,
    starts: Sequence[int],
    turns: Sequence[str],
    *,
    is_final: bool = False,
) -> dict[str, Any]:
    if not is_final:  # heights are known without the pictures
        blocks = [b | ({"picture": ""} if "picture" in b else {}) for b in blocks]
    return {
        "pass": "print" if is_final else "measure", "paper": PAPERS[paper][2],
        "size": _PART_SIZE, "title": sheet.title, "name": sheet.part, "player": sheet.player,
        "foot": page_foot(sheet.title, sheet.part), "facts": sheet.facts, "blocks": list(blocks),
        "notices": list(sheet.notices),
        "starts": list(starts), "turns": list(turns),
    }  # fmt: skip


def _query(data: dict[str, Any]) -> str:
    return query_template(print_template("sheet.typ"), "heights", data)


def _compile(data: dict[str, Any]) -> bytes:
    return compile_template(print_template("sheet.typ"), data)
