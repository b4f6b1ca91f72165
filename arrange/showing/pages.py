"""A page for each type that a notebook shows: what it is, a picture, a sound, tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pandas as pd

from arrange import plots
from arrange.condensing import Condensation
from arrange.decisions import DecisionLog
from arrange.errors import ArrangeError
from arrange.plots.in_words import image_html
from arrange.quantities.register import part_ranges
from arrange.report.pieces import piece_text
from arrange.report.readable_tables import SORTING, table_html
from arrange.report.song_rows import part_rows, section_rows, song_facts
from arrange.revoicing import Proposal, proposals_table
from arrange.showing.changed_passage import changed_passage
from arrange.songbook import Songbook
from arrange.songbook.page import songbook_piece
from arrange.sound import Sound, join_sounds, render_sound
from arrange.tables.song import Song
from arrange.text.letters import readable
from arrange.text.markup import escape_html
from arrange.text.part_lists import split_parts
from arrange.text.words import counted, first_up, listed, measures_words

_BARS = 2  # that are heard
_LONGEST = 15.0  # seconds of a passage that is heard

_PART_WORDS = {"part": "part", "family": "family", "tuning": "tuning", "capo": "capo",
               "sound": "sound", "range": "lowest to highest", "notes": "notes"}  # fmt: skip
_SECTION_WORDS = {"section": "section", "played": "measures", "time": "starts at",
                  "meter": "meter", "key": "key", "tempo": "quarter notes a minute"}  # fmt: skip
# Of proposals: the same in each row, or said by its sentence.
_IN_THE_SENTENCE = ["severity_before", "top_semitones", "given_up"]
# Of decisions, what is read first to the left.
_DECIDED = ["section", "measures", "parts", "what", "why", "waives", "status", "date", "before",
            "after", "id"]  # fmt: skip
_FINDINGS = ["section", "measure", "kind", "parts", "severity", "why"]


def song_page(song: Song) -> str:
    """Return a song's page: how it grows, its beginning, its parts and sections."""
    parts = _words(part_rows(song, part_ranges(song.notes, "song", song.parts)), _PART_WORDS)
    notices = f"<ul>{''.join(f'<li>{escape_html(each)}</li>' for each in song.notices)}</ul>"
    return _piece(
        readable(song.title or song.source or "A song"),
        _facts(song_facts(song)),
        notices if song.notices else "",
        _picture(lambda: plots.plot_form(song)),
        _first_bars(song, "ar.render_sound(song)"),
        _titled("The parts", parts),
        _titled("The form, as played", _words(section_rows(song), _SECTION_WORDS)),
    )


def proposal_page(proposal: Proposal) -> str:
    """Return a proposal's page: before and after, as picture and sound, what it ends and brings."""
    song, passage = proposal.song, changed_passage(proposal.written, proposal.song)
    beside = proposal.ended.sort_values("severity", ascending=False)["parts"].head(1)
    clashing = [part for parts in beside for part in split_parts(parts)]
    parts = list(dict.fromkeys([*passage.parts, *clashing]))[: max(2, len(passage.parts))]
    return _piece(
        proposal.idea,
        _facts(proposal.why),
        _picture(lambda: plots.plot_before_after(proposal.written, song, parts)[0]),
        _before_after_sound(proposal.written, song, passage.measures),
        _titled("What it ends", proposal.ended[_FINDINGS], song),
        _titled("What it brings", proposal.brought[_FINDINGS], song),
        _titled("What it costs, in mm of the hand's way", _costs(proposal)),
    )


def proposals_page(proposals: Sequence[Proposal]) -> str:
    """Return the page of proposals: a row each, the best first, no wider than a page."""
    table = proposals_table(proposals).drop(columns=_IN_THE_SENTENCE)
    table.insert(0, "number", range(len(table)))
    return _piece(
        counted(len(proposals), "proposal"),
        _facts("The best first. A number in brackets shows one as picture and sound: ideas[0]."),
        table_html(table),
    )


