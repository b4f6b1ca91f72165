"""A study or a songbook as a page: one self-contained HTML file, with tables beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from arrange import plots
from arrange.decisions import Decision, DecisionLog, rebuild
from arrange.errors import ArrangeError
from arrange.explaining import explain_part
from arrange.findings import (
    Waiver,
    finding_notes,
    group_findings,
    not_asked,
    smallest_move,
)
from arrange.findings.summary import trait_sentences
from arrange.formats.files import whole_files
from arrange.report.pieces import picture, template
from arrange.report.song_rows import from_to, part_rows, section_rows, song_facts
from arrange.tables.song import Song
from arrange.text.bibliography import SOURCES
from arrange.text.letters import readable
from arrange.text.part_lists import split_parts
from arrange.text.words import counted, listed, measures_words

_FIRST = 12  # rows that are shown in the report before the rest is unfolded
_FIRST_OF_BOOK = 25  # rows of findings on the page of a songbook
_MOST_PLACES = 4  # of a finding, whose notes are listed


def report_html(
    song: Song,
    ranges: pd.DataFrame,
    overlap: pd.DataFrame,
    findings: pd.DataFrame,
    waivers: Sequence[Waiver] = (),
    log: DecisionLog = DecisionLog(),  # noqa: B008  # frozen
    *,
    page: bool = True,
) -> str:
    """Return the report as HTML, pictures inside.

    Parameters
    ----------
    song : Song
    ranges : DataFrame
        ``part_ranges`` by song.
    overlap : DataFrame
        ``register_overlap`` by section.
    findings : a findings table
    waivers : sequence of Waiver
        Those whose ids the findings hold.
    log : DecisionLog
        What was decided; a decision is also shown with the findings at its place.
    page : bool
        True for a whole page, False for a piece of another page.
    """
    asked = findings[findings["waived"].isna()]
    groups = group_findings(asked, song)
    rows = _finding_rows(song, groups, asked)
    first = min(_FIRST, int((~groups["trait"]).sum()))
    for row, finding in zip(rows[:first], groups.itertuples(), strict=False):
        row["move"] = smallest_move(song, finding)
        row["notes"] = _notes_text(song, finding)
    for row, finding in zip(rows, groups.itertuples(), strict=True):
        row["decided"] = [str(each) for each in log.decisions if _is_about(song, each, finding)]
    pictures = {
        "ranges": picture(lambda: plots.plot_ranges(song)),
        "clashes": picture(lambda: plots.plot_clashes(findings, song)) if len(findings) else "",
        "overlap": picture(lambda: plots.plot_overlap(song)) if len(overlap) else "",
    }
    return template("report.html").render(
        page=page,
        title=song.title or song.source or "A song",
        facts=song_facts(song),
        notices=song.notices,
        pictures=pictures,
        findings=rows,
        waived=_waived_rows(song, findings, waivers),
        decisions=_decision_rows(song, log),
        passed_over=log.notices,
        not_asked=not_asked(song),
        most=first,
        traits=trait_sentences(groups),
        summary=_summary(asked, len(rows)),
        parts=part_rows(song, ranges),
        has_setups=len(song.setups) > 0,
        words=[_part_words(song, part) for part in _guitars(song)],
        sections=section_rows(song),
        sources=[(key, SOURCES[key]) for key in dict.fromkeys(findings["source"])],
    )


def songbook_html(
    table: pd.DataFrame,
    findings: pd.DataFrame,
    changes: pd.DataFrame,
    faults: pd.DataFrame,
    order: Sequence[str],
    fewest: int,
    *,
    page: bool = True,
) -> str:
    """Return the page of a songbook, its picture inside.

    Parameters
    ----------
    table, findings, changes, faults : DataFrame
        As ``songbook_table``, ``book_findings`` (grouped), ``changes_between`` and
        ``read_songbook`` give them.
    order : sequence of str
        The songs in the order with the fewest changes; empty if it could not be found.
    fewest : int
        How many changes those are.
    page : bool
        True for a whole page, False for a piece of another page.
    """
    asked = findings[findings["waived"].isna()]
    return template("songbook.html").render(
        page=page,
        seconds=round(float(table["seconds"].sum())),
        songs=table.to_dict("records"),
        faults=faults.to_dict("records"),
        picture=picture(lambda: plots.plot_songbook(table, changes)),
        changes=changes[changes["what"] != "nothing"].to_dict("records"),
        strings=int(changes["strings_retuned"].sum()),
        capos=int(changes["capo_moves"].sum()),
        order=order,
        fewest=fewest,
        findings=asked.head(_FIRST_OF_BOOK).to_dict("records"),
        count=len(asked),
    )


def write_report(folder: Path, page: str, tables: Mapping[str, pd.DataFrame]) -> Path:
    """Write ``report.html`` and the tables, as CSV and Parquet, into a folder; return the page.

    Everything is written beside the folder first and moved in when it is complete; other files in
    the folder stay.

    Raises
    ------
    ArrangeError
        If the folder cannot be written.
    """
    with whole_files(folder) as draft:
        (draft / "report.html").write_text(readable(page), encoding="utf-8")
        (draft / "tables").mkdir()
        for name, table in tables.items():
            with (draft / "tables" / f"{name}.parquet").open("wb") as file:
                table.to_parquet(file, index=False)  # a path must be UTF-8 there
            plain = table.assign(
                **{
                    column: [_spaced(values) for values in table[column]]
                    for column in table.columns
                    if table[column].dtype == object
                }
            )
            plain.to_csv(draft / "tables" / f"{name}.csv", index=False)
    return folder / "report.html"


def _spaced(values: Any) -> str:
    return " ".join(map(str, values)) if isinstance(values, tuple) else ""


def _summary(findings: pd.DataFrame, rows: int) -> str:
    kinds = findings["kind"].value_counts(sort=False)
    each_kind = listed(f"{count} {kind}" for kind, count in kinds.items())
    places = counted(len(findings), "place")
    grouped = f", what belongs together in {counted(rows, 'row')}" if rows < len(findings) else ""
    return f"{places} to listen to{grouped}, the rarest in good music first: {each_kind}."


def _finding_rows(song: Song, groups: pd.DataFrame, findings: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a row per group, with every finding that it holds."""
    places = dict(zip(findings.index, _places(song, findings), strict=True))
    rows = []
    for row in groups[["kinds", "sections", "times", "labels"]].itertuples():
        every = [places[label] for label in row.labels]
        own = {"kinds": row.kinds, "sections": row.sections, "times": row.times, "every": every}
        rows.append({**every[0], **own, "move": "", "notes": "", "reason": "", "decided": []})
    return rows


