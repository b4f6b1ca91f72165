"""Read a song, whatever its format."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from pathlib import Path

from arrange.errors import ArrangeError, ReadError, shown
from arrange.formats.files import read_bytes
from arrange.formats.known import FORMATS, format_of
from arrange.tables.song import Song
from arrange.text.words import listed


def read(
    path: str | os.PathLike[str],
    *,
    played: bool = True,
    octaves: Mapping[str, int] | None = None,
) -> Song:
    """Return the Song in a file: MusicXML, a Standard MIDI File or a text chart.

    The content of a file says what it is. Its suffix counts only for text that is no XML: a file
    named .txt is read as a chart.

    Parameters
    ----------
    path : path
    played : bool
        False keeps the page order instead of playing out repeats, D.C., D.S. and coda.
    octaves : mapping of part label to int, optional
        Octaves to move parts by: ``{"Guitar 1": -1}`` for a guitar that its file writes an
        octave above where it sounds, without saying so.

    Raises
    ------
    ArrangeError
        If it is no path.
    ReadError
        If the file is missing, damaged, unsafe, or of no format that is read; for a chart a
        ChartError that lists every fault with its line.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> song
    <Song 'Low Water at Ferrystone': 4 parts, 14 sections, 92 measures, 85 chords, 2031 notes>
    >>> len(ar.read("datasets/low-water.musicxml", played=False).measures)
    86
    """
    if not isinstance(path, str | os.PathLike) or not str(path):
        raise ArrangeError(f"{shown(path)}: read takes the path of a song, such as 'my-song.txt'")
    path = Path(path)
    data = read_bytes(path)
    form = format_of(data, path.suffix)
    if form is None:
        names = listed(f"no {each.name}" for each in FORMATS)
        raise ReadError(
            f"this is {names}; export the song as .musicxml or .mxl, or name the file .txt if "
            "it is a chart",
            file=str(path),
        )
    return form.read(
        data,
        str(path),
        played=played,
        octaves=octaves,
        source=path.name,
        fingerprint=hashlib.sha256(data).hexdigest(),
    )
