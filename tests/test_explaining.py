"""A part in a teacher's words: the kinds by hand, and what a reader can play from the words."""

import re
from pathlib import Path

import pytest
from explaining_twin import movable, moved

import arrange as ar
from arrange.explaining.attacks import Attack, Placed
from arrange.explaining.held_shapes import Held, part_shapes
from arrange.explaining.playing_kinds import playing_kind
from arrange.formats.chart import read_chart

ROOT = Path(__file__).parent.parent


def attacks(*groups, gap=1.0, techniques=()):
    """Return attacks, one a gap: notes as (string, fret) on a standard guitar."""
    tuning = (64, 59, 55, 50, 45, 40)
    return [
        Attack(
            n * gap, 1,
            tuple(Placed(s, f, int(f > 0), tuning[s - 1] + f, (n + 1) * gap, techniques)
                  for s, f in group),
            1, 1.0, False,
        )
        for n, group in enumerate(groups)
    ]  # fmt: skip


G = [(6, 3), (5, 2), (4, 0), (3, 0), (2, 0), (1, 3)]
KINDS = {
    "rest": attacks(),
    "muted pulse": attacks(*[[(6, 0)]] * 8, techniques=("palm mute",)),
    "octaves": attacks([(5, 3), (3, 5)], [(5, 5), (3, 7)]),
    "power chords": attacks([(5, 3), (4, 5), (3, 5)], [(6, 3), (5, 5)]),
    "drone over a moving line": attacks(*[[(4, 0), (3, fret)] for fret in (2, 4, 5, 4)]),
    "double stops": attacks(*[[(3, fret + 1), (2, fret)] for fret in (1, 3, 5)]),
    "triads": attacks([(3, 5), (2, 5), (1, 3)], [(3, 7), (2, 8), (1, 7)]),
    "held chords": attacks(G, G, gap=4.0),
    "strummed chords": attacks(*[G] * 4),
    "picked chords": attacks([(5, 3)], [(4, 2)], [(3, 0)], [(2, 1)]),
    "held notes": attacks([(2, 5)], [(2, 8)], gap=4.0),
    "line": attacks([(2, 5)], [(2, 7)], [(2, 8)], [(1, 5)]),
    "single notes and chords in turn": attacks([(6, 3)], G, [(5, 2)], G),
}


@pytest.mark.parametrize("kind", KINDS)
def test_kind(kind):
    """Each kind as a beginner's book shows it (common practice)."""
    assert playing_kind(KINDS[kind], 1.0) == kind


def rebuilt(words, capo, frets_from):
    """Return {(bar, count): {string: fret}} of the steps' words alone."""
    shapes, found = {}, {}
    for step in words.steps:
        named = re.match(r"(.+) is (\S+?)(?:, fingers \S+)?\.$", step)
        if named:
            shapes[named[1]] = named[2]
        moving = movable(step)
        if moving:
            shapes[moving.string] = moving.above
        bars = re.match(r"Bars? ([\d, –]+): (.+)\.$", step)
        if not bars:
            continue
        for run in bars[1].split(", "):
            first, last = (run.split("–") * 2)[:2]
            for bar in range(int(first), int(last) + 1):
                for event in bars[2].split("; "):
                    body, counts = event.rsplit(" on ", 1)
                    body = re.sub(r" \([a-z][a-z ,-]+\)$", "", body)  # its techniques
                    frets = moved(body, shapes, lambda number: from_nut(number, capo, frets_from))
                    frets = frets or places(shapes.get(body, body), capo, frets_from)
                    found |= {(bar, count): frets for count in counts.split(" ")}
    return found


def from_nut(number, capo, frets_from):
    """The fret of a number in words, 0 for open."""
    return number + {"nut": 0, "capo": capo}[frets_from] if number else capo


def places(body, capo, frets_from):
    """String and fret, from the nut, of what is struck at once."""
    single = re.findall(r"string (\d+) (open|fret \d+)", body)
    if single:
        return {int(s): from_nut(int(f[5:] or 0), capo, frets_from) for s, f in single}
    frets = body.split("-") if "-" in body else list(body)
    high_first = enumerate(reversed(frets), 1)
    return {s: from_nut(int(fret), capo, frets_from) for s, fret in high_first if fret != "x"}


PASSAGES = [
    ("tarrow-weir.txt", "Guitar 2", "Tune (2)"), ("tarrow-weir.txt", "Guitar 2", "Middle"),
    ("tarrow-weir.txt", "Guitar 1", "Turn"), ("low-water.musicxml", "Guitar 1", "Intro"),
    ("low-water.musicxml", "Guitar 2", "Verse 1"), ("low-water.musicxml", "Bass", "Chorus 1"),
    ("last-bell.musicxml", "Rhythm", "Verse 1"), ("last-bell.musicxml", "Lead", "Instrumental"),
    ("kiln-yard.txt", "Octaves", "Chorus 1"), ("kiln-yard.txt", "Chug", "Verse 1"),
]  # fmt: skip


