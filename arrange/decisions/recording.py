"""Write into a log: a decision with its changes and figures, or a new status of one."""

from __future__ import annotations

import datetime
import os
import re
import secrets
from dataclasses import replace
from pathlib import Path
from typing import Any

from arrange.clashes import find_clashes
from arrange.decisions.decision import STATUSES, Decision
from arrange.decisions.decision_log import DecisionLog, parse_log
from arrange.decisions.log_file import append_entry, fingerprint_of, read_log_bytes
from arrange.decisions.log_text import format_decision, format_status, parse_decisions
from arrange.decisions.note_changes import (
    Span,
    change_between,
    passage_fingerprint,
    same_change,
)
from arrange.errors import ArrangeError, LogChangedError, shown
from arrange.findings.summary import findings_figures
from arrange.tables.song import Song, section_row
from arrange.text.letters import check_text, readable
from arrange.theory.spelling import unknown_name

_HEAD = (
    "# Decisions for {title}. Read by people, added to at the end, never rewritten: a decision\n"
    "# goes from its 'decision:' line to its 'end:' line.\n"
)
_TEXTS = ("what", "why", "section", "waives", "before", "after", "date")  # of a decision


def record_decision(
    path: str | os.PathLike[str],
    decision: Decision,
    *,
    song: Song | None = None,
    arrangement: Song | None = None,
    expected: DecisionLog | None = None,
) -> Decision:
    """Write a decision at the end of a log; when this returns, it is on the disk.

    Parameters
    ----------
    path : path
        The log; made if it is not there. ``decisions_path`` gives the usual one.
    decision : Decision
        A new one: a decision that has an id has been recorded already and is refused, since the
        log keeps what was decided; to change it, record a new one that supersedes it. A date is
        kept if it is given, for what was decided on an earlier day.
    song : Song, optional
        The song that it is about, as it is now, so that the log knows when it has changed.
    arrangement : Song, optional
        The song as decided, such as a proposal's: the difference is kept with the decision, and
        the findings before and after are counted where the decision gives no figures.
    expected : DecisionLog, optional
        The log as it was read when the figures were made; ``DecisionLog()`` for none yet.

    Returns
    -------
    Decision
        As it will be read: with its id, its date and what was computed; texts without blank
        lines, and without blanks around a line.

    Raises
    ------
    ArrangeError
        If it is no decision or has been recorded already, a section or part is unknown, a decision
        to be superseded is not there, a text or label cannot be kept, or the file cannot be
        written; the log is then as it was.
    LogChangedError
        If the log is not as expected: somebody else has written since. The log is as it was.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> lays_out = ar.Decision("Guitar 2 lays out", "the voice is alone")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     recorded = ar.record_decision(f"{folder}/song.decisions.txt", lays_out)
    ...     log = ar.read_decisions(f"{folder}/song.decisions.txt")
    >>> log.decisions == (recorded,), recorded.status
    (True, 'agreed')
    """
    path = Path(path)
    if not isinstance(decision, Decision):
        raise ArrangeError(f"{shown(decision)}: record a decision, such as Decision('what', 'why')")
    _check_is_new(decision)
    if arrangement is not None and song is None:
        raise ArrangeError("an arrangement is kept as what it changes: give the song too")
    new = _as_kept(decision)
    title = check_text("the song's title", song.title) if song is not None else ""
    if song is not None:
        new = _on(song, arrangement, new)
    _check_is_read_again(new)

    def entry(data: bytes) -> str:
        nonlocal new
        _check_expected(path, data, expected)
        if new.supersedes and new.supersedes not in _ids(path, data):
            raise ArrangeError(f"{path}: there is no decision {shown(new.supersedes)} to supersede")
        while new.id.encode() in data:
            new = replace(new, id=_new_id())
        return format_decision(new)

    append_entry(path, entry, _head(title, path))
    return new


def change_status(
    path: str | os.PathLike[str],
    decision: str,
    status: str,
    why: str,
    *,
    expected: DecisionLog | None = None,
) -> None:
    """Write a new status of a decision into its log, with the reason.

    Parameters
    ----------
    path : path
        The log.
    decision : str
        Its id.
    status : str
        proposed, agreed, dropped or superseded.
    why : str
    expected : DecisionLog, optional
        As for ``record_decision``.

    Raises
    ------
    ArrangeError
        If there is no such decision, the status is unknown, the reason blank, or the file cannot
        be written.
    LogChangedError
        If the log is not as expected, as for ``record_decision``.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     log = f"{folder}/song.decisions.txt"
    ...     recorded = ar.record_decision(log, ar.Decision("capo 2", "open shapes"))
    ...     ar.change_status(log, recorded.id, "dropped", "too high for the singer")
    ...     print(ar.read_decisions(log).decisions[0].status)
    dropped
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
    return [each.id for each in parse_log(path, data).decisions]


def _new_id() -> str:
    return "d" + secrets.token_hex(4)


def _check_is_new(decision: Decision) -> None:
    if decision.id:
        name = shown(decision.id)
        raise ArrangeError(
            f"decision {name} has an id, so it has been recorded already; to change it, record a "
            f"new Decision with supersedes={name}"
        )
    if decision.passage or decision.spans or decision.change is not None:
        raise ArrangeError(
            "passage, spans and change are computed from the song and the arrangement when a "
            "decision is recorded; leave them empty"
        )


def _as_kept(decision: Decision) -> Decision:
    """The decision with an id, a date, and its texts as the log keeps them."""
    texts: dict[str, Any] = {name: _kept(name, getattr(decision, name)) for name in _TEXTS}
    texts["date"] = texts["date"] or datetime.date.today().isoformat()
    others = (" ".join(_kept("alternatives", each).split("\n")) for each in decision.alternatives)
    parts = tuple(check_text("parts", part) for part in decision.parts)
    return replace(
        decision, **texts, id=_new_id(), parts=parts, alternatives=tuple(filter(None, others))
    )


def _kept(name: str, text: str) -> str:
    """A text as the log keeps it: no blank lines, no blanks around a line."""
    lines = (line.strip() for line in re.split(r"\r\n|\r|\n", check_text(name, text)))
    return "\n".join(filter(None, lines))


def _head(title: str, path: Path) -> str:
    name = readable(path.name.removesuffix(".decisions.txt"))
    return _HEAD.format(title=" ".join((title or name).split()))


def _check_is_read_again(decision: Decision) -> None:
    """Check that the decision can be read back: a fault would make the whole log unreadable."""
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


def _on(song: Song, arrangement: Song | None, decision: Decision) -> Decision:
    """The decision with its changes, its passage and its figures."""
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
    """How many findings begin there, of which kinds, and how severe the strongest is."""
    found = find_clashes(song)
    first, last = _bars(song, decision)
    return findings_figures(found[found["measure"].between(first, last)])
