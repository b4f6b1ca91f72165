"""Roles of layers are compared with what a musician would say; the reason stands beside each.

The expected roles are common practice: arrangers ask for the purpose of a layer, and these are the
usual answers. In some kinds of scores of music21's corpus the tune is known to be on top: the
soprano of a chorale, the first violin of a quartet before 1830, the melody of a folk song.
"""

from pathlib import Path

import music21
import pandas as pd
import pytest
from songs import parts_of, song

from arrange import read
from arrange.condensing import layer_roles

DATASETS = Path(__file__).parent.parent / "datasets"
CORPUS = Path(music21.__file__).parent / "corpus"

LAST_BELL = {
    "Rhythm": "rhythm",  # strummed open shapes all through
    "Rhythm double": "double",  # the same once more, a stroke less here and there
    "Hook": "hook",  # the same line in every chorus
    "Hook octave": "double",  # an octave lower, note for note
    "Pad": "pad",  # two held notes
    "Echo": "fill",  # few notes of the chord, with gaps for the repeats
    "Fills": "fill",  # answers the singer
    "Power left": "rhythm",  # chords of roots and fifths
    "Power right": "rhythm",  # the same, but for thirds of its own in Chorus 2
    "High picking": "rhythm",  # through the notes of the chords
    "Pulse": "rhythm",  # muted eighths on the root
    "Slide": "fill",  # answers the singer in every other bar
    "Lead": "lead",  # the tune of the instrumental
    "Strum": "rhythm",  # strummed open shapes
}
BARN_LIGHTS = {
    "Acoustic": "rhythm",  # strummed open shapes all through
    "Acoustic double": "double",  # the same once more
    "High acoustic": "rhythm",  # picks through the notes of the chords
    "Hook": "hook",  # the same line in every chorus, its beginning in Intro and Outro
    "Hook octave": "double",  # an octave lower, note for note
    "Chime": "fill",  # the highest for most of its time, but leaps, gaps and an echo: no tune
    "Swell": "pad",  # two held notes a bar
    "Answers": "fill",  # begins where the singer rests, silent in most bars
    "Pulse": "rhythm",  # muted eighths on the root
    "Drive left": "rhythm",  # power chords
    "Drive right": "double",  # the same on the other side
    "Lead": "lead",  # the tune of the instrumental
}
KILN_YARD = {
    "Riff left": "hook",  # low, and yet what the song is known by: it comes back four times
    "Riff right": "double",  # of the riff in the riffs, of the wall in the choruses
    "Riff octave": "double",  # the riff an octave higher
    "Chug": "rhythm",  # muted power chords
    "Clean picking": "rhythm",  # through the notes of the chords
    "Ticks": "fill",  # the highest, but leaps, gaps and an echo: no tune
    "Stabs": "rhythm",  # short chords on two of the beats
    "Octaves": "hook",  # a line, two notes an octave apart; the same in every chorus
    "Wash": "pad",  # two held notes a bar
    "Slide in": "fill",  # answers in every other bar
    "Lead": "lead",  # the tune of the instrumental
    "Thirds": "hook",  # second voice of Octaves in the choruses, and of Lead
    "Wall": "rhythm",  # held power chords
}
PAIR = {"Guitar 1": "rhythm", "Guitar 2": "rhythm"}  # chords and picking, whatever else besides


@pytest.mark.parametrize(
    ("name", "expected"),
    [("last-bell.musicxml", LAST_BELL), ("barn-lights.txt", BARN_LIGHTS),
     ("kiln-yard.txt", KILN_YARD), ("low-water.txt", PAIR), ("tarrow-weir.txt", PAIR),
     ("harbour-set/1-rope-and-lantern.txt", PAIR), ("harbour-set/2-salt-on-the-step.txt", PAIR),
     ("harbour-set/3-gulls-over-the-roofs.txt", PAIR), ("harbour-set/4-slack-tide.txt", PAIR)],
)  # fmt: skip
def test_what_a_musician_would_say(name, expected):
    """Every guitar of the songs that come with the kit has the expected role."""
    roles = layer_roles(read(DATASETS / name)).set_index("layer")["role"]
    assert roles.to_dict() == expected


