"""Inferred harmony against a published analysis, written keys and written symbols."""

from dataclasses import replace

import pandas as pd
import pytest
from benchmarks.harmony import CHORALES, DATASETS, agreement, analysed, of_symbols

import arrange as ar
from arrange.quantities.harmony import inferred_key
from tests.songs import song

FOUR_CHORDS = (
    ("Guitar 1", "C3 E3 G3", 0, 4), ("Guitar 1", "A2 E3 C4", 4, 4), ("Guitar 1", "F2 C3 A3", 8, 4),
    ("Guitar 1", "G2 D3 B3 F4", 12, 4),
)  # fmt: skip


def test_four_chords_are_named():
    """Worked by hand: C, Am, F and G7, certain, in C major."""
    made = song(*FOUR_CHORDS)
    chords = ar.inferred_chords(made)
    assert chords["symbol"].tolist() == ["C", "Am", "F", "G7"]
    assert chords["onset"].tolist() == [0, 4, 8, 12]
    assert (chords["confidence"] > 0.9).all()
    keys = ar.inferred_keys(made)
    assert keys[["first_measure", "last_measure", "key"]].to_numpy().tolist() == [[1, 4, "C major"]]
    assert made.chords.empty
    assert made.measures["key"].isna().all()


def test_a_chorale_against_its_published_analysis():
    """Roman numerals by beat; ``benchmarks/harmony.py`` has all chorales."""
    name, truth = analysed(8)
    roots, thirds = agreement(ar.inferred_chords(ar.read(name, played=False)), truth)
    assert roots > 0.9
    assert thirds > 0.9


@pytest.mark.parametrize("name", ["low-water.txt", "kiln-yard.txt", "barn-lights.txt"])
def test_demo_songs_against_their_symbols(name):
    """Chords by bar and half bar, without looking at the symbols."""
    made = ar.read(DATASETS / name)
    bare = replace(made, chords=made.chords[:0])
    chords = ar.inferred_chords(bare)
    roots, thirds = agreement(chords, of_symbols(made.chords))
    assert roots > 0.95
    assert thirds > 0.93
    assert chords["symbol"].tolist() == ar.inferred_chords(made)["symbol"].tolist()


def test_keys_against_written_keys():
    """Of 200 chorales 169 are right, 161 by music21's own analysis (``benchmarks/harmony.py``)."""
    scores = [ar.read(path, played=False) for path in CHORALES[:96:8]]
    assert sum(inferred_key(score) == score.main_key for score in scores) >= 9


def test_outside_speaks_without_symbols():
    """A held F over C major is an avoid note; the sentence is hedged, and no symbol appears."""
    rows = [row for at in range(4) for row in (
        ("Guitar 1", "C3 E3 G3 C4", 4 * at, 4), ("Guitar 2", "F4" if at == 2 else "G4", 4 * at, 4)
    )]  # fmt: skip
    made = song(*rows)
    found = ar.find_clashes(made, ["outside"])
    assert found["parts"].tolist() == ["Guitar 2"]
    assert found["pitches"].tolist() == ["F4"]
    assert "what sounds like C" in found["why"].iloc[0]
    assert "the harmony is inferred" in found["why"].iloc[0]
    written = replace(made, chords=chord_symbols())
    assert "inferred" not in ar.find_clashes(written, ["outside"])["why"].iloc[0]


def chord_symbols() -> pd.DataFrame:
    """Return one C for four bars."""
    made = song(("Guitar 1", "C3", 0, 16), chords=[(0, 0, "major", None)])
    return made.chords.assign(symbol=pd.array(["C"], dtype="str"))


@pytest.mark.parametrize("key", ["C major", None])
def test_a_part_that_leaves_the_key(key):
    """Four bars a semitone off are one finding, with its notes; a single blue note is none."""
    tune = ("E4", "G4", "A4", "D4")
    rows = [*FOUR_CHORDS, *((row[0], row[1], row[2] + 16, row[3]) for row in FOUR_CHORDS)]
    off = {"E4": "Eb4", "G4": "Gb4", "A4": "Ab4", "D4": "Db4"}
    line = [("Guitar 2", (off[pitch] if 3 <= bar < 7 else pitch), 4 * bar + at, 1)
            for bar in range(8) for at, pitch in enumerate(tune)]  # fmt: skip
    found = ar.find_clashes(song(*rows, *line, key=key), ["outside"])
    away = found[found["unit"] == "s"]
    assert away[["parts", "measure", "duration"]].to_numpy().tolist() == [["Guitar 2", 4, 16.0]]
    why = away["why"].iloc[0]
    assert "outside C major" in why or ("outside A minor" in why and key is None)
    assert ("the key is inferred" in why) == (key is None)
    assert not found[found["unit"] != "s"]["parts"].eq("Guitar 2").any()
    blue = [(part, "Eb4" if 12 <= at < 28 and pitch == "E4" else pitch.replace("b", ""), at, length)
            for part, pitch, at, length in line]  # fmt: skip
    assert (ar.find_clashes(song(*rows, *blue, key=key), ["outside"])["unit"] != "s").all()
