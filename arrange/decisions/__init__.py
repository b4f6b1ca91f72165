"""The decision log: what was decided for a song, where and why, in a text file beside it.

The file is only ever added to. Two people may write at once, since each entry is written whole
under a lock; what was acknowledged stays, whatever happens to a later write. Copies that went
apart merge by keeping the entries of both. What a decision changes is kept with it, so that the
arrangement is built again from the song as it came and its log.
"""

from __future__ import annotations

import contextlib
import datetime
import os
import secrets
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from arrange.clashes import find_clashes
from arrange.decisions.changes import (
    Span,
    apply_change,
    change_between,
    passage_fingerprint,
)
from arrange.decisions.entries import (
    STATUSES,
    Decision,
    format_decision,
    format_status,
    parse_decisions,
)
from arrange.errors import ArrangeError, ReadError
from arrange.findings import Waiver
from arrange.part_lists import join_parts
from arrange.spelling import unknown_name
from arrange.tables import Song, section_row

try:
    import fcntl
except ImportError:  # no such locks on this system: one writer at a time, please
    fcntl = None  # type: ignore[assignment]

__all__ = [
    "Decision",
    "DecisionLog",
    "Rebuilt",
    "change_status",
    "decisions_path",
    "read_decisions",
    "rebuild",
    "record_decision",
    "waivers_of",
]

_HEAD = (
    "# Decisions for {title}. Read by people, added to at the end, never rewritten: a decision\n"
    "# goes from its 'decision:' line to its 'end:' line.\n"
)
_MOST_BYTES = 64 * 2**20


@dataclass(frozen=True)
class DecisionLog:
    """The decisions of a song.

    Parameters
    ----------
    decisions : tuple of Decision
        In the order in which they were written, each with its last status.
    notices : tuple of str
        Entries that were cut short while they were written, and are passed over.
    """

    decisions: tuple[Decision, ...] = ()
    notices: tuple[str, ...] = ()

    @property
    def table(self) -> pd.DataFrame:
        """A row a decision, as text: id, date, status, where, what, why and the figures."""
        names = ("id", "date", "status", "section", "measures", "parts", "what", "why", "waives",
                 "before", "after")  # fmt: skip
        rows = [
            (each.id, each.date, each.status, each.section,
             "{}-{}".format(*each.measures) if each.measures else "", join_parts(each.parts),
             each.what, each.why, each.waives, each.before, each.after)
            for each in self.decisions
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(names), dtype="str")


def decisions_path(song: str | os.PathLike[str]) -> Path:
    """Return where the log of a song's file lies: beside it, ending in ``.decisions.txt``."""
    return Path(song).with_suffix(".decisions.txt")


def record_decision(
    path: str | os.PathLike[str],
    what: str,
    why: str,
    *,
    song: Song | None = None,
    arrangement: Song | None = None,
    section: str = "",
    measures: tuple[int, int] | None = None,
    parts: Sequence[str] = (),
    waives: str = "",
    before: str = "",
    after: str = "",
    alternatives: Sequence[str] = (),
    status: str = "agreed",
    supersedes: str = "",
) -> Decision:
    """Write a decision at the end of a log and return it; when this returns, it is on the disk.

    Parameters
    ----------
    path : path
        The log; made if it is not there. ``decisions_path`` tells the usual one.
    what, why : str
    song : Song, optional
        The song that it is about, as it is now, so that the log knows when it has changed.
    arrangement : Song, optional
        The song as decided, such as a proposal's: the difference is kept with the decision.
    section, measures, parts
        Where it holds. Measures are played ones.
    waives : str
        A kind of finding that is meant to be so here.
    before, after : str
        The figures; if an arrangement is given, its findings there are counted.
    alternatives : sequence of str
    status : str
        ``"proposed"`` or ``"agreed"``.
    supersedes : str
        Id of an earlier decision.

    Raises
    ------
    ArrangeError
        If what or why is blank, a section or part is unknown, a decision to be superseded is not
        there, or the file cannot be written; the log is then as it was.
    """
    path = Path(path)
    if arrangement is not None and song is None:
        raise ArrangeError("an arrangement is kept as what it changes: give the song too")
    if supersedes and supersedes not in {each.id for each in _known(path)}:
        raise ArrangeError(f"{path}: there is no decision {supersedes!r} to supersede")
    decision = Decision(
        "d" + secrets.token_hex(4), what, why, status, datetime.date.today().isoformat(), section,
        measures, tuple(parts), waives, before, after, tuple(alternatives), supersedes,
    )  # fmt: skip
    if song is not None:
        decision = _on(song, arrangement, decision)
    title = (song and song.title) or path.name.removesuffix(".decisions.txt")
    _append(path, format_decision(decision), title)
    return decision


