"""What the arranger has decided already: choices pinned, and choices forbidden."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrange.condensing.material import Material
from arrange.condensing.options import Option, SectionOptions
from arrange.errors import ArrangeError
from arrange.tables.sounding import Array
from arrange.text.part_lists import join_parts
from arrange.theory.spelling import unknown_name

MOST_MERGED = 2


@dataclass(frozen=True)
class Rules:
    """Pins and bans, by player and section.

    Parameters
    ----------
    pins : dict of (player, section) to Option
    bans : tuple of (player or -1, section or -1, Option)
        A single layer bans all that holds it, two ban their merge, none bans laying out.
    """

    pins: dict[tuple[int, int], Option]
    bans: tuple[tuple[int, int, Option], ...]

    @property
    def is_free(self) -> bool:
        """Whether nothing is decided."""
        return not self.pins and not self.bans

    def tells_apart(self, players: int) -> bool:
        """Whether something is decided for one of these players that is not for all."""
        return any(p < players for p, _ in self.pins) or any(
            0 <= p < players for p, _, _ in self.bans
        )

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


def read_rules(
    material: Material, players: Sequence[str], pins: Iterable[Any], forbid: Iterable[Any]
) -> Rules:
    """Return pins and bans as numbers.

    Raises
    ------
    ArrangeError
        If one is not of three parts, names what does not exist, or speaks against another.
    """
    pinned: dict[tuple[int, int], Option] = {}
    for pin in pins:
        player, section, layers = _read(material, players, pin, "pins")
        if player < 0:
            raise ArrangeError(f"pins: {pin!r} names no player; there are {', '.join(players)}")
        for place in range(len(material.sections)) if section < 0 else [section]:
            silent = [layer for layer in layers if not material.present[layer, place]]
            if silent and section < 0:
                continue
            where = f"{players[player]!r} in {material.sections[place]!r}"
            if silent:
                raise ArrangeError(
                    f"pins: {material.names[silent[0]]!r} is pinned to {where}, where it does not "
                    f"play; there play {_playing(material, place)}"
                )
            before = pinned.get((player, place), layers)
            if before != layers:
                raise ArrangeError(
                    f"pins: {where} is pinned to {_told(material, before)} and to "
                    f"{_told(material, layers)}; keep one of the two"
                )
            for other, name in enumerate(players):
                twice = set(layers) & set(pinned.get((other, place), ()))
                if other != player and twice:
                    raise ArrangeError(
                        f"pins: {material.names[min(twice)]!r} is pinned to {where} and to "
                        f"{name!r}; a layer has one player, keep one of the two"
                    )
            pinned[player, place] = layers
    bans = tuple(_read(material, players, ban, "forbid") for ban in forbid)
    for (player, place), layers in pinned.items():
        for who, section, banned in bans:
            if who in (-1, player) and section in (-1, place) and _is_banned(layers, banned):
                raise ArrangeError(
                    f"{players[player]!r} in {material.sections[place]!r} is pinned to "
                    f"{_told(material, layers)}, and {_told(material, banned)} is forbidden there; "
                    "keep one of the two"
                )
    return Rules(pinned, bans)


def _playing(material: Material, section: int) -> str:
    names = [n for n, p in zip(material.names, material.present[:, section], strict=True) if p]
    return ", ".join(names) or "none"


def _told(material: Material, option: Option) -> str:
    names = [material.names[layer] for layer in option]
    return repr(join_parts(names)) if names else "laying out"


def _read(
    material: Material, players: Sequence[str], told: Any, what: str
) -> tuple[int, int, Option]:
    if isinstance(told, str) or not isinstance(told, Sequence) or len(told) != 3:
        raise ArrangeError(
            f"{what}: {told!r}; each is (player, section, layers), such as "
            f"({players[0]!r}, {material.sections[0]!r}, {material.names[0]!r})"
        )
    player, section, layers = told
    names = (layers,) if isinstance(layers, str) else tuple(layers)
    if len(names) > MOST_MERGED:
        raise ArrangeError(
            f"{what}: {told!r} merges {len(names)} layers; a player takes {MOST_MERGED} at most"
        )
    return (
        _place(player, players, what, "player"),
        _place(section, material.sections, what, "section"),
        tuple(sorted({_place(name, material.names, what, "layer") for name in names})),
    )


def _place(name: Any, known: Sequence[str], what: str, kind: str) -> int:
    if name is None and kind != "layer":
        return -1
    if name not in known:
        raise ArrangeError(f"{what}: {unknown_name(kind, name, known)}")
    return list(known).index(name)
