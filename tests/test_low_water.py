"""The demo song: exactly the problems that datasets/README.md names are found."""

from pathlib import Path

import pandas as pd
import pytest

from arrange.clashes import find_clashes
from arrange.formats.reading import read

DATASETS = Path(__file__).parents[1] / "datasets"
GUITARS = frozenset({"Guitar 1", "Guitar 2"})

# The README's table of problems, then what it says below the table: the hook is doubled on
# purpose in Intro and Tag, and the tops that change places in Chorus 1 belong to the crowding.
# (kind, section, printed measures, parts, pitches).
LEFT_IN = {
    ("rub", "Pre-chorus 1", "16-18", GUITARS, "A4 Bb4"),
    ("mud", "Verse 3", "32", frozenset({"Guitar 2"}), "A2 C3"),
    ("mud", "Verse 3", "36", frozenset({"Guitar 2"}), "A2 C3"),
    ("mud", "Verse 3", "32", frozenset({"Bass", "Guitar 2"}), "A1 C3"),
    ("mud", "Verse 3", "36", frozenset({"Bass", "Guitar 2"}), "A1 C3"),
    ("mud", "Verse 3", "33", frozenset({"Bass", "Guitar 2"}), "Eb2 G2"),
    ("mud", "Verse 3", "35", frozenset({"Guitar 2"}), "G2 C3"),
    ("crowding", "Chorus 1", "19-26", GUITARS, "G2 Bb4"),
    ("doubling", "Turnaround", "29-30", GUITARS, "F4 G4 A4 Bb4 C5 D5"),
    ("crossing", "Instrumental", "55-58", GUITARS, "Eb3 A4"),
}
SAID_BELOW = {
    ("outside", "Pre-chorus 1", "16", frozenset({"Guitar 1"}), "Bb4"),  # the fourth of the rub
    ("outside", "Pre-chorus 1", "18", frozenset({"Guitar 1"}), "Bb4"),
    ("doubling", "Intro", "1-4", GUITARS, "D4 F4 G4 A4 Bb4 C5"),
    ("doubling", "Tag", "79-82", GUITARS, "D4 F4 G4 A4 Bb4 C5"),
    ("crossing", "Chorus 1", "19-20", GUITARS, "F4 Bb4"),
}
# Also reported under other kinds: both guitars of the rub are near the voice, as is what Guitar 1
# picks and lets ring before the second chorus and its close triads in it, the mud of bar 33 is a
# guitar right above the bass, and so many low strings hide some of the bass.
SAID_BELOW |= {
    ("voice", "Pre-chorus 1", "15-18", frozenset({"Voice", "Guitar 1"}), "G4 Eb5"),
    ("voice", "Pre-chorus 1", "15-18", frozenset({"Voice", "Guitar 2"}), "G4 A4"),
    ("voice", "Pre-chorus 2", "39-42", frozenset({"Voice", "Guitar 1"}), "F4 F5"),
    ("voice", "Chorus 2", "43-50", frozenset({"Voice", "Guitar 1"}), "Eb4 Eb5"),
    ("bass", "Verse 3", "33", frozenset({"Bass", "Guitar 2"}), "Eb2 G2"),
    ("masking", "Verse 3", "31-38", frozenset({"Bass", "Guitar 2"}), "A1"),
}
# The crossing is one since both guitars leave their registers there.
SAID_BELOW |= {
    ("register", "Instrumental", "55-58", frozenset({"Guitar 1"}), "Eb3 A3"),
    ("register", "Instrumental", "55-58", frozenset({"Guitar 2"}), "Bb3 A4"),
}
# The D that Guitar 2 plays late is not an attack that both share.
LATE = {"F4 G4 A4 Bb4 C5 D5": "F4 G4 A4 Bb4 C5"}

KEPT_APART = {
    "Verse 1": (5, 12),
    "Verse 2": (5, 14),
    "Pre-chorus 2": (39, 42),
    "Chorus 2": (43, 50),
    "Instrumental": (51, 54),
    "Bridge": (59, 70),
    "Chorus 3": (71, 78),
    "Outro": (83, 86),
}


@pytest.fixture(scope="module")
def song():
    """Return the demo song."""
    return read(DATASETS / "low-water.musicxml")


@pytest.fixture(scope="module")
def findings(song) -> pd.DataFrame:
    """Return its findings, with the last played measure beside the first."""
    table = find_clashes(song)
    starts = song.measures["onset"].to_numpy()
    return table.assign(last=starts.searchsorted(table["onset"] + table["duration"] - 1e-6))


def test_just_the_problems_left_in_are_found(song, findings):
    """Kind, section, printed measures, parts and pitches, all as the README's table says."""
    written = song.measures["written"].tolist()
    found = set()
    for row in findings.itertuples():
        first, last = written[row.measure - 1], written[row.last - 1]
        where = first if first == last else f"{first}-{last}"
        parts = frozenset(row.parts.split(" + "))
        found.add((row.kind, row.section, where, parts, row.pitches))
    assert len(found) == len(findings)
    assert found == {(*row[:4], LATE.get(row[4], row[4])) for row in LEFT_IN | SAID_BELOW}


def test_problems_stand_before_what_is_meant(findings):
    """The exactly doubled hook comes last; the fill in the turnaround is rated as an accident."""
    last = findings.tail(2)
    assert set(last["section"]) == {"Intro", "Tag"}
    assert last["why"].str.contains("reads as meant").all()
    fill = findings[findings["section"] == "Turnaround"]["why"].iloc[0]
    assert "7 of 9 attacks together, so it reads as an accident" in fill


@pytest.mark.parametrize("section", list(KEPT_APART))
def test_passages_kept_apart_are_left_alone(song, findings, section):
    """No finding between parts, but for the voice, lies in the measures that the README names."""
    first, last = KEPT_APART[section]
    bars = song.measures[song.measures["section"] == section]
    bars = bars[bars["written"].astype(int).between(first, last)]
    assert len(bars) >= 4
    touched = (findings["measure"] <= bars["measure"].max()) & (
        findings["last"] >= bars["measure"].min()
    )
    assert findings[touched & (findings["kind"] != "voice")].empty


def test_the_readme_names_each_problem():
    """The table in the README and the one above have the same length and the same notes."""
    text = (DATASETS / "README.md").read_text(encoding="utf-8")
    table = text.split("### Problems left in on purpose")[1].split("### Passages")[0]
    rows = [line.split("|")[1:6] for line in table.splitlines() if line.startswith("| ")][1:]
    named = {(row[0].split(",")[0].strip(), row[1].strip()) for row in rows}
    assert named == {row[:2] for row in LEFT_IN}
    for kind, section, *_ in LEFT_IN:
        assert (kind, section) in named


def test_the_song_is_as_long_as_the_readme_says(song):
    """92 measures as played, 86 printed, 3 minutes 31 seconds."""
    assert len(song.measures) == 92
    assert song.measures["written"].nunique() == 86
    assert round(song.seconds(song.duration)) == 3 * 60 + 31


def test_fretted_notes_lie_where_the_frets_say(song):
    """Frets are counted from the nut in the tables, so that open string + fret is the pitch on
    every note that has a string, capo or not.
    """
    tuning = song.parts.set_index("part")["tuning"]
    notes = song.notes[song.notes["string"].notna()]
    assert set(notes["part"]) >= GUITARS
    open_strings = [tuning[row.part][row.string - 1] for row in notes.itertuples()]
    assert (notes["pitch"] == notes["fret"].astype(int) + open_strings).all()
    capo = notes[notes["part"] == "Guitar 2"]
    assert capo["fret"].min() == 3
