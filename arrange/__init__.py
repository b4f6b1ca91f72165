"""Study and arrange guitar parts for bands.

The way data flows, bottom to top::

    read        a file -> Song: five tables (tables.py, formats/)
    measure     tables -> numbers (register.py)
    find        Song -> findings: what to listen to (clashes/)
    plot        tables -> pictures (plots.py)
    write       Song -> a file: chart, MIDI, MusicXML (formats/, converting.py)
    study       all of it on one song, as an object and a report (study.py, report.py)

The names that draw are loaded when first asked for.
"""

from typing import TYPE_CHECKING, Any

from arrange import plots
from arrange.clashes import Limits, find_clashes
from arrange.converting import convert
from arrange.errors import ArrangeError, ChartError, ReadError, TableError
from arrange.formats.chart.writing import write_chart
from arrange.formats.midi import write_midi
from arrange.formats.musicxml.writing import write_musicxml
from arrange.reading import read
from arrange.register import part_ranges, register_overlap
from arrange.sounding import cut_notes, sounding_notes
from arrange.study import Study, study
from arrange.tables import Song, describe

if TYPE_CHECKING:
    from arrange.plots import plot_clashes, plot_overlap, plot_ranges

__all__ = [
    "ArrangeError",
    "ChartError",
    "Limits",
    "ReadError",
    "Song",
    "Study",
    "TableError",
    "convert",
    "cut_notes",
    "describe",
    "find_clashes",
    "part_ranges",
    "plot_clashes",
    "plot_overlap",
    "plot_ranges",
    "read",
    "register_overlap",
    "sounding_notes",
    "study",
    "write_chart",
    "write_midi",
    "write_musicxml",
]


def __getattr__(name: str) -> Any:
    if name.startswith("plot_"):
        return getattr(plots, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
