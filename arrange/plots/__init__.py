"""Pictures of a song: where its parts lie, where they share a register, where they clash.

Each ``plot_`` function draws on `ax` and returns it; without `ax` it makes a figure of a fitting
size, at most 18 cm wide, and never shows it. Pictures can be read in grey print and without colour
vision: lightness and hatching repeat what the colour shows.

``__all__`` is the list of the pictures. Each lies in the file of its name: ``plot_form`` in
``form.py``; ``render_picture`` makes a file of one, and ``picture_words`` says what it shows. A
drawing module is loaded when it is first used: matplotlib takes longer to load than a song takes
to read.
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from arrange.plots.before_after import plot_before_after
    from arrange.plots.clashes import plot_clashes
    from arrange.plots.figures import render_picture
    from arrange.plots.form import plot_form
    from arrange.plots.growth import plot_growth
    from arrange.plots.hearing import plot_hearing
    from arrange.plots.in_words import picture_words
    from arrange.plots.layers import plot_layers
    from arrange.plots.neck import plot_neck
    from arrange.plots.overlap import plot_overlap
    from arrange.plots.positions import plot_positions
    from arrange.plots.ranges import plot_ranges
    from arrange.plots.shape import plot_shape
    from arrange.plots.songbook import plot_songbook
    from arrange.plots.sonority import plot_sonority
    from arrange.plots.texture import plot_texture

__all__ = [
    "picture_words",
    "plot_before_after",
    "plot_clashes",
    "plot_form",
    "plot_growth",
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

_FILES = {"picture_words": "in_words", "render_picture": "figures"}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    file = _FILES.get(name, name.removeprefix("plot_"))
    return getattr(importlib.import_module(f"{__name__}.{file}"), name)


def __dir__() -> list[str]:
    return __all__
