"""Measure how fast all findings of a song are found, compared with lxml parsing the same song.

Run it by hand: ``python tests/benchmarks/clashes.py`` (two or three minutes). Four tables in ms,
each a median of 7 with the heap trimmed between: a four-minute song of a band of eight, generated
here; the largest quartet movement of music21's corpus; every kind by itself; and the time for two
to 28 parts that play together, with equally many notes each, which shows how the time grows with
the number of pairs. A fifth table, in seconds and MB, is for a whole study of many parts that play
at random, up to the size that is refused. ``own`` is processor time; other work on the machine
makes the clock time longer.
"""

from __future__ import annotations

import ctypes
import gc
import io
import resource
import statistics
import tempfile
import time
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import music21
import numpy as np
import pandas as pd
from lxml import etree

import arrange as ar
from arrange.clashes import KINDS
from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.clashes.scene import Scene
from arrange.clashes.table import findings_table
from arrange.tables.song import Song

QUARTET = Path(music21.__file__).parent / "corpus" / "beethoven"
SAMPLES = 7
BARS, BAR, SECTION = 120, 4.0, 8  # bars, quarter notes, bars
TEMPO = 120.0
RATIO_LIMIT, LIMIT = 3.0, 300.0  # times lxml's parse; ms

# A song of eight chords in G: root, kind, members above it.
PROGRESSION = (
    *((7, "G", "major"), (2, "D", "major"), (4, "Em", "minor"), (0, "C", "major")),
    *((7, "G", "major"), (9, "Am", "minor"), (0, "C", "major"), (2, "D", "major")),
)
THIRD = {"major": 4, "minor": 3}


class Player(NamedTuple):
    """A part: its attacks in a bar, the notes of each attack, and its lowest pitch."""

    name: str
    family: str
    attacks: int
    notes: int
    lowest: int | None  # None for percussion
    drive: str = "clean"
    echo: str | None = None


BAND = (
    Player("Voice", "voice", 4, 1, 62),
    Player("Guitar 1", "guitar", 4, 3, 50, drive="overdriven"),
    Player("Guitar 2", "guitar", 8, 1, 55, drive="edge", echo="dotted eighth"),
    Player("Keys", "keys", 2, 4, 55),
    Player("Pad", "keys", 1, 3, 60),
    Player("Fiddle", "other", 3, 1, 67),
    Player("Bass", "bass", 4, 1, 31),
    Player("Drums", "drums", 8, 1, None),
)


