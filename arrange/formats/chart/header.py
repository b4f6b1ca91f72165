"""The lines on top of a chart and between its rows: key, meter, tempo, parts."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from arrange.errors import shown
from arrange.formats.chart.lines import Faults, Piece, nearly
from arrange.formats.instruments import instrument_family
from arrange.guitar.necks import STANDARD_TUNINGS, TUNINGS, tuning_notes
from arrange.song_size import (
    LEAST_TEMPO,
    MOST_BAR,
    MOST_CAPO,
    MOST_LEVEL,
    MOST_STRINGS,
    MOST_TEMPO,
    MOST_TEXT,
    MOST_TRANSPOSE,
)
from arrange.tables.schemas import CAPO, DRIVES, DRY, FAMILIES, NUT, RINGING
from arrange.theory.meters import FREE, meter_quarters, meter_terms
from arrange.theory.note_values import named_quarters
from arrange.theory.pitch import is_key, parse_note

SETTINGS = ("title", "key", "meter", "tempo", "length", "part", "player", "section",
            "sound", "remark")  # fmt: skip
CHORDS = "chords"  # the label of the row of chord symbols
# Note values in quarter notes, by the words that players use.
NOTE_VALUES = {
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "sixteenth": Fraction(1, 4),
}
NOTE = re.compile(r"[A-Ga-g](?:#{1,2}|b{1,2}|♯|♭)?-?[0-9]{1,2}")
# Numbers on a part's line: lowest, highest and an example.
_NUMBERS = {
    "capo": (0, MOST_CAPO, "capo 3"),
    "program": (1, 128, "program 28"),
    "transpose": (-MOST_TRANSPOSE, MOST_TRANSPOSE, "transpose -12"),
    "level": (-MOST_LEVEL, MOST_LEVEL, "level -3 dB"),
}
_WORDS = (*_NUMBERS, "tuning", "frets", "family", "echo", "player", DRY)
_NUMBER = re.compile(r"([+-]?[0-9]{1,20}(?:\.[0-9]{1,20})?(?:e[+-]?[0-9]{1,3})?)(\s*dB)?")
_COUNTED = {"two": 2, "three": 3, "four": 4, "six": 6, "nine": 9, "twelve": 12}


@dataclass(frozen=True)
class Meter:
    """A meter: its text, the length of its bar and of its beat, in quarter notes."""

    text: str
    length: Fraction
    beat: Fraction


@dataclass(frozen=True)
class Part:
    """A part as its line describes it; `tuning` lowest string first, empty for none.

    `unsure` is True where a fault in the line leaves open which strings it has.
    """

    label: str
    instrument: str
    family: str
    tuning: tuple[int, ...]
    capo: int = 0
    frets_from: str = NUT
    ring: str = RINGING
    transpose: int = 0
    drive: str = "clean"
    echo: str | None = None
    level: float = 0.0
    program: int | None = None
    player: str | None = None
    unsure: bool = False

    @property
    def fret_zero(self) -> int:
        """The fret that is written as 0."""
        return self.capo if self.frets_from == CAPO else 0


def read_key(value: Piece, faults: Faults) -> str | None:
    """Return a key's name: "Bb major", also from "Bb", "Bbm", "B flat major"; or none."""
    if value.text == "none":
        return None
    text = value.text.replace(" flat", "b").replace(" sharp", "#").replace("♭", "b")
    found = re.match(r"^([A-Ga-g][#b♯]?)\s*(m|\w+)?$", text.strip())
    tonic = found[1][0].upper() + found[1][1:].replace("♯", "#") if found else ""
    mode = {"m": "minor", None: "major"}.get(found[2], found[2]) if found else ""
    if not is_key(f"{tonic} {mode}"):
        faults.add(value, f"no key is called {shown(value.text)}; write it as 'Bb major' or "
                   "'D minor'")  # fmt: skip
        return None
    return f"{tonic} {mode}"


