"""The widget on the screen: what it shows is sent to it, and what is pressed comes back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from arrange.live.controls import STYLE

_HERE = Path(__file__).parent


class LayersGrid(anywidget.AnyWidget):  # type: ignore[misc]
    """The grid with its controls and words; a message of what is pressed for each press.

    Parameters
    ----------
    frame : str
        HTML of all that stays.
    state : dict
        ``cells``, ``parts``, ``controls`` and ``at``, as `grid.js` takes them.
    progress : str
        What is being done meanwhile.
    """

    _esm = _HERE / "grid.js"
    _css = STYLE.read_text(encoding="utf-8") + (_HERE / "layers.css").read_text(encoding="utf-8")
    frame = traitlets.Unicode().tag(sync=True)
    progress = traitlets.Unicode().tag(sync=True)
    state = traitlets.Dict().tag(sync=True)

    def on_press(self, do: Callable[[dict[str, Any]], None]) -> None:
        """Do something with each message."""
        self.on_msg(lambda _widget, content, _buffers: do(content))
