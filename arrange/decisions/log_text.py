"""Decisions as the lines of text that people read and merge.

A decision begins with a ``decision:`` line and ends with an ``end:`` line, both with its id.
Between them are lines ``name: value``; a value goes on in lines that begin with two blanks. A later
change of its status (agreed, dropped) is an entry of its own, ``status of:``. Lines that begin with
``#`` outside of a decision are remarks. Notes and parts are written as rows between bars ``|``
below a line of column names.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from arrange.decisions.decision import STATUSES, Decision
from arrange.decisions.note_changes import Change, Span, in_spans
from arrange.decisions.table_text import Fault, Line, parse_table, table_lines
from arrange.errors import ArrangeError, shown
from arrange.tables.played_measures import format_measures, parse_measures
from arrange.tables.schemas import NOTES, PARTS, SETUPS
from arrange.text.letters import is_text
from arrange.text.part_lists import join_parts, split_parts

_OPENINGS = ("decision:", "status of:")
_FIELD = re.compile(r"([a-z][a-z ]*?):(?:\s+(.*))?$")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NOT_UTF8 = "a letter here is not UTF-8; save the file as UTF-8"
_CONFLICT = re.compile(r"(<<<<<<<|=======|>>>>>>>|\|\|\|\|\|\|\|)")


def format_decision(decision: Decision) -> str:
    """Return the lines of a decision as one text that ends with a line end."""
    texts = {
        "date": decision.date,
        "status": decision.status,
        "what": decision.what,
        "section": decision.section,
        "measures": format_measures(decision.measures),
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
    for name, value in texts.items():
        if value:
            lines += _field_lines(name, value)
    if decision.change is not None:
        change = decision.change
        if change.removed:
            lines += _field_lines("removes", "\n".join(change.removed))
        if len(change.parts):
            lines += ["new parts:", *table_lines(change.parts)]
        if len(change.setups):
            lines += ["setups:", *table_lines(change.setups)]
        lines += ["notes:", *table_lines(change.notes)]
    return "\n".join([*lines, f"end: {decision.id}", ""])


def format_status(identifier: str, status: str, why: str, date: str) -> str:
    """Return the lines that give a decision another status."""
    lines = [f"status of: {identifier}", f"date: {date}", f"status: {status}"]
    return "\n".join([*lines, *_field_lines("why", why), f"end: {identifier}", ""])


def parse_decisions(text: str) -> tuple[list[Decision], list[str], list[tuple[int, str]]]:
    """Return the decisions in a log, a notice for each entry left out, and the faults.

    Returns
    -------
    decisions : list of Decision
        In the order of the log, each with its last status.
    notices : list of str
        Entries without an end: writing them was cut short.
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
        self.begun: set[str] = set()  # ids of all decisions, also of those with faults
        self.later: list[tuple[int, str, str]] = []  # line, id, status
        self.superseding: list[tuple[int, str, str]] = []  # line, id, id of the older one
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
            opening = _opening(line)
            if opening:
                self._unended(begin)
                begin = (number, *opening)
                if opening[0] == "decision":
                    self.begun.add(opening[1])
            elif begin is None:
                self._outside(number, line)
            elif line.startswith("end:"):
                self._entry(*begin, number)
                begin = None
        self._unended(begin)

    def settle(self) -> None:
        """Give each decision its last status."""
        for line, identifier, status in self.later:
            if identifier in self.decisions:
                decision = self.decisions[identifier]
                self.decisions[identifier] = replace(decision, status=status)
            elif identifier not in self.begun:
                problem = f"there is no decision {shown(identifier)} in this log"
                self.faults.append((line, problem))
        for line, identifier, older in self.superseding:
            if older not in self.begun or older == identifier:
                problem = f"there is no other decision {shown(older)} to supersede"
                self.faults.append((line, problem))
        for decision in list(self.decisions.values()):
            old = self.decisions.get(decision.supersedes)
            if old is not None and decision.status in ("proposed", "agreed"):
                self.decisions[old.id] = replace(old, status="superseded")

    def _outside(self, number: int, line: str) -> None:
        """Read a line between entries: a remark, the start of an entry cut short, or a mistake."""
        text = line.strip()
        if not is_text(line):
            self.faults.append((number, _NOT_UTF8))
        elif text and any(word.startswith(text) for word in _OPENINGS):
            self._unended((number, text, ""))
        elif text and not line.startswith("#"):
            problem = f"{shown(text)} is outside of a decision; begin a remark with #"
            self.faults.append((number, problem))

    def _unended(self, begin: tuple[int, str, str] | None) -> None:
        """Report an entry whose writing was cut short."""
        if begin:
            number, word, identifier = begin
            self.notices.append(
                f"line {number}: {shown(f'{word}: {identifier}'.strip(': '))} has no end; its "
                "writing was cut short, and it is left out: complete it by hand, or delete it"
            )

    def _entry(self, first: int, word: str, identifier: str, last: int) -> None:
        foreign = [at for at in range(first, last + 1) if not is_text(self.lines[at - 1])]
        if foreign:
            self.faults += [(at, _NOT_UTF8) for at in foreign]
            return
        ended = self.lines[last - 1][4:].strip()
        if identifier != ended and identifier.startswith(ended):
            self._unended((first, word, identifier))
            return
        if not identifier or ended != identifier:
            self.faults.append(
                (last, f"this ends {shown(ended)}, but line {first} begins {shown(identifier)}; "
                 "both name the decision")
            )  # fmt: skip
            return
        fields = self._fields(first + 1, last, _NAMES if word == "decision" else _STATUS_NAMES)
        if fields is None:
            return
        try:
            if word == "decision":
                self._decision(first, identifier, fields)
            else:
                self._status(first, identifier, fields)
        except Fault as fault:
            self.faults.append((fault.line, str(fault)))
        except ArrangeError as error:
            self.faults.append((first, str(error)))

    def _fields(self, first: int, last: int, names: Sequence[str]) -> dict[str, _Value] | None:
        """Name -> its line and the lines of its value."""
        fields: dict[str, _Value] = {}
        name, is_right = "", True
        for number in range(first, last):
            line = self.lines[number - 1]
            match = _FIELD.match(line)
            if not line.strip() or _CONFLICT.match(line):
                continue
            if line.startswith("  ") and name:
                fields[name].lines.append((number, line.strip()))
            elif match and match[1] in names:
                name = match[1]
                if name in fields:
                    self.faults.append((number, f"{name!r} is there twice"))
                    is_right = False
                text = (match[2] or "").strip()
                fields[name] = _Value(number, [(number, text)] if text else [])
            else:
                self.faults.append(
                    (number, f"{shown(line.strip())} is not understood; write name: value with "
                     f"one of the names {', '.join(names)}, or begin a line that goes on with "
                     "two blanks")
                )  # fmt: skip
                is_right = False
        return fields if is_right else None

    def _status(self, first: int, identifier: str, fields: dict[str, _Value]) -> None:
        if "date" in fields:
            _date(fields["date"])
        self.later.append((first, identifier, _status(fields.get("status", _Value(first, [])))))

    def _decision(self, first: int, identifier: str, fields: dict[str, _Value]) -> None:
        if identifier in self.decisions:
            problem = f"there is a decision {shown(identifier)} already; ids must differ"
            raise Fault(first, problem)
        values: dict[str, Any] = {"what": "", "why": "", "status": "proposed"}
        for name, value in fields.items():
            if name in _READERS:
                values[name] = _READERS[name](value)
        values["change"] = _change(fields, values.get("spans", ()))
        self.decisions[identifier] = Decision(id=identifier, **values)
        if values.get("supersedes"):
            line = fields["supersedes"].line
            self.superseding.append((line, identifier, values["supersedes"]))


