"""What a search for proposals starts from: players, their pins, and what there is to end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.fingering import part_neck
from arrange.guitar.hands import Hand
from arrange.revoicing.players import Player
from arrange.revoicing.proposals import ASKS
from arrange.revoicing.stretches import Harmonies, Stretch
from arrange.revoicing.units import part_units
from arrange.revoicing.weights import Weights
from arrange.tables.song import Song
from arrange.text.part_lists import split_parts

TOP_FRET = 15  # the highest fret of new voicings (ours: an acoustic body begins at 12 to 14)


def make_player(
    song: Song,
    part: str,
    stretch: Stretch,
    harmonies: Harmonies,
    without: tuple[str, ...],
    pinned: Iterable[int],
    hand: Hand,
    top_fret: int,
    weights: Weights,
    *,
    may_be_pinned: bool = False,
) -> Player:
    """Return the player of a part in a stretch.

    Raises
    ------
    ArrangeError
        If there is no such part, it has no strings, is silent there, or pinned throughout.
    """
    neck = part_neck(song, part)
    pins = check_pins(song, part, pinned)
    units = part_units(song, part, stretch, harmonies, pins)
    if not units:
        raise ArrangeError(f"{part} is silent in {stretch.name}; there is nothing to re-voice")
    if not may_be_pinned and not any(unit.free for unit in units):
        raise ArrangeError(
            f"{part} is pinned in all that it plays in {stretch.name}; take a pin away"
        )
    return Player(harmonies.scene, part, units, neck, hand, weights, top_fret, without)


def check_pins(song: Song, part: str, pinned: Iterable[int]) -> tuple[int, ...]:
    """Return the measures that are pinned.

    Raises
    ------
    ArrangeError
        If there is no such measure.
    """
    pins = tuple(sorted(set(pinned)))
    for measure in pins:
        if not 1 <= measure <= len(song.measures):
            raise ArrangeError(
                f"{part} is pinned in measure {measure}; there are 1 to {len(song.measures)}"
            )
    return pins


def check_something_to_end(before: pd.DataFrame, parts: Sequence[str], stretch: Stretch) -> None:
    """Raise an ArrangeError if no finding of the parts touches the stretch but exact doublings."""
    before = before[before["severity"] >= ASKS]
    if not before["parts"].map(lambda told: _names_any(told, parts)).any():
        who = " or ".join(parts)
        raise ArrangeError(f"no finding touches {who} in {stretch.name}; there is nothing to end")


def _names_any(told: str, parts: Iterable[str]) -> bool:
    return bool(set(split_parts(told)) & set(parts))


def nearest_other(song: Song, part: str, before: pd.DataFrame, stretch: Stretch) -> str | None:
    """Return the other part that it meets in most findings there, of its own family if any."""
    family = dict(zip(song.parts["part"], song.parts["family"], strict=True))
    met: dict[str, float] = {}
    for row in before.itertuples():
        names = split_parts(row.parts)
        if part in names:
            for other in names:
                if other != part:
                    met[other] = met.get(other, 0.0) + row.severity
    notes = song.notes
    sounds = notes["part"][stretch.holds(notes["onset"].to_numpy())].unique().tolist()
    able = [name for name in sounds if name != part and family[name] == family[part]]
    return max(able, key=lambda name: met.get(name, 0.0), default=None)


def touched(player: Player, before: pd.DataFrame) -> list[bool]:
    """Return whether a finding of the player's part touches each unit."""
    own = before[before["parts"].map(lambda told: _names_any(told, (player.part,))).astype(bool)]
    onset = own["onset"].to_numpy()
    end = onset + own["duration"].to_numpy()
    return [
        bool(np.any((onset < unit.finish - 1e-6) & (end > unit.begin + 1e-6)))
        for unit in player.units
    ]
