"""The decision log: what was decided for a song, where and why, in a text file beside it.

The file is only ever added to. Two people may write at once, since each entry is written whole
under a lock; what was acknowledged stays, whatever happens to a later write. Copies that went
apart merge by keeping the entries of both. What a decision changes is kept with it, so that the
arrangement is built again from the song as it came and its log.
"""

from __future__ import annotations

import datetime
import os
import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from arrange.clashes import find_clashes
from arrange.decisions.changes import (
    Span,
    apply_change,
    change_between,
    passage_fingerprint,
    same_change,
)
from arrange.decisions.entries import (
    STATUSES,
    Decision,
    format_decision,
    format_status,
    parse_decisions,
)
from arrange.decisions.log_file import append_entry, fingerprint_of, read_log_bytes
from arrange.errors import ArrangeError, LogChangedError, ReadError, shown
from arrange.findings import Waiver
from arrange.findings.summary import findings_figures
from arrange.tables.song import Song, section_row
from arrange.text.letters import check_text, readable
from arrange.text.part_lists import join_parts
from arrange.theory.spelling import unknown_name

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
_MOST_FAULTS = 50  # reported one by one


@dataclass(frozen=True)
class DecisionLog:
    """The decisions of a song.

    Parameters
    ----------
    decisions : tuple of Decision
        In the order in which they were written, each with its last status.
    notices : tuple of str
        Entries that were cut short while they were written, and are passed over.
    fingerprint : str
        Of the file's bytes; empty where there is no log yet.
    """

    decisions: tuple[Decision, ...] = ()
    notices: tuple[str, ...] = ()
    fingerprint: str = ""

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
    expected: DecisionLog | None = None,
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
    expected : DecisionLog, optional
        The log as it was read when the figures were made; ``DecisionLog()`` for none yet.

    Returns
    -------
    Decision
        As it will be read: texts without blank lines, and without blanks around a line.

    Raises
    ------
    ArrangeError
        If what or why is blank, a section or part is unknown, a decision to be superseded is not
        there, a text or label cannot be kept, or the file cannot be written; the log is then as
        it was.
    LogChangedError
        If it is not as expected: somebody else has written since. The log is as it was.
    """
    path = Path(path)
    if arrangement is not None and song is None:
        raise ArrangeError("an arrangement is kept as what it changes: give the song too")
    others = (" ".join(_kept("alternatives", each).split("\n")) for each in alternatives)
    decision = Decision(
        _new_id(), _kept("what", what), _kept("why", why), status,
        datetime.date.today().isoformat(), _kept("section", section), measures,
        tuple(check_text("parts", part) for part in parts), _kept("waives", waives),
        _kept("before", before), _kept("after", after), tuple(filter(None, others)),
        supersedes,
    )  # fmt: skip
    title = check_text("the song's title", song.title) if song is not None else ""
    if song is not None:
        decision = _on(song, arrangement, decision)
    _check_is_read_again(decision)

    def entry(data: bytes) -> str:
        nonlocal decision
        _check_expected(path, data, expected)
        if supersedes and supersedes not in _ids(path, data):
            raise ArrangeError(f"{path}: there is no decision {shown(supersedes)} to supersede")
        while decision.id.encode() in data:
            decision = replace(decision, id=_new_id())
        return format_decision(decision)

    append_entry(path, entry, _head(title, path))
    return decision


def change_status(
    path: str | os.PathLike[str],
    decision: str,
    status: str,
    why: str,
    *,
    expected: DecisionLog | None = None,
) -> None:
    """Write what has become of a decision: agreed, dropped, ...

    Raises
    ------
    ArrangeError
        If there is no such decision, the status is unknown, the reason blank, or the file cannot
        be written.
    LogChangedError
        If the log is not as `expected`, as for ``record_decision``.
    """
    path = Path(path)
    if status not in STATUSES:
        raise ArrangeError(f"status {shown(status)}; it is one of {', '.join(STATUSES)}")
    reason = _kept("why", why)
    if not reason:
        raise ArrangeError(f"decision {shown(decision)}: say why it is {status}")
    if not path.exists():
        read_log_bytes(path)  # says what is wrong

    def entry(data: bytes) -> str:
        _check_expected(path, data, expected)
        known = _ids(path, data)
        if decision not in known:
            raise ArrangeError(f"{path}: there is no decision {shown(decision)}; there are {known}")
        return format_status(decision, status, reason, datetime.date.today().isoformat())

    append_entry(path, entry, _head("", path))


def _check_expected(path: Path, data: bytes, expected: DecisionLog | None) -> None:
    if expected is not None and fingerprint_of(data) != expected.fingerprint:
        raise LogChangedError(
            f"{path}: the log has changed since it was read, and nothing was written; read it "
            "again and see whether the decision still holds"
        )


def _ids(path: Path, data: bytes) -> list[str]:
    return [each.id for each in _parsed(path, data).decisions]


def _new_id() -> str:
    return "d" + secrets.token_hex(4)


def _kept(name: str, text: str) -> str:
    """A text as the log keeps it: no blank lines, no blanks around a line."""
    lines = (line.strip() for line in re.split(r"\r\n|\r|\n", check_text(name, text)))
    return "\n".join(filter(None, lines))


def _head(title: str, path: Path) -> str:
    name = readable(path.name.removesuffix(".decisions.txt"))
    return _HEAD.format(title=" ".join((title or name).split()))


def _check_is_read_again(decision: Decision) -> None:
    """Whether the decision is understood from its lines: a fault would shut the whole log."""
    read, _, faults = parse_decisions(format_decision(replace(decision, supersedes="")))
    if faults:
        raise ArrangeError(f"this decision cannot be kept as text: {faults[0][1]}")
    for name in ("section", "parts", "waives", "spans"):
        was, now = getattr(decision, name), getattr(read[0], name)
        if was != now:
            raise ArrangeError(
                f"{name} {shown(str(was))} cannot be kept as text: it would be read as "
                f"{shown(str(now))}; give it a plainer name"
            )
    if not same_change(decision.change, read[0].change):
        raise ArrangeError(
            "a label in the parts or notes that this changes cannot be kept as text: it begins or "
            "ends with a blank, or is empty; give it a plainer name"
        )


def read_decisions(path: str | os.PathLike[str]) -> DecisionLog:
    """Return the decisions in a log.

    Raises
    ------
    ReadError
        If the file cannot be read, or has faults: all of them, each with its line.
    """
    path = Path(path)
    return _parsed(path, read_log_bytes(path))


def _parsed(path: Path, data: bytes) -> DecisionLog:
    text = data.decode("utf-8-sig", "surrogateescape")
    decisions, notices, faults = parse_decisions(text)
    if len(faults) == 1:
        raise ReadError(faults[0][1], file=str(path), line=faults[0][0])
    if faults:
        told = [f"line {line}: {problem}" for line, problem in faults[:_MOST_FAULTS]]
        more = len(faults) - len(told)
        told += [f"... and {more} more"] if more else []
        listed = "\n".join(told)
        raise ReadError(f"{len(faults)} faults in the log:\n{listed}", file=str(path))
    return DecisionLog(tuple(decisions), tuple(notices), fingerprint_of(data))


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

    A decision whose passage is not as it was when it was decided is stale: it is reported and not
    made; so is one that cannot be made on this song. One without a change is stale if its passage
    is neither as in the song that came in nor as at that point of the log.
    """
    now, applied, stale = song, [], []
    for decision in log.decisions:
        if decision.status != "agreed":
            continue
        reason = _why_stale(decision, (now,) if decision.change else (now, song))
        if not reason and decision.change is not None:
            try:
                now = apply_change(now, decision.change)
            except ArrangeError as error:
                reason = f"it cannot be made on this song: {error}"
        if reason:
            stale.append((decision, reason))
        else:
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
    return findings_figures(found[found["measure"].between(first, last)])
