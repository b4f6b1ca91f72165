"""Work for later: what may be heard and chosen next is made while nobody waits for it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial

from arrange.live.event_loop import Later, later_on, running_loop

SETTLE_SECONDS = 0.06  # without a change, after which sound is prepared
_REST_SECONDS = 0.3  # and after that, before anything is made ahead
_IDLE_SECONDS = 0.01  # between two things made ahead

Work = Callable[[], object]


class Ahead:
    """Prepares things once nothing has changed for a moment.

    Parameters
    ----------
    later : callable, optional
        Does something after so many seconds; the running event loop's if not given. Without a
        loop nothing is made ahead.
    first : callable
        Gives what is prepared first.
    then : callable
        Shows it.
    rest : callable
        Gives, once the user rests, one piece of work after the other.
    """

    def __init__(
        self,
        later: Later | None,
        first: Callable[[], Work],
        then: Work,
        rest: Callable[[], Iterator[Work]],
    ) -> None:
        self._loop = None if later else running_loop()
        self.later = later_on(self._loop) if self._loop else later
        self._first, self._then, self._rest = first, then, rest
        self._pool = ThreadPoolExecutor(max_workers=2)  # sound need not wait
        self._turn = 0

    def wait(self) -> None:
        """Begin to wait; a newer change begins anew."""
        self._turn += 1
        if self.later is not None:
            self.later(SETTLE_SECONDS, partial(self.settle, self._turn))

    def settle(self, turn: int | None = None) -> None:
        """Prepare and show what comes first, unless something has changed since that turn."""
        turn = self._turn if turn is None else turn
        if turn != self._turn:
            return

        def show() -> None:
            if turn == self._turn and self.later is not None:
                self._then()
                self.later(_REST_SECONDS, lambda: self._work_on(self._rest(), turn))

        self._beside(self._first(), show)

    def _work_on(self, work: Iterator[Work], turn: int) -> None:
        """Do one piece of work after another until the user makes a newer choice."""

        def go_on() -> None:
            if self.later is not None:
                self.later(_IDLE_SECONDS, partial(self._work_on, work, turn))

        do = next(work, None) if turn == self._turn else None
        if do is not None:
            self._beside(do, go_on)

    def _beside(self, do: Work, then: Work) -> None:
        """Do work for later in a thread, so that dragging stays smooth."""

        def quietly() -> None:
            with contextlib.suppress(Exception):  # it is reported when it is asked for
                do()

        if self._loop is None:
            quietly()
            then()
        else:
            done = self._loop.run_in_executor(self._pool, quietly)
            done.add_done_callback(lambda _: then())
