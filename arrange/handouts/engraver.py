"""The engraver: scores of MusicXML -> a picture a page, and how wide bars are."""

from __future__ import annotations

import itertools
import re
from functools import cache
from typing import Any

import verovio

from arrange.handouts.systems import IN_PICTURE, LEFT, drawn_groups

_NEW_PAGE = '<print new-page="yes" />'
_OPTIONS = {
    "xmlIdSeed": 1, "scale": 100, "header": "none", "footer": "none", "svgViewBox": True,
    "adjustPageHeight": True, "smuflTextFont": "none", "mnumInterval": 0, "unit": 9,
    "pageMarginLeft": LEFT, "pageMarginRight": 2, "pageMarginTop": 6, "pageMarginBottom": 6,
    "staffLineWidth": 0.18, "stemWidth": 0.26, "barLineWidth": 0.36, "spacingStaff": 3,
    "defaultBottomMargin": 1.5, "defaultTopMargin": 1.5,
    "minLastJustification": 0.3, "harmDist": 1.6, "condense": "none",
}  # fmt: skip


@cache
def _toolkit() -> Any:
    verovio.enableLog(verovio.LOG_ERROR)
    return verovio.toolkit()


def score_pages(xml: str, **options: Any) -> list[str]:
    """Return a picture a page, SVG.

    Parameters
    ----------
    xml : str
        A score.
    options : of the engraver
        Beside those that all have.
    """
    toolkit = _toolkit()
    toolkit.resetOptions()
    toolkit.setOptions({**_OPTIONS, **options})
    toolkit.resetXmlIdSeed(1)  # or ids go on from the piece before
    toolkit.loadData(xml)
    return [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]


# A string is drawn in pieces, from number to number.
_STAFF_LINES = re.compile(r'class="measure">\s*<g [^>]*class="staff">\s*((?:<path [^>]*>\s*)+)')
_LINE_ENDS = re.compile(r'd="M(-?[\d.]+) [\d.]+ L(-?[\d.]+) ')


def bar_widths(xml: str) -> tuple[float, ...]:
    """Return the width of each bar in page units, where none is pushed together."""
    (picture,) = score_pages(xml, breaks="none", adjustPageWidth=True, pageWidth=60000)
    lines = map(_LINE_ENDS.findall, _STAFF_LINES.findall(drawn_groups(picture)))
    return tuple(
        (max(float(right) for _, right in own) - min(float(left) for left, _ in own)) / IN_PICTURE
        for own in lines
    )


_MEASURE = re.compile(r"<measure [^>]*>")


def pages_before(bars: set[int], xml: str, count: int) -> str:
    """Return the score in which a new page of the engraver's begins with each of these bars.

    `count` is how many bars each of its staves has.
    """
    places = itertools.count()
    return _MEASURE.sub(lambda found: found[0] + _NEW_PAGE * (next(places) % count in bars), xml)
