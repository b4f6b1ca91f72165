"""Whole files of each kind to start from: the project's songs, small ones, some of music21's.

Only a few files are large, since a dozen mutants of a large file take as long as a thousand of a
small one.
"""

from __future__ import annotations

import copy
import functools
import re
import tempfile
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import mido
from corpus import CORPUS, PACKAGE, SUITE
from lxml import etree
from mutants.archives import compressed
from scores import (
    attributes,
    backup,
    barline,
    direction,
    harmony,
    note,
    rehearsal,
    score,
    technical,
    timewise,
    words,
)

import arrange as ar

DATASETS = Path(__file__).parents[2] / "datasets"
DEMO = DATASETS / "low-water.musicxml"
CHORALES = ("bwv66.6", "bwv269", "bwv347")
SMALL_MIDI = 4000  # bytes

CHARTS = (
    """\
meter: 4/4
part: Guitar 1

section: Verse
Guitar 1 | x32010 | 320003 eighths |
""",
    """\
key: none
meter: free
part: Guitar 1
section: S
length: 3 beats
Guitar 1 | C4 ~ D4 |
""",
    """\
meter: 3+2/8
tempo: 120 eighths
part: Bass; five-string bass tuning
part: Drums
section: A; played 3 times
chords |: Am         |1. F/A :|2. F/C |
Bass   | A1 ~ . E2 / | B0 grace C1 ~ ~ ~ ~ | A0 |
Drums  | hit | hit eighths | . |
section: B; as A
section: C; as B; played twice
Bass | A1 | ~ | . |
""",
    """\
part: Banjo; banjo tuning
part: G; electric guitar; capo 3; frets from the capo; echo dotted eighth; player A
section: S
G, tab in eighth triplets
E |0-2h3-0-2h3-|
B |------------|
G |------------|
D |----.-------|
A |------x-----|
E |0-----------|
""",
    """\
part: Guitar 1; capo 2; frets from the capo
player: Ann; electric guitar; capo none or 4
section: A
sound: Guitar 1; edge; echo eighth; capo none; plays Hook + "Low + high"
Guitar 1 | 320003 |
section: B; as A; played twice
sound: Guitar 1; capo 5
section: C; as B
sound: Guitar 1; usual
""",
)


@functools.cache
def musicxml() -> tuple[bytes, ...]:
    """Return scores as text: small ones for tests, cuts of the project's songs, corpus files."""
    suite = [path.read_bytes() for path in sorted(SUITE.glob("*.xml"))]
    suite = [data for data in suite if len(data) < 16_000 and _is_xml(data)]
    chorales = [_unzipped(CORPUS / "bach" / f"{name}.mxl") for name in CHORALES]
    whole = [DEMO.read_bytes()]
    cuts = [cut(path, 3) for path in (DEMO, DATASETS / "last-bell.musicxml")]
    changing = [_as_score(CHARTS[-1])]
    return (*((*_small_scores(), *changing) * 10), *(cuts * 8), *suite, *chorales, *whole)


def _as_score(chart: str) -> bytes:
    """A chart as MusicXML."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "song.txt", Path(folder) / "song.musicxml"
        source.write_text(chart)
        ar.convert(source, target)
        return target.read_bytes()


@functools.cache
def charts() -> tuple[bytes, ...]:
    """Return text charts: the project's, those of its handbook, some small ones."""
    handbook = (DATASETS / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"```chart\n(.*?)```", handbook, re.DOTALL)
    short = [path.read_bytes() for path in sorted(DATASETS.glob("harbour-set/*.txt"))]
    long = [(DATASETS / f"{name}.txt").read_bytes() for name in ("tarrow-weir", "low-water")]
    small = [text.encode() for text in (*CHARTS, *shown)]
    return (*(small * 4), *(short * 2), *long)


