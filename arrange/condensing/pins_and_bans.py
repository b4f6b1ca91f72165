"""What the arranger has decided already: choices pinned, and choices forbidden."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrange.condensing.player_options import Option, SectionOptions
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.errors import ArrangeError
from arrange.tables.sounding import Array
from arrange.text.part_lists import join_parts
from arrange.theory.spelling import unknown_name

MOST_MERGED = 2


@dataclass(frozen=True)
class PinsAndBans:
    """Pins and bans, by player and section.

    Parameters
    ----------
    pins : dict of (player, section) to Option
    bans : tuple of (player or -1, section or -1, Option)
        A single layer bans every option with it; two layers ban their merge; no layer bans
        laying out.
    by_hand : bool
        They stand for what somebody has shared out and does not want changed; errors say so.
    """

    pins: dict[tuple[int, int], Option]
    bans: tuple[tuple[int, int, Option], ...]
    by_hand: bool = False

    @property
    def is_free(self) -> bool:
        """Whether nothing is decided."""
        return not self.pins and not self.bans

    def sets_apart(self, players: int) -> bool:
        """Return whether something is decided for one of these players and not for all."""
        return any(p < players for p, _ in self.pins) or any(
            0 <= p < players for p, _, _ in self.bans
        )

    def pinned(self, section: int) -> list[int]:
        """Return the layers that anybody is pinned to in a section."""
        return sorted({one for (_, at), own in self.pins.items() if at == section for one in own})

    def is_banned(self, layer: int, section: int) -> bool:
        """Return whether nobody may take a layer in a section, alone or in a merge."""
        return any(
            banned == (layer,) and who == -1 and where in (-1, section)
            for who, where, banned in self.bans
        )

    def bans_of(self, layer: int, section: int) -> int:
        """Return how many bans name a layer in a section."""
        return sum(layer in banned and where in (-1, section) for _, where, banned in self.bans)

    def allowed(self, player: int, section: int, options: SectionOptions) -> Array:
        """Return which options of a section a player may take."""
        pin = self.pins.get((player, section))
        if pin is not None:
            return np.array([option == pin for option in options.options])
        may = np.ones(len(options.options), dtype=bool)
        for who, where, banned in self.bans:
            if who in (-1, player) and where in (-1, section):
                may &= np.array([not _is_banned(o, banned) for o in options.options])
        return may


def _is_banned(option: Option, banned: Option) -> bool:
    return set(banned) <= set(option) if banned else not option


def read_pins_and_bans(
    recorded: RecordedLayers, players: Sequence[str], pins: Iterable[Any], forbid: Iterable[Any]
) -> PinsAndBans:
    """Return pins and bans as numbers.

    Raises
    ------
    ArrangeError
        If one is not of three parts, names what does not exist, or contradicts another.
    """
    pinned: dict[tuple[int, int], Option] = {}
    for pin in pins:
        player, section, layers = _read(recorded, players, pin, "pins")
        if player < 0:
            raise ArrangeError(f"pins: {pin!r} names no player; there are {', '.join(players)}")
        for place in range(len(recorded.sections)) if section < 0 else [section]:
            silent = [layer for layer in layers if not recorded.present[layer, place]]
            if silent and section < 0:
                continue
            if silent:
                raise ArrangeError(
                    f"pins: {recorded.names[silent[0]]!r} is pinned to "
                    f"{_where(recorded, players, player, place)}, where it does not play; there "
                    f"play {_playing(recorded, place)}"
                )
            _check_pin(recorded, players, pinned, (player, place, layers))
            pinned[player, place] = layers
    bans = tuple(_read(recorded, players, ban, "forbid") for ban in forbid)
    for (player, place), layers in pinned.items():
        for who, section, banned in bans:
            if who in (-1, player) and section in (-1, place) and _is_banned(layers, banned):
                raise ArrangeError(
                    f"{_where(recorded, players, player, place)} is pinned to "
                    f"{_layers_text(recorded, layers)}, and {_layers_text(recorded, banned)} is "
                    "forbidden there; keep one of the two"
                )
    return PinsAndBans(pinned, bans)


def _check_pin(
    recorded: RecordedLayers,
    players: Sequence[str],
    pinned: Mapping[tuple[int, int], Option],
    pin: tuple[int, int, Option],
) -> None:
    """Raise an ArrangeError if a pin contradicts those read before it."""
    player, place, layers = pin
    where = _where(recorded, players, player, place)
    before = pinned.get((player, place), layers)
    if before != layers:
        raise ArrangeError(
            f"pins: {where} is pinned to {_layers_text(recorded, before)} and to "
            f"{_layers_text(recorded, layers)}; keep one of the two"
        )
    for other, name in enumerate(players):
        twice = set(layers) & set(pinned.get((other, place), ()))
        if other != player and twice:
            raise ArrangeError(
                f"pins: {recorded.names[min(twice)]!r} is pinned to {where} and to {name!r}; a "
                "layer has one player, keep one of the two"
            )


def _where(recorded: RecordedLayers, players: Sequence[str], player: int, section: int) -> str:
    return f"{players[player]!r} in {recorded.sections[section]!r}"


def _playing(recorded: RecordedLayers, section: int) -> str:
    names = [n for n, p in zip(recorded.names, recorded.present[:, section], strict=True) if p]
    return ", ".join(names) or "none"


def _layers_text(recorded: RecordedLayers, option: Option) -> str:
    names = [recorded.names[layer] for layer in option]
    return repr(join_parts(names)) if names else "laying out"


def _read(
    recorded: RecordedLayers, players: Sequence[str], choice: Any, what: str
) -> tuple[int, int, Option]:
    if isinstance(choice, str) or not isinstance(choice, Sequence) or len(choice) != 3:
        raise ArrangeError(
            f"{what}: {choice!r}; each is (player, section, layers), such as "
            f"({players[0]!r}, {recorded.sections[0]!r}, {recorded.names[0]!r})"
        )
    player, section, layers = choice
    names = (layers,) if isinstance(layers, str) else tuple(layers)
    if len(names) > MOST_MERGED:
        raise ArrangeError(
            f"{what}: {choice!r} merges {len(names)} layers; a player takes {MOST_MERGED} at most"
        )
    return (
        _place(player, players, what, "player"),
        _place(section, recorded.sections, what, "section"),
        tuple(sorted({_place(name, recorded.names, what, "layer") for name in names})),
    )


def _place(name: Any, known: Sequence[str], what: str, kind: str) -> int:
    if name is None and kind != "layer":
        return -1
    if name not in known:
        raise ArrangeError(f"{what}: {unknown_name(kind, name, known)}")
    return list(known).index(name)
