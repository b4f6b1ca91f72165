"""How much of its time a part spends at each place, and its hand at each fret."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from arrange.guitar.necks import Array, Neck

HAND_FRETS = 4  # one finger a fret


def place_shares(fingered: pd.DataFrame) -> pd.DataFrame:
    """Return each string and fret with its share of the part's sounding time, by string.

    A grace note has no time; it counts as a small one, so that its place is there.
    `finger` is the one used there for the longest time, where fingers are given.
    """
    timed = fingered.assign(time=fingered["duration"].clip(lower=1e-6))
    places = timed.groupby(["part", "string", "fret"], as_index=False)["time"].sum()
    if "finger" in timed:
        by_finger = timed.groupby(["string", "fret", "finger"], as_index=False)["time"].sum()
        usual = by_finger.sort_values("time", kind="stable").drop_duplicates(
            ["string", "fret"], keep="last"
        )
        places = places.merge(usual[["string", "fret", "finger"]], how="left")
    else:
        places["finger"] = pd.NA
    return places.assign(share=places["time"] / places["time"].sum())


def hand_moments(fingered: pd.DataFrame) -> pd.DataFrame:
    """Return where the hand stands, a row for each onset at which it does.

    The columns are ``onset``, ``end`` (quarter notes: the end of what sounds, or the next onset if
    that is earlier), ``position`` and ``highest``: the frets of the first finger, and of the
    fourth or of what is held above it.
    """
    rows = fingered.assign(end=fingered["onset"] + fingered["duration"])
    held = rows["fret"].where(rows["finger"] > 0) if "finger" in rows else rows["fret"]
    rows = rows.assign(held=held)
    moments = rows.groupby("onset", as_index=False).agg(
        end=("end", "max"), position=("position", "min"), held=("held", "max"),
        jump=("jump", "any") if "jump" in rows else ("held", lambda _: False),
    )  # fmt: skip
    following = np.append(moments["onset"].to_numpy()[1:], np.inf)
    moments["end"] = np.minimum(moments["end"].to_numpy(dtype=np.float64), following)
    moments = moments[(moments["position"] > 0).fillna(False).to_numpy(dtype=bool)]
    position = moments["position"].astype("int64")
    reach = position + HAND_FRETS - 1
    highest = np.fmax(moments["held"].astype("float64"), reach.astype("float64"))
    return moments.assign(position=position, highest=highest).drop(columns="held")


def hand_shares(fingered: pd.DataFrame, neck: Neck) -> Array:
    """Return for each fret from 0 the share of time that it lies under the hand, 0 to 1.

    Of the time in which the hand stands somewhere; a fret lies under it if one of the
    ``HAND_FRETS`` fingers from the first is at it, one a fret.
    """
    moments = hand_moments(fingered)
    time = (moments["end"] - moments["onset"]).to_numpy(dtype=np.float64)
    shares = np.zeros(neck.frets + 1)
    for finger in range(HAND_FRETS):
        fret = moments["position"].to_numpy() + finger
        on_neck = fret <= neck.frets
        np.add.at(shares, fret[on_neck], time[on_neck])
    total = time.sum()
    return shares / total if total else shares


def shared_share(one: Array, other: Array) -> float:
    """Return how far two hands live at the same frets: what their shares have in common, 0 to 1."""
    frets = min(len(one), len(other))
    most: Any = max(one.sum(), other.sum())
    return float(np.minimum(one[:frets], other[:frets]).sum() / most) if most else 0.0
