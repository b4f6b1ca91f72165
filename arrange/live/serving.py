"""The commands that open a live view: JupyterLab with the lessons, or a page without code."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from urllib.parse import quote

from arrange.errors import ArrangeError
from arrange.live.page import page_command, write_page

_NOTEBOOKS = Path(__file__).parent.parent.parent / "notebooks"  # there in a clone

Run = Callable[[Sequence[str]], int]


def run_until_it_ends(command: Sequence[str]) -> int:
    """Run a command and return its exit code; how it answers Ctrl-C is its own affair."""
    process = subprocess.Popen(command)
    while True:
        try:
            code = process.wait()
        except KeyboardInterrupt:
            continue  # the command has got it too, and ends in its own time
        return code if code >= 0 else 128 - code


def open_lab(
    song: str | os.PathLike[str] | None = None,
    *,
    opens: bool = True,
    notebooks: Path = _NOTEBOOKS,
    run: Run = run_until_it_ends,
) -> int:
    """Open JupyterLab on the first lesson, or on the live view of a song; return its exit code.

    Parameters
    ----------
    song : path, optional
        A notebook with its live view is written beside it, named after it, unless it is there.
    opens : bool
        Whether a browser is opened.
    notebooks : Path
        The lessons' folder.
    run : callable
        Runs a command and returns its exit code.

    Raises
    ------
    ArrangeError
        If the lessons are not there, or the song cannot be read.
    """
    if importlib.util.find_spec("jupyterlab") is None:
        raise ArrangeError("JupyterLab is not installed here: pip install jupyterlab")
    if song is None:
        if not notebooks.is_dir():
            raise ArrangeError(
                f"the lessons are not installed with the package (there is no {notebooks}): they "
                "come with a clone of the repository; name a song to open its live view instead"
            )
        place = min(notebooks.glob("*.ipynb"))
    else:
        place = Path(song).resolve().with_suffix(".live.ipynb")
        if not os.path.exists(place):
            write_page(song, place)
    command = [
        sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={place.parent}",
        f"--LabApp.default_url=/lab/tree/{quote(place.name)}",  # told without a browser too
    ]  # fmt: skip
    return run(command if opens else [*command, "--no-browser"])


def serve_page(
    song: str | os.PathLike[str],
    *,
    port: int | None = None,
    opens: bool = True,
    dark: bool = False,
    run: Run = run_until_it_ends,
) -> int:
    """Serve the live view of a song as a page without code, until it is stopped.

    Parameters
    ----------
    song : path
    port : int, optional
    opens : bool
        Whether a browser is opened.
    dark : bool
        Light on dark.
    run : callable
        Runs a command and returns its exit code.

    Raises
    ------
    ArrangeError
        If the song cannot be read, or what serves the page is not installed.
    """
    with tempfile.TemporaryDirectory() as folder:
        notebook = Path(folder) / f"{Path(song).stem}.ipynb"
        write_page(song, notebook)
        return run(page_command(notebook, port, opens=opens, dark=dark))
