"""Songs written as MusicXML: valid, the same when read again, the same to other readers.

Sources: the MusicXML 4.0 schema (W3C, as the package ``musicxml`` carries it) for what is valid
and what an element means; music21 and partitura as readers that know nothing of this package;
music21's corpus, read from the installed package; MusicXML's own words where a test quotes them.
"Common practice" marks what musicians do without a written source.

What a file cannot hold, and these tests leave out of the comparison:

- ``measures.written``, ``sections.pass``: a song is written straight out, each bar once;
- ``notes.source_id`` of a note that is played again: ids are unique in a file;
- ``notes.voice`` of notes that overlap in one voice without being a chord;
- ``notes.duration`` of a cue note over a bar line, which becomes two, since it cannot be tied;
- ``notes.measure`` of a note that begins on the bar line behind its own, overfull, bar;
- what the reader works out itself: ``sections.kind`` from the name, ``parts.family`` from sound
  and name, ``parts.instrument`` where it is missing;
- ``chords.duration`` where a chord ends before the next one begins.
"""

from __future__ import annotations

import importlib.util
import math
import re
import time
import warnings
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from corpus import CORPUS, SUITE, exact, in_time, label, music21_parts
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree
from songs import notes_of, parts_of, song

import arrange as ar
from arrange.errors import ArrangeError
from arrange.formats.musicxml.writing import format_musicxml, write_musicxml
from arrange.formats.musicxml.writing_durations import Value, cut_into_values, find_divisions
from arrange.formats.section_names import section_kind
from arrange.formats.written import TECHNIQUES
from arrange.guitar.harmonics import harmonic_pitches
from arrange.tables.schema_check import check_table
from arrange.tables.schemas import CHORDS, MEASURES, NOTES, PARTS, SECTIONS, SETUPS
from arrange.tables.setups import where_otherwise
from arrange.tables.song import Remark, Song
from arrange.theory.chords import (
    KINDS,
    Chord,
    Degree,
    chord_intervals,
    chord_number,
    chord_suffix,
    chord_symbol,
    normal_chord,
)
from arrange.theory.pitch import parse_pitch_class

LOW_WATER = Path(__file__).parent.parent / "datasets" / "low-water.musicxml"

# What the schema takes from two others, reduced to what it uses: no network is needed.
STUBS = {
    "xml": ("http://www.w3.org/XML/1998/namespace", ("lang", "space")),
    "xlink": (
        "http://www.w3.org/1999/xlink",
        ("href", "type", "role", "title", "show", "actuate"),
    ),
}


@pytest.fixture(scope="session")
def schema(tmp_path_factory) -> etree.XMLSchema:
    """Return the MusicXML 4.0 schema."""
    (package,) = importlib.util.find_spec("musicxml").submodule_search_locations
    text = (Path(package) / "generate_classes" / "musicxml_4_0.xsd").read_text()
    folder = tmp_path_factory.mktemp("schema")
    for name, (namespace, attributes) in STUBS.items():
        declared = "".join(f'<xs:attribute name="{each}" type="xs:string"/>' for each in attributes)
        (folder / f"{name}.xsd").write_text(
            '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" '
            f'targetNamespace="{namespace}">{declared}</xs:schema>'
        )
        text = re.sub(rf'schemaLocation="[^"]*/{name}\.xsd"', f'schemaLocation="{name}.xsd"', text)
    (folder / "musicxml.xsd").write_text(text)
    return etree.XMLSchema(etree.parse(folder / "musicxml.xsd"))


@pytest.fixture(scope="session")
def written(schema, tmp_path_factory):
    """Write a song, check the file by the schema, and read it again."""
    path = tmp_path_factory.mktemp("written") / "song.musicxml"

    def write(a_song: Song) -> Song:
        write_musicxml(a_song, path)
        assert schema.validate(etree.parse(path)), str(schema.error_log)[:2000]
        return ar.read(path)

    return write


def tree(a_song: Song) -> etree._Element:
    """Return the file of a song as a tree."""
    return etree.fromstring(format_musicxml(a_song, []))


def texts(root: etree._Element, path: str) -> list[str]:
    """Return the texts at a path."""
    return [element.text for element in root.iterfind(path)]


# ---------------------------------------------------------------- equal tables

WORKED_OUT = {("measures", "written"), ("sections", "pass")}


def in_order(notes: pd.DataFrame) -> pd.DataFrame:
    """Return notes in one order, whatever the order of those that begin together."""
    keys = ["onset", "part", "pitch", "grace", "duration", "string", "fret", "technique"]
    return notes.sort_values([*keys, "source_id", "voice"], kind="stable").reset_index(drop=True)


def differences(one: Song, other: Song, left_out: set[tuple[str, str]] = WORKED_OUT) -> dict:
    """Return (table, column) -> the first few rows that differ; times agree to twelve digits."""
    found = {}
    if one.players != other.players:
        found["players", "line"] = one.players, other.players
    if one.remarks != other.remarks:
        found["remarks", "text"] = one.remarks, other.remarks
    for name in ("parts", "sections", "measures", "chords", "notes", "setups"):
        first, second = getattr(one, name), getattr(other, name)
        if len(first) != len(second):
            found[name, "rows"] = len(first), len(second)
            continue
        if name == "notes":
            first, second = in_order(first), in_order(second)
        for column in first.columns:
            if (name, column) not in left_out:
                rows = [
                    (place, a, b)
                    for place, (a, b) in enumerate(zip(first[column], second[column], strict=True))
                    if not alike(a, b)
                ]
                if rows:
                    found[name, column] = rows[:4]
    return found


def alike(one: object, other: object) -> bool:
    """Return whether values are equal, both missing, or numbers that differ in the last digits."""
    if isinstance(one, float) and isinstance(other, float):
        return (one != one and other != other) or math.isclose(
            one, other, rel_tol=1e-12, abs_tol=1e-12
        )
    if one is None or one is pd.NA or other is None or other is pd.NA or one != one:
        return bool(pd.isna(one)) and bool(pd.isna(other))
    return one == other


def test_the_demo_song_reads_the_same_again(written):
    """Every column of every table, but for what the list on top leaves out, and why."""
    demo = ar.read(LOW_WATER)
    again = written(demo)
    again = replace(again, notes=again.notes.assign(
        source_id=again.notes["source_id"].str.replace(r"-\d+$", "", regex=True)
    ))  # fmt: skip
    assert differences(demo, again) == {}
    assert again.title == demo.title
    assert again.notices == ()


def test_written_twice_is_the_same_bytes(tmp_path):
    """Nothing of the day, the place or the process is in the file; reading loses nothing more."""
    first, second = [], []
    demo = ar.read(LOW_WATER)
    data = format_musicxml(demo, first)
    assert data == format_musicxml(ar.read(LOW_WATER), second)
    path = tmp_path / "song.musicxml"
    path.write_bytes(data)
    assert format_musicxml(ar.read(path), []) == data
    assert first == second == []


