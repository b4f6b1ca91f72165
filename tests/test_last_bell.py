"""The second demo song: fourteen guitar layers of a recording, with problems put in on purpose.

The statements of datasets/README.md are counted here from notes and their times alone, and then
compared with what the package finds.
"""

import dataclasses
import itertools
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from scores import schema_errors

import arrange as ar

DATASETS = Path(__file__).parents[1] / "datasets"
README = (DATASETS / "README.md").read_text(encoding="utf-8")
README = README.split("## Ten Past the Last Bell")[1].split("\n## ")[0]
SIXTEENTH = 0.25  # quarter notes

LAYERS = {  # layer: drive, capo
    "Rhythm": ("clean", 2), "Rhythm double": ("clean", 2), "Hook": ("overdriven", 0),
    "Hook octave": ("overdriven", 0), "Pad": ("clean", 0), "Echo": ("clean", 0),
    "Fills": ("clean", 0), "Power left": ("distorted", 0), "Power right": ("distorted", 0),
    "High picking": ("clean", 0), "Pulse": ("clean", 0), "Slide": ("overdriven", 0),
    "Lead": ("overdriven", 0), "Strum": ("clean", 0),
}  # fmt: skip
BOTH = {"Rhythm", "Rhythm double"}
FORM = {  # section: first measure, last measure, guitar layers that play
    "Intro": (1, 8, {"Rhythm", "Hook"}),
    "Verse 1": (9, 16, BOTH | {"Echo", "Fills", "Pulse"}),
    "Pre-chorus 1": (17, 20, BOTH | {"Echo", "Pulse"}),
    "Chorus 1": (21, 28, BOTH | {"Hook", "Pad", "Power left"}),
    "Turnaround": (29, 32, BOTH | {"Echo", "Fills"}),
    "Verse 2": (33, 40, {"Strum", "High picking"}),
    "Pre-chorus 2": (41, 44, {"Strum", "High picking", "Pulse"}),
    "Chorus 2": (45, 52, BOTH | {"Hook", "Hook octave", "Pad", "Power left", "Power right"}),
    "Bridge": (53, 60, {"Pad", "Pulse", "Slide"}),
    "Instrumental": (61, 68, BOTH | {"Lead", "High picking"}),
    "Chorus 3": (69, 76, BOTH | {"Hook", "Hook octave", "Pad", "Power left", "Power right",
                                 "High picking", "Pulse"}),
    "Tag 1": (77, 80, BOTH | {"Hook", "Hook octave", "Power left"}),
    "Tag 2": (81, 84, BOTH | {"Hook", "Hook octave", "Power left"}),
    "Outro": (85, 88, {"Strum", "High picking", "Pad", "Fills"}),
}  # fmt: skip


@pytest.fixture(scope="module")
def song() -> ar.Song:
    """Return the demo song."""
    return ar.read(DATASETS / "last-bell.musicxml")


@pytest.fixture(scope="module")
def findings(song) -> pd.DataFrame:
    """Return its findings."""
    return ar.find_clashes(song)


def struck(song: ar.Song, part: str, section: str) -> set[tuple[float, float]]:
    """Return onset and pitch of each note of a part in a section."""
    notes = song.notes[(song.notes["part"] == part) & (song.notes["section"] == section)]
    return set(zip(notes["onset"], notes["pitch"], strict=True))


def held(song: ar.Song, part: str, section: str) -> list[set[float]]:
    """Return the pitches that a part holds on each sixteenth of a section."""
    where = song.sections.set_index("section").loc[section]
    notes = song.notes[song.notes["part"] == part]
    times = [where["onset"] + SIXTEENTH * step for step in range(int(where["duration"] * 4))]
    return [
        set(notes["pitch"][(notes["onset"] <= time) & (time < notes["onset"] + notes["duration"])])
        for time in times
    ]


def bars(song: ar.Song, part: str, section: str) -> set[int]:
    """Return the measures of a section in which a part plays."""
    notes = song.notes[(song.notes["part"] == part) & (song.notes["section"] == section)]
    return set(notes["measure"])


def problems(song: ar.Song, layers: frozenset[str], section: str) -> int:
    """Return the notes that one player of all these layers cannot play on a plain guitar."""
    chosen = song.notes["part"].isin(layers) & (song.notes["section"] == section)
    notes = song.notes[chosen].drop_duplicates(["onset", "pitch"]).assign(part="Both")
    notes[["string", "fret"]] = pd.NA
    notes = notes.astype(song.notes.dtypes.to_dict())
    parts = song.parts[song.parts["part"] == "Hook"].assign(part="Both")
    together = dataclasses.replace(song, notes=notes, parts=parts)
    return int(ar.finger_part(together, "Both")["problem"].notna().sum())


