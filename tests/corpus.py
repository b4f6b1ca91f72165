"""Files of music21's corpus, read from the installed package, and their notes by each reader.

Notes are told per part, in page order, as multisets of (onset, duration, sounding pitch): times
in quarter notes as fractions, pitch as a MIDI number or None for an unpitched note. Grace notes
are told apart, by their pitches alone. music21 keeps tied notes single; ``merged`` joins them
the slow, obvious way, from music21's own tie objects.
"""

from __future__ import annotations

import math
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path

import music21

import arrange as ar

PACKAGE = Path(music21.__file__).parent
SUITE = PACKAGE / "musicxml" / "lilypondTestSuite"
SUFFIXES = (".xml", ".musicxml", ".mxl")


def suite_files() -> list[Path]:
    """All files of the suite."""
    return sorted(path for path in SUITE.iterdir() if path.suffix in SUFFIXES)


def label(path: Path) -> str:
    """How a file is called in this project's lists: its path inside music21."""
    return path.relative_to(PACKAGE).as_posix()


def exact(time: float | Fraction) -> Fraction:
    """A time in quarter notes as the simple fraction that it is meant to be."""
    return Fraction(time).limit_denominator(20_000)


def our_notes(path: Path) -> tuple[list[Counter], list[Counter]]:
    """Notes and grace notes of each part, as this package reads them."""
    song = ar.read(path, played=False)
    columns = [song.notes[name].tolist() for name in ("part", "onset", "duration", "pitch", "grace")]
    notes = {part: Counter() for part in song.parts["part"]}
    graces = {part: Counter() for part in song.parts["part"]}
    for part, onset, duration, pitch, grace in zip(*columns, strict=True):
        pitch = None if math.isnan(pitch) else pitch
        if grace:
            graces[part][pitch] += 1
        else:
            notes[part][exact(onset), exact(duration), pitch] += 1
    return list(notes.values()), list(graces.values())


def music21_notes(path: Path) -> tuple[list[Counter], list[Counter]]:
    """Notes and grace notes of each part, as music21 reads them, ties merged."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path, format="musicxml", forceSource=True)
        score.toSoundingPitch(inPlace=True)
    notes: dict[str, list] = {}
    graces: dict[str, Counter] = {}
    for number, staff in enumerate(score.parts):
        # music21 makes a part of each staff: P1-Staff1, P1-Staff2
        is_staff = isinstance(staff, music21.stream.PartStaff)
        part = str(staff.id).rpartition("-Staff")[0] if is_staff else f"{number}"
        notes.setdefault(part, [])
        graces.setdefault(part, Counter())
        for element in staff.recurse().notes:
            if isinstance(element, music21.harmony.Harmony):
                continue
            onset = exact(element.getOffsetInHierarchy(staff))
            voice = element.activeSite.id if element.activeSite is not None else None
            for single in getattr(element, "notes", [element]):
                pitch = single.pitch.ps if hasattr(single, "pitch") else None
                if element.duration.isGrace:
                    graces[part][pitch] += 1
                else:
                    length = exact(element.duration.quarterLength)
                    tie = single.tie.type if single.tie is not None else ""
                    notes[part].append([onset, length, pitch, tie, voice])
    return [merged(part) for part in notes.values()], list(graces.values())


def merged(notes: list[list]) -> Counter:
    """Join each tied note with the one of its pitch that begins where it ends.

    Among several the one in its own voice is taken.
    """
    notes = sorted(notes, key=lambda note: note[0])
    goes_on = [note for note in notes if note[3] in ("stop", "continue")]
    taken = set()
    told = Counter()
    for note in notes:
        if id(note) in taken:
            continue
        onset, end, link = note[0], note[0] + note[1], note
        while link is not None and link[3] in ("start", "continue"):
            following = [
                other
                for other in goes_on
                if id(other) not in taken and other[2] == link[2] and other[0] == end
                and other is not link and other[0] > link[0]
            ]  # fmt: skip
            following.sort(key=lambda other: other[4] != link[4])
            link = following[0] if following else None
            if link is not None:
                taken.add(id(link))
                end = link[0] + link[1]
        told[onset, end - onset, note[2]] += 1
    return told
