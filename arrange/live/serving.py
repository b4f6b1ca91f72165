"""The commands that open a live view: JupyterLab with the lessons, or a page without code."""

from __future__ import annotations

import importlib
import importlib.util
import os
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from urllib.parse import quote

from arrange.errors import ArrangeError
from arrange.formats.files import read_bytes
from arrange.live.local_network import THIS_MACHINE, network_address
from arrange.live.stop_signals import ended_by_signals
from arrange.live.view_notebook import write_page

_NOTEBOOKS = Path(__file__).parent.parent.parent / "notebooks"  # there in a clone


def _run_lab(arguments: list[str]) -> None:
    importlib.import_module("jupyterlab.labapp").main(arguments)


def open_lab(
    song: str | os.PathLike[str] | None = None,
    *,
    layers: bool = False,
    players: Sequence[str] = (),
    opens: bool = True,
    notebooks: Path = _NOTEBOOKS,
    run: Callable[[list[str]], None] = _run_lab,
) -> None:
    """Open JupyterLab on the first lesson, a notebook or the live view of a song, until stopped.

    It runs in this process, so that a signal to the command is one to JupyterLab.

    Parameters
    ----------
    song : path, optional
        A notebook with its live view is written beside it, named after it, unless it is there.
        Or a notebook, such as that of a workshop, which is opened as it is.
    layers : bool
        The view in which layers are shared out, not that of the parts.
    players : sequence of str
        Who shares them out, a line each.
    opens : bool
        Whether a browser is opened.
    notebooks : Path
        The lessons' folder.
    run : callable
        Runs JupyterLab with these arguments.

    Raises
    ------
    ArrangeError
        If the lessons are not there, the song or the notebook cannot be read, or the song's
        notebook is there already and players are given.
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
    elif Path(song).suffix == ".ipynb":
        read_bytes(Path(song))  # raises an error where it is not there
        place = Path(song).resolve()
    else:
        place = Path(song).resolve().with_suffix(f".{'layers' if layers else 'live'}.ipynb")
        if not os.path.exists(place):
            write_page(song, place, layers=layers, players=players)
        elif players:
            raise ArrangeError(
                f"{place} is there already and names its players: change them in its cell, or "
                "delete it; without --player it is opened as it is"
            )
    arguments = [
        f"--ServerApp.root_dir={place.parent}",
        f"--LabApp.default_url=/lab/tree/{quote(place.name)}",  # printed without a browser too
    ]
    run(arguments if opens else [*arguments, "--no-browser"])


def serve_page(
    song: str | os.PathLike[str],
    *,
    layers: bool = False,
    players: Sequence[str] = (),
    port: int | None = None,
    shares: bool = False,
    opens: bool = True,
    dark: bool = False,
) -> None:
    """Serve the live view of a song as a page without code, until it is stopped.

    Parameters
    ----------
    song : path
    layers : bool
        The view in which layers are shared out, not that of the parts.
    players : sequence of str
        Who shares them out, a line each.
    port : int, optional
        A free one if not given.
    shares : bool
        To others in the local network, not to this machine alone.
    opens : bool
        Whether a browser is opened.
    dark : bool
        Light on dark.

    Raises
    ------
    ArrangeError
        If the song cannot be read, what serves the page is not installed, the port is not free,
        or there is no local network to share it in.
    """
    if port is not None and port not in range(1, 65_536):
        raise ArrangeError(f"port {port}: from 1 to 65535, or leave it out for a free one")
    ip = network_address() if shares else THIS_MACHINE
    with ended_by_signals(), tempfile.TemporaryDirectory(prefix="arrange-page-") as folder:
        place = Path(folder) / f"{Path(song).stem}.ipynb"
        notebook = write_page(song, place, layers=layers, players=players)
        if importlib.util.find_spec("voila") is None:
            raise ArrangeError("a page needs voila: pip install 'arrange[page]'")
        server = importlib.import_module("arrange.live.page_server")  # slow, and may not be there
        server.PageServer(notebook, port, ip, opens=opens, dark=dark).start()
