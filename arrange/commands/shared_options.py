"""Options that several commands share: the song, where to write, which stretch, which log,
numbers; and the progress that they report.
"""

from __future__ import annotations

import argparse
import os
import sys
import textwrap
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

from arrange.errors import ArrangeError, shortened
from arrange.formats.suffixes import READ_SUFFIXES, WRITTEN_SUFFIXES
from arrange.tables.played_measures import parse_measures

_SLOW = 1_000_000  # bytes: reading a larger file takes so long that progress is shown
_HELP_WIDTH = 78  # columns
_LONGEST_VALUE = 40  # characters of an option's value that a message shows
_LONGEST_NUMBER = 18  # digits


class CommandParser(argparse.ArgumentParser):
    """A parser that says in one line what is wrong with the options."""

    def error(self, message: str) -> NoReturn:
        """End with the exit code 2."""
        problem = shortened(" ".join(message.split()), 200)
        self.exit(2, f"{self.prog}: {problem}; see {self.prog} --help\n")


def add_command(
    commands: Any, name: str, stage: str, short: str, more: str, example: str, *, song: bool = True
) -> Any:
    """Add a command to those of the parser, and return it.

    Parameters
    ----------
    commands : the parser's commands
    name : str
    stage : str
        The module of ``arrange.commands`` that does it, in its function ``run_...``.
    short, more : str
        What it does: in a few words, and in a sentence or two.
    example : str
        Arguments that run in a clone of this repository.
    song : bool
        Whether it reads one song.
    """
    command = commands.add_parser(
        name, help=short, description=textwrap.fill(more, _HELP_WIDTH),
        epilog=f"example:\n  arrange {name} {example}",  # in one line, so that it can be copied
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    if song:
        command.add_argument("file", metavar="IN", help=f"a song: {', '.join(READ_SUFFIXES)}")
    command.set_defaults(stage=stage)
    return command


def add_target(command: Any, *, needed: bool = True) -> None:
    """Add where a song is written to."""
    command.add_argument(
        "-o", "--output", metavar="OUT", required=needed, type=path_text,
        help=f"one of {', '.join(WRITTEN_SUFFIXES)}",
    )  # fmt: skip
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
    is_slow = os.path.isfile(source) and source.stat().st_size > _SLOW // (
        10 if source.suffix == ".mxl" else 1
    )

    def show(step: str) -> None:
        if is_slow or time.monotonic() - start > 1:
            print(f"arrange: {step} ({time.monotonic() - start:.1f} s)", file=sys.stderr)

    return show


def path_text(text: str) -> str:
    """Return a path as given; refuse an empty one, such as from a variable that is not set."""
    if not text:
        raise argparse.ArgumentTypeError("the name is empty")
    return text


def whole_number(text: str) -> int:
    """Return the number of an option; the code that uses it checks its limits."""
    digits = text.removeprefix("-").removeprefix("+")
    if not digits.isdecimal():
        raise argparse.ArgumentTypeError(
            f"{shortened(text, _LONGEST_VALUE)!r} is not a whole number"
        )
    if len(digits) > _LONGEST_NUMBER:
        raise argparse.ArgumentTypeError(
            f"{shortened(text, _LONGEST_VALUE)} has too many digits; at most {_LONGEST_NUMBER}"
        )
    return int(text)


def decimal_number(text: str) -> float:
    """Return the number of an option, which may have a fraction."""
    try:
        return float(text)
    except ValueError:
        shown = shortened(text, _LONGEST_VALUE)
        raise argparse.ArgumentTypeError(f"{shown!r} is not a number") from None
