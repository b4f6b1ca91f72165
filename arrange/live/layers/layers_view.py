"""The live view of layers: press a cell, and see what that is worth."""

from __future__ import annotations

import threading
import traceback
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from arrange.condensing.pins_and_bans import MOST_MERGED
from arrange.condensing.plan_by_hand import why_no_option
from arrange.decisions import Decision, DecisionLog
from arrange.errors import ArrangeError, LogChangedError
from arrange.live.aside import Aside, Later
from arrange.live.decided_song import (
    AGREED_AGAIN,
    TAKEN_BACK,
    log_html,
)
from arrange.live.layers.grid import LayersGrid
from arrange.live.layers.layers_log import LayersLog
from arrange.live.layers.layers_sound import WHAT, section_sound
from arrange.live.layers.panels import (
    cells,
    foot_parts,
    frame_html,
    section_html,
    signed_seconds,
    totals_html,
    troubles_html,
)
from arrange.live.layers.results import LayersResults
from arrange.live.layers.shares import NOBODY, Shares
from arrange.live.layers.shares_file import SharesFile, format_shares, parse_shares, shares_path
from arrange.live.steps import Steps
from arrange.tables.song import Song
from arrange.text.markup import escape_html

_SETTLE_SECONDS = 0.4  # without a press, after which what is shared out is tried
_REST_SECONDS = 1.5  # and after that, before what may be shared out next is tried
_IDLE_SECONDS = 0.02  # between two things that are tried


