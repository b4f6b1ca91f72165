"""The notes of a score as columns: pitch, place, string, fret, technique, ties."""

from __future__ import annotations

from typing import Any

import numpy as np

from arrange.formats.musicxml.attributes import Attributes
from arrange.formats.musicxml.events import CODE, Array, Events
from arrange.formats.musicxml.timing import Timing, forward_fill
from arrange.formats.written import TECHNIQUES
from arrange.theory.pitch import STEPS

_BIT = {technique: 1 << at for at, technique in enumerate(TECHNIQUES)}
# element, value of its text or attribute (None for any) -> technique. A slide, hammer-on or
# pull-off is marked at the note that it leaves.
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
    """Return the note columns of ``Written``, its voices, names of notes, and each note's staff.

    Rests are left out. The string and fret are as the file says, the fret from the capo. A column
    more, ``source``, has the place of each note's name among the names.

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

    def whole(tag: str, otherwise: int) -> Array:
        """A note's element as a small whole number; `otherwise` without it or with another text."""
        values = events.numbers[texts(tag)]
        return np.where(np.abs(values) < 1000, values, otherwise).astype(np.int64)

    def has(tag: str, text: str | None = None) -> Array:
        column = np.zeros(len(heads), dtype=bool)
        at = events.at(tag)
        at = at[in_note[at]]
        if text is not None and len(at):
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
    staff = whole("staff", 1)
    staff = np.where(texts("staff") == 0, staff[head], staff)
    pitch += _transpositions(events, said, heads, staff)
    _check_pitches(events, heads, pitch)

    technique = np.zeros(len(heads), dtype=np.int64)
    for tag, text, name in _SIGNS:
        if len(events.at(tag)):
            technique[has(tag, text)] |= _BIT[name]
    # On a drum an x is a cymbal or a rim, not a muted string.
    technique[np.isnan(pitch)] &= ~_BIT["muted"]
    technique |= np.where(_muted_from(events)[heads], _BIT["palm mute"], 0)
    duration = np.where(grace, 0, timing.duration[heads])
    columns = {
        "part": events.part[heads],
        "measure": timing.bar[heads],
        "offset": timing.offset[heads[head]],
        "duration": duration,
        "pitch": pitch,
        "voice": voice - 1,
        "string": whole("string", -1),
        "fret": whole("fret", -1),
        "technique": technique,
        "grace": grace,
        "tie_start": has("tie", "start") & ~grace,
        "tie_stop": has("tie", "stop") & ~grace,
        "source": np.arange(len(heads)),
    }
    neither = ~(sounding | has("rest"))
    if neither.any():
        notices.append(f"{int(neither.sum())} notes have no pitch and are no rests: taken as rests")
    sources = _sources(events, heads)
    empty = sounding & (duration == 0) & ~grace
    if empty.any():
        notices.append(f"{int(empty.sum())} notes have no duration: read as grace notes")
        columns["grace"] = columns["grace"] | empty
    columns = {name: column[sounding] for name, column in columns.items()}
    return columns, events.texts[1:], sources, staff[sounding]


def _pitches(events: Events, heads: Array, texts: Any, unpitched: Array) -> tuple[Array, Array]:
    """Written pitch of each note (NaN if it has none), and whether it is one, not a rest."""
    steps = np.array([STEPS.get(text, -1) for text in events.texts], dtype=np.float64)
    step, octave, alter = texts("step"), texts("octave"), texts("alter")
    pitched = (step > 0) | (octave > 0)
    shift = np.where(alter > 0, events.numbers[alter], 0.0)
    bad = pitched & ((steps[step] < 0) | ~(np.abs(events.numbers[octave]) + np.abs(shift) < 100))
    if bad.any():
        first = int(np.argmax(bad))
        found = (f"{name} {events.texts[column[first]]!r}" for name, column in (
            ("step", step), ("alter", alter), ("octave", octave)
        ))  # fmt: skip
        raise events.refuse(
            heads[first],
            f"a pitch of {', '.join(found)}; a step is a letter A to G, an octave a number 0 to 9, "
            "an alter, where there is one, a number of semitones",
        )
    pitch = np.where(pitched, 12 * (events.numbers[octave] + 1) + steps[step] + shift, np.nan)
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
    if not said.transposes:
        return np.zeros(len(heads))
    everywhere = [(event, semitones) for event, number, semitones in said.transposes if not number]
    shift = forward_fill(events, everywhere, 0.0)[heads]
    for staff_number in {number for _, number, _ in said.transposes if number}:
        own = staff == staff_number
        stated = [
            (event, semitones)
            for event, number, semitones in said.transposes
            if number in (0, staff_number)
        ]
        shift[own] = forward_fill(events, stated, 0.0)[heads[own]]
    return shift


def _muted_from(events: Events) -> Array:
    """Which events lie after a `sound` that mutes with the palm, and before one that ends it."""
    at = events.at("mute")
    at = at[events.codes[events.container[at]] == CODE["sound"]]
    stated = [(event, events.texts[events.values[event]] == "palm") for event in at.tolist()]
    return forward_fill(events, stated, 0.0) > 0


def _sources(events: Events, heads: Array) -> list[str]:
    """The notes' ids in the file; where they have none, n and their place among its notes."""
    given = events.values[heads]
    return [
        events.texts[value] if value else f"n{number}"
        for number, value in enumerate(given.tolist(), 1)
    ]
