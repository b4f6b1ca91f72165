"""A part's entry in the part list, its clef, strings, capo and transposition."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from arrange.formats.musicxml.writing_elements import add, decimal, plain_text
from arrange.formats.musicxml.writing_layers import Tone
from arrange.formats.musicxml.writing_signs import write_note_name
from arrange.tables.song import Song

# Standard sounds (sounds.xml of MusicXML 4.0) of each family.
_SOUNDS = {
    "guitar": "pluck.guitar",
    "bass": "pluck.bass",
    "voice": "voice.vocals",
    "keys": "keyboard.piano",
    "drums": "drum.group.set",
}
PLAYER = "player"  # the name of the miscellaneous field of a player
_DRUM_CHANNEL = 10  # General MIDI
_CHANNELS = [channel for channel in range(1, 17) if channel != _DRUM_CHANNEL]
MIDDLE_C = 60
# Semitones within an octave as steps of a scale.
_DIATONIC = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)


class Part(NamedTuple):
    """A row of the parts table, missing values as empty texts, None or ()."""

    id: str
    label: str
    instrument: str
    family: str
    tuning: tuple[int, ...]
    capo: int
    transpose: int
    drive: str
    echo: str
    volume: float | None  # percent, where parts differ in level
    program: int | None
    player: str
    channel: int


def parts_of(song: Song) -> list[Part]:
    """Return the parts of a Song, in order."""
    table = song.parts
    level = table["level"] - table["level"].max()
    volumes = (100 * 10 ** (level / 20)).tolist() if level.any() else [None] * len(level)
    programs = [None if program is None else int(program) for program in
                table["program"].astype(object).where(table["program"].notna(), None)]  # fmt: skip
    texts = {
        name: [plain_text(text) for text in table[name]]
        for name in ("part", "instrument", "family", "drive", "echo", "player")
    }
    return [
        Part(
            f"P{row + 1}",
            texts["part"][row],
            texts["instrument"][row],
            texts["family"][row],
            _tuning(table["tuning"].iloc[row]),
            int(table["capo"].iloc[row]),
            int(table["transpose"].iloc[row]),
            texts["drive"][row],
            texts["echo"][row],
            volumes[row],
            programs[row],
            texts["player"][row],
            _DRUM_CHANNEL if texts["family"][row] == "drums" else _CHANNELS[row % len(_CHANNELS)],
        )
        for row in range(len(table))
    ]


def _tuning(value: Any) -> tuple[int, ...]:
    is_missing = value is None or isinstance(value, float)
    return () if is_missing else tuple(round(pitch) for pitch in value)


def write_entry(part_list: Any, part: Part) -> None:
    """Add a part's name, instrument, player and sound to the part list."""
    instrument = f"{part.id}-I1"
    entry = add(part_list, "score-part", attributes={"id": part.id})
    add(entry, "part-name", part.label)
    sounding = add(entry, "score-instrument", attributes={"id": instrument})
    add(sounding, "instrument-name", part.instrument or part.label)
    if part.family in _SOUNDS:
        add(sounding, "instrument-sound", _SOUNDS[part.family])
    if part.player:
        player = add(entry, "player", attributes={"id": f"{part.id}-player"})
        add(player, "player-name", part.player)
    midi = add(entry, "midi-instrument", attributes={"id": instrument})
    add(midi, "midi-channel", part.channel)
    if part.program is not None:
        add(midi, "midi-program", part.program)
    if part.volume is not None:
        add(midi, "volume", decimal(part.volume))
    entry.tail = "\n"


def write_miscellaneous(identification: Any, fields: Sequence[tuple[str, str]]) -> None:
    """Add fields of a name and a text, for which MusicXML has no element."""
    if fields:
        miscellaneous = add(identification, "miscellaneous")
        for name, text in fields:
            add(miscellaneous, "miscellaneous-field", plain_text(text), {"name": name})


def ids_of(part: Part) -> list[str]:
    """Return the XML ids that a part's entry takes."""
    return [part.id, f"{part.id}-I1", f"{part.id}-player"]


def is_tab(part: Part, tones: Sequence[Tone]) -> bool:
    """Return whether all of a part's notes lie on strings of a known tuning."""
    return bool(part.tuning) and all(
        0 < tone.string <= len(part.tuning) and tone.fret >= 0 for tone in tones
    )


def write_clefs(attributes: Any, part: Part, tones: Sequence[Tone], *, staves: int) -> None:
    """Add the clef that a part is written in; of two staves treble above, bass below."""
    if staves == 1:
        _write_clef(attributes, part, tones)
        return
    add(attributes, "staves", staves)
    for number, (sign, line) in enumerate((("G", 2), ("F", 4)), start=1):
        clef = add(attributes, "clef", attributes={"number": str(number)})
        add(clef, "sign", sign)
        add(clef, "line", line)


def _write_clef(attributes: Any, part: Part, tones: Sequence[Tone]) -> None:
    """Add the clef of a part on one staff.

    Tablature where `is_tab`; else treble for guitars, bass clef for basses, percussion for what
    has no pitch, and for others the one that their written notes lie in.
    """
    pitches = sorted(tone.pitch for tone in tones if not math.isnan(tone.pitch))
    middle = pitches[len(pitches) // 2] - part.transpose if pitches else MIDDLE_C
    clef = add(attributes, "clef")
    if is_tab(part, tones):
        add(clef, "sign", "TAB")
        add(clef, "line", max(len(part.tuning) - 1, 1))
    elif not pitches and (tones or part.family == "drums"):
        add(clef, "sign", "percussion")
    elif part.family == "guitar" or (part.family != "bass" and middle >= MIDDLE_C):
        add(clef, "sign", "G")
        add(clef, "line", 2)
    else:
        add(clef, "sign", "F")
        add(clef, "line", 4)


def write_strings(attributes: Any, part: Part, *, is_tab: bool) -> None:
    """Add the open strings, lowest on the lowest line, and the capo, where a part has them."""
    if not part.tuning and not part.capo:
        return
    details = add(attributes, "staff-details")
    if is_tab:
        add(details, "staff-lines", len(part.tuning))
    for line, pitch in enumerate(reversed(part.tuning), start=1):
        tuning = add(details, "staff-tuning", attributes={"line": str(line)})
        write_note_name(tuning, "tuning", pitch)
    if part.capo:
        add(details, "capo", part.capo)


def write_transpose(attributes: Any, part: Part) -> None:
    """Add the transposition; for guitars even of nothing, so that nobody has to guess."""
    if not part.transpose and part.family != "guitar":
        return
    sign = -1 if part.transpose < 0 else 1
    octaves, semitones = divmod(abs(part.transpose), 12)
    transpose = add(attributes, "transpose")
    add(transpose, "diatonic", sign * _DIATONIC[semitones])
    add(transpose, "chromatic", sign * semitones)
    if octaves:
        add(transpose, "octave-change", sign * octaves)
