"""The live view of two parts: what is chosen is seen at once, heard, recorded, taken back."""

from __future__ import annotations

import asyncio
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

from arrange.decisions import (
    change_status,
    decisions_path,
    read_decisions,
    rebuild,
    record_decision,
)
from arrange.errors import ArrangeError
from arrange.live.controls import (
    CHOOSING,
    fill,
    layout,
    make_controls,
    next_choices,
    read_controls,
)
from arrange.live.listening import Bars, moment_sound, moments
from arrange.live.sights import Sights
from arrange.live.trial import (
    Choices,
    has_strings,
    told_choices,
)
from arrange.live.trials import Trials, told_figures
from arrange.markup import escape_html
from arrange.reading import read
from arrange.tables import Song, part_row, section_row

# A browser holds a slider's last message back until the one before is done, so that a button
# pressed after it can be heard first: what a button does waits for that, and what comes from that
# slider right after is no choice. A hand takes longer from a button to a slider.
_BUTTON_SECONDS = 0.15
_LATE_SECONDS = 0.6
_SETTLE_SECONDS = 0.06  # without a change, after which sound is prepared
_REST_SECONDS = 0.3  # and after that, before anything is made ahead
_IDLE_SECONDS = 0.01  # between two things made ahead
_ONE_STEP_SECONDS = 1.0  # changes of one control nearer than that are undone together
_ALONE = 0.1  # weight of a finding of one guitar alone, or with another instrument (ours)
_HEARD = ("before", "after", "each", "both")

Later = Callable[[float, Callable[[], None]], Any]


def explore_parts(
    song: Song | str | os.PathLike[str],
    part: str | None = None,
    *,
    section: str | None = None,
    log: str | os.PathLike[str] | None = None,
) -> PartsView:
    """Return a view in which a part is tried otherwise, section by section, without code.

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
    """
    if not isinstance(song, Song):
        log = log or decisions_path(song)
        song = read(song)
    return PartsView(song, Path(log or decisions_path(song.source or "song")), part, section)


