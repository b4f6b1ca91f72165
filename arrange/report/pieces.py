"""What pages are made of: templates, pictures, the look."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup, escape

from arrange import plots
from arrange.text.words import counted

_HERE = Path(__file__).parent


def template(name: str) -> jinja2.Template:
    """Return a template of this folder; it escapes all text that it is given."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_HERE), autoescape=True, undefined=jinja2.StrictUndefined
    )
    environment.filters["counted"] = counted
    return environment.get_template(name)


@cache
def piece_text(name: str) -> str:
    """Return a file of this folder as text: ``"report.css"``."""
    return (_HERE / name).read_text(encoding="utf-8")


def picture(draw: Callable[[], Any]) -> Markup:
    """Return the picture that `draw` makes as SVG, with its words, to stand in a page."""
    ax = draw()
    words = escape(plots.picture_words(ax))
    text = plots.render_picture(ax).decode("utf-8")
    return Markup(f'<svg role="img" aria-label="{words}"{text[text.index("<svg") + 4 :]}')
