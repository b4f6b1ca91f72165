"""What findings between two layers take away from what they are worth together."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

import numpy as np
import pandas as pd

from arrange.clashes import KINDS, find_clashes
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.text.part_lists import split_parts

Items = tuple[Array, Array]  # which classes supply each: items x classes; seconds


def clash_items(
    items: Items, classes: tuple[tuple[int, ...], ...], between: pd.DataFrame, weight: float
) -> Items:
    """Return what findings between layers take away, as items.

    Both of two sets are covered if A is and B is, less A or B. What a class adds to all others is
    the least it adds to any set; shared out over all it clashes with, it cannot make it worse.
    """
    severity = _class_severity(classes, between)
    covers, seconds = items
    alone = covers.sum(axis=1) == 1
    adds = seconds[alone] @ covers[alone]
    budget = adds / np.maximum(severity.sum(axis=1), 1.0)
    one, other = np.nonzero(np.triu(severity[:, : len(classes)], 1))
    taken = weight * severity[one, other] * np.minimum(budget[one], budget[other])
    outside = np.flatnonzero(severity[:, -1])
    each = np.eye(len(classes), dtype=bool)
    return (
        np.concatenate([each[one], each[other], each[one] | each[other], each[outside]]),
        np.concatenate([-taken, -taken, taken, -weight * severity[outside, -1] * budget[outside]]),
    )


def _class_severity(classes: tuple[tuple[int, ...], ...], between: pd.DataFrame) -> Array:
    """Severity between classes; the last column with parts that are no layers."""
    of = {layer: number for number, own in enumerate(classes) for layer in own}
    severity = np.zeros((len(classes), len(classes) + 1))
    for one, other, value in between[["one", "other", "severity"]].itertuples(index=False):
        if one not in of or (other >= 0 and other not in of) or of[one] == of.get(other):
            continue
        a, b = of[one], of.get(other, len(classes))
        severity[a, b] = max(severity[a, b], value)
        if other >= 0:
            severity[b, a] = severity[a, b]
    return severity


def pair_severity(recorded: RecordedLayers) -> pd.DataFrame:
    """Return how strongly the findings of the whole song ask to be heard, by pair and section.

    Returns
    -------
    DataFrame
        A row for each section and pair with findings: ``section``, ``one``, ``other``, as numbers;
        `other` is -1 for a part that is no layer; ``severity``, 0 to 1: each finding's, times the
        share of the section for which it lasts, added up to at most 1. Kinds that may be meant
        take nothing away.
    """
    song = recorded.song
    number = {name: layer for layer, name in enumerate(recorded.names)}
    index = {name: place for place, name in enumerate(recorded.sections)}
    found = weighed_findings(song)
    until = np.asarray(song.seconds((found["onset"] + found["duration"]).to_numpy()))
    lasts = until - song.seconds(found["onset"].to_numpy())
    place = found["section"].map(index).to_numpy(dtype=np.int64)
    length = recorded.seconds[place]
    share = np.minimum(lasts / np.where(length > 0, length, np.inf), 1.0)
    weight = found["severity"].to_numpy() * share
    pairs = {text: _pairs(text, number) for text in found["parts"].unique().tolist()}
    total: dict[tuple[int, int, int], float] = {}
    for section, text, value in zip(
        place.tolist(), found["parts"].tolist(), weight.tolist(), strict=True
    ):
        for pair in pairs[text]:
            key = (section, *pair)
            total[key] = total.get(key, 0.0) + value
    rows = [(*key, min(value, 1.0)) for key, value in sorted(total.items())]
    return pd.DataFrame(rows, columns=["section", "one", "other", "severity"])


def weighed_findings(song: Song) -> pd.DataFrame:
    """Return the findings of a song without the kinds that may be meant."""
    found = find_clashes(song)
    meant = [name for name, kind in KINDS.items() if kind.may_be_meant]
    return found[~found["kind"].isin(meant)]


def _pairs(text: str, number: Mapping[str, int]) -> list[tuple[int, int]]:
    """The pairs of layers among a finding's parts; with -1 for any that is no layer."""
    parts = sorted({number.get(name, -1) for name in split_parts(text)})
    inside = [part for part in parts if part >= 0]
    return [*combinations(inside, 2), *((part, -1) for part in inside if -1 in parts)]
