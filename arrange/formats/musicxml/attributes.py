"""What `attributes` elements say: divisions, key, meter, transposition, tuning, capo, clef."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from arrange.errors import cut_text, shown
from arrange.formats.musicxml.events import Events
from arrange.formats.musicxml.tree import first_texts
from arrange.song_size import MOST_BAR, MOST_CAPO, MOST_STRINGS, MOST_TRANSPOSE
from arrange.theory.meters import FREE, meter_terms
from arrange.theory.pitch import STEPS

MOST_DIVISIONS = 10**6

# A decimal of the schema, of sane length.
_DECIMAL = re.compile(r"[+-]?(\d{1,20}(\.\d{0,20})?|\.\d{1,20})")


@dataclass
class Attributes:
    """Every statement with the event at which it is made, in document order.

    Parameters
    ----------
    divisions : list of (event, divisions of a quarter note)
    meters : list of (event, text, length of the bar in quarter notes or 0 if free)
    keys : list of (event, sharps (+) or flats (-) or None, mode)
    transposes : list of (event, staff or 0 for all, semitones)
    tunings : list of (event, staff, open strings as MIDI numbers, highest first)
    capos : list of (event, frets)
    clefs : list of (event, staff, sign, octaves)
    """

    divisions: list[tuple[int, Fraction]] = field(default_factory=list)
    meters: list[tuple[int, str, Fraction]] = field(default_factory=list)
    keys: list[tuple[int, int | None, str]] = field(default_factory=list)
    transposes: list[tuple[int, int, int]] = field(default_factory=list)
    tunings: list[tuple[int, int, tuple[int, ...]]] = field(default_factory=list)
    capos: list[tuple[int, int]] = field(default_factory=list)
    clefs: list[tuple[int, int, str, int]] = field(default_factory=list)

    @property
    def grid(self) -> int:
        """The least number of ticks in a quarter note in which all divisions are whole."""
        return math.lcm(1, *(divisions.numerator for _, divisions in self.divisions))


def read_attributes(events: Events, notices: list[str]) -> Attributes:
    """Return all that the `attributes` elements say.

    Raises
    ------
    ReadError
        If divisions are not a positive number, or a meter or key makes no sense.
    """
    said = Attributes()
    for event, element in events.elements("attributes"):
        for child in element:
            reader = _READERS.get(child.tag)
            if reader is not None:
                try:
                    reader(said, event, child)
                except _NO_SENSE as error:
                    raise events.refuse(
                        event,
                        f"<{child.tag}> cannot be understood: {error}; export the song again",
                    ) from None
    odd = [place for place, (_, text, _) in enumerate(said.meters) if not _is_meter(text)]
    if odd:
        texts = ", ".join(dict.fromkeys(said.meters[place][1] for place in odd[:8]))
        notices.append(f"meters that are no note values, read as free: {texts}")
        for place in odd:
            event, _, length = said.meters[place]
            said.meters[place] = event, FREE, length
    return said


def _is_meter(meter: str) -> bool:
    return meter == FREE or bool(meter_terms(meter))


# What converting the text of a wrong element raises.
_NO_SENSE = (
    ValueError, TypeError, AttributeError, KeyError, ZeroDivisionError, OverflowError,
)  # fmt: skip


def _divisions(said: Attributes, event: int, element: Any) -> None:
    text = (element.text or "").strip()
    value = Fraction(text) if _DECIMAL.fullmatch(text) else Fraction(0)
    if not 0 < value <= MOST_DIVISIONS:
        raise ValueError(
            f"it is {shown(text)}, and must be a number above 0, at most {MOST_DIVISIONS:,}, that "
            "says how many divisions a quarter note has"
        )
    said.divisions.append((event, value))


def _time(said: Attributes, event: int, element: Any) -> None:
    beats = [(child.text or "").strip() for child in element.iterchildren("beats")]
    types = [int(child.text) for child in element.iterchildren("beat-type")]
    if element.find("senza-misura") is not None or not beats:
        said.meters.append((event, FREE, Fraction(0)))
        return
    length = Fraction(0)
    for count, unit in zip(beats, types, strict=True):
        length += Fraction(4 * sum(int(part) for part in count.split("+")), unit)
    if not 0 < length <= MOST_BAR:
        raise ValueError(
            f"a bar of {cut_text('+'.join(beats), 20)}/{types[0]}, which is not above 0 and at "
            f"most {MOST_BAR:g} quarter notes"
        )
    text = " + ".join(f"{count}/{unit}" for count, unit in zip(beats, types, strict=True))
    said.meters.append((event, text, length))


def _key(said: Attributes, event: int, element: Any) -> None:
    texts = first_texts(element)
    fifths = texts.get("fifths")
    mode = (texts.get("mode") or "major").strip()
    said.keys.append((event, None if fifths is None else int(fifths), mode))


def _transpose(said: Attributes, event: int, element: Any) -> None:
    texts = first_texts(element)
    chromatic = float(texts.get("chromatic") or 0)
    octaves = int(texts.get("octave-change") or 0)
    staff = int(element.get("number") or 0)
    semitones = round(chromatic) + 12 * octaves
    if abs(semitones) > MOST_TRANSPOSE:
        raise ValueError(f"{semitones} semitones; it moves by {MOST_TRANSPOSE} at most")
    said.transposes.append((event, staff, semitones))


def _staff_details(said: Attributes, event: int, element: Any) -> None:
    staff = int(element.get("number") or 1)
    strings = {}
    for tuning in element.iterchildren("staff-tuning"):
        texts = first_texts(tuning)
        strings[int(tuning.get("line"))] = (
            12 * (int(texts["tuning-octave"]) + 1)
            + STEPS[texts["tuning-step"].strip()]
            + round(float(texts.get("tuning-alter") or 0))
        )
    if strings:  # staff lines are numbered from the bottom, the lowest string
        opened = tuple(strings[line] for line in sorted(strings, reverse=True))
        if len(opened) > MOST_STRINGS or not all(0 <= pitch <= 127 for pitch in opened):
            raise ValueError(
                f"a tuning of {len(opened)} strings; one to {MOST_STRINGS} can be held, C-1 to G9"
            )
        said.tunings.append((event, staff, opened))
    capo = element.findtext("capo")
    if capo is not None:
        if not 0 <= int(capo) <= MOST_CAPO:
            raise ValueError(f"a capo at fret {int(capo)}; it lies at 0 to {MOST_CAPO}")
        said.capos.append((event, int(capo)))


def _clef(said: Attributes, event: int, element: Any) -> None:
    texts = first_texts(element)
    sign = (texts.get("sign") or "G").strip()
    octaves = int(texts.get("clef-octave-change") or 0)
    said.clefs.append((event, int(element.get("number") or 1), sign, octaves))


_READERS = {
    "divisions": _divisions,
    "time": _time,
    "key": _key,
    "transpose": _transpose,
    "staff-details": _staff_details,
    "clef": _clef,
}
