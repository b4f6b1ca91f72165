"""The event loop of the kernel, and functions that run later on it."""

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
    """Return a function that does things later on a loop; it may be called from any thread."""

    def later(seconds: float, do: Callable[[], None]) -> None:
        loop.call_soon_threadsafe(loop.call_later, seconds, do)

    return later
