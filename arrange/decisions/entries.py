"""One decision, as an object and as the lines of text that people read and merge.

A decision goes from its ``decision:`` line to the ``end:`` line that names it again. Between
them stand lines ``name: value``; a value goes on in lines that begin with two blanks. What is
decided of a decision later (agreed, dropped) is an entry of its own, ``status of:``. Lines that
begin with ``#`` outside of a decision are remarks. Notes and parts stand as rows between bars
``|``, a line of column names above.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from arrange.decisions.changes import Change, Span
from arrange.errors import ArrangeError
from arrange.part_lists import join_parts, split_parts
from arrange.schemas import NOTES, PARTS, Table
from arrange.tables import check_table

STATUSES = ("proposed", "agreed", "dropped", "superseded")

_OPENING = re.compile(r"(decision|status of):\s*(\S*)\s*$")
_OPENINGS = ("decision:", "status of:")
_FIELD = re.compile(r"([a-z][a-z ]*?):(?:\s+(.*))?$")
_DATE = re.compile(r"\d{4}-\d\d-\d\d$")
_ESCAPES = {"\\": "\\", "|": "p", "\n": "n", "\r": "r"}  # in a cell, behind a backslash
_MEANT = {letter: sign for sign, letter in _ESCAPES.items()}
_SPECIAL, _ESCAPED = re.compile(r"[\\|\n\r]"), re.compile(r"\\(.)")
_CONFLICT = re.compile(r"(<<<<<<<|=======|>>>>>>>|\|\|\|\|\|\|\|)")


@dataclass(frozen=True)
class Decision:
    """What was decided, where, why.

    Parameters
    ----------
    id : str
    what, why : str
    status : str
        proposed, agreed, dropped or superseded.
    date : str
        Year-month-day of the decision.
    section : str
        Or empty.
    measures : (int, int), optional
        First and last, as played.
    parts : tuple of str
    waives : str
        The kind of finding that is meant to be so; empty if the decision waives none.
    before, after : str
        The figures.
    alternatives : tuple of str
        What else was considered.
    supersedes : str
        Id of the decision that this one replaces, or empty.
    passage : str
        Fingerprint of the passage when it was decided, or empty.
    spans : tuple of (part, first measure, last measure)
        The passage.
    change : Change, optional
        The notes that it puts there.
    """

    id: str
    what: str
    why: str
    status: str = "proposed"
    date: str = ""
    section: str = ""
    measures: tuple[int, int] | None = None
    parts: tuple[str, ...] = ()
    waives: str = ""
    before: str = ""
    after: str = ""
    alternatives: tuple[str, ...] = ()
    supersedes: str = ""
    passage: str = ""
    spans: tuple[Span, ...] = ()
    change: Change | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if not self.what.strip() or not self.why.strip():
            raise ArrangeError(
                f"decision {self.id}: say what is decided and why; without a reason nobody can "
                "tell next year whether it still holds"
            )
        if self.status not in STATUSES:
            raise ArrangeError(
                f"decision {self.id}: status {self.status!r}; it is one of {', '.join(STATUSES)}"
            )
        if self.measures and not 1 <= self.measures[0] <= self.measures[1]:
            raise ArrangeError(
                f"decision {self.id}: measures {self.measures}: the first, then the last, from 1"
            )

    def __str__(self) -> str:
        where = self.section or (_measures_text(self.measures) and f"m. {self.measures[0]}")  # type: ignore[index]
        return f"{self.id} ({self.status}{', ' + where if where else ''}): {self.what}"


def format_decision(decision: Decision) -> str:
    """Return the lines of a decision, the last one with its line end."""
    told = {
        "date": decision.date,
        "status": decision.status,
        "what": decision.what,
        "section": decision.section,
        "measures": _measures_text(decision.measures),
        "parts": join_parts(decision.parts),
        "why": decision.why,
        "waives": decision.waives,
        "before": decision.before,
        "after": decision.after,
        "alternatives": "\n".join(decision.alternatives),
        "supersedes": decision.supersedes,
        "passage": decision.passage,
        "spans": "\n".join(f"{part}, {first}-{last}" for part, first, last in decision.spans),
    }
    lines = [f"decision: {decision.id}"]
    for name, value in told.items():
        if value:
            lines += _field_lines(name, value)
    if decision.change is not None:
        change = decision.change
        if change.removed:
            lines += _field_lines("removes", "\n".join(change.removed))
        if len(change.parts):
            lines += ["new parts:", *_table_lines(change.parts)]
        lines += ["notes:", *_table_lines(change.notes)]
    return "\n".join([*lines, f"end: {decision.id}", ""])


def format_status(identifier: str, status: str, why: str, date: str) -> str:
    """Return the lines that say what has become of a decision."""
    lines = [f"status of: {identifier}", f"date: {date}", f"status: {status}"]
    return "\n".join([*lines, *_field_lines("why", why), f"end: {identifier}", ""])


def parse_decisions(text: str) -> tuple[list[Decision], list[str], list[tuple[int, str]]]:
    """Return the decisions in a log, what was passed over, and the faults.

    Returns
    -------
    decisions : list of Decision
        In the order in which they stand, each with its last status.
    notices : list of str
        Decisions that have no end: writing them was cut short.
    faults : list of (line, str)
        Counted from 1.
    """
    parser = _Parser(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"))
    parser.read()
    parser.settle()
    return list(parser.decisions.values()), parser.notices, sorted(parser.faults)


class _Parser:
    """Goes through the lines once, entry by entry."""

    def __init__(self, lines: Sequence[str]) -> None:
        self.lines = lines
        self.decisions: dict[str, Decision] = {}
        self.later: list[tuple[int, str, str]] = []  # line, id, status
        self.notices: list[str] = []
        self.faults: list[tuple[int, str]] = []

    def read(self) -> None:
        """Find where entries begin and end."""
        begin: tuple[int, str, str] | None = None
        for number, line in enumerate(self.lines, start=1):
            if _CONFLICT.match(line):
                self.faults.append(
                    (number, "a merge conflict was left here; keep the decisions of both sides "
                     "and delete the lines of marks")
                )  # fmt: skip
                continue
            opening = _OPENING.match(line)
            if opening:
                self._unended(begin)
                begin = (number, opening[1], opening[2])
            elif begin is None:
                if line.strip() and any(word.startswith(line.strip()) for word in _OPENINGS):
                    self._unended((number, line.strip(), ""))
                elif line.strip() and not line.startswith("#"):
                    self.faults.append(
                        (number, f"{line.strip()[:40]!r} stands outside of a decision; begin a "
                         "remark with #")
                    )  # fmt: skip
            elif line.startswith("end:"):
                self._entry(*begin, number)
                begin = None
        self._unended(begin)

    def settle(self) -> None:
        """Give each decision its last status."""
        for line, identifier, status in self.later:
            if identifier not in self.decisions:
                self.faults.append((line, f"there is no decision {identifier!r} in this log"))
            else:
                decision = self.decisions[identifier]
                self.decisions[identifier] = replace(decision, status=status)
        for decision in list(self.decisions.values()):
            old = self.decisions.get(decision.supersedes)
            if old is not None and decision.status in ("proposed", "agreed"):
                self.decisions[old.id] = replace(old, status="superseded")

    def _unended(self, begin: tuple[int, str, str] | None) -> None:
        """Tell of an entry whose writing was cut short, wherever."""
        if begin:
            number, word, identifier = begin
            self.notices.append(
                f"line {number}: {f'{word}: {identifier}'.strip(': ')!r} has no end; its writing "
                "was cut short, and it is passed over: complete it by hand, or delete it"
            )

    def _entry(self, first: int, word: str, identifier: str, last: int) -> None:
        ended = self.lines[last - 1][4:].strip()
        if identifier != ended and identifier.startswith(ended):
            self._unended((first, word, identifier))
            return
        if not identifier or ended != identifier:
            self.faults.append(
                (last, f"this ends {ended!r}, but line {first} begins {identifier!r}; both name "
                 "the decision")
            )  # fmt: skip
            return
        fields = self._fields(first + 1, last)
        if fields is None:
            return
        try:
            if word == "decision":
                self._decision(first, identifier, fields)
            else:
                self._status(first, identifier, fields)
        except _Fault as fault:
            self.faults.append((fault.line, str(fault)))
        except ArrangeError as error:
            self.faults.append((first, str(error)))

    def _fields(self, first: int, last: int) -> dict[str, tuple[int, list[str]]] | None:
        """Name -> the line it stands in and the lines of its value."""
        fields: dict[str, tuple[int, list[str]]] = {}
        name, is_right = "", True
        for number in range(first, last):
            line = self.lines[number - 1]
            match = _FIELD.match(line)
            if not line.strip() or _CONFLICT.match(line):
                continue
            if line.startswith("  ") and name:
                fields[name][1].append(line[2:])
            elif match and match[1] in _NAMES:
                name = match[1]
                if name in fields:
                    self.faults.append((number, f"{name!r} stands there twice"))
                    is_right = False
                fields[name] = (number, [match[2]] if match[2] else [])
            else:
                self.faults.append(
                    (number, f"{line.strip()[:40]!r} is not understood; write name: value with "
                     f"one of the names {', '.join(_NAMES)}, or begin a line that goes on with "
                     "two blanks")
                )  # fmt: skip
                is_right = False
        return fields if is_right else None

    def _status(self, first: int, identifier: str, fields: dict[str, Any]) -> None:
        self.later.append((first, identifier, _status(*fields.get("status", (first, [])))))

    def _decision(self, first: int, identifier: str, fields: dict[str, Any]) -> None:
        if identifier in self.decisions:
            raise _Fault(first, f"there is a decision {identifier!r} already; ids must differ")
        told: dict[str, Any] = {"what": "", "why": ""}
        for name, (line, lines) in fields.items():
            if name in _READERS:
                told[name] = _READERS[name](line, [each.strip() for each in lines])
        if "notes" in fields:
            told["change"] = _change(fields, told.get("spans", ()))
        self.decisions[identifier] = Decision(identifier, **told)


class _Fault(Exception):
    """Something in one line that is not understood."""

    def __init__(self, line: int, problem: str) -> None:
        super().__init__(problem)
        self.line = line


def _change(fields: dict[str, Any], spans: tuple[Span, ...]) -> Change:
    line, rows = fields["notes"]
    notes = _parse_table(line, rows, NOTES)
    line, rows = fields.get("new parts", (line, []))
    parts = _parse_table(line, rows, PARTS)
    removed = tuple(each.strip() for each in fields.get("removes", (0, []))[1])
    return Change(spans, notes, parts, removed)


def _one_line(_: int, lines: list[str]) -> str:
    return "\n".join(lines)


def _needed(line: int, lines: list[str]) -> str:
    text = "\n".join(lines)
    if not text.strip():
        raise _Fault(line, "nothing stands here; say what is decided and why")
    return text


def _status(line: int, lines: list[str]) -> str:
    status = " ".join(lines)
    if status not in STATUSES:
        raise _Fault(line, f"status {status!r}; it is one of {', '.join(STATUSES)}")
    return status


def _date(line: int, lines: list[str]) -> str:
    text = " ".join(lines)
    if not _DATE.match(text):
        raise _Fault(line, f"date {text!r}; write year-month-day, such as 2031-06-30")
    return text


def _parts(_: int, lines: list[str]) -> tuple[str, ...]:
    return tuple(split_parts(" ".join(lines)))


def _measures(line: int, lines: list[str]) -> tuple[int, int]:
    match = re.match(r"(\d+)(?:\s*[-–]\s*(\d+))?$", " ".join(lines))
    if not match:
        raise _Fault(line, f"measures {' '.join(lines)!r}; write played measures: 25-32, or one")
    first, last = int(match[1]), int(match[2] or match[1])
    if not 1 <= first <= last:
        raise _Fault(line, f"measures {first}-{last}: the first, then the last, from 1")
    return first, last


def _spans(line: int, lines: list[str]) -> tuple[Span, ...]:
    spans = []
    for at, text in enumerate(lines):
        match = re.match(r"(.+), (\d+)-(\d+)$", text)
        if not match:
            raise _Fault(line + at, f"{text!r}; write a part and its measures: 'Guitar 2, 25-32'")
        spans.append((match[1], int(match[2]), int(match[3])))
    return tuple(spans)


def _several(_: int, lines: list[str]) -> tuple[str, ...]:
    return tuple(filter(None, lines))


_READERS: dict[str, Callable[[int, list[str]], Any]] = {
    "date": _date, "status": _status, "what": _needed, "section": _one_line,
    "measures": _measures, "parts": _parts, "why": _needed, "waives": _one_line,
    "before": _one_line, "after": _one_line, "alternatives": _several, "supersedes": _one_line,
    "passage": _one_line, "spans": _spans,
}  # fmt: skip
_NAMES = (*_READERS, "removes", "new parts", "notes")


def _field_lines(name: str, value: str) -> list[str]:
    first, *rest = value.split("\n")
    return [f"{name}: {first}", *(f"  {line}" for line in rest)]


def _measures_text(measures: tuple[int, int] | None) -> str:
    return f"{measures[0]}-{measures[1]}" if measures else ""


def _table_lines(frame: pd.DataFrame) -> list[str]:
    names = list(frame.columns)
    columns = [[_cell(value) for value in frame[name].tolist()] for name in names]
    rows = [names, *zip(*columns, strict=True)]
    return ["  | " + " | ".join(row) + " |" for row in rows]


def _cell(value: Any) -> str:
    if value is None or value is pd.NA or value != value:
        return ""
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, tuple):
        return " ".join(map(str, value))
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    return _SPECIAL.sub(lambda found: "\\" + _ESCAPES[found[0]], str(value))


def _parse_table(line: int, lines: list[str], table: Table) -> pd.DataFrame:
    rows = [[cell.strip() for cell in text.strip().strip("|").split("|")] for text in lines]
    names = table.names
    if rows and rows[0] != list(names):
        raise _Fault(line + 1, f"the columns are {' | '.join(names)}")
    for at, row in enumerate(rows[1:], start=2):
        if len(row) != len(names):
            raise _Fault(line + at, f"{len(row)} columns; a row has {len(names)}, between bars |")
    columns = {}
    for place, column in enumerate(table.columns):
        values = []
        for at, row in enumerate(rows[1:], start=2):
            try:
                values.append(_value(row[place], column.dtype))
            except ValueError:
                raise _Fault(
                    line + at, f"{column.name} {row[place]!r}: a number is needed"
                ) from None
        columns[column.name] = values
    try:
        return check_table(pd.DataFrame(columns, columns=list(names), dtype=object), table)
    except ArrangeError as error:
        raise _Fault(line, str(error)) from None


def _value(cell: str, dtype: str) -> Any:
    if dtype == "bool":
        return cell == "yes"
    if not cell:
        return float("nan") if dtype == "float64" else None
    if dtype == "float64":
        return float(cell)
    if dtype in ("int64", "Int64"):
        return int(cell)
    if dtype == "object":
        return tuple(float(each) if "." in each else int(each) for each in cell.split())
    return _ESCAPED.sub(lambda found: _MEANT.get(found[1], found[0]), cell)
