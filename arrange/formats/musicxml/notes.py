"""The notes of a score as columns: pitch, place, string, fret, technique, ties."""

from __future__ import annotations

from typing import Any

import numpy as np

from arrange.formats.musicxml.attributes import Attributes
from arrange.formats.musicxml.events import CODE, Array, Events
from arrange.formats.musicxml.timing import Timing
from arrange.formats.written import TECHNIQUES
from arrange.pitch import STEPS

_BIT = {technique: 1 << at for at, technique in enumerate(TECHNIQUES)}
# element, value of its text or attribute (None for any) -> technique. A slide, hammer-on or
# pull-off is told at the note that it leaves.
_SIGNS: tuple[tuple[str, str | None, str], ...] = (
    ("slide", "start", "slide"),
    ("glissando", "start", "slide"),
    ("hammer-on", "start", "hammer-on"),
    ("pull-off", "start", "pull-off"),
    ("tied", "let-ring", "let ring"),
    ("tie", "let-ring", "let ring"),
    ("wavy-line", "start", "vibrato"),
    ("mute", "palm", "palm mute"),
    ("mute", "on", "muted"),
    ("notehead", "x", "muted"),
    ("bend", None, "bend"),
    ("harmonic", None, "harmonic"),
    ("tap", None, "tap"),
    ("cue", None, "cue"),
)


def note_columns(
    events: Events, said: Attributes, timing: Timing, notices: list[str]
) -> tuple[dict[str, Array], list[str], list[str], Array]:
    """Return the note columns of ``Written``, its voices and sources, and each note's staff.

    Rests are left out. The string and fret are as the file says, the fret from the capo.

    Raises
    ------
    ReadError
        If a pitch has a step that is no letter A to G, or lies off the MIDI range.
    """
    heads = events.at("note")
    number_of = np.cumsum(events.codes == CODE["note"]) - 1
    in_note = events.codes[events.container] == CODE["note"]

    def texts(tag: str) -> Array:
        """Index of the text of a note's element, 0 without it."""
        column = np.zeros(len(heads), dtype=np.int64)
        at = events.at(tag)
        at = at[in_note[at]]
        column[number_of[at]] = events.values[at]
        return column

    def has(tag: str, text: str | None = None) -> Array:
        column = np.zeros(len(heads), dtype=bool)
        at = events.at(tag)
        at = at[in_note[at]]
        if text is not None:
            at = at[np.array([each == text for each in events.texts])[events.values[at]]]
        column[number_of[at]] = True
        return column

    chord, grace = has("chord"), has("grace")
    # A chord's further notes begin with its first, and are in its voice unless they say so.
    head = np.maximum.accumulate(np.where(chord, 0, np.arange(len(heads))))
    stray = chord & (events.measure[heads] != events.measure[heads[head]])
    if stray.any():
        notices.append(f"{int(stray.sum())} chord notes have no first note before them: kept alone")
        head = np.where(stray, np.arange(len(heads)), head)
    voice = texts("voice")
    voice = np.where(voice == 0, voice[head], voice)
    pitch, sounding = _pitches(events, heads, texts, has("unpitched"))
    staff = np.nan_to_num(events.numbers[texts("staff")], nan=1).astype(np.int64)
    staff = np.where(texts("staff") == 0, staff[head], staff)
    pitch += _transpositions(events, said, heads, staff)
    _check_pitches(events, heads, pitch)

    technique = np.zeros(len(heads), dtype=np.int64)
    for tag, text, name in _SIGNS:
        technique[has(tag, text)] |= _BIT[name]
    technique |= np.where(_muted_from(events)[heads], _BIT["palm mute"], 0)
    duration = np.where(grace, 0, timing.duration[heads])
    columns = {
        "part": events.part[heads],
        "measure": timing.bar[heads],
        "offset": timing.offset[heads[head]],
        "duration": duration,
        "pitch": pitch,
        "voice": voice - 1,
        "string": np.nan_to_num(events.numbers[texts("string")], nan=-1).astype(np.int64),
        "fret": np.nan_to_num(events.numbers[texts("fret")], nan=-1).astype(np.int64),
        "technique": technique,
        "grace": grace,
        "tie_start": has("tie", "start") & ~grace,
        "tie_stop": has("tie", "stop") & ~grace,
        "source": np.arange(len(heads)),
    }
    sources = _sources(events, heads)
    empty = sounding & (duration == 0) & ~grace
    if empty.any():
        notices.append(f"{int(empty.sum())} notes have no duration: kept, without any")
    columns = {name: column[sounding] for name, column in columns.items()}
    return columns, events.texts[1:], sources, staff[sounding]


def _pitches(events: Events, heads: Array, texts: Any, unpitched: Array) -> tuple[Array, Array]:
    """Written pitch of each note (NaN if it has none), and whether it is one, not a rest."""
    steps = np.array([STEPS.get(text, -1) for text in events.texts], dtype=np.float64)
    step, octave = texts("step"), events.numbers[texts("octave")]
    pitched = step > 0
    bad = pitched & ((steps[step] < 0) | ~np.isfinite(octave))
    if bad.any():
        at = heads[np.argmax(bad)]
        raise events.refuse(
            at, f"a pitch of step {events.texts[step[np.argmax(bad)]]!r} without a right octave; "
            "a step is a letter A to G, an octave a number 0 to 9"
        )  # fmt: skip
    alter = np.nan_to_num(events.numbers[texts("alter")], nan=0.0)
    pitch = np.where(pitched, 12 * (octave + 1) + steps[step] + alter, np.nan)
    return pitch, pitched | unpitched


def _check_pitches(events: Events, heads: Array, pitch: Array) -> None:
    off = (pitch < 0) | (pitch > 127)
    if off.any():
        at = int(np.argmax(off))
        raise events.refuse(
            heads[at],
            f"a note sounds at MIDI number {pitch[at]:g}, off the range 0 to 127; "
            "look at its octave and at the part's transposition",
        )


def _transpositions(events: Events, said: Attributes, heads: Array, staff: Array) -> Array:
    """Semitones from written to sounding for each note."""
    shift = np.zeros(len(heads))
    for event, number, semitones in said.transposes:  # later ones overwrite, to the part's end
        from_here = (heads > event) & (events.part[heads] == events.part[event])
        shift[from_here & ((staff == number) | (number == 0))] = semitones
    return shift


def _muted_from(events: Events) -> Array:
    """Which events lie after a `sound` that mutes with the palm, and before one that ends it."""
    at = events.at("mute")
    at = at[events.codes[events.container[at]] == CODE["sound"]]
    state = np.zeros(len(events.codes), dtype=bool)
    for event in at.tolist():
        after = (events.part == events.part[event]) & (np.arange(len(state)) > event)
        state[after] = events.texts[events.values[event]] == "palm"
    return state


def _sources(events: Events, heads: Array) -> list[str]:
    """The notes' ids in the file; where they have none, n and their place among its notes."""
    given = events.values[heads]
    return [
        events.texts[value] if value else f"n{number}"
        for number, value in enumerate(given.tolist(), 1)
    ]