@pytest.mark.parametrize("name", ["low-water", "last-bell"])
def test_the_builder_writes_the_file(tmp_path, name):
    """From any folder, it writes the score of this folder byte for byte."""
    builder = f"build_{name.replace('-', '_')}.py"
    for script in (builder, "score_words.py"):
        shutil.copy(DATASETS / script, tmp_path)
    subprocess.run([sys.executable, tmp_path / builder], check=True, capture_output=True)
    made = (tmp_path / f"{name}.musicxml").read_bytes()
    assert made == (DATASETS / f"{name}.musicxml").read_bytes()


def test_it_is_valid_and_reads_without_notices(song):
    """The file is valid by the W3C's MusicXML 4.0 schema, and nothing had to be repaired."""
    assert schema_errors((DATASETS / "last-bell.musicxml").read_bytes()) == []
    assert song.notices == ()
    assert song.title == "Ten Past the Last Bell"


def test_form_and_layers(song):
    """There are 88 measures as played of 85 printed, in four minutes; each section has the layers
    stated.
    """
    assert len(song.measures) == 88
    assert song.measures["written"].nunique() == 85
    assert song.seconds(song.duration) == pytest.approx(240)
    found = {
        row.section: (
            row.first_measure,
            row.last_measure,
            set(song.notes["part"][song.notes["section"] == row.section]) & set(LAYERS),
        )
        for row in song.sections.itertuples()
    }
    assert found == FORM


def test_parts_are_as_described(song):
    """There are fourteen guitars with drive, capo and level, a voice, a bass, and drums without
    pitch.
    """
    parts = song.parts.set_index("part")
    guitars = parts[parts["family"] == "guitar"]
    assert {n: (r["drive"], r["capo"]) for n, r in guitars.iterrows()} == LAYERS
    assert parts.loc[["Voice", "Bass", "Drums"], "family"].tolist() == ["voice", "bass", "drums"]
    assert song.notes.loc[song.notes["part"] == "Drums", "pitch"].isna().all()
    assert parts["level"].idxmax() == "Voice"
    assert parts["level"].idxmin() == "Pad"
    assert parts["level"].between(-8, 0).all()
    assert set(guitars["tuning"]) == {(64, 59, 55, 50, 45, 40)}
    text = (DATASETS / "last-bell.musicxml").read_text(encoding="utf-8")
    assert text.count("<words>echo: dotted eighth</words>") == 1


@pytest.mark.parametrize("layer", [*LAYERS, "Bass"])
def test_each_layer_alone_is_playable(song, layer):
    """Each note lies on a string and fret that give it, with the layer's own tuning and capo."""
    fingered = ar.finger_part(song, layer)
    assert fingered["problem"].isna().all()
    tuning = song.parts.set_index("part").loc[layer, "tuning"]
    notes = song.notes[song.notes["part"] == layer]
    assert [tuning[s - 1] + f for s, f in zip(notes["string"], notes["fret"], strict=True)] == (
        notes["pitch"].tolist()
    )


def test_doubles_that_can_go(song):
    """The rhythm double has no note of its own, Power right none in Chorus 3; the hook's octave
    double is the hook note for note.
    """
    for section, (_, _, layers) in FORM.items():
        if "Rhythm double" in layers:
            double, rhythm = struck(song, "Rhythm double", section), struck(song, "Rhythm", section)
            assert double <= rhythm
            assert len(double) > 0.8 * len(rhythm)
        if "Hook octave" in layers:
            low = struck(song, "Hook octave", section)
            assert {(onset, pitch + 12) for onset, pitch in low} == struck(song, "Hook", section)
    assert struck(song, "Power right", "Chorus 3") == struck(song, "Power left", "Chorus 3")
    assert not struck(song, "Power right", "Chorus 2") <= struck(song, "Power left", "Chorus 2")