def _waived_rows(
    song: Song, findings: pd.DataFrame, waivers: Sequence[Waiver]
) -> list[dict[str, Any]]:
    """The waived findings, like ones together, with the reasons."""
    waived = findings[findings["waived"].notna()]
    reasons = {waiver.decision: waiver.reason for waiver in waivers}
    rows = _finding_rows(song, group_findings(waived, song), waived)
    for row in rows:
        row["reason"] = reasons.get(row["waived"], "")
    return rows


def _is_about(song: Song, decision: Decision, finding: Any) -> bool:
    """Whether a decision that is proposed or agreed is about the parts and bars of a finding."""
    if decision.status not in ("proposed", "agreed") or decision.waives:
        return False
    there = set(split_parts(finding.parts))
    starts = song.measures["onset"].to_numpy()
    last = int(np.searchsorted(starts, finding.onset + finding.duration - 1e-6))
    return any(
        part in there and first <= max(last, finding.measure) and finding.measure <= end
        for part, first, end in decision.spans
    )


def _decision_rows(song: Song, log: DecisionLog) -> list[dict[str, Any]]:
    """All decisions, and why an agreed one no longer holds for the song."""
    stale = {decision.id: why for decision, why in rebuild(song, log).stale}
    table = log.table.fillna("")
    return [{**row, "stale": stale.get(row["id"], "")} for row in table.to_dict("records")]


def _places(song: Song, findings: pd.DataFrame) -> list[dict[str, Any]]:
    """Where each finding lies, and what it says, as text."""
    starts, written = song.measures["onset"].to_numpy(), song.measures["written"].tolist()
    ends = (findings["onset"] + findings["duration"]).to_numpy()
    last = np.maximum(np.searchsorted(starts, ends - 1e-6), findings["measure"].to_numpy())
    names = ["section", "measure", "severity", "kind", "parts", "pitches", "why", "waived"]
    return [
        {
            "section": row.section,
            "measures": _measure_text(row.measure, end, written),
            "percent": round(100 * row.severity),
            "severity": f"{row.severity:.2f}",
            "kind": row.kind,
            "parts": row.parts,
            "pitches": row.pitches if len(row.pitches) < 30 else _ends(row.pitches),
            "why": row.why,
            "waived": row.waived if isinstance(row.waived, str) else "",
        }
        for row, end in zip(findings[names].itertuples(), last.tolist(), strict=True)
    ]


def _notes_text(song: Song, finding: Any) -> str:
    """The notes of a finding: who plays what at the first places, each as measure:beat."""
    places: dict[str, dict[str, list[str]]] = {}
    for note in finding_notes(song, finding).itertuples():
        place = places.setdefault(f"{note.measure}:{note.beat:.4g}", {})
        place.setdefault(note.part, []).append(note.name or "a note without pitch")
    texts = [
        f"{at} {', '.join(f'{part} {_each_once(names)}' for part, names in own.items())}"
        for at, own in list(places.items())[:_MOST_PLACES]
    ]
    more = len(places) - len(texts)
    return "; ".join(texts) + (f"; and at {counted(more, 'more place')}" if more else "")


def _each_once(names: list[str]) -> str:
    return " ".join(dict.fromkeys(names))


def _ends(pitches: str) -> str:
    names = pitches.split()
    return f"{names[0]} ... {names[-1]}"


def _measure_text(first: int, last: int, written: list[str]) -> str:
    """Played measures, and the printed ones where they differ."""
    printed = written[first - 1], written[last - 1]
    is_same = printed == (str(first), str(last))
    return measures_words(first, last) + ("" if is_same else f" (printed {from_to(*printed)})")


def _guitars(song: Song) -> list[str]:
    """The guitars that play."""
    is_guitar = song.parts["family"] == "guitar"
    playing = set(song.notes["part"])
    return [part for part in song.parts["part"][is_guitar] if part in playing]


def _part_words(song: Song, part: str) -> dict[str, Any]:
    """How a part is played, a paragraph for each section, and which sections return."""
    try:
        words = explain_part(song, part)
    except ArrangeError as error:  # a tuning that no neck has
        return {"part": part, "start": str(error), "sections": [], "returning": ""}
    returning = [f"{own.section} as {own.written_as}" for own in words.sections if own.written_as]
    return {
        "part": part,
        "start": words.start,
        "sections": [own for own in words.sections if not own.written_as],
        "returning": listed(returning),
    }