def test_each_reason_is_the_evidence():
    """The reason says in words which layer a layer follows, and how the others differ."""
    barn = layer_roles(read(DATASETS / "barn-lights.txt")).set_index("layer")
    kiln = layer_roles(read(DATASETS / "kiln-yard.txt")).set_index("layer")
    for table, layer, reason in (
        (barn, "Chime", "an echo figure through the notes of the chords, with gaps"),
        (barn, "High acoustic", "picking through the notes of the chords"),
        (kiln, "Riff left", "single notes that come back"),
        (kiln, "Riff right", "attack by attack what Wall and Riff left plays"),
        (kiln, "Thirds", "the second voice of Octaves and Lead"),
    ):
        assert reason in table.loc[layer, "why"]
    assert kiln["doubles"].dropna().to_dict() == {"Riff right": "Wall", "Riff octave": "Riff left"}
    assert kiln["second_voice_of"].dropna().to_dict() == {"Thirds": "Octaves"}
    assert kiln.loc["Octaves", "chords"] == 0  # notes an octave apart are one


def top_parts():
    """Return files whose kind says which part has the tune: the file, and the label of that
    part.
    """
    # Every tenth chorale, of those for the four voices alone, and every other quartet movement.
    found = []
    for path in sorted((CORPUS / "bach").glob("*.mxl"))[::10]:
        made = read(path)
        if made.parts["part"].tolist() == ["Soprano", "Alto", "Tenor", "Bass"]:
            found.append((made, "Soprano"))
    for composer in ("haydn", "mozart", "beethoven"):
        for path in sorted((CORPUS / composer).rglob("*.mxl"))[::2]:
            made = read(path)
            if len(made.parts) == 4:
                found.append((made, made.parts["part"].iloc[0]))
    return found


@pytest.mark.long
def test_the_tune_on_top_leads():
    """The soprano of chorales and the first violin of quartets lead in at least 95 of a hundred."""
    found = top_parts()
    roles = []
    for made, top in found:
        table = layer_roles(made, made.parts["part"].tolist()).set_index("layer")["role"]
        roles.append(table[top])
    assert len(roles) >= 50
    assert roles.count("lead") >= 0.95 * len(roles)


@pytest.mark.long
def test_melodies_of_folk_songs_lead(tmp_path):
    """The melody leads in Irish tunes of the Essen collection and in reels in even eighths."""
    roles = []
    for name, step in (("essenFolksong/irl.abc", 2), ("nottingham-dataset/reelsa-c.abc", 5)):
        opus = music21.converter.parse(CORPUS / name)
        for score in list(opus.scores)[::step]:
            score.write("musicxml", tmp_path / "tune.musicxml")
            made = read(tmp_path / "tune.musicxml")
            roles += layer_roles(made, made.parts["part"].tolist())["role"].tolist()
    assert len(roles) >= 15
    assert roles.count("lead") >= 0.95 * len(roles)


CHORDS = ["C4 E4 G4", "D4 F4 A4", "G3 B3 D4", "E4 G4 B4"]
ROOTS = [
    (0, 0, "major", None),
    (4, 2, "minor", None),
    (8, 7, "major", None),
    (12, 4, "minor", None),
]


