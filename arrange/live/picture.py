"""The picture of a live view, as SVG text: form, ranges, both hands on the neck, findings.

Everything has its label beside it; shape, hatching and text repeat what the colour shows.
Colours are CSS variables (``view.css``), so that the page's light or dark theme holds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from arrange.findings.recheck import compare_findings
from arrange.guitar.necks import Neck
from arrange.live.neck_picture import draw_neck
from arrange.live.svg import Box, boxes, text
from arrange.tables.sounding import sounding_notes
from arrange.text.markup import escape_html
from arrange.text.words import counted
from arrange.theory.pitch import note_name

Bars = dict[int, tuple[float, float]]  # a bar -> lowest and highest pitch

WIDTH, HEIGHT = 1200, 446
_FORM = Box(0, 4, WIDTH, 40)
_HEAD = 67.0  # where the sentence on top stands
_RANGES = Box(50, 108, 450, 310)
_NECKS = Box(610, 84, WIDTH - 610, 232)
_FINDINGS = Box(610, 336, WIDTH - 610, 110)
_MOST_FINDINGS = 4
_ROW = 25.5
_OCTAVE = 12
_GRID = (0, 7)  # C and G
_LETTER = 8.8  # width of a letter of the form's labels
_BESIDE = 102.0  # room for a part's name beside the ranges
_MOST_LETTERS = 96  # in the line on top


@dataclass(frozen=True, eq=False)
class Hands:
    """One part on its neck.

    Parameters
    ----------
    part : str
    neck : Neck
    notes : DataFrame
        As ``finger_part`` gives them.
    """

    part: str
    neck: Neck
    notes: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Places:
    """The notes that the picture shows; tempo and sound do not change them.

    Parameters
    ----------
    bars : (int, int)
        First and last measure of the section, as played.
    parts : tuple of str
        The part that changes, then the one beside it, if any.
    before, after : notes tables
        The section as written and with the choices.
    hands : tuple of Hands
        With the choices.
    key : str or None
        For the names of notes.
    """

    bars: tuple[int, int]
    parts: tuple[str, ...]
    before: pd.DataFrame
    after: pd.DataFrame
    hands: tuple[Hands, ...]
    key: str | None = None


@dataclass(frozen=True, eq=False)
class Sight:
    """Everything that the picture shows about some choices.

    Parameters
    ----------
    section : str
    form : tuple of (str, float, int)
        Each section of the song: label, quarter notes, findings as written.
    chosen : str
        What is chosen, in words.
    found_before, found_after : findings tables
        Of the section.
    places : str
        As ``draw_places`` gives them.
    """

    section: str
    form: tuple[tuple[str, float, int], ...]
    chosen: str
    found_before: pd.DataFrame
    found_after: pd.DataFrame
    places: str


def draw_places(places: Places) -> str:
    """Return the ranges and the necks as a piece of SVG text."""
    return "".join([*_ranges(places), *_necks(places.hands)])


def draw_sight(sight: Sight) -> str:
    """Return the picture as SVG text."""
    pieces = [*_form(sight), text(2, _HEAD, _head(sight), "head"), sight.places, *_findings(sight)]
    label = escape_html(f"{_head(sight)}. {_figures(sight)}. {_findings_words(sight)}")
    return (
        f'<svg class="arrange-picture" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{label}" xmlns="http://www.w3.org/2000/svg">{_PATTERNS}'
        f"{''.join(pieces)}</svg>"
    )


# Hatching distinguishes the two parts and the shared zone without colour.
_PATTERNS = (
    '<defs><pattern id="arrange-two" width="7" height="7" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><rect class="two-pale" width="7" height="7"/>'
    '<line class="two-line" x1="0" y1="0" x2="0" y2="7"/></pattern>'
    '<pattern id="arrange-shared" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<path class="shared-line" d="M0 0L6 6M6 0L0 6"/></pattern></defs>'
)


def _head(sight: Sight) -> str:
    """The section, and what is chosen, as far as there is room."""
    head = f"{sight.section} · {sight.chosen}"
    return head if len(head) <= _MOST_LETTERS else head[: _MOST_LETTERS - 1] + "…"


def _figures(sight: Sight) -> str:
    """The number of findings and their total severity, before and after."""
    before, after = sight.found_before, sight.found_after
    return f"{len(before)} → {len(after)} findings, severity {_total(before)} → {_total(after)}"


def _total(findings: pd.DataFrame) -> str:
    return f"{findings['severity'].sum():.2f}"


def _findings_words(sight: Sight) -> str:
    found = sight.found_after
    return " ".join(found["why"].tolist()[:_MOST_FINDINGS]) or "Nothing is found here."


def _form(sight: Sight) -> Iterator[str]:
    """The sections in a row, as wide as they are long, with their findings as written."""
    whole = sum(length for _, length, _ in sight.form) or 1.0
    left = _FORM.x
    for label, length, count in sight.form:
        width = _FORM.width * length / whole
        is_here = label == sight.section
        kind = "form here" if is_here else "form"
        title = f"{label}: {counted(count, 'finding')} as written"
        yield f'<g><title>{escape_html(title)}</title><rect class="{kind}" x="{left + 1:.1f}" '
        yield f'y="{_FORM.y}" width="{max(width - 2, 1):.1f}" height="{_FORM.height}" rx="3"/>'
        yield text(left + 5, _FORM.y + 16, _fitting(label, width - 10), "form-name")
        if width > 26:
            yield text(left + 5, _FORM.y + 34, f"▲{count}" if count else "–", "form-count")
        yield "</g>"
        left += width


def _fitting(label: str, width: float) -> str:
    """As much of a label as there is room for."""
    room = int(width / _LETTER)
    if len(label) <= room:
        return label
    number = label.rsplit(" ", 1)[-1] if label[-1:].isdigit() and " " in label else ""
    short = label[: max(room - 1 - len(number), 0)]
    return f"{short}…{number}" if short else ""


def _ranges(places: Places) -> Iterator[str]:
    """Lowest to highest note of each part, bar by bar, the shared zone between the two."""
    first, last = places.bars
    after, before = _by_bar(places.after), _by_bar(places.before)
    low, high = _bounds(before, after)
    frame = _RANGES

    def y(pitch: float) -> float:
        return frame.y + frame.height * (high - pitch) / (high - low)

    step = frame.width / (last - first + 1)
    yield text(frame.x - 48, frame.y - 14, "Ranges, bar by bar", "title")
    for pitch in range(int(np.ceil(low)), int(high) + 1):
        if pitch % _OCTAVE not in _GRID:
            continue
        name = note_name(pitch, places.key)
        yield f'<path class="grid" d="M{frame.x} {y(pitch):.1f}h{frame.width}"/>'
        yield text(frame.x - 6, y(pitch) + 5, name, "axis end")
    every = max(1, int(np.ceil((last - first + 1) / 12)))
    for bar in range(first, last + 1, every):
        middle = frame.x + step * (bar - first + 0.5)
        yield text(middle, frame.y + frame.height + 17, str(bar), "axis middle")
    yield text(frame.x - 6, frame.y + frame.height + 17, "bar", "axis end")

    def path(bars: Bars) -> str:
        return boxes(
            (frame.x + step * (bar - first) + 1, y(top + 0.5), step - 2, y(bottom - 0.5))
            for bar, (bottom, top) in bars.items()
        )

    labels: list[tuple[float, str, str]] = []
    for part, own in after.items():
        if part not in places.parts:
            yield f'<path class="other" d="{path(own)}"/>'
            labels.append((y(sum(own[max(own)]) / 2) + 5, part, "other-name"))
    for part, kind in zip(places.parts, ("one", "two"), strict=False):
        own = after.get(part, {})
        yield f'<path class="{kind}" d="{path(own)}"/>'
        if own:
            labels.append((y(sum(own[max(own)]) / 2) + 5, part, f"{kind}-name"))
    zone = _shared(*(after.get(part, {}) for part in places.parts))
    shared = f"shared register in {len(zone)} of {last - first + 1} bars"
    if len(places.parts) > 1:
        yield f'<path class="shared" d="{path(zone)}"><title>{shared}</title></path>'
        yield text(frame.x + frame.width, frame.y - 14, f"▦ {shared}", "title end")
    for part in places.parts:
        was = before.get(part, {})
        if was != after.get(part, {}):
            name = escape_html(f"{part}, as written")
            yield f'<path class="was" d="{path(was)}"><title>{name}</title></path>'
    for at, name, kind in _apart(labels):
        yield text(frame.x + frame.width + 5, at, _fitting(name, _BESIDE), kind)


def _by_bar(notes: pd.DataFrame) -> dict[str, Bars]:
    """Lowest and highest note of each part in each bar."""
    heard = sounding_notes(notes)
    found: dict[str, Bars] = {}
    columns = (heard[name].tolist() for name in ("part", "measure", "pitch"))
    for part, bar, pitch in zip(*columns, strict=True):
        own = found.setdefault(part, {})
        low, high = own.get(bar, (pitch, pitch))
        own[bar] = (min(low, pitch), max(high, pitch))
    return found


def _bounds(*ranges: dict[str, Bars]) -> tuple[float, float]:
    """The lowest and highest pitch to draw, two octaves apart at least."""
    ends = [end for parts in ranges for bars in parts.values() for pair in bars.values()
            for end in pair]  # fmt: skip
    low, high = (min(ends) - 2, max(ends) + 2) if ends else (40.0, 76.0)
    return (low, high) if high - low >= 2 * _OCTAVE else (low - _OCTAVE, high + _OCTAVE)


def _shared(one: Bars, two: Bars | None = None) -> Bars:
    """The register that two parts share, bar by bar."""
    two = two or {}
    both = {
        bar: (max(one[bar][0], two[bar][0]), min(one[bar][1], two[bar][1]))
        for bar in one
        if bar in two
    }
    return {bar: (low, high) for bar, (low, high) in both.items() if low <= high}


def _apart(labels: list[tuple[float, str, str]]) -> Iterator[tuple[float, str, str]]:
    """Labels moved down where they would lie on each other."""
    last = -np.inf
    for at, name, kind in sorted(labels):
        last = max(at, last + 19)
        yield last, name, kind


def _necks(hands_of: tuple[Hands, ...]) -> Iterator[str]:
    height = _NECKS.height / 2
    for number, (hands, kind) in enumerate(zip(hands_of, ("one", "two"), strict=False)):
        box = Box(_NECKS.x, _NECKS.y + number * height, _NECKS.width, height)
        yield from draw_neck(box, hands.part, hands.neck, hands.notes, kind)


def _findings(sight: Sight) -> Iterator[str]:
    """The findings: new, remaining, or gone; the bar is as long as the finding is severe."""
    frame = _FINDINGS
    change = compare_findings(sight.found_before, sight.found_after)
    is_new = {*_keys(change.brought)}
    rows = [
        ("new" if key in is_new else "stays", row)
        for key, row in zip(_keys(sight.found_after), sight.found_after.itertuples(), strict=True)
    ]
    rows += [("gone", row) for row in change.ended.itertuples()]
    yield text(frame.x, frame.y, f"To listen to: {_figures(sight)}", "title")
    if not rows:
        yield text(frame.x, frame.y + _ROW, "nothing is found here", "finding")
    shown = rows if len(rows) <= _MOST_FINDINGS else rows[: _MOST_FINDINGS - 1]
    for number, (state, row) in enumerate(shown, start=1):
        yield from _finding(frame.x, frame.y + number * _ROW, state, row)
    if len(shown) < len(rows):
        rest = rows[len(shown) :]
        counts = [
            f"{count} {name}"
            for name in ("new", "stays", "gone")
            if (count := sum(state == name for state, _ in rest))
        ]
        more = f"and {len(rest)} more: {', '.join(counts).replace('stays', 'stay')}"
        yield text(frame.x, frame.y + _MOST_FINDINGS * _ROW, more, "finding")


def _keys(findings: pd.DataFrame) -> Sequence[tuple[object, ...]]:
    columns = (findings[name].tolist() for name in ("kind", "parts", "onset", "why"))
    return list(zip(*columns, strict=True))


_SIGNS = {"new": "▲ new", "stays": "● stays", "gone": "✕ gone"}


def _finding(left: float, base: float, state: str, row: Any) -> Iterator[str]:
    what = f"bar {row.measure}: {row.kind}, {row.parts}"
    yield f'<g class="{state}"><title>{escape_html(row.why)}</title>'
    yield text(left, base, _SIGNS[state], "finding")
    yield f'<rect class="track" x="{left + 84}" y="{base - 13}" width="80" height="13"/>'
    yield f'<rect class="severity" x="{left + 84}" y="{base - 13}" '
    yield f'width="{80 * row.severity:.1f}" height="13"/>'
    yield text(left + 172, base, f"{row.severity:.2f}", "finding")
    yield text(left + 218, base, what, "finding what") + "</g>"