def change_status(path: str | os.PathLike[str], decision: str, status: str, why: str) -> None:
    """Write what has become of a decision: agreed, dropped, ...

    Raises
    ------
    ArrangeError
        If there is no such decision, the status is unknown, the reason blank, or the file cannot
        be written.
    """
    path = Path(path)
    if status not in STATUSES:
        raise ArrangeError(f"status {status!r}; it is one of {', '.join(STATUSES)}")
    if not why.strip():
        raise ArrangeError(f"decision {decision}: say why it is {status}")
    known = [each.id for each in read_decisions(path).decisions]
    if decision not in known:
        raise ArrangeError(f"{path}: there is no decision {decision!r}; there are {known}")
    _append(path, format_status(decision, status, why, datetime.date.today().isoformat()), "")


def read_decisions(path: str | os.PathLike[str]) -> DecisionLog:
    """Return the decisions in a log.

    Raises
    ------
    ReadError
        If the file cannot be read, or has faults: all of them, each with its line.
    """
    path = Path(path)
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise ReadError("this is too large for a log of decisions", file=str(path))
        data = path.read_bytes()
    except OSError as error:
        raise ReadError(f"the log cannot be read: {error.strerror}", file=str(path)) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise ReadError(
            "a letter here is not UTF-8; save the file as UTF-8", file=str(path), line=line
        ) from None
    decisions, notices, faults = parse_decisions(text)
    if len(faults) == 1:
        raise ReadError(faults[0][1], file=str(path), line=faults[0][0])
    if faults:
        told = "\n".join(f"line {line}: {problem}" for line, problem in faults)
        raise ReadError(f"{len(faults)} faults in the log:\n{told}", file=str(path))
    return DecisionLog(tuple(decisions), tuple(notices))


def waivers_of(log: DecisionLog) -> tuple[Waiver, ...]:
    """Return the agreed decisions that waive findings, as ``waive`` takes them."""
    return tuple(
        Waiver(each.id, each.why, each.waives, each.parts, each.section, each.measures)
        for each in log.decisions
        if each.status == "agreed" and each.waives
    )


@dataclass(frozen=True)
class Rebuilt:
    """A song built again from its source and its log.

    Parameters
    ----------
    song : Song
    applied : tuple of Decision
    stale : tuple of (Decision, str)
        Decisions whose passage has changed since, and what is known of it; they were not made.
    """

    song: Song
    applied: tuple[Decision, ...]
    stale: tuple[tuple[Decision, str], ...]


def rebuild(song: Song, log: DecisionLog) -> Rebuilt:
    """Return the song with all agreed changes made, one after the other.

    A decision whose passage is not as it was when it was decided is stale: it is told and not
    made. One without a change is stale if its passage is neither as in the song that came in nor
    as at that point of the log.
    """
    now, applied, stale = song, [], []
    for decision in log.decisions:
        if decision.status != "agreed":
            continue
        reason = _why_stale(decision, (now,) if decision.change else (now, song))
        if reason:
            stale.append((decision, reason))
        else:
            if decision.change is not None:
                now = apply_change(now, decision.change)
            applied.append(decision)
    return Rebuilt(now, tuple(applied), tuple(stale))


