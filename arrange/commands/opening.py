"""Open lessons and live views: ``lab``, ``page``; check this machine: ``ready``."""

from __future__ import annotations

import argparse
import importlib

from arrange.commands.asked_players import asked_players
from arrange.errors import ArrangeError


def run_lab(options: argparse.Namespace) -> int:
    """Run ``lab``."""
    # The widgets are slow to load, and the other commands do not need them.
    serving = importlib.import_module("arrange.live.serving")
    serving.open_lab(
        options.file, layers=options.layers, players=_asked_players(options),
        opens=not options.no_browser,
    )  # fmt: skip
    return 0


def run_page(options: argparse.Namespace) -> int:
    """Run ``page``."""
    if options.output is not None:
        return _write_page(options)
    serving = importlib.import_module("arrange.live.serving")
    opens = not options.no_browser
    serving.serve_page(
        options.file, layers=options.layers, players=_asked_players(options), port=options.port,
        shares=options.share, opens=opens, dark=options.dark,
    )  # fmt: skip
    return 0


def _asked_players(options: argparse.Namespace) -> list[str]:
    if options.player and not options.layers:
        raise ArrangeError("--player says who shares out the layers: give --layers too")
    asked_players(options.player)  # a mistake is reported now, not on the page
    return list(options.player)


def _write_page(options: argparse.Namespace) -> int:
    served = (options.layers, options.player, options.share, options.port, options.dark)
    if any(each not in (None, False, []) for each in served):
        raise ArrangeError(
            "-o writes a page that needs no server, light or dark as the device that opens it: "
            "leave out --layers, --player, --share, --port and --dark, or leave out -o to serve "
            "the live view"
        )
    page = importlib.import_module("arrange.sending").write_song_page(options.file, options.output)
    size = max(page.stat().st_size / 1e6, 0.1)
    print(f"{page}: {size:.1f} MB. Send it as it is; any browser opens it.")
    return 0


def run_ready(options: argparse.Namespace) -> int:
    """Run ``ready``."""
    table = importlib.import_module("arrange.exercises").check_environment(options.file)
    for row in table.itertuples():
        mark = "ok  " if row.ok else "NOT " if row.needed else "hint"
        print(f"{mark} {row.what}: {row.found} (wanted: {row.wanted})")
        if row.to_do:
            print(f"     to do: {row.to_do}")
    missing = int((~table["ok"] & table["needed"]).sum())
    print("Ready." if not missing else f"Not ready: {missing} to be mended.")
    return 1 if missing else 0