@functools.cache
def midi() -> tuple[bytes, ...]:
    """Return MIDI files: small ones, and those that music21 carries for its own tests."""
    files = sorted((PACKAGE / "midi" / "testPrimitive").glob("*.mid"))
    own = [data for path in files if len(data := path.read_bytes()) < SMALL_MIDI]
    return (*(_small_midi() * 4), *own, files[2].read_bytes())


@functools.cache
def decisions() -> tuple[bytes, ...]:
    """Return logs that the kit wrote about the demo song, with fixed ids and dates."""
    song = ar.read(DEMO)
    notes = song.notes
    chorus = (notes["part"] == "Guitar 1") & (notes["section"] == "Chorus 1")
    higher = replace(song, notes=notes.assign(pitch=notes["pitch"] + 12 * chorus, fret=None,
                                              string=None))  # fmt: skip
    fewer = replace(song, notes=notes[~chorus].reset_index(drop=True))
    capo = song.parts["capo"].where(song.parts["part"] != "Guitar 2", 5)
    moved = replace(song, parts=song.parts.assign(capo=capo))
    logs = []
    with tempfile.TemporaryDirectory() as folder:
        for number, arrangement in enumerate((higher, fewer, moved, None)):
            log = Path(folder) / f"{number}.decisions.txt"
            hook = ar.Decision("Keep the hook", "it is meant", "Chorus 1", waives="doubling")
            first = ar.record_decision(log, hook, song=song)
            room = ar.Decision(
                "Room for both", "two bands\nof pitch", "Chorus 1", parts=["Guitar 1"],
                alternatives=["a shell", "lay out"], supersedes=first.id if number else "",
            )  # fmt: skip
            ar.record_decision(log, room, song=song, arrangement=arrangement)
            slower = ar.Decision("Slower", "words", measures=(1, 8))
            last = ar.record_decision(log, slower, song=song)
            ar.change_status(log, last.id, "dropped", "not after all")
            logs.append(_with_fixed_ids(log.read_text(encoding="utf-8")))
    small = "\n".join(logs[-1].split("\n"))
    return tuple(text.encode() for text in (small, *logs))


def cut(path: Path, measures: int) -> bytes:
    """Return the first measures of a score."""
    root = etree.parse(path).getroot()
    for part in root.iter("part"):
        for measure in part.findall("measure")[measures:]:
            part.remove(measure)
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True)


def midi_file(*tracks: Sequence[mido.Message | mido.MetaMessage], ticks: int = 480,
              kind: int = 1) -> bytes:  # fmt: skip
    """Return a MIDI file of messages."""
    file = mido.MidiFile(type=kind, ticks_per_beat=ticks)
    file.tracks.extend(mido.MidiTrack(copy.copy(list(track))) for track in tracks)
    stream = BytesIO()
    file.save(file=stream)
    return stream.getvalue()


def midi_line(channel: int, pitches: Sequence[int], length: int = 480) -> list[mido.Message]:
    """Return notes one after the other."""
    return [
        mido.Message(word, channel=channel, note=pitch, velocity=80, time=time)
        for pitch in pitches
        for word, time in (("note_on", 0), ("note_off", length))
    ]


def midi_head(meter: tuple[int, int] = (4, 4), tempo: float = 100) -> list[mido.MetaMessage]:
    """Return meter, tempo, key and a marker."""
    return [
        mido.MetaMessage("time_signature", numerator=meter[0], denominator=meter[1]),
        mido.MetaMessage("set_tempo", tempo=min(int(60e6 / tempo), 0xFFFFFF)),
        mido.MetaMessage("key_signature", key="Bb"),
        mido.MetaMessage("marker", text="Verse"),
        mido.MetaMessage("marker", text="Chorus", time=1920),
    ]


def _small_midi() -> list[bytes]:
    name = mido.MetaMessage("track_name", name="Guitar 1")
    guitar = mido.Message("program_change", program=27)
    bend = [mido.Message("pitchwheel", pitch=4096), mido.Message("pitchwheel", pitch=0, time=100)]
    line = midi_line(0, (52, 55, 59, 64, 67, 71))
    drums = midi_line(9, (36, 38, 36, 38), 240)
    return [
        midi_file(midi_head(), [name, guitar, *line, *bend], midi_line(1, (40, 43))),
        midi_file([*midi_head((6, 8)), name, *line, *drums], kind=0),
        midi_file(midi_head((7, 8)), line, drums, midi_line(2, (60, 60, 60), 100), ticks=96),
    ]


