"""What a live view shows, each piece made once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from arrange.findings import Waiver, waive_what_is_there
from arrange.guitar.fingering import lowest_neck
from arrange.live.bar_scale import shown_bars
from arrange.live.choices import Choices, choices_words, has_strings
from arrange.live.findings_list import Found, change_words, findings_list, list_findings
from arrange.live.neck_picture import Hands, draw_neck, frets_shown
from arrange.live.picture import KINDS, Chart, draw_chart, make_chart
from arrange.live.ranges import Ranges
from arrange.live.results_cache import ResultsCache
from arrange.live.section_line import Form, FormSection, section_line
from arrange.live.strip import Row, strip_row, strip_scale
from arrange.text.markup import escape_html
from arrange.text.words import listed

Bars = tuple[int, int]


@dataclass(frozen=True)
class Seen:
    """Everything that decides what is seen.

    Parameters
    ----------
    choices : Choices
    since : Choices
        Those before the last choice.
    parts : tuple of str
        The part that changes, then the one beside it, if any.
    moment : (int, int)
        The bars that are heard.
    only : str
        The part of which findings are listed, or ``ALL_PARTS``.
    looked_at : str
        The key of the finding that is marked, or none.
    """

    choices: Choices
    since: Choices
    parts: tuple[str, ...]
    moment: Bars
    only: str
    looked_at: str = ""


class PictureCache:
    """What is seen of one song with its choices: ``drawn``, the whole view; ``charts``, some bars;
    ``necks``, the hands.

    Parameters
    ----------
    results : ResultsCache
    waivers : sequence of Waiver
        Findings that are meant to be so.
    """

    def __init__(self, results: ResultsCache, waivers: Sequence[Waiver] = ()) -> None:
        self._results, self._waivers = results, tuple(waivers)
        self.form = _form(results, self._waivers)
        self._lines = results.base.measures["onset"].tolist()
        self.charts = lru_cache(maxsize=256)(self._chart)
        self._rows = lru_cache(maxsize=512)(self._row)
        self._neck = lru_cache(maxsize=512)(self._draw_neck)
        self.necks = lru_cache(maxsize=512)(self._draw_necks)
        self._found = lru_cache(maxsize=1024)(self._list)
        self.drawn = lru_cache(maxsize=512)(self._draw)

    def found(self, choices: Choices, since: Choices) -> tuple[Found, ...]:
        """Return the findings of a section, what the last choice changed first."""
        if since.section != choices.section:
            since = choices
        return self._found(choices, since)

    def _draw(self, seen: Seen) -> tuple[tuple[str, ...], str]:
        """The pieces of HTML, and in words what cannot be done as chosen."""
        results, choices = self._results, seen.choices
        found = self.found(choices, seen.since)
        marked = next((each.bars for each in found if each.key == seen.looked_at), None)
        head = f"{choices.section} · {choices_words(choices)}"
        as_written = results.findings(Choices(choices.section))
        figures = _figures(as_written, results.findings(choices), found)
        bars = shown_bars(results.base, choices.section, seen.moment[0])
        chart = self.charts(choices.on_the_neck, seen.parts, bars)
        necks, problems = self.necks(choices.on_the_neck, seen.parts, seen.moment)
        changed = change_words(found)
        said = f"{figures}{f'; {changed}' if changed else ''}"
        pieces = (
            section_line(self.form, choices.section),
            f'<p class="head"><b>{escape_html(head)}</b> <span>{escape_html(said)}</span></p>',
            draw_chart(chart, seen.moment, marked, _label(seen)),
            f'<div class="below">{necks}{findings_list(found, seen.only, seen.looked_at)}</div>',
        )
        return pieces, ". ".join([*map(_of_bars, results.remarks(choices)), *problems])

    def _list(self, choices: Choices, since: Choices) -> tuple[Found, ...]:
        findings = self._results.findings
        return list_findings(findings(since), findings(choices), self._lines, self._waivers)

    def _hands(self, choices: Choices, parts: tuple[str, ...]) -> list[Hands]:
        """Both hands in the section; parts without strings have none."""
        song, after = self._results.base, self._results.song(choices)
        found = []
        for part in parts:
            if has_strings(song, part):
                notes = self._results.hands(choices, part)
                found.append(Hands(part, lowest_neck(after, part, notes), notes))
        return found

    def _chart(self, choices: Choices, parts: tuple[str, ...], bars: Bars) -> Chart:
        """The strip and the ranges of some bars."""
        song, after = self._results.base, self._results.song(choices)
        now = _in_bars(after.notes, bars)
        alone = Choices(choices.section)
        rows = [self._rows(alone.with_part(part, choices.of(part)), part, bars) for part in parts]
        ranges = Ranges(parts, _in_bars(song.notes, bars), now)
        return make_chart(after, strip_scale(after, bars, rows), rows, ranges)

    def _row(self, choices: Choices, part: str, bars: Bars) -> Row:
        """A part in the strip, which nobody else's choices change."""
        song = self._results.song(choices)
        for each in self._hands(choices, (part,)):
            return strip_row(song, part, _in_bars(each.notes, bars), each.neck)
        own = song.notes[(song.notes["part"] == part).to_numpy()]
        return strip_row(song, part, _in_bars(own, bars), None)

    def _draw_necks(
        self, choices: Choices, parts: tuple[str, ...], moment: Bars
    ) -> tuple[str, tuple[str, ...]]:
        """Both necks on one scale of frets, and in words what hands cannot play."""
        hands = self._hands(choices, parts)
        last = frets_shown(hands)
        kinds, alone = dict(zip(parts, KINDS, strict=False)), Choices(choices.section)
        necks = "".join(
            self._neck(
                alone.with_part(each.part, choices.of(each.part)),
                each.part, moment, last, kinds[each.part],
            )
            for each in hands
        )  # fmt: skip
        return necks, tuple(_problems(hands))

    def _draw_neck(self, choices: Choices, part: str, moment: Bars, last: int, kind: str) -> str:
        """One neck, which nobody else's choices change."""
        (hands,) = self._hands(choices, (part,))
        return draw_neck(hands, moment, last, kind)


