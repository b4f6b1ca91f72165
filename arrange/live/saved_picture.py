"""The last picture as plain HTML in the notebook, where it is seen when no kernel runs.

It stands below the live view and is hidden as long as that is there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from IPython.display import display

from arrange.live.controls import STYLE

# A view whose kernel is gone is an error, or still to come; the saved picture takes its place.
_HIDE = """
.jp-OutputArea:has(.arrange-live:not(.arrange-saved)) .arrange-saved { display: none; }
.jp-OutputArea:not(:has(.arrange-live:not(.arrange-saved)))
  > .jp-OutputArea-child:has(+ .jp-OutputArea-child .arrange-saved) { display: none; }
"""


class SavedPicture:
    """A copy of what a view shows.

    Parameters
    ----------
    pieces : sequence of str
        HTML.
    """

    def __init__(self, pieces: Sequence[str]) -> None:
        self._pieces = tuple(pieces)
        self._place: Any = _display(_html(pieces), display_id=True)

    def show(self, pieces: Sequence[str]) -> None:
        """Save other pieces."""
        if tuple(pieces) != self._pieces:
            self._pieces = tuple(pieces)
            self._place.update({"text/html": _html(pieces)}, raw=True)


def _display(html: str, **more: Any) -> Any:
    return display({"text/html": html}, raw=True, **more)  # type: ignore[no-untyped-call]


def _html(pieces: Sequence[str]) -> str:
    style = STYLE.read_text(encoding="utf-8")
    # Its buttons have nobody to hear them.
    body = "".join(pieces).replace("<button ", "<button disabled ")
    return (
        f'<div class="arrange-live arrange-saved"><style>{style}{_HIDE}</style>'
        "<p><i>This is the picture as it was last. Run the cell to go on from it.</i></p>"
        f"{body}</div>"
    )
