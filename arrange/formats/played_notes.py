"""The notes table: the notes of the printed bars, in played order, their ties merged."""

from __future__ import annotations

from typing import Any

import numpy as np

from arrange.errors import ReadError
from arrange.formats.notices import outlasting_notice
from arrange.formats.ties import merge_ties
from arrange.formats.written import TECHNIQUES, Array, PlayedBars, Written
from arrange.song_size import MOST_NOTES
from arrange.tables.columns import integer_column, text_column
from arrange.text.words import first_few


def note_columns(written: Written, played: PlayedBars, notices: list[str]) -> dict[str, Any]:
    """Return the columns of the notes table; what is left out or mended is added to the notices.

    Raises
    ------
    ReadError
        If the repeats ask for more than ``MOST_NOTES``.
    """
    notes, starts = written.notes, played.starts
    asked = int(np.bincount(notes["measure"], minlength=len(written.numbers))[played.order].sum())
    if asked > MOST_NOTES:
        raise ReadError(
            f"played out, its repeats ask for {asked:,} notes, more than {MOST_NOTES:,}; "
            "repeat less often, or read the page order with played=False"
        )
    rows, bars = _played_rows(notes["measure"], played.order, len(written.numbers))
    onset = starts[bars] + notes["offset"][rows]
    duration = notes["duration"][rows]
    # A note that runs past its bar is kept as written; the order is by time, part and pitch.
    pitch = notes["pitch"][rows]
    # Grace notes come before the note that they lead to, in the order of the page.
    place = np.where(notes["grace"][rows], rows - 1e9, pitch)
    sort = np.lexsort((place, notes["part"][rows], onset))
    rows, bars, onset, duration = rows[sort], bars[sort], onset[sort], duration[sort]
    own = {name: notes[name][rows] for name in ("part", "pitch", "voice", "tie_start", "tie_stop")}
    head, duration, open_ties = merge_ties(
        {**own, "onset": onset, "duration": duration}, written.ticks
    )
    if notes["tie_start"].any() and not notes["tie_stop"].any():
        notices.append(
            "its ties are marked only where they begin: each goes on in the note of its pitch "
            "that follows at once"
        )
    keep = head == np.arange(len(head))
    grace = notes["grace"][rows]
    keep &= np.where(grace, onset <= starts[-1], onset < starts[-1])
    late = keep & (onset + duration > starts[-1])
    if late.any():
        duration = np.where(late, np.maximum(starts[-1] - onset, 0), duration)
        notices.append(outlasting_notice(int(late.sum())))
    technique = notes["technique"][rows]
    np.bitwise_or.at(technique, head, technique.copy())  # a sign may stand at any tied note
    technique = technique[keep]
    _report_open_ties(written, rows[open_ties], rows[keep & ~open_ties], notices)
    rows, bars, onset, duration = (values[keep] for values in (rows, bars, onset, duration))
    technique, technique_code = np.unique(technique, return_inverse=True)
    string, fret = notes["string"][rows], notes["fret"][rows]
    sources = written.sources or [f"n{number}" for number in range(1, len(notes["part"]) + 1)]
    return {
        "part": text_column(written.parts["part"], notes["part"][rows]),
        "onset": onset / written.ticks,
        "duration": duration / written.ticks,
        "measure": bars + 1,
        "section": text_column(played.labels, played.sections[bars]),
        "pitch": notes["pitch"][rows],
        "voice": text_column(written.voices, notes["voice"][rows]),
        "string": integer_column(string, string < 0),
        "fret": integer_column(fret, fret < 0),
        "technique": text_column([_technique_text(bits) for bits in technique], technique_code),
        "grace": notes["grace"][rows],
        "source_id": text_column(sources, rows),
    }


def _report_open_ties(
    written: Written, open_rows: Array, other_rows: Array, notices: list[str]
) -> None:
    """Add a notice of the ties that end nowhere, on no time round."""
    if not len(open_rows):
        return
    never = np.setdiff1d(open_rows, other_rows)
    if len(never):
        measures = written.notes["measure"][never]
        names = dict.fromkeys(
            f"{written.parts['part'][part]} measure {written.numbers[measure]}"
            for part, measure in zip(written.notes["part"][never], measures, strict=True)
        )
        notices.append(f"a tie ends nowhere and was taken as none: {first_few(names, 6)}")


def _technique_text(bits: int) -> str | None:
    return ", ".join(name for at, name in enumerate(TECHNIQUES) if bits >> at & 1) or None


def _played_rows(measure: Array, order: Array, bars: int) -> tuple[Array, Array]:
    """The row of each played note on the page, and the played bar that it falls in."""
    counts = np.bincount(measure, minlength=bars)
    by_bar = np.argsort(measure, kind="stable")
    firsts = np.concatenate([[0], np.cumsum(counts)])[:-1]
    per_bar = counts[order]
    bars_played = np.repeat(np.arange(len(order)), per_bar)
    within = np.arange(len(bars_played)) - np.repeat(np.cumsum(per_bar) - per_bar, per_bar)
    return by_bar[np.repeat(firsts[order], per_bar) + within], bars_played
