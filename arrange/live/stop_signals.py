"""The signals that end a server: Ctrl-C, ``kill``, a terminal that is closed."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator

STOPS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]


@contextlib.contextmanager
def ended_by_signals() -> Iterator[None]:
    """Let each of them end the block as Ctrl-C does, so that what it opened is closed."""
    before = {each: signal.signal(each, signal.default_int_handler) for each in STOPS}
    try:
        with contextlib.suppress(KeyboardInterrupt):
            yield
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
