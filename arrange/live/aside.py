"""Work that is done aside, so that a view stays quick, and things that are done later."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any

from arrange.live.event_loop import Later, later_on, running_loop

Answer = Callable[[], Any]


class Aside:
    """Does work in a thread of its own where an event loop runs, else at once.

    Parameters
    ----------
    later : callable, optional
        Does something after so many seconds; the running event loop's if not given. Without a loop
        nothing is done later.
    """

    def __init__(self, later: Later | None = None) -> None:
        self._loop = None if later else running_loop()
        self._later = later_on(self._loop) if self._loop else later
        self._thread = ThreadPoolExecutor(max_workers=1)

    def later(self, seconds: float, do: Callable[[], None]) -> None:
        """Do something on the loop after so many seconds."""
        if self._later is not None:
            self._later(seconds, do)

    def do(self, work: Callable[[], Answer], then: Callable[[Answer], None]) -> None:
        """Do work aside, and pass on what it returns; an error is raised where that is called."""
        if self._loop is None:
            then(_answer(work))
        else:
            done = self._loop.run_in_executor(self._thread, _answer, work)
            done.add_done_callback(lambda each: then(each.result()))


def _answer(work: Callable[[], Answer]) -> Answer:
    try:
        return work()
    except Exception as error:
        return partial(_raise, error)


def _raise(error: Exception) -> None:
    raise error