def _opening(line: str) -> tuple[str, str] | None:
    """The word and the id with which an entry begins."""
    word, colon, rest = line.partition(":")
    if colon and f"{word}:" in _OPENINGS and len(rest.split(maxsplit=1)) <= 1:
        return word, rest.strip()
    return None


@dataclass(frozen=True)
class _Value:
    """The value of a name: the line of the name, and each line of the value."""

    line: int
    lines: list[Line]

    @property
    def text(self) -> str:
        return "\n".join(text for _, text in self.lines)


def _change(fields: dict[str, _Value], spans: tuple[Span, ...]) -> Change | None:
    if "notes" not in fields:
        for name in ("removes", "new parts", "setups"):
            if name in fields:
                raise Fault(fields[name].line, f"{name!r} is here without 'notes:' below it")
        return None
    lines = fields["notes"].lines
    notes = parse_table(lines, NOTES)
    outside = np.flatnonzero(~in_spans(notes, spans))
    if len(outside):
        row = int(outside[0])
        part, measure = notes["part"].iloc[row], notes["measure"].iloc[row]
        problem = f"a note of {shown(part)} in measure {measure}, which is in none of the spans"
        raise Fault(lines[row + 1][0], problem)
    parts, setups = (
        parse_table(fields[name].lines if name in fields else [], table)
        for name, table in (("new parts", PARTS), ("setups", SETUPS))
    )
    removed = _several(fields["removes"]) if "removes" in fields else ()
    return Change(spans, notes, parts, setups, removed)