def read_meter(value: Piece, faults: Faults) -> Meter | None:
    """Return a meter: "4/4", "6/8 in two", "3+2/8", "2/4 + 3/8", "free"."""
    text, _, counted = value.text.partition(" in ")
    text = re.sub(r"\s+\+\s+", " + ", text.strip()[:MOST_TEXT])
    if text == FREE:
        return Meter(text, Fraction(4), Fraction(1))
    terms, length = meter_terms(text), meter_quarters(text)
    if not terms:
        faults.add(value, f"no meter is written {shown(value.text)}; write it as '4/4' or "
                   "'6/8 in two'")  # fmt: skip
        return None
    beat = Fraction(4, terms[-1][1])
    if counted:
        beats = _COUNTED.get(counted.strip())
        if beats is None:
            faults.add(value, f"no bar is counted in {shown(counted)}", counted, _COUNTED)
            return None
        beat = length / beats
    return Meter(text, length, beat)


def read_tempo(value: Piece, faults: Faults) -> float | None:
    """Return quarter notes a minute from "102", "102 quarters", "64 dotted quarters"."""
    found = re.match(
        r"^([0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?)\s*(dotted\s+)?(\w+?)?s?(?:\s+a\s+minute)?$",
        value.text[:80],
    )
    note = NOTE_VALUES.get(found[3] or "quarter") if found else None
    if not found or note is None:
        faults.add(value, f"no tempo is written {shown(value.text)}; write '102' for quarter "
                   "notes a minute, or '64 dotted quarters'")  # fmt: skip
        return None
    tempo = float(found[1]) * float(note) * (1.5 if found[2] else 1)
    if not LEAST_TEMPO <= tempo <= MOST_TEMPO:
        faults.add(value, f"{tempo:g} quarter notes a minute; a tempo lies between "
                   f"{LEAST_TEMPO:g} and {MOST_TEMPO:g}")  # fmt: skip
        return None
    return tempo


def read_length(value: Piece, meter: Meter, faults: Faults) -> Fraction | None:
    """Return the length of bars that are not as the meter says, or that of the meter."""
    if value.text == "full":
        return meter.length
    found = re.match(r"^([0-9]{1,9})(?:/([1-9][0-9]{0,8}))?\s*(?:(\w+?)s?)?$", value.text[:80])
    unit = {"beat": meter.beat, **NOTE_VALUES}.get(found[3] or "quarter") if found else None
    length = Fraction(int(found[1]), int(found[2] or 1)) * unit if found and unit else Fraction(0)
    if not 0 < length <= MOST_BAR:
        faults.add(value, f"no length is written {shown(value.text)}; write '3 quarters', '1 "
                   "beat' or 'full'")  # fmt: skip
        return None
    return length


def read_part(value: Piece, faults: Faults) -> Part | None:
    """Return the part that a ``part:`` line describes."""
    label, *options = value.split(";")
    if not label.text or "|" in label.text or "," in label.text or label.text == CHORDS:
        faults.add(value, "a part needs a label of its own, without a comma or a bar line: "
                   "'part: Guitar 1; electric guitar; standard tuning'")  # fmt: skip
        return None
    fields: dict[str, Any] = {}
    for option in options:
        _read_option(option, fields, faults)
    fields.setdefault("instrument", label.text)
    if "family" not in fields:
        fields["family"] = instrument_family(
            f"{label.text} {fields['instrument']}", program=fields.get("program")
        )
    fields.setdefault("tuning", default_tuning(fields["family"]))
    fields.setdefault("transpose", default_transpose(fields["family"]))
    return Part(label=label.text, **fields)