def _small_scores() -> list[bytes]:
    tab = "".join(
        note("E2", 4, notations=technical(f"<string>6</string><fret>{fret}</fret>"))
        for fret in (0, 1, 2, 3)
    )
    ties = note("C4", 16, ties="start"), note("C4", 8, ties="stop") + note("rest", 8)
    repeats = [
        rehearsal("Verse") + barline("left", 'direction="forward"') + note("C4", 16),
        barline("left", ending="1 start") + note("D4", 16)
        + barline(repeat='direction="backward"', ending="1 stop"),
        barline("left", ending="2 start") + note("E4", 16) + barline(ending="2 discontinue"),
    ]  # fmt: skip
    jumps = [
        direction("<segno/>", sound='segno="1"') + note("C4", 16),
        note("D4", 16) + words("To Coda"),
        note("E4", 16) + direction("<words>D.S. al Coda</words>", sound='dalsegno="1"'),
        direction("<coda/>", sound='coda="1"') + note("F4", 16),
    ]
    details = (
        "<staff-details><staff-lines>6</staff-lines>"
        + "".join(
            f'<staff-tuning line="{line}"><tuning-step>{name[0]}</tuning-step>'
            f"<tuning-octave>{name[1]}</tuning-octave></staff-tuning>"
            for line, name in enumerate(("E2", "A2", "D3", "G3", "B3", "E4"), start=1)
        )
        + "<capo>2</capo></staff-details><transpose><chromatic>0</chromatic>"
        "<octave-change>-1</octave-change></transpose>"
    )
    voices = note("C5", 8, voice="1") * 2 + backup(16) + note("E4", 4, voice="2") * 4
    chord = harmony("F#", "minor-seventh") + note("C4", 8) + note("E4", 8, first="<chord/>")
    grace = note("B3", "", first="<grace/>") + note("C4", 16)
    tempo = direction(
        "<metronome><beat-unit>quarter</beat-unit><per-minute>90</per-minute></metronome>",
        sound='tempo="90"',
    )
    scores = [
        score([attributes(more=details) + tab, tab], [tempo + voices, chord + note("rest", 8)],
              names=("Guitar 1", "Guitar 2")),
        score(repeats, [note("G3", 16)] * 3, names=("Guitar 1", "Voice"), title="Song"),
        score(jumps, [*list(ties), grace, note("<unpitched/>", 16)]),
        score([attributes(6, "7/8") + note("C4", 21)], [attributes(4, "7/8") + note("rest", 14)]),
    ]  # fmt: skip
    return [text.encode() for text in (*scores, timewise(scores[0]))]


def _with_fixed_ids(text: str) -> str:
    found = dict.fromkeys(re.findall(r"^decision: (\S+)$", text, re.MULTILINE))
    for number, identifier in enumerate(found):
        text = text.replace(identifier, f"d{number:08x}")
    return re.sub(r"^date: .*$", "date: 2026-11-01", text, flags=re.MULTILINE)


def _unzipped(path: Path) -> bytes:
    with zipfile.ZipFile(path) as archive:
        (name,) = (each for each in archive.namelist() if not each.startswith("META-INF"))
        return archive.read(name)


def _is_xml(data: bytes) -> bool:
    try:
        etree.fromstring(data)
    except etree.XMLSyntaxError:
        return False
    return True


@functools.cache
def archives() -> tuple[bytes, ...]:
    """Return compressed scores: those above, and some that the corpus stores compressed."""
    scores = [compressed(data) for data in musicxml()[:-1]]
    files = sorted((CORPUS / "bach").glob("bwv2*.mxl"))[:20]
    return (*scores, *(path.read_bytes() for path in files))
