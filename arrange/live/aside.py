"""Work done aside, so that a view stays quick: what takes longer, and what may be asked next."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any

SETTLE_SECONDS = 0.06  # without a change, after which sound is prepared
_REST_SECONDS = 0.3  # and after that, before anything is made ahead
_IDLE_SECONDS = 0.01  # between two things made ahead

Later = Callable[[float, Callable[[], None]], Any]  # does something after so many seconds
Work = Callable[[], object]
Answer = Callable[[], Any]


class Aside:
    """Does work in threads of its own where an event loop runs, else at once.

    Parameters
    ----------
    clock : callable, optional
        Does something after so many seconds; the running event loop's if not given. Without a loop
        nothing is done later.
    threads : int
    """

    def __init__(self, clock: Later | None = None, threads: int = 1) -> None:
        self._loop = None if clock else _running_loop()
        self.clock = _later_on(self._loop) if self._loop else clock
        self._threads = ThreadPoolExecutor(max_workers=threads)

    def later(self, seconds: float, do: Callable[[], None]) -> None:
        """Do something on the loop after so many seconds."""
        if self.clock is not None:
            self.clock(seconds, do)

    def do(self, work: Callable[[], Answer], then: Callable[[Answer], None]) -> None:
        """Do work aside, and pass on what it returns; an error is raised where that is called."""
        if self._loop is None:
            then(_answer(work))
        else:
            done = self._loop.run_in_executor(self._threads, _answer, work)
            done.add_done_callback(lambda each: then(each.result()))


class Ahead:
    """Prepares things once nothing has changed for a moment.

    Parameters
    ----------
    clock : callable, optional
        As of ``Aside``.
    first : callable
        Gives what is prepared first.
    then : callable
        Shows it.
    rest : callable
        Gives, once the user rests, one piece of work after the other.
    """

    def __init__(
        self,
        clock: Later | None,
        first: Callable[[], Work],
        then: Work,
        rest: Callable[[], Iterator[Work]],
    ) -> None:
        self._aside = Aside(clock, threads=2)  # sound need not wait
        self.clock, self.later = self._aside.clock, self._aside.later
        self._first, self._then, self._rest = first, then, rest
        self._turn = 0

    def wait(self) -> None:
        """Begin to wait; a newer change begins anew."""
        self._turn += 1
        self.later(SETTLE_SECONDS, partial(self.settle, self._turn))

    def settle(self, turn: int | None = None) -> None:
        """Prepare and show what comes first, unless something has changed since that turn."""
        turn = self._turn if turn is None else turn
        if turn != self._turn:
            return

        def show() -> None:
            if turn == self._turn and self.clock is not None:
                self._then()
                self.later(_REST_SECONDS, lambda: self._work_on(self._rest(), turn))

        self._beside(self._first(), show)

    def _work_on(self, work: Iterator[Work], turn: int) -> None:
        """Do one piece of work after another until the user makes a newer choice."""
        do = next(work, None) if turn == self._turn else None
        if do is not None:
            again = partial(self._work_on, work, turn)
            self._beside(do, lambda: self.later(_IDLE_SECONDS, again))

    def _beside(self, do: Work, then: Callable[[], None]) -> None:
        """Do work for later aside, so that dragging stays smooth."""

        def quietly() -> Answer:
            with contextlib.suppress(Exception):  # it is reported when it is asked for
                do()
            return then

        self._aside.do(quietly, lambda answer: answer())


def _running_loop() -> asyncio.AbstractEventLoop | None:
    """The loop that runs in this thread, if any."""
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


def _later_on(loop: asyncio.AbstractEventLoop) -> Later:
    """A function that does things later on a loop; it may be called from any thread."""

    def later(seconds: float, do: Callable[[], None]) -> None:
        loop.call_soon_threadsafe(loop.call_later, seconds, do)

    return later


def _answer(work: Callable[[], Answer]) -> Answer:
    try:
        return work()
    except Exception as error:
        return partial(_raise, error)


def _raise(error: Exception) -> None:
    raise error
