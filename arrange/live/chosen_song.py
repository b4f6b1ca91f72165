"""A song with some choices made: a Song in, a Song out, no widgets.

A new inversion or string set goes through the same search as the proposals of ``revoicing``:
voicings that a hand can hold, with third and seventh kept, and short moves for the hand and the top
line. Notes that form no chord stay as written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.fingering import finger_part
from arrange.live.choices import AS_WRITTEN, NO_ECHO, Choices, PartChoice
from arrange.revoicing.candidates import Pool
from arrange.revoicing.choosing import choose
from arrange.revoicing.harmonies import Harmonies, Harmony
from arrange.revoicing.movers import Mover, with_capo
from arrange.revoicing.preparing import make_mover
from arrange.revoicing.scope import Scope
from arrange.revoicing.stretches import find_stretch
from arrange.revoicing.taste import Taste
from arrange.tables.copies import quick_song
from arrange.tables.setups import all_through, song_in_section
from arrange.tables.song import Song, part_row, section_row
from arrange.tables.sounding import Array

_LEAST_NOTES = 3  # notes of a chord, where as many are written


@dataclass(frozen=True, eq=False)
class Voiced:
    """A song's notes with one part in other voicings.

    Parameters
    ----------
    pitch : array of float
        Of each note of the song.
    keep, moved : array of bool
        Notes that are still played; notes that lie elsewhere now.
    string, fret : array of int
        Where the moved ones lie, frets from the nut; string 0 where that is still to be found.
    remarks : tuple of str
        What stayed as written, and why.
    """

    pitch: Array
    keep: Array
    moved: Array
    string: Array
    fret: Array
    remarks: tuple[str, ...]


def section_mover(song: Song, part: str, section: str) -> Mover:
    """Return a part that may change in a section, for ``voiced``.

    Raises
    ------
    ArrangeError
        If the part has no strings or is silent there.
    """
    song, stretch = song_in_section(song, section), find_stretch(song, section)
    return make_mover(Harmonies(song), part, stretch, Scope(), None, Taste())


def voiced(mover: Mover, inversion: str, strings: str, capo: int | None) -> Voiced:
    """Return the notes with a part's chords in another inversion or on other strings."""
    mover = mover if capo is None else with_capo(mover, capo)
    fits = [_fits_already(mover, number, inversion, strings) for number in range(len(mover.units))]

    def keeps(own: Mover, number: int, pool: Pool, rows: Array) -> Array:
        return _voicings(own, number, pool, rows, inversion, strings)

    options = mover.options(keeps, (0,), [not each for each in fits])
    for number in np.flatnonzero(fits).tolist():
        options[number] = mover.as_written(number)
    chosen = choose(mover.units, options, mover.taste.prices).options
    notes = mover.scene.song.notes
    frame = mover.played(notes, options, chosen)
    pitch = notes["pitch"].to_numpy().copy()
    keep = np.zeros(len(notes), dtype=bool)
    keep[frame.index] = True
    pitch[frame.index] = frame["pitch"].to_numpy()
    moved = pitch != notes["pitch"].to_numpy()
    moved &= np.isfinite(pitch)
    for unit, own, row in zip(mover.units, options, chosen, strict=True):
        moved[unit.rows] |= bool((own.pitches[row] != np.rint(unit.written)).any())
    string, fret = np.zeros(len(notes), np.int64), np.zeros(len(notes), np.int64)
    for new, name in ((string, "string"), (fret, "fret")):
        new[frame.index] = frame[name].to_numpy(dtype=np.int64, na_value=0)
    string[~moved] = 0
    stuck = [
        unit.harmony.symbol
        for number, unit in enumerate(mover.units)
        if unit.free and unit.harmony and not fits[number] and len(options[number].cost) == 1
        and (options[number].pitches[0] == np.rint(unit.written)).all()
    ]  # fmt: skip
    return Voiced(pitch, keep, moved, string, fret, tuple(_stuck_words(mover, stuck)))


def _stuck_words(mover: Mover, stuck: list[str]) -> Iterator[str]:
    free = [unit for unit in mover.units if unit.free]
    if stuck:
        names = ", ".join(dict.fromkeys(stuck))
        yield f"{mover.part}: no such voicing within reach for {names}; as written there"
    if all(unit.harmony is None for unit in free):
        yield f"{mover.part} plays a line here: inversion and strings are about chords"


def _fits_already(mover: Mover, number: int, inversion: str, strings: str) -> bool:
    """Whether a grip as written is already what was chosen."""
    unit = mover.units[number]
    if unit.harmony is None or not unit.free:
        return False
    lowest = int(unit.written[0]) % 12
    is_inverted = inversion == AS_WRITTEN or lowest in _lowest(unit.harmony, inversion)
    held = mover.written[number][1]
    is_on = strings == AS_WRITTEN or not held & ~_bits(strings)
    return is_inverted and is_on


