"""The rows of the notes table as tones, part by part; what the file cannot hold is reported."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Collection, Sequence
from typing import Any

import numpy as np

from arrange.errors import ArrangeError, shown
from arrange.formats.musicxml.events import Array
from arrange.formats.musicxml.writing_elements import plain_text
from arrange.formats.musicxml.writing_layers import Tone, join_leading
from arrange.formats.musicxml.writing_notes import HIGHEST, LOWEST
from arrange.formats.notices import outlasting_notices
from arrange.formats.written import TECHNIQUES
from arrange.tables.setups import by_section
from arrange.tables.song import Song
from arrange.theory.pitch import note_name

_ID = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*")  # the ASCII part of an XML name


def tones_of(
    song: Song, divisions: int, starts: Sequence[int], taken: Collection[str], notices: list[str]
) -> list[list[Tone]]:
    """Return the tones of each part, in order of time, low to high where they begin together.

    Parameters
    ----------
    song : Song
    divisions : int
        Of a quarter note.
    starts : sequence of int
        Where each bar begins, in divisions, and where the last one ends.
    taken : collection of str
        Ids that the file has already.
    notices : list of str
        What is left out or changed is added.
    """
    notes = song.notes
    onset = _divided(notes["onset"].to_numpy(), divisions)
    end = _divided((notes["onset"] + notes["duration"]).to_numpy(), divisions)
    grace = notes["grace"].to_numpy(dtype=bool)
    bar = _bars(onset, grace, notes["measure"].to_numpy(), np.array(starts))
    pitch = notes["pitch"].to_numpy(dtype=np.float64)
    row_of = {part: row for row, part in enumerate(song.parts["part"])}
    part = notes["part"].map(row_of).to_numpy(dtype=np.int64)
    changed: Counter[str] = Counter()
    _check_written(song, pitch, part)
    timeless = (end <= onset) & ~grace
    changed["notes without a duration are written as grace notes"] += int(timeless.sum())
    grace = grace | timeless
    end = np.where(grace, onset, np.minimum(end, starts[-1]))

    rank = np.where(grace, -2.0, np.nan_to_num(pitch, nan=-1.0))  # grace notes keep their order
    order = np.lexsort((rank, ~grace, bar, onset))
    in_order = notes.iloc[order]
    columns = (
        *(column[order].tolist() for column in (part, onset, end, bar, pitch)),
        [plain_text(voice) for voice in in_order["voice"].tolist()],
        in_order["string"].fillna(0).tolist(),
        _frets(in_order["fret"], _capos(song, part, bar)[order], changed),
        _techniques(in_order["technique"].tolist(), changed),
        grace[order].tolist(),
        _ids(in_order["source_id"].tolist(), taken),
    )
    tones: list[list[Tone]] = [[] for _ in row_of]
    for row, *values in zip(*columns, strict=True):
        tones[row].append(Tone(*values))
    for own in tones:
        join_leading(own)
    notices += [f"{what}: {count}" for what, count in changed.items() if count]
    notices += outlasting_notices(song)
    return tones


def _divided(times: Array, divisions: int) -> Array:
    return np.rint(times * divisions).astype(np.int64)


def _bars(onset: Array, grace: Array, measure: Array, starts: Array) -> Array:
    """The bar that each note begins in; a grace note may stand at the end of the one before."""
    bar = np.searchsorted(starts[:-1], onset, side="right") - 1
    own = np.clip(measure - 1, 0, len(starts) - 2)
    inside = (starts[own] <= onset) & (onset <= starts[own + 1])
    return np.where(grace & inside, own, bar)


def _check_written(song: Song, pitch: Array, part: Array) -> None:
    """Refuse notes that MusicXML's octaves 0 to 9 cannot hold, rather than lose them."""
    written = pitch - song.parts["transpose"].to_numpy()[part]
    off = (written < LOWEST) | (written > HIGHEST)
    if off.any():
        row = int(np.argmax(off))
        raise ArrangeError(
            f"measure {song.notes['measure'].iloc[row]}: {note_name(pitch[row])} of "
            f"{shown(song.notes['part'].iloc[row])} would be written below C0 or above B9, which "
            f"MusicXML cannot hold ({int(off.sum())} such notes); move them by octaves, or write "
            "another format"
        )


def _capos(song: Song, part: Array, bar: Array) -> Array:
    """The capo of each note's part in the section of the bar that the note stands in."""
    section = np.searchsorted(song.sections["first_measure"] - 1, bar, side="right") - 1
    return by_section(song, "capo")[part, np.maximum(section, 0)]


def _frets(fret: Any, capo: Array, changed: Counter[str]) -> list[int]:
    """The frets counted from the capo, -1 for none."""
    missing = fret.isna().to_numpy()
    from_capo = np.where(missing, -1, fret.fillna(0).to_numpy(dtype=np.int64) - capo)
    changed["frets behind the capo are left out"] += int((from_capo < 0)[~missing].sum())
    return np.maximum(from_capo, -1).tolist()


def _techniques(texts: Sequence[object], changed: Counter[str]) -> list[tuple[str, ...]]:
    known: dict[object, tuple[str, ...]] = {}
    for text in dict.fromkeys(plain_text(text) for text in texts):
        known[text] = tuple(name.strip() for name in text.split(",") if name.strip())
    columns = [known[plain_text(text)] for text in texts]
    for names in columns:
        for name in names:
            if name not in TECHNIQUES:
                changed[f"the technique {name!r} has no place in MusicXML and is left out"] += 1
    return columns


def _ids(sources: Sequence[str], taken: Collection[str]) -> list[str]:
    """Ids for the file: the sources' own where XML allows them, each once.

    One that returns gets -2, -3, ... behind it.
    """
    names = {source: _as_id(source) for source in dict.fromkeys(sources)}
    used = {*taken, *names.values()}
    given = set(taken)
    last: dict[str, int] = {}
    ids = []
    for source in sources:
        name = wanted = names[source]
        if name in given:
            free = (f"{wanted}-{time}" for time in itertools.count(last.get(wanted, 1) + 1))
            name = next(name for name in free if name not in used)
            last[wanted] = int(name.rpartition("-")[2])
            used.add(name)
        given.add(name)
        ids.append(name)
    return ids


def _as_id(source: str) -> str:
    return source if _ID.fullmatch(source) else "n" + re.sub(r"[^A-Za-z0-9_.-]", "_", source)