@dataclass(frozen=True)
class _Step:
    """What undo goes back to, and the decision that it takes back."""

    trials: Trials
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
        self._loop = None if later else _running_loop()
        self._later = _later_on(self._loop) if self._loop else later
        # A kernel may hear the widgets in another thread than the one in which the cell was run.
        self._lock = threading.RLock()
        self._filler = 0
        self._thread = ThreadPoolExecutor(max_workers=2)  # sound need not wait
        self._turn = 0
        decided, notes = _decided(song, log)
        self._begin(Trials(decided))
        part, section = _first_place(decided, self._trials.whole, part, section)
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
        self._show_log(notes)

    def _repr_mimebundle_(self, **options: Any) -> Any:
        return self.widget._repr_mimebundle_(**options)

    def _begin(self, trials: Trials) -> None:
        """Try on another song."""
        self._trials = trials
        self._drawn = Sights(trials).drawn
        self._sound = lru_cache(maxsize=24)(partial(moment_sound, trials))

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
        """A handler whose faults are told in the view: nobody looks into a log panel."""

        def handle(_: Any = None) -> None:
            if self._is_filling and self._filler == threading.get_ident():
                return
            try:
                with self._lock:
                    do()
            except ArrangeError as error:
                self._tell_problem(str(error))
            except Exception as error:
                told = f"Something went wrong that should not ({type(error).__name__}: {error})."
                self._tell_problem(
                    f"{told} Your song and its log are as they were: press Undo or As written, or "
                    "run the cell again.",
                    traceback.format_exc(),
                )

        return handle

    def _by_button(self, do: Callable[[], None]) -> Callable[[Any], None]:
        """A handler that waits for what sliders still have to say."""
        safe = self._safely(do)

        def press(_: Any) -> None:
            if self._later is None:
                safe(None)
            else:
                self._later(_BUTTON_SECONDS, lambda: safe(None))

        return press

    def _choose(self, name: str) -> None:
        chosen = read_controls(self.controls, self._trials.base, self.choices)
        if chosen == self.choices:
            return
        now = time.monotonic()
        if name == self._late and now < self._late_until:
            self._fill()
            return
        if name != self._touched or now - self._touched_at > _ONE_STEP_SECONDS:
            self._past.append(_Step(self._trials, self.choices))
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
            self._tell("There is nothing to undo.")
            return
        step = self._past[-1]
        if step.decision:
            change_status(self.log, step.decision, "dropped", "taken back in the live view")
        self._past.pop()
        if step.trials is not self._trials:
            self._begin(step.trials)
        self._go_to(step.choices, is_step=False)
        if step.decision:
            self._show_log()

    def _go_to(self, choices: Choices, is_step: bool = True) -> None:
        if is_step and choices != self.choices:
            self._past.append(_Step(self._trials, self.choices))
        self._late, self._late_until = self._touched, time.monotonic() + _LATE_SECONDS
        self._touched = ""
        self.choices = choices
        self._fill()
        self._show()

    def record(self) -> None:
        """Write the choices into the log, with the figures before and after."""
        choices, trials = self.choices, self._trials
        if choices.is_as_written:
            self._tell("Nothing is chosen yet: move something first, then record it.")
            return
        before = trials.findings(Choices(choices.section))
        after = trials.findings(choices)
        arrangement = trials.decided(choices)
        decision = record_decision(
            self.log,
            told_choices(choices),
            self.controls.why.value.strip() or "tried in the live view",
            song=trials.base,
            arrangement=arrangement if choices.parts else None,
            section=choices.section,
            parts=[part for part, _ in choices.parts],
            before=told_figures(before),
            after=told_figures(after),
        )
        self._past.append(_Step(trials, choices, decision.id))
        self._begin(Trials(arrangement))
        self._go_to(Choices(choices.section), is_step=False)
        self._show_log()
        self._tell(
            f"Recorded: {decision.what}. From here on it is what stands as written; Undo takes "
            "it back."
        )

    # What is seen

    def _fill(self) -> None:
        """Set the controls to the choices, without taking that for a choice."""
        self._is_filling, self._filler = True, threading.get_ident()
        try:
            one, song = self.controls, self._trials.base
            others = [name for name in song.parts["part"] if name != one.part.value]
            family = dict(zip(song.parts["part"], song.parts["family"], strict=True))
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
        return self._trials.findings(Choices(self.choices.section))

    def _show(self) -> None:
        """Show what is chosen, and then prepare what may be heard and chosen next."""
        picture, words = self._drawn(*self._seen(self.choices))
        self.picture.value = picture
        self._tell(words)
        self._wait_to_settle()

    def _seen(self, choices: Choices) -> tuple[Choices, str, str | None]:
        return choices, self.controls.part.value, self.controls.beside.value

    def _tell(self, words: str) -> None:
        self.words.value = f'<div role="status">{escape_html(words)}</div>' if words else ""

    def _tell_problem(self, words: str, details: str = "") -> None:
        more = f"<details><summary>Details</summary><pre>{escape_html(details)}</pre></details>"
        self.words.value = (
            f'<div class="problem" role="alert">{escape_html(words)}{more if details else ""}</div>'
        )

    def _show_log(self, notes: str = "") -> None:
        decisions = read_decisions(self.log).decisions if self.log.exists() else ()
        rows = "".join(
            f"<li><b>{escape_html(each.status)}</b>: "
            + escape_html(
                f"{each.section}, {each.what}. {each.why}. "
                f"Before: {each.before}; after: {each.after}."
            )
            + "</li>"
            for each in decisions[::-1]
        )
        count = f"{len(decisions)} decision{'s' if len(decisions) != 1 else ''}"
        self.shown_log.value = (
            f'<details class="log"{" open" if rows else ""}><summary>Log: '
            f"{escape_html(str(self.log.resolve()))} · {count}{escape_html(notes)}</summary>"
            f"<ul>{rows}</ul></details>"
        )

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
        """Do one piece of work after the other until something newer is chosen."""

        def go_on() -> None:
            if self._later is not None:
                self._later(_IDLE_SECONDS, partial(self._make_ahead, work, turn))

        with self._lock:
            do = next(work, None) if turn == self._turn else None
        if do is not None:
            self._beside(do, go_on)

    def _beside(self, do: Callable[[], object], then: Callable[[], None]) -> None:
        """Do something that is kept for later, without holding up what is dragged meanwhile."""

        def quietly() -> None:
            with contextlib.suppress(Exception):  # it is told when it is asked for
                do()

        if self._loop is None:
            quietly()
            then()
        else:
            done = self._loop.run_in_executor(self._thread, quietly)
            done.add_done_callback(lambda _: then())

    def _ahead(self) -> Iterator[Callable[[], object]]:
        """What may be chosen next, the control in hand and the nearest values first."""
        trials, part = self._trials, self.controls.part.value
        for choices in next_choices(self.controls, trials.base, self.choices, self._touched):
            seen = self._seen(choices)
            yield partial(trials.song, choices)
            yield partial(trials.hands, choices, part)
            yield partial(trials.findings, choices)
            yield partial(self._drawn, *seen)


def _running_loop() -> asyncio.AbstractEventLoop | None:
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


def _later_on(loop: asyncio.AbstractEventLoop) -> Later:
    """Does things later on a loop, asked from any thread."""

    def later(seconds: float, do: Callable[[], None]) -> None:
        loop.call_soon_threadsafe(loop.call_later, seconds, do)

    return later


def _decided(song: Song, log: Path) -> tuple[Song, str]:
    """The song with the decisions of its log made, and what is to be told of them."""
    if not log.exists():
        return song, ""
    built = rebuild(song, read_decisions(log))
    told = f", {len(built.applied)} of them made here"
    if built.stale:
        told += f"; not made: {'; '.join(why for _, why in built.stale)}"
    return built.song, told


def _first_place(
    song: Song, findings: Any, part: str | None, section: str | None
) -> tuple[str, str]:
    """The part and section to begin with: where two guitars have most to listen to."""
    if part is not None:
        part_row(song, part)
    if section is not None:
        section_row(song, section)
    guitars = song.parts.loc[song.parts["family"] == "guitar", "part"].tolist()
    strung = [name for name in song.parts["part"] if has_strings(song, name)]
    able = guitars or strung or song.parts["part"].tolist()
    worth: dict[tuple[str, str], float] = {}
    for row in findings.itertuples():
        names = str(row.parts).split(" + ")
        weight = float(row.severity) * (1.0 if len(set(names) & set(able)) > 1 else _ALONE)
        for name in names:
            if name == part or (part is None and name in able):
                place = name, section or str(row.section)
                worth[place] = worth.get(place, 0.0) + weight * (place[1] == row.section)
    first = section or song.sections["section"].iloc[0]
    return max(worth, key=lambda each: worth[each]) if worth else (part or able[0], first)