SUITE_FILES = (
    "01a", "01b", "01c", "01e", "01f", "02a", "02c", "03a", "03aa", "03b", "03c", "11a", "11b",
    "11c", "11d", "11e", "11f", "11g", "11h", "12a", "13a", "13b", "13c", "13d", "21a", "21b",
    "21c", "21d", "21e", "21f", "22a", "22b", "22d", "23a", "23b", "23c", "23d", "23e", "23f",
    "24a", "24b", "24c", "24d", "24e", "24f", "31a", "31c", "32a", "33b", "33i", "41a", "41b",
    "41c", "41h", "42a", "42b", "43a", "43b", "43d", "45a", "45b", "45c", "46a", "46b", "46c",
    "46d", "46g", "51b", "71a", "71c", "71d", "71e", "71f", "71g", "72a", "72b", "72c", "73a",
)  # fmt: skip
CORPUS_FILES = (
    "bach/bwv66.6.mxl",
    "bach/bwv190.7-inst.mxl",
    "beethoven/opus18no1/movement3.mxl",
    "demos/ComprehensiveChordSymbolsTestFile.mxl",
    "leadSheet/fosterBrownHair.mxl",
    "monteverdi/madrigal.3.13.mxl",
    "mozart/k458/movement1.mxl",
    "trecento/PMFC_12_15-Sanctus Lorenzo.xml",
)


def corpus_paths() -> list[Path]:
    """Return the files of music21's suite and corpus that songs are taken from."""
    suite = [path for name in SUITE_FILES for path in sorted(SUITE.glob(f"{name}[-_]*"))[:1]]
    return [*suite, *(CORPUS / name for name in CORPUS_FILES)]


@pytest.mark.sampled
@pytest.mark.parametrize("path", corpus_paths(), ids=label)
def test_a_corpus_file_reads_the_same_again(path, written):
    """Another program's notes, chords, sections, tempo and parts, written by us and read again.

    Voices are compared in the next test.
    """
    original = ar.read(path)
    left_out = {*WORKED_OUT, ("notes", "voice"), ("notes", "source_id")}
    assert differences(original, written(original), left_out) == {}


def test_the_corpus_list_is_long_enough():
    """The order asks for at least 40 files; a suite that moved would empty the list unseen."""
    assert len(corpus_paths()) >= 70


@pytest.mark.parametrize("name", ["01a", "23a", "41b", "42a", "42b", "43a", "71e", "72b"])
def test_voices_that_hold_one_line_stay(name, written):
    """Music21's suite: these files have up to four voices, none with an overlap in it."""
    (path,) = SUITE.glob(f"{name}[-_]*")
    original = ar.read(path)
    assert "voice" not in dict.fromkeys(c for _, c in differences(original, written(original)))


# ---------------------------------------------------------------- other readers


def sounding(a_song: Song) -> list[Counter]:
    """Return for each part the multiset of (onset, duration, pitch), without grace notes."""
    counted = {part: Counter() for part in a_song.parts["part"]}
    rows = a_song.notes[["part", "onset", "duration", "pitch", "grace"]].itertuples(index=False)
    for part, onset, duration, pitch, grace in rows:
        if not grace:
            place = exact(onset), exact(duration)
            counted[part][(*place, None if math.isnan(pitch) else pitch)] += 1
    return list(counted.values())


def partitura_notes(path: Path, a_song: Song) -> list[Counter]:
    """The same as partitura reads them; its pitches are written ones, its ties are merged."""
    partitura = pytest.importorskip("partitura")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = partitura.load_musicxml(str(path))
        arrays = [part.note_array(include_grace_notes=True) for part in score.parts]
    divisions = int(etree.parse(path).findtext(".//divisions"))
    return [
        Counter(
            (
                Fraction(int(note["onset_div"]), divisions),
                Fraction(int(note["duration_div"]), divisions),
                float(note["pitch"]) + semitones,
            )
            for note in array
            if not note["is_grace"]
        )
        for array, semitones in zip(arrays, a_song.parts["transpose"], strict=True)
    ]


OTHERS_READ = ("demo", "suite 71e", "suite 72b", "suite 23a", "suite 42b", "suite 24a",
               "bach/bwv66.6.mxl", "leadSheet/fosterBrownHair.mxl")  # fmt: skip


def named_song(name: str) -> Song:
    """Return the demo song, or one of the suite or the corpus."""
    if name == "demo":
        return ar.read(LOW_WATER)
    if name.startswith("suite "):
        return ar.read(next(SUITE.glob(f"{name.removeprefix('suite ')}[-_]*")))
    return ar.read(CORPUS / name)


@pytest.mark.sampled
@pytest.mark.parametrize("name", OTHERS_READ)
def test_music21_reads_the_same_notes(name, tmp_path):
    """music21: onset, duration and sounding pitch of every note of every part, and the graces."""
    a_song, path = named_song(name), tmp_path / "song.musicxml"
    write_musicxml(a_song, path)
    theirs = in_time(music21_parts(path))
    assert [notes for notes, _ in theirs] == sounding(a_song)
    graces = [
        Counter(a_song.notes.query("part == @part and grace")["pitch"])
        for part in a_song.parts["part"]
    ]
    assert [each for _, each in theirs] == graces


@pytest.mark.sampled
@pytest.mark.parametrize("name", OTHERS_READ)
def test_partitura_reads_the_same_notes(name, tmp_path):
    """partitura: onset, duration and pitch of every note of every part."""
    a_song, path = named_song(name), tmp_path / "song.musicxml"
    write_musicxml(a_song, path)
    assert partitura_notes(path, a_song) == sounding(a_song)


def test_music21_reads_the_chords_and_the_tempo(tmp_path):
    """music21's chord symbols have our pitch classes, its metronome marks our tempo.

    Not its bass and kind words: they differ in name where the members agree.
    """
    music21 = pytest.importorskip("music21")
    demo, path = ar.read(LOW_WATER), tmp_path / "song.musicxml"
    write_musicxml(demo, path)
    score = music21.converter.parse(path)
    theirs = [
        (
            float(element.getOffsetInHierarchy(score)),
            {pitch.pitchClass for pitch in element.pitches},
        )
        for element in score.recurse().getElementsByClass(music21.harmony.ChordSymbol)
        if not isinstance(element, music21.harmony.NoChord)
    ]
    chords = demo.chords[demo.chords["kind"] != "none"]
    ours = [
        (onset, {*members, bass})
        for onset, members, bass in zip(
            chords["onset"], chords["pitch_classes"], chords["bass"], strict=True
        )
    ]
    assert theirs == ours
    tempos = [
        (float(mark.getOffsetInHierarchy(score)), mark.getQuarterBPM())
        for mark in score.recurse().getElementsByClass(music21.tempo.MetronomeMark)
    ]
    changes = demo.measures[demo.measures["tempo"].diff() != 0]
    assert tempos == list(zip(changes["onset"], changes["tempo"], strict=True))


