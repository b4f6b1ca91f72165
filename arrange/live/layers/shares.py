"""Who has which layer in each section, what is to stay so, and what nobody wants."""

from __future__ import annotations

from dataclasses import dataclass, replace

from arrange.condensing.pins_and_bans import MOST_MERGED, PinsAndBans
from arrange.condensing.plan_by_hand import Taken
from arrange.condensing.player_options import Option

NOBODY = -1


@dataclass(frozen=True)
class Shares:
    """What each player has in each section; sections, players and layers by their numbers.

    Parameters
    ----------
    taken : Taken
    kept : frozenset of (section, player)
        What must not be changed by a search.
    forbidden : frozenset of (section, player, layer)
        What a search must not give to a player.
    """

    taken: Taken
    kept: frozenset[tuple[int, int]] = frozenset()
    forbidden: frozenset[tuple[int, int, int]] = frozenset()

    def holder(self, section: int, layer: int) -> int:
        """Return who has a layer in a section; ``NOBODY`` for nobody."""
        for player, option in enumerate(self.taken[section]):
            if layer in option:
                return player
        return NOBODY

    def next_holder(self, section: int, layer: int) -> int:
        """Return who comes next: the first player with room after the holder, or nobody."""
        chosen = self.taken[section]
        for player in range(self.holder(section, layer) + 1, len(chosen)):
            if len(chosen[player]) < MOST_MERGED:
                return player
        return NOBODY

    def given(self, section: int, layer: int, player: int) -> Shares:
        """Return the shares with a layer of a section given to a player, or to nobody."""
        chosen = [tuple(one for one in own if one != layer) for own in self.taken[section]]
        if player != NOBODY:
            chosen[player] = tuple(sorted((*chosen[player], layer)))
        return self.with_section(section, tuple(chosen))

    def with_section(self, section: int, chosen: tuple[Option, ...]) -> Shares:
        """Return the shares with a section shared out otherwise."""
        taken = (*self.taken[:section], chosen, *self.taken[section + 1 :])
        return replace(self, taken=taken)

    def with_kept(self, section: int, player: int) -> Shares:
        """Return the shares with what a player has in a section kept, or no longer kept."""
        return replace(self, kept=self.kept ^ {(section, player)})

    def with_forbidden(self, section: int, player: int, layer: int) -> Shares:
        """Return the shares with a layer forbidden to a player in a section, or allowed again."""
        return replace(self, forbidden=self.forbidden ^ {(section, player, layer)})

    def decided(self, free: frozenset[tuple[int, int]]) -> PinsAndBans:
        """Return what a search has to keep that may change what is `free` alone.

        `free` are (section, player); what is kept among them stays too.
        """
        pins = {
            (player, section): option
            for section, chosen in enumerate(self.taken)
            for player, option in enumerate(chosen)
            if (section, player) not in free or (section, player) in self.kept
        }
        bans = tuple(
            (player, section, (layer,))
            for section, player, layer in sorted(self.forbidden)
            if (player, section) not in pins
        )
        return PinsAndBans(pins, bans, by_hand=True)

    def differing(self, other: Taken) -> list[tuple[int, int]]:
        """Return the sections and layers whose player is another one in other shares."""
        others = Shares(other)
        return [
            (section, layer)
            for section, chosen in enumerate(self.taken)
            for layer in sorted({one for own in (*chosen, *other[section]) for one in own})
            if self.holder(section, layer) != others.holder(section, layer)
        ]
