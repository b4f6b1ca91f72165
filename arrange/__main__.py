"""``python -m arrange`` and ``arrange``: the command."""

import sys

from arrange.commands import main

if __name__ == "__main__":
    sys.exit(main())
