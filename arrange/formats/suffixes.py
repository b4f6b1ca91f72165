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


# A row each, by the word that ``known`` calls it by; help texts list them in this order.
SUFFIXES = {
    "musicxml": FormatSuffixes("MusicXML", (".musicxml", ".xml", ".mxl"), (".musicxml", ".xml")),
    "midi": FormatSuffixes("Standard MIDI File", (".mid", ".midi"), (".mid", ".midi")),
    "chart": FormatSuffixes("text chart", (".txt",), (".txt",)),
}
READ_SUFFIXES = tuple(suffix for each in SUFFIXES.values() for suffix in each.read)
WRITTEN_SUFFIXES = tuple(suffix for each in SUFFIXES.values() for suffix in each.written)
