"""A song with the decisions of its log made, and the changes in the log since."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from arrange.decisions import (
    Decision,
    DecisionLog,
    change_status,
    decisions_path,
    read_decisions,
    rebuild,
)
from arrange.formats.reading import read
from arrange.tables.song import Song
from arrange.text.letters import readable
from arrange.text.markup import escape_html
from arrange.text.words import counted, first_up


@dataclass(frozen=True, eq=False)
class DecidedSong:
    """A song built again from its source and its log.

    Parameters
    ----------
    song : Song
        With the decisions made.
    log : DecisionLog
        As it was read.
    built : str
        How many decisions were made, which were not and why.
    aside : tuple of Decision
        Those that are set aside.
    """

    song: Song
    log: DecisionLog
    built: str = ""
    aside: tuple[Decision, ...] = ()


def song_and_log(
    song: Song | str | os.PathLike[str], log: str | os.PathLike[str] | None
) -> tuple[Song, Path]:
    """Return a song, read where a path is given, and the path of its log, if that is not given:
    beside the file, or in the working folder.
    """
    if not isinstance(song, Song):
        path, song = song, read(song)
        log = log or decisions_path(path)
    return song, Path(log or decisions_path(song.source or "song")).absolute()


def read_decided(
    source: Song,
    path: Path,
    what: str = "",
    is_aside: Callable[[Decision], bool] = lambda _: False,
) -> DecidedSong:
    """Return the song with the decisions of its log made.

    Parameters
    ----------
    source : Song
    path : Path
        Of the log.
    what : str
        What the decisions decide that are set aside.
    is_aside : callable
        Whether a decision is set aside.

    Raises
    ------
    ReadError
        If there is a log that cannot be read.
    """
    if not path.exists():
        return DecidedSong(source, DecisionLog())
    log = read_decisions(path)
    aside = tuple(filter(is_aside, log.decisions))
    made = tuple(each for each in log.decisions if each not in aside)
    built = rebuild(source, replace(log, decisions=made))
    words = [f", {len(built.applied)} of them made here"]
    if aside:
        words.append(f"{what} on {aside[-1].date} is set aside here")
    if built.stale:
        words.append(f"not made: {'; '.join(why for _, why in built.stale)}")
    return DecidedSong(built.song, log, "; ".join([*words, *log.notices]), aside)


def has_same_notes(one: Song, other: Song) -> bool:
    """Return whether two states of one song are the same."""
    return one.notes.equals(other.notes) and one.parts.equals(other.parts)


@dataclass(frozen=True)
class StatusChange:
    """What Undo or Redo does to a decision that was recorded in that step.

    Parameters
    ----------
    before, after : str
        Statuses.
    why : str
        For the log.
    words : str
        For the user, once it is done.
    """

    before: str
    after: str
    why: str
    words: str

    def said(self, is_done: bool) -> str:
        """Return what was done, or why nothing was."""
        if is_done:
            return self.words
        return "That decision has been changed since: the log stays as it is."


TAKEN_BACK = StatusChange(
    "agreed", "dropped", "taken back in the live view", "The decision is taken back."
)
AGREED_AGAIN = StatusChange(
    "dropped", "agreed", "agreed again in the live view", "The decision is agreed again."
)


def change_decision(path: Path, log: DecisionLog, decision: str, change: StatusChange) -> bool:
    """Change the status of a decision, unless somebody else has done so; return whether.

    Raises
    ------
    LogChangedError
        If somebody else has written in the log since it was read.
    """
    found = any(each.id == decision and each.status == change.before for each in log.decisions)
    if found:
        change_status(path, decision, change.after, change.why, expected=log)
    return found


def log_changes(before: DecisionLog, after: DecisionLog, own: str = "") -> str:
    """Return in words what somebody else has changed in a log; `own` is a decision of ours."""
    return "; ".join(_log_changes(before, after, own))


def _log_changes(before: DecisionLog, after: DecisionLog, own: str) -> Iterator[str]:
    old = {each.id: each for each in before.decisions}
    new = {each.id: each for each in after.decisions}
    for each in after.decisions:
        if each.id == own or (own and each.id == new[own].supersedes):
            continue
        if each.id not in old:
            yield f"new: {_where(each)}{each.what} ({each.status}). {each.why}"
        elif each.status != old[each.id].status:
            yield f"{each.status} now: {_where(each)}{each.what}"
        elif each != old[each.id]:
            yield f"edited: {_where(each)}{each.what}"
    for each in before.decisions:
        if each.id not in new:
            yield f"gone: {_where(each)}{each.what}"


def _where(decision: Decision) -> str:
    return f"{decision.section}, " if decision.section else ""


def recorded_words(decision: Decision, is_heard: bool, others: str) -> str:
    """Return the message about a decision that was recorded; `is_heard`: it changes the song."""
    words = f"Recorded: {decision.what}. "
    if is_heard:
        words += "From here on it is what stands as written; Undo takes it back."
    else:
        words += "The song keeps its own tempo; Undo takes it back."
    return words + (f" Somebody else has written too: {others}." if others else "")


def decision_rows(log: DecisionLog) -> str:
    """Return each decision as an item of a list in HTML, the last one on top."""
    return "".join(
        f"<li><b>{escape_html(each.status)}</b>: {escape_html(_words(each))}</li>"
        for each in log.decisions[::-1]
    )


def _words(decision: Decision) -> str:
    figures = (("before", decision.before), ("after", decision.after))
    known = first_up("; ".join(f"{when}: {said}" for when, said in figures if said))
    sentences = (f"{_where(decision)}{decision.what}", decision.why, known)
    return " ".join(f"{each}." for each in sentences if each)


def log_html(decided: DecidedSong, path: Path) -> str:
    """Return the log, as it was read, as HTML, with the last decision on top."""
    rows = decision_rows(decided.log)
    count = counted(len(decided.log.decisions), "decision")
    place = readable(str(path.resolve()))
    return (
        f'<details class="log"{" open" if rows else ""}><summary>Log: '
        f"{escape_html(place)} · {count}{escape_html(decided.built)}</summary>"
        f"<ul>{rows}</ul></details>"
    )
