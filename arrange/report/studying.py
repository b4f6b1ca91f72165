"""The study of a song: the song, what was measured, what was found, what was decided."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import pandas as pd

from arrange.clashes import find_clashes
from arrange.decisions import (
    DecisionLog,
    decisions_path,
    decisions_so_far,
    read_decisions,
    waivers_of,
)
from arrange.findings import Waiver, waive, waive_what_is_there, waivers_table
from arrange.formats.reading import read
from arrange.quantities.register import part_ranges, register_overlap
from arrange.report.html_pages import report_html, write_report
from arrange.tables.song import Song
from arrange.tables.sounding import cut_notes, sounding_notes
from arrange.text.words import counted


@dataclass(frozen=True)
class Study:
    """A song, what was measured on it and what was found. A notebook shows it as the report.

    Held notes are cut at the ends of sections and measures, so that they count in each.

    Parameters
    ----------
    song : Song
    waivers : sequence of Waiver
        Findings that are meant to be so; they stay visible, with the reason.
    log : DecisionLog
        What was decided; decisions that waive findings count as waivers.

    Examples
    --------
    >>> import arrange as ar
    >>> study = ar.Study(ar.read("datasets/low-water.txt"))
    >>> study.ranges[["part", "lowest", "highest"]].head(2)
           part  lowest  highest
    0  Guitar 1    41.0     81.0
    1  Guitar 2    43.0     74.0
    """

    song: Song
    waivers: Sequence[Waiver] = ()
    log: DecisionLog = field(default_factory=DecisionLog)

    def __repr__(self) -> str:
        log = f", {counted(len(self.log.decisions), 'decision')}" if self.log.decisions else ""
        return f"<Study of {self.song!r}{log}>"

    @cached_property
    def ranges(self) -> pd.DataFrame:
        """``part_ranges`` over the song."""
        return part_ranges(self.song.notes, "song", self.song.parts, self.song.setups)

    @cached_property
    def section_ranges(self) -> pd.DataFrame:
        """``part_ranges`` by section."""
        return part_ranges(self._by_section, "section", self.song.parts, self.song.setups)

    @cached_property
    def measure_ranges(self) -> pd.DataFrame:
        """``part_ranges`` by measure."""
        notes = cut_notes(sounding_notes(self.song.notes), self.song.measures, "measure")
        return part_ranges(notes, "measure", self.song.parts, self.song.setups)

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
        found = waive(find_clashes(self.song), self.waivers)
        # The findings that a decision waives may be gone by now; it stays in the log.
        return waive_what_is_there(found, waivers_of(self.log))

    @cached_property
    def _by_section(self) -> pd.DataFrame:
        return cut_notes(sounding_notes(self.song.notes), self.song.sections, "section")

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """Every table of the study by name: the song's six, the measured ones, the findings, the
        waivers and the decisions.
        """
        song = self.song
        return {
            "parts": song.parts,
            "sections": song.sections,
            "measures": song.measures,
            "chords": song.chords,
            "notes": song.notes,
            "setups": song.setups,
            "ranges": self.ranges,
            "section_ranges": self.section_ranges,
            "measure_ranges": self.measure_ranges,
            "overlap": self.overlap,
            "section_overlap": self.section_overlap,
            "findings": self.findings,
            "waivers": waivers_table([*self.waivers, *waivers_of(self.log)]),
            "decisions": self.log.table,
        }

    def html(self, *, page: bool = True) -> str:
        """Return the report as HTML: a whole page, or a piece of another page."""
        return report_html(
            self.song, self.ranges, self.section_overlap, self.findings,
            [*self.waivers, *waivers_of(self.log)], self.log, page=page,
        )  # fmt: skip

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
    decisions: str | os.PathLike[str] | None = None,
) -> Study:
    """Return the study of the song in a file.

    Parameters
    ----------
    path, played, octaves
        As for ``read``.
    waivers : sequence of Waiver
        Findings that are meant to be so; ``read_waivers`` reads them from a table.
    decisions : path, optional
        The song's log of decisions; the one beside it (``decisions_path``) if not given and there.

    Raises
    ------
    ReadError
        If the file or the log cannot be read.

    Examples
    --------
    >>> import arrange as ar
    >>> study = ar.study("datasets/low-water.txt")
    >>> study.song.title, len(study.section_overlap)
    ('Low Water at Ferrystone', 70)
    """
    song = read(path, played=played, octaves=octaves)
    log = Path(decisions) if decisions is not None else decisions_path(path)
    read_log = decisions_so_far if decisions is None else read_decisions
    return Study(song, tuple(waivers), read_log(log))
