"""The part list and what else is known of each part: the rows of the parts table."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from arrange.errors import PlayerError, cut_text, shown
from arrange.formats.instruments import instrument_drive, instrument_family, unique_labels
from arrange.formats.musicxml.attributes import Attributes
from arrange.formats.musicxml.events import Array, Events
from arrange.formats.musicxml.writing_parts import PLAYER
from arrange.formats.written import HARMONIC
from arrange.guitar.necks import STANDARD_TUNINGS
from arrange.guitar.players import read_player
from arrange.song_size import (
    MOST_FRETS,
    MOST_LEVEL,
    MOST_PARTS,
    MOST_REMARK,
    MOST_STRINGS,
    MOST_TEXT,
)
from arrange.tables.schemas import NUT

_ENTRY = (
    "part-name",
    "part-abbreviation",
    "instrument-name",
    "instrument-sound",
    "midi-channel",
    "midi-program",
    "volume",
    "player-name",
)


def read_parts(
    events: Events, said: Attributes, notes: dict[str, Array], notices: list[str]
) -> dict[str, list[Any]]:
    """Return the columns of the parts table, a value a part, in score order.

    Capo, echo and ``frets_from`` are left empty, and the drive is that of the instrument:
    ``read_setups`` fills them in.

    Parameters
    ----------
    events : Events
    said : Attributes
    notes : mapping of str to array
        Note columns, for what only they say (unpitched parts).
    notices : list of str
        More is added.
    """
    listed = {
        element.get("id"): _entry(element)
        for element in events.root.iterfind("part-list/score-part")
    }
    parts = list(events.root.iterchildren("part"))
    entries = [listed.get(part.get("id"), {}) for part in parts]
    names = [
        entry.get("part-name")
        or entry.get("part-abbreviation")
        or entry.get("instrument-name")
        or part.get("id")
        or "Part"
        for entry, part in zip(entries, parts, strict=True)
    ]
    long = sum(len(name) == MOST_TEXT and name.endswith("...") for name in names)
    if long:
        notices.append(f"names of parts are cut to {MOST_TEXT} characters: {long}")
    labels = unique_labels(names)
    columns: dict[str, list[Any]] = {
        name: []
        for name in ("part", "instrument", "family", "tuning", "capo", "transpose", "drive",
                     "echo", "level", "program", "player")
    }  # fmt: skip
    volumes = []
    for index, (entry, part, name, label) in enumerate(
        zip(entries, parts, names, labels, strict=True)
    ):
        own = notes["part"] == index
        instrument = entry.get("instrument-name")
        program = _whole(entry.get("midi-program"))
        pitches = notes["pitch"][own]
        family = instrument_family(
            f"{name} {instrument or ''}",
            sound=entry.get("instrument-sound") or "",
            program=program,
            unpitched=entry.get("midi-channel") == "10"
            or (len(pitches) > 0 and bool(np.isnan(pitches).all())),
            sung=next(part.iter("lyric"), None) is not None,
            beside=[other for other in names if other != name],
        )
        columns["part"].append(label)
        columns["instrument"].append(instrument or name)
        columns["family"].append(family)
        columns["tuning"].append(_tuning(events, said, index))
        columns["transpose"].append(_transpose(events, said, index, label, notices))
        columns["drive"].append(instrument_drive(f"{name} {instrument or ''}", program))
        columns["program"].append(program if program and 1 <= program <= 128 else None)
        columns["player"].append(entry.get("player-name"))
        volumes.append(_volume(entry.get("volume")))
    loudest = max((volume for volume in volumes if volume), default=1.0)
    # A millionth of a dB is beyond any ear; arithmetic makes -3.9999999999999996 of -4.
    levels = [round(20 * math.log10(v / loudest), 6) if v else 0.0 for v in volumes]
    columns["level"] = [max(level, -MOST_LEVEL) for level in levels]
    return columns


def read_players(root: Any, notices: list[str]) -> list[str]:
    """Return the lines of the players that the file names; what is no such line is reported."""
    players: list[str] = []
    for field in root.iterfind("identification/miscellaneous/miscellaneous-field"):
        line = " ".join((field.text or "").split())
        if field.get("name") != PLAYER or not line:
            continue
        try:
            read_player(line[: MOST_REMARK + 1])
        except PlayerError as error:
            notices.append(f"a player is left out: {error}")
            continue
        if len(line) > MOST_REMARK or len(players) == MOST_PARTS:
            notices.append(f"the player {shown(line)} is left out: there is no room for it")
            continue
        players.append(line)
    return players


def _entry(element: Any) -> dict[str, str]:
    """The texts of a part's entry in the part list, by element; the first of each, not empty."""
    texts: dict[str, str] = {}
    for child in element.iter(*_ENTRY):
        text = " ".join((child.text or "").split())
        if text:
            texts.setdefault(child.tag, cut_text(text, MOST_TEXT))
    return texts


def _whole(text: str | None) -> int | None:
    return int(text) if text and text.isdecimal() else None


def _volume(text: str | None) -> float | None:
    try:
        volume = float(text or "")
    except ValueError:
        return None
    return volume if 0 < volume <= 100 else None


