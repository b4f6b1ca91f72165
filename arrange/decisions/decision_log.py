"""The log of a song: its path, the decisions in it, the findings that they waive."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from arrange.decisions.decision import Decision
from arrange.decisions.log_file import fingerprint_of, read_log_bytes
from arrange.decisions.log_text import parse_decisions
from arrange.errors import ReadError
from arrange.findings import Waiver
from arrange.formats.suffixes import READ_SUFFIXES
from arrange.tables.played_measures import format_measures
from arrange.text.part_lists import join_parts
from arrange.text.words import counted

_LOG_ENDING = ".decisions.txt"
_MOST_FAULTS = 50  # reported one by one
_MOST_SHOWN = 3  # decisions of a log shown as text


@dataclass(frozen=True)
class DecisionLog:
    """The decisions of a song.

    Parameters
    ----------
    decisions : tuple of Decision
        In the order in which they were written, each with its last status.
    notices : tuple of str
        Entries that were cut short while they were written, and are left out.
    fingerprint : str
        Of the file's bytes; empty where there is no log yet.

    Examples
    --------
    >>> import arrange as ar
    >>> log = ar.read_decisions("datasets/low-water-agreed.decisions.txt")
    >>> log.table[["status", "section", "parts"]].head(1)
       status   section     parts
    0  agreed  Chorus 1  Guitar 2
    """

    decisions: tuple[Decision, ...] = ()
    notices: tuple[str, ...] = ()
    fingerprint: str = ""

    def __repr__(self) -> str:
        lines = [f"  {each}" for each in self.decisions[:_MOST_SHOWN]]
        more = len(self.decisions) - len(lines)
        lines += [f"  ... and {more} more"] if more else []
        return "\n".join([f"<DecisionLog: {counted(len(self.decisions), 'decision')}>", *lines])

    @property
    def table(self) -> pd.DataFrame:
        """A row a decision, as text: id, date, status, where, what, why and the figures."""
        names = ("id", "date", "status", "section", "measures", "parts", "what", "why", "waives",
                 "before", "after")  # fmt: skip
        rows = [
            (each.id, each.date, each.status, each.section, format_measures(each.measures),
             join_parts(each.parts), each.what, each.why, each.waives, each.before, each.after)
            for each in self.decisions
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(names), dtype="str")


def decisions_path(song: str | os.PathLike[str]) -> Path:
    """Return where the log of a song's file lies: beside it, ending in ``.decisions.txt``.

    Examples
    --------
    >>> import arrange as ar
    >>> ar.decisions_path("songs/low-water.musicxml").name
    'low-water.decisions.txt'
    """
    return Path(song).with_suffix(_LOG_ENDING)


def is_song_path(path: Path) -> bool:
    """Return whether a file is a song by its name: not hidden, of a known suffix, and no log."""
    name = path.name
    is_read = path.suffix.lower() in READ_SUFFIXES
    return is_read and not name.startswith(".") and not name.endswith(_LOG_ENDING)


def read_decisions(path: str | os.PathLike[str]) -> DecisionLog:
    """Return the decisions in a log.

    Raises
    ------
    ReadError
        If the file cannot be read, or has faults: all of them, each with its line.

    Examples
    --------
    >>> import arrange as ar
    >>> log = ar.read_decisions("datasets/low-water-agreed.decisions.txt")
    >>> print(log.decisions[0])
    d85baf8ea (agreed, Chorus 1): Guitar 2: in between
    """
    path = Path(path)
    return parse_log(path, read_log_bytes(path))


def decisions_so_far(path: str | os.PathLike[str]) -> DecisionLog:
    """Return the decisions in a log, none if there is no such file yet.

    Raises
    ------
    ReadError
        As ``read_decisions``.
    """
    return read_decisions(path) if os.path.lexists(path) else DecisionLog()


def parse_log(path: Path, data: bytes) -> DecisionLog:
    """Return the decisions in the bytes of a log.

    Raises
    ------
    ReadError
        If there are faults: all of them, each with its line.
    """
    text = data.decode("utf-8-sig", "surrogateescape")
    decisions, notices, faults = parse_decisions(text)
    if len(faults) == 1:
        raise ReadError(faults[0][1], file=str(path), line=faults[0][0])
    if faults:
        lines = [f"line {line}: {problem}" for line, problem in faults[:_MOST_FAULTS]]
        more = len(faults) - len(lines)
        lines += [f"... and {more} more"] if more else []
        listed = "\n".join(lines)
        raise ReadError(f"{len(faults)} faults in the log:\n{listed}", file=str(path))
    return DecisionLog(tuple(decisions), tuple(notices), fingerprint_of(data))


def waivers_of(log: DecisionLog) -> tuple[Waiver, ...]:
    """Return the agreed decisions that waive findings, as ``waive`` takes them.

    Examples
    --------
    >>> import arrange as ar
    >>> meant = ar.Decision("the hook is doubled", "it is meant", waives="doubling", id="d1")
    >>> [str(waiver) for waiver in ar.waivers_of(ar.DecisionLog((meant,)))]
    ['kind=doubling']
    """
    return tuple(
        Waiver(each.id, each.why, each.waives, tuple(each.parts), each.section, each.measures)
        for each in log.decisions
        if each.status == "agreed" and each.waives
    )
