"""What opens something on this machine: ``lab``, ``page``; and ``ready``, which checks it."""

from __future__ import annotations

import argparse
import importlib
from typing import Any

from arrange.commands.options import add_command, whole_number


def add_lab(commands: Any) -> None:
    """Add ``lab``."""
    command = add_command(
        commands, "lab", _lab, "open the lessons, or a song's live view, in JupyterLab",
        "Open JupyterLab on the lessons; or, with a song, on a notebook beside it that holds its "
        "live view.",
        "datasets/low-water.musicxml", song=False,
    )  # fmt: skip
    command.add_argument("file", metavar="IN", nargs="?", help="a song; the lessons if not given")
    command.add_argument("--no-browser", action="store_true", help="only tell the address")


def add_page(commands: Any) -> None:
    """Add ``page``."""
    command = add_command(
        commands, "page", _page, "serve a song's live view as a page without code",
        "Serve the live view of a song on this machine as a page without code, until stopped with "
        "Ctrl-C. Decisions are recorded beside the song. Turn the volume down before you play.",
        "datasets/low-water.musicxml --no-browser",
    )  # fmt: skip
    command.add_argument("--port", type=whole_number, help="the port (default: a free one)")
    command.add_argument("--dark", action="store_true", help="light on dark")
    command.add_argument("--no-browser", action="store_true", help="only tell the address")


def add_ready(commands: Any) -> None:
    """Add ``ready``."""
    command = add_command(
        commands, "ready", _ready, "check this machine the evening before a workshop",
        "Check what a workshop needs: Python and packages, notebooks, sound, a printed "
        "page, the song, free disk. Ends with 0 if all that it needs is there, else with 1.",
        "datasets/low-water.musicxml", song=False,
    )  # fmt: skip
    command.add_argument("file", nargs="?", metavar="IN", help="the song (default: the demo song)")


def _lab(options: argparse.Namespace) -> int:
    # What shows widgets is slow to load; the other commands go without.
    serving = importlib.import_module("arrange.live.serving")
    serving.open_lab(options.file, opens=not options.no_browser)
    return 0


def _page(options: argparse.Namespace) -> int:
    serving = importlib.import_module("arrange.live.serving")
    opens = not options.no_browser
    serving.serve_page(options.file, port=options.port, opens=opens, dark=options.dark)
    return 0


def _ready(options: argparse.Namespace) -> int:
    table = importlib.import_module("arrange.exercises").check_environment(options.file)
    for row in table.itertuples():
        mark = "ok  " if row.ok else "NOT " if row.needed else "hint"
        print(f"{mark} {row.what}: {row.found} (wanted: {row.wanted})")
        if row.to_do:
            print(f"     to do: {row.to_do}")
    missing = int((~table["ok"] & table["needed"]).sum())
    print("Ready." if not missing else f"Not ready: {missing} to be mended.")
    return 1 if missing else 0
