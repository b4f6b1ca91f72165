"""Open lessons and live views: ``lab``, ``page``; check this machine: ``ready``."""

from __future__ import annotations

import argparse
import importlib

from arrange.errors import ArrangeError


def run_lab(options: argparse.Namespace) -> int:
    """Run ``lab``."""
    # The widgets are slow to load, and the other commands do not need them.
    serving = importlib.import_module("arrange.live.serving")
    serving.open_lab(options.file, layers=options.layers, opens=not options.no_browser)
    return 0


def run_page(options: argparse.Namespace) -> int:
    """Run ``page``."""
    if options.output is not None:
        return _write_page(options)
    serving = importlib.import_module("arrange.live.serving")
    opens = not options.no_browser
    serving.serve_page(
        options.file, layers=options.layers, port=options.port, shares=options.share, opens=opens,
        dark=options.dark,
    )  # fmt: skip
    return 0


def _write_page(options: argparse.Namespace) -> int:
    if options.layers or options.share or options.port is not None or options.dark:
        raise ArrangeError(
            "-o writes a page that needs no server, light or dark as the device that opens it: "
            "leave out --layers, --share, --port and --dark, or leave out -o to serve the live view"
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
