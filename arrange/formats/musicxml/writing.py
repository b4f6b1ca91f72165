"""Write a Song as MusicXML 4.0, partwise, from its tables alone.

The song is written straight out as it is played: one measure a played bar, numbered like it,
without repeat signs; printed measure numbers are not kept. Decisions:

- A part whose notes all have a string and a fret, on a known tuning, gets **one tablature
  staff**. A second staff with the same notes would make every note stand twice in the file:
  larger, and counted twice by whoever reads both staves. Any other part gets one staff with a
  usual clef; its tuning, strings and frets stand there too. Keys whose voices lie on both
  sides of middle C get two staves, as a pianist reads them; a voice stays on one of them.
- Frets are counted from the capo, as MusicXML says; the table counts from the nut.
- Notes keep their voice. What overlaps in one voice without being a chord goes into further
  voices. A part with one unnamed voice names none.
- A length is written in note values with up to two dots, in tuplets of 3, 5, 7 or 9, tied where it
  takes several; any other length stands exactly, without a note value.
- Chord symbols stand above the first guitar, else above the first part; section names and tempo
  above the first part. A chord holds until the next.
- Players that the song names stand in ``miscellaneous``, for no part is theirs yet.
- Remarks stand as words to the players above the first part, at the section that they are for;
  those for all the song in ``miscellaneous``.
- Drive, echo, capo and recorded layers are written as words to the player, from the first bar of
  each section where they change (``setups``).
- An id that returns, because its note is played again, gets -2, -3, ... behind it.

What the file cannot hold comes back as sentences.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from lxml import etree

from arrange.errors import ArrangeError
from arrange.formats.files import whole_file
from arrange.formats.musicxml.remarks import remark_fields, remark_words
from arrange.formats.musicxml.setups import setup_fields, song_setups, write_setup
from arrange.formats.musicxml.writing_durations import find_divisions
from arrange.formats.musicxml.writing_elements import add, plain_text
from arrange.formats.musicxml.writing_layers import (
    Cell,
    Layer,
    Tone,
    cells_of,
    layers_of,
    put_on_two_staves,
)
from arrange.formats.musicxml.writing_notes import Staff, accidentals_of, move, write_cell
from arrange.formats.musicxml.writing_parts import (
    MIDDLE_C,
    PLAYER,
    Part,
    ids_of,
    is_tab,
    parts_of,
    write_clefs,
    write_entry,
    write_miscellaneous,
    write_strings,
    write_transpose,
)
from arrange.formats.musicxml.writing_signs import (
    chord_of,
    write_harmony,
    write_rehearsal,
    write_tempo,
    write_words,
)
from arrange.formats.musicxml.writing_tones import tones_of
from arrange.formats.notices import homeless_notices
from arrange.formats.written import Setup
from arrange.tables.song import Song
from arrange.theory.chords import Chord
from arrange.theory.meters import meter_quarters, meter_terms
from arrange.theory.pitch import key_fifths, moved_key

_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    ' "http://www.musicxml.org/dtds/partwise.dtd">'
)
# Sections that the reader names by itself, where nothing is written.
_UNNAMED, _BEFORE_THE_FIRST = "Song", "Start"
_SAME_TEMPO = 1e-9  # a share: a mean over a bar is as exact as its arithmetic


def write_musicxml(song: Song, path: str | os.PathLike[str]) -> tuple[str, ...]:
    """Write a Song as MusicXML 4.0; the old file stays until the new one is whole.

    Parameters
    ----------
    song : Song
    path : path
        Ends in ``.musicxml`` or ``.xml``.

    Returns
    -------
    tuple of str
        What of the song the file does not hold, a sentence each.

    Raises
    ------
    ArrangeError
        If the song has no part, a note is written below C0 or above B9, or the path asks for a
        compressed file.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> song = ar.read("datasets/harbour-set/1-rope-and-lantern.txt")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     left_out = ar.write_musicxml(song, f"{folder}/song.musicxml")
    ...     again = ar.read(f"{folder}/song.musicxml")
    >>> left_out
    ()
    >>> again.notes["pitch"].equals(song.notes["pitch"])
    True
    """
    path = Path(path)
    if path.suffix.lower() == ".mxl":
        raise ArrangeError(f"{path}: compressed MusicXML is not written; name it .musicxml")
    notices: list[str] = []
    data = format_musicxml(song, notices)
    with whole_file(path) as draft:
        draft.write_bytes(data)
    return tuple(notices)


def format_musicxml(song: Song, notices: list[str]) -> bytes:
    """Return the bytes of a Song's MusicXML file, the same for the same tables.

    Parameters
    ----------
    song : Song
    notices : list of str
        What the file does not hold is added.

    Raises
    ------
    ArrangeError
        If the song has no part.
    """
    return format_tree(score_tree(song, notices))


def format_tree(root: Any) -> bytes:
    """Return the bytes of the MusicXML file of a ``score-partwise`` element."""
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True, doctype=_DOCTYPE) + b"\n"


def score_tree(song: Song, notices: list[str]) -> Any:
    """Return a Song as a ``score-partwise`` element; parameters as in ``format_musicxml``."""
    parts = parts_of(song)
    if not parts:
        raise ArrangeError("this song has no part; there is nothing to write")
    page = _page(song, notices)
    notices += homeless_notices(song)
    taken = [name for part in parts for name in ids_of(part)]
    tones = tones_of(song, page.divisions, page.starts, taken, notices)
    root = etree.Element("score-partwise", version="4.0")
    root.text = "\n"
    if plain_text(song.title):
        work = add(root, "work")
        work.tail = "\n"
        add(work, "work-title", plain_text(song.title))
    identification = add(root, "identification")
    identification.tail = "\n"
    add(add(identification, "encoding"), "software", "arrange")
    setups = song_setups(song)
    fields = [*remark_fields(song), *((PLAYER, player) for player in song.players)]
    fields += setup_fields(song, [part.id for part in parts], setups)
    write_miscellaneous(identification, fields)
    part_list = add(root, "part-list")
    part_list.tail = "\n"
    for part in parts:
        write_entry(part_list, part)
    above = _chords_above(parts)
    for part, own, here in zip(parts, tones, setups, strict=True):
        signs = part is parts[0], part is above
        _write_part(root, page, part._replace(capo=here[0].capo), own, here, signs)
    return root


def _chords_above(parts: list[Part]) -> Part:
    """The part that chord symbols stand above: a guitar, and written at concert pitch, if any."""
    return min(parts, key=lambda part: (part.transpose % 12 != 0, part.family != "guitar"))


@dataclass(frozen=True)
class _Page:
    """What all parts share: a value a bar, and what stands at the start of some bars.

    `starts` holds one more: where the last bar ends. Times are in divisions.
    """

    divisions: int
    starts: list[int]
    beats: list[int]
    full: list[int]  # as the meter has it; 0 where it is free
    meters: list[str]
    keys: list[str | None]
    tempos: list[float]
    sections: dict[int, str]
    remarks: dict[int, list[str]]
    chords: dict[int, list[tuple[int, Chord]]]  # (offset, chord)


def _page(song: Song, notices: list[str]) -> _Page:
    measures, notes = song.measures, song.notes
    meters = measures["meter"].tolist()
    lines = np.append(measures["onset"].to_numpy(), song.duration)
    beats = [_beat(meter) for meter in meters]
    bar_of_note = np.clip(notes["measure"].to_numpy() - 1, 0, len(measures) - 1)
    times = [
        lines,
        np.array(beats),
        notes["onset"].to_numpy() - lines[bar_of_note],
        notes["duration"].to_numpy(),
        song.chords["onset"].to_numpy(),
    ]
    divisions, is_exact = find_divisions(np.concatenate(times))
    if not is_exact:
        notices.append(
            f"its times have no common grid: they are moved to the next 1/{divisions} of a quarter"
        )
    starts = np.rint(lines * divisions).astype(np.int64).tolist()
    firsts = (song.sections["first_measure"] - 1).tolist()
    sections = dict(zip(firsts, map(plain_text, song.sections["section"]), strict=True))
    if sections.get(0) == (_UNNAMED if len(sections) == 1 else _BEFORE_THE_FIRST):
        del sections[0]
    return _Page(
        divisions,
        starts,
        [max(round(beat * divisions), 1) for beat in beats],
        [round(meter_quarters(meter) * divisions) for meter in meters],
        meters,
        [key if isinstance(key, str) else None for key in measures["key"].tolist()],
        measures["tempo"].tolist(),
        sections,
        remark_words(song),
        _chords(song, starts, divisions, notices),
    )


def _beat(meter: str) -> float:
    """The beat in quarter notes: a dotted note in 6/8, 9/8, 12/8, else at most a quarter."""
    terms = meter_terms(meter)
    unit = 4 / terms[0][1] if terms else 1.0
    return 3 * unit if _is_compound(meter) else min(unit, 1.0)


def _is_compound(meter: str) -> bool:
    return meter in ("6/8", "9/8", "12/8")


def _chords(
    song: Song, starts: list[int], divisions: int, notices: list[str]
) -> dict[int, list[tuple[int, Chord]]]:
    """The chord symbols by bar. One at the very end of its bar stays there."""
    chords: dict[int, list[tuple[int, Chord]]] = {}
    outside = misfits = 0
    names = ["onset", "measure", "symbol", "kind", "root", "bass", "pitch_classes"]
    columns = (song.chords[name].tolist() for name in names)
    keys = song.measures["key"].tolist()
    for onset, measure, symbol, kind, root, bass, members in zip(*columns, strict=True):
        at, bar = round(onset * divisions), int(measure) - 1
        if not starts[bar] <= at <= starts[bar + 1]:
            bar = int(np.searchsorted(starts, at, side="right")) - 1
        if not 0 <= bar < len(starts) - 1:
            outside += 1
            continue
        key = keys[bar]
        chord, fits = chord_of(
            plain_text(symbol),
            kind,
            None if pd.isna(root) else int(root),
            None if pd.isna(bass) else int(bass),
            tuple(map(int, members)),
            key if isinstance(key, str) else None,
        )
        misfits += not fits
        chords.setdefault(bar, []).append((at - starts[bar], chord))
    if outside:
        notices.append(f"chord symbols outside the bars are left out: {outside}")
    if misfits:
        notices.append(f"chord symbols whose members their kind cannot hold: {misfits}")
    return chords


def _write_part(
    root: Any,
    page: _Page,
    part: Part,
    tones: list[Tone],
    setups: dict[int, Setup],
    above: tuple[bool, bool],
) -> None:
    """Add a part, and `above` it the names of sections and the tempo, and the chord symbols."""
    leads, has_chords = above
    element = add(root, "part", attributes={"id": part.id})
    element.tail = "\n"
    staff = Staff(part.transpose, is_tab(part, tones))
    layers = layers_of(tones, page.starts)
    staves = 1 + (part.family == "keys" and put_on_two_staves(layers, MIDDLE_C))
    for bar in range(len(page.meters)):
        measure = add(element, "measure", attributes={"number": str(bar + 1)})
        measure.text = measure.tail = "\n"
        staff.key = moved_key(page.keys[bar], -part.transpose)
        _write_attributes(measure, page, bar, part, tones, staff, staves)
        write_setup(measure, bar, setups)
        if leads:
            _write_signs(measure, page, bar)
        chords = page.chords.get(bar, []) if has_chords else []
        _write_bar(measure, page, bar, layers, staff, chords)
        _write_barline(measure, page, bar)


def _write_attributes(
    measure: Any,
    page: _Page,
    bar: int,
    part: Part,
    tones: list[Tone],
    staff: Staff,
    staves: int,
) -> None:
    new_key = page.keys[bar] != page.keys[bar - 1] if bar else page.keys[bar] is not None
    new_meter = not bar or page.meters[bar] != page.meters[bar - 1]
    if not (new_key or new_meter):
        return
    attributes = add(measure, "attributes")
    attributes.tail = "\n"
    if bar == 0:
        add(attributes, "divisions", page.divisions)
    if new_key:
        key = add(attributes, "key")
        if staff.key is not None:  # an empty one: from here on no key
            add(key, "fifths", key_fifths(staff.key))
            add(key, "mode", staff.key.partition(" ")[2])
    if new_meter:
        time = add(attributes, "time")
        for beats, unit in meter_terms(page.meters[bar]):
            add(time, "beats", beats)
            add(time, "beat-type", unit)
        if not len(time):
            add(time, "senza-misura")
    if bar == 0:
        write_clefs(attributes, part, tones, staves=staves)
        write_strings(attributes, part, is_tab=staff.is_tab)
        write_transpose(attributes, part)


def _write_signs(measure: Any, page: _Page, bar: int) -> None:
    if page.sections.get(bar):
        write_rehearsal(measure, page.sections[bar])
    for remark in page.remarks.get(bar, ()):
        write_words(measure, remark)
    tempo = page.tempos[bar]
    before = page.tempos[bar - 1] if bar else 0.0
    if abs(tempo - before) > _SAME_TEMPO * tempo:
        write_tempo(measure, tempo, compound=_is_compound(page.meters[bar]))


def _write_bar(
    measure: Any,
    page: _Page,
    bar: int,
    layers: list[Layer],
    staff: Staff,
    chords: list[tuple[int, Chord]],
) -> None:
    """Add the notes and rests of a bar, layer by layer, and its chord symbols to the first."""
    length = page.starts[bar + 1] - page.starts[bar]
    waiting = chords[::-1]

    def write_chords(until: int, at: int) -> None:
        while waiting and waiting[-1][0] < until:
            offset, chord = waiting.pop()
            write_harmony(measure, chord, offset - at, -staff.transpose, staff.key)

    is_begun = False
    for staff.number in sorted({layer.staff for layer in layers}):
        on_staff = [layer for layer in layers if layer.staff == staff.number]
        present = [layer for layer in on_staff if bar in layer.bars] or on_staff[:1]
        pieces = {layer.voice: layer.bars.get(bar, []) for layer in present}
        accidentals = accidentals_of((piece for own in pieces.values() for piece in own), staff)
        for place, (voice, own) in enumerate(pieces.items()):
            if is_begun and length:
                move(measure, "backup", length)
            is_begun = True
            cells = cells_of(own, length, page.divisions, page.beats[bar], with_rests=place == 0)
            if not own and 0 < length == page.full[bar]:
                cells = [Cell(0, length, None, is_bar=True)]
            for cell in cells:
                write_chords(cell.offset + max(cell.length, 1), cell.offset)
                write_cell(measure, cell, voice, staff, accidentals)
            write_chords(length + 1, length)


def _write_barline(measure: Any, page: _Page, bar: int) -> None:
    """A double bar before each section and at the end."""
    is_end = bar == len(page.meters) - 1
    if is_end or bar + 1 in page.sections:
        barline = add(measure, "barline", attributes={"location": "right"})
        add(barline, "bar-style", "light-heavy" if is_end else "light-light")
        barline.tail = "\n"
