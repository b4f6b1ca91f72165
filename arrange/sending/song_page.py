"""A song as one file of HTML that shows and plays it without a server: strip, hands, findings,
sound of each section, and what was decided. It asks nobody for anything.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from arrange.decisions import decisions_path, waivers_of
from arrange.errors import ArrangeError, shortened
from arrange.formats.files import check_target, whole_file
from arrange.formats.reading import read
from arrange.handouts.sheet_player import player_html
from arrange.handouts.sheet_sound import song_sound
from arrange.handouts.song_facts import song_facts
from arrange.live.choices import Choices
from arrange.live.controls import STYLE
from arrange.live.decided_song import DecidedSong, decision_rows, read_decided
from arrange.live.findings_list import Found
from arrange.live.picture import draw_chart
from arrange.live.picture_cache import PictureCache
from arrange.live.results_cache import ResultsCache, first_place, parts_beside
from arrange.tables.song import Song
from arrange.text.letters import readable
from arrange.text.markup import escape_html
from arrange.text.words import bars_words, counted, listed

_SUFFIXES = (".html", ".htm")
_A_LINE = 4  # bars of a strip
# Whatever the page contains, nothing is loaded from or sent to anybody.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
_FOLDER = Path(__file__).parent


def write_song_page(song: str | os.PathLike[str], target: str | os.PathLike[str]) -> Path:
    """Write a song, with the decisions of the log beside it, as a page to send.

    Parameters
    ----------
    song : path
    target : path
        Where to write, ``.html``; a file that is there is replaced.

    Raises
    ------
    ArrangeError
        If the song or its log cannot be read, the name is no HTML file's, or the page cannot be
        written.
    """
    song, target = Path(song), Path(target)
    if target.suffix.lower() not in _SUFFIXES:
        raise ArrangeError(
            f"{shortened(target)}: a page to send is HTML; end its name in .html, so that any "
            "browser opens it"
        )
    check_target(target, source=song)
    decided = read_decided(read(song), decisions_path(song))
    page = song_page(decided, decided.song.title or readable(song.stem))
    with whole_file(target) as draft:
        draft.write_text(page, encoding="utf-8")
    return target


def song_page(decided: DecidedSong, title: str) -> str:
    """Return a song with its decisions as a page, HTML that needs nothing else."""
    song = decided.song
    results = ResultsCache(song)
    pictures, pair = PictureCache(results, waivers_of(decided.log)), _pair(results)
    pairs = _pairs(song, pair)
    sections = "".join(_sections(song, pictures, pairs))
    facts = "".join(
        f"<dt>{escape_html(name)}</dt><dd>{escape_html(words)}</dd>"
        for name, words in song_facts(song)
    )
    style = f"{STYLE.read_text(encoding='utf-8')}{_text('css')}"
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        f"<title>{escape_html(title)}</title>\n<style>\n{style}</style>\n"
        f"<script>\n{_text('js')}</script></head>\n"
        f'<body><main class="arrange-live"><h1>{escape_html(title)}</h1><dl>{facts}</dl>'
        f"{_how_to_read(song, pair, pairs)}{_decisions(decided)}{_links(pictures)}{sections}"
        "</main>\n"
        f"{player_html(song_sound(song))}</body></html>\n"
    )


@cache
def _text(suffix: str) -> str:
    return (_FOLDER / f"song_page.{suffix}").read_text(encoding="utf-8")


def _pair(results: ResultsCache) -> tuple[str, ...]:
    """The two parts that are drawn: those with most to listen to, in the song's order."""
    song = results.base
    part, _ = first_place(song, results.whole, None, None)
    pair = (part, *parts_beside(song, part)[:1])
    return tuple(each for each in song.parts["part"] if each in pair)


