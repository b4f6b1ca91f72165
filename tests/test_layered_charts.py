"""The statements of datasets/README.md about the two charts of many layers are true.

They are counted here from notes and their times alone, and then compared with the findings.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import arrange as ar
from arrange.theory.pitch import parse_note

DATASETS = Path(__file__).parents[1] / "datasets"
README = (DATASETS / "README.md").read_text(encoding="utf-8")
HEADINGS = {"barn-lights": "## Barn Lights at Ostrey", "kiln-yard": "## Kiln Yard"}
FINDINGS = {"barn-lights": 81, "kiln-yard": 58}
PLANTED = {
    "barn-lights": {
        ("Verse 1", "voice", "Voice + Acoustic"),
        ("Instrumental", "crowding", "Chime + Lead"),
        ("Chorus 3", "crowding", "Hook + Chime"),
        ("Chorus 4", "crowding", "Hook + Chime"),
        ("Chorus 1", "crowding", "Acoustic + Drive left"),
    },
    "kiln-yard": {
        ("Verse 3", "drive", "Stabs"),
        ("Chorus 3", "drive", "Stabs"),
        ("Verse 3", "mud", "Chug + Clean picking"),
        ("Chorus 2", "crowding", "Octaves + Wash"),
        ("Verse 1", "mud", "Chug"),
    },
}
LASTS = {"barn-lights": 190, "kiln-yard": 179}  # seconds
CAPOS = {"Acoustic": 2, "Acoustic double": 2, "High acoustic": 7}
CHORDS = {
    "barn-lights": ["Acoustic", "Acoustic double", "High acoustic", "Swell", "Drive left",
                    "Drive right", "Pulse", "Chime"],
    "kiln-yard": ["Chug", "Clean picking", "Ticks", "Stabs", "Wash", "Wall"],
}  # fmt: skip
ON_PURPOSE = {("E", 66), ("Bsus4", 63)}  # a ninth let in, a suspension resolved
RIFFS = ("Riff 2", "Riff 3", "Outro")
WALLS = ("Chorus 2", "Chorus 3", "Chorus 4", "Instrumental")


@pytest.fixture(scope="module")
def songs() -> dict[str, ar.Song]:
    """Return both songs."""
    return {name: ar.read(DATASETS / f"{name}.txt") for name in HEADINGS}


def table_of(name: str, table: str) -> dict[str, list[str]]:
    """Return the rows of a table of a song's section, by their first field."""
    section = README.split(f"\n{HEADINGS[name]}\n")[1].split("\n## ")[0]
    lines = section.split(f"### {table}\n")[1].split("\n### ")[0].splitlines()
    rows = [line.strip("| ").split(" | ") for line in lines if line.startswith("| ")]
    return {row[0]: row[1:] for row in rows[1:]}


def struck(song: ar.Song, part: str, section: str) -> set[tuple[float, float]]:
    """Return onset and pitch of each note of a part in a section."""
    notes = song.notes[(song.notes["part"] == part) & (song.notes["section"] == section)]
    return set(zip(notes["onset"], notes["pitch"], strict=True))


def line(song: ar.Song, part: str, section: str) -> dict[float, float]:
    """Return the highest pitch of a part at each of its attacks in a section."""
    return dict(sorted(struck(song, part, section)))


def with_chord(song: ar.Song) -> pd.DataFrame:
    """Return the notes, each with the symbol, the bass and the pitch classes of its chord."""
    chords, notes = song.chords, song.notes
    row = np.searchsorted(chords["onset"], notes["onset"] + 1e-9, side="right") - 1
    columns = chords[["symbol", "bass", "pitch_classes"]].iloc[row].reset_index(drop=True)
    return pd.concat([notes.reset_index(drop=True), columns], axis=1)


@pytest.mark.parametrize("name", HEADINGS)
def test_the_layers_are_as_told(songs, name):
    """Sound, level, range and role of every guitar are as stated."""
    song = songs[name]
    assert song.notices == ()
    assert song.seconds(song.duration) == pytest.approx(LASTS[name], abs=0.5)
    parts = song.parts.set_index("part")
    guitars = parts.index[parts["family"] == "guitar"].tolist()
    table = table_of(name, "The layers")
    assert sorted(table) == sorted(guitars)
    assert len(guitars) == {"barn-lights": 12, "kiln-yard": 13}[name]
    for layer, (_, sound, level, reach, _) in table.items():
        row = parts.loc[layer]
        assert sound.split(", ")[0] == row["drive"]
        assert ("echo" in sound) == pd.notna(row["echo"])
        assert row["capo"] == CAPOS.get(layer, 0)
        assert ("drop D" in sound) == (row["tuning"][-1] == 38)
        assert float(level.replace("−", "-")) == row["level"]
        pitch = song.notes.loc[song.notes["part"] == layer, "pitch"]
        assert [parse_note(each) for each in reach.split("–")] == [pitch.min(), pitch.max()]


@pytest.mark.parametrize("name", HEADINGS)
def test_the_form_is_as_told(songs, name):
    """Measures and layers of every section, and the chords of the first of each kind, are as
    stated.
    """
    song = songs[name]
    table = table_of(name, "Form and layers")
    assert list(table) == song.sections["section"].tolist()
    for row in song.sections.itertuples():
        measures, chords, layers = table[row.section]
        assert measures == f"{row.first_measure}–{row.last_measure}"
        there = set(song.notes["part"][song.notes["section"] == row.section])
        assert set(layers.split(", ")) == there - {"Voice", "Bass"}
        if not chords.startswith("as "):
            symbols = song.chords["symbol"][song.chords["section"] == row.section].tolist()
            assert chords.replace(" and ", ", ").split(", ") == symbols


