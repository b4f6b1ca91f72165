"""Pictures of a song: where its parts lie, where they share a register, where they clash.

Every ``plot_`` function draws on `ax` and returns it; without `ax` it makes a figure of a
fitting size, 18 cm wide, and never shows it. Pictures read in grey print and without colour
vision: lightness and hatching tell apart what colour does.

``plot_ranges``
    each part's range, measure by measure, and the zones that two parts share
``plot_overlap``
    how far each pair of parts shares a register, section by section
``plot_clashes``
    the findings along the song, by kind and severity
``render_picture``
    a drawn picture as the bytes of an SVG or PNG file

What draws is loaded when it is first asked for: matplotlib takes longer to load than a song to
read.
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from arrange.plots.clashes import plot_clashes
    from arrange.plots.overlap import plot_overlap
    from arrange.plots.page import render_picture
    from arrange.plots.ranges import plot_ranges

__all__ = ["plot_clashes", "plot_overlap", "plot_ranges", "render_picture"]

_HOMES = {
    "plot_clashes": "clashes",
    "plot_overlap": "overlap",
    "plot_ranges": "ranges",
    "render_picture": "page",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return __all__
