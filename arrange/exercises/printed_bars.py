"""The bars of an exercise as its sheet prints them, with all parts of a line together.

Notation with tablature where there are few, else tablature with counts; frets from the nut, as the
questions and answers count them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from arrange.errors import ArrangeError
from arrange.exercises.exercise import Exercise, Passage
from arrange.exercises.song_facts import SongFacts
from arrange.guitar.fret_counting import with_frets_from
from arrange.guitar.players import Player
from arrange.handouts.engraving import engrave
from arrange.handouts.sheets import fingered_part
from arrange.handouts.systems import System
from arrange.tables.columns import object_column
from arrange.tables.schemas import NUT
from arrange.tables.song import Song
from arrange.text.words import measures_words

WIDTH_MM, GAP_MM = 182.0, 6.0  # of a line on A4, as in paper.typ; between two columns
_STAFF_MM = 4.7
_SHORT = 2  # bars; two such stretches stand beside each other
_IN_NOTES, _IN_TAB = 4, 8  # bars that a line may have
_MOST_IN_NOTES = 6  # lines
_MOST_LINES = 16
_TOGETHER = 2  # lines that no page end divides


class PrintedBars(NamedTuple):
    """Rows of the sheet, each of one cell or two, and a sentence on what is not printed."""

    rows: list[list[dict[str, Any]]]
    left_out: str


def printed_bars(exercise: Exercise) -> PrintedBars:
    """Return the bars that an exercise is about, engraved.

    A cell has ``bars``, in words; ``half``, whether it is half as wide as the page; and ``lines``,
    each with its ``part``, a ``picture`` (SVG) and its ``share`` of the cell's width.
    """
    passage = exercise.passage
    if passage is None:
        return PrintedBars([], "")
    try:
        return _printed(exercise, passage)
    except ArrangeError as error:  # a bar that holds more than can be drawn
        return PrintedBars([], f"The bars are not printed: {error}.")


def _printed(exercise: Exercise, passage: Passage) -> PrintedBars:
    parts, stretches = passage.parts, passage.stretches
    if all(last - first < _SHORT for first, last in stretches):
        cells = _cells(exercise.facts, passage, stretches, (WIDTH_MM - GAP_MM) / 2, has_notes=True)
        halves = [{**cell, "half": True} for cell in cells]
        return PrintedBars([halves[at : at + 2] for at in range(0, len(halves), 2)], "")
    has_notes = _line_count(parts, stretches, _IN_NOTES) <= _MOST_IN_NOTES
    kept, left_out = stretches, ""
    if _line_count(parts, stretches, _IN_TAB) > _MOST_LINES:
        if len(stretches) == 1 and stretches[0][1] == len(exercise.facts.song.measures):
            return PrintedBars([], "These are too many bars to print: listen to them, and look "
                                   "at the players' own sheets.")  # fmt: skip
        most = _IN_TAB * max(_MOST_LINES // (len(parts) * len(stretches)), 1)
        kept = tuple((first, min(last, first + most - 1)) for first, last in stretches)
        left_out = f"Printed are the first {most} bars of each stretch; the others can be heard."
    a_line = _IN_NOTES if has_notes else _IN_TAB
    lines = tuple((at, min(at + a_line - 1, last)) for first, last in kept
                  for at in range(first, last + 1, a_line))  # fmt: skip
    cells = _cells(exercise.facts, passage, lines, WIDTH_MM, has_notes=has_notes)
    return PrintedBars([[piece] for cell in cells for piece in _pieces(cell)], left_out)


def _line_count(parts: Sequence[str], stretches: Sequence[tuple[int, int]], a_line: int) -> int:
    return len(parts) * sum(-(-(last - first + 1) // a_line) for first, last in stretches)


def _pieces(cell: dict[str, Any]) -> list[dict[str, Any]]:
    """A cell of many parts as several, with the bars in words over the first."""
    lines = cell["lines"]
    if len(lines) <= _TOGETHER:
        return [cell]
    return [cell | {"bars": "" if at else cell["bars"], "lines": [line]}
            for at, line in enumerate(lines)]  # fmt: skip


def _cells(
    facts: SongFacts,
    passage: Passage,
    stretches: Sequence[tuple[int, int]],
    width_mm: float,
    *,
    has_notes: bool,
) -> list[dict[str, Any]]:
    """A cell for each stretch: the lines of each part."""
    engraved = {
        part: engrave(_written(facts, part, has_frets=passage.has_frets), part, stretches,
                      width_mm, _STAFF_MM, has_notes=has_notes)
        for part in passage.parts
    }  # fmt: skip
    return [
        {"bars": measures_words(*bars), "half": False,
         "lines": [_line(part, each) for part in passage.parts for each in engraved[part][place]]}
        for place, bars in enumerate(stretches)
    ]  # fmt: skip


def _line(part: str, system: System) -> dict[str, Any]:
    cut = system.cut()
    share = min(system.natural / system.width, 1.0)
    return {"part": part, "picture": cut.numbered(), "share": share}


def _written(facts: SongFacts, part: str, *, has_frets: bool) -> Song:
    """The song with strings and frets for a part, counted from the nut, or without a tuning."""
    if not has_frets:
        parts = facts.song.parts
        return replace(facts.song, parts=parts.assign(tuning=object_column([None] * len(parts))))
    song = facts.once("from the nut", lambda: with_frets_from(facts.song, NUT))
    return facts.once(("on strings", part), lambda: fingered_part(song, Player(part))[0])
