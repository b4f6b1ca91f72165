"""A line that says how far long work has come, in a notebook or a terminal; nowhere else."""

from __future__ import annotations

import sys
import uuid
from collections.abc import Callable, Iterable, Iterator, Sized
from time import monotonic
from typing import TypeVar

from arrange.errors import running_shell
from arrange.text.words import counted

Item = TypeVar("Item")

_PATIENCE = 2.0  # seconds before anything is said
_EVERY = 0.5  # seconds between two lines


def steps(items: Iterable[Item], what: str, unit: str) -> Iterator[Item]:
    """Yield the items, and say which one is worked at once that takes longer than two seconds.

    Parameters
    ----------
    items : iterable
        Their number is said if it is known.
    what : str
        What is done: ``"Reading songs"``.
    unit : str
        What an item is: ``"song"``.
    """
    start, last, say = monotonic(), 0.0, None
    total = f" of {len(items)}" if isinstance(items, Sized) else ""
    try:
        for number, item in enumerate(items, 1):
            now = monotonic()
            if now - start >= _PATIENCE and now - last >= _EVERY:
                say, last = say or _place(), now
                say(f"{what}: {unit} {number}{total}, {now - start:.0f} s so far")
            yield item
    finally:
        if say is not None:
            say(f"{what}: done in {counted(f'{monotonic() - start:.0f}', 'second')}", is_end=True)


def _place() -> Callable[..., None]:
    """Where lines go: each takes the place of the one before."""
    shell = running_shell()
    if getattr(shell, "kernel", None) is not None:
        transient, shown = {"display_id": uuid.uuid4().hex}, list[bool]()

        def show(line: str, *, is_end: bool = False) -> None:  # noqa: ARG001
            data = {"text/plain": line}
            shell.display_pub.publish(data, {}, transient=transient, update=bool(shown))
            shown.append(True)

        return show
    return _write_line if sys.stderr is not None and sys.stderr.isatty() else _say_nothing


def _write_line(line: str, *, is_end: bool = False) -> None:
    """Write over the line before; the last one is taken away."""
    sys.stderr.write("\r\x1b[K" if is_end else f"\r\x1b[K{line}")
    sys.stderr.flush()


def _say_nothing(line: str, *, is_end: bool = False) -> None:
    """A file or a pipe gets no line."""