def _label(seen: Seen) -> str:
    """What the chart is; the same for all choices, so that it is not drawn anew without need."""
    parts = listed(seen.parts)
    return f"{seen.choices.section} bar by bar: chords, what {parts} play, and the ranges"


def _form(results: ResultsCache, waivers: Sequence[Waiver]) -> Form:
    """Each section, as a line of sections shows it."""
    sections, found = results.base.sections, results.whole
    starts = np.searchsorted(sections["first_measure"], found["measure"], side="right") - 1
    is_waived = waive_what_is_there(found, waivers)["waived"].notna().to_numpy(dtype=bool)
    asked, waived = (
        np.bincount(starts[own], minlength=len(sections)).tolist()
        for own in (~is_waived, is_waived)
    )
    labels, lengths = sections["section"].tolist(), sections["duration"].tolist()
    return tuple(map(FormSection, labels, lengths, asked, waived))


def _figures(before: pd.DataFrame, after: pd.DataFrame, found: Sequence[Found]) -> str:
    """The number of findings and their total severity, as written and now, waived ones too."""
    totals = (f"{each['severity'].sum():.2f}" for each in (before, after))
    waived = sum(each.is_waived and each.state != "ended" for each in found)
    more = f", {waived} of them waived" if waived else ""
    return f"{len(before)} → {len(after)} findings{more}, severity {' → '.join(totals)}"


def _problems(hands: list[Hands]) -> Iterator[str]:
    for each in hands:
        problems = each.notes["problem"].dropna().tolist()
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        if problems:
            yield f"{each.part} cannot play all of it: {_of_bars(problems[0])}{more}"


def _of_bars(words: str) -> str:
    """A sentence with the view's word for a measure."""
    return re.sub(r"\bmeasure(s?)\b", r"bar\1", words)


def _in_bars(notes: pd.DataFrame, bars: Bars) -> pd.DataFrame:
    return notes[notes["measure"].between(*bars).to_numpy(dtype=bool)]
