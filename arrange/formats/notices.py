"""Notices of a reader: a file may have a fault in every bar, and a report has a page for them."""

from __future__ import annotations

from collections.abc import Sequence

from arrange.limits import MOST_NOTICES, MOST_TEXT


def first_notices(notices: Sequence[str]) -> list[str]:
    """Return at most ``MOST_NOTICES`` of them; the last says how many more there are."""
    if len(notices) <= MOST_NOTICES:
        return list(notices)
    more = len(notices) - MOST_NOTICES + 1
    return [*notices[: MOST_NOTICES - 1], f"and {more:,} more notices, which are not shown"]


def cut_names_notice(count: int) -> str:
    """Return what is said of section names that are cut."""
    return f"names of sections are cut to {MOST_TEXT} characters: {count:,}"
