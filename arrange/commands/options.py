"""What several commands share: the song, where to write, which stretch, which log, progress."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from arrange.errors import ArrangeError
from arrange.played_measures import parse_measures

_SLOW = 1_000_000  # bytes: from here on a reader may wonder whether anything happens


def add_command(commands: Any, name: str, run: Any, told: str, more: str) -> Any:
    """Add a command that reads a song; `told` in a few words, `more` in a sentence or two."""
    command = commands.add_parser(name, help=told, description=more)
    command.add_argument("file", metavar="IN", help="a song: .musicxml, .xml, .mxl, .mid or .txt")
    command.set_defaults(run=run)
    return command


def add_target(command: Any) -> None:
    """Add where a song is written to."""
    command.add_argument(
        "-o", "--output", metavar="OUT", required=True, help="a .musicxml, .mid or .txt"
    )
    command.add_argument("--overwrite", action="store_true", help="replace files that are there")


def add_stretch(command: Any) -> None:
    """Add a section or measures."""
    command.add_argument("--section", help="such as 'Chorus 1'")
    command.add_argument("--measures", metavar="FIRST-LAST", help="played measures, such as 21-24")


def add_log(command: Any) -> None:
    """Add the log of decisions."""
    command.add_argument(
        "--decisions", metavar="LOG", help="the log (default: beside IN, .decisions.txt)"
    )


def asked_measures(text: str | None) -> tuple[int, int] | None:
    """Return first and last measure as asked for by ``--measures``."""
    if text is None:
        return None
    try:
        return parse_measures(text)
    except ArrangeError as error:
        raise ArrangeError(f"--measures: {error}") from None


def progress(source: Path) -> Callable[[str], None]:
    """Return a function that reports steps on stderr, silent for files that take no time."""
    start = time.monotonic()
    is_slow = source.is_file() and source.stat().st_size > _SLOW // (
        10 if source.suffix == ".mxl" else 1
    )

    def tell(step: str) -> None:
        if is_slow or time.monotonic() - start > 1:
            print(f"arrange: {step} ({time.monotonic() - start:.1f} s)", file=sys.stderr)

    return tell
