"""A list of the songs in a folder to choose from, beside a path that is typed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from arrange.decisions import is_song_path
from arrange.errors import ReadError
from arrange.formats.suffixes import READ_SUFFIXES


def choose_file(folder: str | os.PathLike[str] = ".", first: str = "") -> Any:
    """Return a list of the songs in a folder; what is chosen there is its ``value``, a path.

    Parameters
    ----------
    folder : path
        The folders in it are looked into as well, but no deeper. With a song's path it is the
        folder of that song, which is chosen at first.
    first : str
        The name of the file that is chosen at first, if it is there.

    Raises
    ------
    ReadError
        If there is no such folder or song, or no song in the folder.

    Examples
    --------
    >>> import arrange as ar
    >>> chosen = ar.choose_file("datasets", "low-water.musicxml")
    >>> ar.read(chosen.value).title
    'Low Water at Ferrystone'
    """
    place = Path(folder)
    if place.is_file() and is_song_path(place):
        place, first = place.parent, place.name
    if not place.is_dir():
        raise ReadError(
            "there is no such folder or song; look for a typing error in the path", file=str(folder)
        )
    inside = [path for pattern in ("*", "*/*") for path in place.glob(pattern)]
    files = sorted(path for path in inside if is_song_path(path) and path.is_file())
    if not files:
        raise ReadError(
            f"no song is in this folder; put files there that end in {', '.join(READ_SUFFIXES)}",
            file=str(folder),
        )
    options = [(str(path.relative_to(place)), str(path)) for path in files]
    chosen = next((str(path) for path in files if path.name == first), options[0][1])
    return widgets.Dropdown(options=options, value=chosen, description="Song:")
