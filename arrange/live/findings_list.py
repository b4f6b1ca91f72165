"""The findings of a section as a list: what the last choice changed first, each to see and hear."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from arrange.findings import Waiver, waive_what_is_there
from arrange.findings.ranking import ranked
from arrange.findings.recheck import compare_findings
from arrange.live.pane import press
from arrange.text.markup import escape_html
from arrange.text.part_lists import split_parts
from arrange.text.words import counted

ALL_PARTS = "all parts"
MOST_LISTED = 20
_SIGNS = {"new": "▲ new", "ended": "✕ ended", "stays": "● stays", "waived": "○ waived"}


@dataclass(frozen=True)
class Found:
    """A finding in the list.

    Parameters
    ----------
    key : str
        The same for the same finding in another list.
    state : str
        ``new`` or ``ended`` by the last choice, ``waived``, or ``stays``.
    what, why : str
        `why` ends with the reason for which it is waived, if it is.
    bars : (int, int)
        First and last measure in which it is.
    severity : float
    parts : tuple of str
    """

    key: str
    state: str
    what: str
    why: str
    bars: tuple[int, int]
    severity: float
    parts: tuple[str, ...]
    is_waived: bool = False


def list_findings(
    before: pd.DataFrame,
    after: pd.DataFrame,
    lines: Sequence[float],
    waivers: Sequence[Waiver] = (),
) -> tuple[Found, ...]:
    """Return what the last choice changed, then what stays, then what is waived, each in the order
    of ``ranking``.

    Parameters
    ----------
    before, after : findings tables
        Of one section, before the last choice and after it.
    lines : sequence of float
        Where the song's measures begin, quarter notes.
    waivers : sequence of Waiver
        Those that cover none of these findings are left out.
    """
    if waivers:
        before, after = (waive_what_is_there(each, waivers) for each in (before, after))
    reasons = {each.decision: each.reason for each in waivers}
    change = compare_findings(before, after)
    brought = {_key(row) for row in change.brought.itertuples()}
    rows = [("new" if _key(row) in brought else "stays", row) for row in ranked(after).itertuples()]
    rows += [("ended", row) for row in ranked(change.ended).itertuples()]
    names = _names([row for _, row in rows])
    found = [
        _found(row, (state, name), lines, reasons)
        for (state, row), name in zip(rows, names, strict=True)
    ]
    order = list(_SIGNS)
    return tuple(sorted(found, key=lambda each: order.index(each.state)))


def _names(rows: Sequence[Any]) -> list[str]:
    """What each finding is called: by its bar, where that is not enough its beat and notes too."""
    short = [f"bar {row.measure}: {row.kind}, {row.parts}" for row in rows]
    exact = [f"bar {row.measure}, beat {row.beat:.3g}: {row.kind}, {row.parts}" for row in rows]
    names, counts = list[str](), (Counter(short), Counter(exact))
    for one, other, row in zip(short, exact, rows, strict=True):
        if counts[0][one] == 1:
            names.append(one)
        else:
            names.append(other if counts[1][other] == 1 else f"{other}, {row.pitches}")
    return names


def _key(row: Any) -> str:
    return f"{row.kind}|{row.parts}|{row.onset:g}|{row.pitches}"


def _found(
    row: Any, named: tuple[str, str], lines: Sequence[float], reasons: Mapping[str, str]
) -> Found:
    state, what = named
    end = row.onset + row.duration - 1e-6
    last = max(bisect_left(lines, end), int(row.measure))
    bars, parts = (int(row.measure), last), tuple(split_parts(str(row.parts)))
    why, is_waived = str(row.why), row.waived in reasons
    if is_waived:
        why = f"{why} Waived: {reasons[row.waived]}"
        state = "waived" if state == "stays" else state
    return Found(_key(row), state, what, why, bars, float(row.severity), parts, is_waived)


def change_words(found: Sequence[Found]) -> str:
    """Return what the last choice changed, in words; empty where it changed nothing."""
    counts = {state: sum(each.state == state for each in found) for state in ("new", "ended")}
    return ", ".join(f"{_SIGNS[state][0]} {n} {state}" for state, n in counts.items() if n)


def findings_list(found: Sequence[Found], only: str, looked_at: str) -> str:
    """Return the list as HTML.

    Parameters
    ----------
    found : sequence of Found
    only : str
        The part of which findings are listed, or ``ALL_PARTS``.
    looked_at : str
        The key of the finding that is marked in the picture, or none.
    """
    own = [each for each in found if only == ALL_PARTS or only in each.parts]
    whose = "" if only == ALL_PARTS else f" of {only}"
    title = f"{counted(len(own), 'finding')}{whose}" if own else f"No findings{whose} here"
    waived = sum(each.is_waived for each in own)
    title += f", {waived} waived" if waived else ""
    words = change_words(own)
    title += f" · since the last choice: {words}" if words else ""
    more = len(own) - MOST_LISTED
    rest = f"<li>and {more} more; list those of one part</li>" if more > 0 else ""
    return (
        f'<section class="findings" aria-label="Findings"><h3>{escape_html(title)}</h3>'
        '<ul data-scrolls="findings" tabindex="0" aria-label="Findings, what changed first">'
        f"{''.join(_items(own[:MOST_LISTED], looked_at))}{rest}</ul></section>"
    )


def _items(found: Sequence[Found], looked_at: str) -> Iterator[str]:
    for each in found:
        what = escape_html(each.what)
        yield f'<li class="{each.state}"><span class="state">{_SIGNS[each.state]}</span> '
        yield press("look", each.key, what, is_on=each.key == looked_at)
        yield press("hear", each.key, "▶ hear", more=f' aria-label="hear {what}"')
        yield f' <span class="severity">severity {each.severity:.2f}</span> '
        yield f'<span class="why">{escape_html(each.why)}</span></li>'
