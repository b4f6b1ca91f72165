"""Pictures of a song: where its parts lie, where they share a register, where they clash.

Every ``plot_`` function draws on `ax` and returns it; without `ax` it makes a figure of a
fitting size, at most 18 cm wide, and never shows it. Pictures read in grey print and without colour
vision: lightness and hatching tell apart what colour does.

``plot_ranges``
    each part's range, measure by measure, and the zones that two parts share
``plot_overlap``
    how far each pair of parts shares a register, section by section
``plot_clashes``
    the findings along the song, by kind and severity
``plot_form``
    how busy each part is in each measure, and how the song grows
``plot_texture``
    how often each part strikes in each measure, and how much of it together
``plot_layers``
    who plays which recorded layer where, and what is dropped
``plot_before_after``
    where the parts lie in two versions of a song
``plot_sonority``
    how rough pairs of parts are together along the song, and what one hides of the other
``plot_hearing``
    the partials of two parts at one moment, where they meet, beat or hide
``plot_neck``
    a neck with shapes on it, or where one hand or two live on it
``plot_positions``
    where the hands stand along the song, and where they jump
``plot_shape``
    the small fret picture for handouts
``plot_songbook``
    a set of songs, a lane each: what is found in them, and what changes hands between them
``render_picture``
    a drawn picture as the bytes of an SVG or PNG file

What draws is loaded when it is first asked for: matplotlib takes longer to load than a song to
read.
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from arrange.plots.clashes import plot_clashes
    from arrange.plots.comparison import plot_before_after
    from arrange.plots.form import plot_form
    from arrange.plots.layers import plot_layers
    from arrange.plots.moment import plot_hearing
    from arrange.plots.neck import plot_neck
    from arrange.plots.overlap import plot_overlap
    from arrange.plots.page import render_picture
    from arrange.plots.positions import plot_positions
    from arrange.plots.ranges import plot_ranges
    from arrange.plots.shape import plot_shape
    from arrange.plots.songbook import plot_songbook
    from arrange.plots.sonority import plot_sonority
    from arrange.plots.texture import plot_texture

__all__ = [
    "plot_before_after",
    "plot_clashes",
    "plot_form",
    "plot_hearing",
    "plot_layers",
    "plot_neck",
    "plot_overlap",
    "plot_positions",
    "plot_ranges",
    "plot_shape",
    "plot_songbook",
    "plot_sonority",
    "plot_texture",
    "render_picture",
]

_HOMES = {
    "plot_before_after": "comparison",
    "plot_clashes": "clashes",
    "plot_form": "form",
    "plot_hearing": "moment",
    "plot_layers": "layers",
    "plot_neck": "neck",
    "plot_overlap": "overlap",
    "plot_positions": "positions",
    "plot_ranges": "ranges",
    "plot_shape": "shape",
    "plot_songbook": "songbook",
    "plot_sonority": "sonority",
    "plot_texture": "texture",
    "render_picture": "page",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return __all__
