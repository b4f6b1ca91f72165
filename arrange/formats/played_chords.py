"""The chords table: the symbols of the printed bars, in played order, each up to the next."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np

from arrange.formats.notices import first_notices
from arrange.formats.written import PlayedBars, Written
from arrange.tables.columns import integer_column, object_column, text_column
from arrange.theory.chord_symbols import settled_chord
from arrange.theory.chords import Chord, chord_intervals, chord_number, chord_suffix, chord_symbol
from arrange.theory.pitch import parse_pitch_class


def chord_columns(written: Written, played: PlayedBars, notices: list[str]) -> dict[str, Any]:
    """Return the columns of the chords table; what is left out is added to the notices."""
    starts = played.starts
    by_bar: dict[int, dict[int, Chord]] = {}
    doubled: list[str] = []
    for measure, offset, chord in written.chords:
        first = by_bar.setdefault(measure, {}).setdefault(offset, chord)
        if first is not chord and chord_symbol(first) != chord_symbol(chord):
            doubled.append(
                f"measure {written.numbers[measure]}: two chord symbols at one place, "
                f"{chord_symbol(first)} and {chord_symbol(chord)}; the first is kept"
            )
    notices += first_notices(doubled)
    rows = [
        (bar, starts[bar] + offset, chord)
        for bar, measure in enumerate(played.order.tolist())
        for offset, chord in sorted(by_bar.get(measure, {}).items())
    ] if by_bar else []  # fmt: skip
    bars = np.array([bar for bar, _, _ in rows], dtype=np.int64)
    onsets = np.array([onset for _, onset, _ in rows], dtype=np.int64)
    ends = np.append(onsets[1:], starts[-1]) if rows else onsets
    holds = ends > onsets
    if not holds.all():
        notices.append(
            f"{int((~holds).sum())} chord symbols at the very end of a bar are left out: "
            "the next chord or the end follows at once"
        )
        rows = [row for row, held in zip(rows, holds.tolist(), strict=True) if held]
        bars, onsets, ends = bars[holds], onsets[holds], ends[holds]
    cells = [_chord_row(chord, written.keys[played.order[bar]]) for bar, _, chord in rows]
    symbols, roots, basses, kinds, members, degrees = (
        zip(*cells, strict=True) if cells else [()] * 6
    )
    return {
        "onset": onsets / written.ticks,
        "duration": (ends - onsets) / written.ticks,
        "measure": bars + 1,
        "section": text_column(played.labels, played.sections[bars]),
        "symbol": text_column(symbols),
        "root": integer_column(roots, np.array(roots, dtype=np.int64) < 0),
        "bass": integer_column(basses, np.array(basses, dtype=np.int64) < 0),
        "kind": text_column(kinds),
        "pitch_classes": object_column(members),
        "degree": text_column(degrees),
    }


@functools.lru_cache(maxsize=4096)
def _chord_row(
    chord: Chord, key: str | None
) -> tuple[str, int, int, str, tuple[int, ...], str | None]:
    """Symbol, root, bass (-1 for none), kind, pitch classes and number of a chord."""
    chord = settled_chord(chord)
    symbol = chord_symbol(chord)
    if not chord.root:
        return symbol, -1, -1, chord.kind, (), None
    root = parse_pitch_class(chord.root)
    members = tuple((root + above) % 12 for above in chord_intervals(chord.kind, chord.degrees))
    bass = parse_pitch_class(chord.bass) if chord.bass else root
    number = chord_number(root, chord_suffix(chord), bass, key) if key else None
    return symbol, root, bass, chord.kind, members, number