@pytest.mark.parametrize("name", HEADINGS)
def test_each_layer_alone_is_playable(songs, name):
    """Each layer is playable on its own neck, with its tuning and capo."""
    for part in songs[name].parts["part"].drop(0):
        assert ar.finger_part(songs[name], part)["problem"].isna().all(), part


@pytest.mark.parametrize("name", HEADINGS)
def test_chords_are_those_of_their_symbols(songs, name):
    """All chords fit except those that the README names; a bass bar begins with root or bass
    note.
    """
    notes = with_chord(songs[name])
    chords = notes[notes["part"].isin(CHORDS[name])]
    outside = {
        (row.symbol, row.pitch)
        for row in chords.itertuples()
        if row.pitch % 12 not in row.pitch_classes
    }
    assert outside == (ON_PURPOSE if name == "barn-lights" else set())
    first = songs[name].measures["onset"]
    bass = notes[(notes["part"] == "Bass") & notes["onset"].isin(first)]
    assert len(bass) > 60
    assert (bass["pitch"] % 12 == bass["bass"]).all()


@pytest.mark.parametrize("name", HEADINGS)
def test_what_is_planted_is_found(songs, name):
    """The places of the tables and the number below them agree with the findings."""
    found = ar.find_clashes(songs[name])
    assert set(zip(found["section"], found["kind"], found["parts"], strict=True)) >= PLANTED[name]
    assert len(found) == FINDINGS[name], found["kind"].value_counts().to_dict()
    section = README.split(f"\n{HEADINGS[name]}\n")[1].split("\n## ")[0]
    assert f"The study finds {FINDINGS[name]} places" in section


def test_barn_lights_doubles(songs):
    """The acoustic's double has no note of its own, and the two other doubles have none at all."""
    song = songs["barn-lights"]
    for section in ("Chorus 1", "Chorus 2", "Instrumental", "Chorus 3", "Chorus 4"):
        double, whole = (struck(song, part, section) for part in ("Acoustic double", "Acoustic"))
        assert double < whole
        assert len(double) > 0.8 * len(whole)
    for section in ("Chorus 2", "Chorus 3", "Chorus 4"):
        low = struck(song, "Hook octave", section)
        assert {(onset, pitch + 12) for onset, pitch in low} == struck(song, "Hook", section)
        assert struck(song, "Drive right", section) == struck(song, "Drive left", section)


def test_barn_lights_answers_between_the_lines(songs):
    """In the verses, Answers is silent wherever the singer or Chime sounds."""
    notes = songs["barn-lights"].notes
    notes = notes.assign(end=notes["onset"] + notes["duration"])
    for sections, other in (
        (("Verse 1", "Verse 2", "Verse 3"), "Voice"),
        (("Verse 2", "Verse 3"), "Chime"),
    ):
        here = notes[notes["section"].isin(sections)]
        own, others = (here[here["part"] == part] for part in ("Answers", other))
        assert len(own) >= 8 * len(sections)
        for note in own.itertuples():
            assert not ((others["onset"] < note.end) & (note.onset < others["end"])).any()


def test_kiln_yard_doubles(songs):
    """Riff right is the riff in the riffs and the wall elsewhere; the octave is the riff,
    higher.
    """
    song = songs["kiln-yard"]
    for section in RIFFS:
        assert struck(song, "Riff right", section) == struck(song, "Riff left", section)
    for section in WALLS:
        assert struck(song, "Riff right", section) == struck(song, "Wall", section)
    for section in ("Riff 3", "Outro"):
        low = {(onset, pitch + 12) for onset, pitch in struck(song, "Riff left", section)}
        assert struck(song, "Riff octave", section) <= low


def test_kiln_yard_octaves_and_thirds(songs):
    """Octaves has two notes an octave apart throughout; Thirds is a third of the key from its
    line.
    """
    song = songs["kiln-yard"]
    own = song.notes[song.notes["part"] == "Octaves"].groupby("onset")["pitch"]
    assert (own.agg(lambda pitch: pitch.max() - pitch.min()) == 12).all()
    assert (own.size() == 2).all()
    for section, other, way in (
        ("Instrumental", "Lead", 1), ("Chorus 3", "Octaves", -1), ("Chorus 4", "Octaves", -1),
    ):  # fmt: skip
        second, leader = line(song, "Thirds", section), line(song, other, section)
        assert len(second) >= 15
        assert {way * (pitch - leader[onset]) for onset, pitch in second.items()} <= {3, 4}
    wall = {"Riff left", "Riff right", "Riff octave", "Wall", "Bass"}
    between = [set(ar.split_parts(each)) for each in ar.find_clashes(song)["parts"]]
    assert sum(len(parts) == 2 and parts <= wall for parts in between) == 29
    # Of the key, with the leading tone of its dominant.
    key = {(2 + step) % 12 for step in (0, 2, 3, 5, 7, 8, 10, 11)}
    assert set(song.notes.loc[song.notes["part"] == "Thirds", "pitch"] % 12) <= key