def _text(value: _Value) -> str:
    return value.text


def _needed(value: _Value) -> str:
    if not value.text:
        raise Fault(value.line, "nothing is written here; say what is decided and why")
    return value.text


def _status(value: _Value) -> str:
    status = value.text
    if status not in STATUSES:
        raise Fault(value.line, f"status {shown(status)}; it is one of {', '.join(STATUSES)}")
    return status


def _date(value: _Value) -> str:
    try:
        datetime.date.fromisoformat(value.text)
    except ValueError:
        is_date = False
    else:
        is_date = bool(_DATE.fullmatch(value.text))
    if not is_date:
        problem = f"date {shown(value.text)}; write year-month-day, such as 2031-06-30"
        raise Fault(value.line, problem)
    return value.text


def _parts(value: _Value) -> tuple[str, ...]:
    return tuple(split_parts(value.text.replace("\n", " ")))


def _measures(value: _Value) -> tuple[int, int]:
    return _bars(value.line, value.text)


def _spans(value: _Value) -> tuple[Span, ...]:
    spans = []
    for line, text in value.lines:
        part, _, bars = text.rpartition(", ")
        if not part:
            problem = f"{shown(text)}; write a part and its measures: 'Guitar 2, 25-32'"
            raise Fault(line, problem)
        spans.append((part, *_bars(line, bars)))
    return tuple(spans)


def _bars(line: int, text: str) -> tuple[int, int]:
    try:
        return parse_measures(text)
    except ArrangeError as error:
        raise Fault(line, str(error)) from None


def _several(value: _Value) -> tuple[str, ...]:
    return tuple(text for _, text in value.lines)


_READERS: dict[str, Callable[[_Value], Any]] = {
    "date": _date, "status": _status, "what": _needed, "section": _text,
    "measures": _measures, "parts": _parts, "why": _needed, "waives": _text,
    "before": _text, "after": _text, "alternatives": _several, "supersedes": _text,
    "passage": _text, "spans": _spans,
}  # fmt: skip
_NAMES = (*_READERS, "removes", "new parts", "setups", "notes")
_STATUS_NAMES = ("date", "status", "why")


def _field_lines(name: str, value: str) -> list[str]:
    first, *rest = value.split("\n")
    return [f"{name}: {first}", *(f"  {line}" for line in rest)]
