"""A template and its data -> pages as PDF and SVG; typefaces and papers of all that is printed."""

from __future__ import annotations

import importlib.util
import json
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property, partial
from pathlib import Path
from typing import Any

import typst

from arrange.errors import ArrangeError

# Width and height in mm (ISO 216; ANSI/ASME Y14.1), and what typst calls them.
PAPERS = {"A4": (210.0, 297.0, "a4"), "letter": (215.9, 279.4, "us-letter")}

_PAGE_PICTURE = b"""#set page(width: auto, height: auto, margin: 4mm)
#image(sys.inputs.name, page: int(sys.inputs.page))"""

_AS_EVER = re.compile(
    r' fill="#000000"| fill-rule="nonzero"| [xy]="0"| xmlns[:\w]*="[^"]*"|(?<= )xlink:(?=href)'
)
_LONG_NUMBER = re.compile(r"(?<=\.\d{3})\d+")  # what is less than a thousandth of a point
_LETTER = re.compile(r'(?<=[#"])g[0-9A-F]{20,32}(?=")')  # its name: long, the same on each page
_DRAWN_LETTER = re.compile(r'<symbol id="(g\d+)".*?</symbol>', re.DOTALL)

_SAME_TIME = 0  # seconds since 1970 that every file is dated, so that equal sheets are equal bytes


def query_template(template: bytes, label: str, data: dict[str, Any]) -> str:
    """Return as JSON what a template has under a label."""
    return typst.query(
        template, f"<{label}>", field="value", one=True, font_paths=_fonts(),
        sys_inputs={"sheet": json.dumps(data)},
    )  # fmt: skip


@dataclass(frozen=True)
class Typeset:
    """A template and its data, of which the same pages are made as PDF and as SVG."""

    template: bytes
    data: dict[str, Any]

    @cached_property
    def _compile(self) -> Callable[..., Any]:
        """One compiler for both formats: the second takes the pages that the first laid out."""
        compiler = typst.Compiler(font_paths=_fonts(), sys_inputs={"sheet": json.dumps(self.data)})
        return partial(compiler.compile, self.template)

    def pdf(self) -> bytes:
        """Return the pages as PDF; equal data give equal bytes."""
        return bytes(self._compile(format="pdf", timestamp=_SAME_TIME))

    def drawings(self) -> list[str]:
        """Return each page as SVG, letters drawn as shapes; all of them belong in one document."""
        drawn = self._compile(format="svg")
        return _slim([page.decode() for page in (drawn if isinstance(drawn, list) else [drawn])])


def _slim(pages: list[str]) -> list[str]:
    """The same drawings in a third of the letters: each letter of a typeface is drawn once."""
    names: dict[str, str] = {}
    known: set[str] = set()

    def once(found: re.Match[str]) -> str:
        is_new = found[1] not in known
        known.add(found[1])
        return found[0] if is_new else ""

    slim = []
    for page in pages:
        page = _LONG_NUMBER.sub("", _AS_EVER.sub("", page))
        page = _LETTER.sub(lambda name: names.setdefault(name[0], f"g{len(names)}"), page)
        slim.append(_DRAWN_LETTER.sub(once, page))
    return slim


@cache
def _fonts() -> Any:
    """The typefaces: those that typst ships, and DejaVu Sans, which comes with matplotlib."""
    found = importlib.util.find_spec("matplotlib")
    folder = Path(found.origin).parent / "mpl-data/fonts/ttf" if found and found.origin else None
    folders = [str(folder)] if folder and folder.is_dir() else []
    return typst.Fonts(include_system_fonts=False, font_paths=folders)


def page_picture(path: str | os.PathLike[str], page: int = 1, ppi: int = 90) -> bytes:
    """Return a page of a PDF file as PNG, on a white margin, to look at in a notebook.

    Parameters
    ----------
    path : path
    page : int
        From 1.
    ppi : int
        Pixels an inch.

    Raises
    ------
    ArrangeError
        If the file is not there, or has no such page.
    """
    path = Path(path).resolve()
    if not path.is_file():
        raise ArrangeError(f"{path}: there is no such file")
    asked = {"name": f"/{path.name}", "page": str(page)}
    try:
        return typst.compile(  # type: ignore[call-overload,no-any-return]
            _PAGE_PICTURE, root=str(path.parent), format="png", ppi=ppi, sys_inputs=asked
        )
    except RuntimeError as error:
        raise ArrangeError(f"{path}, page {page}: cannot be shown: {error}") from None
