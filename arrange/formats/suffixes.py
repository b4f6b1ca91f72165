"""What each file format is called, and what the names of its files end in.

No reader is loaded for this, so that the help of the command comes at once. The usual suffix
stands first.
"""

from __future__ import annotations

from typing import NamedTuple


class FormatSuffixes(NamedTuple):
    """The name of a format, and the suffixes of the files that are read and written as it."""

    name: str
    read: tuple[str, ...]
    written: tuple[str, ...]


MUSICXML = FormatSuffixes("MusicXML", (".musicxml", ".xml", ".mxl"), (".musicxml", ".xml"))
MIDI = FormatSuffixes("Standard MIDI File", (".mid", ".midi"), (".mid", ".midi"))
CHART = FormatSuffixes("text chart", (".txt",), (".txt",))

_ALL = (MUSICXML, MIDI, CHART)
READ_SUFFIXES = tuple(suffix for each in _ALL for suffix in each.read)
WRITTEN_SUFFIXES = tuple(suffix for each in _ALL for suffix in each.written)