# ---------------------------------------------------------------- generated songs

TICKS = 60  # in a quarter note: sixteenths, thirds and fifths of one
STANDARD = (64, 59, 55, 50, 45, 40)
INSTRUMENTS = {  # label: (family, transpose, tuning, program)
    "Guitar 1": ("guitar", -12, STANDARD, 28),
    "Guitar 2": ("guitar", -12, (62, 57, 54, 50, 45, 38), 26),  # D A D F# A D
    "Bass": ("bass", -12, (43, 38, 33, 28), 34),
    "Voice": ("voice", 0, None, 53),
    "Clarinet": ("other", -2, None, 72),
    "Keys": ("keys", 0, None, None),
    "Drums": ("drums", 0, None, None),
}
METERS = {"4/4": 4, "6/8": 3, "3+2/8": 2.5, "2/2": 4, "7/8": 3.5, "3/4 + 2/8": 4, "free": 5}
LENGTHS = (60, 30, 15, 90, 120, 20, 40, 12, 24, 10, 50, 75, 105, 240, 7)
CHORD_KINDS = tuple(kind for kind in KINDS if kind not in ("none", "other"))
CHORD_DEGREES = ((), (Degree(9, -1, "add"),), (Degree(3, 0, "subtract"),), (Degree(9, 0, "add"),),
                 (Degree(5, 1, "alter"), Degree(9, 1, "add")))  # fmt: skip


@st.composite
def part_rows(
    draw, name: str, capos: list[int], bars: list[tuple[int, int]], *, apart: bool
) -> list[dict]:
    """Return notes of one part: two voices, each a line of chords, rests and grace notes.

    The capos are those of the bars.
    If not `apart`, the next note of a voice may begin while the last one still sounds.
    """
    family, _, tuning, _ = INSTRUMENTS[name]
    end = bars[-1][1]
    rows = []
    for voice in draw(st.sampled_from([("1",), ("1", "2")])):
        at = draw(st.sampled_from([0, 0, 30, 60, 100]))
        for _ in range(draw(st.integers(0, 8))):
            length = draw(st.sampled_from(LENGTHS))
            if at + length > end:
                break
            grace = draw(st.integers(0, 9)) == 0
            bar = max(number for number, (first, _) in enumerate(bars, 1) if first <= at)
            usual = {"cue"} if at + length > bars[bar - 1][1] or length == 7 else set()
            if family == "drums":
                usual.add("muted")
            techniques = draw(st.sets(st.sampled_from(TECHNIQUES), max_size=2)) - usual
            text = ", ".join(each for each in TECHNIQUES if each in techniques) or None
            strings = draw(st.sets(st.integers(1, len(tuning or STANDARD)), min_size=1, max_size=3))
            for string in sorted(strings)[: 1 if grace or family == "drums" else 3]:
                fret = draw(st.integers(capos[bar - 1], 15)) if tuning else None
                pitch = tuning[string - 1] + fret if tuning else 48 + 5 * string
                if tuning and "harmonic" in techniques:  # at the pitch that it sounds
                    capo = capos[bar - 1]
                    (heard,) = harmonic_pitches([tuning[string - 1] + capo], [fret - capo])
                    pitch = pitch if math.isnan(heard) else heard
                if family == "voice":
                    pitch += draw(st.sampled_from([0, 0.5]))
                rows.append(
                    {
                        "part": name,
                        "onset": at / TICKS,
                        "duration": 0.0 if grace else length / TICKS,
                        "measure": bar,
                        "pitch": math.nan if family == "drums" else float(pitch),
                        "voice": voice,
                        "string": string if tuning else None,
                        "fret": fret,
                        "technique": text,
                        "grace": grace,
                    }
                )
            if not grace:
                after = draw(st.sampled_from([0, 0, 0, 20, 60]))
                at += length + after if apart or draw(st.booleans()) else after
    return rows


@st.composite
def setup(draw, name: str, section: str, capo: int) -> dict:
    """What a part has in a section, often what its row of parts says or may say."""
    capos = [capo, capo, 0, 2, 5] if INSTRUMENTS[name][2] else [0]
    return {
        "part": name,
        "section": section,
        "drive": draw(st.sampled_from(["clean", "edge", "distorted"])),
        "echo": draw(st.sampled_from([None, "dotted eighth", "D.C. al fine"])),
        "capo": draw(st.sampled_from(capos)),
        "layers": draw(st.sampled_from([None, None, "Hook", "To Coda + Chorus 2"])),
    }


