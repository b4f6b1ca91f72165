"""Files of music21's corpus, read from the installed package, and their notes by each reader.

Notes are listed part by part, in page order: times in quarter notes as fractions, pitch as a
sounding MIDI number, None for an unpitched note. Grace notes are listed separately, by their
pitches alone. music21 keeps tied notes separate; ``merged`` joins them in a slow and obvious way,
by music21's own tie objects.
"""

from __future__ import annotations

import functools
import math
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import music21

import arrange as ar

PACKAGE = Path(music21.__file__).parent
SUITE = PACKAGE / "musicxml" / "lilypondTestSuite"
CORPUS = PACKAGE / "corpus"
SUFFIXES = (".xml", ".musicxml", ".mxl")


class Heard(NamedTuple):
    """A sounding note: its time in the piece and its place on the page."""

    onset: Fraction
    duration: Fraction
    pitch: float | None
    bar: int
    offset: Fraction
    tie: str = ""  # where music21 has one


class Printed(NamedTuple):
    """A note as it stands on the page, before ties are merged."""

    onset: Fraction
    duration: Fraction
    pitch: float | None
    bar: int
    offset: Fraction
    tie: str
    voice: object


Parts = list[tuple[list[Heard], Counter]]  # by part: notes, and pitches of the grace notes


def music_files(folder: Path) -> list[Path]:
    """Return all MusicXML files below a folder."""
    return sorted(path for path in folder.rglob("*") if path.suffix in SUFFIXES)


def label(path: Path) -> str:
    """Return a file's name in this project's lists: its path inside music21."""
    return path.relative_to(PACKAGE).as_posix()


@functools.lru_cache(maxsize=100_000)
def exact(time: float | Fraction) -> Fraction:
    """Return a time in quarter notes as the simple fraction that is meant."""
    return Fraction(time).limit_denominator(20_000)


def our_parts(path: Path) -> Parts:
    """Return each part's notes and grace notes, as this package reads them."""
    song = ar.read(path, played=False)
    starts = song.measures["onset"].tolist()
    names = ("part", "onset", "duration", "pitch", "measure", "grace")
    parts: dict[str, tuple[list[Heard], Counter]] = {
        part: ([], Counter()) for part in song.parts["part"]
    }
    for part, onset, duration, pitch, measure, grace in zip(
        *(song.notes[name].tolist() for name in names), strict=True
    ):
        sound = None if math.isnan(pitch) else pitch
        offset = exact(onset - starts[measure - 1])
        if grace:
            parts[part][1][sound] += 1
        else:
            heard = Heard(exact(onset), exact(duration), sound, measure, offset)
            parts[part][0].append(heard)
    return list(parts.values())


def music21_parts(path: Path) -> Parts:
    """Return each part's notes and grace notes, as music21 reads them, ties merged."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path, format="musicxml", forceSource=True)
        score.toSoundingPitch(inPlace=True)
    printed: dict[str, list[Printed]] = {}
    graces: dict[str, Counter] = {}
    for index, staff in enumerate(score.parts):
        # music21 makes a part of each staff: P1-Staff1, P1-Staff2
        is_staff = isinstance(staff, music21.stream.PartStaff)
        part = str(staff.id).rpartition("-Staff")[0] if is_staff else f"{index}"
        notes = printed.setdefault(part, [])
        grace = graces.setdefault(part, Counter())
        for bar, measure in enumerate(staff.getElementsByClass("Measure"), 1):
            starts = exact(measure.getOffsetBySite(staff))
            for element in measure.recurse().notes:
                if isinstance(element, music21.harmony.Harmony):
                    continue
                for single in getattr(element, "notes", [element]):
                    pitch = single.pitch.ps if hasattr(single, "pitch") else None
                    if element.duration.isGrace:
                        grace[pitch] += 1
                        continue
                    offset = exact(element.getOffsetInHierarchy(measure))
                    tie = single.tie.type if single.tie is not None else ""
                    length = exact(element.duration.quarterLength)
                    voice = element.activeSite.id
                    notes.append(
                        Printed(starts + offset, length, pitch, bar, offset, tie, voice)
                    )  # fmt: skip
    no_ends = not any(
        note.tie in ("stop", "continue") for notes in printed.values() for note in notes
    )
    return [
        (merged(notes, no_ends), grace)
        for notes, grace in zip(printed.values(), graces.values(), strict=True)
    ]


def merged(notes: list[Printed], no_ends: bool) -> list[Heard]:
    """Join each tied note with the one of its pitch that begins where it ends.

    If there are several, the one in the same voice is taken. With `no_ends`, for files in which no
    tie says where it ends, any note of that pitch is accepted.
    """
    notes = sorted(notes, key=lambda note: note.onset)
    beginning: dict[tuple, list[Printed]] = {}
    for note in notes:
        if no_ends or note.tie in ("stop", "continue"):
            beginning.setdefault((note.pitch, note.onset), []).append(note)
    joined: set[int] = set()
    whole = []
    for note in notes:
        if id(note) in joined:
            continue
        end, link = note.onset + note.duration, note
        while link is not None and link.tie in ("start", "continue"):
            following = [
                other
                for other in beginning.get((link.pitch, end), [])
                if id(other) not in joined and other.onset > link.onset
            ]
            own = [other for other in following if other.voice == link.voice]
            link = (own or following or [None])[0]
            if link is not None:
                joined.add(id(link))
                end = link.onset + link.duration
        length = end - note.onset
        whole.append(Heard(note.onset, length, note.pitch, note.bar, note.offset, note.tie))
    return whole


def in_time(parts: Parts) -> list[tuple[Counter, Counter]]:
    """Return for each part the multisets of (onset, duration, pitch) and of its graces' pitches."""
    return [(Counter((n.onset, n.duration, n.pitch) for n in notes), g) for notes, g in parts]


def on_page(parts: Parts) -> list[tuple[Counter, Counter]]:
    """Return for each part the multisets of (bar, offset in the bar, pitch) and of its graces'
    pitches.
    """
    return [(Counter((n.bar, n.offset, n.pitch) for n in notes), g) for notes, g in parts]


def untied(parts: Parts) -> list[Counter]:
    """Return for each part the multiset of (bar, offset, duration, pitch) of untied notes."""
    return [
        Counter((n.bar, n.offset, n.duration, n.pitch) for n in notes if not n.tie)
        for notes, _ in parts
    ]
