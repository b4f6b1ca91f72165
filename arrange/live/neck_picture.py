"""Both hands on the neck: a dot for each string and fret of some bars, the hand's places."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from arrange.guitar.necks import Neck
from arrange.live.svg import circle, text
from arrange.text.markup import escape_html
from arrange.text.words import bars_words, counted

_SHOWN = 12  # frets, or more where they are played
_WIDTH, _HEIGHT = 400.0, 96.0
_LEFT, _RIGHT = 24.0, 6.0  # beside the strings
_TOP, _BOTTOM = 8.0, 74.0
_HAND = 4  # frets that a hand covers, one a finger (common practice)
_NUMBERED = (1, 3, 5, 7, 9, 12, 15, 17, 19, 21)


@dataclass(frozen=True, eq=False)
class Hands:
    """One part on its neck.

    Parameters
    ----------
    part : str
    neck : Neck
    notes : DataFrame
        Of its section, as ``finger_part`` gives them.
    """

    part: str
    neck: Neck
    notes: pd.DataFrame


def frets_shown(hands_of: Sequence[Hands]) -> int:
    """Return how many frets are drawn, so that all hands are seen on one scale."""
    highest = [int(each.notes["fret"].max()) + 1 for each in hands_of if each.notes["fret"].any()]
    return max([_SHOWN, *highest])


def draw_neck(hands: Hands, moment: tuple[int, int], last: int, kind: str) -> str:
    """Return a neck as SVG: what is played in some bars, and pale what is played around them.

    Open strings lie left of nut or capo; dots are larger where more time is spent.

    Parameters
    ----------
    hands : Hands
    moment : (int, int)
        First and last bar.
    last : int
        The last fret that is drawn.
    kind : str
        CSS class of the part, ``one`` or ``two``.
    """
    neck, notes = hands.neck, hands.notes
    is_now = notes["measure"].between(*moment).to_numpy(dtype=bool)
    words = f"{bars_words(range(moment[0], moment[1] + 1))}: {_places_words(neck, notes[is_now])}"
    wide, gap = (_WIDTH - _LEFT - _RIGHT) / last, (_BOTTOM - _TOP) / max(neck.strings - 1, 1)
    right = _LEFT + wide * min(last, neck.frets)
    lines = [f"M{_LEFT} {_TOP + gap * n:.1f}H{right:.1f}" for n in range(neck.strings)]
    shown = range(1, min(last, neck.frets) + 1)
    lines += [f"M{_LEFT + wide * n:.1f} {_TOP}V{_BOTTOM}" for n in shown]
    pieces = [
        f'<path class="neck" d="{"".join(lines)}"/>',
        f'<path class="nut" d="M{_LEFT} {_TOP}V{_BOTTOM}"/>',
        *_places(neck, notes[is_now], wide, right, kind),
    ]
    if neck.capo:
        at = _LEFT + wide * (neck.capo - 0.5)
        pieces.append(f'<path class="capo" d="M{at:.1f} {_TOP - 3}V{_BOTTOM + 2}"/>')
    pieces += [
        text(_LEFT + wide * (fret - 0.5), _BOTTOM + 18, str(fret), "axis middle")
        for fret in shown
        if fret in _NUMBERED or fret == neck.capo
    ]
    pieces += _dots(neck, notes[~is_now], (wide, gap), "pale")
    pieces += _dots(neck, notes[is_now], (wide, gap), kind)
    label = escape_html(f"{hands.part} on the neck, {words}")
    return (
        f'<figure><figcaption class="{kind}-name">{escape_html(f"{hands.part} · {words}")}'
        f'</figcaption><svg class="arrange-neck" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" '
        'role="img" '
        f'aria-label="{label}" xmlns="http://www.w3.org/2000/svg">{"".join(pieces)}</svg></figure>'
    )


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


def _places(neck: Neck, notes: pd.DataFrame, wide: float, right: float, kind: str) -> Iterator[str]:
    """Where the hand stays; the longer it stays, the darker."""
    places = notes["position"].fillna(0).astype(int)
    time = notes["duration"].groupby(places).sum()
    whole = float(time.sum()) or 1.0
    for fret, spent in zip(time.index.tolist(), time.tolist(), strict=True):
        if fret > neck.capo:
            share = 0.08 + 0.3 * spent / whole
            x = _LEFT + wide * (fret - 1)
            yield f'<rect class="{kind}-hand" x="{x:.1f}" y="{_TOP - 4}" '
            yield f'width="{min(wide * _HAND, right - x):.1f}" height="{_BOTTOM - _TOP + 8}" '
            yield f'fill-opacity="{share:.2f}"/>'


def _dots(neck: Neck, notes: pd.DataFrame, steps: tuple[float, float], kind: str) -> Iterator[str]:
    """A dot (a square for the second part) for each string and fret, a ring for open strings."""
    wide, gap = steps
    held = notes[notes["fret"].notna() & notes["string"].notna()]
    time = held.groupby(["string", "fret"])["duration"].sum()
    most = float(time.max()) if len(time) else 1.0
    dots, rings = "", ""
    for (string, fret), spent in zip(time.index.tolist(), time.tolist(), strict=True):
        y = _TOP + gap * (int(string) - 1)
        size = round(2.8 + 2.6 * float(np.sqrt(spent / (most or 1.0))), 1)
        if fret <= neck.capo:
            x = _LEFT + wide * (neck.capo - 0.5) - 8 if neck.capo else _LEFT - 8
            rings += circle(x, y, 3.8)
        elif kind == "two":
            x = _LEFT + wide * (int(fret) - 0.5) - size
            dots += f"M{x:.1f} {y - size:.1f}h{2 * size}v{2 * size}h{-2 * size}z"
        else:
            dots += circle(_LEFT + wide * (int(fret) - 0.5), y, size)
    yield f'<path class="{kind}-open" d="{rings}"/><path class="{kind}-dot" d="{dots}"/>'