@st.composite
def songs(draw, *, apart: bool = True) -> Song:
    """A small Song; if the notes of each voice are kept `apart`, the format holds every column."""
    names = draw(
        st.lists(st.sampled_from(sorted(INSTRUMENTS)), min_size=1, max_size=3, unique=True)
    )
    meters = draw(st.lists(st.sampled_from(sorted(METERS)), min_size=1, max_size=4))
    lengths = [round(METERS[meter] * TICKS) for meter in meters]
    lengths[0] -= draw(st.sampled_from([0, 0, 60]))  # a pickup
    lines = [0, *np.cumsum(lengths).tolist()]
    bars = list(pairwise(lines))
    count = len(bars)
    labels = draw(st.permutations(["Verse 1", "Chorus", "A", "Bridge 2", "Tag & end"]))
    heads = sorted({1, *draw(st.sets(st.integers(1, count), max_size=2))})
    section_of = [labels[sum(head <= bar for head in heads) - 1] for bar in range(1, count + 1)]
    keys = draw(st.sampled_from([[None], ["Bb major"], ["E minor"], ["D major", "A dorian"]]))
    keys = [keys[bar % len(keys)] for bar in range(count)]
    tempo = st.floats(20, 400).map(lambda each: round(each, 2))
    capos = [draw(st.sampled_from([0, 2, 3])) if INSTRUMENTS[name][2] else 0 for name in names]
    levels = [draw(st.sampled_from([0.0, -3.0, -7.5])) for _ in names]
    setups = {
        (name, head): draw(setup(name, labels[place], capo))
        for name, capo in zip(names, capos, strict=True)
        for place, head in enumerate(heads)
    }
    rows = []
    for name in names:
        here = [setups[name, max(head for head in heads if head <= bar)]["capo"]
                for bar in range(1, count + 1)]  # fmt: skip
        rows += draw(part_rows(name, here, bars, apart=apart))
    notes = pd.DataFrame(rows, columns=[name for name in NOTES.names if name != "sounds"])
    notes["section"] = [section_of[measure - 1] for measure in notes["measure"]]
    notes["source_id"] = [f"note.{number}" for number in range(len(notes))]
    notes["grace"] = notes["grace"].astype(bool)
    notes["measure"] = notes["measure"].astype("int64")
    parts = {
        "part": names,
        "instrument": names,
        "family": [INSTRUMENTS[name][0] for name in names],
        "tuning": [INSTRUMENTS[name][2] for name in names],
        "capo": capos,
        "transpose": [INSTRUMENTS[name][1] for name in names],
        "drive": [draw(st.sampled_from(["clean", "edge", "distorted"])) for _ in names],
        "echo": [draw(st.sampled_from([None, "dotted eighth"])) for _ in names],
        "level": [level - max(levels) for level in levels],
        "program": [INSTRUMENTS[name][3] for name in names],
        "player": [draw(st.sampled_from([None, "Ada", "Ben Ó Briain"])) for _ in names],
    }
    measures = {
        "measure": range(1, count + 1),
        "written": [str(bar) for bar in range(1, count + 1)],
        "section": section_of,
        "onset": [first / TICKS for first, _ in bars],
        "duration": [length / TICKS for length in lengths],
        "meter": meters,
        "key": keys,
        "tempo": [draw(tempo)] * count if draw(st.booleans()) else [draw(tempo) for _ in bars],
    }
    lasts = [head - 1 for head in heads[1:]] + [count]
    sections = {
        "section": labels[: len(heads)],
        "kind": [section_kind(text) for text in labels[: len(heads)]],
        "pass": 1,
        "first_measure": heads,
        "last_measure": lasts,
        "onset": [lines[head - 1] / TICKS for head in heads],
        "duration": [
            (lines[last] - lines[head - 1]) / TICKS
            for head, last in zip(heads, lasts, strict=True)
        ],
    }  # fmt: skip
    places = sorted(draw(st.sets(st.integers(0, (lines[-1] - 1) // 15), max_size=4)))
    chords = [
        (15 * place, draw(chord_texts(keys[sum(line <= 15 * place for line in lines[1:])])))
        for place in places
    ]
    ends = [*(at for at, _ in chords), lines[-1]][1:]
    chord_rows = [
        (
            at / TICKS,
            (end - at) / TICKS,
            bar := sum(line <= at for line in lines[:-1]),
            section_of[bar - 1],
            *about,
        )
        for (at, about), end in zip(chords, ends, strict=True)
    ]
    title = draw(st.sampled_from(["", "Low & <High>", "Café – ½"]))
    frames = (
        (parts, PARTS), (sections, SECTIONS), (measures, MEASURES),
        (pd.DataFrame(chord_rows, columns=CHORDS.names), CHORDS), (notes, NOTES),
    )  # fmt: skip
    players = draw(st.sampled_from([(), ("Ann; acoustic; capo none or 4", '"Ben; <b>": clean')]))
    remarks = draw(st.sampled_from([(), (Remark("D.C. al Fine: <mind> the | end"),)]))
    told = [each for each in labels[: len(heads)] if draw(st.booleans())]
    remarks += (Remark("Chorus 2", tuple(told)),) if told else ()
    tables = [check_table(pd.DataFrame(frame), table) for frame, table in frames]
    otherwise = where_otherwise(check_table(pd.DataFrame(setups.values()), SETUPS), tables[0])
    return Song(*tables, title=title, remarks=remarks, players=players, setups=otherwise)


@st.composite
def chord_texts(draw, key: str | None) -> tuple:
    """Return symbol, root, bass, kind, members and number of a chord, as the reader gives them."""
    if draw(st.integers(0, 7)) == 0:
        return "N.C.", None, None, "none", (), None
    kind = draw(st.sampled_from(("major", "minor", "dominant", "power")))
    degrees = draw(st.sampled_from(CHORD_DEGREES)) if kind == "dominant" else ()
    kind = kind if degrees else draw(st.sampled_from(CHORD_KINDS))
    root, bass = draw(st.sampled_from(["C", "F#", "Bb", "E"])), draw(st.sampled_from(["", "G"]))
    chord = normal_chord(Chord(root, kind, bass, degrees))
    low = parse_pitch_class(root)
    under = parse_pitch_class(bass) if bass else low
    members = tuple((low + above) % 12 for above in chord_intervals(chord.kind, chord.degrees))
    number = chord_number(low, chord_suffix(chord), under, key) if key else None
    return chord_symbol(chord), low, under, chord.kind, members, number


SETTINGS = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


@SETTINGS
@given(songs())
def test_a_generated_song_reads_the_same_again(written, a_song):
    """Chords, ties over bars and beats, tuplets, odd lengths, graces, capos, techniques, keys.

    Symbols over a transposing part may be spelled otherwise; roots and members stay.
    """
    left_out = set(WORKED_OUT)
    if (a_song.parts["transpose"] % 12 != 0).all():
        left_out |= {("chords", "symbol")}
    assert differences(a_song, written(a_song), left_out) == {}


@settings(SETTINGS, max_examples=10)
@given(songs(apart=False))
def test_overlapping_notes_read_the_same_but_for_their_voices(written, a_song):
    """What overlaps in a voice goes into further voices; written again, those stay."""
    left_out = {*WORKED_OUT, ("notes", "voice"), ("chords", "symbol")}
    again = written(a_song)
    assert differences(a_song, again, left_out) == {}
    assert format_musicxml(written(again), []) == format_musicxml(again, [])


# ---------------------------------------------------------------- worked by hand


def fretted(a_song: Song, *places: tuple[int, int], **part: object) -> Song:
    """Return the same song, its notes on these (string, fret from the nut)."""
    notes = a_song.notes.assign(
        string=[string for string, _ in places], fret=[fret for _, fret in places]
    )
    tuned = {"tuning": [STANDARD] * len(a_song.parts), "transpose": -12} | part
    return replace(a_song, notes=notes, parts=a_song.parts.assign(**tuned))


def test_frets_in_the_file_count_from_the_capo(written):
    """MusicXML 4.0, element ``capo``: fret 0 is at the capo; the table counts from the nut.

    Capo 3, second string (B3): behind the third fret lies F4 at the nut's sixth fret; the open
    first string sounds G4, at the nut's third.
    """
    a_song = fretted(song(("Guitar", "F4", 0, 1), ("Guitar", "G4", 1, 1)), (2, 6), (1, 3), capo=3)
    root = tree(a_song)
    assert texts(root, ".//staff-details/capo") == ["3"]
    assert texts(root, ".//technical/fret") == ["3", "0"]
    again = written(a_song)
    assert again.notes["fret"].tolist() == [6, 3]
    assert again.parts["capo"].tolist() == [3]


def test_a_part_on_strings_gets_one_tablature_staff():
    """MusicXML 4.0, elements ``clef`` (5 is the usual line for TAB) and ``staff-tuning``.

    Lines count from the bottom: line 1 is the low E. One note is written once.
    """
    root = tree(fretted(song(("Guitar", "E4", 0, 4)), (1, 0)))
    assert texts(root, ".//clef/sign") == ["TAB"]
    assert texts(root, ".//clef/line") == ["5"]
    assert texts(root, ".//staff-lines") == ["6"]
    assert texts(root, ".//staff-tuning[@line='1']/*") == ["E", "2"]
    assert texts(root, ".//staff-tuning[@line='6']/*") == ["E", "4"]
    assert root.find(".//staves") is None
    assert len(root.findall(".//pitch")) == 1


def test_a_guitar_with_a_note_on_no_string_gets_a_treble_clef():
    """A tablature staff cannot show it. An octave down is no step and no semitone (element
    ``octave-change``): the written note stands an octave higher."""
    a_song = fretted(song(("Guitar", "E4", 0, 2), ("Guitar", "E4", 2, 2)), (1, 0), (1, pd.NA))
    root = tree(a_song)
    assert texts(root, ".//clef/*") == ["G", "2"]
    assert texts(root, ".//transpose/*") == ["0", "0", "-1"]
    assert texts(root, ".//pitch/octave") == ["5", "5"]
    assert root.find(".//staff-lines") is None
    assert len(root.findall(".//staff-tuning")) == 6


QUARTER = 60


@pytest.mark.parametrize(
    ("offset", "length", "beat", "values"),
    [
        (0, 60, 60, [(60, Value("quarter"))]),
        (30, 60, 60, [(60, Value("quarter"))]),  # one value, though it spans the beat
        (0, 90, 60, [(90, Value("quarter", 1))]),
        (0, 105, 60, [(105, Value("quarter", 2))]),
        (0, 150, 60, [(120, Value("half")), (30, Value("eighth"))]),
        (30, 150, 60, [(30, Value("eighth")), (120, Value("half"))]),
        (0, 150, 90, [(90, Value("quarter", 1)), (60, Value("quarter"))]),  # in 6/8
        (0, 300, 60, [(240, Value("whole")), (60, Value("quarter"))]),
        (0, 20, 60, [(20, Value("eighth", 0, 3, 2))]),
        (20, 40, 60, [(40, Value("quarter", 0, 3, 2))]),
        (0, 100, 60, [(60, Value("quarter")), (40, Value("quarter", 0, 3, 2))]),
        (0, 12, 60, [(12, Value("16th", 0, 5, 4))]),
        (24, 36, 60, [(36, Value("eighth", 1, 5, 4))]),
        (0, 7, 60, [(7, None)]),
    ],
)
def test_lengths_are_written_as_note_values(offset, length, beat, values):
    """Worked by hand: a beat is cut where it begins, then the longest value comes first."""
    assert cut_into_values(offset, length, QUARTER, beat) == tuple(values)


QUARTERS = {"long": 16, "breve": 8, "whole": 4, "half": 2, "quarter": 1, "eighth": 1 / 2,
            "16th": 1 / 4, "32nd": 1 / 8, "64th": 1 / 16, "128th": 1 / 32, "256th": 1 / 64,
            "512th": 1 / 128, "1024th": 1 / 256}  # fmt: skip


@given(
    st.integers(0, 500),
    st.integers(1, 5000),
    st.sampled_from([1, 2, 3, 4, 12, 60, 480, 10080]),
    st.integers(1, 3),
)
def test_note_values_last_as_long_as_they_say(offset, length, divisions, beats):
    """The lengths add up; each is that of its type (MusicXML note-type-value), dots and tuplet."""
    cut = cut_into_values(offset, length, divisions, beats * divisions)
    assert sum(part for part, _ in cut) == length
    for part, value in cut:
        if value is not None:
            plain = Fraction(QUARTERS[value.type]) * (2 - Fraction(1, 2**value.dots))
            assert Fraction(part, divisions) == plain * value.normal / value.actual


@pytest.mark.parametrize(
    ("times", "divisions"),
    [
        ([0, 1, 2.5], 2),
        ([1 / 3, 0.25], 12),
        ([1 / 5, 2 / 3, 0.5], 30),
        ([1000 + 1 / 7], 7),
        ([], 1),
    ],
)
def test_divisions_are_the_least_common_multiple(times, divisions):
    """Halves 2; thirds and quarters 12; fifths, thirds and halves 30; a late seventh is found."""
    assert find_divisions(np.array(times, dtype=float)) == (divisions, True)


def test_times_without_a_common_grid_are_moved_and_reported(tmp_path):
    """A third prime of four digits takes the common multiple beyond what any reader allows."""
    a_song = song(("Keys", "C4", 1 / 9973, 1), ("Keys", "D4", 1 + 1 / 9967, 1))
    (notice,) = write_musicxml(a_song, tmp_path / "song.musicxml")
    assert "no common grid" in notice
    again = ar.read(tmp_path / "song.musicxml")
    assert again.notes["onset"].tolist() == pytest.approx(a_song.notes["onset"].tolist(), abs=1e-4)


def test_a_note_over_the_bar_line_is_tied():
    """MusicXML 4.0: ``tie`` is the sound, ``tied`` the sign, and both stand at both notes."""
    root = tree(song(("Keys", "C4", 3, 2)))
    first, second = root.findall(".//note[pitch]")
    assert first.getparent().get("number") == "1"
    assert second.getparent().get("number") == "2"
    assert [each.get("type") for each in first.iter("tie", "tied")] == ["start", "start"]
    assert [each.get("type") for each in second.iter("tie", "tied")] == ["stop", "stop"]
    assert first.get("id") == "n1"
    assert second.get("id") is None


def test_a_triplet_gets_one_bracket():
    """Three thirds of a beat: MusicXML's ``tuplet`` starts at the first and stops at the last."""
    third = 1 / 3
    root = tree(song(*(("Keys", "C4", at * third, third) for at in range(3))))
    notes = root.findall(".//note[pitch]")
    assert [[each.get("type") for each in note.iter("tuplet")] for note in notes] == [
        ["start"],
        [],
        ["stop"],
    ]
    assert texts(root, ".//note[pitch]/time-modification/*") == ["3", "2"] * 3
    assert texts(root, ".//note[pitch]/type") == ["eighth"] * 3


def test_overlapping_notes_go_into_a_voice_of_their_own():
    """C4 for three beats under E4 for one, in one voice: no chord, so E4 gets the second voice."""
    root = tree(song(("Keys", "C4", 0, 3), ("Keys", "E4", 1, 1)))
    measure = root.find(".//measure")
    order = [element.tag for element in measure if element.tag in ("note", "backup", "forward")]
    assert order == ["note", "note", "backup", "forward", "note", "forward"]
    assert texts(measure, "note/voice") == ["1", "1", "2"]
    assert texts(measure, "backup/duration") == ["4"]


def test_the_upper_of_two_that_begin_together_is_the_first_voice():
    """Readers point the stems of the first voice up, of the second down (common practice)."""
    low_and_high = [("Keys", "C3 G3", bar * 4, 4) for bar in (0, 1)] + [
        ("Keys", "E4", beat, 1) for beat in range(8)
    ]
    notes = [
        note for note in tree(song(*low_and_high)).iter("note") if note.find("pitch") is not None
    ]
    voices = {(note.findtext("pitch/octave"), note.findtext("voice")) for note in notes}
    assert voices == {("4", "1"), ("3", "2")}


def test_a_chord_and_a_single_voice_need_no_voice_names(written):
    """Two notes that begin and end together are a chord; one voice goes without a name."""
    a_song = song(("Keys", "C4 E4", 0, 4))
    root = tree(a_song)
    assert len(root.findall(".//chord")) == 1
    assert root.find(".//voice") is None
    assert written(a_song).notes["voice"].isna().all()


def test_a_slide_ends_on_the_next_note_of_its_string():
    """The slide leaves string 2; the note between lies on string 1 and has no part in it."""
    a_song = fretted(
        song(("Guitar", "D4", 0, 1), ("Guitar", "E4", 1, 1), ("Guitar", "E4", 2, 1)),
        (2, 3), (1, 0), (2, 5),
    )  # fmt: skip
    a_song = replace(a_song, notes=a_song.notes.assign(technique=["slide", None, None]))
    notes = tree(a_song).findall(".//note[pitch]")
    assert [[each.get("type") for each in note.iter("slide")] for note in notes] == [
        ["start"],
        [],
        ["stop"],
    ]


def test_a_grace_note_slides_into_its_note():
    """Both begin at one onset; the grace note stands first, so the slide is from it."""
    a_song = fretted(
        song(("Guitar", "C4", 0, 0), ("Guitar", "D4", 0, 4), ("Guitar", "E4", 4, 4)),
        (2, 1), (2, 3), (2, 5),
    )  # fmt: skip
    notes = a_song.notes.assign(technique=["slide", None, None], grace=[True, False, False])
    notes = tree(replace(a_song, notes=notes)).findall(".//note[pitch]")
    assert [[each.get("type") for each in note.iter("slide")] for note in notes] == [
        ["start"],
        ["stop"],
        [],
    ]


def test_a_cue_note_is_not_tied(schema):
    """MusicXML 4.0, element ``note``: a cue note takes no ``tie``; only the sign joins it."""
    a_song = song(("Keys", "C4", 3, 2))
    root = tree(replace(a_song, notes=a_song.notes.assign(technique="cue")))
    assert root.find(".//tie") is None
    assert [each.get("type") for each in root.iter("tied")] == ["start", "stop"]
    assert schema.validate(root), schema.error_log


@pytest.mark.parametrize(
    ("technique", "path"),
    [
        ("slide", "notations/slide[@type='start']"),
        ("hammer-on", "notations/technical/hammer-on[@type='start']"),
        ("pull-off", "notations/technical/pull-off[@type='start']"),
        ("bend", "notations/technical/bend/bend-alter"),
        ("let ring", "notations/tied[@type='let-ring']"),
        ("palm mute", "play/mute"),
        ("muted", "notehead"),
        ("harmonic", "notations/technical/harmonic"),
        ("tap", "notations/technical/tap"),
        ("vibrato", "notations/ornaments/wavy-line[@type='stop']"),
        ("cue", "cue"),
    ],
)
def test_each_technique_has_its_element(technique, path, schema):
    """Where MusicXML 4.0 puts it; the list is the whole of ``TECHNIQUES``."""
    assert technique in TECHNIQUES
    a_song = song(("Guitar", "C4", 0, 1), ("Guitar", "D4", 1, 1))
    root = tree(replace(a_song, notes=a_song.notes.assign(technique=[technique, None])))
    assert root.find(f".//note/{path}") is not None
    assert schema.validate(root), schema.error_log


def test_accidentals_stand_where_a_reader_needs_them():
    """An accidental holds for its bar and octave (common practice of notation).

    C major, F#4 F#4 F4 F#5 | F#4: sharp, nothing, natural, sharp; sharp again in the new bar.
    In G major the signature has the F#, and F natural is the one that needs a sign.
    """
    rows = [("Keys", "F#4", 0, 1), ("Keys", "F#4", 1, 1), ("Keys", "F4", 2, 1),
            ("Keys", "F#5", 3, 1), ("Keys", "F#4", 4, 1)]  # fmt: skip
    notes = tree(song(*rows, key="C major")).findall(".//note[pitch]")
    assert [note.findtext("accidental") for note in notes] == [
        "sharp", None, "natural", "sharp", "sharp",
    ]  # fmt: skip
    notes = tree(song(*rows, key="G major")).findall(".//note[pitch]")
    assert [note.findtext("accidental") for note in notes] == [None, None, "natural", None, None]


def test_a_quarter_tone_is_half_an_alter(written):
    """MusicXML 4.0, type semitones: 0.5 is a quarter tone sharp."""
    a_song = song(("Voice", 60.5, 0, 1))
    root = tree(a_song)
    assert texts(root, ".//pitch/*") == ["C", "0.5", "4"]
    assert texts(root, ".//accidental") == ["quarter-sharp"]
    assert written(a_song).notes["pitch"].tolist() == [60.5]


def test_spelling_follows_the_key():
    """Pitch 70 is Bb in F major and A# in B major."""
    assert texts(tree(song(("Keys", 70, 0, 1), key="F major")), ".//pitch/step") == ["B"]
    assert texts(tree(song(("Keys", 70, 0, 1), key="B major")), ".//pitch/step") == ["A"]


def test_a_transposing_part_is_written_in_its_own_key(written):
    """A B flat clarinet reads a tone higher: concert Bb major is its C major, D4 its E4."""
    a_song = song(("Clarinet", "D4", 0, 4), key="Bb major", chords=[(0, 10, "major", None)])
    a_song = replace(a_song, parts=a_song.parts.assign(transpose=-2, family="other"))
    root = tree(a_song)
    assert texts(root, ".//key/fifths") == ["0"]
    assert texts(root, ".//transpose/*") == ["-1", "-2"]
    assert texts(root, ".//pitch/*") == ["E", "4"]
    again = written(a_song)
    assert again.measures["key"].tolist() == ["Bb major"]
    assert again.chords["root"].tolist() == [10]


def test_meters_of_every_sort(written):
    """MusicXML 4.0, element ``time``: 3+2/8 keeps its sum; a free bar is ``senza-misura``."""
    a_song = song(("Keys", "C4", 0, 1), ("Keys", "C4", 4, 2), meter="4/4")
    meters = ["3+2/8", "free"]
    a_song = replace(a_song, measures=a_song.measures.assign(meter=meters))
    root = tree(a_song)
    assert texts(root, ".//time/*") == ["3+2", "8", None]
    assert written(a_song).measures[["meter", "duration"]].to_numpy().tolist() == [
        ["3+2/8", 4.0],
        ["free", 4.0],
    ]


def test_a_chord_within_a_long_note_says_how_far_in():
    """MusicXML 4.0, element ``offset``: in divisions, from where the harmony stands.

    The second chord comes half a beat after the second note has begun: one division of two.
    """
    a_song = song(
        ("Guitar", "C4", 0, 2), ("Guitar", "D4", 2, 2),
        chords=[(0, 0, "major", None), (2.5, 7, "major", 11)],
    )  # fmt: skip
    root = tree(a_song)
    assert texts(root, ".//divisions") == ["2"]
    assert [each.findtext("offset") for each in root.iter("harmony")] == [None, "1"]
    assert texts(root, ".//bass/bass-step") == ["B"]


@pytest.mark.parametrize(
    ("members", "degrees"),
    [
        ((0, 4, 7), []),
        ((0, 7), [("3", "0", "subtract")]),
        ((0, 4, 7, 2), [("9", "0", "add")]),
        ((0, 4, 7, 6), [("11", "1", "add")]),
        ((0, 2, 4, 7), [("2", "0", "add")]),
    ],
)
def test_degrees_come_from_the_members_if_the_symbol_is_unknown(members, degrees, written):
    """A row with a symbol that no one reads: what its kind, major, has too many or too few.

    Members stand upward, so that a second behind the fifth is a ninth.
    """
    a_song = song(("Guitar", "C4", 0, 4), chords=[(0, 0, "major", None)])
    chords = a_song.chords.assign(symbol="what he plays", pitch_classes=[members])
    a_song = replace(a_song, chords=chords)
    found = [tuple(child.text for child in degree) for degree in tree(a_song).iter("degree")]
    assert found == degrees
    assert set(written(a_song).chords["pitch_classes"][0]) == set(members)


def test_chord_symbols_stand_above_a_guitar_and_names_above_the_first_part():
    """Who plays chords looks for them there; one tempo and one name are enough for all."""
    a_song = song(
        ("Voice", "C4", 0, 4), ("Guitar", "C4", 0, 4),
        chords=[(0, 0, "major", None)], sections=[("Verse", 1)],
    )  # fmt: skip
    voice, guitar = tree(a_song).findall("part")
    assert [len(voice.findall(f".//{tag}")) for tag in ("harmony", "rehearsal", "sound")] == [
        0,
        1,
        1,
    ]
    assert [len(guitar.findall(f".//{tag}")) for tag in ("harmony", "rehearsal", "sound")] == [
        1,
        0,
        0,
    ]


def test_a_song_without_sections_gets_no_rehearsal_mark(written):
    """The reader itself calls the whole song "Song"."""
    a_song = song(("Keys", "C4", 0, 8))
    assert tree(a_song).find(".//rehearsal") is None
    assert written(a_song).sections["section"].tolist() == ["Song"]


def test_in_six_eight_the_metronome_counts_dotted_quarters():
    """Felt in two (common practice): 96 quarter notes a minute are 64 dotted ones."""
    root = tree(song(("Keys", "C4", 0, 3), meter="6/8", tempo=96.0))
    assert texts(root, ".//metronome/*") == ["quarter", None, "64"]
    assert root.find(".//sound").get("tempo") == "96"


def test_a_tempo_is_written_where_it_changes_and_exactly(written):
    """Three bars, two tempos, one of them no round number."""
    a_song = song(("Keys", "C4", 0, 12), tempo=[100 / 3, 100 / 3, 72.0])
    assert len(tree(a_song).findall(".//sound")) == 2
    assert written(a_song).measures["tempo"].tolist() == pytest.approx([100 / 3, 100 / 3, 72.0])


def test_a_grace_note_behind_the_last_note_stays_in_its_bar(written):
    """It sounds at the next bar line, and belongs to the bar before."""
    a_song = song(("Keys", "C4", 0, 4), ("Keys", "D4", 4, 0), ("Keys", "E4", 4, 4))
    notes = a_song.notes.assign(grace=[False, True, False], measure=[1, 1, 2])
    a_song = replace(a_song, notes=notes)
    assert written(a_song).notes["measure"].tolist() == [1, 1, 2]


def test_levels_become_volumes(written):
    """Twenty decibels down is a tenth of the loudest part's volume."""
    parts = parts_of("Guitar", "Keys", level=[-20.0, 0.0])
    a_song = song(("Guitar", "C4", 0, 4), ("Keys", "C4", 0, 4), parts=parts)
    assert texts(tree(a_song), ".//volume") == ["10", "100"]
    assert written(a_song).parts["level"].tolist() == pytest.approx([-20.0, 0.0])


def test_levels_come_back_as_they_were_typed(tmp_path):
    """In whole decibels, so that a chart made of the file has no level of sixteen digits."""
    levels = [-float(number) for number in range(24)]
    names = [f"Guitar {number}" for number in range(24)]
    made = song(*((name, "C4", 0, 4) for name in names), parts=parts_of(*names, level=levels))
    ar.write_musicxml(made, tmp_path / "song.musicxml")
    assert ar.read(tmp_path / "song.musicxml").parts["level"].tolist() == levels


def test_players_stand_beside_what_else_is_known_of_the_file(written):
    """MusicXML 4.0: miscellaneous holds metadata that the format has no element for."""
    named = replace(song(("G", "C4", 0, 4)), players=("Ann; acoustic", "Ben"))
    fields = tree(named).findall("identification/miscellaneous/miscellaneous-field")
    assert [(each.get("name"), each.text) for each in fields] == [
        ("player", "Ann; acoustic"),
        ("player", "Ben"),
    ]
    assert written(named).players == named.players


def test_a_player_that_nobody_can_read_is_reported(tmp_path):
    """Another program may call a field so; the song is read without it."""
    data = format_musicxml(replace(song(("G", "C4", 0, 4)), players=("Ann; acoustic",)), [])
    path = tmp_path / "odd.musicxml"
    path.write_bytes(data.replace(b"acoustic", b"version 4.2"))
    again = ar.read(path)
    assert again.players == ()
    assert "a player is left out: player Ann: 'version 4.2' is not understood" in again.notices[0]


def test_drive_and_echo_are_words_to_the_player():
    """MusicXML has no element for either."""
    parts = parts_of("Guitar", drive="edge", echo="dotted eighth", capo=2)
    root = tree(song(("Guitar", "C4", 0, 4), parts=parts))
    assert texts(root, ".//words") == ["capo 2", "edge", "echo: dotted eighth"]


def test_ids_are_unique_and_names_in_xml(written):
    """An id begins with a letter and stands once (XML 1.0, types ID and Name).

    "P1" is the part's; the third note is the first one played again.
    """
    a_song = song(*(("Keys", "C4", at, 1) for at in range(4)))
    a_song = replace(a_song, notes=a_song.notes.assign(source_id=["a", "1 b", "a", "P1"]))
    assert written(a_song).notes["source_id"].tolist() == ["a", "n1_b", "a-2", "P1-2"]


def test_text_that_xml_cannot_hold_is_cleaned(written):
    """A control character has no place in XML 1.0, not even escaped."""
    a_song = song(("Keys", "C4", 0, 4), sections=[("A\x07 <&> ½", 1)], title="Bell\x00 & Co")
    again = written(a_song)
    assert again.title == "Bell & Co"
    assert again.sections["section"].tolist() == ["A <&> ½"]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"duration": 0.0}, "notes without a duration are written as grace notes: 1"),
        ({"string": 1, "fret": 1}, "frets behind the capo are left out: 1"),
        ({"technique": "whistle"}, "'whistle' has no place in MusicXML and is left out: 1"),
    ],
)
def test_what_the_file_cannot_hold_is_reported(change, expected, tmp_path, schema):
    """There is one sentence for each loss; the file is complete and valid otherwise."""
    a_song = song(("Guitar", "C4", 0, 1), parts=parts_of("Guitar", capo=2), bars=2)
    a_song = replace(a_song, notes=a_song.notes.assign(**change))
    path = tmp_path / "song.musicxml"
    (notice,) = write_musicxml(a_song, path)
    assert expected in notice
    assert schema.validate(etree.parse(path)), schema.error_log
    ar.read(path)


