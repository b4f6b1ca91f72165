"""The live view of two parts: choices are shown at once, played, recorded and taken back."""

from __future__ import annotations

import contextlib
import os
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import numpy as np

from arrange.decisions import Decision, change_status, decisions_path, record_decision
from arrange.errors import ArrangeError, LogChangedError
from arrange.findings.summary import findings_figures
from arrange.formats.reading import read
from arrange.live.choices import Choices, choices_words
from arrange.live.controls import (
    CHOOSING,
    fill,
    layout,
    make_controls,
    next_choices,
    read_controls,
)
from arrange.live.decided_song import log_changes, log_html, read_decided
from arrange.live.event_loop import Later, later_on, running_loop
from arrange.live.moment_sound import Bars, moment_sound, moments
from arrange.live.picture_cache import PictureCache
from arrange.live.results_cache import ResultsCache, first_place
from arrange.tables.song import Song
from arrange.text.markup import escape_html

# A browser holds a slider's last message back until the one before is done, so that a button
# pressed later may be heard first. A button therefore waits for that message, and messages of that
# slider right afterwards are no choice. A hand takes longer from a button to a slider.
_BUTTON_SECONDS = 0.15
_LATE_SECONDS = 0.6
_SETTLE_SECONDS = 0.06  # without a change, after which sound is prepared
_REST_SECONDS = 0.3  # and after that, before anything is made ahead
_IDLE_SECONDS = 0.01  # between two things made ahead
_ONE_STEP_SECONDS = 1.0  # changes of one control nearer than that are undone together
_MOST_KEPT = 4  # states of the log whose results are kept for Undo
_HEARD = ("before", "after", "each", "both")


def explore_parts(
    song: Song | str | os.PathLike[str],
    part: str | None = None,
    *,
    section: str | None = None,
    log: str | os.PathLike[str] | None = None,
) -> PartsView:
    """Return a view to try other versions of a part, section by section, without code.

    Parameters
    ----------
    song : Song or path
        Decisions in its log are made before the view opens.
    part : str, optional
        The part to begin with; else the guitar with most to listen to.
    section : str, optional
        The section to begin with; else the one with most to listen to.
    log : path, optional
        Where decisions are recorded; else beside the file, or in the working folder if a Song is
        given.

    Raises
    ------
    ArrangeError
        If the file or the log cannot be read, or there is no such part or section.

    Examples
    --------
    >>> import arrange as ar
    >>> view = ar.explore_parts("datasets/tarrow-weir.txt")
    >>> view.choices.section, view.choices.is_as_written
    ('Tune (2)', True)
    """
    if not isinstance(song, Song):
        log = log or decisions_path(song)
        song = read(song)
    return PartsView(song, Path(log or decisions_path(song.source or "song")), part, section)


@dataclass(frozen=True)
class _Step:
    """What undo goes back to, and the decision that it takes back."""

    choices: Choices
    decision: str = ""


