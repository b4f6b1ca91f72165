"""Pictures in words, for people who do not see them, and a figure that is shown with them."""

from __future__ import annotations

import base64
import sys
from collections.abc import Iterator
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from arrange.text.markup import escape_html
from arrange.text.words import first_few, first_up

_IMAGES = ("image/png", "image/jpeg", "image/svg+xml", "application/pdf")  # made where asked for
_MOST_NAMES = 16


class Picture(Figure):
    """A figure that says what it shows: a notebook shows it as an image with its text.

    The image is made as the notebook is set to make it.
    """

    def _ipython_display_(self) -> None:
        ipython = sys.modules["IPython"]  # which is asking
        formatters = ipython.get_ipython().display_formatter.formatters
        data: dict[str, Any] = {"text/plain": _figure_words(self)}
        about: dict[str, Any] = {}
        for kind in _IMAGES:
            made = formatters[kind](self) if kind in formatters else None
            made, own = made if isinstance(made, tuple) else (made, {})
            if made is not None:
                data[kind], about[kind] = made, {**own, "alt": data["text/plain"]}
        image = next((kind for kind in _IMAGES if kind in data), None)
        if image and image.startswith("image/"):
            sizes = "".join(f' {name}="{about[image][name]}"' for name in ("width", "height")
                            if name in about[image])  # fmt: skip
            data["text/html"] = image_html(data[image], image, data["text/plain"], sizes)
        ipython.display.publish_display_data(data, about)


def image_html(made: str | bytes, kind: str, words: str, more: str = "") -> str:
    """Return an image as HTML, given its data (SVG as text, others as bytes or base64)."""
    if kind == "image/svg+xml":
        made = made if isinstance(made, bytes) else made.encode()
    data = base64.b64encode(made).decode() if isinstance(made, bytes) else made.strip()
    return f'<img alt="{escape_html(words)}" src="data:{kind};base64,{data}"{more}>'


def picture_words(ax: Axes) -> str:
    """Return what the figure that `ax` lies in shows: titles, parts, axes, key and notes."""
    figure = ax.get_figure(root=True)
    return _figure_words(figure) if figure is not None else _axes_words(ax)


def _figure_words(figure: Figure) -> str:
    return " ".join(filter(None, map(_axes_words, figure.axes))) or "A picture without words."


def _axes_words(ax: Axes) -> str:
    return " ".join(f"{' '.join(words.split()).rstrip('.')}." for words in _sentences(ax) if words)


def _sentences(ax: Axes) -> Iterator[str]:
    yield str(ax.get_label())
    yield ax.get_title(loc="left") or ax.get_title()
    texts = [(text.get_gid(), text.get_text()) for text in ax.texts if text.get_text()]
    names = dict.fromkeys(text for gid, text in texts if gid == "part name")
    yield f"Parts: {first_few(names, _MOST_NAMES)}" if names else ""
    sides = {"across": ax.get_xlabel(), "upwards": ax.get_ylabel()}
    yield first_up(", ".join(f"{side}: {words}" for side, words in sides.items() if words))
    legend = ax.get_legend()
    signs = [text.get_text() for text in legend.get_texts()] if legend else []
    yield f"Key: {first_few(signs, _MOST_NAMES)}" if signs else ""
    yield from (text for gid, text in texts if gid is None)
