"""A plan as a song: one part a player, fingered, in place of the layers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from arrange.condensing.fingered_lines import Fingerings, PlayerLine
from arrange.condensing.plan_search import Plan
from arrange.condensing.problem import Problem
from arrange.guitar.players import nearest_drive
from arrange.tables.schemas import NOTES
from arrange.tables.song import Song

_WRITTEN = -12  # a guitar sounds an octave below what is written (common practice)


def condensed_song(problem: Problem, fingerings: Fingerings, plan: Plan) -> Song:
    """Return the song with the players' parts in place of the layers."""
    song, recorded = problem.recorded.song, problem.recorded
    is_layer = song.parts["part"].isin(recorded.names).to_numpy()
    rows, notes = [], []
    for player, who in enumerate(problem.lineup.players):
        line, fingered = fingerings.parts[tuple(plan.options(problem, player)), plan.necks[player]]
        rows.append(_part_row(problem, plan, player, line))
        notes.append(fingered[NOTES.names].assign(part=who.name))
    first = int(np.flatnonzero(is_layer)[0])
    before, behind = song.parts.iloc[:first], song.parts.iloc[first:][~is_layer[first:]]
    others = song.notes[~song.notes["part"].isin(recorded.names)]
    pieces = [piece for piece in (before, _rows(rows), behind) if len(piece)]
    return replace(
        song,
        parts=pd.concat(pieces, ignore_index=True),
        notes=pd.concat([n for n in (others, *notes) if len(n)] or [others], ignore_index=True),
    )


def _part_row(problem: Problem, plan: Plan, player: int, line: PlayerLine) -> dict[str, Any]:
    """A row of the parts table: the sound of the layer that the player has longest."""
    recorded, lineup = problem.recorded, problem.lineup
    gear, name = lineup.necks[plan.necks[player]], lineup.players[player].name
    lasts = np.bincount(
        recorded.layer[line.note],
        line.end - recorded.onset[line.note],
        minlength=len(recorded.names),
    )
    row = recorded.parts.iloc[int(lasts.argmax())].to_dict()
    is_guitar = row["family"] == "guitar"
    return {
        **row,
        "part": name,
        "instrument": row["instrument"] if is_guitar else "Guitar",
        "family": "guitar",
        "tuning": gear.neck.tuning,
        "capo": gear.neck.capo,
        "drive": nearest_drive(gear.sounds, row["drive"]),
        "echo": row["echo"] if gear.echo else None,
        "transpose": row["transpose"] if is_guitar else _WRITTEN,
        "program": row["program"] if is_guitar else None,
        "player": name,
    }


def _rows(rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
    table = pd.DataFrame(list(rows))
    table["tuning"] = pd.Series([row["tuning"] for row in rows], dtype=object)
    table["program"] = pd.array([row["program"] for row in rows], dtype="Int64")
    for name in ("instrument", "echo", "player"):
        table[name] = pd.array([_text(row[name]) for row in rows], dtype="str")
    return table


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None
