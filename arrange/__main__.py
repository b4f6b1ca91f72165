"""``python -m arrange`` and ``arrange``: the command."""

import importlib
import sys
from collections.abc import Sequence

INTERRUPTED = 130  # exit code, as shells have it


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit code."""
    try:
        return int(importlib.import_module("arrange.commands").main(arguments))
    except KeyboardInterrupt:  # while the package is loaded
        print("arrange: interrupted", file=sys.stderr)
        return INTERRUPTED


if __name__ == "__main__":
    sys.exit(main())
