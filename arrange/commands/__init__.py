"""The command: ``arrange``, a word for each thing that it does with a song.

One file a stage of the work: ``measuring``, ``arranging``, ``handing_out``, ``opening``. In each
a function ``add_...`` tells a command's options and what runs; ``options`` is what they share.
"""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence

from arrange.commands import arranging, handing_out, measuring, opening
from arrange.errors import ArrangeError, ChartError


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit code: 0, 1 if `ready` finds something amiss, or 2 for
    bad input.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a file's name may hold what a page cannot
            stream.reconfigure(errors="backslashreplace")
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except ChartError as error:
        print(f"arrange: {options.file} has faults:\n{error}", file=sys.stderr)
        return 2
    except ArrangeError as error:
        print(f"arrange: {' '.join(str(error).split())}", file=sys.stderr)
        return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="arrange", description="Study guitar parts: see where two get in each other's way."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for add in (
        measuring.add_study, measuring.add_songbook, measuring.add_convert,
        arranging.add_revoice, arranging.add_condense, arranging.add_rebuild,
        handing_out.add_handout, handing_out.add_listen, handing_out.add_workshop,
        opening.add_lab, opening.add_page, opening.add_ready,
    ):  # fmt: skip
        add(commands)
    return parser