def under_chords(*lines, bars=8, **columns):
    """Return layers over a strummed chord a bar; a line is a name and its (onset, pitch,
    length).
    """
    names = [name for name, _ in lines]
    rows = [("Chords", CHORDS[bar % 4], 4 * bar + beat, 1) for bar in range(bars)
            for beat in range(4)]  # fmt: skip
    rows += [(name, pitch, onset, lasts) for name, notes in lines for onset, pitch, lasts in notes]
    parts = parts_of("Chords", *names, family="guitar").assign(
        **{key: [None, *values] for key, values in columns.items()}
    )
    chords = [(16 * turn + at, *rest) for turn in range(bars // 4) for at, *rest in ROOTS]
    made = song(*rows, parts=parts, bars=bars, chords=chords)
    return layer_roles(made).set_index("layer")


def test_members_of_a_chord_are_no_double():
    """A line on top whose notes are all in the strummed chord, and begin with it, is a line."""
    tune = [
        "G5",
        "E5",
        "G5",
        "C6",
        "A5",
        "F5",
        "A5",
        "D6",
        "B5",
        "G5",
        "D6",
        "B5",
        "G5",
        "B5",
        "E5",
    ]
    table = under_chords(("Tune", [(beat, name, 1) for beat, name in enumerate(tune)]), bars=4)
    assert pd.isna(table.loc["Tune", "doubles"])
    assert table.loc["Tune", "role"] != "double"


def test_a_double_in_unison_or_octaves():
    """The same line an octave lower, or the same chords, are doubles; half of the attacks are not
    enough.
    """
    line = [(beat, 72 + (beat * 5) % 7, 1) for beat in range(32)]
    low = [(beat, pitch - 12, 1) for beat, pitch, _ in line]
    table = under_chords(("Line", line), ("Low", low), ("Half", low[::2]))
    assert table["doubles"].dropna().to_dict() == {"Low": "Line"}


@pytest.mark.parametrize("apart", [3, 4, 8, 9, 16, -3, -9])
def test_a_second_voice(apart):
    """At thirds, sixths and tenths it has the line's role and does not count as higher."""
    tune = [76, 77, 79, 81, 83, 84, 83, 81, 79, 77, 76, 74, 76, 79, 77, 76] * 2
    line = [(beat, pitch, 1) for beat, pitch in enumerate(tune)]
    line = [(at, pitch + (at > 15) * (at % 3), lasts) for at, pitch, lasts in line]
    second = [(at, pitch + apart, lasts) for at, pitch, lasts in line[:24]]
    table = under_chords(("Line", line), ("Second", second))
    assert table.loc["Second", "second_voice_of"] == "Line"
    assert table["role"].to_dict() == {"Chords": "rhythm", "Line": "lead", "Second": "lead"}
    assert table.loc["Line", "on_top"] == 1
    assert table.loc["Second", "on_top"] == 0
    contrary = [(at, 150 - pitch, lasts) for at, pitch, lasts in line[:24]]
    assert under_chords(("Line", line), ("Against", contrary))["second_voice_of"].isna().all()


def test_an_echo_figure_is_a_fill():
    """Leaps over chord notes with gaps are a fill if there is an echo; without gaps they are
    picking.
    """
    tones = [[72, 76, 79], [74, 77, 81], [74, 79, 83], [76, 79, 83]]
    gaps = [(4 * bar + at, tones[bar % 4][k], 0.5) for bar in range(8)
            for at, k in ((0, 2), (0.5, 0), (1.5, 1), (2.5, 0), (3, 2))]  # fmt: skip
    full = [(4 * bar + k / 2, tones[bar % 4][(0, 2, 1, 2)[k % 4]], 0.5) for bar in range(8)
            for k in range(8)]  # fmt: skip
    roles = under_chords(("Figure", gaps), echo=["dotted eighth"])
    assert roles.loc["Figure", "role"] == "fill"
    assert "echo" in roles.loc["Figure", "why"]
    for echo in (None, "dotted eighth"):
        assert under_chords(("Figure", full), echo=[echo]).loc["Figure", "role"] == "rhythm"


def test_a_low_riff_is_the_hook():
    """Octave leaps do not count as leaps, and notes outside the chord are no picking: the riff
    returns.
    """
    riff = [40, 52, 40, 43, 45, 40, 42, 47]
    low = [(4 * bar + k / 2, pitch, 0.5) for bar in range(8) for k, pitch in enumerate(riff)]
    assert under_chords(("Riff", low)).loc["Riff", "role"] == "hook"
