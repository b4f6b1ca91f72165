"""HTML in the view whose buttons are heard, drawn anew only where it has changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from arrange.text.markup import escape_html

_FOLDER = Path(__file__).parent


class Pane(anywidget.AnyWidget):  # type: ignore[misc]
    """Pieces of HTML, one below the other.

    An element with ``data-do`` says what pressing it does, and ``data-what`` to what; so do those
    that ``press`` makes. It also gives names and states to the widgets around it (``pane.js``).

    Parameters
    ----------
    pieces : sequence of str
    tips : dict
        What a control of the view does, by its label.
    """

    _esm = _FOLDER / "pane.js"
    pieces = traitlets.List(traitlets.Unicode()).tag(sync=True)
    tips = traitlets.Dict().tag(sync=True)

    def listen(self, do: Callable[[str, str], None]) -> None:
        """Do something with ``data-do`` and ``data-what`` of what is pressed."""

        def hear(_: Any, content: Any, __: Any) -> None:
            do(str(content.get("do", "")), str(content.get("what", "")))

        self.on_msg(hear)

    @property
    def value(self) -> str:
        """All of it."""
        return "".join(self.pieces)

    def show(self, pieces: Sequence[str]) -> None:
        """Show other pieces."""
        self.pieces = list(pieces)


def press(do: str, what: str, words: str, *, is_on: bool | None = None, more: str = "") -> str:
    """Return a button as HTML.

    Parameters
    ----------
    do, what : str
    words : str
        HTML.
    is_on : bool, optional
        Whether it is pressed; a button that does something once has no such state.
    more : str
        More attributes, HTML.
    """
    state = "" if is_on is None else f' aria-pressed="{str(is_on).lower()}"'
    return (
        f'<button type="button" data-do="{escape_html(do)}" data-what="{escape_html(what)}"'
        f"{state}{more}>{words}</button>"
    )