@pytest.mark.parametrize("pitch", [0.0, 1.0, 5.0])
def test_a_note_below_the_lowest_octave_is_refused(pitch, tmp_path):
    """Octaves go from 0 to 9 (MusicXML 4.0, type octave): C0, MIDI number 12, is the lowest."""
    a_song = song(("Keys", "C4", 0, 1))
    a_song = replace(a_song, notes=a_song.notes.assign(pitch=pitch))
    with pytest.raises(ar.ArrangeError, match=r"measure 1: .* of 'Keys' would be written below C0"):
        write_musicxml(a_song, tmp_path / "song.musicxml")
    assert not list(tmp_path.iterdir())
    write_musicxml(
        replace(a_song, parts=a_song.parts.assign(transpose=-12)), tmp_path / "song.musicxml"
    )
    assert ar.read(tmp_path / "song.musicxml").notes["pitch"].tolist() == [pitch]


def test_an_empty_part_is_full_of_rests(written):
    """A part that does not play in a song still has the same bars."""
    a_song = song(("Keys", "C4", 0, 8), parts=parts_of("Keys", "Guitar", "Drums"))
    again = written(a_song)
    assert again.parts["part"].tolist() == ["Keys", "Guitar", "Drums"]
    assert len(tree(a_song).findall(".//rest[@measure='yes']")) == 4


