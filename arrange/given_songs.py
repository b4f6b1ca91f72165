"""What is said where something else is given in place of a song or a songbook.

Each function that the package offers is asked through here, so that none needs a check of its own.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from functools import wraps
from typing import Any

from arrange.errors import ArrangeError, shown

_HOW = {
    "Song": "a song, such as arrange.read(path)",
    "Songbook": "a songbook, such as arrange.read_songbook(folder)",
}
_HERE = object()


def with_songs_checked(given: Any) -> Any:
    """Return a function that reports what is no song where it takes one; all else as it is.

    What a parameter takes is read from its annotation: ``Song``, or ``Song | SongFacts``.
    """
    if not inspect.isfunction(given):
        return given
    asked = [
        (place, name, kinds)
        for place, (name, own) in enumerate(inspect.signature(given).parameters.items())
        if (kinds := {kind.strip() for kind in str(own.annotation).split("|")}) & _HOW.keys()
        and "str" not in kinds  # a path: what cannot be read is reported as such
    ]
    return _checked(given, asked) if asked else given


def _checked(
    given: Callable[..., Any], asked: list[tuple[int, str, set[str]]]
) -> Callable[..., Any]:
    @wraps(given)
    def check(*args: Any, **named: Any) -> Any:
        for place, name, kinds in asked:
            value = args[place] if place < len(args) else named.get(name, _HERE)
            if value is not _HERE and not _is_one_of(value, kinds):
                raise ArrangeError(_words(given.__name__, value, kinds))
        return given(*args, **named)

    return check


def _is_one_of(value: Any, kinds: set[str]) -> bool:
    if value is None:
        return "None" in kinds
    names = {kind.rpartition(".")[2] for kind in kinds}
    return any(kind.__name__ in names for kind in type(value).__mro__)


def _words(function: str, value: Any, kinds: set[str]) -> str:
    wanted = next(how for kind, how in _HOW.items() if kind in kinds)
    what = shown(value) if isinstance(value, str | int | float | None) else type(value).__name__
    instead = ""
    if "Song" in kinds and _is_one_of(getattr(value, "song", None), {"Song"}):
        instead = "; its song is .song"
    return f"{function} was given {what}: give {wanted}{instead}"
