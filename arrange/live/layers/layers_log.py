"""The song whose layers are shared out, with the decisions of its log that concern other things.

A decision that shares out layers puts the players' parts in their place. To share them out again it
is set aside, and the next one supersedes it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from arrange.decisions import Decision, DecisionLog, read_decisions, rebuild
from arrange.live.decided_song import DecidedSong
from arrange.tables.song import Song


@dataclass(frozen=True, eq=False)
class DecidedLayers:
    """A song with its layers, and its log.

    Parameters
    ----------
    shown : DecidedSong
        The song with all other decisions made, and the log as it was read.
    earlier : tuple of Decision
        Agreed decisions that share out layers.
    """

    shown: DecidedSong
    earlier: tuple[Decision, ...] = ()

    @property
    def song(self) -> Song:
        """The song with its layers."""
        return self.shown.song

    @property
    def log(self) -> DecisionLog:
        """The log as it was read."""
        return self.shown.log

    def has_same_notes(self, other: DecidedLayers) -> bool:
        """Return whether two states of one song are the same."""
        one, two = self.song, other.song
        return one.notes.equals(two.notes) and one.parts.equals(two.parts)


def read_layers(source: Song, path: Path) -> DecidedLayers:
    """Return a song with the decisions of its log made, but those that share out layers.

    Raises
    ------
    ReadError
        If there is a log that cannot be read.
    """
    if not path.exists():
        return DecidedLayers(DecidedSong(source, DecisionLog()))
    log = read_decisions(path)
    earlier = tuple(each for each in log.decisions if each.status == "agreed" and each.removed)
    others = tuple(each for each in log.decisions if each not in earlier)
    built = rebuild(source, replace(log, decisions=others))
    words = f", {len(built.applied)} of them made here"
    if earlier:
        words += f"; how layers were shared out on {earlier[-1].date} is set aside here"
    return DecidedLayers(DecidedSong(built.song, log, words), earlier)
