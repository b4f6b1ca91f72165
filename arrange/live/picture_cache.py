"""The pictures of a live view, each drawn once."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import pandas as pd

from arrange.guitar.fingering import lowest_neck
from arrange.live.choices import Choices, choices_words, has_strings
from arrange.live.picture import Hands, Places, Sight, draw_places, draw_sight
from arrange.live.results_cache import ResultsCache
from arrange.tables.song import Song, section_row


class PictureCache:
    """The pictures of one song with its choices.

    Parameters
    ----------
    results : ResultsCache
    """

    def __init__(self, results: ResultsCache) -> None:
        self._results = results
        self._form = _form(results)
        self._places = lru_cache(maxsize=256)(self._draw_places)
        self.drawn = lru_cache(maxsize=1024)(self._draw)

    def _draw(self, choices: Choices, part: str, beside: str | None) -> tuple[str, str]:
        """The picture, and in words what cannot be done as chosen."""
        results = self._results
        places, problems = self._places(choices.on_the_neck, part, beside)
        picture = draw_sight(
            Sight(
                section=choices.section,
                form=self._form,
                chosen=choices_words(choices),
                found_before=results.findings(Choices(choices.section)),
                found_after=results.findings(choices),
                places=places,
            )
        )
        return picture, ". ".join([*results.remarks(choices), *problems])

    def _draw_places(
        self, choices: Choices, part: str, beside: str | None
    ) -> tuple[str, tuple[str, ...]]:
        """The ranges and the necks, and in words what hands cannot play."""
        song, after = self._results.base, self._results.song(choices)
        parts = (part,) if beside is None else (part, beside)
        row = section_row(song, choices.section)
        first, last = int(row["first_measure"]), int(row["last_measure"])
        key = song.measures["key"].iloc[first - 1]
        hands = tuple(
            Hands(each, lowest_neck(after, each, notes), notes)
            for each, notes in (
                (each, self._results.hands(choices, each))
                for each in parts
                if has_strings(song, each)
            )
        )
        places = Places(
            bars=(first, last),
            parts=parts,
            before=_here(song, choices.section),
            after=_here(after, choices.section),
            hands=hands,
            key=key if isinstance(key, str) else None,
        )
        return draw_places(places), tuple(_problems(hands))


def _form(results: ResultsCache) -> tuple[tuple[str, float, int], ...]:
    """Each section: label, quarter notes, findings as written."""
    sections, found = results.base.sections, results.whole
    starts = np.searchsorted(sections["first_measure"], found["measure"], side="right") - 1
    counts = np.bincount(starts, minlength=len(sections)).tolist()
    labels, lengths = sections["section"].tolist(), sections["duration"].tolist()
    return tuple(zip(labels, lengths, counts, strict=True))


def _problems(hands: tuple[Hands, ...]) -> Iterator[str]:
    for each in hands:
        problems = each.notes["problem"].dropna().tolist()
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        if problems:
            yield f"{each.part} cannot play all of it: {problems[0]}{more}"


def _here(song: Song, section: str) -> pd.DataFrame:
    return song.notes[(song.notes["section"] == section).to_numpy(dtype=bool)]
