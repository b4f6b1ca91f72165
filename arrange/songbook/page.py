"""A songbook as one page, with its tables beside it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from arrange.errors import ArrangeError
from arrange.report.html_pages import songbook_html, write_report
from arrange.songbook.book import Songbook
from arrange.songbook.order import order_by_changes
from arrange.songbook.overview import book_findings, songbook_table
from arrange.songbook.setup_changes import changes_between, player_setups


def write_songbook(book: Songbook, folder: str | os.PathLike[str]) -> Path:
    """Write a page of a songbook and its tables into a folder; return the path of the page.

    Other files in the folder stay; everything is moved in when it is complete.

    Raises
    ------
    ArrangeError
        If the folder cannot be written.
    """
    tables = {
        "songbook": songbook_table(book),
        "findings": book_findings(book),
        "changes": changes_between(book),
        "setups": player_setups(book),
        "faults": book.faults,
    }
    return write_report(Path(folder), _page(book, tables), tables)


def songbook_piece(book: Songbook) -> str:
    """Return the page of a songbook as a piece of another page."""
    tables = {
        "songbook": songbook_table(book),
        "findings": book_findings(book),
        "changes": changes_between(book),
    }
    return _page(book, tables, page=False)


def _page(book: Songbook, tables: Mapping[str, pd.DataFrame], *, page: bool = True) -> str:
    try:
        best = order_by_changes(book)
    except ArrangeError:
        best = Songbook({})  # too many setups: the page says so
    return songbook_html(
        tables["songbook"],
        tables["findings"],
        tables["changes"],
        book.faults,
        list(best.studies),
        int(changes_between(best)["changes"].sum()),
        page=page,
    )
