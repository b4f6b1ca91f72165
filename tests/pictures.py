"""Find what a picture shows by the names of its artists."""

from itertools import combinations

import numpy as np
from matplotlib.colors import to_rgb


def drawn(ax, gid):
    """Return all artists with a name."""
    return [artist for artist in ax.get_children() if artist.get_gid() == gid]


def written(ax, gid):
    """Return the texts with a name."""
    return [text.get_text() for text in drawn(ax, gid)]


def overlapping(artists):
    """Return pairs of texts whose boxes overlap."""
    boxes = [(text.get_text(), text.get_window_extent()) for text in artists]
    return [(a[0], b[0]) for a, b in combinations(boxes, 2) if a[1].overlaps(b[1])]


def beyond_figure(ax):
    """Return how far the drawing reaches beyond the edges of its figure, in inches."""
    figure = ax.get_figure()
    figure.draw_without_rendering()
    box = figure.get_tightbbox()
    wide, high = figure.get_size_inches()
    return max(-box.x0, -box.y0, box.x1 - wide, box.y1 - high)


def lightness(color):
    """Return CIE lightness, 0 to 100: what a grey print keeps of a colour (IEC 61966-2-1, CIE
    1976).
    """
    light = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(color)]
    luminance = float(np.dot(light, [0.2126, 0.7152, 0.0722]))
    return 116 * luminance ** (1 / 3) - 16
