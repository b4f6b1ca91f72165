"""The field or choices of an exercise, its buttons and its reply, as widgets.

A reply is about the answer that stands in the field at that moment; as soon as the field changes,
the reply is gone. A reply is an alert (WAI-ARIA 1.2), so that a screen reader speaks it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import ipywidgets as widgets
from IPython.display import display

from arrange.exercises.replies import Reply
from arrange.text.markup import escape_html
from arrange.text.words import counted

PRINTED = "arrange-exercise-printed"  # class of the text for where there are no widgets
STYLE = Path(__file__).with_name("asking.css")
# While a change is on its way, a browser keeps the next one back, but no click or key: the last
# letters of an answer may come after the request to check. So if the answer changed this shortly
# before a check, in seconds, the first change this shortly after it is checked too.
_ON_THE_WAY = 1.5


class AnswerForm:
    """What a notebook shows of an exercise; ``view`` is the widget.

    Parameters
    ----------
    task : str
        What is asked, as HTML.
    choices : sequence of (str, str)
        Each as it is shown, and the answer that it stands for. Without any there is a field.
    hints : sequence of str
    check : callable
        Gives the reply to an answer.
    solution : callable
        Gives a right answer and the reason.
    """

    def __init__(
        self,
        task: str,
        choices: Sequence[tuple[str, str]],
        hints: Sequence[str],
        check: Callable[[str], Reply],
        solution: Callable[[], Reply],
    ) -> None:
        self._hints, self._check, self._solution = hints, check, solution
        self._hinted, self._edited_at, self._late_until = 0, -_ON_THE_WAY, 0.0
        wide = widgets.Layout(width="auto", max_width="34em")
        # A button of its own for each choice, since a notebook takes the arrow keys for itself.
        self.fields = [
            widgets.RadioButtons(options=[choice], value=None, layout=wide) for choice in choices
        ] or [widgets.Text(description="Answer", layout=wide)]
        for field in self.fields:
            field.observe(self._edited, "value")
            field.on_msg(self._key)
        self.buttons = [
            _button("Check", "Is the answer right?", self.check),
            _button("Hint", "A little help", self.hint),
            _button("Show", "A right answer, and why", self.show),
        ]
        self.hinted, self.replied = widgets.HTML(), widgets.HTML()
        style = widgets.HTML(f"<style>{STYLE.read_text(encoding='utf-8')}</style>")
        style.layout.display = "none"
        self.view = widgets.VBox(
            [style, widgets.HTML(task), *self.fields, widgets.HBox(self.buttons), self.hinted,
             self.replied]
        )  # fmt: skip
        self.view.add_class("arrange-exercise")

    def display(self, printed: dict[str, str]) -> None:
        """Show the text for where there are no widgets, and the widget, which hides that text."""
        display(printed, raw=True)
        display(self.view._repr_mimebundle_() | {"text/plain": ""}, raw=True)

    @property
    def answer(self) -> str:
        """What is typed or chosen now."""
        return next((field.value for field in self.fields if field.value), "")

    def check(self, *_: Any) -> None:
        """Check what is typed or chosen now, and show the reply."""
        is_fresh = time.monotonic() < self._edited_at + _ON_THE_WAY
        self._reply(self._judge)
        self._late_until = time.monotonic() + _ON_THE_WAY if is_fresh else 0.0

    def hint(self, *_: Any) -> None:
        """Show one hint more."""
        self._hinted = min(self._hinted + 1, len(self._hints))
        shown = [f"<li>{escape_html(hint)}</li>" for hint in self._hints[: self._hinted]]
        left = len(self._hints) - self._hinted
        more = f"{counted(left, 'hint')} left." if left else "There is no other hint."
        self.hinted.value = f'<div role="alert"><ol class="hints">{"".join(shown)}</ol>{more}</div>'

    def show(self, *_: Any) -> None:
        """Show a right answer and the reason."""
        self._late_until = 0.0
        self._reply(self._solution)

    def _key(self, _: Any, content: dict[str, Any], __: Any) -> None:
        if content.get("event") == "submit":
            self.check()

    def _edited(self, change: Any) -> None:
        if not change["new"] and len(self.fields) > 1:
            return  # another choice was chosen
        for field in self.fields:
            if field is not change["owner"]:
                field.value = None
        now = time.monotonic()
        if now < self._late_until:
            self._reply(self._judge)
        elif self.replied.value:
            self.replied.value = '<p class="changed">The answer has changed: press Check.</p>'
        self._edited_at, self._late_until = now, 0.0

    def _judge(self) -> Reply:
        """The reply to what is typed or chosen now."""
        if not self.answer and isinstance(self.fields[0], widgets.RadioButtons):
            return Reply(False, "No answer yet: choose one.")
        return self._check(self.answer)

    def _reply(self, judge: Callable[[], Reply]) -> None:
        """Show a reply, and until then that it is on its way: some answers take seconds."""
        self.replied.value = '<p class="changed">One moment …</p>'
        self.replied.value = f'<div role="alert">{judge()._repr_html_()}</div>'


def _button(words: str, tooltip: str, do: Callable[..., None]) -> Any:
    button = widgets.Button(description=words, tooltip=tooltip, layout=widgets.Layout(width="auto"))
    button.on_click(do)
    return button
