"""What a part has from a bar on, in words to the player: its sound, echo, capo and layers.

MusicXML has a place for the capo alone, ``staff-details``; the others are read from the words that
we write: a drive as the tables call it, ``echo: dotted eighth`` or ``no echo``, and
``plays: Hook + Pulse``. Drive, echo and capo hold until the next word of their kind, the first one
from the start; layers hold in the section that begins at their bar. Where a part begins with
something else than it usually has, its usual setup stands in a ``miscellaneous-field``. Another one
says how its player counts frets, where that is not as in the file: from the capo, if it has one;
and one that a part is dry.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeVar

import numpy as np

from arrange.formats.musicxml.attributes import Attributes
from arrange.formats.musicxml.events import Array, Events
from arrange.formats.musicxml.timing import Timing
from arrange.formats.musicxml.writing_elements import add, plain_text
from arrange.formats.musicxml.writing_signs import write_words
from arrange.formats.written import Setup
from arrange.guitar.necks import capo_words
from arrange.song_size import MOST_CAPO
from arrange.tables.schemas import CAPO, DRIVES, DRY, FRETS_FROM, NUT, RINGING, RINGS
from arrange.tables.setups import part_setups
from arrange.tables.song import Song

_ECHO, _NO_ECHO, _LAYERS = "echo: ", "no echo", "plays: "
_USUAL = "usual sound of "  # and the id of a part: the name of a miscellaneous field
_FRETS, _FROM = "frets of ", "from the "  # and the id of a part; and nut or capo
_RING = "ring of "  # and the id of a part
_SOUND = ("drive", "echo", "capo")
_Said = TypeVar("_Said")
_CAPOS = {capo_words(capo): capo for capo in range(MOST_CAPO + 1)}


def is_setup(text: str) -> bool:
    """Return whether words to the player hold a name that may be anything."""
    return text.startswith((_ECHO, _LAYERS))


def song_setups(song: Song) -> list[dict[int, Setup]]:
    """Return the setups of each part by the bar from which they hold, the first at bar 0."""
    heads = (song.sections["first_measure"] - 1).tolist()
    changing = set(song.setups["part"])
    table = part_setups(song).to_dict("records") if changing else []
    found = []
    for index, row in enumerate(song.parts.to_dict("records")):
        own = {0: _setup(0, index, {**row, "layers": None})}
        if row["part"] in changing:
            rows = table[index * len(heads) : (index + 1) * len(heads)]
            own |= {bar: _setup(bar, index, each) for bar, each in zip(heads, rows, strict=True)}
        found.append(own)
    return found


def _setup(bar: int, part: int, row: Mapping[Any, Any]) -> Setup:
    texts = [plain_text(row[name]) or None for name in ("echo", "layers")]
    return Setup(bar, part, row["drive"], texts[0], int(row["capo"]), texts[1])


def write_setup(measure: Any, bar: int, setups: Mapping[int, Setup]) -> None:
    """Add what changes for a part at a bar; at the start all that it has or that changes later."""
    if bar not in setups:
        return
    here = setups[bar]
    before = setups[max((other for other in setups if other < bar), default=bar)]
    is_new = {name: getattr(here, name) != getattr(before, name) for name in _SOUND}
    if bar == 0:
        every = list(setups.values())
        is_new = {
            name: len({getattr(each, name) for each in every}) > 1
            or getattr(here, name) not in ("clean", None, 0)
            for name in _SOUND
        }
    if is_new["capo"] and (bar or not here.capo):  # a capo at the start stands with the strings
        attributes = add(measure, "attributes")
        attributes.tail = "\n"
        add(add(attributes, "staff-details"), "capo", here.capo)
    words = {"capo": capo_words(here.capo), "drive": here.drive, "echo": _echo_words(here.echo)}
    for name, text in words.items():
        if is_new[name]:
            write_words(measure, text)
    if here.layers:
        write_words(measure, _LAYERS + here.layers)


def _echo_words(echo: str | None) -> str:
    return f"{_ECHO}{echo}" if echo else _NO_ECHO


def setup_fields(
    song: Song, ids: Sequence[str], setups: Sequence[Mapping[int, Setup]]
) -> list[tuple[str, str]]:
    """Return the miscellaneous fields of the parts that begin with something unusual for them,
    whose players count frets otherwise than the file, or that are dry.
    """
    usual = [
        _setup(0, index, {**row, "layers": None})
        for index, row in enumerate(song.parts.to_dict("records"))
    ]
    fields = [
        (f"{_USUAL}{part}", f"{own.drive}; {_echo_words(own.echo)}; {capo_words(own.capo)}")
        for part, own, here in zip(ids, usual, setups, strict=True)
        if any(getattr(own, name) != getattr(here[0], name) for name in _SOUND)
    ]
    rings = song.parts["ring"].tolist()
    fields += [
        (f"{_RING}{part}", DRY) for part, ring in zip(ids, rings, strict=True) if ring == DRY
    ]
    counts = song.parts["frets_from"].tolist()
    return fields + [
        (f"{_FRETS}{part}", f"{_FROM}{frets_from}")
        for part, frets_from, own, here in zip(ids, counts, usual, setups, strict=True)
        if frets_from != _usual_count(own.capo, here.values())
    ]


def _usual_count(capo: int, setups: Iterable[Setup]) -> str:
    """Where a file counts the frets of a part from (MusicXML 4.0, ``capo``)."""
    return CAPO if capo or any(setup.capo for setup in setups) else NUT


def read_setups(
    events: Events, said: Attributes, timing: Timing, columns: dict[str, list[Any]]
) -> list[Setup]:
    """Return what the parts have from which bar on, where that changes or layers are named.

    Drive, echo, capo, ``frets_from`` and ``ring`` of the parts table are filled in: `columns` has
    the drive that the name of an instrument says.
    """
    changes: list[dict[int, dict[str, Any]]] = [{} for _ in columns["part"]]
    for event in events.at("words").tolist():
        what = _read_words(" ".join(events.texts[events.values[event]].split()))
        if what:
            bar = int(timing.bar[event])
            changes[events.part[event]].setdefault(bar, {}).update(what)
    for event, capo in said.capos:
        changes[events.part[event]].setdefault(int(timing.bar[event]), {})["capo"] = capo
    usual = _said_of_parts(events, _USUAL, _read_usual)
    counts = _said_of_parts(events, _FRETS, _read_count)
    rings = _said_of_parts(events, _RING, lambda text: text if text in RINGS else None)
    columns["ring"] = [rings.get(index, RINGING) for index in range(len(changes))]
    columns["echo"], columns["capo"] = [None] * len(changes), [0] * len(changes)
    columns["frets_from"] = []
    setups: list[Setup] = []
    for index, own in enumerate(changes):
        first = {name: columns[name][index] for name in _SOUND}
        for bar in sorted(own, reverse=True):
            first |= {name: own[bar][name] for name in _SOUND if name in own[bar]}
        stated = usual.get(index, first)
        for name in _SOUND:
            columns[name][index] = stated[name]
        holding = _holding(index, first, own)
        usual_count = _usual_count(stated["capo"], holding)
        columns["frets_from"].append(counts.get(index, usual_count))
        if stated != first or len(holding) > 1 or holding[0].layers:
            setups += holding
    return setups


def _holding(index: int, first: dict[str, Any], own: dict[int, dict[str, Any]]) -> list[Setup]:
    """The setups of a part, from the one that it begins with."""
    state = {"layers": None, **first}
    holding: list[Setup] = []
    for bar in sorted({0, *own}):
        state |= {"layers": None, **own.get(bar, {})}
        setup = Setup(bar, index, **state)
        if not holding or setup.layers or setup[2:] != holding[-1][2:]:
            holding.append(setup)
    return holding


def _read_words(text: str) -> dict[str, Any]:
    """What words to the player say, as fields of a setup; nothing where they are no such words."""
    if text in DRIVES:
        return {"drive": text}
    if text == _NO_ECHO or (text.startswith(_ECHO) and text != _ECHO):
        return {"echo": None if text == _NO_ECHO else text.removeprefix(_ECHO)}
    if text.startswith(_LAYERS) and text != _LAYERS:
        return {"layers": text.removeprefix(_LAYERS)}
    return {}


def _said_of_parts(
    events: Events, name: str, read: Callable[[str], _Said | None]
) -> dict[int, _Said]:
    """What miscellaneous fields of a name say, by the index of their part."""
    index = {events.texts[value]: at for at, value in enumerate(events.values[events.at("part")])}
    found = {}
    for field in events.root.iterfind("identification/miscellaneous/miscellaneous-field"):
        label = field.get("name") or ""
        said = read(" ".join((field.text or "").split())) if label.startswith(name) else None
        part = index.get(label.removeprefix(name))
        if part is not None and said is not None:
            found[part] = said
    return found


def _read_usual(text: str) -> dict[str, Any] | None:
    drive, _, rest = text.partition("; ")
    echo, _, capo = rest.rpartition("; ")
    words = _read_words(echo)
    if drive in DRIVES and "echo" in words and capo in _CAPOS:
        return {"drive": drive, **words, "capo": _CAPOS[capo]}
    return None


def _read_count(text: str) -> str | None:
    frets_from = text.removeprefix(_FROM)
    return frets_from if frets_from in FRETS_FROM else None


def capos_of_notes(
    setups: Sequence[Setup], columns: dict[str, list[Any]], notes: dict[str, Array]
) -> Array:
    """Return the capo that holds at each note, in its printed bar."""
    capos: Array = np.array(columns["capo"], dtype=np.int64)[notes["part"]]
    for part in {setup.part for setup in setups}:
        own = [setup for setup in setups if setup.part == part]
        rows = np.flatnonzero(notes["part"] == part)
        bars = [setup.bar for setup in own]
        at = np.searchsorted(bars, notes["measure"][rows], side="right") - 1
        capos[rows] = np.array([setup.capo for setup in own])[at]
    return capos
