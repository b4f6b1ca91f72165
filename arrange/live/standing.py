"""The song as its log has it now: what is computed of it, and what is written into the log."""

from __future__ import annotations

from functools import lru_cache, partial
from pathlib import Path

from arrange.decisions import Decision, DecisionLog, record_decision, waivers_of
from arrange.findings.summary import findings_figures
from arrange.live.choices import Choices, choices_words
from arrange.live.decided_song import (
    StatusChange,
    change_decision,
    has_same_notes,
    read_decided,
)
from arrange.live.moment_sound import moment_sound
from arrange.live.picture_cache import PictureCache
from arrange.live.results_cache import ResultsCache
from arrange.tables.song import Song

_MOST_KEPT = 4  # states of the log whose results are kept for Undo


class Standing:
    """A song with the decisions of its log.

    Nothing is written into a log in which somebody else has written since it was read: that raises
    a LogChangedError.

    Parameters
    ----------
    source : Song
        Without decisions.
    log : Path
    """

    def __init__(self, source: Song, log: Path) -> None:
        self.path = log
        self._source, self._kept = source, list[ResultsCache]()
        self.read_again()

    def read_again(self) -> None:
        """Read the log, and use the song with its decisions from now on."""
        self.decided = read_decided(self._source, self.path)
        base = self.decided.song
        known = (each for each in self._kept if has_same_notes(each.base, base))
        results = next(known, None) or ResultsCache(base)
        self._kept = [results, *(each for each in self._kept if each is not results)][:_MOST_KEPT]
        self.results = results
        self.pictures = PictureCache(results, waivers_of(self.log))
        self.sound = lru_cache(maxsize=24)(partial(moment_sound, results))

    @property
    def log(self) -> DecisionLog:
        """The log as it was read."""
        return self.decided.log

    def record(self, choices: Choices, why: str) -> Decision:
        """Write choices into the log, with the figures before and after."""
        results = self.results
        decision = Decision(
            choices_words(choices),
            why,
            choices.section,
            parts=[part for part, _ in choices.parts],
            before=findings_figures(results.findings(Choices(choices.section))),
            after=findings_figures(results.findings(choices)),
        )
        arrangement = results.decided(choices) if choices.parts else None
        decision = record_decision(
            self.path, decision, song=results.base, arrangement=arrangement, expected=self.log
        )
        self.read_again()
        return decision

    def change(self, decision: str, change: StatusChange) -> bool:
        """Change the status of a decision, unless somebody else has done so; return whether."""
        is_done = change_decision(self.path, self.log, decision, change)
        if is_done:
            self.read_again()
        return is_done
