"""The band sheet, read back and compared with the tables: chords bar by bar, letters and numbers.

Bars are worked by hand, or by a slow second reading of the chords table. A slash where a chord goes
on, bars of four in a line, and numbers that count the major scale are common practice.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from math import ceil
from pathlib import Path

import matplotlib.image
import pypdf
import pytest
from hostile import HOSTILE, hostile_song
from songs import song as song_of
from songs import with_setup

from arrange.explaining.dynamics import dynamics_words
from arrange.formats.chart import read_chart
from arrange.formats.reading import read
from arrange.handouts import page_picture
from arrange.handouts.band import band_sheet
from arrange.handouts.band_pages import band_html, print_band
from arrange.handouts.progressions import song_progressions
from arrange.handouts.sheet_sound import song_sound
from arrange.tables.song import Remark
from arrange.text.words import joined_labels
from arrange.theory.meters import beat_quarters

DATASETS = Path(__file__).parent.parent / "datasets"
DEMOS = [
    "low-water.musicxml", "last-bell.musicxml", "tarrow-weir.txt",
    "barn-lights.txt", "kiln-yard.txt",
    *sorted(f"harbour-set/{path.name}" for path in (DATASETS / "harbour-set").glob("*.txt"))[:2],
]  # fmt: skip
# A pause in the harmony, chords within a bar, one between the beats, a push, one held over a
# section; a key that ends.
ODD = """\
key: B major
part: Guitar 1
section: A
chords   | 1: N.C. 2: B 4: C#m | F#7sus4 | 1: N.C. 4&: G#m | ~ |
Guitar 1 | B3 | B3 | B3 | B3 |
section: B
chords   | 1: ~ 2&: E 4: N.C. | G#m |
Guitar 1 | B3 | B3 |
key: none
section: C
chords   | A | ~ |
Guitar 1 | B3 | B3 |
"""


def words(bars) -> list[str]:
    """Return each bar as it is printed."""
    return [
        " ".join(
            (f"{each.count} " if each.count else "")
            + (f"({each.symbol})" if each.is_held else each.symbol)
            + ("→" if each.is_pushed else "")
            for each in bar
        )
        for bar in bars
    ]


def signs(song, section, column="symbol") -> list[str]:
    """Return what is to be printed for a section whose chords are on beats, row by row: slowly."""
    row = song.sections.set_index("section").loc[section]
    found = []
    for bar in song.measures.iloc[row["first_measure"] - 1 : row["last_measure"]].itertuples():
        beat, own = beat_quarters(bar.meter), []
        for place in range(ceil(bar.duration / beat)):
            at = bar.onset + place * beat
            own.append("–")
            for chord in song.chords.itertuples():
                if chord.onset == at:
                    own[-1] = getattr(chord, column)
                elif chord.onset < at < chord.onset + chord.duration:
                    own[-1] = f"({chord.symbol})" if at == row["onset"] else "/"
        if set(own[1:]) <= {"/"} and own[0] != "/":
            own = own[:1]
        found += own[:1] if set(own) == {"–"} else own
    return [sign if isinstance(sign, str) else "N.C." for sign in found]


def pages_of(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def stretches(text: str, progressions, end: str) -> list[list[str]]:
    """Return the words under each heading of a progression; the headings come in this order."""
    text = " ".join(text.split())
    found, at = [], 0
    for each in progressions:
        bars = f"{len(each.bars)} bar{'s' * (len(each.bars) > 1)}"
        heading = f"{joined_labels(each.sections)} {bars}"
        at = text.find(heading, at)
        assert at >= 0, heading
        at += len(heading)
        found.append(at)
    stops = [*found[1:], text.index(end, at)]
    parts = [text[a:b] for a, b in zip(found, stops, strict=True)]
    cut = [re.sub(r"^(, \d+ times)?(; (from its bar \d+: )?(no key|key \S+ \S+))*", "", part)
           for part in parts]  # fmt: skip
    heads = [re.escape(joined_labels(each.sections)) + r" \d+ bars?$" for each in progressions[1:]]
    return [re.sub(head, "", part).split() for part, head in zip(cut, [*heads, "$^"], strict=True)]


@pytest.fixture(
    scope="module",
    params=[
        pytest.param((name, paper), marks=pytest.mark.sampled)
        for name, paper in [(DEMOS[0], "letter"), *((name, "A4") for name in DEMOS)]
    ],
    ids=" ".join,
)
def demo(request):
    """Return a song, its printed band sheet and the text of each page."""
    name, paper = request.param
    song = read(DATASETS / name)
    data = print_band(band_sheet(song, None, {}), paper).pdf()
    return song, data, pages_of(data)


def test_every_bar_s_chords_are_printed(demo):
    """Under the name of every section stands what the chords table has, in order, beat by beat."""
    song, _, pages = demo
    progressions = song_progressions(song)
    assert sorted(name for each in progressions for name in each.sections) == sorted(
        song.sections["section"]
    )
    page = pages[0]
    for each, own in zip(
        progressions, stretches(page, progressions, "A chord alone in a bar"), strict=True
    ):
        for section in each.sections:
            assert own * each.times == signs(song, section), section


def test_every_chord_has_its_number(demo):
    """Numbers are those of the table, and letters below them those that they mean."""
    song, _, pages = demo
    progressions = song_progressions(song)
    page = pages[1]
    for each, own in zip(
        progressions, stretches(page, progressions, "The chords in numbers"), strict=True
    ):
        section, number = each.sections[0], re.compile(r"[b#]*[1-7]")
        wanted = signs(song, section, "degree")
        plain = ("/", "–", "N.C.")
        numbers = [word for word in own if number.match(word)] * each.times
        assert numbers == [word for word in wanted if word not in plain]
        letters = [w for w in own if not number.match(w) and w not in plain] * each.times
        assert letters == [word for word in signs(song, section) if word not in plain]


def test_one_page_and_one_of_numbers_within_the_margins(demo, tmp_path):
    _, printed, pages = demo
    assert len(pages) == 2
    check_edges(printed, tmp_path)


def check_edges(data: bytes, folder: Path, most: int = 99) -> None:
    """All ink lies within the margins: 12 mm at the sides, 11 mm at the top; the foot aside."""
    path = folder / "band.pdf"
    path.write_bytes(data)
    for page in range(1, min(len(pypdf.PdfReader(path).pages), most) + 1):
        picture = matplotlib.image.imread(io.BytesIO(page_picture(path, page, 50)), format="png")
        ink = picture[..., :3].min(axis=2) < 0.9
        edge = int((4 + 11) / 25.4 * 50)  # the picture has a margin of 4 mm
        bottom = int((4 + 5) / 25.4 * 50)
        assert ink.any()
        for side in (ink[:, :edge], ink[:, -edge:], ink[: edge - 2], ink[-bottom:]):
            assert not side.any()


def test_chords_between_beats_pushes_and_rests():
    """Worked by hand from the chart: beats 1 to 4, and 2& and 4& between them."""
    song = read_chart(ODD.encode())
    first, second, third = song_progressions(song)
    assert words(first.bars) == [
        "N.C. B / C#m", "F#7sus4", "N.C. / / / 4& G#m→", "/ / / /",
    ]  # fmt: skip
    assert words(second.bars) == ["(G#m) / 2& E / N.C.", "G#m"]
    assert words(third.bars) == ["A", "/ / / /"]
    assert [each.keys for each in (first, second, third)] == [
        ((1, "B major"),), ((1, "B major"),), ((1, ""),),
    ]  # fmt: skip
    numbers = [[entry.number for entry in bar] for bar in second.bars]
    assert numbers == [["6m", "", "4", "", ""], ["6m"]]
    page, other = (
        " ".join(text.split())
        for text in pages_of(print_band(band_sheet(song, None, {}), "A4").pdf())
    )
    assert "N.C. B / C#m F#7sus4 N.C. / / / 4& G#m→ / / / /" in page
    assert "(G#m) / 2& E / N.C. G#m" in page
    assert "→: pushed" in page
    assert "1 is B, no key from bar 7." in other
    assert "C 2 bars; no key A / / / /" in other


@pytest.mark.parametrize(
    ("meter", "chords", "printed"),
    [
        ("4/4", "E | B | G#m7 | E | B", ["E", "B", "G#m7", "E", "B"]),
        ("4/4", "E | B | E | B | E | B", ["E", "B"]),
        ("4/4", "E | E | E | E", ["E", "E"]),
        ("4/4", "E | B | E | B | E", ["E", "B", "E", "B", "E"]),
        ("4/4", ". | .", ["–", "–"]),
        ("6/8", "1: E 4: B | ~", ["E B", "/ /"]),
        ("6/8", "1: E 3: B | ~", ["E 3 B /", "/ /"]),
        ("7/8", "1: E 5: B", ["E / / / B / /"]),
        ("3/4", "1: . 3: B", ["– – B"]),
        ("2/2", "1: E 2: B", ["E B"]),
    ],
)
def test_bars_of_all_meters(meter, chords, printed):
    """One sign a beat as players count it; whole repeats are printed once, two bars at least."""
    chart = f"meter: {meter}\npart: Guitar 1\nsection: A\nchords | {chords} |\n"
    song = read_chart(chart.encode())
    (each,) = song_progressions(song)
    assert words(each.bars) == printed
    assert len(each.bars) * each.times == len(song.measures)


def test_the_same_letters_in_another_key_or_meter_stand_apart():
    chart = (
        "key: C major\npart: Guitar 1\nsection: Verse 1\nchords | C | G |\nsection: Verse 2\n"
        "chords | C | G |\nkey: G major\nsection: Verse 3\nchords | C | G |\nmeter: 2/4\n"
        "section: Tag\nchords | C | G |\n"
    )
    found = song_progressions(read_chart(chart.encode()))
    assert [each.sections for each in found] == [("Verse 1", "Verse 2"), ("Verse 3",), ("Tag",)]


def test_labels_in_short():
    assert joined_labels(["Verse 1", "Verse 2", "Verse 4", "Tag"]) == "Verse 1, 2, 4, Tag"
    assert joined_labels(["Tune", "Tune (2)", "Tune (3)"]) == "Tune, Tune (2), (3)"
    assert joined_labels(["Verse 1", "Chorus 1", "Verse 2"]) == "Verse 1, Chorus 1, Verse 2"


def test_a_song_without_a_key_has_no_numbers():
    song = song_of(("Guitar", "C3", 0, 4), chords=[(0, 0, "major", None)])
    assert song.measures["key"].isna().all()
    sheet = band_sheet(song, None, {})
    assert len(pages_of(print_band(sheet, "A4").pdf())) == 1
    assert "Numbers" not in band_html(sheet, {}, [], "A4")


def test_sounds_facts_and_remarks_stand_beside_their_section():
    """A remark for several sections is printed once, with their names."""
    song = song_of(
        *(("Guitar", "E3", 8 * n, 8) for n in range(4)), key="C major", bars=8,
        sections=[("Verse 1", 1), ("Verse 2", 3), ("Chorus", 5), ("Tag", 7)],
    )  # fmt: skip
    song = with_setup(song, "Guitar", "Chorus", drive="overdriven", layers="Hook + Pad")
    keys = song.measures["key"].where(song.measures["measure"] < 6, "D major")
    remarks = (Remark("wait", ("Verse 1", "Verse 2")), Remark("all", ()), Remark("slow", ("Tag",)))
    song = replace(song, measures=song.measures.assign(key=keys), remarks=remarks)
    sheet = band_sheet(song, None, {})
    assert {row.section: row.notices for row in sheet.rows} == {
        "Verse 1": ("Verse 1, 2: wait",),
        "Verse 2": (),
        "Chorus": ("from bar 6: key D major", "Guitar: overdriven"),
        "Tag": ("Guitar: clean", "slow"),
    }
    assert sheet.remarks == ("all",)
    assert sheet.numbers[0] == "1 is C, 1 is D from bar 6."


def test_dynamics_follow_the_energy():
    """Worked by hand: of four parts one, three, two, four and four play; then they come in one by
    one. Players, notes and attacks fall and rise together.
    """
    rows, names = [], ("A", "B", "C", "D")
    playing = {0: 1, 1: 3, 2: 2, 3: 4, 4: 4}
    for section, count in playing.items():
        rows += [(name, "C4", 16 * section + at, 1) for name in names[:count] for at in range(16)]
    rows += [(name, "C4", 80 + at, 1) for n, name in enumerate(names) for at in range(4 * n, 16)]
    song = song_of(*rows, bars=24, sections=[(f"S{n}", 1 + 4 * n) for n in range(6)])
    assert list(dynamics_words(song).values()) == [
        "", "louder", "softer", "full", "full", "softer and building",
    ]  # fmt: skip
    legend = band_sheet(song, None, {}).form_legend
    assert all(word in legend for word in ("louder", "softer", "full", "building"))
    assert set(dynamics_words(song_of(("A", "C4", 0, 16), bars=4)).values()) == {""}


LONG = ("The Tale of the Harbour Master's Daughters " * 8)[:299] + "!"
HARD = {
    "300 sections": song_of(
        *[("Guitar 1", "C3", 16 * n, 3) for n in range(300)], bars=1200, title=LONG,
        sections=[(f"Part of it {n}", 1 + 4 * n) for n in range(300)],
        key="C major", chords=[(4 * n, n * n * 5 % 12, "major", None) for n in range(1200)],
    ),
    "words without a space": song_of(
        ("G" * 300, "C3", 0, 4), ("H", "C3", 4, 4), key="F minor", title="W" * 300, bars=8,
        sections=[("S" * 300, 1), ("T " * 149 + "T", 2)], chords=[(0, 0, "major", None)],
    ),
    "markup": hostile_song(),
}  # fmt: skip


@pytest.mark.sampled
@pytest.mark.parametrize(
    ("name", "paper"),
    [*((name, "A4") for name in HARD), ("words without a space", "letter")],
)
def test_hard_songs_stay_within_the_page(name, paper, tmp_path):
    song = HARD[name]
    sheet = band_sheet(song, None, {})
    data = print_band(sheet, paper).pdf()
    pages = pages_of(data)
    text = "".join("".join(pages).split()).replace("\u200b", "")
    assert ("Morepagesthanone:" in text) == (len(pages) > 1 + bool(sheet.numbers))
    for word in [song.title, *song.sections["section"], *(HOSTILE if name == "markup" else [])]:
        assert "".join(word.split()) in text
    check_edges(data, tmp_path, 3)


@pytest.mark.parametrize("name", ["tarrow-weir.txt", "low-water.txt"])
def test_the_web_page_shows_the_same(name):
    """Bar by bar: letters, then numbers with letters; it fits a phone by its viewport."""
    song = read(DATASETS / name)
    sheet = band_sheet(song, None, {})
    page = band_html(sheet, song_sound(song), [], "A4")
    assert 'name="viewport" content="width=device-width' in page
    heads = [" ".join(re.sub(r"<[^>]*>", " ", each).split())
             for each in re.findall(r"<h3>(.*?)</h3>", page, flags=re.S)]  # fmt: skip
    keys = {"Middle": "; key G major"} if name.startswith("tarrow") else {}
    wanted = []
    for each in sheet.progressions:
        bars = f"{len(each.bars)} bar{'s' * (len(each.bars) > 1)}"
        own = keys.get(each.sections[0], "")
        wanted.append(f"{joined_labels(each.sections)} {bars}{own}")
    assert heads == wanted * 2
    own = re.findall(r'<div class="bar"[^>]*>(.*?)</div>', page, flags=re.S)
    bars = [" ".join(re.sub(r"<[^>]*>", " ", each).split()) for each in own]
    letters = [bar for each in sheet.progressions for bar in words(each.bars)]
    assert bars[: len(letters)] == letters
    numbers = [
        " ".join(" ".join(filter(None, (e.number, e.symbol))) for e in bar)
        for each in sheet.progressions
        for bar in each.bars
    ]
    assert [bar.replace(" ", "") for bar in bars[len(letters) :]] == [
        bar.replace(" ", "") for bar in numbers
    ]
