"""What is meant to be so: findings waived by a decision, with its reason.

A waived finding stays in the table and in the report, with the decision and its reason.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError, shown
from arrange.tables.played_measures import format_measures, parse_measures
from arrange.tables.schema_check import check_table
from arrange.tables.schemas import FINDINGS
from arrange.tables.sounding import Array
from arrange.text.letters import check_text
from arrange.text.part_lists import join_parts, quoted, split_fields, split_parts, unquoted

_COLUMNS = ("decision", "reason", "kind", "parts", "section", "measures")
_COVERS = _COLUMNS[2:]
_SIGNS = ';"'  # what a waiver's text needs for itself


@dataclass(frozen=True)
class Waiver:
    """A decision that some findings are meant to be so.

    Kind, parts, section and measures together say what it covers; what is left open may
    be anything, but not all four.

    Parameters
    ----------
    decision : str
        Its id, which the findings bear.
    reason : str
        Why it is meant to be so.
    kind : str
        Of the findings, such as "doubling"; empty for any.
    parts : tuple of str
        Parts that all take part in the finding; empty for any.
    section : str
        In which the finding begins; empty for any.
    measures : tuple of int and int, optional
        First and last played measure, between which the finding begins.

    Raises
    ------
    ArrangeError
        If the id or the reason is blank, or nothing says what it covers.

    Examples
    --------
    >>> import arrange as ar
    >>> print(ar.Waiver("W1", "the hook is meant", kind="doubling", measures=(5, 12)))
    kind=doubling; measures=5-12
    """

    decision: str
    reason: str
    kind: str = ""
    parts: tuple[str, ...] = ()
    section: str = ""
    measures: tuple[int, int] | None = None

    def __post_init__(self) -> None:
        texts = {name: getattr(self, name) for name in ("decision", "reason", "kind", "section")}
        for name, text in (*texts.items(), *(("parts", part) for part in self.parts)):
            check_text(f"waiver {shown(self.decision)}: {name}", text)
        if not self.decision.strip():
            raise ArrangeError(
                f"a waiver needs the id of its decision; its reason is {self.reason!r}"
            )
        if not self.reason.strip():
            raise ArrangeError(
                f"waiver {self.decision}: a reason is needed; say why it is meant to be so"
            )
        if not (self.kind or self.parts or self.section or self.measures):
            raise ArrangeError(
                f"waiver {self.decision}: say what it covers: one of {', '.join(_COVERS)}"
            )
        if self.measures and not 1 <= self.measures[0] <= self.measures[1]:
            raise ArrangeError(
                f"waiver {self.decision}: measures {format_measures(self.measures)}: the first "
                "played measure, then the last, from 1"
            )

    def __str__(self) -> str:
        covered = {
            "kind": self.kind,
            "parts": join_parts(self.parts, _SIGNS),
            "section": self.section and quoted(self.section, _SIGNS),
            "measures": format_measures(self.measures),
        }
        return "; ".join(f"{name}={value}" for name, value in covered.items() if value)


def waive(findings: pd.DataFrame, waivers: Sequence[Waiver]) -> pd.DataFrame:
    """Return the findings with ``waived`` filled where a waiver covers them.

    Where two waivers cover a finding, the first counts; what is waived already stays so.

    Parameters
    ----------
    findings : a findings table
    waivers : sequence of Waiver

    Raises
    ------
    ArrangeError
        If a waiver covers no finding, or one id stands for two reasons.
    TableError
        If `findings` is no findings table.

    Examples
    --------
    >>> import arrange as ar
    >>> findings = ar.find_clashes(ar.read("datasets/low-water.musicxml"))
    >>> meant = ar.Waiver("W1", "the hook is meant", kind="doubling")
    >>> int(ar.waive(findings, [meant])["waived"].notna().sum())
    3
    """
    table = check_table(findings, FINDINGS)
    reasons: dict[str, str] = {}
    waived = np.array(table["waived"].to_list(), dtype=object)
    for waiver in waivers:
        if reasons.setdefault(waiver.decision, waiver.reason) != waiver.reason:
            raise ArrangeError(
                f"waiver {waiver.decision}: it has two reasons, {reasons[waiver.decision]!r} and "
                f"{waiver.reason!r}; give each decision an id of its own"
            )
        covered = _covered(table, waiver)
        if not covered.any():
            raise ArrangeError(_nothing_covered(table, waiver))
        waived[covered & pd.isna(waived)] = waiver.decision
    return table.assign(waived=pd.array(waived, dtype="str")).set_axis(findings.index)


def waive_what_is_there(findings: pd.DataFrame, waivers: Sequence[Waiver]) -> pd.DataFrame:
    """Return the findings as ``waive`` does; a waiver that covers none of them is left out."""
    return waive(findings, [each for each in waivers if _covered(findings, each).any()])


def _covered(table: pd.DataFrame, waiver: Waiver) -> Array:
    covered = np.ones(len(table), dtype=bool)
    if waiver.kind:
        covered &= (table["kind"] == waiver.kind).to_numpy()
    if waiver.parts:
        asked = set(waiver.parts)
        covered &= np.array([asked <= set(each) for each in table["parts"].map(split_parts)], bool)
    if waiver.section:
        covered &= (table["section"] == waiver.section).to_numpy()
    if waiver.measures:
        covered &= table["measure"].between(*waiver.measures).to_numpy()
    return covered


def _nothing_covered(table: pd.DataFrame, waiver: Waiver) -> str:
    """What a waiver asks for, and what there is."""
    start = f"waiver {waiver.decision} ({waiver}) covers no finding"
    if table.empty:
        return f"{start}: there is none"
    for name, asked in (("kind", waiver.kind), ("section", waiver.section)):
        if asked and asked not in set(table[name]):
            known = ", ".join(dict.fromkeys(table[name]))
            return f"{start}: none is of {name} {asked!r}; there are findings of {name} {known}"
    near = table
    if waiver.kind:
        near = near[near["kind"] == waiver.kind]
    there = dict.fromkeys(
        f"{row.kind} of {row.parts} in {row.section}, measure {row.measure}"
        for row in near.itertuples()
    )
    more = f", and {len(there) - 8} more" if len(there) > 8 else ""
    return f"{start}; there are: {'; '.join(list(there)[:8])}{more}"


def parse_waiver(text: str, decision: str) -> Waiver:
    """Return the waiver that a text describes: ``"kind=doubling; section=Chorus 1; reason=..."``.

    Parameters
    ----------
    text : str
        ``name=value`` with semicolons between; the names are kind, parts (joined by " + "),
        section, measures (played: "21-24", or one) and reason, which is needed. A label that
        holds " + " or a semicolon stands in double quotes.
    decision : str
        Its id.

    Raises
    ------
    ArrangeError
        If it cannot be read, or lacks the reason or what it covers.
    """
    fields: dict[str, str] = {}
    for piece in filter(None, split_fields(text, ";")):
        name, equals, value = (each.strip() for each in piece.partition("="))
        if not equals or name not in ("reason", *_COVERS):
            raise ArrangeError(
                f"waiver {text!r}: {piece!r} is not understood; write name=value with "
                f"semicolons between, the names are {', '.join(_COVERS)} and reason"
            )
        if name in fields:
            raise ArrangeError(f"waiver {text!r}: {name} stands there twice")
        if not value:
            raise ArrangeError(f"waiver {text!r}: nothing stands behind {name}=")
        fields[name] = unquoted(value) if name == "section" else value
    return _from_texts({"decision": decision, "reason": "", **fields})


def _from_texts(fields: dict[str, str]) -> Waiver:
    parts = tuple(split_parts(fields.get("parts", "")))
    try:
        measures = parse_measures(fields["measures"]) if fields.get("measures") else None
    except ArrangeError as error:
        raise ArrangeError(f"waiver {fields['decision']}: {error}") from None
    return Waiver(
        fields["decision"], fields["reason"], fields.get("kind", ""), parts,
        fields.get("section", ""), measures,
    )  # fmt: skip


def waivers_table(waivers: Sequence[Waiver]) -> pd.DataFrame:
    """Return the waivers as a table of text, a row each, missing where left open."""
    rows = [
        (
            waiver.decision,
            waiver.reason,
            waiver.kind or None,
            join_parts(waiver.parts) or None,
            waiver.section or None,
            format_measures(waiver.measures) or None,
        )
        for waiver in waivers
    ]
    return pd.DataFrame(rows, columns=list(_COLUMNS), dtype="str")


def read_waivers(path: str | os.PathLike[str]) -> tuple[Waiver, ...]:
    """Return the waivers in a CSV file, such as a study's ``tables/waivers.csv``.

    Its columns are decision, reason, kind, parts (joined by " + "), section and measures
    ("21-24"); an empty cell is left open.

    Raises
    ------
    ArrangeError
        If the file cannot be read, or a row is no waiver.

    Examples
    --------
    >>> import arrange as ar, pathlib, tempfile
    >>> text = "decision,reason,kind,parts,section,measures\\nW1,it is meant,rub,,,21-24\\n"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = pathlib.Path(folder) / "waivers.csv"
    ...     _ = path.write_text(text)
    ...     print(*ar.read_waivers(path))
    kind=rub; measures=21-24
    """
    try:
        table: Any = pd.read_csv(Path(path), dtype=str, keep_default_na=False)
    except OSError as error:
        raise ArrangeError(f"{path}: cannot be read: {error.strerror}") from None
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError) as error:
        raise ArrangeError(f"{path}: it is no table of waivers: {error}") from None
    missing = [name for name in _COLUMNS if name not in table]
    if missing:
        raise ArrangeError(
            f"{path}: column {missing[0]!r} is missing; its columns are {', '.join(_COLUMNS)}"
        )
    waivers = []
    for number, row in enumerate(table.to_dict("records"), start=2):
        try:
            waivers.append(_from_texts(row))
        except ArrangeError as error:
            raise ArrangeError(f"{path}, line {number}: {error}") from None
    return tuple(waivers)
