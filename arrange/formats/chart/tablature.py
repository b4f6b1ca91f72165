"""A tablature block: a line for each string, the highest on top, cut into even steps.

A digit is a fret; ``-`` goes on, ``.`` is silence, ``x`` a muted stroke on the open string. Behind
a fret, in its step or the next, ``h``, ``p``, ``/`` or ``\\`` leads to the next note by hammer-on,
pull-off or slide; ``~`` is vibrato.
"""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import islice, pairwise

from arrange.errors import shown
from arrange.formats.chart.bar_content import TECHNIQUE_BITS, Event, Tone
from arrange.formats.chart.header import Part
from arrange.formats.chart.items import Frame
from arrange.formats.chart.lines import Faults, Piece
from arrange.formats.chart.rows import MOST_CELLS, PLAIN_BAR, Cell, Row, Tab, read_label
from arrange.song_size import MOST_FRETS
from arrange.theory.pitch import PLAIN_NAMES, parse_pitch_class

STEPS = {
    "quarters": Fraction(1),
    "eighths": Fraction(1, 2),
    "eighth triplets": Fraction(1, 3),
    "sixteenths": Fraction(1, 4),
    "sixteenth triplets": Fraction(1, 6),
}
_HEADING = re.compile(r"(.{1,200}?), tab in (.{1,40})")
_STRING = re.compile(r"([A-Ga-g][#b]?)?[0-9]?\s*\|")
_STEP = re.compile(r"([0-9]{1,2}|x)([hp/\\~]?)")
_LEADS = {"h": "hammer-on", "p": "pull-off", "/": "slide", "\\": "slide", "~": "vibrato"}


def is_tab_heading(line: Piece) -> bool:
    """Return whether a line opens a tablature block."""
    return ", tab in " in line.text and bool(_HEADING.fullmatch(line.text))


def is_string(line: Piece) -> bool:
    """Return whether a line is a string of a tablature block: ``E|--0--|``."""
    return bool(_STRING.match(line.text))


def read_tab(
    heading: Piece, lines: list[Piece], parts: dict[str, Part], faults: Faults
) -> Row | None:
    """Return a tablature block as a row: a cell a bar, a text a string."""
    found = _HEADING.fullmatch(heading.text)
    label = read_label(heading.part(0, found.end(1)), parts, faults) if found else None
    if found is None or label is None:
        return None
    owner, techniques = label
    step = found[2]
    if step not in STEPS:
        faults.add(heading.part(found.start(2)), f"no tab is cut into {shown(step)}", step, STEPS)
        return None
    part = parts.get(owner.part)
    strings = len(part.tuning) if part else 0
    if part is None or len(lines) != strings:
        if part is None or not part.unsure:
            faults.add(heading, f"{len(lines)} string lines stand below, but {owner.part} has "
                       f"{strings or 'no'} strings")  # fmt: skip
        return None
    bars: list[list[Piece]] = []
    for number, line in enumerate(lines):
        edges = [at.start() for at in islice(re.finditer(r"\|", line.text), MOST_CELLS)]
        _check_name(line, edges[0], part.tuning[-1 - number], faults)
        rest = line.part(edges[-1] + 1)
        if rest.text:
            faults.add(rest, "the last bar has no bar line behind it; close it with '|'")
        bars.append([
            Piece(line.text[a + 1 : b], line.line, line.column + a + 1) for a, b in pairwise(edges)
        ])  # fmt: skip
        if [len(cell.text) for cell in bars[-1]] != [len(cell.text) for cell in bars[0]]:
            faults.add(line, "its bar lines do not stand below those of the string above; give "
                       "every string the same signs in each bar")  # fmt: skip
            return None
    cells = [
        Cell(column[0], techniques, Tab(tuple(column), step))
        for column in zip(*bars, strict=True)
    ]  # fmt: skip
    return Row(heading, owner, cells, [PLAIN_BAR] * len(cells))


def _check_name(line: Piece, end: int, pitch: int, faults: Faults) -> None:
    """The name before a string's line, if there is one, is that of its open string."""
    name = line.text[:end].strip().rstrip("0123456789")
    if name and parse_pitch_class(name) != pitch % 12:
        faults.add(line, f"this string is called {name!r}, but {PLAIN_NAMES[pitch % 12]} "
                   "stands here in the tuning; the highest string is on top")  # fmt: skip


def read_tab_bar(cell: Cell, tab: Tab, part: Part, frame: Frame, faults: Faults) -> list[Event]:
    """Return what a bar of tablature plays; a note lasts to the next attack of any string."""
    step = STEPS[tab.step]
    steps, width = frame.length / step, len(cell.text.text)
    count = steps.numerator
    if steps.denominator != 1 or width == 0 or width % count:
        faults.add(cell.text, f"a bar of {width} signs cannot be cut into {float(steps):g} "
                   f"{tab.step}; give each the same number of signs")  # fmt: skip
        return []
    each = width // count
    attacks: dict[int, dict[int, list[Tone]]] = {}  # step -> technique -> tones, high to low
    for number, text in enumerate(tab.strings, 1):
        notes: list[tuple[int, Tone, int]] = []
        for index in range(count) if text.text.strip("- ") else ():
            place = text.part(index * each, (index + 1) * each)
            if "." in place.text:
                attacks.setdefault(index, {})
            if place.text in _LEADS and notes:  # a sign of its own between two notes
                notes[-1] = (*notes[-1][:2], TECHNIQUE_BITS[_LEADS[place.text]])
                continue
            note = _read_step(place, number, part, faults)
            if note is not None:
                notes.append((index, *note))
        for index, tone, technique in notes:
            attacks.setdefault(index, {}).setdefault(technique, []).append(tone)
    events = []
    places = sorted(attacks)
    for index, after in pairwise([*places, count]):
        for technique, tones in attacks[index].items():
            techniques = cell.techniques | technique
            onset, duration = index * step, (after - index) * step
            events.append(Event(onset, duration, tuple(reversed(tones)), 0, techniques))
    return events


def _read_step(place: Piece, string: int, part: Part, faults: Faults) -> tuple[Tone, int] | None:
    """The note of one string at one step, and a bit for what it leads on by."""
    text = place.text.strip("-. ")
    if not text:
        return None
    place = place.part(place.text.index(text))
    found = _STEP.fullmatch(text)
    if not found:
        faults.add(place, f"{shown(text)} is no fret; write a number, then h, p, / or ~ if need "
                   "be, '-' to go on or '.' for silence")  # fmt: skip
        return None
    muted = found[1] == "x"
    fret = part.capo if muted else int(found[1]) + part.fret_zero
    if not part.capo <= fret <= MOST_FRETS:
        capo = f" from the {part.frets_from}" if part.capo else ""
        lowest, highest = part.capo - part.fret_zero, MOST_FRETS - part.fret_zero
        faults.add(place, f"fret {found[1]} lies off the neck of {part.label}, which has "
                   f"{lowest} to {highest}{capo}")  # fmt: skip
        return None
    pitch = part.tuning[len(part.tuning) - string] + fret
    lead = "muted" if muted else _LEADS.get(found[2], "")
    return Tone(float(pitch), string, fret), TECHNIQUE_BITS.get(lead, 0)
