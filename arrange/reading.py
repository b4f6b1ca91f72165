"""Read a song, whatever its format."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from pathlib import Path

from arrange.errors import ReadError
from arrange.formats.files import read_bytes
from arrange.formats.musicxml import read_musicxml
from arrange.tables import Song


def read(
    path: str | os.PathLike[str],
    *,
    played: bool = True,
    octaves: Mapping[str, int] | None = None,
) -> Song:
    """Return the Song in a file: MusicXML, plain or compressed (.musicxml, .xml, .mxl).

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
    ReadError
        If the file is missing, damaged, unsafe, or of no format that is read.
    """
    path = Path(path)
    data = read_bytes(path)
    name = str(path)
    if not _looks_like_xml(data) and not data.startswith(b"PK"):
        raise ReadError(
            "this is no MusicXML, neither plain nor compressed; "
            "export the song as .musicxml or .mxl",
            file=name,
        )
    return read_musicxml(
        data,
        name,
        played=played,
        octaves=octaves,
        source=path.name,
        fingerprint=hashlib.sha256(data).hexdigest(),
    )


def _looks_like_xml(data: bytes) -> bool:
    """An angle bracket first, in whatever encoding, behind a byte-order mark or blanks."""
    start = data[:64].replace(b"\x00", b"")
    return start.lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").startswith(b"<") or start.startswith(b"Lo")
