"""Open lessons and live views: ``lab``, ``page``; check this machine: ``ready``."""

from __future__ import annotations

import argparse
import importlib


def run_lab(options: argparse.Namespace) -> int:
    """Run ``lab``."""
    # The widgets are slow to load, and the other commands do not need them.
    serving = importlib.import_module("arrange.live.serving")
    serving.open_lab(options.file, layers=options.layers, opens=not options.no_browser)
    return 0


def run_page(options: argparse.Namespace) -> int:
    """Run ``page``."""
    serving = importlib.import_module("arrange.live.serving")
    opens = not options.no_browser
    layers = options.layers
    serving.serve_page(
        options.file, layers=layers, port=options.port, opens=opens, dark=options.dark
    )
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
