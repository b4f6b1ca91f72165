"""What a page needs to play its song: the sound as JSON, a script and the look of its buttons.

A page has it at the end of its body and gives its sections ``data-section``, a JSON list of the
labels that are printed there as one; ``sheet_player.js`` says the rest. The page stays as it is
where there is no script or no sound.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import jinja2

_FOLDER = Path(__file__).parent


def player_html(sound: Mapping[str, Any], part: str | None = None) -> str:
    """Return elements for the end of a page's body.

    Parameters
    ----------
    sound : mapping
        As ``song_sound`` gives it.
    part : str, optional
        The part that can be heard alone; none on a page for everybody.
    """
    return _template().render(sound={"own": part, **sound}, style=_text("css"), script=_text("js"))


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    environment.policies["json.dumps_kwargs"] = {"separators": (",", ":"), "allow_nan": False}
    return environment.from_string(_text("html"))


@cache
def _text(suffix: str) -> str:
    return (_FOLDER / f"sheet_player.{suffix}").read_text(encoding="utf-8")
