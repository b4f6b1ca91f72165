"""Tell a notebook's shell which of our types have a page. Pages are loaded when one is shown."""

from __future__ import annotations

import importlib
from functools import partial
from typing import Any

from arrange.errors import running_shell

# Where each type stands below `arrange`, and the function in ``pages`` that shows it.
PAGES = {
    ("tables.song", "Song"): "song_page",
    ("revoicing.proposals", "Proposal"): "proposal_page",
    ("condensing.condensation", "Condensation"): "condensation_page",
    ("decisions.decision_log", "DecisionLog"): "log_page",
    ("songbook.book", "Songbook"): "songbook_page",
}


def register_pages() -> None:
    """Register the pages with the shell in which this runs, if there is one.

    Lists are registered too, of which those of proposals have a page.
    """
    shell = running_shell()
    if shell is None:
        return
    html = shell.display_formatter.formatters["text/html"]
    for (module, name), function in PAGES.items():
        html.for_type_by_name(f"arrange.{module}", name, partial(_page, function))
    before = html.lookup_by_type(list) if list in html else None
    html.for_type(list, partial(_list_page, before))


def _page(function: str, value: Any) -> str:
    shown: str = getattr(importlib.import_module("arrange.showing.pages"), function)(value)
    return shown


def _list_page(before: Any, values: list[Any]) -> Any:
    """The page of proposals; any other list is shown as it was before."""
    names = {(type(each).__module__, type(each).__name__) for each in values[:1]}
    if type(values) is list and names == {("arrange.revoicing.proposals", "Proposal")}:
        return _page("proposals_page", values)
    if before is not None:
        return before(values)
    own = getattr(values, "_repr_html_", None)  # of a list of another kind
    return own() if own is not None else None