class PartsView:
    """A live view; a notebook shows it.

    Parameters
    ----------
    song : Song
    log : Path
    part, section : str, optional
    later : callable, optional
        Does something after so many seconds; the running event loop's if not given. Without a
        loop nothing is made ahead.
    """

    def __init__(
        self,
        song: Song,
        log: Path,
        part: str | None = None,
        section: str | None = None,
        later: Later | None = None,
    ) -> None:
        self.log = log
        self._loop = None if later else running_loop()
        self._later = later_on(self._loop) if self._loop else later
        # A kernel may hear the widgets in another thread than the one in which the cell was run.
        self._lock = threading.RLock()
        self._filler = 0
        self._thread = ThreadPoolExecutor(max_workers=2)  # sound need not wait
        self._turn = 0
        self._source, self._kept = song, list[ResultsCache]()
        self._stand_on_log()
        decided = self._results.base
        part, section = first_place(decided, self._results.whole, part, section)
        self.choices = Choices(section)
        self.controls = make_controls(decided, section, part)
        self.picture, self.words, self.shown_log = (widgets.HTML() for _ in range(3))
        self.words.add_class("words")
        self.audio = widgets.Box(layout=widgets.Layout(flex="2 1 18em"))
        self._past: list[_Step] = []
        self._touched, self._touched_at = "", -np.inf
        self._late, self._late_until = "", -np.inf
        self._heard = "after"
        self._is_filling = False
        self.widget = layout(self.controls, self.picture, self.audio, self.words, self.shown_log)
        self._fill()
        self._listen_to_controls()
        self._show()
        self._show_log()

    def _repr_mimebundle_(self, **options: Any) -> Any:
        return self.widget._repr_mimebundle_(**options)

    def _stand_on_log(self) -> None:
        """Read the log, and use the song with its decisions from now on."""
        self._decided = read_decided(self._source, self.log)
        base = self._decided.song
        known = (each for each in self._kept if _has_same_notes(each.base, base))
        results = next(known, None) or ResultsCache(base)
        self._kept = [results, *(each for each in self._kept if each is not results)][:_MOST_KEPT]
        self._results = results
        self._drawn = PictureCache(results).drawn
        self._sound = lru_cache(maxsize=24)(partial(moment_sound, results))

    # What the controls do

    def _listen_to_controls(self) -> None:
        one = self.controls
        for name in CHOOSING:
            getattr(one, name).observe(self._safely(partial(self._choose, name)), "value")
        for name in ("part", "beside"):
            getattr(one, name).observe(self._safely(partial(self._turn_to, name)), "value")
        for name in ("moment", "everyone"):
            getattr(one, name).observe(self._safely(self._wait_to_settle), "value")
        for name in ("reset", "undo", "record"):
            getattr(one, name).on_click(self._by_button(getattr(self, name)))
        for name in _HEARD:
            getattr(one, name).on_click(self._by_button(partial(self.hear, name)))

    def _safely(self, do: Callable[[], None]) -> Callable[[Any], None]:
        """A handler whose faults are shown in the view, since nobody reads a log panel."""

        def handle(_: Any = None) -> None:
            if self._is_filling and self._filler == threading.get_ident():
                return
            try:
                with self._lock:
                    self._do_on_known_log(do)
            except ArrangeError as error:
                self._say_problem(str(error))
            except Exception as error:
                problem = f"Something went wrong that should not ({type(error).__name__}: {error})."
                self._say_problem(
                    f"{problem} Your song and its log are as they were: press Undo or As written, "
                    "or run the cell again.",
                    traceback.format_exc(),
                )

        return handle

    def _do_on_known_log(self, do: Callable[[], None]) -> None:
        """Do something; if somebody else has written in the log, show that instead."""
        try:
            do()
        except LogChangedError:
            before = self._decided.log
            self._stand_on_log()
            self._go_to(self.choices, is_step=False)
            self._show_log()
            changes = log_changes(before, self._decided.log) or "its text was edited"
            self._say(
                f"Somebody else has written in the log since ({changes}). The picture and the "
                "figures stand on that now; nothing of yours was written. If it still holds, "
                "press the button again."
            )

    def _by_button(self, do: Callable[[], None]) -> Callable[[Any], None]:
        """A handler that waits for the sliders' remaining messages."""
        safe = self._safely(do)

        def press(_: Any) -> None:
            if self._later is None:
                safe(None)
            else:
                self._later(_BUTTON_SECONDS, lambda: safe(None))

        return press

    def _choose(self, name: str) -> None:
        chosen = read_controls(self.controls, self._results.base, self.choices)
        if chosen == self.choices:
            return
        now = time.monotonic()
        if name == self._late and now < self._late_until:
            self._fill()
            return
        if name != self._touched or now - self._touched_at > _ONE_STEP_SECONDS:
            self._past.append(_Step(self.choices))
        self._touched, self._touched_at = name, now
        is_elsewhere = chosen.section != self.choices.section
        self.choices = chosen
        if is_elsewhere:
            self._fill()
        self._show()

    def _turn_to(self, name: str) -> None:
        self._touched = ""
        if name == "part":
            self._fill()
        self._show()

    def reset(self) -> None:
        """Choose nothing."""
        self._go_to(Choices(self.choices.section))

    def undo(self) -> None:
        """Go one step back; a decision that was recorded in it is taken back in the log."""
        if not self._past:
            self._say("There is nothing to undo.")
            return
        step = self._past[-1]
        if step.decision:
            self._take_back(step.decision)
        self._past.pop()
        self._go_to(step.choices, is_step=False)

    def _take_back(self, decision: str) -> None:
        """Drop a decision in the log, unless somebody else has done so."""
        log = self._decided.log
        if any(each.id == decision and each.status == "agreed" for each in log.decisions):
            reason = "taken back in the live view"
            change_status(self.log, decision, "dropped", reason, expected=log)
            self._stand_on_log()
            self._show_log()

    def _go_to(self, choices: Choices, is_step: bool = True) -> None:
        if is_step and choices != self.choices:
            self._past.append(_Step(self.choices))
        late, self._touched = self._touched, ""
        self.choices = choices.that_fit(self._results.base)
        self._fill()
        self._show()
        self._late, self._late_until = late, time.monotonic() + _LATE_SECONDS

    def record(self) -> None:
        """Write the choices into the log, with the figures before and after."""
        choices, results = self.choices, self._results
        if choices.is_as_written:
            self._say("Nothing is chosen yet: move something first, then record it.")
            return
        log = self._decided.log
        decision = Decision(
            choices_words(choices),
            self.controls.why.value.strip() or "tried in the live view",
            choices.section,
            parts=[part for part, _ in choices.parts],
            before=findings_figures(results.findings(Choices(choices.section))),
            after=findings_figures(results.findings(choices)),
        )
        arrangement = results.decided(choices) if choices.parts else None
        decision = record_decision(
            self.log, decision, song=results.base, arrangement=arrangement, expected=log
        )
        self._past.append(_Step(choices, decision.id))
        self.controls.why.value = ""
        self._stand_on_log()
        self._go_to(Choices(choices.section), is_step=False)
        self._show_log()
        self._say(
            _recorded(decision.what, choices, log_changes(log, self._decided.log, decision.id))
        )

    # What is seen

    def _fill(self) -> None:
        """Set the controls to the choices; this is not a choice by the user."""
        self._is_filling, self._filler = True, threading.get_ident()
        try:
            one, song = self.controls, self._results.base
            parts = song.parts["part"].tolist()
            if list(one.part.options) != parts:
                part = one.part.value
                one.part.options = parts
                one.part.value = part if part in parts else parts[0]
            others = [name for name in parts if name != one.part.value]
            family = dict(zip(parts, song.parts["family"], strict=True))
            own = family[one.part.value]
            others.sort(key=lambda name: family[name] != own)
            if list(one.beside.options) != others:
                one.beside.options = others
                one.beside.value = others[0] if others else None
            fill(one, song, self.choices)
            bars, strongest = moments(song, self.choices.section, self._before())
            if list(one.moment.options) != bars:
                one.moment.options = bars
                one.moment.value = strongest
        finally:
            self._is_filling = False

    def _before(self) -> Any:
        return self._results.findings(Choices(self.choices.section))

    def _show(self) -> None:
        """Show what is chosen, and then prepare what may be heard and chosen next."""
        picture, words = self._drawn(*self._seen(self.choices))
        self.picture.value = picture
        self._say(words)
        self._wait_to_settle()

    def _seen(self, choices: Choices) -> tuple[Choices, str, str | None]:
        return choices, self.controls.part.value, self.controls.beside.value

    def _say(self, words: str) -> None:
        self.words.value = f'<div role="status">{escape_html(words)}</div>' if words else ""

    def _say_problem(self, words: str, details: str = "") -> None:
        more = f"<details><summary>Details</summary><pre>{escape_html(details)}</pre></details>"
        self.words.value = (
            f'<div class="problem" role="alert">{escape_html(words)}{more if details else ""}</div>'
        )

    def _show_log(self) -> None:
        self.shown_log.value = log_html(self._decided, self.log)

    # What is heard

    def hear(self, what: str) -> None:
        """Play the moment: ``before``, ``after``, ``each`` alone, ``both`` one after the other."""
        self._heard = what
        for name in _HEARD:
            getattr(self.controls, name).button_style = "info" if name == what else ""
        self._set_sound(autoplay=True)

    def _moment(self) -> tuple[Choices, Bars, tuple[str, ...], bool, str]:
        one = self.controls
        pair = tuple(part for part in (one.part.value, one.beside.value) if part is not None)
        return self.choices, one.moment.value, pair, one.everyone.value, self._heard

    def _set_sound(self, autoplay: bool) -> None:
        data = self._sound(*self._moment())
        old = self.audio.children
        self.audio.children = (
            widgets.Audio(value=data, format="wav", autoplay=autoplay, loop=False, controls=True,
                          layout=widgets.Layout(width="100%")),
        )  # fmt: skip
        for each in old:
            each.close()

    # What is made ahead

    def _wait_to_settle(self) -> None:
        """Prepare things once nothing has changed for a moment."""
        self._turn += 1
        if self._later is not None:
            self._later(_SETTLE_SECONDS, partial(self._settle, self._turn))

    def _settle(self, turn: int) -> None:
        if turn != self._turn:
            return

        def show() -> None:
            if turn == self._turn and self._later is not None:
                self._safely(partial(self._set_sound, False))(None)
                ahead = partial(self._make_ahead, self._ahead(), turn)
                self._later(_REST_SECONDS, ahead)

        self._beside(partial(self._sound, *self._moment()), show)

    def _make_ahead(self, work: Iterator[Callable[[], object]], turn: int) -> None:
        """Do one piece of work after another until the user makes a newer choice."""

        def go_on() -> None:
            if self._later is not None:
                self._later(_IDLE_SECONDS, partial(self._make_ahead, work, turn))

        with self._lock:
            do = next(work, None) if turn == self._turn else None
        if do is not None:
            self._beside(do, go_on)

    def _beside(self, do: Callable[[], object], then: Callable[[], None]) -> None:
        """Do work for later in a thread, so that dragging stays smooth."""

        def quietly() -> None:
            with contextlib.suppress(Exception):  # it is reported when it is asked for
                do()

        if self._loop is None:
            quietly()
            then()
        else:
            done = self._loop.run_in_executor(self._thread, quietly)
            done.add_done_callback(lambda _: then())

    def _ahead(self) -> Iterator[Callable[[], object]]:
        """Choices that may come next: first the control in use and the nearest values."""
        results, part = self._results, self.controls.part.value
        for choices in next_choices(self.controls, results.base, self.choices, self._touched):
            seen = self._seen(choices)
            yield partial(results.song, choices)
            yield partial(results.hands, choices, part)
            yield partial(results.findings, choices)
            yield partial(self._drawn, *seen)


def _has_same_notes(one: Song, other: Song) -> bool:
    """Whether two states of one song are the same."""
    return one.notes.equals(other.notes) and one.parts.equals(other.parts)


def _recorded(what: str, choices: Choices, others: str) -> str:
    """The message about a decision that was recorded."""
    words = f"Recorded: {what}. "
    if choices.parts:
        words += "From here on it is what stands as written; Undo takes it back."
    else:
        words += "The song keeps its own tempo; Undo takes it back."
    return words + (f" Somebody else has written too: {others}." if others else "")
