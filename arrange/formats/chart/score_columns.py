"""The columns of a printed score, from the notes of a chart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np

from arrange.formats.chart.building import Score
from arrange.formats.chart.header import Part
from arrange.formats.written import DEFAULT_TEMPO, Written


def written_score(score: Score, parts: Sequence[Part]) -> Written:
    """Return a chart's score in whole columns, on one grid of ticks."""
    under = {bar.frame.length.denominator for bar in score.bars}
    under |= {onset.denominator for _, onset, _ in score.chords}
    for note in score.notes:
        under |= {note.event.onset.denominator, note.event.duration.denominator}
    ticks = math.lcm(1, *under)

    def whole(time: Fraction) -> int:
        return time.numerator * (ticks // time.denominator)

    voices = list(dict.fromkeys(note.voice for note in score.notes))
    notes = _note_columns(score, voices, whole)
    return Written(
        ticks=ticks,
        parts={
            **{
                name: [getattr(part, name) for part in parts]
                for name in ("instrument", "family", "capo", "drive", "echo", "level", "program",
                             "player", "transpose", "frets_from", "ring")
            },
            "part": [part.label for part in parts],
            "tuning": [part.tuning[::-1] or None for part in parts],
        },
        notes=notes,
        voices=voices,
        numbers=[bar.number for bar in score.bars],
        lengths=np.array([whole(bar.frame.length) for bar in score.bars], dtype=np.int64),
        meters=[bar.meter for bar in score.bars],
        keys=[bar.key for bar in score.bars],
        tempos=score.tempos or [(0, 0, DEFAULT_TEMPO)],
        chords=[(bar, whole(onset), chord) for bar, onset, chord in score.chords],
        marks=score.marks,
        double_bars=[],
        bars=[bar.signs for bar in score.bars],
        kinds=score.kinds,
        passes=score.passes,
        remarks=score.remarks,
        setups=score.setups,
    )  # fmt: skip


def _note_columns(score: Score, voices: list[str], whole: Any) -> dict[str, np.ndarray[Any, Any]]:
    """A value a note, from a row for each event."""
    voice_of = {voice: code for code, voice in enumerate(voices)}
    rows = [
        (
            note.part,
            note.measure,
            whole(note.event.onset),
            whole(note.event.duration),
            voice_of[note.voice],
            note.event.techniques,
            note.event.grace,
            note.tie_start,
            note.tie_stop,
            len(note.event.tones),
        )
        for note in score.notes
    ]
    events = np.array(rows, dtype=np.int64).reshape(len(rows), 10)
    names = ("part", "measure", "offset", "duration", "voice", "technique",
             "grace", "tie_start", "tie_stop")  # fmt: skip
    columns = np.repeat(events[:, :9], events[:, 9], axis=0)
    notes = {name: columns[:, number] for number, name in enumerate(names)}
    for name in ("grace", "tie_start", "tie_stop"):
        notes[name] = notes[name].astype(np.bool_)
    tones = [tone for note in score.notes for tone in note.event.tones]
    return {
        **notes,
        "pitch": np.array([tone.pitch for tone in tones], dtype=np.float64),  # none becomes NaN
        "string": np.array([tone.string for tone in tones], dtype=np.int64),
        "fret": np.array([tone.fret for tone in tones], dtype=np.int64),
    }
