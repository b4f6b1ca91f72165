"""The song whose layers are shared out, as its log has it, and what is written into the log.

A decision that shares out layers puts the players' parts in their place. To share them out again it
is set aside, and the next one supersedes it.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from arrange.decisions import Decision, DecisionLog, record_decision
from arrange.live.decided_song import (
    AGREED_AGAIN,
    DecidedSong,
    StatusChange,
    change_decision,
    has_same_notes,
    log_changes,
    read_decided,
)
from arrange.live.layers.panels import shares_words
from arrange.live.layers.results import LayersResults
from arrange.live.layers.shares import Shares
from arrange.tables.song import Song
from arrange.text.letters import readable
from arrange.text.words import counted


class LayersLog:
    """A song with its layers, and with all decisions of its log but those that share them out.

    Nothing is written into a log in which somebody else has written since it was read: that raises
    a LogChangedError.

    Parameters
    ----------
    source : Song
        Without decisions.
    path : Path
    asked : callable
        Returns the results of a song.
    """

    def __init__(self, source: Song, path: Path, asked: Callable[[Song], LayersResults]) -> None:
        self.path, self._source, self._asked = path, source, asked
        self.decided = self._read()
        self.results = asked(self.decided.song)

    def _read(self) -> DecidedSong:
        return read_decided(self._source, self.path, "how layers were shared out", _shares_out)

    def read_again(self) -> bool:
        """Read the log again; return whether the song is another one now, which has a best of its
        own.
        """
        before, self.decided = self.decided, self._read()
        is_other = not has_same_notes(before.song, self.decided.song)
        if is_other:
            self.results = self._asked(self.decided.song)
        return is_other

    def changes(self, before: DecisionLog, own: str = "") -> str:
        """Return what somebody else has changed since; `own` is a decision of ours."""
        return log_changes(before, self.decided.log, own)

    def writing(self, shares: Shares, why: str) -> Callable[[], Decision]:
        """Return what writes the shares into the log, by what is known of both now."""
        return partial(self._write, shares, why, self.decided, self.results)

    def _write(
        self, shares: Shares, why: str, decided: DecidedSong, results: LayersResults
    ) -> Decision:
        problem, best, figures = results.problem, results.best, results.figures(shares)
        decision = Decision(
            f"{counted(len(problem.recorded.names), 'layer')} shared out by hand",
            why,
            before=f"the best: {best.value:.1f} s ({best.share:.0%})",
            after=f"this: {figures.plan.value:.1f} s ({figures.share:.0%}): "
            f"{shares_words(problem, shares)}",
            parts=[player.name for player in problem.lineup.players],
            supersedes=decided.aside[-1].id if decided.aside else "",
        )
        return record_decision(
            self.path, decision, song=decided.song, arrangement=results.song(shares),
            expected=decided.log,
        )  # fmt: skip

    def change(self, decision: str, change: StatusChange) -> str:
        """Change the status of a decision of ours; return what was done, or why nothing was."""
        log = self.decided.log
        superseded = {each.supersedes for each in log.decisions if each.id == decision}
        if change is AGREED_AGAIN and {each.id for each in self.decided.aside} - superseded:
            return "Another decision shares out the layers by now: the log stays as it is."
        if is_done := change_decision(self.path, log, decision, change):
            self.decided = self._read()
        return change.said(is_done)

    def sheets_words(self) -> str:
        """Return how sheets of what was decided are made; empty where the song is in no file."""
        if not self._source.source:
            return ""
        name = readable(Path(self._source.source).name)
        return (
            f" Sheets of it: arrange rebuild {name} -o arranged.musicxml, then arrange handout "
            f"arranged.musicxml --decisions {readable(self.path.name)} -o sheets."
        )


def _shares_out(decision: Decision) -> bool:
    return decision.status == "agreed" and bool(decision.removed)
