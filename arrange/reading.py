"""Read a song, whatever its format."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Mapping
from pathlib import Path

from arrange.errors import ReadError
from arrange.formats.chart import read_chart
from arrange.formats.files import read_bytes
from arrange.formats.midi import is_midi, read_midi
from arrange.formats.musicxml import read_musicxml
from arrange.tables import Song


def read(
    path: str | os.PathLike[str],
    *,
    played: bool = True,
    octaves: Mapping[str, int] | None = None,
) -> Song:
    """Return the Song in a file: MusicXML, a Standard MIDI File or a text chart.

    What a file is, is told by its content; its suffix counts only for text that is no XML, which
    is read as a chart.

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
        If the file is missing, damaged, unsafe, or of no format that is read; for a chart a
        ChartError that tells every fault with its line.
    """
    path = Path(path)
    data = read_bytes(path)
    return _reader(path, data)(
        data,
        str(path),
        played=played,
        octaves=octaves,
        source=path.name,
        fingerprint=hashlib.sha256(data).hexdigest(),
    )


def _reader(path: Path, data: bytes) -> Callable[..., Song]:
    if _looks_like_xml(data) or data.startswith(b"PK"):
        return read_musicxml
    if is_midi(data):
        return read_midi
    if path.suffix.lower() == ".txt":
        return read_chart
    raise ReadError(
        "this is no MusicXML, neither plain nor compressed, and no MIDI file; export the song as "
        ".musicxml or .mxl, or name the file .txt if it is a chart",
        file=str(path),
    )


def _looks_like_xml(data: bytes) -> bool:
    """An angle bracket first, in whatever encoding, behind a byte-order mark or blanks."""
    start = data[:64].replace(b"\x00", b"")
    return start.lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").startswith(b"<") or start.startswith(b"Lo")
