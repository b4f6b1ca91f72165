"""Cells as ``note`` elements: spelling, accidentals, ties, strings, techniques."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from arrange.formats.musicxml.writing_durations import Value
from arrange.formats.musicxml.writing_elements import add, decimal
from arrange.formats.musicxml.writing_layers import Cell, Piece, Tone
from arrange.theory.pitch import C_IN_CIRCLE, CIRCLE, STEPS, key_fifths, pitch_class_name

LOWEST, HIGHEST = 12, 131  # written pitches that octaves 0 to 9 can hold: C0 to B9

_MARKS = ("bend", "harmonic", "tap")
_LETTERS = {"slide": "", "hammer-on": "H", "pull-off": "P"}
# MusicXML accidental-value by the semitones of its alter.
_ACCIDENTALS = {-2.0: "flat-flat", -1.5: "three-quarters-flat", -1.0: "flat", -0.5: "quarter-flat",
                0.0: "natural", 0.5: "quarter-sharp", 1.0: "sharp", 1.5: "three-quarters-sharp",
                2.0: "double-sharp"}  # fmt: skip
_MIDDLE_LINE = ("B", 4)  # where a note without pitch is put
# A table says that a string is bent, not how far: a whole tone, as is usual (common practice).
_BEND_SEMITONES = 2

Spelling = tuple[str, float, int]  # step, alter, octave


@dataclass
class Staff:
    """How a part is written.

    Parameters
    ----------
    transpose : int
        Semitones from written to sounding.
    is_tab : bool
        A tablature staff, which needs no accidentals.
    key : str or None
        The written key.
    number : int
        1 or 2 where the part has two staves.
    """

    transpose: int
    is_tab: bool
    key: str | None = None
    number: int = 0

    def __post_init__(self) -> None:
        self._spellings: dict[tuple[float, str | None], Spelling] = {}

    def spell(self, pitch: float) -> Spelling:
        """Return step, alter and octave of a sounding pitch, as it is written in the key."""
        spelling = self._spellings.get((pitch, self.key))
        if spelling is None:
            spelling = _spelled(pitch - self.transpose, self.key)
            self._spellings[pitch, self.key] = spelling
        return spelling


def _spelled(written: float, key: str | None) -> Spelling:
    nearest = math.floor(written + 0.5 - 1e-9)
    name = pitch_class_name(nearest % 12, key)
    sign = name.count("#") - name[1:].count("b")
    octave = (nearest - STEPS[name[0]] - sign) // 12 - 1
    if not 0 <= octave <= 9:  # B# below C0, Cb above B9
        return _spelled(written, None)
    return name[0], round(sign + written - nearest, 6), octave


def accidentals_of(pieces: Iterable[Piece], staff: Staff) -> dict[tuple[Tone, int], str]:
    """Return the accidentals that a bar needs, by tone and its offset in the bar.

    An accidental holds to the end of the bar, for its line and octave, in all voices.
    """
    if staff.is_tab:
        return {}
    signature = _signature(staff.key)
    holds: dict[tuple[str, int], float] = {}
    needed = {}
    for piece in sorted(pieces, key=lambda piece: piece.offset):
        for tone in piece.tones:
            if math.isnan(tone.pitch) or not piece.is_first:
                continue
            step, alter, octave = staff.spell(tone.pitch)
            if holds.get((step, octave), signature.get(step, 0.0)) != alter:
                holds[step, octave] = alter
                if alter in _ACCIDENTALS:
                    needed[tone, piece.offset] = _ACCIDENTALS[alter]
    return needed


def _signature(key: str | None) -> dict[str, float]:
    """Step -> semitones that the key signature alters it by."""
    fifths = key_fifths(key) if key else 0
    first = C_IN_CIRCLE - 1 + fifths  # F, C, G, D, A, E, B stand in a row there
    names = CIRCLE[max(first, 0) : first + 7]
    return {name[0]: float(name.count("#") - name[1:].count("b")) for name in names}


def write_cell(
    measure: Any, cell: Cell, voice: str, staff: Staff, accidentals: dict[tuple[Tone, int], str]
) -> None:
    """Add the notes, the rest or the gap of a cell to a measure."""
    if cell.is_gap:
        move(measure, "forward", cell.length)
        return
    if not cell.tones:
        note = add(measure, "note")
        add(note, "rest", attributes={"measure": "yes"} if cell.is_bar else None)
        _write_length(note, cell, voice, "")
        _write_staff(note, staff)
        if cell.tuplet:
            add(add(note, "notations"), "tuplet", attributes={"type": cell.tuplet})
        note.tail = "\n"
    for place, tone in enumerate(cell.tones):
        _write_tone(measure, tone, cell, voice, staff, accidentals, in_chord=place > 0)


def move(measure: Any, tag: str, length: int) -> None:
    """Add a ``forward`` or ``backup`` by so many divisions."""
    element = add(measure, tag)
    add(element, "duration", length)
    element.tail = "\n"


def _write_length(note: Any, cell: Cell, voice: str, accidental: str, ties: str = "") -> None:
    """Duration, ties, voice, type, dots, accidental, tuplet: their order is the schema's."""
    if cell.length:
        add(note, "duration", cell.length)
    for kind in ties.split():
        add(note, "tie", attributes={"type": kind})
    if voice:
        add(note, "voice", voice)
    value = cell.value
    if value is not None:
        add(note, "type", value.type)
        for _ in range(value.dots):
            add(note, "dot")
    if accidental:
        add(note, "accidental", accidental)
    if value is not None and value.actual > 1:
        _write_tuplet(note, value)