def _voicings(
    mover: Mover, number: int, pool: Pool, rows: Array, inversion: str, strings: str
) -> Array:
    """The voicings that are as asked and keep the third and seventh of the written one."""
    unit = mover.units[number]
    harmony = unit.harmony
    assert harmony is not None
    fits = pool.count[rows] >= min(_LEAST_NOTES, len(unit.written))
    for guide in harmony.guides & {int(pitch) % 12 for pitch in unit.written}:
        fits &= pool.has(guide)[rows]
    if inversion != AS_WRITTEN:
        fits &= np.isin(pool.lowest[rows] % 12, list(_lowest(harmony, inversion)))
    if strings != AS_WRITTEN:
        fits &= (pool.strings[rows] & ~_bits(strings)) == 0
    return fits


def _lowest(harmony: Harmony, inversion: str) -> frozenset[int]:
    """The pitch classes that may be the lowest."""
    above = {(member - harmony.root) % 12: member for member in harmony.members}
    sizes = {"root": (0,), "third": (3, 4), "fifth": (7, 6, 8), "seventh": (10, 11, 9)}
    wanted = sizes[inversion.split()[0]]
    return frozenset([above[size] for size in wanted if size in above][:1])


def _bits(strings: str) -> int:
    """A set of strings such as "1–3" as bits."""
    first, last = map(int, strings.split("–"))
    return sum(1 << string - 1 for string in range(first, last + 1))


FindVoiced = Callable[[str, str, str, str, "int | None"], Voiced]


def try_choices(
    song: Song, choices: Choices, find: FindVoiced | None = None
) -> tuple[Song, tuple[str, ...]]:
    """Return the song with the choices made, and remarks about what could not be done.

    Parameters
    ----------
    song : Song
    choices : Choices
    find : callable, optional
        Gives ``voiced`` for a part, section, inversion, strings and capo; a cache, say.

    Raises
    ------
    ArrangeError
        If a part or section is not there, or notes would leave the range of pitches.
    """
    row = section_row(song, choices.section)
    if choices.is_as_written:
        return song, ()
    begin, end = float(row["onset"]), float(row["onset"] + row["duration"])
    notes, remarks = song.notes, []
    onset, pitch = notes["onset"].to_numpy(), notes["pitch"].to_numpy().copy()
    inside = (onset >= begin - 1e-9) & (onset < end - 1e-9)
    keep, moved = np.ones(len(notes), dtype=bool), np.zeros(len(notes), dtype=bool)
    string, fret = np.zeros(len(notes), np.int64), np.zeros(len(notes), np.int64)
    for part, choice in choices.parts:
        part_row(song, part)
        own = (notes["part"] == part).to_numpy(dtype=bool)
        if choice.inversion != AS_WRITTEN or choice.strings != AS_WRITTEN:
            if not (own & inside & np.isfinite(pitch)).any():
                remarks.append(f"{part} rests here")
            else:
                asked = part, choices.section, choice.inversion, choice.strings, choice.capo
                new = find(*asked) if find else _found(song, *asked)
                pitch[own] = new.pitch[own]
                keep &= new.keep
                moved |= new.moved & own
                if not choice.octave:  # an octave away the same notes lie elsewhere
                    string[own], fret[own] = new.string[own], new.fret[own]
                remarks += new.remarks
        if choice.octave:
            pitch[own & inside] += 12 * choice.octave
            moved |= own & inside
            _check_pitches(part, pitch[own & inside])
        if choice.capo is not None:  # other frets in the whole song
            moved |= own
    tables: dict[str, pd.DataFrame] = {}
    if moved.any() or not keep.all():
        frame = notes.assign(pitch=pitch)
        changed = frame.assign(**{
            name: notes[name].mask(moved).mask(string > 0, new)
            for name, new in (("string", string), ("fret", fret))
        })  # fmt: skip
        tables["notes"] = changed if keep.all() else changed[keep].reset_index(drop=True)
    if choices.tempo is not None:
        first = float(song.measures["tempo"].iloc[int(row["first_measure"]) - 1])
        faster = choices.tempo / first
        tables["measures"] = song.measures.assign(tempo=song.measures["tempo"] * faster)
    for part, choice in choices.parts:
        song = all_through(song, part, **_sound(choice))
    return quick_song(song, **tables), tuple(dict.fromkeys(remarks))


def _found(
    song: Song, part: str, section: str, inversion: str, strings: str, capo: int | None
) -> Voiced:
    return voiced(section_mover(song, part, section), inversion, strings, capo)


def _check_pitches(part: str, pitch: Array) -> None:
    known = pitch[np.isfinite(pitch)]
    if len(known) and (known.min() < 0 or known.max() > 127):
        raise ArrangeError(f"{part} would leave the range of pitches, 0 to 127; move it by less")


def _sound(choice: PartChoice) -> dict[str, Any]:
    """The capo, drive and echo that are chosen, as the tables hold them."""
    chosen = {"capo": choice.capo, "drive": choice.drive, "echo": choice.echo}
    return {
        name: None if value == NO_ECHO else value
        for name, value in chosen.items()
        if value is not None
    }


def section_hands(song: Song, part: str, section: str) -> pd.DataFrame:
    """Return a part in a section, fingered as ``finger_part`` does; empty where it rests."""
    own = (song.notes["part"] == part) & (song.notes["section"] == section)
    notes = song.notes[own.to_numpy(dtype=bool)]
    if notes["pitch"].isna().all():
        return notes.assign(position=0, problem=None)
    return finger_part(quick_song(song_in_section(song, section), notes=notes), part)
