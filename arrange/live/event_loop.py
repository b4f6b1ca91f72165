"""Things done later on the event loop of the kernel, if there is one."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

Later = Callable[[float, Callable[[], None]], Any]  # does something after so many seconds


def running_loop() -> asyncio.AbstractEventLoop | None:
    """Return the loop that runs in this thread, if any."""
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


def later_on(loop: asyncio.AbstractEventLoop) -> Later:
    """Return what does things later on a loop, asked from any thread."""

    def later(seconds: float, do: Callable[[], None]) -> None:
        loop.call_soon_threadsafe(loop.call_later, seconds, do)

    return later
