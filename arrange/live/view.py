"""The live view of two parts: choices are shown at once, played, recorded and taken back."""

from __future__ import annotations

import contextlib
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import numpy as np
from IPython.display import display

from arrange.errors import ArrangeError, LogChangedError
from arrange.live.aside import Ahead, Later, Work
from arrange.live.choices import Choices
from arrange.live.controls import (
    PLAYED,
    fill,
    fill_parts,
    layout,
    make_controls,
    next_choices,
    read_controls,
)
from arrange.live.decided_song import (
    AGREED_AGAIN,
    TAKEN_BACK,
    StatusChange,
    log_changes,
    log_html,
    recorded_words,
)
from arrange.live.findings_list import Found
from arrange.live.kept_view import KeptView, keep_view, kept_path, kept_view
from arrange.live.moment_sound import Bars, moments
from arrange.live.pane import Pane
from arrange.live.picture_cache import Seen
from arrange.live.results_cache import first_place
from arrange.live.saved_picture import SavedPicture
from arrange.live.standing import Standing
from arrange.live.steps import Step, Steps
from arrange.tables.song import Song
from arrange.text.markup import escape_html
from arrange.text.words import bars_words

# A browser holds a slider's last message back until the one before is done, so that a button
# pressed later may be heard first. A button therefore waits for that message, and messages of that
# slider right afterwards are no choice. A hand takes longer from a button to a slider.
_BUTTON_SECONDS = 0.15
_LATE_SECONDS = 0.6
_ONE_STEP_SECONDS = 1.0  # changes of one control nearer than that are undone together


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
        # A kernel may hear the widgets in another thread than the one in which the cell was run.
        self._lock = threading.RLock()
        self._filler = 0
        self._is_filling = False
        self._stand = Standing(song, log)
        self._ahead = Ahead(later, self._sound_work, self._settled, self._coming)
        kept = None if part or section else kept_view(kept_path(log), self._song)
        if kept is None:
            part, section = first_place(self._song, self._stand.results.whole, part, section)
            self.choices = Choices(section)
        else:
            part, self.choices = kept.part, kept.choices
        self.controls = make_controls(self._song, self.choices.section, part)
        self.picture, self.words, self.shown_log = Pane(), widgets.HTML(), widgets.HTML()
        self.words.add_class("words")
        self.player = widgets.Box(layout=widgets.Layout(flex="2 1 18em"))
        self._steps = Steps[Choices]()
        self._since = Choices(self.choices.section)
        self._looked_at = ""
        self._own_moment: Bars | None = None
        self._touched, self._touched_at = "", -np.inf
        self._late, self._late_until = "", -np.inf
        self._heard = "after"
        self._sounding: Any = None  # what the player has
        self._is_moved = False  # by the user, so that there is something to keep
        self._saved: SavedPicture | None = None
        self.widget = layout(self.controls, self.picture, self.player, self.words, self.shown_log)
        self._fill()
        if kept is not None:
            self._go_on_from(kept)
        self._listen_to_controls()
        self._show()
        self._show_log()

    def _repr_mimebundle_(self, **options: Any) -> Any:
        return self.widget._repr_mimebundle_(**options)

    def _ipython_display_(self) -> None:
        display(self.widget)  # type: ignore[no-untyped-call]
        self._saved = SavedPicture(self.picture.pieces)

    @property
    def _song(self) -> Song:
        return self._stand.results.base

    def _go_on_from(self, kept: KeptView) -> None:
        """Show what was seen last; Undo leads to the section as written."""
        looking = self.controls.looking
        if kept.beside in looking.beside.options:
            looking.beside.value = kept.beside
        if not self.choices.is_as_written:
            self._steps.leave(self._since)

    # What the controls do

    def _listen_to_controls(self) -> None:
        looking, listening = self.controls.looking, self.controls.listening
        for name, each in vars(self.controls.choosing).items():
            each.observe(self._safely(partial(self._choose, name)), "value")
        looking.section.observe(self._safely(partial(self._choose, "section")), "value")
        for name in ("part", "beside", "only"):
            turn = self._safely(partial(self._turn_to, name))
            getattr(looking, name).observe(turn, "value")
        listening.moment.observe(self._safely(self._show), "value")
        listening.everyone.observe(self._safely(self._ahead.wait), "value")
        for name in ("reset", "undo", "redo", "record"):
            button = getattr(self.controls.deciding, name)
            button.on_click(self._by_button(getattr(self, name)))
        for name in PLAYED:
            getattr(listening, name).on_click(self._by_button(partial(self.hear, name)))
        self.picture.listen(lambda do, what: self._safely(partial(self._press, do, what))(None))

    def _safely(self, do: Work) -> Callable[[Any], None]:
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

    def _do_on_known_log(self, do: Work) -> None:
        """Do something; if somebody else has written in the log, show that instead."""
        try:
            do()
        except LogChangedError:
            before = self._stand.log
            self._stand.read_again()
            self._go_to(self.choices)
            self._show_log()
            changes = log_changes(before, self._stand.log) or "its text was edited"
            self._say(
                f"Somebody else has written in the log since ({changes}). The picture and the "
                "figures stand on that now; nothing of yours was written. If it still holds, "
                "press the button again."
            )

    def _by_button(self, do: Work) -> Callable[[Any], None]:
        """A handler that waits for the sliders' remaining messages."""
        safe = self._safely(do)

        def press(_: Any) -> None:
            if self._ahead.clock is None:
                safe(None)
            else:
                self._ahead.later(_BUTTON_SECONDS, lambda: safe(None))

        return press

    def _choose(self, name: str) -> None:
        chosen = read_controls(self.controls, self._song, self.choices)
        if chosen == self.choices:
            return
        now = time.monotonic()
        if name == self._late and now < self._late_until:
            self._fill()
            return
        if name != self._touched or now - self._touched_at > _ONE_STEP_SECONDS:
            self._leave()
        self._touched, self._touched_at, self._is_moved = name, now, True
        is_elsewhere = chosen.section != self.choices.section
        self.choices = chosen
        if is_elsewhere:
            self._looked_at, self._own_moment = "", None
            self._fill()
        self._show()

    def _leave(self, decision: str = "") -> None:
        """Keep what is left for something new, so that Undo goes back to it."""
        self._steps.leave(self.choices, decision)
        self._since = self.choices

    def _turn_to(self, name: str) -> None:
        self._touched = ""
        if name == "part":
            self._fill()
        self._show()

    def _press(self, do: str, what: str) -> None:
        """Do what a place in the picture stands for."""
        if do == "section" and what.isdecimal() and int(what) < len(self._song.sections):
            section = self._song.sections["section"].iloc[int(what)]
            self.controls.looking.section.value = section  # as if chosen in the menu
        elif do == "bar" and what.isdecimal():
            moment = self.controls.listening.moment
            bars = [value for _, value in moment.options if value[0] <= int(what) <= value[1]]
            if bars:
                self._listen_at(bars[0])
                self._show()
        elif do in ("look", "hear"):
            found = next((each for each in self._found() if each.key == what), None)
            if found is not None:
                self._look_at(found, do == "hear")

    def _look_at(self, found: Found, hears: bool) -> None:
        """Mark a finding, or no longer, and take its bars as the moment."""
        is_new = hears or found.key != self._looked_at
        self._looked_at = found.key if is_new else ""
        if is_new:
            self._listen_at(found.bars)
        self._show()
        if hears:
            self.hear("before" if found.state == "ended" else "after")

    def _listen_at(self, bars: Bars) -> None:
        """Take these bars as the moment that is heard."""
        last = self.controls.listening.moment.options[-1][1][1]  # of the whole section
        self._own_moment = bars[0], min(bars[1], last)
        self._fill()
        with self._filling():
            self.controls.listening.moment.value = self._own_moment

    def _found(self) -> tuple[Found, ...]:
        return self._stand.pictures.found(self.choices, self._since)

    def reset(self) -> None:
        """Choose nothing."""
        if not self.choices.is_as_written:
            self._leave()
        self._go_to(Choices(self.choices.section))

    def undo(self) -> None:
        """Go one step back; a decision that was recorded in it is taken back in the log."""
        self._walk("undo", self._steps.past, self._steps.back, TAKEN_BACK)

    def redo(self) -> None:
        """Go on again to what was undone; a decision that was taken back is agreed again."""
        self._walk("redo", self._steps.coming, self._steps.on, AGREED_AGAIN)

    def _walk(
        self,
        what: str,
        steps: list[Step[Choices]],
        walk: Callable[[Choices], Choices],
        change: StatusChange,
    ) -> None:
        if not steps:
            self._say(f"There is nothing to {what}.")
            return
        decision, said, is_done = steps[-1].decision, "", False
        if decision:
            is_done = self._stand.change(decision, change)
            said = change.said(is_done)
            self._show_log()
        choices = walk(self.choices)
        # The same notes are then decided instead of chosen, or the other way round.
        self._since = choices if is_done else self.choices
        self._go_to(choices, said)

    def _go_to(self, choices: Choices, said: str = "") -> None:
        late, self._touched = self._touched, ""
        self.choices, self._since = (each.that_fit(self._song) for each in (choices, self._since))
        self._is_moved = True
        self._fill()
        self._show(said)
        self._late, self._late_until = late, time.monotonic() + _LATE_SECONDS

    def record(self) -> None:
        """Write the choices into the log, with the figures before and after."""
        if self.choices.is_as_written:
            self._say("Nothing is chosen yet: move something first, then record it.")
            return
        choices, log, why = self.choices, self._stand.log, self.controls.deciding.why
        decision = self._stand.record(choices, why.value.strip() or "tried in the live view")
        self._leave(decision.id)
        why.value = ""
        self._since = Choices(choices.section)  # the decision stands as written now
        self._go_to(self._since)
        self._show_log()
        others = log_changes(log, self._stand.log, decision.id)
        self._say(recorded_words(decision, bool(choices.parts), others))

    # What is seen

    @contextlib.contextmanager
    def _filling(self) -> Iterator[None]:
        """Change controls without that being a choice by the user."""
        self._is_filling, self._filler = True, threading.get_ident()
        try:
            yield
        finally:
            self._is_filling = False

    def _fill(self) -> None:
        """Set the controls to the choices."""
        with self._filling():
            fill_parts(self.controls.looking, self._song)
            fill(self.controls, self._song, self.choices)
            section, moment = self.choices.section, self.controls.listening.moment
            before = self._stand.results.findings(Choices(section))
            bars, strongest = moments(self._song, section, before)
            own = self._own_moment
            if own and own not in dict(bars).values():
                bars.insert(-1, (bars_words(range(own[0], own[1] + 1)), own))
            if list(moment.options) != bars:
                heard, values = moment.value, [value for _, value in bars]
                moment.options = bars
                moment.value = heard if heard in values else strongest

    def _show(self, said: str = "") -> None:
        """Show what is chosen, and then prepare what may be heard and chosen next."""
        pieces, words = self._stand.pictures.drawn(self._seen(self.choices, self._since))
        self.picture.show(pieces)
        self._say(f"{said} {words}".strip())
        self._ahead.wait()

    def _seen(self, choices: Choices, since: Choices) -> Seen:
        looking, moment = self.controls.looking, self.controls.listening.moment.value
        if choices.section != self.choices.section:
            before = self._stand.results.findings(Choices(choices.section))
            moment = moments(self._song, choices.section, before)[1]
        only = looking.only.value
        return Seen(choices, since, self._pair(), moment, only, self._looked_at)

    def _pair(self) -> tuple[str, ...]:
        looking = self.controls.looking
        both = looking.part.value, looking.beside.value
        return tuple(part for part in both if part is not None)

    def _say(self, words: str) -> None:
        self.words.value = f'<div role="status">{escape_html(words)}</div>' if words else ""

    def _say_problem(self, words: str, details: str = "") -> None:
        more = f"<details><summary>Details</summary><pre>{escape_html(details)}</pre></details>"
        self.words.value = (
            f'<div class="problem" role="alert">{escape_html(words)}{more if details else ""}</div>'
        )

    def _show_log(self) -> None:
        self.shown_log.value = log_html(self._stand.decided, self.log)

    # What is heard

    def hear(self, what: str) -> None:
        """Play the moment: ``before``, ``after``, ``each`` alone, ``both`` one after the other."""
        self._heard = what
        for name in PLAYED:
            button = getattr(self.controls.listening, name)
            button.button_style = "info" if name == what else ""
        self._set_sound(autoplay=True)

    def _moment(self) -> tuple[Choices, Bars, tuple[str, ...], bool, str]:
        one = self.controls.listening
        return self.choices, one.moment.value, self._pair(), one.everyone.value, self._heard

    def _sound_work(self) -> Work:
        return partial(self._stand.sound, *self._moment())

    def _set_sound(self, autoplay: bool) -> None:
        """Give the player what is to be heard, unless it has that and need not begin anew."""
        sounding = self._stand.sound, self._moment()
        if sounding == self._sounding and not autoplay:
            return
        data = self._stand.sound(*self._moment())
        self._sounding = sounding
        old = self.player.children
        self.player.children = (
            widgets.Audio(value=data, format="wav", autoplay=autoplay, loop=False, controls=True,
                          layout=widgets.Layout(width="100%")),
        )  # fmt: skip
        for each in old:
            each.close()

    # What is done at rest

    def _settled(self) -> None:
        self._safely(partial(self._set_sound, False))(None)

    def _coming(self) -> Iterator[Work]:
        """Keep what is seen; then make what may be chosen next, first with the control in use."""
        with self._lock:
            stand, looking = self._stand, self.controls.looking
            kept = KeptView(looking.part.value, looking.beside.value, self.choices)
            coming = [*next_choices(self.controls, self._song, self.choices, self._touched)]
            if self._saved is not None:
                self._saved.show(self.picture.pieces)
        if self._is_moved:
            yield partial(keep_view, kept_path(self.log), kept)
        for choices in coming:
            yield partial(stand.results.song, choices)
            yield partial(stand.results.hands, choices, kept.part)
            yield partial(stand.results.findings, choices)
            yield partial(self._draw_ahead, choices)

    def _draw_ahead(self, choices: Choices) -> None:
        self._stand.pictures.drawn(self._seen(choices, self.choices))
