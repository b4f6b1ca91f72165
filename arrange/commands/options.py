"""What several commands share: the song, where to write, which stretch, which log, numbers."""

from __future__ import annotations

import argparse
import textwrap
from typing import Any, NoReturn

from arrange.errors import ArrangeError, shortened

_HELP_WIDTH = 78  # columns
_LONGEST_VALUE = 40  # signs of an option's value that a message shows
_LONGEST_NUMBER = 18  # digits


class CommandParser(argparse.ArgumentParser):
    """A parser that says in one line what is wrong with the options."""

    def error(self, message: str) -> NoReturn:
        """End with the exit code 2."""
        told = shortened(" ".join(message.split()), 200)
        self.exit(2, f"{self.prog}: {told}; see {self.prog} --help\n")


def add_command(
    commands: Any, name: str, run: Any, told: str, more: str, example: str, *, song: bool = True
) -> Any:
    """Add a command: `told` in a few words, `more` in a sentence or two, an example that runs.

    If `song`, it reads one.
    """
    command = commands.add_parser(
        name, help=told, description=textwrap.fill(more, _HELP_WIDTH),
        epilog=f"example:\n  arrange {name} {example}",  # in one line, so that it can be copied
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    if song:
        command.add_argument(
            "file", metavar="IN", help="a song: .musicxml, .xml, .mxl, .mid or .txt"
        )
    command.set_defaults(run=run)
    return command


def add_target(command: Any) -> None:
    """Add where a song is written to."""
    command.add_argument(
        "-o", "--output", metavar="OUT", required=True, type=path_text,
        help="a .musicxml, .mid or .txt",
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


def path_text(text: str) -> str:
    """Return a path as given; an empty one, such as from a variable not set, is refused."""
    if not text:
        raise argparse.ArgumentTypeError("the name is empty")
    return text


def whole_number(text: str) -> int:
    """Return the number of an option; its limits belong to what uses it."""
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


def parse_measures(text: str | None) -> tuple[int, int] | None:
    """Return first and last measure of ``FIRST-LAST``, or of a single number."""
    if text is None:
        return None
    first, _, last = text.partition("-")
    try:
        return whole_number(first), whole_number(last or first)
    except argparse.ArgumentTypeError:
        raise ArrangeError(
            f"--measures {shortened(text, _LONGEST_VALUE)!r}: write FIRST-LAST, such as 21-24"
        ) from None
