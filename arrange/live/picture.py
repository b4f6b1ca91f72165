"""The picture of a live view: the strip and the ranges of the same bars, both hands on the neck.

Everything has its label beside it; shape, hatching and text repeat what the colour shows.
Colours are CSS variables (``view.css``), so that the page's light or dark theme holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from arrange.live.bar_scale import BarScale
from arrange.live.ranges import RANGES_HEIGHT, Ranges, draw_ranges
from arrange.live.strip import Row, draw_chords, draw_row, row_words
from arrange.live.svg import text
from arrange.tables.song import Song
from arrange.text.markup import escape_html
from arrange.text.words import bars_words

_BARS = 27.0  # height of the bars' numbers, each 24 to press (WCAG 2.2, 2.5.8)
_CHORDS = 20.0
KINDS = ("one", "two")

# Hatching distinguishes the two parts and the shared zone without colour.
_PATTERNS = (
    '<defs><pattern id="arrange-two" width="7" height="7" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><rect class="two-pale" width="7" height="7"/>'
    '<line class="two-line" x1="0" y1="0" x2="0" y2="7"/></pattern>'
    '<pattern id="arrange-shared" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<path class="shared-line" d="M0 0L6 6M6 0L0 6"/></pattern></defs>'
)


@dataclass(frozen=True, eq=False)
class Chart:
    """The bars of a section as they are drawn, without what is marked in them.

    Parameters
    ----------
    scale : BarScale
    height : float
    drawn, names : str
        SVG; the names of the rows lie on top of all that is marked.
    words : str
        The same in words, HTML.
    """

    scale: BarScale
    height: float
    drawn: str
    names: str
    words: str


def make_chart(song: Song, scale: BarScale, rows: Sequence[Row], ranges: Ranges) -> Chart:
    """Return strip and ranges of the same bars."""
    top = _BARS + _CHORDS
    pieces, names = [*draw_chords(scale, song, top - 5)], list[str]()
    for row, kind in zip(rows, KINDS, strict=False):
        names.append(text(0, top + 12, row.part, f"row-name {kind}-name"))
        pieces += draw_row(scale, row, top)
        top += row.height
    names.append(text(0, top + 13, "Ranges", "axis row-name"))
    pieces += draw_ranges(scale, ranges, top)
    height, words = top + RANGES_HEIGHT + 4, "".join(_words(scale, rows))
    return Chart(scale, height, "".join(pieces), "".join(names), words)


def _words(scale: BarScale, rows: Sequence[Row]) -> Iterator[str]:
    """What each part plays, bar by bar, as a list."""
    words = [(row.part, row_words(row)) for row in rows]
    for bar in scale.bars:
        played = ". ".join(f"{part}: {own.get(bar, 'rests')}" for part, own in words)
        yield f"<li>bar {bar}. {escape_html(played)}</li>"


def _pressed(bar: int) -> str:
    return f'data-do="bar" data-what="{bar}"'


def draw_chart(
    chart: Chart,
    moment: tuple[int, int] | None,
    marked: tuple[int, int] | None,
    label: str,
    bar_attributes: Callable[[int], str] = _pressed,
) -> str:
    """Return strip and ranges as HTML, with the bars that are heard and those of a finding marked.

    Parameters
    ----------
    chart : Chart
    moment : (int, int) or None
        The bars that are heard.
    marked : (int, int) or None
        The bars of the finding that is looked at.
    label : str
        What the picture is, in words.
    bar_attributes : callable
        Gives the attributes of a bar's number; it can be pressed if not given.
    """
    scale = chart.scale
    width, height = scale.width, chart.height
    pieces = [text(0, 17, "Bar", "axis"), *_bar_numbers(scale, moment, bar_attributes), chart.drawn]
    if marked is not None and scale.first <= marked[1] and marked[0] <= scale.last:
        left = scale.left(max(marked[0], scale.first))
        right = scale.left(min(marked[1], scale.last) + 1)
        pieces.append(
            f'<rect class="marked" x="{left:.1f}" y="{_BARS:.1f}" width="{right - left:.1f}" '
            f'height="{height - _BARS - 2:.1f}"/>'
        )
    pieces.append(chart.names)
    return (
        '<div class="chart" data-scrolls="chart" tabindex="0" role="group" '
        'aria-label="Bar by bar; scrolls sideways">'
        f'<svg class="arrange-picture" viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        f'style="--own-width:{width:.0f}px" '
        f'aria-label="{escape_html(label)}" xmlns="http://www.w3.org/2000/svg">{_PATTERNS}'
        f"{''.join(pieces)}</svg></div>"
        '<details data-scrolls="words"><summary>'
        f"What is played in {bars_words(scale.bars)}, in words</summary>"
        f"<ol>{chart.words}</ol></details>"
    )


def _bar_numbers(
    scale: BarScale, moment: tuple[int, int] | None, attributes: Callable[[int], str]
) -> Iterator[str]:
    """The bars' numbers, those that are heard in a frame."""
    for bar in scale.bars:
        is_heard = moment is not None and moment[0] <= bar <= moment[1]
        x = scale.left(bar)
        yield f'<g {attributes(bar)} class="bar{" heard" if is_heard else ""}">'
        yield f'<rect x="{x + 1:.1f}" y="1" width="{scale.bar - 2:.1f}" height="24"/>'
        yield text(x + 8, 17, f"{bar} ♪" if is_heard else str(bar), "bar-number") + "</g>"
