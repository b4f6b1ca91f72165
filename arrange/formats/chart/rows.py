"""Rows of bars: whose they are, what stands between their bar lines, and the signs at those."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import islice, pairwise
from typing import NamedTuple

from arrange.errors import shown
from arrange.formats.chart.bar_content import TECHNIQUE_BITS
from arrange.formats.chart.header import CHORDS, Part
from arrange.formats.chart.lines import Faults, Piece
from arrange.formats.playing_order import Bar
from arrange.song_size import MOST_TEXT

MOST_PASSES = 32
MOST_CELLS = 500  # bars in one row
ORDINALS = ("first", "second", "third", "fourth", "fifth",
             "sixth", "seventh", "eighth", "ninth", "tenth")  # fmt: skip
_BARLINE = re.compile(
    r"(?:(?P<back>:)\|{1,2}(?:x(?P<times>[0-9]{1,4})(?![^\s|]))?|\|{1,2})"
    r"(?P<forward>:?)"
    r"(?P<ending> ?(?:[0-9]{1,2}[.,])*[0-9]{1,2}\.(?=\s|$))?"
)
_SIGNED = re.compile(r":\||\|:|\|\||\| ?[0-9][0-9.,]*\.")
_ORDINAL = f"(?:{'|'.join(ORDINALS)})"
_TIME = re.compile(rf"(from the )?({_ORDINAL}(?:(?:, | and ){_ORDINAL})*) time")
PLAIN_BAR = Bar()
DOUBLE_BAR = Bar(ending_stops=True)


class Tab(NamedTuple):
    """A bar of tablature: a text for each string, highest first, and how it is cut."""

    strings: tuple[Piece, ...]
    step: str


class Cell(NamedTuple):
    """One bar of a row: its text, a bit for each technique of its row, its tablature if any."""

    text: Piece
    techniques: int = 0
    tab: Tab | None = None


class Owner(NamedTuple):
    """Whose row it is, in which voice and on which times round (none given: on all)."""

    part: str
    voice: str = "1"
    passes: tuple[int, ...] = ()


@dataclass
class Row:
    """One row: whose it is, its cells and the signs at their bar lines."""

    where: Piece
    owner: Owner
    cells: list[Cell]
    bars: list[Bar]


def read_row(line: Piece, parts: dict[str, Part], faults: Faults) -> Row | None:
    """Return a row, or None where its label names nobody."""
    start = line.text.index("|")
    if line.text[:start].endswith(":"):  # the colon belongs to a repeat sign
        start -= 1
    label = read_label(line.part(0, start), parts, faults)
    if label is None:
        return None
    owner, techniques = label
    body = line.part(start)
    if _SIGNED.search(body.text):
        cells, bars = _signed_cells(body, techniques, faults)
    else:
        cells = _plain_cells(body, techniques, faults)
        bars = [PLAIN_BAR] * len(cells)
    if len(cells) > MOST_CELLS:
        faults.add(cells[MOST_CELLS].text, f"more than {MOST_CELLS} bars in one row; go on in "
                   "rows below it")  # fmt: skip
        cells, bars = cells[:MOST_CELLS], bars[:MOST_CELLS]
    return Row(line, owner, cells, bars)


def read_label(label: Piece, parts: dict[str, Part], faults: Faults) -> tuple[Owner, int] | None:
    """Return whose row it is and the techniques of all its notes, or None for nobody."""
    name, comma, more = label.text.partition(",")
    name = name.rstrip()
    if len(label.text) > 2 * MOST_TEXT:  # a label, and what stands behind it
        faults.add(label, f"a label of {len(label.text):,} characters; {MOST_TEXT} is the most")
        return None
    if name != CHORDS and name not in parts:
        what = f"no part is called {shown(name)}" if name else "a row begins with a part's label"
        faults.add(label, what, name, (CHORDS, *parts))
        return None
    if not comma:
        return Owner(name), 0
    passes: tuple[int, ...] = ()
    timed = _TIME.search(more)
    if timed:
        numbers = [ORDINALS.index(word) + 1 for word in re.findall(_ORDINAL, timed[2])]
        passes = tuple(range(numbers[0], MOST_PASSES + 1)) if timed[1] else tuple(numbers)
        more = more[: timed.start()] + more[timed.end() :]
    voice, techniques = "1", 0
    for option in (option.strip() for option in more.split(",")):
        if option.startswith("voice ") and " " not in option[6:]:
            voice = option[6:]
        elif option in TECHNIQUE_BITS:
            techniques |= TECHNIQUE_BITS[option]
        elif option or not timed:
            faults.add(label, f"{shown(option)} behind a label: write 'voice 2', 'third time', "
                       "'third and fourth time', 'from the third time', or how all of it sounds, "
                       "such as 'let-ring'")  # fmt: skip
    return Owner(name, voice, passes), techniques


def _plain_cells(body: Piece, techniques: int, faults: Faults) -> list[Cell]:
    """The bars of a row without any signs, the usual case."""
    cells = []
    at = 1
    texts = body.text[: 1 << 20].split("|", MOST_CELLS + 2)
    for text in texts[1:-1]:
        stripped = text.strip()
        lead = text.index(stripped) if stripped else len(text)
        place = Piece(stripped, body.line, body.column + at + lead)
        cells.append(Cell(place, techniques))
        at += len(text) + 1
    if texts[-1]:
        _report_open(body.part(at), faults)
    return cells


def _report_open(rest: Piece, faults: Faults) -> None:
    faults.add(rest, "the last bar has no bar line behind it; close it with '|'")


def _signed_cells(body: Piece, techniques: int, faults: Faults) -> tuple[list[Cell], list[Bar]]:
    """The bars between a row's bar lines, and what the lines say of repeats."""
    lines = list(islice(_BARLINE.finditer(body.text), MOST_CELLS + 2))
    tail = body.part(lines[-1].end())
    if tail.text:
        _report_open(tail, faults)
    cells, bars = [], []
    for left, right in pairwise(lines):
        cells.append(Cell(body.part(left.end(), right.start()), techniques))
        back = 0
        if right["back"]:
            back = int(right["times"] or 2)
            if not 2 <= back <= MOST_PASSES:
                faults.add(body.part(right.start()), f"no stretch is played {back} times: write x2 "
                           f"to x{MOST_PASSES}")  # fmt: skip
                back = 2
        bars.append(Bar(
            forward=bool(left["forward"]),
            backward=back,
            ending_starts=tuple(int(n) for n in re.findall(r"[0-9]+", left["ending"] or "")),
            ending_stops=bool(right["ending"] or back or right[0].startswith("||")),
        ))  # fmt: skip
    return cells, bars