def _read_option(option: Piece, fields: dict[str, Any], faults: Faults) -> None:
    text = option.text
    first, _, rest = text.partition(" ")
    if read_sound_option(option, fields, faults):
        return
    if text == "no tuning":
        fields["tuning"] = ()
    elif text.endswith(" tuning") or first == "tuning":
        _read_tuning(option, fields, faults)
    elif first in _NUMBERS and (rest or first != "program"):
        _read_number(option, fields, faults)
    elif text in ("frets from the capo", "frets from the nut"):
        fields["frets_from"] = CAPO if text.endswith(CAPO) else NUT
    elif text == DRY:
        fields["ring"] = DRY
    elif first == "family" and rest:
        if rest in FAMILIES:
            fields["family"] = rest
        else:
            faults.add(option, f"no family is called {shown(rest)}", rest, FAMILIES)
    elif first == "player" and rest:
        fields["player"] = rest
    elif nearly(first, _WORDS) or nearly(text, DRIVES):
        faults.add(option, f"{shown(text)} is no option of a part", first, (*_WORDS, *DRIVES))
    elif text and "instrument" not in fields:
        fields["instrument"] = text
    else:
        faults.add(option, f"{shown(text)} is no option of a part: write an instrument, a "
                   "tuning, 'capo 3', 'clean', 'echo dotted eighth', 'level -3 dB', 'program 28' "
                   "or 'player Ann'")  # fmt: skip


def read_sound_option(option: Piece, fields: dict[str, Any], faults: Faults) -> bool:
    """Take a drive, an echo or a capo into the fields of a part; return whether it is one."""
    text = option.text
    first, _, rest = text.partition(" ")
    if text in DRIVES:
        fields["drive"] = text
    elif text == "no echo":
        fields["echo"] = None
    elif first == "echo":
        fields["echo"] = rest or None
        right = "write 'echo dotted eighth', 'echo quarter' or 'no echo'"
        if not rest:
            faults.add(option, f"an echo needs a note value; {right}")
        elif named_quarters(rest) is None:
            faults.notice(option, f"{shown(rest)} is no note value, so that the echo repeats "
                          f"nothing; {right}")  # fmt: skip
    elif text in ("capo none", "no capo"):
        fields["capo"] = 0
    elif first == "capo":
        _read_number(option, fields, faults)
    else:
        return False
    return True


def _read_number(option: Piece, fields: dict[str, Any], faults: Faults) -> None:
    first, _, rest = option.text.partition(" ")
    lowest, highest, example = _NUMBERS[first]
    found = _NUMBER.fullmatch(rest[:40])
    number = float(found[1]) if found else math.nan
    whole = first != "level"
    if not found or bool(found[2]) == whole or (whole and not number.is_integer()):
        faults.add(option, f"{first} {shown(rest)}: write a number, such as {example!r}")
    elif not lowest <= number <= highest:
        faults.add(option, f"{first} {rest}: it lies between {lowest} and {highest}")
    else:
        fields[first] = int(number) if whole else number


def _read_tuning(option: Piece, fields: dict[str, object], faults: Faults) -> None:
    text = option.text.removesuffix(" tuning").removeprefix("tuning").strip()
    names = tuning_notes(text)
    fields["unsure"] = True
    wrong = [name for name in names if not NOTE.fullmatch(name)]
    if wrong and any(sign.isdecimal() for sign in text):
        faults.add(option.part(option.text.index(wrong[0])), f"{shown(wrong[0])} is no note: "
                   "write letter, # or b, and octave, low string first: 'tuning E2 A2 D3 G3 B3 "
                   "E4'")  # fmt: skip
        return
    if wrong or not names:
        faults.add(option, f"no tuning is called {shown(text)}; write its notes, low string first, "
                   "'tuning E2 A2 D3 G3 B3 E4', or a usual name", text, TUNINGS)  # fmt: skip
        return
    tuning = tuple(parse_note(name) for name in names)
    if len(tuning) > MOST_STRINGS or not all(0 <= pitch <= 127 for pitch in tuning):
        faults.add(option, f"a tuning of {len(tuning)} strings; one to {MOST_STRINGS} can be "
                   "held, C-1 to G9")  # fmt: skip
        return
    fields["tuning"], fields["unsure"] = tuning, False


def default_tuning(family: str) -> tuple[int, ...]:
    """Standard tuning of a family, low string first, or none."""
    return STANDARD_TUNINGS.get(family, ())[::-1]


def default_transpose(family: str) -> int:
    """Semitones from written to sounding, as a family is usually written."""
    return -12 if family in ("guitar", "bass") else 0
