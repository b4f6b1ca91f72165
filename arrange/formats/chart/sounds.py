"""The ``sound:`` lines of a section: what a part has there that its own line does not say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from arrange.errors import shown
from arrange.formats.chart.header import Part, read_sound_option
from arrange.formats.chart.lines import Faults, Piece, nearly
from arrange.formats.written import Setup
from arrange.song_size import MOST_PARTS
from arrange.tables.schemas import DRIVES
from arrange.text.part_lists import split_parts
from arrange.theory.spelling import slips

_USUAL = "usual"  # as on the part's line
_WORDS = (_USUAL, "capo", "echo", "no echo", "plays", *DRIVES)


_LONGEST = 40  # letters of a label that is looked at for a slip
_NOWHERE = Piece("", 1, 1)


class Sound(NamedTuple):
    """What a line says of a part in a section: fields of a ``Part``, and the layers it plays."""

    part: str
    fields: dict[str, Any]
    layers: str | None = None
    where: Piece = _NOWHERE  # its layers


def read_sound(value: Piece, parts: Mapping[str, Part], faults: Faults) -> Sound | None:
    """Return what a ``sound:`` line says, or None where it names no part."""
    label, *options = value.split(";")
    if label.text not in parts:
        what = f"no part is called {shown(label.text)}" if label.text else (
            "say whose sound it is: 'sound: Guitar 1; overdriven'"
        )  # fmt: skip
        faults.add(label, what, label.text, parts if label.text else ())
        return None
    if not any(option.text for option in options):
        faults.add(value, f"say what {label.text} has in this section, 'sound: {label.text}; "
                   "overdriven; echo dotted eighth; capo 2; plays Hook + Pulse', or 'usual' for "
                   "what its own line says")  # fmt: skip
    fields: dict[str, Any] = {}
    layers, where = None, _NOWHERE
    for option in options:
        first, _, rest = option.text.partition(" ")
        if first == "plays" and rest:
            layers, where = " ".join(rest.split()), option
        elif option.text != _USUAL and not read_sound_option(option, fields, faults):
            _report_unknown(option, faults)
    return Sound(label.text, fields, layers, where)


def _report_unknown(option: Piece, faults: Faults) -> None:
    text = option.text
    first = text.partition(" ")[0]
    if text == "plays":
        faults.add(option, "say which recorded layers are in it: 'plays Hook + Pulse'")
    elif nearly(first, _WORDS) or nearly(text, _WORDS):
        faults.add(option, f"{shown(text)} is nothing that a part has in a section", first, _WORDS)
    else:
        faults.add(option, f"{shown(text)} is nothing that a part has in a section: write 'clean', "
                   "'edge', 'overdriven' or 'distorted', 'echo dotted eighth', 'no echo', "
                   "'capo 2', 'capo none' or 'plays Hook + Pulse'")  # fmt: skip


def report_odd_layers(sounds: Sequence[Sound], parts: Iterable[str], faults: Faults) -> None:
    """Say which layers are probably not what was meant.

    A layer may have any name, since it need not be a part of this song: in a duo it is one of the
    song that was condensed. What can be seen is a ``+`` that joins nothing, a layer that a line
    names twice, and a name in one line alone that is a letter off that of a part, or of a layer
    that several lines name.
    """
    places: dict[str, list[Piece]] = {}
    for sound in sounds:
        own = split_parts(sound.layers or "")
        if len(set(own)) < len(own):
            faults.notice(sound.where, f"{shown(sound.layers)} names a layer twice; leave one out")
        if any(label == "+" or label.startswith("+ ") or label.endswith(" +") for label in own):
            faults.notice(sound.where, f"in {shown(sound.layers)} a '+' joins nothing; write "
                          "'plays Hook + Pulse'")  # fmt: skip
        for label in dict.fromkeys(own):
            places.setdefault(label, []).append(sound.where)
    known = [*parts, *(label for label, where in places.items() if len(where) > 1)]
    lone = [label for label, where in places.items() if len(where) == 1 and label not in parts]
    for label in lone[:MOST_PARTS]:
        meant = next(
            (each for each in known[: 2 * MOST_PARTS] if _differs_in_a_letter(label, each)), None
        )
        if meant is not None:
            faults.notice(places[label][0], f"only here is a layer called {shown(label)}; did you "
                          f"mean {meant!r}?")  # fmt: skip


def _differs_in_a_letter(label: str, other: str) -> bool:
    longest = max(len(label), len(other))
    return longest <= _LONGEST and _tags(label) == _tags(other) and slips(label, other) == 1


def _tags(label: str) -> list[str]:
    """What tells layers of one name apart: numbers, single letters and the like."""
    words = label.lower().split()
    return [word for word in words if len(word) < 3 or any(sign.isdigit() for sign in word)]


def part_with(part: Part, sound: Sound | None) -> Part:
    """Return a part as it is in a section."""
    return part if sound is None else replace(part, **sound.fields)


def section_setup(bar: int, index: int, part: Part, sound: Sound | None) -> Setup:
    """Return what a part, as it is in a section, has from the bar on at which that begins."""
    layers = None if sound is None else sound.layers
    return Setup(bar, index, part.drive, part.echo, part.capo, layers)


def format_sound(part: Part, here: Part, layers: str | None) -> str:
    """Return the line of a part that is otherwise in a section; as usual, it says so."""
    options = []
    if here.drive != part.drive:
        options.append(here.drive)
    if here.echo != part.echo:
        options.append(f"echo {here.echo}" if here.echo else "no echo")
    if here.capo != part.capo:
        options.append(f"capo {here.capo or 'none'}")
    if layers:
        options.append(f"plays {layers}")
    return f"sound: {'; '.join([part.label, *(options or [_USUAL])])}"
