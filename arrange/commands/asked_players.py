"""The option ``--player`` of the commands that ask what a player has."""

from __future__ import annotations

from collections.abc import Iterable

from arrange.errors import ArrangeError, PlayerError
from arrange.guitar.players import Player, read_player


def asked_players(lines: Iterable[str]) -> list[Player]:
    """Return the players described by ``--player``, a line each."""
    try:
        return [read_player(line) for line in lines]
    except PlayerError as error:
        raise ArrangeError(f"--player: {error}") from None