def band_song(players: Sequence[Player]) -> Song:
    """Return a song of 120 bars in which all parts play chord tones and sometimes a neighbour."""
    random = np.random.default_rng(11)
    bars = np.arange(1, BARS + 1)
    section = [f"{'Verse' if k % 2 else 'Chorus'} {k // 2 + 1}" for k in (bars - 1) // SECTION]
    start = BAR * (bars - 1)
    chords = [PROGRESSION[k % len(PROGRESSION)] for k in range(BARS)]
    members = [(root, (root + THIRD[kind]) % 12, (root + 7) % 12) for root, _, kind in chords]
    measures = pd.DataFrame(
        {"measure": bars, "written": bars.astype(str), "section": section, "onset": start,
         "duration": BAR, "meter": "4/4", "key": "G major", "tempo": TEMPO}
    )  # fmt: skip
    roots = [root for root, *_ in chords]
    symbols = pd.DataFrame(
        {"onset": start, "duration": BAR, "measure": bars, "section": section,
         "symbol": [symbol for _, symbol, _ in chords], "root": roots, "bass": roots,
         "kind": [kind for *_, kind in chords], "pitch_classes": members, "degree": None}
    )  # fmt: skip
    first = bars[::SECTION]
    sections = pd.DataFrame(
        {"section": section[::SECTION], "kind": "other", "pass": 1, "first_measure": first,
         "last_measure": first + SECTION - 1, "onset": start[::SECTION],
         "duration": BAR * SECTION}
    )  # fmt: skip
    parts = pd.DataFrame(
        {"part": [player.name for player in players],
         "instrument": [player.name for player in players],
         "family": [player.family for player in players], "tuning": None, "capo": 0,
         "transpose": 0, "drive": [player.drive for player in players],
         "echo": [player.echo for player in players], "level": 0.0, "program": None,
         "player": None}
    )  # fmt: skip
    tables = [_notes(player, np.array(members), measures, random) for player in players]
    notes = pd.concat(tables, ignore_index=True)
    notes["source_id"] = [f"n{k}" for k in range(len(notes))]
    return Song(parts, sections, measures, symbols, notes)


def _notes(
    player: Player, members: np.ndarray, measures: pd.DataFrame, random: np.random.Generator
) -> pd.DataFrame:
    """Return a part's notes: members of each bar's chord in its register, one in 24 a step off."""
    shape = (BARS, player.attacks, player.notes)
    length = BAR / player.attacks
    onset = measures["onset"].to_numpy()[:, None, None] + length * np.arange(shape[1])[:, None]
    pitch = np.full(shape, np.nan)
    if player.lowest is not None:
        which = (random.integers(0, 3, shape[:2])[:, :, None] + np.arange(shape[2])) % 3
        pitch_class = np.take_along_axis(members[:, None, :], which, axis=2)
        # Upwards from the lowest pitch; the fourth note of a chord lies an octave above the first.
        pitch = player.lowest + (pitch_class - player.lowest) % 12 + 12 * (np.arange(shape[2]) // 3)
        pitch = pitch + random.choice([-2, 1, 2], shape) * (random.random(shape) < 1 / 24)
    row = np.repeat(np.arange(BARS), shape[1] * shape[2])
    columns = {name: measures[name].to_numpy()[row] for name in ("measure", "section")}
    return pd.DataFrame(
        {"part": player.name, "onset": np.broadcast_to(onset, shape).ravel(), "duration": length,
         "pitch": pitch.ravel(), "voice": None, "string": None, "fret": None, "technique": None,
         "grace": False, **columns}
    )  # fmt: skip


def crowd_song(parts: int, notes: int) -> Song:
    """Return a song of guitars that play random quarter notes on half of all eighths."""
    random = np.random.default_rng(11)
    onset = np.sort([random.choice(2 * notes, notes, replace=False) / 2 for _ in range(parts)])
    frame = pd.DataFrame(
        {"part": np.repeat([f"Guitar {k + 1}" for k in range(parts)], notes),
         "onset": onset.ravel(), "duration": 1.0, "measure": (onset.ravel() // BAR).astype(int) + 1,
         "section": "Song", "pitch": random.integers(40, 84, parts * notes), "voice": None,
         "string": None, "fret": None, "technique": None, "grace": False,
         "source_id": np.arange(parts * notes).astype(str)}
    )  # fmt: skip
    band = band_song([Player(f"Guitar {k + 1}", "guitar", 1, 1, 40) for k in range(parts)])
    bars = int(notes // BAR) + 1
    measures = band.measures.head(bars).assign(section="Song")
    sections = band.sections.head(1).assign(section="Song", last_measure=bars, duration=BAR * bars)
    chords = band.chords.head(bars).assign(section="Song")
    return Song(band.parts, sections, measures, chords, frame)


def study_of_crowd(parts: int, notes: int) -> str:
    """Return processor seconds for the findings and for the report, and the peak memory in MB."""
    song = crowd_song(parts, notes)
    start = time.process_time()
    study = ar.Study(song)
    try:
        findings = len(study.findings)
    except ar.ArrangeError:
        return f"{parts:6}{notes:7}  refused after {time.process_time() - start:.2f} s"
    found = time.process_time()
    study.html()
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return (
        f"{parts:6}{notes:7}{findings:10,}{found - start:8.1f}{time.process_time() - found:8.1f}"
        f"{memory:8,}"
    )


def clocked(task: Callable[[], object]) -> tuple[float, float]:
    """Return the median ms of a task by the clock and by the processor, from a trimmed heap."""
    wall, own = [], []
    for _ in range(SAMPLES + 1):
        gc.collect()
        ctypes.CDLL("libc.so.6").malloc_trim(0)
        start, start_own = time.perf_counter(), time.process_time()
        task()
        own.append(1000 * (time.process_time() - start_own))
        wall.append(1000 * (time.perf_counter() - start))
    return statistics.median(wall[1:]), statistics.median(own[1:])


def by_kind(song: Song) -> dict[str, float]:
    """Return median processor ms: what all kinds share, each kind, the table, and all together."""

    def shared() -> Scene:
        scene = Scene(song)
        _ = scene.pairs, scene.slices, scene.top, scene.slice_seconds
        return scene

    scene = shared()
    tasks: dict[str, Callable[[], object]] = {"shared": shared}
    tasks |= {
        name: (lambda find=kind.find: find(scene, DEFAULT_LIMITS)) for name, kind in KINDS.items()
    }
    clashes = [clash for kind in KINDS.values() for clash in kind.find(scene, DEFAULT_LIMITS)]
    tasks["table"] = lambda: findings_table(scene, clashes)
    tasks["all"] = lambda: ar.find_clashes(song)
    return {name: clocked(task)[1] for name, task in tasks.items()}


def musicxml(song: Song) -> bytes:
    """Return the song as MusicXML."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "song.musicxml"
        ar.write_musicxml(song, path)
        return path.read_bytes()


def unpacked(path: Path) -> bytes:
    """Return the score inside a compressed file."""
    with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as archive:
        names = [name for name in archive.namelist() if "META" not in name and name.endswith("xml")]
        return archive.read(names[0])


def largest_quartet() -> Path:
    """Return the largest file, in bytes, among the quartet movements."""
    return max(QUARTET.rglob("*.mxl"), key=lambda path: len(unpacked(path)))


def main() -> None:
    """Print the tables."""
    band = band_song(BAND)
    path = largest_quartet()
    songs = {
        "band of eight": (band, musicxml(band)),
        f"quartet, {path.stem}": (ar.read(path, played=False), unpacked(path)),
    }
    print(f"{'song':22}{'parts':>6}{'notes':>7}{'minutes':>8}{'findings':>9}{'lxml':>8}{'own':>8}"
          f"{'all':>8}{'own':>8}{'ratio':>7}{'limit':>7}{'us/note':>8}")  # fmt: skip
    for name, (song, data) in songs.items():
        lxml, lxml_own = clocked(lambda data=data: etree.fromstring(data))
        ours, own = clocked(lambda song=song: ar.find_clashes(song))
        limit = min(RATIO_LIMIT * lxml, LIMIT) if song is band else RATIO_LIMIT * lxml
        print(f"{name:22}{len(song.parts):6}{len(song.notes):7}"
              f"{song.seconds(song.duration) / 60:8.1f}{len(ar.find_clashes(song)):9}"
              f"{lxml:8.1f}{lxml_own:8.1f}{ours:8.1f}{own:8.1f}{own / lxml_own:7.2f}{limit:7.0f}"
              f"{1000 * own / len(song.notes):8.1f}", flush=True)  # fmt: skip

    columns = {name: by_kind(song) for name, (song, _) in songs.items()}
    print("\nkind by kind, own")
    print(pd.DataFrame(columns).round(1).to_string())

    print(f"\nparts, {8 * BARS} notes each, own")
    grown = {}
    for parts in (2, 4, 8, 16, 28):
        players = [
            Player(f"Guitar {k + 1}", "guitar", 8, 1, 40 + 36 * k // parts) for k in range(parts)
        ]
        grown[parts] = by_kind(band_song(players))
    print(pd.DataFrame(grown).round(1).to_string())

    print(f"\n{'parts':>6}{'notes':>7}{'findings':>10}{'find s':>8}{'html s':>8}{'MB':>8}")
    for size in ((20, 200), (40, 200), (80, 200), (200, 400)):
        print(study_of_crowd(*size), flush=True)


if __name__ == "__main__":
    main()
