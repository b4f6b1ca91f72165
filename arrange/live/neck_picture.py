"""A neck with what a part plays on it: a dot for each string and fret, the hand's places."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from arrange.guitar.necks import Neck
from arrange.live.svg import Box, text
from arrange.text.words import counted

_SHOWN = 15  # frets, or more where they are played
_LEFT, _RIGHT = 30.0, 8.0  # beside the strings
_HAND = 4  # frets that a hand covers, one a finger (common practice)


def draw_neck(box: Box, part: str, neck: Neck, notes: pd.DataFrame, kind: str) -> Iterator[str]:
    """Yield a neck: open strings left of nut or capo, larger dots where more time is spent.

    Parameters
    ----------
    box : Box
    part : str
    neck : Neck
    notes : DataFrame
        As ``finger_part`` gives them.
    kind : str
        CSS class of the part, ``one`` or ``two``.
    """
    held = notes[notes["fret"].notna() & notes["string"].notna()]
    frets = held["fret"].to_numpy(dtype=np.int64)
    last = min(max(_SHOWN, int(frets.max(initial=0)) + 1), neck.frets)
    left, right = box.x + _LEFT, box.x + box.width - _RIGHT
    top, bottom = box.y + 26, box.y + box.height - 20
    wide, gap = (right - left) / last, (bottom - top) / max(neck.strings - 1, 1)
    title = f"{part} · {_places_words(neck, notes)}"
    yield text(box.x, box.y + 13, title, f"title {kind}-name")
    lines = [f"M{left:.1f} {top + gap * n:.1f}H{right:.1f}" for n in range(neck.strings)]
    lines += [f"M{left + wide * n:.1f} {top:.1f}V{bottom:.1f}" for n in range(1, last + 1)]
    yield f'<path class="neck" d="{"".join(lines)}"/>'
    yield f'<path class="nut" d="M{left:.1f} {top:.1f}V{bottom:.1f}"/>'
    yield from _places(neck, notes, (left, top, wide, bottom), right, kind)
    if neck.capo:
        at = left + wide * (neck.capo - 0.5)
        yield f'<path class="capo" d="M{at:.1f} {top - 3:.1f}V{bottom + 2:.1f}"/>'
    for fret in range(1, last + 1):
        if fret in (1, 3, 5, 7, 9, 12, 15, 17, 19, 21) or fret == neck.capo:
            yield text(left + wide * (fret - 0.5), bottom + 18, str(fret), "axis middle")
    yield from _dots(neck, held, (left, top, wide, gap), kind)


def _places_words(neck: Neck, notes: pd.DataFrame) -> str:
    """Where the hand is, how far it goes, and what it cannot play, in words."""
    capo = f"capo {neck.capo}, " if neck.capo else ""
    if notes.empty or notes["pitch"].isna().all():
        return f"{capo}rests here"
    played = notes[notes["position"].fillna(0).astype(int) > 0]
    where = f"{capo}open strings only"
    if len(played):
        low, high = played["position"].min(), played["position"].max()
        where = f"{capo}hand at fret {low}" + (f" to {high}" if high > low else "")
    out = int(notes["problem"].notna().sum())
    return where + (f" · {counted(out, 'note')} out of reach" if out else "")


def _places(
    neck: Neck,
    notes: pd.DataFrame,
    grid: tuple[float, float, float, float],
    right: float,
    kind: str,
) -> Iterator[str]:
    """Where the hand stays; the longer it stays, the darker."""
    left, top, wide, bottom = grid
    places = notes["position"].fillna(0).astype(int)
    time = notes["duration"].groupby(places).sum()
    whole = float(time.sum()) or 1.0
    for fret, spent in time.items():
        if int(fret) > neck.capo:  # type: ignore[call-overload]
            share = 0.08 + 0.3 * float(spent) / whole
            x = left + wide * (int(fret) - 1)  # type: ignore[call-overload]
            yield f'<rect class="{kind}-hand" x="{x:.1f}" y="{top - 4:.1f}" '
            yield f'width="{min(wide * _HAND, right - x):.1f}" height="{bottom - top + 8:.1f}" '
            yield f'fill-opacity="{share:.2f}"/>'


def _dots(
    neck: Neck, held: pd.DataFrame, grid: tuple[float, float, float, float], kind: str
) -> Iterator[str]:
    left, top, wide, gap = grid
    time = held.groupby(["string", "fret"])["duration"].sum()
    most = float(time.max()) if len(time) else 1.0
    for (string, fret), spent in time.items():  # type: ignore[misc]
        y = top + gap * (int(string) - 1)
        size = 3.2 + 3.0 * float(np.sqrt(spent / (most or 1.0)))
        if fret <= neck.capo:
            x = left + wide * (neck.capo - 0.5) - (9 if neck.capo else -wide / 2 + 9)
            yield f'<circle class="{kind}-open" cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>'
        else:
            x = left + wide * (int(fret) - 0.5)
            mark = "dot" if kind == "one" else "square"
            yield _mark(mark, x, y, size, f"{kind}-dot")


def _mark(shape: str, x: float, y: float, size: float, kind: str) -> str:
    if shape == "dot":
        return f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="{size:.1f}"/>'
    return (
        f'<rect class="{kind}" x="{x - size:.1f}" y="{y - size:.1f}" width="{2 * size:.1f}" '
        f'height="{2 * size:.1f}"/>'
    )
