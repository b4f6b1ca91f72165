"""Small fret pictures in a strip of bars: nut or first fret on top, the low string on the left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from arrange.explaining.held_shapes import Held
from arrange.guitar.fret_pictures import FretPicture
from arrange.guitar.necks import LEFT_OUT, Neck
from arrange.live.bar_scale import BarScale
from arrange.live.svg import circle, text

SHAPE_WIDTH = 66.0  # with its fret number and the gap to the next
_APART = 7.6  # between strings
_HEIGHT = 46.0  # of all rows
_SIGNS = 8.0  # above them, for open strings and those left out
_NUMBER = 21.0  # left of the strings


def draw_shapes(
    scale: BarScale,
    held: Sequence[Held],
    bars: frozenset[int],
    top: float,
    on: tuple[Neck, str],
) -> Iterator[str]:
    """Yield the shapes that are held in these bars, each where it begins or the bar does, or as
    near as there is room beside the others of its bar.

    Parameters
    ----------
    scale : BarScale
    held : sequence of Held
    bars : set of int
    top : float
    on : (Neck, str)
        And where its frets are counted from.
    """
    for bar in sorted(bars.intersection(scale.bars)):  # some ring on behind the last
        at = bar - scale.first
        own = [each for each in held if bar in each.bars]
        left, last = scale.left(bar), scale.left(bar + 1) - SHAPE_WIDTH * len(own)
        for each in own:
            share = max(each.onset - float(scale.onset[at]), 0.0) / float(scale.duration[at])
            left = max(min(scale.left(bar) + (scale.bar - 4) * share, last), left)
            yield from _draw(each, on, left + _NUMBER, top + _SIGNS)
            left, last = left + SHAPE_WIDTH, last + SHAPE_WIDTH


def _draw(held: Held, on: tuple[Neck, str], left: float, top: float) -> Iterator[str]:
    neck, frets_from = on
    frets = tuple(held.strings.get(string, LEFT_OUT) for string in range(1, neck.strings + 1))
    nothing = (0,) * neck.strings
    picture = FretPicture(frets, neck.capo, "", nothing, ("",) * neck.strings, frets_from)
    wide, step = _APART * (neck.strings - 1), _HEIGHT / picture.rows
    lines = [f"M{left + _APART * n:.1f} {top:.1f}v{_HEIGHT}" for n in range(neck.strings)]
    lines += [f"M{left:.1f} {top + step * n:.1f}h{wide:.1f}" for n in range(picture.rows + 1)]
    yield f'<path class="neck" d="{"".join(lines)}"/>'
    if picture.shows_end:
        yield f'<path class="shape-end" d="M{left - 1:.1f} {top:.1f}h{wide + 2:.1f}"/>'
    for fret, words in picture.numbers[:1]:
        yield text(left - 4, top + step * (fret - picture.first + 0.5) + 4.5, words, "tab end")
    dots, signs = "", ""
    for string, fret in enumerate(frets, 1):
        x = left + wide - _APART * (string - 1)
        if fret > neck.capo:
            dots += circle(x, top + step * (fret - picture.first + 0.5), 3.4)
        elif fret == neck.capo:
            signs += circle(x, top - 4.5, 2.5)
        else:
            signs += f"M{x - 2.4:.1f} {top - 7:.1f}l4.8 4.8m0 -4.8l-4.8 4.8"
    yield f'<path class="shape-sign" d="{signs}"/><path class="shape-dot" d="{dots}"/>'