def test_the_rest_in_a_short_bar_is_no_measure_rest(written):
    """A pickup of a beat: a measure rest would be read as the meter's whole bar (by music21)."""
    a_song = song(("Keys", "C4", 4, 4), bars=2)
    lines = {"onset": [0.0, 1.0], "duration": [1.0, 4.0]}
    notes = a_song.notes.assign(onset=1.0)
    a_song = replace(a_song, measures=a_song.measures.assign(**lines), notes=notes)
    rest = tree(a_song).find(".//rest")
    assert rest.get("measure") is None
    assert rest.getparent().findtext("type") == "quarter"
    assert written(a_song).measures["duration"].tolist() == [1.0, 4.0]


def test_a_song_without_parts_is_refused():
    """MusicXML 4.0, element ``part-list``: one part at least."""
    a_song = song(parts=parts_of(), bars=1)
    with pytest.raises(ArrangeError, match="no part"):
        format_musicxml(a_song, [])


def test_the_old_file_stays_until_the_new_one_is_whole(tmp_path, monkeypatch):
    """A disk that fills up while writing costs nothing but the new file."""
    path = tmp_path / "song.musicxml"
    path.write_text("old")

    def fail(*_: object) -> None:
        raise OSError("no space left on device")

    monkeypatch.setattr(Path, "write_bytes", fail)
    with pytest.raises(ArrangeError, match=r"song\.musicxml: cannot be written: no space"):
        write_musicxml(song(("Keys", "C4", 0, 4)), path)
    assert path.read_text() == "old"
    assert [each.name for each in tmp_path.iterdir()] == ["song.musicxml"]