@pytest.mark.sampled
@pytest.mark.parametrize("frets", ["nut", "capo"])
@pytest.mark.parametrize(("file", "part", "section"), PASSAGES)
def test_a_reader_rebuilds_the_frets(file, part, section, frets):
    """Strings and frets of each attack of a bar, in order, from the words alone."""
    song = ar.read(ROOT / "datasets" / file)
    fingered = ar.finger_part(song, part)
    inside = fingered[(fingered["section"] == section) & ~fingered["grace"]]
    assert len(inside), "the passage is played"
    wanted = {}
    for (bar, _), notes in inside.groupby(["measure", "onset"]):
        wanted.setdefault(bar, []).append(
            dict(zip(notes["string"].tolist(), notes["fret"].tolist(), strict=True))
        )
    capo = int(song.parts.set_index("part").loc[part, "capo"])
    [words] = ar.explain_part(song, part, section, frets=frets).sections
    found = {}
    for (bar, _), own in rebuilt(words, capo, frets).items():
        found.setdefault(bar, []).append(own)
    shown = {bar: sorted(map(sorted, map(dict.items, own))) for bar, own in found.items()}
    assert shown == {bar: sorted(map(sorted, map(dict.items, own))) for bar, own in wanted.items()}


SHAPES = """title: Two shapes of one chord
part: Guitar; electric guitar

section: Verse
chords | G | C |
Guitar | 320003 | x32010 |

section: Chorus
chords | G | C |
Guitar | 355433 | x32010 |

section: Picked
chords | G | G |
Guitar | 1: 3xxxxx 2: xx0xxx 3: xxx0xx 4: 1: | 355433 |
""".replace(" 4: 1:", "")


def test_a_shape_has_one_label_all_through_a_part(tmp_path):
    """The second shape of G is so in each section; where fewer strings are struck is a third."""
    path = tmp_path / "song.txt"
    path.write_text(SHAPES)
    sections = ar.explain_part(ar.read(path), "Guitar").sections
    assert [re.findall(r"(\S+(?: \(\d\))?) is (\S+?)(?:,|\.$)", " ".join(s.steps))
            for s in sections[:2]] == [
        [("G", "320003"), ("C", "x32010")], [("G (2)", "355433"), ("C", "x32010")],
    ]  # fmt: skip
    assert "G (3) is 3x00xx" in " ".join(sections[2].steps)
    assert "G (2) is 355433" in " ".join(sections[2].steps)


@pytest.mark.parametrize(
    ("frets", "fingers", "is_held"),
    [
        ("3x003x", (3, None, 0, 0, 4, None), True),
        ("3x003x", (3, None, 0, 0, 3, None), False),  # the barre would stop the open strings
        ("133211", (1, 3, 4, 2, 1, 1), True),
        ("133211", (1, 3, 3, 1, 1, 1), False),  # one finger at two frets
    ],
)
def test_a_finger_lies_on_no_string_that_sounds_lower(frets, fingers, is_held):
    """Common practice: a barre stops all strings that it lies on."""
    strings = {6 - at: int(fret) for at, fret in enumerate(frets) if fret != "x"}
    own = {6 - at: {finger} for at, finger in enumerate(fingers) if finger is not None}
    found = dict(Held("G", 0.0, strings=strings, fingers=own).fingering())
    assert found == ({string: min(each) for string, each in own.items()} if is_held else {})


def test_sheets_and_words_get_the_same_shapes():
    """Whole shapes are those of the words with all strings; a single string is none."""
    song = ar.read(ROOT / "datasets/low-water.musicxml")
    necks = dict.fromkeys(song.sections["section"], ar.Neck())
    shapes = part_shapes(song, ar.finger_part(song, "Guitar 1"), necks)
    known = {}
    for own in shapes.values():
        assert all(len(each.strings) == 1 for each, label in zip(own.held, own.labels, strict=True)
                   if not label)  # fmt: skip
        for (label, frets), (same, whole) in zip(own.shapes, own.whole, strict=True):
            assert label == same
            assert known.setdefault(label, whole) == whole
            assert all(fret in (-1, full) for fret, full in zip(frets, whole, strict=True))
    assert len(known) > len(shapes["Chorus 1"].shapes)


def test_the_first_words_have_the_capo_of_what_is_explained():
    """Of the song the first section's, of one section its own; a player's neck has one for all."""
    song = read_chart(b"""part: Guitar
section: A
sound: Guitar; capo 3
Guitar | 355433 |
section: B
Guitar | x32010 |
""")

    def capo(*arguments):
        return re.search(r"tuning. ([^.;]+)", ar.explain_part(song, "Guitar", *arguments).start)[1]

    assert [capo(), capo("A"), capo("B")] == ["Capo 3 at first", "Capo 3", "No capo"]
    assert capo(None, ar.Player("Guitar", ar.Neck(capo=1))) == "Capo 1"


@pytest.mark.parametrize(("file", "part", "section", "says"), [
    ("low-water.musicxml", "Guitar 1", "Pre-chorus 1", "Guitar 2: chords below you."),
    ("low-water.musicxml", "Guitar 2", "Verse 1",
     "Guitar 1: single notes and chords above you, struck with you."),
    ("tarrow-weir.txt", "Guitar 1", "Tune", "Guitar 2 lays out."),
])  # fmt: skip
def test_what_the_other_guitar_does(file, part, section, says):
    """By hand, from the notes; said once."""
    words = ar.explain_part(ar.read(ROOT / "datasets" / file), part, section).text()
    assert words.count(says) == 1


@pytest.mark.parametrize(("part", "section", "says"), [
    ("Whistle", None, "has no strings to finger"), ("Guitar 1", "Coda", "Coda"),
])  # fmt: skip
def test_what_cannot_be_explained_is_reported(part, section, says):
    """One sentence."""
    song = ar.read(ROOT / "datasets/tarrow-weir.txt")
    with pytest.raises(ar.ArrangeError, match=says):
        ar.explain_part(song, part, section)