def _tuning(events: Events, said: Attributes, index: int) -> tuple[int, ...] | None:
    return next((tuning for e, _, tuning in said.tunings if events.part[e] == index), None)


def _transpose(events: Events, said: Attributes, index: int, label: str, notices: list[str]) -> int:
    """The transposition that a part begins with."""
    stated = [semitones for e, _, semitones in said.transposes if events.part[e] == index]
    if len(set(stated)) > 1:
        notices.append(
            f"{label}: its transposition changes on the way; every note sounds as its place asks, "
            f"the parts table has the first ({stated[0]} semitones)"
        )
    return stated[0] if stated else 0


def settle_strings(
    columns: dict[str, list[Any]], notes: dict[str, Array], capos: Array, notices: list[str]
) -> None:
    """Turn frets from the capo into frets from the nut, and fill in a standard tuning.

    Where a part has strings and frets but no tuning, the standard one is taken if it fits
    the pitches. Where only the count from the nut fits the pitches, that is what the file
    counts. Notes at which a tie ends decide nothing: they may ring on into another capo than the
    one that they were struck under; nor do harmonics, which sound other pitches than their frets.
    `notes` is changed: the columns are this reader's own. `capos`
    are those of the notes.
    """
    part, fret = notes["part"], notes["fret"]
    counts_from = capos.astype(fret.dtype)  # what the fret of each note lacks
    is_plain = ~notes["tie_stop"] & (notes["technique"] & HARMONIC == 0)
    fretted = np.flatnonzero((notes["string"] > 0) & (fret >= 0) & is_plain)
    if len(fretted):
        tunings = [tuning or STANDARD_TUNINGS["guitar"] for tuning in columns["tuning"]]
        opened = np.full((len(tunings), max(map(len, tunings))), np.nan)
        for row, tuning in zip(opened, tunings, strict=True):
            row[: len(tuning)] = tuning
        owner, string = part[fretted], notes["string"][fretted]
        known = string <= opened.shape[1]
        bare = opened[owner, np.where(known, string, 1) - 1] + fret[fretted]
        off = np.where(known, notes["pitch"][fretted] - bare, np.nan)
        every = [
            np.bincount(owner, weights=flags, minlength=len(tunings)).astype(int).tolist()
            for flags in (np.ones(len(fretted)), off == counts_from[fretted], off == 0)
        ]
        for index, (count, from_capo, from_nut) in enumerate(zip(*every, strict=True)):
            if count:
                own = part == index
                _settle_part(
                    columns, index, (count, from_capo, from_nut), counts_from[own], notices
                )
                if from_nut > from_capo:
                    counts_from[own] = 0
                    columns["frets_from"][index] = NUT
    notes["fret"] = fret + np.where(fret >= 0, counts_from, 0)
    _leave_out_odd_strings(notes, notices)


def _leave_out_odd_strings(notes: dict[str, Array], notices: list[str]) -> None:
    string, fret = notes["string"], notes["fret"]
    odd = ((string != -1) & ((string < 1) | (string > MOST_STRINGS))) | (fret > MOST_FRETS)
    odd |= fret < -1
    if odd.any():
        notices.append(
            f"strings beyond {MOST_STRINGS} and frets beyond {MOST_FRETS} are left out; the pitch "
            f"is kept: {int(odd.sum())}"
        )
        notes["string"], notes["fret"] = np.where(odd, -1, string), np.where(odd, -1, fret)


def _settle_part(
    columns: dict[str, list[Any]],
    index: int,
    notes: tuple[int, int, int],
    capos: Array,
    notices: list[str],
) -> None:
    """Decide for one part; `notes` are all, those that fit from the capo, those from the nut."""
    count, from_capo, from_nut = notes
    label, capo = columns["part"][index], int(capos.max())
    if columns["tuning"][index] is None and from_capo > 0.9 * count:
        columns["tuning"][index] = STANDARD_TUNINGS["guitar"]
    if capo and from_nut > from_capo:
        notices.append(
            f"{label}: its frets agree with its pitches only when counted from the nut, "
            f"not from the capo at {capo}; they are taken so"
        )
    wrong = count - max(from_capo, from_nut)
    if wrong:
        notices.append(
            f"{label}: {wrong} of {count} notes have a string and fret that do not give "
            "their pitch; the pitch is kept, and both as written"
        )


def report_plain_clef_guitars(
    events: Events, said: Attributes, columns: dict[str, list[Any]], notices: list[str]
) -> None:
    """A guitar on a plain treble clef without transposition may be an octave too high: say so."""
    for index, label in enumerate(columns["part"]):
        clefs = [(sign, octaves) for e, _, sign, octaves in said.clefs if events.part[e] == index]
        plain = bool(clefs) and all(clef == ("G", 0) for clef in clefs)
        transposed = any(events.part[e] == index for e, _, _ in said.transposes)
        if columns["family"][index] == "guitar" and plain and not transposed and (
            columns["tuning"][index] is None
        ):  # fmt: skip
            notices.append(
                f"{label}: a guitar on a plain treble clef without <transpose>. It is read as "
                "sounding where it is written; if it sounds an octave lower, as guitars do, read "
                f'it with octaves={{"{label}": -1}} (command: --octave "{label}=-1")'
            )