def test_a_compressed_file_is_refused(tmp_path):
    """Plain text under the name of a compressed file would mislead every program."""
    with pytest.raises(ArrangeError, match=r"name it \.musicxml"):
        write_musicxml(song(("Keys", "C4", 0, 4)), tmp_path / "song.mxl")


def test_the_demo_song_is_written_in_no_time():
    """2,031 notes: some 0.15 s of processor time on a slow machine, thirty times that allowed."""
    demo = ar.read(LOW_WATER)
    format_musicxml(demo, [])
    start = time.process_time()
    format_musicxml(demo, [])
    assert time.process_time() - start < 4.5


def test_the_time_grows_with_the_notes_and_not_faster():
    """Eight thousand notes take about eight times as long as one thousand, not sixty times."""

    def seconds(count: int) -> float:
        pitch = [60.0 + number % 12 for number in range(count)]
        onset = [number / 4 for number in range(count)]
        notes = notes_of(("Keys", 60, 0, 1)).loc[[0] * count].assign(pitch=pitch, onset=onset)
        notes["measure"] = (notes["onset"] // 4 + 1).astype("int64")
        notes["source_id"] = "again"
        a_song = song(("Keys", "C4", 0, 1), bars=count // 16 + 1)
        a_song = replace(a_song, notes=notes)
        start = time.process_time()
        format_musicxml(a_song, [])
        return time.process_time() - start

    seconds(100)
    assert seconds(8000) < 30 * max(seconds(1000), 0.02)