def test_the_hook_comes_back(song):
    """The same eight bars come in each chorus, their end in Intro and Tag, the last time on E5."""
    starts = song.sections.set_index("section")["onset"]
    lines = {
        section: {
            (onset - starts[section], pitch) for onset, pitch in struck(song, "Hook", section)
        }
        for section in ("Chorus 1", "Chorus 2", "Chorus 3", "Intro", "Tag 1", "Tag 2")
    }
    assert lines["Chorus 1"] == lines["Chorus 2"] == lines["Chorus 3"]
    ends = {(onset - 16, pitch) for onset, pitch in lines["Chorus 1"] if onset >= 16}
    assert {(onset - 16, pitch) for onset, pitch in lines["Intro"]} == ends
    assert lines["Tag 1"] == ends
    held_out = {(onset, pitch) for onset, pitch in ends if onset < 12} | {(12, 76)}
    assert lines["Tag 2"] == held_out


def test_layers_that_crowd(song, findings):
    """The echo part is within a third of the singer for half of the singing in Pre-chorus 1, and
    hardly ever in Verse 1. In the instrumental, Lead lies within the range of High picking for most
    of its time.
    """
    for section, crowds in (("Pre-chorus 1", True), ("Verse 1", False)):
        pairs = zip(held(song, "Voice", section), held(song, "Echo", section), strict=True)
        sung = [(min(voice), echo) for voice, echo in pairs if voice]
        near = [any(abs(note - pitch) <= 4 for pitch in echo) for note, echo in sung]
        share = sum(near) / len(near)
        assert share > 0.5 if crowds else share < 0.1
    lead = [min(tones) for tones in held(song, "Lead", "Instrumental") if tones]
    picked = set().union(*held(song, "High picking", "Instrumental"))
    inside = [min(picked) <= pitch <= max(picked) for pitch in lead]
    assert sum(inside) > 0.5 * len(inside)
    reported = set(zip(findings["section"], findings["kind"], findings["parts"], strict=True))
    assert {
        ("Pre-chorus 1", "voice", "Voice + Echo"),
        ("Instrumental", "crowding", "High picking + Lead"),
        ("Chorus 1", "crowding", "Rhythm + Power left"),
        ("Chorus 3", "crowding", "Hook + High picking"),
        ("Chorus 3", "voice", "Voice + High picking"),
    } <= reported


def test_thirds_low_down_under_drive(song, findings):
    """Power right holds thirds below A3 only in Chorus 2; elsewhere fifths, fourths and octaves."""
    parts = song.notes[song.notes["part"].str.startswith("Power")]
    for (part, section, _), chord in parts.groupby(["part", "section", "onset"])["pitch"]:
        steps = {high - low for low, high in itertools.combinations(sorted(chord), 2)}
        if (part, section) == ("Power right", "Chorus 2"):
            assert steps in ({3}, {4})
            assert chord.min() < 57
        else:
            assert steps <= {5, 7, 12}
    drive = findings[findings["kind"] == "drive"]
    assert drive[["section", "parts"]].to_numpy().tolist() == [["Chorus 2", "Power right"]]
    assert set(findings["section"][findings["kind"] == "mud"]) == {"Chorus 2"}


def test_echo_and_fills(song, findings):
    """In the turnaround they clash: both play in every bar in one register, and repeats of the echo
    fall between the fill's eighths. In Verse 1 they alternate, so that one player can take both.
    """
    assert bars(song, "Echo", "Turnaround") == bars(song, "Fills", "Turnaround") == {29, 30, 31, 32}
    echo = struck(song, "Echo", "Turnaround")
    fills = struck(song, "Fills", "Turnaround")
    assert {pitch for _, pitch in echo} & {pitch for _, pitch in fills} == {71, 73, 74, 76, 77, 78}
    attacks = {onset for onset, _ in fills}
    repeats = {onset + 0.75 for onset, _ in echo}  # a dotted eighth later
    between = {at for at in repeats if {at - SIXTEENTH, at + SIXTEENTH} <= attacks}
    assert len(between) >= 8
    crowded = findings[findings["parts"] == "Echo + Fills"]
    assert crowded[["section", "kind"]].to_numpy().tolist() == [["Turnaround", "crowding"]]

    assert bars(song, "Echo", "Verse 1") & bars(song, "Fills", "Verse 1") == set()
    at_once = zip(held(song, "Echo", "Verse 1"), held(song, "Fills", "Verse 1"), strict=True)
    assert not any(echo and fill for echo, fill in at_once)
    assert problems(song, frozenset({"Echo", "Fills"}), "Verse 1") == 0


