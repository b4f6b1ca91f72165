"""Before and after: where parts lie in two versions of a song, on one scale."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.text import Text

from arrange.plots.figures import PAGE_WIDTH
from arrange.plots.in_words import Picture
from arrange.plots.ranges import plot_ranges
from arrange.tables.song import Song

_HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM, _BETWEEN = 2.5, 0.42, 1.08, 0.85, 0.85, 1.75  # inches


def plot_before_after(
    before: Song, after: Song, parts: Sequence[str] | None = None
) -> tuple[Axes, Axes]:
    """Draw ``plot_ranges`` of two versions of a song, one above the other.

    Parameters
    ----------
    before, after : Song
    parts : sequence of str, optional
        Labels of the parts; without them each picture shows its song's guitars.

    Returns
    -------
    (Axes, Axes)
        Before above, after below; one scale of pitch where both show at most two parts.

    Raises
    ------
    ArrangeError
        As ``plot_ranges``.

    Examples
    --------
    >>> import arrange as ar
    >>> from dataclasses import replace
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> higher = replace(song, notes=song.notes.assign(pitch=song.notes["pitch"] + 12))
    >>> before, after = ar.plot_before_after(song, higher, ["Guitar 1", "Guitar 2"])
    >>> after.get_title(loc="left").split(".")[0]
    'After'
    """
    total = 2 * _HEIGHT + _TOP + _BOTTOM + _BETWEEN
    figure, axes = plt.subplots(2, 1, figsize=(PAGE_WIDTH, total), FigureClass=Picture)
    figure.subplots_adjust(
        left=_LEFT / PAGE_WIDTH, right=1 - _RIGHT / PAGE_WIDTH, bottom=_BOTTOM / total,
        top=1 - _TOP / total, hspace=_BETWEEN / _HEIGHT,
    )  # fmt: skip
    for ax, song, word in ((axes[0], before, "Before"), (axes[1], after, "After")):
        plot_ranges(song, parts, ax=ax)
        title = ax.get_title(loc="left")
        for text in ax.get_children():
            if isinstance(text, Text) and text.get_text() == title:
                text.set_text(f"{word}. {title}")
    if all(len(_named(ax)) <= 2 for ax in axes):
        ends = [end for ax in axes for end in ax.get_ylim()]
        for ax in axes:
            ax.set_ylim(min(ends), max(ends))
    return axes[0], axes[1]


def _named(ax: Axes) -> list[str]:
    return [text.get_text() for text in ax.texts if text.get_gid() == "part name"]
