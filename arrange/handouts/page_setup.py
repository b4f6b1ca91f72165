"""What every sheet shares: margins, the foot of a page, and templates for print and for the web.

A template for print stands behind ``page.typ``, one for the web extends ``page.html``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import jinja2

from arrange.handouts.typesetting import PAPERS

SIDE_MM, TOP_MM, BOTTOM_MM = 12.0, 11.0, 14.0  # as in page.typ

_LONGEST_FOOT = 34  # letters of title and name, at the foot of a page
_ENDLESS = re.compile(r"\S{24,}")  # a word that a narrow line cannot hold
_PICTURE = "<svg"
_FOLDER = Path(__file__).parent
_RANGE = re.compile(r"(?<=\d)–(?=\d)")
_EQUATION = re.compile(r"(?:dotted )?[^\s,;]+ = [^\s,;]+")


def text_width(paper: str) -> float:
    """Return the width of a page inside its margins, mm."""
    return PAPERS[paper][0] - 2 * SIDE_MM


def text_height(paper: str) -> float:
    """Return the height of a page inside its margins, mm."""
    return PAPERS[paper][1] - TOP_MM - BOTTOM_MM


def page_foot(title: str, name: str) -> str:
    """Return title and name as there is room for at the foot of a page, beside the time to turn."""
    name = name if len(name) <= _LONGEST_FOOT // 2 else name[: _LONGEST_FOOT // 2 - 1] + "…"
    room = _LONGEST_FOOT - len(name)
    title = title if len(title) <= room else title[: room - 1].rstrip() + "…"
    return f"{title}, {name}"


def breakable(data: Any) -> Any:
    """Return the same, endless words with places where a line may end; pictures as they are."""
    if isinstance(data, str):
        if data.startswith(_PICTURE):
            return data
        return _ENDLESS.sub(lambda word: re.sub(r"\S{12}", "\\g<0>\u200b", word[0]), data)
    if isinstance(data, dict):
        return {name: breakable(each) for name, each in data.items()}
    return [breakable(each) for each in data] if isinstance(data, list | tuple) else data


@cache
def print_template(name: str) -> bytes:
    """Return a template of typst, such as ``"sheet.typ"``, with the page setup before it."""
    return (_FOLDER / "page.typ").read_bytes() + (_FOLDER / name).read_bytes()


def web_page(template: str, pages: Sequence[str], paper: str, **data: Any) -> str:
    """Return a page of HTML from a template of jinja2, such as ``"sheet.html"``.

    On a screen it shows what the template makes of the data, on paper the drawn pages.
    """
    return _environment().get_template(template).render(pages=pages, paper=paper, **data)


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, loader=jinja2.FileSystemLoader(_FOLDER)
    )
    environment.filters["unbroken"] = _unbroken
    return environment


def _unbroken(text: str) -> str:
    """The same; a tempo, a pair of chords and bars from one to another stay on one line."""
    text = _RANGE.sub("\u2060–\u2060", text)
    return _EQUATION.sub(lambda found: found[0].replace(" ", "\u00a0"), text)
