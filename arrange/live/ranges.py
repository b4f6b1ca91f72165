"""Lowest to highest note of each part, bar by bar, and the register that two parts share."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from arrange.live.bar_scale import LEFT, BarScale
from arrange.live.svg import boxes, text
from arrange.tables.sounding import sounding_notes
from arrange.text.markup import escape_html
from arrange.theory.pitch import note_name

Bars = dict[int, tuple[float, float]]  # a bar -> lowest and highest pitch

RANGES_HEIGHT = 142.0
_TITLE = 20.0  # above them
_OCTAVE = 12
_GRID = (0, 7)  # C and G
_LETTER = 8.8
_AXIS_LETTERS = 13.0  # their height; where lines are closer, only C is named
_LINE = 16.0
_BESIDE = 100.0  # room for a part's name


@dataclass(frozen=True, eq=False)
class Ranges:
    """What is drawn.

    Parameters
    ----------
    parts : tuple of str
        The part that changes, then the one beside it, if any.
    before, after : notes tables
        The bars as written and with the choices.
    """

    parts: tuple[str, ...]
    before: pd.DataFrame
    after: pd.DataFrame


def draw_ranges(scale: BarScale, ranges: Ranges, top: float) -> Iterator[str]:
    """Yield the ranges on the same scale as the strip, below the line of their name, with the zone
    that the two share.
    """
    after, before = _by_bar(ranges.after), _by_bar(ranges.before)
    low, high = _bounds(before, after)
    first = top + _TITLE
    height = RANGES_HEIGHT - _TITLE - 4

    def y(pitch: float) -> float:
        return first + height * (high - pitch) / (high - low)

    def path(bars: Bars) -> str:
        return boxes(
            (scale.left(bar) + 1, y(above + 0.5), scale.bar - 2, y(below - 0.5))
            for bar, (below, above) in bars.items()
        )

    is_tight = y(_GRID[1]) - y(_OCTAVE) < _AXIS_LETTERS
    for pitch in range(int(np.ceil(low)), int(high) + 1):
        if pitch % _OCTAVE in _GRID:
            yield f'<path class="grid" d="M{LEFT} {y(pitch):.1f}H{scale.right:.1f}"/>'
            if not (is_tight and pitch % _OCTAVE):
                yield text(LEFT - 5, y(pitch) + 5, note_name(pitch), "axis end")
    labels: list[tuple[float, str, str]] = []
    for part, own in after.items():
        if part not in ranges.parts:
            yield f'<path class="other" d="{path(own)}"/>'
            labels.append((y(sum(own[max(own)]) / 2) + 5, part, "other-name"))
    for part, kind in zip(ranges.parts, ("one", "two"), strict=False):
        own = after.get(part, {})
        yield f'<path class="{kind}" d="{path(own)}"/>'
        if own:
            labels.append((y(sum(own[max(own)]) / 2) + 5, part, f"{kind}-name"))
    zone = _shared(*(after.get(part, {}) for part in ranges.parts))
    if len(ranges.parts) > 1:
        shared = f"▦ shared register in {len(zone)} of {len(scale.bars)} bars"
        yield f'<path class="shared" d="{path(zone)}"/>'
        yield text(scale.right, top + 13, shared, "axis end")
    for part in ranges.parts:
        was = before.get(part, {})
        if was != after.get(part, {}):
            name = escape_html(f"{part}, as written")
            yield f'<path class="was" d="{path(was)}"><title>{name}</title></path>'
    for at, name, kind in _apart(labels, first + height):
        yield text(scale.right + 5, at, fitting(name, _BESIDE), kind)


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


def _apart(labels: list[tuple[float, str, str]], bottom: float) -> Iterator[tuple[float, str, str]]:
    """Labels moved where they would lie on each other or below the bottom."""
    places, last = [], -np.inf
    for at, _, _ in sorted(labels):
        last = max(at, last + _LINE)
        places.append(last)
    for number, place in enumerate(reversed(places)):
        places[-1 - number] = min(place, bottom - _LINE * number)
    for at, (_, name, kind) in zip(places, sorted(labels), strict=True):
        yield at, name, kind


def fitting(label: str, width: float) -> str:
    """Return as much of a label as there is room for."""
    room = int(width / _LETTER)
    if len(label) <= room:
        return label
    number = label.rsplit(" ", 1)[-1] if label[-1:].isdigit() and " " in label else ""
    short = label[: max(room - 1 - len(number), 0)]
    return f"{short}…{number}" if short else ""