def _pairs(song: Song, pair: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """The two parts that are drawn in each section: of the pair who plays there, else those of the
    same family with most notes.
    """
    parts, families = song.parts["part"].tolist(), song.parts["family"].tolist()
    own = dict(zip(parts, families, strict=True))[pair[0]]
    alike = {part for part, family in zip(parts, families, strict=True) if family == own}
    counts = song.notes.groupby(["section", "part"]).size().to_dict()

    def drawn(section: str) -> tuple[str, ...]:
        def order(part: str) -> tuple[bool, bool, int]:
            count = counts.get((section, part), 0)
            return not (count and part in alike), part not in pair, -count

        first = sorted(parts, key=order)[: len(pair)]
        return tuple(each for each in parts if each in first)

    return {section: drawn(section) for section in song.sections["section"]}


def _how_to_read(song: Song, pair: tuple[str, ...], pairs: dict[str, tuple[str, ...]]) -> str:
    others = [part for part in song.parts["part"] if part not in pair]
    drawn = f"Drawn: {listed(pair)}."
    if any(each != pair for each in pairs.values()):
        drawn = (
            f"Drawn: {listed(pair)} where they play, else those that play most there. All parts "
            "are heard, and stand as frames in the ranges."
        )
    elif others:
        drawn += f" {listed(others)}: heard, and as frames in the ranges."
    return (
        f"<p>{escape_html(drawn)}</p><details><summary>How to read this page</summary>"
        "<p>Press a section to go there, and its buttons to hear it. On the lines stand frets, the "
        "highest string on top, with the counts below; a small picture is a shape to hold, the "
        "lowest string on its left. Ranges are from the lowest to the highest note of each bar; "
        "where two parts share a register they are hatched crosswise. A finding is a place to "
        "listen to, not a mistake: press it to see its bar.</p></details>"
        '<p class="if-narrow">The bars are wider than this screen: move them sideways, or turn '
        "it.</p>"
    )


def _decisions(decided: DecidedSong) -> str:
    count = len(decided.log.decisions)
    if not count:
        return "<p>Nothing has been decided yet.</p>"
    words = f"{counted(count, 'decision')}{decided.built}"
    return (
        f"<details open><summary>{escape_html(words)}</summary>"
        f'<ul class="decisions">{decision_rows(decided.log)}</ul></details>'
    )


def _links(pictures: PictureCache) -> str:
    """The sections in a line, each a link to its place on the page."""
    links = (
        f'<a href="#s{number}" style="flex-grow:{each.length:g}" '
        f'aria-label="{escape_html(each.name())}">{each.words}</a>'
        for number, each in enumerate(pictures.form, 1)
    )
    return f'<nav class="form" aria-label="Sections of the song">{"".join(links)}</nav>'


def _sections(
    song: Song, pictures: PictureCache, pairs: dict[str, tuple[str, ...]]
) -> Iterator[str]:
    columns = (
        song.sections[name].tolist() for name in ("section", "first_measure", "last_measure")
    )
    for number, (label, first, last) in enumerate(zip(*columns, strict=True), 1):
        choices, pair = Choices(label), pairs[label]
        necks, problems = pictures.necks(choices, pair, (first, last))
        title = escape_html(f"{label} · {bars_words(range(first, last + 1))}")
        cannot = f"<p>{escape_html('. '.join(problems))}</p>" if problems else ""
        found = _findings(pictures.found(choices, choices))
        yield (
            f'<section id="s{number}" data-section="{escape_html(json.dumps([label]))}">'
            f"<h2>{title}</h2>{_strips(pictures, choices, pair, (first, last))}{cannot}"
            f'<div class="below">{necks}{found}</div></section>'
        )


def _strips(
    pictures: PictureCache, choices: Choices, pair: tuple[str, ...], bars: tuple[int, int]
) -> str:
    """Strip and ranges of a section, a few bars a line."""
    lines = []
    for first in range(bars[0], bars[1] + 1, _A_LINE):
        shown = first, min(first + _A_LINE - 1, bars[1])
        chart = pictures.charts(choices, pair, shown)
        label = f"{choices.section}, {bars_words(chart.scale.bars)}: {listed(pair)}"
        lines.append(draw_chart(chart, None, None, label, _bar_attributes))
    return "".join(lines)


def _bar_attributes(bar: int) -> str:
    """A bar can be linked to, and is marked while it sounds."""
    return f'id="bar{bar}" data-bars="{bar} {bar}"'


def _findings(found: tuple[Found, ...]) -> str:
    title = counted(len(found), "finding") if found else "No findings here"
    rows = "".join(
        f'<li><a href="#bar{each.bars[0]}">{escape_html(each.what)}</a> '
        f'<span class="severity">severity {each.severity:.2f}</span> '
        f'<span class="why">{escape_html(each.why)}</span></li>'
        for each in found
    )
    return (
        f'<section class="findings" aria-label="Findings"><h3>{title}</h3><ul>{rows}</ul></section>'
    )
