"""The command ``arrange``, with a word for each thing that it does with a song.

``arguments`` has the arguments of all commands, ``shared_options`` what these share. Each stage of
the work has a file: ``measuring``, ``arranging``, ``handing_out``, ``opening``. A stage is loaded
when one of its commands runs, since what it needs takes long to load.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

from arrange.commands.arguments import command_parser
from arrange.errors import ArrangeError, ChartError, shortened

INTERRUPTED, CLOSED_PIPE = 130, 141  # 128 and the signal's number, as shells count


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit code: 0, 1 if `ready` finds something amiss, 2 for bad
    input, 130 if it was interrupted, 141 if nobody reads what it prints.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a name that the terminal cannot show is shown in part
            stream.reconfigure(errors="backslashreplace")
    try:
        try:
            return _run(arguments)
        finally:
            if sys.stdout:
                sys.stdout.flush()  # a closed pipe is noticed here, not while Python ends
    except KeyboardInterrupt:
        print("arrange: interrupted; files that were not whole yet are gone", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        _end_output()
        return CLOSED_PIPE
    except OSError as error:  # for example a full disk that the output goes to
        _end_output()
        name = f"{shortened(error.filename)}: " if error.filename else ""
        print(f"arrange: {name}{error.strerror or error}", file=sys.stderr)
        return 2


def _end_output() -> None:
    """Print to nowhere from now on: Python flushes its output at the end, which must not fail."""
    if sys.stdout:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _run(arguments: Sequence[str] | None) -> int:
    options = command_parser().parse_args(arguments)
    stage = importlib.import_module(f"arrange.commands.{options.stage}")
    try:
        return int(getattr(stage, f"run_{options.command.replace('-', '_')}")(options))
    except ChartError as error:
        print(f"arrange: {shortened(options.file)} has faults:\n{error}", file=sys.stderr)
    except ArrangeError as error:
        print(f"arrange: {' '.join(str(error).split())}", file=sys.stderr)
    return 2
