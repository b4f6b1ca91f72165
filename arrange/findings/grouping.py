"""Findings that belong together as one row, so that those of a song fit on a page."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable

import numpy as np
import pandas as pd

from arrange.clashes import KINDS
from arrange.findings.causes import causes
from arrange.findings.ranking import is_trait, ranked, weights
from arrange.tables.columns import object_column, text_column
from arrange.tables.schema_check import check_table
from arrange.tables.schemas import FINDINGS
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.text.words import listed

_NUMBERED = re.compile(r"(.*\S)\s+(\d+)")


def group_findings(findings: pd.DataFrame, song: Song) -> pd.DataFrame:
    """Return the findings with those that belong together as one row.

    Two findings of one kind and the same parts, both waived by one decision or neither waived,
    belong together if

    - they have the same pitches, or both are about registers, at the same beat of the same printed
      measure (played again in a repeat), or at the same place of sections of one kind (each chorus;
      not kind "other", which says nothing); or
    - they begin in the same section, on whatever pitches;

    and so do all findings that are linked by these rules. What the same notes cause is one row too
    (``causes``).

    Parameters
    ----------
    findings : a findings table
    song : Song
        The song that they were found in.

    Returns
    -------
    DataFrame
        A row a group, in the order in which to listen to them (``ranking``): the columns of the
        findings table, for the first of the group; ``kinds``, those in it, such as
        "scale, rub"; ``times``, how many findings it holds; ``sections``, where they begin, such as
        "Chorus 1, 2 and 3"; ``labels``, a tuple of the findings' row labels, the first to listen to
        first; ``trait``, whether the song does it throughout: these rows come last.

    Raises
    ------
    TableError
        If `findings` is no findings table.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> findings = ar.find_clashes(song)
    >>> len(findings), len(ar.group_findings(findings, song))
    (23, 13)
    """
    table = check_table(findings, FINDINGS)
    table = ranked(table.set_axis(range(len(table)), axis=0))
    labels = findings.index[table.index].tolist()
    table = table.reset_index(drop=True)
    trait = is_trait(table, song)
    order = np.argsort(trait, kind="stable")
    members: dict[int, list[int]] = {}
    alike = _joined(_keys(table, song))
    for row in order.tolist():
        members.setdefault(int(alike[row]), []).append(row)
    groups = list(members.values())
    plain = [own for own in groups if not trait[own[0]]]
    rows = [
        *_in_order(table, _by_cause(table, plain, song)),
        *_in_order(table, _by_cause(table, groups[len(plain) :], song)),
    ]
    first = [own[0] for own in rows]
    order_of = {name: number for number, name in enumerate(song.sections["section"])}
    names, kinds = table["section"].tolist(), table["kind"].tolist()
    sections = [
        section_text(sorted({names[row] for row in own}, key=order_of.__getitem__)) for own in rows
    ]
    return (
        table.iloc[first]
        .reset_index(drop=True)
        .assign(
            kinds=text_column([", ".join({kinds[row]: None for row in own}) for own in rows]),
            times=np.array([len(own) for own in rows], dtype=np.int64),
            sections=text_column(sections),
            labels=object_column([tuple(labels[row] for row in own) for own in rows]),
            trait=trait[first],
        )
    )


def _by_cause(table: pd.DataFrame, groups: list[list[int]], song: Song) -> list[list[int]]:
    """The groups with those that another one causes behind that one's own rows."""
    found = causes(table, groups, song.notes["part"])
    joined = {cause: list(groups[cause]) for cause in sorted(set(found))}
    for number, cause in enumerate(found):
        if number != cause:
            joined[cause] += groups[number]
    return list(joined.values())


def _in_order(table: pd.DataFrame, rows: list[list[int]]) -> list[list[int]]:
    """The rows in the order in which to listen to them; equal ones as they are."""
    order = np.argsort(-weights(table, rows), kind="stable")
    return [rows[number] for number in order.tolist()]


def section_text(names: Iterable[str]) -> str:
    """Return section names in short: ``"Verse 1 and 2; Chorus 1, 2 and 3"``."""
    numbers: dict[str, list[str]] = {}
    for name in names:
        found = _NUMBERED.fullmatch(name)
        numbers.setdefault(found[1] if found else name, []).append(found[2] if found else "")
    return "; ".join(" ".join(filter(None, [word, listed(own)])) for word, own in numbers.items())


def _keys(table: pd.DataFrame, song: Song) -> list[list[Hashable]]:
    """For each finding, the keys that link it with others."""
    names, *columns = (song.sections[name].tolist() for name in ("section", "onset", "kind"))
    starts, kinds = (dict(zip(names, values, strict=True)) for values in columns)
    written = song.measures["written"].tolist()
    keys: list[list[Hashable]] = []
    for row in table.itertuples():
        own = (row.kind, row.parts, row.waived if isinstance(row.waived, str) else "")
        pitches = "" if KINDS[str(row.kind)].pitches_are_ends else row.pitches
        place = round(float(row.onset - starts[row.section]), 6)
        keys.append(
            [
                (*own, pitches, "printed", written[row.measure - 1], round(row.beat, 6)),
                (*own, pitches, "form", kinds[row.section], place),
                (*own, "section", row.section),
            ]
        )
        if kinds[row.section] == "other":
            del keys[-1][1]
    return keys


def _joined(keys: list[list[Hashable]]) -> Array:
    """Number of the group of each row; rows that share a key are in one, chain by chain."""
    parent = list(range(len(keys)))

    def root(row: int) -> int:
        while parent[row] != row:
            parent[row] = parent[parent[row]]
            row = parent[row]
        return row

    seen: dict[Hashable, int] = {}
    for row, own in enumerate(keys):
        for key in own:
            parent[root(row)] = root(seen.setdefault(key, row))
    return np.array([root(row) for row in range(len(keys))], dtype=np.int64)
