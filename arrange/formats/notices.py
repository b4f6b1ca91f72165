"""Notices of readers and writers, a sentence each.

A file may have a fault in every bar, and a report has a page for all of them.
"""

from __future__ import annotations

from collections.abc import Sequence

from arrange.song_size import MOST_NOTICES, MOST_TEXT
from arrange.tables.song import Song

_SAME = 1e-6  # quarter notes: times that differ by less are one


def first_notices(notices: Sequence[str]) -> list[str]:
    """Return at most ``MOST_NOTICES`` of them; the last says how many more there are."""
    if len(notices) <= MOST_NOTICES:
        return list(notices)
    more = len(notices) - MOST_NOTICES + 1
    return [*notices[: MOST_NOTICES - 1], f"and {more:,} more notices, which are not shown"]


def outlasting_notice(count: int) -> str:
    """Return what is said of notes that sound beyond the last bar line."""
    return f"notes that outlast the last bar end with it: {count:,}"


def outlasting_notices(song: Song) -> list[str]:
    """Return what a writer says of notes that sound beyond the last bar line, where there are any.

    Every writer ends them there, as readers do.
    """
    end = song.notes["onset"] + song.notes["duration"]
    late = int((end > song.duration + _SAME).sum())
    return [outlasting_notice(late)] if late else []


def homeless_notices(song: Song) -> list[str]:
    """Return what a writer says of remarks for sections that the song does not have."""
    labels = set(song.sections["section"])
    count = sum(not labels.issuperset(remark.sections) for remark in song.remarks)
    return [f"remarks for sections that are not there are left out: {count:,}"] if count else []


def cut_names_notice(count: int) -> str:
    """Return what is said of section names that are cut."""
    return f"names of sections are cut to {MOST_TEXT} characters: {count:,}"
