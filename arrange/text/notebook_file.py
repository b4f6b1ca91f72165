"""A Jupyter notebook without outputs, as the text of its file.

The form is that of nbformat 4.5, written by hand: the library for it takes longer to load than
everything else that a notebook needs of this package.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any


def words_cell(text: str) -> dict[str, Any]:
    """Return a cell of Markdown."""
    return {"cell_type": "markdown", "metadata": {}, "source": text.splitlines(keepends=True)}


def code_cell(text: str, *tags: str) -> dict[str, Any]:
    """Return a cell of code that has not run, with its tags."""
    return {
        "cell_type": "code",
        "execution_count": None,
        "metadata": {"tags": list(tags)} if tags else {},
        "outputs": list[str](),
        "source": text.splitlines(keepends=True),
    }


def notebook_of(cells: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return a notebook of cells for Python; the same cells give the same notebook."""
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    return {
        "cells": [{**cell, "id": f"cell-{number}"} for number, cell in enumerate(cells)],
        "metadata": {"kernelspec": kernel, "language_info": {"name": "python"}},
        "nbformat": 4,
        "nbformat_minor": 5,
    }


def notebook_text(notebook: dict[str, Any]) -> str:
    """Return the text of a notebook's file, in the order and spacing that Jupyter writes."""
    return json.dumps(notebook, ensure_ascii=False, indent=1, sort_keys=True) + "\n"
