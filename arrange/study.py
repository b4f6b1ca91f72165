"""The whole study of a song as one object."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from arrange.clashes import find_clashes
from arrange.findings import Waiver, waive, waivers_table
from arrange.reading import read
from arrange.register import part_ranges, register_overlap
from arrange.report import report_html, write_report
from arrange.sounding import cut_notes, sounding_notes
from arrange.tables import Song


@dataclass(frozen=True)
class Study:
    """A song, what was measured on it and what was found. A notebook shows it as the report.

    Held notes are cut at the ends of sections and measures, so that they count in each.

    Parameters
    ----------
    song : Song
    waivers : sequence of Waiver
        Findings that are meant to be so; they stay visible, with the reason.
    """

    song: Song
    waivers: Sequence[Waiver] = ()

    @cached_property
    def ranges(self) -> pd.DataFrame:
        """``part_ranges`` over the song."""
        return part_ranges(self.song.notes, "song", self.song.parts)

    @cached_property
    def section_ranges(self) -> pd.DataFrame:
        """``part_ranges`` by section."""
        return part_ranges(self._by_section, "section", self.song.parts)

    @cached_property
    def measure_ranges(self) -> pd.DataFrame:
        """``part_ranges`` by measure."""
        notes = cut_notes(sounding_notes(self.song.notes), self.song.measures, "measure")
        return part_ranges(notes, "measure", self.song.parts)

    @cached_property
    def overlap(self) -> pd.DataFrame:
        """``register_overlap`` over the song."""
        return register_overlap(self.song.notes, "song")

    @cached_property
    def section_overlap(self) -> pd.DataFrame:
        """``register_overlap`` by section."""
        return register_overlap(self._by_section, "section")

    @cached_property
    def findings(self) -> pd.DataFrame:
        """``find_clashes``, with those waived that the waivers cover.

        Raises
        ------
        ArrangeError
            If a waiver covers no finding.
        """
        return waive(find_clashes(self.song), self.waivers)

    @cached_property
    def _by_section(self) -> pd.DataFrame:
        return cut_notes(sounding_notes(self.song.notes), self.song.sections, "section")

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """Every table of the study by name: the song's five, the measured ones, the findings and
        the waivers.
        """
        song = self.song
        return {
            "parts": song.parts,
            "sections": song.sections,
            "measures": song.measures,
            "chords": song.chords,
            "notes": song.notes,
            "ranges": self.ranges,
            "section_ranges": self.section_ranges,
            "measure_ranges": self.measure_ranges,
            "overlap": self.overlap,
            "section_overlap": self.section_overlap,
            "findings": self.findings,
            "waivers": waivers_table(self.waivers),
        }

    def html(self, *, page: bool = True) -> str:
        """Return the report as HTML: a whole page, or a piece to stand in another."""
        return report_html(
            self.song, self.ranges, self.section_overlap, self.findings, self.waivers, page=page
        )

    def _repr_html_(self) -> str:
        return self.html(page=False)

    def write(self, folder: str | os.PathLike[str]) -> Path:
        """Write the report and its tables into a folder; return the path of the report.

        Raises
        ------
        ArrangeError
            If the folder cannot be written.
        """
        return write_report(Path(folder), self.html(), self.tables)


def study(
    path: str | os.PathLike[str],
    *,
    played: bool = True,
    octaves: Mapping[str, int] | None = None,
    waivers: Sequence[Waiver] = (),
) -> Study:
    """Return the study of the song in a file.

    Parameters
    ----------
    path, played, octaves
        As for ``read``.
    waivers : sequence of Waiver
        Findings that are meant to be so; ``read_waivers`` reads them from a table.

    Raises
    ------
    ReadError
        If the file cannot be read.
    """
    return Study(read(path, played=played, octaves=octaves), tuple(waivers))
