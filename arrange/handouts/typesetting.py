"""A template and its data -> pages; the typefaces and papers of all that is printed."""

from __future__ import annotations

import importlib.util
import json
import os
from functools import cache
from pathlib import Path
from typing import Any

import typst

from arrange.errors import ArrangeError

# Width and height in mm (ISO 216; ANSI/ASME Y14.1), and what typst calls them.
PAPERS = {"A4": (210.0, 297.0, "a4"), "letter": (215.9, 279.4, "us-letter")}

_PAGE_PICTURE = b"""#set page(width: auto, height: auto, margin: 4mm)
#image(sys.inputs.name, page: int(sys.inputs.page))"""

_SAME_TIME = 0  # seconds since 1970 that every file is dated, so that equal sheets are equal bytes


def query_template(template: bytes, label: str, data: dict[str, Any]) -> str:
    """Return as JSON what a template has under a label."""
    return typst.query(
        template, f"<{label}>", field="value", one=True, font_paths=_fonts(),
        sys_inputs={"sheet": json.dumps(data)},
    )  # fmt: skip


def compile_template(template: bytes, data: dict[str, Any]) -> bytes:
    """Return a template as PDF; equal data give equal bytes."""
    return typst.compile(
        template, format="pdf", font_paths=_fonts(), timestamp=_SAME_TIME,
        sys_inputs={"sheet": json.dumps(data)},
    )  # fmt: skip


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
