r"""Text of a song, shown as it is wherever markup is read: titles, names, remarks, reasons.

``escape_html``
    for HTML and SVG
``escape_markdown``
    for a Markdown cell of a notebook

Templates of jinja2 escape by themselves; typst is handed text as JSON, never as markup.
"""

from __future__ import annotations

import html
import re

# Classes of an element in which a notebook looks for no formulas.
NO_FORMULAS = "mathjax_ignore tex2jax_ignore"

# Control characters, which XML 1.0 forbids even when escaped (section 2.2).
_NO_TEXT = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

# Any ASCII punctuation may stand behind a backslash (CommonMark 0.31.2, section 2.4).
_PUNCTUATION = re.compile(r"[!-/:-@\[-`{-~]")

# What begins a formula is looked for in the page again after Markdown is done, but never across
# the border of an element.
_FORMULA = {"$": "<span>&#36;</span>", "\\": "<span>&#92;</span>"}


def escape_html(text: str) -> str:
    """Return text that HTML and SVG show as it is, in an element or a quoted attribute."""
    return html.escape(_NO_TEXT.sub("\ufffd", text))


def escape_markdown(text: str) -> str:
    """Return text on one line that Markdown shows as it is, formulas and raw HTML included."""

    def escaped(sign: re.Match[str]) -> str:
        return _FORMULA.get(sign[0], f"\\{sign[0]}")

    return _PUNCTUATION.sub(escaped, " ".join(_NO_TEXT.sub("\ufffd", text).split()))
