"""Compare what other readers make of the MusicXML that we write with our own table, tie for tie.

A song is read and played out, written, and its file read by music21 (ties merged by its own
``stripTies``, and note by note by its tie objects) and by partitura. Of each part the multiset of
(onset, duration, sounding pitch) is compared, grace notes left out.

As a script, this compares the whole of music21's installed corpus up to 200 kB a file, in one
process, and prints each file that differs with what is known of it::

    python tests/written_elsewhere.py

On two slow cores shared with others it takes some nine minutes of processor time for 577 files.
"""

from __future__ import annotations

import tempfile
import warnings
from collections import Counter
from pathlib import Path

import music21
from corpus import CORPUS, exact, in_time, label, music21_parts, music_files
from test_write_musicxml import partitura_notes, sounding

import arrange as ar

LARGEST = 200_000  # bytes
LEFT_OUT = ("berlinAlexandersRagtime.mxl",)  # not used in this project

# Causes.
VOICES = (
    "music21's stripTies goes through all voices of a staff as one line, and loses ties that two "
    "voices hold at once or that another voice's notes stand between; its documentation: 'this "
    "only works if tied notes are sequential in the same voice'. Its tie objects are right"
)
UNISON = "partitura keeps one tie for a pitch and a moment; here two voices tie the same pitch"
UNPITCHED = "partitura stops at unpitched notes with an AttributeError"

# (file, reader) -> cause
KNOWN = {
    ("corpus/bach/bwv248.23-2.mxl", "stripTies"): VOICES,
    ("corpus/demos/drum_sample.xml", "partitura"): UNPITCHED,
    ("corpus/schoenberg/opus19/movement2.mxl", "stripTies"): VOICES,
    ("corpus/schoenberg/opus19/movement6.mxl", "stripTies"): VOICES,
    ("corpus/schumann_robert/dichterliebe_no2.xml", "stripTies"): VOICES,
    ("corpus/schumann_robert/dichterliebe_no2.xml", "partitura"): UNISON,
    ("corpus/schumann_robert/opus48no2.mxl", "stripTies"): VOICES,
    ("corpus/schumann_robert/opus48no2.mxl", "partitura"): UNISON,
    ("corpus/beethoven/opus18no1/movement3.mxl", "stripTies"): VOICES,
    ("corpus/beethoven/opus18no1/movement4.mxl", "stripTies"): VOICES,
    ("corpus/beethoven/opus59no1/movement1.mxl", "stripTies"): VOICES,
    ("corpus/beethoven/opus59no2/movement2.mxl", "stripTies"): VOICES,
    ("corpus/beethoven/opus59no3/movement2.mxl", "stripTies"): VOICES,
    ("corpus/haydn/opus74no1/movement4.mxl", "stripTies"): VOICES,
    ("corpus/schumann_robert/opus41no1/movement5.mxl", "stripTies"): VOICES,
    ("corpus/weber/concertino_clarinet.mxl", "stripTies"): VOICES,
}


def compared_files() -> list[Path]:
    """Return all MusicXML files of the corpus that are compared in a full run."""
    return [
        path
        for path in music_files(CORPUS)
        if path.stat().st_size < LARGEST and path.name not in LEFT_OUT
    ]


def differing_readers(path: Path, folder: Path) -> list[str]:
    """Write a song of the corpus into a folder; return the readers that read something else."""
    song, written = ar.read(path), folder / "written.musicxml"
    ar.write_musicxml(song, written)
    ours = sounding(song)
    readers = {
        "arrange": lambda: sounding(ar.read(written)),
        "music21": lambda: [notes for notes, _ in in_time(music21_parts(written))],
        "stripTies": lambda: stripped_parts(written),
        "partitura": lambda: partitura_notes(written, song),
    }
    differing = []
    for reader, read in readers.items():
        try:
            agrees = read() == ours
        except (AttributeError, KeyError):  # partitura stops at elements that it does not know
            agrees = False
        differing += [] if agrees else [reader]
    return differing


def stripped_parts(path: Path) -> list[Counter]:
    """Return for each part the notes as music21 reads them and merges their ties."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path, format="musicxml", forceSource=True)
        score.toSoundingPitch(inPlace=True)
        score.stripTies(inPlace=True)
    parts: dict[str, Counter] = {}
    for index, staff in enumerate(score.parts):
        # music21 makes a part of each staff: P1-Staff1, P1-Staff2
        is_staff = isinstance(staff, music21.stream.PartStaff)
        part = str(staff.id).rpartition("-Staff")[0] if is_staff else f"{index}"
        notes = parts.setdefault(part, Counter())
        for element in staff.flatten().notes:
            if isinstance(element, music21.harmony.Harmony) or element.duration.isGrace:
                continue
            place = exact(element.offset), exact(element.duration.quarterLength)
            for single in getattr(element, "notes", [element]):
                notes[(*place, single.pitch.ps if hasattr(single, "pitch") else None)] += 1
    return list(parts.values())


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        for each in compared_files():
            known = {reader for file, reader in KNOWN if file == label(each)}
            differing = differing_readers(each, Path(name))
            if differing or known:
                verdict = "as known" if known == set(differing) else f"known: {sorted(known)}"
                print(label(each), differing, verdict, flush=True)
