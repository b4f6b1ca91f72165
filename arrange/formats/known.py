"""Every file format, a row each: how a file of it is known, what it is called, who reads and
writes it. Reading, converting, songbooks, help and errors ask these rows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from arrange.formats.chart import read_chart, write_chart
from arrange.formats.midi import is_midi, read_midi, write_midi
from arrange.formats.musicxml import is_musicxml, read_musicxml
from arrange.formats.musicxml.writing import write_musicxml
from arrange.formats.suffixes import SUFFIXES
from arrange.tables.song import Song


@dataclass(frozen=True)
class Format:
    """One file format.

    Parameters
    ----------
    name : str
    read_suffixes, written_suffixes : tuple of str
        What the names of its files end in, the usual one first.
    is_it : function of the content and the suffix
        Whether a file is of this format.
    read : function
        As ``read_chart``: content and name, then by keyword; gives a Song.
    write : function of a Song and a path
        Gives what of the song the file does not hold, a sentence each.
    """

    name: str
    read_suffixes: tuple[str, ...]
    written_suffixes: tuple[str, ...]
    is_it: Callable[[bytes, str], bool]
    read: Callable[..., Song]
    write: Callable[..., tuple[str, ...]]


# The first row that knows a file reads it: content first, what goes by the suffix alone last.
FORMATS = (
    Format(
        *SUFFIXES["musicxml"],
        lambda data, _: is_musicxml(data),
        read_musicxml,
        write_musicxml,
    ),
    Format(
        *SUFFIXES["midi"],
        lambda data, _: is_midi(data),
        read_midi,
        write_midi,
    ),
    Format(
        *SUFFIXES["chart"],
        lambda _, suffix: suffix == ".txt",  # any text may be a chart; its faults say if it is none
        read_chart,
        write_chart,
    ),
)
WRITERS = {suffix: each.write for each in FORMATS for suffix in each.written_suffixes}


def format_of(data: bytes, suffix: str) -> Format | None:
    """Return the format of a file's content; its suffix counts where the content does not say."""
    return next((each for each in FORMATS if each.is_it(data, suffix.lower())), None)