def _why_stale(decision: Decision, songs: Sequence[Song]) -> str:
    """What has changed beneath a decision; empty if nothing has, or nothing is known."""
    if not decision.passage:
        return ""
    removed = decision.change.removed if decision.change else ()
    for song in songs:
        if passage_fingerprint(song, decision.spans, removed) == decision.passage:
            return ""
    song = songs[0]
    gone = {part for part, _, _ in decision.spans} - set(song.parts["part"])
    if gone and not decision.change:
        return f"there is no part {min(gone)!r} any more"
    last = int(song.measures["measure"].iloc[-1])
    if any(end > last for _, _, end in decision.spans):
        return f"the song has {last} measures now"
    where = ", ".join(f"{part} in measures {first}-{end}" for part, first, end in decision.spans)
    return f"the notes, chords or tuning have changed since: {where}"


def _on(song: Song, arrangement: Song | None, decision: Decision) -> Decision:
    """The decision with what it changes, its passage and its figures."""
    _check_names(song, arrangement, decision)
    change = change_between(song, arrangement) if arrangement is not None else None
    spans = change.spans if change else _spans(song, decision)
    passage = passage_fingerprint(song, spans, change.removed if change else ())
    decision = replace(decision, passage=passage, spans=spans, change=change)
    if arrangement is None:
        return decision
    return replace(
        decision,
        before=decision.before or _figures(song, decision),
        after=decision.after or _figures(arrangement, decision),
    )


def _check_names(song: Song, arrangement: Song | None, decision: Decision) -> None:
    if decision.section:
        section_row(song, decision.section)
    known = song.parts["part"].tolist()
    if arrangement is not None:
        known += [part for part in arrangement.parts["part"] if part not in known]
    for part in decision.parts:
        if part not in known:
            raise ArrangeError(unknown_name("part", part, known))
    last = int(song.measures["measure"].iloc[-1])
    if decision.measures and decision.measures[1] > last:
        raise ArrangeError(f"measures {decision.measures}: the song has {last}")


def _spans(song: Song, decision: Decision) -> tuple[Span, ...]:
    first, last = _bars(song, decision)
    parts = decision.parts or song.parts["part"].tolist()
    return tuple((part, first, last) for part in parts)


def _bars(song: Song, decision: Decision) -> tuple[int, int]:
    if decision.measures:
        return decision.measures
    if decision.section:
        row = section_row(song, decision.section)
        return int(row["first_measure"]), int(row["last_measure"])
    return 1, int(song.measures["measure"].iloc[-1])


def _figures(song: Song, decision: Decision) -> str:
    """How many findings begin there, of which kinds, and the strongest."""
    found = find_clashes(song)
    first, last = _bars(song, decision)
    here = found[found["measure"].between(first, last)]
    if here.empty:
        return "no findings"
    kinds = ", ".join(f"{count} {kind}" for kind, count in here["kind"].value_counts().items())
    count = f"{len(here)} finding{'s' if len(here) > 1 else ''}"
    return f"{count} ({kinds}), severity up to {here['severity'].max():.2f}"


def _known(path: Path) -> tuple[Decision, ...]:
    return read_decisions(path).decisions if path.exists() else ()


def _append(path: Path, text: str, title: str) -> None:
    """Write an entry at the end, whole or not at all, and to the disk."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o666)
    except OSError as error:
        raise ArrangeError(f"{path}: the decision was not written: {error.strerror}") from None
    try:
        with _locked(handle):
            size = os.fstat(handle).st_size
            if not size:
                text = _HEAD.format(title=title) + "\n" + text
            else:
                os.lseek(handle, -1, os.SEEK_END)
                text = ("\n" if os.read(handle, 1) == b"\n" else "\n\n") + text
            try:
                data = text.encode()
                while data:
                    data = data[os.write(handle, data) :]
                os.fsync(handle)
            except OSError as error:
                os.ftruncate(handle, size)
                raise ArrangeError(
                    f"{path}: the decision was not written: {error.strerror}; the log is as it was"
                ) from None
    finally:
        os.close(handle)


@contextlib.contextmanager
def _locked(handle: int) -> Iterator[None]:
    """Hold the file alone; the lock goes with the process, so that none is left behind."""
    if fcntl is not None:
        fcntl.flock(handle, fcntl.LOCK_EX)
    yield
