"""The items that are tried: how many there are of each kind, and how one is tried.

The kinds are five sorts of mutants, the steps of the chain, and ``command``: a sample of the steps,
run by the command itself in a separate process, on songs and on mutants that are mostly refused.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from random import Random

import pandas as pd
from mutants.chain import STEPS, some_step, song_file, take_step, take_step_outside
from mutants.making import SUFFIXES, mutant
from mutants.trying import FAILURES, OUTCOMES, Outcome, emptied, outcome_of, use_file, use_log

MUTANT_S, STEP_S = 10.0, 60.0  # of the processor
COUNTS = {
    "musicxml": 20_000, "mxl": 20_000, "midi": 20_000, "chart": 20_000, "decisions": 10_000,
    **dict.fromkeys(STEPS, 300), "command": 100,
}  # fmt: skip


def items_of(share: float, kinds: Iterable[str] = COUNTS) -> list[tuple[str, int]]:
    """Return kind and number of the first items of each kind, at least one of each, taking turns.

    From the songs, where the odd ones come first, the share is taken at even distances.
    """
    items = []
    for kind in kinds:
        count = max(round(COUNTS[kind] * share), 1)
        step = 1 if kind in SUFFIXES else COUNTS[kind] / count
        items += [(kind, int(number * step)) for number in range(count)]
    return sorted(items, key=lambda item: item[1])


def attempt(kind: str, number: int, seed: int, folder: Path) -> Outcome:
    """Try an item in a folder: its file goes to ``input``, its results to ``out``."""
    given, out = emptied(folder / "input"), emptied(folder / "out")
    rng = Random(f"use {kind} {number} {seed}")
    if kind in SUFFIXES:
        suffix, data = SUFFIXES[kind], mutant(kind, number, seed)
    elif kind == "command" and number % 2:
        first = rng.choice(list(SUFFIXES))
        suffix, data = SUFFIXES[first], mutant(first, number, seed)
    else:
        suffix, data = song_file(number, seed)
    path = given / f"song{suffix}"
    path.write_bytes(data)
    if kind in SUFFIXES:
        use = use_log if kind == "decisions" else use_file
        return outcome_of(kind, number, partial(use, path, out, rng), MUTANT_S)
    if kind == "command":
        step = some_step(number, seed)
        task = partial(take_step_outside, step, path, out, STEP_S)
    else:
        task = partial(take_step, kind, path, out)
    return outcome_of(kind, number, task, STEP_S)


def table_of(outcomes: Iterable[Outcome]) -> pd.DataFrame:
    """Return a row for each kind: how many were tried, their outcomes, the slowest, the largest."""
    rows: dict[str, Counter[str]] = {}
    for each in outcomes:
        row = rows.setdefault(each.kind, Counter())
        row["tried"] += 1
        row[each.verdict] += 1
        row["mean ms"] += each.seconds * 1000
        if each.seconds >= row["slowest s"]:
            row["slowest s"], row["slowest"] = each.seconds, each.number
        row["most MB"] = max(row["most MB"], round(each.megabytes))
    columns = ["tried", *OUTCOMES, "mean ms", "slowest", "slowest s", "most MB"]
    kinds = [kind for kind in (*COUNTS, "worker") if kind in rows]
    frame = pd.DataFrame([rows[kind] for kind in kinds], index=kinds, columns=columns)
    frame["mean ms"] = (frame["mean ms"] / frame["tried"]).round()
    whole = [name for name in columns if name != "slowest s"]
    frame["slowest s"] = frame["slowest s"].round(1)
    return frame.fillna(0).astype(dict.fromkeys(whole, int))


def groups_of(outcomes: Iterable[Outcome]) -> list[str]:
    """Return a line for each place where something failed, the most frequent first."""
    failed: dict[tuple[str, str, str], list[Outcome]] = {}
    for each in outcomes:
        if each.verdict in FAILURES:
            alike = re.sub(r"'.*?'|[\d.,]+", "", each.why)[:60]
            failed.setdefault((each.verdict, each.place, alike), []).append(each)
    lines = []
    for (verdict, place, _), group in sorted(failed.items(), key=lambda pair: -len(pair[1])):
        where = ", ".join(f"{each.kind} {each.number}" for each in group[:4])
        more = f" and {len(group) - 4} more" if len(group) > 4 else ""
        lines.append(f"{len(group)} x {verdict}: {place or '?'}: {group[0].why} ({where}{more})")
    return lines
