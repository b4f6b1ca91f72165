"""A plan as a song: one part a player, fingered, in place of the layers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from arrange.condensing.fingered_lines import Fingerings
from arrange.condensing.plan import Plan
from arrange.condensing.problem import Problem
from arrange.guitar.players import Player, instrument_with, nearest_drive
from arrange.tables.schemas import NOTES, SETUPS
from arrange.tables.setups import part_setups, where_otherwise
from arrange.tables.song import Song
from arrange.text.part_lists import join_parts

_WRITTEN = -12  # a guitar sounds an octave below what is written (common practice)


def condensed_song(
    problem: Problem, fingerings: Fingerings, plan: Plan, choices: pd.DataFrame
) -> Song:
    """Return the song with the players' parts in place of the layers.

    A player's row of parts has the sound and the capo that they play longest; what they have in
    each section, and from which layers, stands in the setups.

    Parameters
    ----------
    problem : Problem
    fingerings : Fingerings
        In which every part of the plan is fingered.
    plan : Plan
    choices : DataFrame
        As of ``choices_table``.
    """
    song, recorded = problem.recorded.song, problem.recorded
    is_layer = song.parts["part"].isin(recorded.names).to_numpy()
    rows, notes = [], []
    for player, who in enumerate(problem.lineup.players):
        part = _PlayedPart.of(problem, fingerings, plan, player)
        rows.append(_part_row(problem, part, who, choices[choices["player"] == who.name]))
        notes.append(part.fingered[NOTES.names].assign(part=who.name))
    first = int(np.flatnonzero(is_layer)[0])
    before, behind = song.parts.iloc[:first], song.parts.iloc[first:][~is_layer[first:]]
    others = song.notes[~song.notes["part"].isin(recorded.names)]
    pieces = [piece for piece in (before, _rows(rows), behind) if len(piece)]
    parts = pd.concat(pieces, ignore_index=True)
    made = replace(
        song,
        parts=parts,
        notes=pd.concat([n for n in (others, *notes) if len(n)] or [others], ignore_index=True),
        setups=_setups(problem, choices),
    )
    return replace(made, setups=where_otherwise(part_setups(made), made.parts))


@dataclass(frozen=True)
class _PlayedPart:
    """What one player plays: places in the recorded layers with their ends, and the fingering."""

    note: np.ndarray
    end: np.ndarray
    fingered: pd.DataFrame

    @classmethod
    def of(cls, problem: Problem, fingerings: Fingerings, plan: Plan, player: int) -> _PlayedPart:
        """Return a player's part, put together of what is played on each neck."""
        pieces = [fingerings.parts[key] for key in plan.by_neck(problem, player)]
        fingered = [notes for _, notes in pieces if len(notes)] or [pieces[0][1]]
        return cls(
            np.concatenate([line.note for line, _ in pieces]),
            np.concatenate([line.end for line, _ in pieces]),
            pd.concat(fingered, ignore_index=True),
        )


def _part_row(
    problem: Problem, part: _PlayedPart, who: Player, choices: pd.DataFrame
) -> dict[str, Any]:
    """A row of the parts table, of the layer that the player has longest."""
    recorded = problem.recorded
    lasts = part.end - recorded.onset[part.note]
    per_layer = np.bincount(recorded.layer[part.note], lasts, minlength=len(recorded.names))
    per_section = np.bincount(recorded.section[part.note], lasts, minlength=len(recorded.sections))
    row = recorded.parts.iloc[int(per_layer.argmax())].to_dict()
    is_guitar = row["family"] == "guitar"
    own = _text(row["instrument"])
    usual = instrument_with(choices["drive"].dropna(), own) if is_guitar else "Guitar"
    instrument = who.instrument or usual
    drive, echo = _longest(choices[["drive", "echo"]], per_section)
    capo, tuning = _longest(choices[["capo", "tuning"]], per_section)
    return {
        **row,
        "part": who.name,
        "instrument": instrument,
        "family": "guitar",
        "tuning": tuning,
        "capo": capo,
        "drive": drive or nearest_drive(who.sounds, row["drive"]),
        "echo": echo,
        "transpose": row["transpose"] if is_guitar else _WRITTEN,
        "program": row["program"] if instrument == own else None,
        "player": who.name,
    }


def _longest(columns: pd.DataFrame, lasts: np.ndarray) -> tuple[Any, ...]:
    """The values that hold for longest, the earliest of several."""
    total: dict[tuple[Any, ...], float] = {}
    for values, long in zip(columns.itertuples(index=False), lasts.tolist(), strict=True):
        key = tuple(None if value != value else value for value in values)
        total[key] = total.get(key, 0.0) + long
    return max(total, key=lambda key: total[key])


def _setups(problem: Problem, choices: pd.DataFrame) -> pd.DataFrame:
    """What every player has in the sections that they play in, beside the other parts' setups."""
    recorded, setups = problem.recorded, problem.recorded.song.setups
    played = choices[choices["layers"].map(len) > 0]
    own = played.rename(columns={"player": "part"}).assign(
        layers=pd.array([join_parts(layers) for layers in played["layers"]], dtype="str")
    )
    stays = setups[~setups["part"].isin(recorded.names)]
    pieces = [one for one in (stays, own[SETUPS.names]) if len(one)]
    return pd.concat(pieces, ignore_index=True) if pieces else stays


def _rows(rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
    table = pd.DataFrame(list(rows))
    table["tuning"] = pd.Series([row["tuning"] for row in rows], dtype=object)
    table["program"] = pd.array([row["program"] for row in rows], dtype="Int64")
    for name in ("instrument", "echo", "player"):
        table[name] = pd.array([_text(row[name]) for row in rows], dtype="str")
    return table


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None
