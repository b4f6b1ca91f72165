"""The results of choices, each computed once: the song, the findings and hands of a section.

Earlier choices are shown at once. What may be chosen next can be computed ahead.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd

from arrange.clashes import KINDS, Limits, find_clashes
from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.clashes.scene import Scene
from arrange.clashes.table import findings_table, list_clashes
from arrange.findings.recheck import notes_around
from arrange.guitar.fingering import fingered_song
from arrange.live.choices import AS_WRITTEN, Choices, has_strings
from arrange.live.chosen_song import Voiced, section_hands, section_mover, try_choices, voiced
from arrange.revoicing.movers import Mover
from arrange.tables.copies import quick_song
from arrange.tables.song import Song, part_row, section_row
from arrange.text.part_lists import split_parts

_ALONE = 0.1  # weight of a finding of one guitar alone, or with another instrument (ours)


class ResultsCache:
    """The results of choices for one song, each computed once.

    Parameters
    ----------
    song : Song
        As it is without any choice.
    limits : Limits
        From which value on a finding is reported.
    """

    def __init__(self, song: Song, limits: Limits = DEFAULT_LIMITS) -> None:
        self.base = song
        self._limits = limits
        # Songs are large, and needed for a moment only; findings and hands are small.
        self._song = lru_cache(maxsize=8)(self._try)
        self._voiced = lru_cache(maxsize=128)(self._voice)
        self._mover = lru_cache(maxsize=16)(self._make_mover)
        self._hands = lru_cache(maxsize=1024)(self._finger)
        self._findings = lru_cache(maxsize=2048)(self._find)

    @cached_property
    def whole(self) -> pd.DataFrame:
        """The findings of the whole original song."""
        return find_clashes(self.base, limits=self._limits)

    def findings(self, choices: Choices) -> pd.DataFrame:
        """Return the findings that begin in the section, the most severe first."""
        for part, own in choices.parts:
            if own.inversion == AS_WRITTEN and own.strings == AS_WRITTEN:
                # The same notes from other frets: a capo alone changes nothing that is heard.
                choices = choices.with_part(part, replace(own, capo=None))
        return self._findings(choices)

    def song(self, choices: Choices) -> Song:
        """Return the song with the choices made."""
        return self._song(choices)[0]

    def remarks(self, choices: Choices) -> tuple[str, ...]:
        """Return remarks about the choices, such as chords without such a voicing."""
        return self._song(choices)[1]

    def hands(self, choices: Choices, part: str) -> pd.DataFrame:
        """Return the part in the section with strings and frets, whatever tempo and sound."""
        own = choices.on_the_neck.of(part)
        return self._hands(Choices(choices.section).with_part(part, own), part)

    def decided(self, choices: Choices) -> Song:
        """Return the song with the choices made but the tempo, which a decision does not hold;
        changed parts with strings and frets where they can be played.
        """
        song = self.song(Choices(choices.section, choices.parts))
        parts = [part for part, _ in choices.parts if has_strings(song, part)]
        return fingered_song(song, parts) if parts else song

    def _try(self, choices: Choices) -> tuple[Song, tuple[str, ...]]:
        return try_choices(self.base, choices, self._voiced)

    def _voice(
        self, part: str, section: str, inversion: str, strings: str, capo: int | None
    ) -> Voiced:
        return voiced(self._mover(part, section), inversion, strings, capo)

    def _make_mover(self, part: str, section: str) -> Mover:
        return section_mover(self.base, part, section)

    def _finger(self, choices: Choices, part: str) -> pd.DataFrame:
        return section_hands(self.song(choices), part, choices.section)

    def _find(self, choices: Choices) -> pd.DataFrame:
        return section_findings(self.song(choices), choices.section, self._limits)


def section_findings(song: Song, section: str, limits: Limits = DEFAULT_LIMITS) -> pd.DataFrame:
    """Return the findings that begin in a section, the most severe first.

    They are looked for in the notes of the section and the bars around (``passage_around``); the
    whole song decides which part should be on top, how long a line is doubled, and what departs
    from the rest of it.
    """
    row = section_row(song, section)
    near = notes_around(song, row["onset"], row["onset"] + row["duration"])
    whole, passage = Scene(song), Scene(quick_song(song, notes=near))
    lines = {name for name, kind in KINDS.items() if kind.is_of_lines or kind.is_of_the_song}
    rows = near.index.to_numpy()
    found = [
        *(
            replace(each, notes=rows[each.notes])
            for each in list_clashes(passage, set(KINDS) - lines, limits)
        ),
        *list_clashes(whole, lines, limits),
    ]
    bars = whole.measure_of(np.array([each.onset for each in found])) + 1
    here = np.flatnonzero((bars >= row["first_measure"]) & (bars <= row["last_measure"]))
    return findings_table(whole, [found[at] for at in here.tolist()])


def parts_beside(song: Song, part: str) -> list[str]:
    """Return the other parts, those of the same family first."""
    family = dict(zip(song.parts["part"], song.parts["family"], strict=True))
    others = [name for name in family if name != part]
    return sorted(others, key=lambda name: family[name] != family[part])


def first_place(
    song: Song, findings: pd.DataFrame, part: str | None, section: str | None
) -> tuple[str, str]:
    """Return the part and section to begin with: where two guitars have most to listen to."""
    if part is not None:
        part_row(song, part)
    if section is not None:
        section_row(song, section)
    guitars = song.parts.loc[song.parts["family"] == "guitar", "part"].tolist()
    strung = [name for name in song.parts["part"] if has_strings(song, name)]
    able = guitars or strung or song.parts["part"].tolist()
    worth: dict[tuple[str, str], float] = {}
    for row in findings.itertuples():
        names = split_parts(str(row.parts))
        weight = float(row.severity) * (1.0 if len(set(names) & set(able)) > 1 else _ALONE)
        for name in names:
            if name == part or (part is None and name in able):
                place = name, section or str(row.section)
                worth[place] = worth.get(place, 0.0) + weight * (place[1] == row.section)
    first = section or song.sections["section"].iloc[0]
    return max(worth, key=lambda each: worth[each]) if worth else (part or able[0], first)
