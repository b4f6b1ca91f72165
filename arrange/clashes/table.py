"""The findings table, made of the clashes that the finders give."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd

from arrange.clashes.kinds import KINDS
from arrange.clashes.limits import Limits
from arrange.clashes.rarity import UNKNOWN, rarity, rarity_sentences, severities
from arrange.clashes.scene import Clash, Scene
from arrange.tables.columns import object_column, text_column
from arrange.tables.schema_check import make_table
from arrange.tables.schemas import FINDINGS
from arrange.text.part_lists import join_parts


def list_clashes(scene: Scene, kinds: Collection[str], limits: Limits) -> list[Clash]:
    """Return the clashes of some kinds one by one, in the order of the kinds, not yet a table."""
    return [
        clash for name, kind in KINDS.items() if name in kinds for clash in kind.find(scene, limits)
    ]


def find_in(scene: Scene, kinds: Collection[str], limits: Limits) -> pd.DataFrame:
    """Return the findings of some kinds in a scene, the most severe first."""
    return findings_table(scene, list_clashes(scene, kinds, limits))


def findings_table(scene: Scene, clashes: Sequence[Clash]) -> pd.DataFrame:
    """Return the clashes as a findings table, the most severe first, then by time."""
    weight, onset, end, value, limit = (
        np.array(
            [(each.weight, each.onset, each.end, each.value, each.limit) for each in clashes],
            dtype=np.float64,
        )
        .reshape(-1, 5)
        .T
    )
    rare = rarity([(each.kind, each.unit) for each in clashes], value, scene.families)
    severity = weight * severities(rare, value / limit)
    why = list(map(_sentences, clashes, rarity_sentences(rare)))
    kinds = np.array([clash.kind for clash in clashes], dtype=np.str_)
    order = np.lexsort((kinds, onset, -severity))
    clashes = [clashes[place] for place in order.tolist()]
    severity, onset, end, value, limit = (
        values[order] for values in (severity, onset, end, value, limit)
    )
    row, place = scene.measure_of(onset), {name: at for at, name in enumerate(scene.parts)}
    return make_table(
        {
            "section": text_column(scene.song.measures["section"].tolist(), row),
            "measure": row + 1,
            "beat": scene.song.beat(onset, row + 1),
            "onset": onset,
            "duration": end - onset,
            "kind": text_column([clash.kind for clash in clashes]),
            "parts": text_column(
                [join_parts(sorted(clash.parts, key=place.__getitem__)) for clash in clashes]
            ),
            "pitches": text_column(
                [
                    " ".join(scene.name(pitch, clash.onset) for pitch in sorted(clash.pitches))
                    for clash in clashes
                ]
            ),
            "value": value,
            "limit": limit,
            "unit": text_column([clash.unit for clash in clashes]),
            "severity": severity,
            "why": text_column([why[place] for place in order.tolist()]),
            "source": text_column([KINDS[clash.kind].source for clash in clashes]),
            "notes": object_column([_rows_of(scene, clash) for clash in clashes]),
            "waived": text_column([None] * len(clashes)),
        },
        FINDINGS,
    )


def _sentences(clash: Clash, how_rare: str) -> str:
    """What a finding is and how rare; what is meant as often as not is not compared."""
    return clash.why if how_rare == UNKNOWN and clash.weight < 1 else f"{clash.why} {how_rare}"


def _rows_of(scene: Scene, clash: Clash) -> tuple[int, ...]:
    """The rows of the notes table that make a finding, in order.

    A note that two voices of a part hold at once is there twice; struck again it is another attack.
    """
    if KINDS[clash.kind].is_of_attacks:
        return tuple(np.unique(clash.notes).tolist())
    return tuple(scene.with_unisons(clash.notes).tolist())