def test_the_fills_stay_between_the_lines(song):
    """In Verse 1 the singer is silent wherever a fill sounds."""
    at_once = zip(held(song, "Voice", "Verse 1"), held(song, "Fills", "Verse 1"), strict=True)
    assert not any(voice and fill for voice, fill in at_once)


@pytest.mark.parametrize(
    ("section", "from_below"),
    [
        ("Intro", ["Rhythm", "Hook"]),
        ("Verse 2", ["Strum", "High picking"]),
        ("Bridge", ["Pulse", "Pad", "Slide"]),
    ],
)
def test_passages_that_stay_as_they_are(song, findings, section, from_below):
    """Each layer lies wholly above the next one, and no finding is there."""
    ranges = [[pitch for _, pitch in struck(song, layer, section)] for layer in from_below]
    for below, above in itertools.pairwise(ranges):
        assert max(below) < min(above)
    assert section not in set(findings["section"])


def test_more_than_two_people_can_play(song):
    """In Chorus 3 nine layers hold more notes than two guitars have strings. Without the doubles in
    unison there are seven, and two players cannot take them all, however the layers are shared.
    """
    rows = [held(song, layer, "Chorus 3") for layer in FORM["Chorus 3"][2]]
    assert max(sum(map(len, at)) for at in zip(*rows, strict=True)) > 12
    assert max(sum(map(bool, at)) for at in zip(*rows, strict=True)) == 9
    first, *others = sorted(FORM["Chorus 3"][2] - {"Rhythm double", "Power right"})
    assert len(others) == 6
    known: dict[frozenset[str], bool] = {}

    def is_playable(layers: frozenset[str]) -> bool:
        """Return whether layers are playable; more notes never make them playable again."""
        if any(not fits and less <= layers for less, fits in known.items()):
            return False
        if layers not in known:
            known[layers] = problems(song, layers, "Chorus 3") == 0
        return known[layers]

    for pair in itertools.combinations([first, *others], 2):
        is_playable(frozenset(pair))
    for size in range(len(others) + 1):
        for chosen in itertools.combinations(others, size):
            one = frozenset({first, *chosen})
            other = frozenset(others) - one
            assert not (is_playable(one) and is_playable(other))


def test_layers_for_two_hands_each(song):
    """Strum and High picking are each easy but too far apart for one player; so are Rhythm and
    Hook.
    """
    assert problems(song, frozenset({"Strum", "High picking"}), "Verse 2") > 20
    assert problems(song, frozenset({"Rhythm", "Hook"}), "Chorus 1") > 10
    assert problems(song, frozenset({"Strum"}), "Verse 2") == 0
    assert problems(song, frozenset({"High picking"}), "Verse 2") == 0


def test_only_what_is_planted_is_found(findings):
    """There are 45 findings: the doubles and their lines, and the rest as the README's table lists
    them.
    """
    assert len(findings) == 45, findings["kind"].value_counts().to_dict()
    kinds = {"crowding", "crossing", "doubling", "drive", "mud", "voice"}
    assert set(findings["kind"]) == kinds
    wall = {"Rhythm", "Rhythm double", "Power left", "Power right"}
    rest = findings[~findings["parts"].map(lambda parts: set(parts.split(" + ")) <= wall)]
    assert set(zip(rest["section"], rest["kind"], rest["parts"], strict=True)) == {
        ("Pre-chorus 1", "voice", "Voice + Echo"),
        ("Pre-chorus 2", "voice", "Voice + High picking"),
        ("Turnaround", "crowding", "Echo + Fills"),
        ("Chorus 2", "doubling", "Hook + Hook octave"),
        ("Chorus 2", "mud", "Power right + Bass"),
        ("Instrumental", "crowding", "High picking + Lead"),
        ("Chorus 3", "crowding", "Hook + High picking"),
        ("Chorus 3", "voice", "Voice + High picking"),
        ("Chorus 3", "doubling", "Hook + Hook octave"),
        ("Chorus 3", "doubling", "Pulse + Bass"),
    }


def test_the_readme_describes_the_form():
    """Sections, measures and layers of its tables are those listed above."""
    rows = [line.strip("| ").split(" | ") for line in README.splitlines() if line.startswith("| ")]
    by_name = {row[0]: row for row in rows}
    for section, (first, last, layers) in FORM.items():
        assert by_name[section][1] == f"{first}–{last}"
        assert set(by_name[section][3].split(", ")) == layers
    for layer in LAYERS:
        assert layer in by_name
