"""MusicXML, read straight into columns.

One pass over the tree (`events`) collects what notes, bars and signs say as two lists of small
numbers; from there on everything is whole-column arithmetic on an integer grid (`timing`,
`notes`), with the few statements between the notes read one by one (`attributes`, `signs`,
`parts`). Partwise and timewise scores, plain or compressed, MusicXML 1.0 to 4.0.

Decisions where the format leaves room, or files differ:

- The sounding pitch is the written one moved by ``transpose``. A clef an octave lower and an
  8va line move nothing: ``pitch`` is the true line already. A guitar on a plain treble clef
  without ``transpose`` is read as written, with a notice; `octaves` moves it.
- Frets are counted from the capo in the file and from the nut in the table. If only the count
  from the nut agrees with a part's pitches, that is taken, with a notice.
- The length of a bar is the one that most sounding parts give it; its meter breaks a tie.
- A note on a tablature staff that repeats one of its part's other staff is the same note.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from arrange.errors import ReadError, cut_text
from arrange.formats.musicxml.attributes import Attributes, read_attributes
from arrange.formats.musicxml.events import Array, Events, collect_events
from arrange.formats.musicxml.notes import note_columns
from arrange.formats.musicxml.parts import (
    read_parts,
    read_players,
    report_plain_clef_guitars,
    settle_strings,
)
from arrange.formats.musicxml.remarks import read_remarks
from arrange.formats.musicxml.setups import capos_of_notes, read_setups
from arrange.formats.musicxml.signs import read_bars, read_chords, read_marks, read_tempos
from arrange.formats.musicxml.timing import Timing, forward_fill, read_timing
from arrange.formats.musicxml.tree import parse_score
from arrange.formats.song_making import song_reader
from arrange.formats.written import Written
from arrange.song_size import MOST_PARTS, MOST_TEXT
from arrange.theory.pitch import key_name


def is_musicxml(data: bytes) -> bool:
    """Return whether a file may be MusicXML: a zip, or an angle bracket first, in whatever
    encoding, behind a byte-order mark or blanks.
    """
    start = data[:64].replace(b"\x00", b"")
    is_xml = start.lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").startswith(b"<")
    return is_xml or start.startswith(b"Lo") or data.startswith(b"PK")  # Lo: "<" in EBCDIC


@song_reader
def read_musicxml(data: bytes, name: str) -> Written:
    """Return the Song in a MusicXML file, compressed or not; `song_reader` has the parameters.

    Raises
    ------
    ReadError
        If the file is no MusicXML, is damaged, or asks for something unsafe or absurd.
    """
    root = parse_score(data, name)
    parts_found = len(root.findall("part"))
    if not parts_found:
        raise ReadError("there are no parts in it; export the song again", file=name)
    if parts_found > MOST_PARTS:
        raise ReadError(f"it has {parts_found:,} parts; {MOST_PARTS:,} is the most", file=name)
    events = collect_events(root, name)
    if len(events.at("part")) > parts_found:
        raise ReadError("there is a part inside a part; export the song again", file=name)
    for what in ("measure", "note"):
        if (events.part[events.at(what)] < 0).any():
            raise ReadError(
                f"there is a {what} outside of any part; export the song again", file=name
            )
    notices: list[str] = []
    said = read_attributes(events, notices)
    timing = read_timing(events, said, notices)
    notes, voices, names, staff = note_columns(events, said, timing, notices)
    notes = _without_tab_doubles(events, said, notes, staff)
    sources = [names[place] for place in notes.pop("source").tolist()]
    parts = read_parts(events, said, notes, notices)
    setups = read_setups(events, said, timing, parts)
    settle_strings(parts, notes, capos_of_notes(setups, parts, notes), notices)
    report_plain_clef_guitars(events, said, parts, notices)
    bars, double_bars = read_bars(events, timing, notices)
    keys = _keys(events, said, timing)
    return Written(
        ticks=timing.ticks,
        parts=parts,
        notes=notes,
        voices=voices,
        sources=sources,
        numbers=timing.numbers,
        lengths=timing.lengths,
        meters=timing.meters,
        keys=keys,
        tempos=read_tempos(events, timing),
        chords=read_chords(events, said, timing, keys, notices),
        marks=read_marks(events, timing, notices),
        double_bars=double_bars,
        bars=bars,
        setups=setups,
        remarks=read_remarks(events, timing, notices),
        players=read_players(root, notices),
        title=_title(root, notices),
        notices=notices,
    )


def _title(root: Any, notices: list[str]) -> str:
    for path in ("movement-title", "work/work-title"):
        title = " ".join((root.findtext(path) or "").split())
        if title:
            if len(title) > MOST_TEXT:
                notices.append(f"the title is cut to {MOST_TEXT} characters")
            return cut_text(title, MOST_TEXT)
    return ""


def _keys(events: Events, said: Attributes, timing: Timing) -> list[str | None]:
    """The sounding key of each bar, from the first part that has one.

    A part that is written where it sounds, or octaves away, goes before others: a transposing
    part does not say whether G flat or F sharp is meant.
    """
    transposes = forward_fill(events, [(event, by) for event, _, by in said.transposes], 0.0)
    stated = [(int(events.part[event]), int(transposes[event])) for event, _, _ in said.keys]
    first = next((part for part, by in stated if by % 12 == 0), stated[0][0] if stated else None)
    changes: dict[int, str | None] = {}
    for (part, transpose), (event, fifths, mode) in zip(stated, said.keys, strict=True):
        if part != first:
            continue
        name = None
        if fifths is not None:
            # A semitone up is seven fifths up; keep within six signs.
            is_moved = transpose % 12 != 0 or abs(fifths) > 7
            name = key_name((fifths + 7 * transpose + 5) % 12 - 5 if is_moved else fifths, mode)
        changes[int(timing.bar[event])] = name
    keys: list[str | None] = []
    for bar in range(len(timing.numbers)):
        keys.append(changes.get(bar, keys[-1] if keys else None))
    return keys


def _without_tab_doubles(
    events: Events, said: Attributes, notes: dict[str, Array], staff: Array
) -> dict[str, Array]:
    """Leave out notes of a staff that a tablature staff of the same part repeats.

    The note on the tablature staff stays: it knows its string and fret.
    """
    tabs = {(int(events.part[e]), number) for e, number, sign, _ in said.clefs if sign == "TAB"}
    others = {
        (int(events.part[e]), number) for e, number, sign, _ in said.clefs if sign != "TAB"
    } - tabs
    drop = np.zeros(len(staff), dtype=bool)
    for part, number in tabs:
        plain = [other for whose, other in others if whose == part]
        if not plain:
            continue
        place = np.stack([notes[name] for name in ("measure", "offset", "duration", "pitch")])
        own = notes["part"] == part
        tab = {tuple(place[:, at]) for at in np.flatnonzero(own & (staff == number))}
        for at in np.flatnonzero(own & np.isin(staff, plain)).tolist():
            drop[at] = tuple(place[:, at]) in tab
    return {name: column[~drop] for name, column in notes.items()} if drop.any() else notes