class LayersView:
    """A live view; a notebook shows it.

    Parameters
    ----------
    song : Song
    log : Path
        The shares are kept beside it.
    asked : callable
        Returns the results of a song.
    later : callable, optional
        Does something after so many seconds; the running event loop's if not given. Without a loop
        nothing is tried ahead.
    """

    def __init__(
        self,
        song: Song,
        log: Path,
        asked: Callable[[Song], LayersResults],
        later: Later | None = None,
    ) -> None:
        self.log, self._aside = log, Aside(later)
        self._lock = threading.RLock()  # a kernel may hear messages in another thread
        self._turn = 0
        self._file = SharesFile(shares_path(log.with_name(log.name.replace(".decisions", ""))))
        self._stand = LayersLog(song, log, asked)
        problem, optimum = self.results.problem, self.results.optimum
        self.shares, self._words = self._file.read(problem, optimum)
        self._steps = Steps[Shares]()
        self._is_writing = False
        self._fields: dict[str, str] = {}
        self._details: dict[int, list[str]] | None = None
        self._at, self._compared = self._first_place(), False
        self.grid = LayersGrid(frame=frame_html(self.results))
        self.grid.add_class("arrange-live").add_class("arrange-layers")
        self.grid.on_press(lambda message: self._safely(partial(self.press, message)))
        self._safely(lambda: None)

    def _repr_mimebundle_(self, **options: Any) -> Any:
        return self.grid._repr_mimebundle_(**options)

    @property
    def results(self) -> LayersResults:
        """The results of the song as its log has it."""
        return self._stand.results

    def _first_place(self) -> tuple[int, int]:
        """The first section and layer that can be shared out."""
        for section, worth in enumerate(self.results.problem.worths):
            if worth.layers:
                return section, worth.layers[0]
        return 0, 0

    # What is pressed

    def press(self, message: dict[str, Any]) -> None:
        """Do what a message of the grid asks for."""
        self._fields |= message.get("fields", {})
        self._words = ""
        if "section" in message:
            self._go(message)
        _PRESSED[message["do"]](self, message)

    def _safely(self, do: Callable[[], None]) -> None:
        """Do something and show it; faults are shown too, since nobody reads a log panel."""
        with self._lock:
            try:
                do()
            except LogChangedError:
                self._stand_on_log()
            except ArrangeError as error:
                self._words = str(error)
            except Exception as error:
                self._words = (
                    f"Something went wrong that should not ({type(error).__name__}: {error}). Your "
                    "song and its log are as they were: press Undo, or run the cell again.\n"
                    + traceback.format_exc()
                )
            self._show()
            self._wait_to_settle()

    def _go(self, message: dict[str, Any]) -> None:
        before = self._at[0]
        self._at = int(message["section"]), int(message.get("layer", self._at[1]))
        if self._at[0] != before:
            self._details = None

    def _next(self, _: dict[str, Any]) -> None:
        (section, layer), problem = self._at, self.results.problem
        following = self.shares.next_holder(section, layer)
        if (
            following == self.shares.holder(section, layer)
            and layer in problem.worths[section].layers
        ):
            self._words = (
                f"Everybody has two layers in {problem.recorded.sections[section]}, and two are "
                "the most for one player; take one away first."
            )
            return
        self._give_to(following)

    def _give(self, message: dict[str, Any]) -> None:
        player = int(message["player"]) - 1
        if player < len(self.results.problem.lineup.players):
            self._give_to(player)

    def _give_to(self, player: int) -> None:
        (section, layer), problem = self._at, self.results.problem
        if layer not in problem.worths[section].layers:
            return
        before = self.shares.taken[section][player] if player != NOBODY else ()
        if player != NOBODY and layer not in before and len(before) >= MOST_MERGED:
            self._words = (
                f"{problem.lineup.name(player)} has {problem.name(before)} there, and two layers "
                "are the most for one player; take one away first."
            )
            return
        changed = self.shares.given(section, layer, player)
        for option in changed.taken[section]:
            if why := why_no_option(problem, section, option):
                self._words = f"{why}: not given."
                return
        self._change(changed)

    def _change(self, shares: Shares) -> None:
        if shares != self.shares:
            self._steps.leave(self.shares)
            self._set(shares)

    def _set(self, shares: Shares) -> None:
        self.shares, self._details = shares, None

    def _keep(self, message: dict[str, Any]) -> None:
        self._change(self.shares.with_kept(self._at[0], int(message["player"])))

    def _forbid(self, message: dict[str, Any]) -> None:
        section, layer = self._at
        self._change(self.shares.with_forbidden(section, int(message["player"]), layer))

    def _undo(self, _: dict[str, Any]) -> None:
        if not self._steps.past:
            return
        decision = self._steps.past[-1].decision
        if decision:
            self._words = self._stand.change(decision, TAKEN_BACK)
        self._set(self._steps.back(self.shares))

    def _redo(self, _: dict[str, Any]) -> None:
        if not self._steps.coming:
            return
        decision = self._steps.coming[-1].decision
        if decision:
            self._words = self._stand.change(decision, AGREED_AGAIN)
        self._set(self._steps.on(self.shares))

    def _compare(self, _: dict[str, Any]) -> None:
        self._compared = not self._compared

    def _take_best(self, _: dict[str, Any]) -> None:
        self._change(replace(self.shares, taken=self.results.optimum))

    def _nothing(self, _: dict[str, Any]) -> None:
        """Only the place has changed."""

    # What takes longer

    def _search(self, _: dict[str, Any]) -> None:
        scope, section, shares = self._fields.get("scope", "all"), self._at[0], self.shares
        results = self.results
        sections, players = range(len(shares.taken)), range(len(shares.taken[0]))
        free = frozenset(
            (each, player)
            for each in sections
            for player in players
            if scope == "all" or (scope == "section" and each == section) or scope == str(player)
        )

        def find() -> Callable[[], None]:
            taken = results.best_from(shares, free)

            def show() -> None:
                if (self.shares, self.results) != (shares, results):
                    self._words = (
                        "Something was changed while the best was looked for, so nothing was taken "
                        "over: press Find again."
                    )
                    return
                gained = results.figures(replace(shares, taken=taken)).plan.value
                gained -= results.figures(shares).plan.value
                self._change(replace(shares, taken=taken))
                self._words = f"Found: {signed_seconds(gained)} against what there was."
                if not len(shares.differing(taken)):
                    self._words = "Nothing better can be found there."

            return show

        self._take_time("The best is looked for ...", find)

    def _hear(self, message: dict[str, Any]) -> None:
        what, shares, section = message["do"], self.shares, self._at[0]

        def render() -> Callable[[], None]:
            data = section_sound(self.results, shares, section, what)
            return lambda: self.grid.send({"sound": what}, buffers=[data])

        self._take_time("The sound is made ...", render)

    def _record(self, _: dict[str, Any]) -> None:
        if self._is_writing:
            return  # the button was pressed twice
        troubles = self.results.figures(self.shares).troubles
        if troubles:
            self._words = f"Not recorded: {troubles[0].why}"
            return
        why = self._fields.get("why", "").strip() or "tried in the live view"
        write, log = self._stand.writing(self.shares, why), self._stand.decided.log
        self._take_time(
            "The decision is written ...",
            lambda: partial(self._after_recording, write(), log),
            is_writing=True,
        )

    def _after_recording(self, done: Decision, before: DecisionLog) -> None:
        self._read_log()
        self._steps.leave(self.shares, done.id)
        self._fields.pop("why", None)
        self.grid.send({"clear": "why"})
        self._words = f"Recorded; Undo takes it back.{self._stand.sheets_words()}"
        others = self._stand.changes(before, done.id)
        if others:
            self._words += f" Somebody else has written too: {others}."

    def _read_log(self) -> None:
        """Read the log again; where the song is another one now, begin with its best."""
        text = format_shares(self.results.problem, self.shares)
        if self._stand.read_again():
            self.shares, _ = parse_shares(text, self.results.problem, self.results.optimum)
            self._steps, self._details = Steps[Shares](), None
            self._at = self._first_place()
            self.grid.frame = frame_html(self.results)

    def _stand_on_log(self) -> None:
        """Show what somebody else has written."""
        before = self._stand.decided.log
        self._read_log()
        changes = self._stand.changes(before) or "its text was edited"
        self._words = (
            f"Somebody else has written in the log since ({changes}). The figures stand on that "
            "now; nothing of yours was written. If it still holds, press the button again."
        )

    # What is seen

    def _show(self) -> None:
        results, shares = self.results, self.shares
        figures, best = results.figures(shares), results.best_figures
        parts = {
            "totals": totals_html(results, shares, figures, best),
            "section": section_html(results, shares, figures, self._at, self._details or {}),
            "troubles": troubles_html(figures),
            "words": f"<p>{escape_html(self._words)}</p>" if self._words else "",
            "log": log_html(self._stand.decided, self._stand.path),
            **foot_parts(figures, best),
        }
        self.grid.state = {
            "cells": cells(results, shares, self._compared),
            "parts": parts,
            "controls": {
                "undo": {"off": _flag(not self._steps.past)},
                "redo": {"off": _flag(not self._steps.coming)},
                "compare": {"pressed": _flag(self._compared)},
                "best": {"off": _flag(shares.taken == results.optimum)},
            },
            "at": self._at,
        }

    # What takes longer, or is done before it is asked for

    def _take_time(
        self, words: str, do: Callable[[], Callable[[], None]], *, is_writing: bool = False
    ) -> None:
        """Say what is being done, do it beside, and then do what it returns."""
        self._words, self._is_writing = words, self._is_writing or is_writing

        def finish(result: Callable[[], None]) -> None:
            self._words = ""
            if is_writing:
                self._is_writing = False
            result()

        self._aside.do(do, lambda result: self._safely(partial(finish, result)))

    def _wait_to_settle(self) -> None:
        self._turn += 1
        self._aside.later(_SETTLE_SECONDS, partial(self._settle, self._turn))

    def _settle(self, turn: int) -> None:
        """Keep the shares, add what takes longer to say, then try what hands can hold."""
        if turn != self._turn:
            return
        shares, section, results = self.shares, self._at[0], self.results

        def work() -> Callable[[], None]:
            said = self._file.keep(results.problem, shares)
            details = results.details(shares, section)

            def show() -> None:
                self._words = said or self._words
                if turn == self._turn:
                    self._details = details
                if turn == self._turn or said:
                    self._show()

            return show

        def then(show: Callable[[], None]) -> None:
            with self._lock:
                try:
                    show()
                except ArrangeError as error:
                    self._words = str(error)
                    self._show()
            self._try_next(turn, rested=False)

        self._aside.do(work, then)

    def _try_next(self, turn: int, *, rested: bool) -> None:
        """Try one thing after another until something is pressed; first what is shared out."""
        if turn != self._turn:
            return
        found = self.results.next_trial(self.shares)
        if found is None:
            self.grid.progress = ""
            return
        if not rested and not self.results.figures(self.shares).untried:
            self._aside.later(_REST_SECONDS, partial(self._try_next, turn, rested=True))
            return
        finger, left = found
        self.grid.progress = (
            f"Trying what hands can hold, {left} left; what has not been tried counts as playable."
        )

        def then(take_up: Callable[[], bool]) -> None:
            with self._lock:
                if take_up() and turn == self._turn:
                    self._show()
            self._aside.later(_IDLE_SECONDS, partial(self._try_next, turn, rested=rested))

        self._aside.do(finger, then)


def _flag(value: bool) -> str:
    return str(value).lower()


_PRESSED: dict[str, Callable[[LayersView, dict[str, Any]], None]] = {
    "next": LayersView._next,
    "give": LayersView._give,
    "go": LayersView._nothing,
    "keep": LayersView._keep,
    "forbid": LayersView._forbid,
    "undo": LayersView._undo,
    "redo": LayersView._redo,
    "search": LayersView._search,
    "compare": LayersView._compare,
    "best": LayersView._take_best,
    "record": LayersView._record,
    **dict.fromkeys(WHAT, LayersView._hear),
}
