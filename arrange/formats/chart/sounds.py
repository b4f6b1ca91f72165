"""The ``sound:`` lines of a section: what a part has there that its own line does not say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from arrange.errors import shown
from arrange.formats.chart.header import Part, read_sound_option
from arrange.formats.chart.lines import Faults, Piece, nearly
from arrange.formats.written import Setup
from arrange.tables.schemas import DRIVES

_USUAL = "usual"  # as on the part's line
_WORDS = (_USUAL, "capo", "echo", "no echo", "plays", *DRIVES)


class Sound(NamedTuple):
    """What a line says of a part in a section: fields of a ``Part``, and the layers it plays."""

    part: str
    fields: dict[str, Any]
    layers: str | None = None


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
    layers = None
    for option in options:
        first, _, rest = option.text.partition(" ")
        if first == "plays" and rest:
            layers = " ".join(rest.split())
        elif option.text != _USUAL and not read_sound_option(option, fields, faults):
            _report_unknown(option, faults)
    return Sound(label.text, fields, layers)


def _report_unknown(option: Piece, faults: Faults) -> None:
    text = option.text
    first = text.partition(" ")[0]
    if nearly(first, _WORDS) or nearly(text, _WORDS):
        faults.add(option, f"{shown(text)} is nothing that a part has in a section", first, _WORDS)
    else:
        faults.add(option, f"{shown(text)} is nothing that a part has in a section: write 'clean', "
                   "'edge', 'overdriven' or 'distorted', 'echo dotted eighth', 'no echo', "
                   "'capo 2', 'capo none' or 'plays Hook + Pulse'")  # fmt: skip


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