def condensation_page(condensation: Condensation) -> str:
    """Return a condensation's page: who takes what, its beginning, the choices, what is lost."""
    choices = condensation.choices
    lost = condensation.lost
    proof = (
        "no choice is worth more"
        if condensation.is_proven
        else f"another choice could be worth at most {condensation.gap:.1%} more"
    )
    players = choices["player"].drop_duplicates()
    layers = counted(len(condensation.roles), "layer")
    return _piece(
        f"{layers} for {listed(players)}",
        _facts(f"{condensation.share:.0%} of what all layers are worth; {proof}."),
        _picture(lambda: plots.plot_layers(condensation.recorded, choices)),
        _first_bars(condensation.song, "ar.render_sound(two.song)"),
        _titled("Who plays what", choices[["section", "player", "action", "layers", "reason"]]),
        _folded(
            f"What is lost: {counted(len(lost), 'row')}",
            lost[["section", "layer", "role", "what", "measures", "why"]],
        ),
    )


def log_page(log: DecisionLog) -> str:
    """Return the page of a log of decisions: a row each."""
    passed_over = "".join(_facts(f"In the log, {each}.") for each in log.notices)
    table = log.table[_DECIDED]
    table = table.loc[:, (table != "").any()]  # no column that nothing stands in
    return _piece(
        counted(len(log.decisions) or "no", "decision"),
        passed_over,
        table_html(table) if len(table) else "",
    )


def songbook_page(book: Songbook) -> str:
    """Return the page of a songbook, as it is written into a file."""
    if book.studies:
        return songbook_piece(book)
    return _piece("A songbook without songs", _titled("What could not be read", book.faults))


def _piece(title: str, *pieces: str) -> str:
    look = piece_text("report.css")
    return (
        '<div class="arrange-study arrange-piece mathjax_ignore tex2jax_ignore">'
        f"<style>{look}</style><h3>{escape_html(title)}</h3>{''.join(pieces)}{SORTING}</div>"
    )


def _facts(text: str) -> str:
    return f'<p class="facts">{escape_html(readable(text))}</p>'


def _titled(title: str, table: pd.DataFrame, song: Song | None = None) -> str:
    if table.empty:
        return f"<h4>{escape_html(title)}</h4><p>Nothing.</p>"
    return f"<h4>{escape_html(title)}</h4>{table_html(table, song)}"


def _folded(title: str, table: pd.DataFrame) -> str:
    return f"<details><summary>{escape_html(title)}</summary>{table_html(table)}</details>"


def _words(rows: Sequence[dict[str, Any]], names: dict[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows)[list(names)].rename(columns=names)


def _picture(draw: Callable[[], Any]) -> str:
    ax = draw()
    words = plots.picture_words(ax)
    image = image_html(plots.render_picture(ax), "image/svg+xml", words)
    return f'<figure tabindex="0">{image}</figure>'  # on a phone it is wider than the screen


def _costs(proposal: Proposal) -> pd.DataFrame:
    costs = {name: cost for name, cost in proposal.costs.items() if cost}
    return pd.DataFrame({"for": [*costs, "all"], "mm": [*costs.values(), proposal.cost]})


def _first_bars(song: Song, call: str) -> str:
    """The first bars in which something sounds, and the call that makes the rest."""
    sounding = song.notes.loc[song.notes["duration"] > 0, "measure"]
    first = int(sounding.min()) if len(sounding) else 1
    bars = first, min(first + _BARS - 1, len(song.measures))
    return _heard(lambda: render_sound(song, measures=bars), song, bars, f"All of it: {call}")


def _before_after_sound(before: Song, after: Song, measures: tuple[int, int]) -> str:
    bars = measures[0], min(measures[1], measures[0] + _BARS - 1)

    def both() -> Sound:
        return join_sounds(*(render_sound(each, measures=bars) for each in (before, after)))

    return _heard(both, before, bars, "Before, then after.")


def _heard(sound: Callable[[], Sound], song: Song, bars: tuple[int, int], more: str) -> str:
    """A player of some bars; nothing where they are long or silent."""
    onsets = song.measures["onset"].to_numpy()
    end = song.duration if bars[1] >= len(onsets) else onsets[bars[1]]
    if song.seconds(float(end)) - song.seconds(float(onsets[bars[0] - 1])) > _LONGEST:
        return _facts(more)
    try:
        made = sound()
    except ArrangeError:  # a rest
        return ""
    words = f"{first_up(measures_words(*bars))}, {made.seconds:.0f} seconds. {more}"
    return f"<figure>{made._repr_html_()}<figcaption>{escape_html(words)}</figcaption></figure>"
