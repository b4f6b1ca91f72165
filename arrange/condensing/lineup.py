"""Who plays: the players, the gear that each may have, and what is decided for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from arrange.condensing.pins_and_bans import PinsAndBans
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player
from arrange.tables.schemas import DRIVES

MOST_NECKS = 4  # tunings and capos that are tried where a player has no neck of their own


@dataclass(frozen=True)
class Gear:
    """A neck, the hands that play on it, and the sounds behind it."""

    neck: Neck
    hand: Hand
    sounds: tuple[str, ...] = DRIVES
    echo: bool = True
    picks: str = "pick"


@dataclass(frozen=True)
class Lineup:
    """Who plays, and what is decided for each.

    Parameters
    ----------
    players : tuple of Player
    necks : tuple of Gear
        All that are tried; the other files call them by their numbers here.
    necks_of : tuple of tuple of int
        Those that each player may have.
    decided : PinsAndBans
    """

    players: tuple[Player, ...]
    necks: tuple[Gear, ...]
    necks_of: tuple[tuple[int, ...], ...]
    decided: PinsAndBans

    @classmethod
    def of(
        cls, players: tuple[Player, ...], recorded: RecordedLayers, decided: PinsAndBans
    ) -> Lineup:
        """Return the lineup of some players for some layers.

        A player without a neck gets one of those that the layers were recorded on, or a guitar in
        standard tuning.
        """
        usual = _usual_necks(recorded, len(players))
        tried = [
            [Gear(neck, p.hand, p.sounds, p.echo, p.picks) for neck in _necks(p, usual)]
            for p in players
        ]
        necks = tuple(dict.fromkeys(one for own in tried for one in own))
        necks_of = tuple(tuple(necks.index(one) for one in own) for own in tried)
        return cls(players, necks, necks_of, decided)

    def name(self, player: int) -> str:
        """Return the name of a player; of one more than there are, by the number."""
        return self.players[player].name if player < len(self.players) else f"Player {player + 1}"

    def may_have(self, player: int) -> tuple[int, ...]:
        """Return the necks that a player may have; one more than there are is like the last."""
        return self.necks_of[min(player, len(self.necks_of) - 1)]

    @property
    def is_free(self) -> bool:
        """Whether nothing is decided for anybody: no pin, no ban, no gear and no hand."""
        alike = {replace(player, name="any", instrument="") for player in self.players}
        first = self.players[0]
        has_all = Player("any", hand=first.hand) in alike
        return self.decided.is_free and len(alike) == 1 and has_all

    def are_alike(self, players: int) -> bool:
        """Return whether these players may change places: same gear, same pins and bans."""
        same = len({self.may_have(player) for player in range(players)}) == 1
        return same and not self.decided.sets_apart(players)


def _necks(player: Player, usual: Sequence[Neck]) -> list[Neck]:
    """Those that a player may have: their own or the usual ones, with the capos they use."""
    necks = [player.neck] if player.neck else list(usual)
    if player.capos is None:
        return necks
    capoed = [replace(neck, capo=capo) for neck in necks for capo in player.capos]
    return list(dict.fromkeys(capoed))


def _usual_necks(recorded: RecordedLayers, players: int) -> Sequence[Neck]:
    """Standard tuning, then those that the layers were recorded on, the most used first."""
    time = (recorded.end - recorded.onset) * recorded.is_played
    lasts = np.zeros(recorded.necks.shape)
    np.add.at(lasts, (recorded.layer, recorded.section), time)
    use: dict[Neck, float] = {Neck(): np.inf}
    is_guitar = (recorded.parts["family"] == "guitar").to_numpy()
    for layer, section in np.argwhere(recorded.present & is_guitar[:, None]).tolist():
        known = recorded.necks[layer, section]
        use[known] = use.get(known, 0.0) + float(lasts[layer, section])
    ranked = sorted(use, key=lambda neck: (-use[neck], neck.tuning, neck.capo, neck.frets))
    return ranked[:MOST_NECKS] if players < len(recorded.names) else ranked