def _write_staff(note: Any, staff: Staff) -> None:
    if staff.number:
        add(note, "staff", staff.number)


def _write_tuplet(note: Any, value: Value) -> None:
    ratio = add(note, "time-modification")
    add(ratio, "actual-notes", value.actual)
    add(ratio, "normal-notes", value.normal)


def _write_tone(
    measure: Any,
    tone: Tone,
    cell: Cell,
    voice: str,
    staff: Staff,
    accidentals: dict[tuple[Tone, int], str],
    *,
    in_chord: bool,
) -> None:
    is_cue = "cue" in tone.techniques
    note = add(measure, "note", attributes={"id": tone.id} if cell.is_first else None)
    if tone.grace:
        add(note, "grace")
    if is_cue:
        add(note, "cue")
    if in_chord:
        add(note, "chord")
    is_tied = not (cell.is_first and cell.is_last)
    _write_pitch(note, tone.pitch, staff, is_tied=is_tied)
    ties = ("" if cell.is_first else "stop ") + ("" if cell.is_last else "start")
    accidental = accidentals.get((tone, cell.offset), "") if cell.is_first else ""
    _write_length(note, cell, voice, accidental, "" if is_cue else ties)
    if "muted" in tone.techniques and not math.isnan(tone.pitch):
        add(note, "notehead", "x")
    _write_staff(note, staff)
    _write_notations(note, tone, cell, ties, in_chord=in_chord)
    mutes = [
        kind
        for name, kind in (("palm mute", "palm"), ("muted", "on"))
        if name in tone.techniques and (name == "palm mute" or math.isnan(tone.pitch))
    ]
    if mutes and cell.is_first:
        add(add(note, "play"), "mute", mutes[0])
    note.tail = "\n"


def _write_pitch(note: Any, pitch: float, staff: Staff, *, is_tied: bool) -> None:
    """Add the pitch; of tied notes with its alter even where that is 0.

    The natural sign stands at the first of them only, and music21 joins no note with a natural
    to one without.
    """
    if math.isnan(pitch):
        unpitched = add(note, "unpitched")
        add(unpitched, "display-step", _MIDDLE_LINE[0])
        add(unpitched, "display-octave", _MIDDLE_LINE[1])
        return
    step, alter, octave = staff.spell(pitch)
    element = add(note, "pitch")
    add(element, "step", step)
    if alter or is_tied:
        add(element, "alter", decimal(alter))
    add(element, "octave", octave)


def _write_notations(note: Any, tone: Tone, cell: Cell, ties: str, *, in_chord: bool) -> None:
    """Ties, brackets, slides and what is written at a string; nothing where there is nothing.

    Techniques stand at the first of tied notes: that one is struck.
    """
    notations = add(note, "notations")
    for kind in ties.split():
        add(notations, "tied", attributes={"type": kind})
    if cell.is_first and "let ring" in tone.techniques:
        add(notations, "tied", attributes={"type": "let-ring"})
    if cell.tuplet and not in_chord:
        add(notations, "tuplet", attributes={"type": cell.tuplet})
    signs = [(name, number, "stop") for name, number in tone.arrives] if cell.is_first else []
    signs += [(name, number, "start") for name, number in tone.leads] if cell.is_first else []
    technical = [sign for sign in signs if sign[0] != "slide"]
    for name, number, kind in signs:
        if name == "slide":
            add(notations, "slide", attributes={"type": kind, "number": str(number)})
    if "vibrato" in tone.techniques:
        _write_vibrato(notations, cell)
    marks = [name for name in tone.techniques if name in _MARKS] if cell.is_first else []
    if tone.string or tone.fret >= 0 or technical or marks:
        _write_technical(add(notations, "technical"), tone, technical, marks)
    if not len(notations):
        note.remove(notations)


def _write_vibrato(notations: Any, cell: Cell) -> None:
    """A wavy line from the first of tied notes to the last."""
    ends = [kind for kind, is_here in (("start", cell.is_first), ("stop", cell.is_last)) if is_here]
    if ends:
        ornaments = add(notations, "ornaments")
        for kind in ends:
            add(ornaments, "wavy-line", attributes={"type": kind})


def _write_technical(
    technical: Any, tone: Tone, signs: list[tuple[str, int, str]], marks: list[str]
) -> None:
    if tone.string:
        add(technical, "string", tone.string)
    if tone.fret >= 0:
        add(technical, "fret", tone.fret)
    for name, number, kind in signs:
        text = _LETTERS[name] if kind == "start" else ""
        add(technical, name, text, {"type": kind, "number": str(number)})
    if "bend" in marks:
        add(add(technical, "bend"), "bend-alter", _BEND_SEMITONES)
    for name, text in (("harmonic", ""), ("tap", "T")):
        if name in marks:
            add(technical, name, text)
