"""Part sheets as they are printed, page by page, against the tables of the song.

pypdf is the second reader of what was printed. What stands on a page for the stand, and down on the
beat and up on its half, are common practice.
"""

from __future__ import annotations

import io
import itertools
import re
from pathlib import Path
from typing import NamedTuple

import matplotlib.image
import numpy as np
import pypdf
import pytest
import typst
from numpy.typing import NDArray
from printed_text import in_order

import arrange as ar
from arrange.formats.chart import read_chart
from arrange.guitar.players import Player, read_player
from arrange.handouts import printing
from arrange.handouts.engraving import engrave
from arrange.handouts.printing import print_part
from arrange.handouts.sheets import PartSheet, fingered_part, part_sheet
from arrange.handouts.stretches import Bar
from arrange.tables.song import Song

DATASETS = Path(__file__).parent.parent / "datasets"
DUOS = {
    "barn-lights.txt": ["Wren: acoustic; capo none, 2 or 4", "Jory: clean, edge, overdriven; echo"],
    "kiln-yard.txt": ["Ada: acoustic; drop D tuning; capo none",
                      "Tom: drop D tuning; clean, edge, overdriven, distorted; echo"],
}  # fmt: skip
NAMES = ("low-water.musicxml", *DUOS, "harbour-set/1-rope-and-lantern.txt")
# Each song has one guitar in notation and one in shapes; the paper goes round.
CASES = [
    (name, place, ("shapes", "notation")[(n + place) % 2], ("letter", "A4")[(n // 2 + place) % 2])
    for n, name in enumerate(NAMES)
    for place in (0, 1)
]
FACING = 2  # pages
WHITE_MM = 9.0  # at every edge
DPI = 60
PAGE = b"""#set page(width: auto, height: auto, margin: 0pt)
#image("sheet.pdf", page: int(sys.inputs.page))"""
NEAR = 1e-6  # quarter notes
LOWEST_FIRST = {"standard": "E A D G B E", "drop D": "D A D G B E", "modal D": "D A D G A D"}


class Page(NamedTuple):
    """A sheet, what was printed of it, and the song with the part's strings and frets."""

    song: Song
    sheet: PartSheet
    text: str  # of all pages, with lines joined
    inks: list[NDArray[np.bool_]]  # of each page, which pixels are not white


@pytest.fixture(scope="module")
def songs():
    """Read or condense each song once."""
    found: dict[str, Song] = {}

    def song(name: str) -> Song:
        if name not in found:
            own = ar.read(DATASETS / name)
            players = [read_player(words) for words in DUOS.get(name, ())]
            found[name] = ar.condense(own, players).song if players else own
        return found[name]

    return song


@pytest.fixture(
    scope="module",
    params=[pytest.param(case, marks=pytest.mark.sampled) for case in CASES],
    ids=lambda case: "-".join(map(str, case)),
)
def page(request, songs, tmp_path_factory):
    name, place, style, paper = request.param
    song = songs(name)
    guitars = song.parts["part"][song.parts["family"] == "guitar"].tolist()
    sheet = part_sheet(song, Player(guitars[place]), style)
    printed = print_part(sheet, song, paper).pdf()
    pages = [each.extract_text() for each in pypdf.PdfReader(io.BytesIO(printed)).pages]
    path = tmp_path_factory.mktemp("pages") / "sheet.pdf"
    path.write_bytes(printed)
    inks = [ink_of(path, number) for number in range(1, len(pages) + 1)]
    return Page(song, sheet, " ".join(" ".join(pages).split()), inks)


def ink_of(path: Path, number: int) -> NDArray[np.bool_]:
    """Return which pixels of a page are not white."""
    drawn = typst.compile(PAGE, root=str(path.parent), format="png", ppi=DPI,
                          sys_inputs={"page": str(number)})  # fmt: skip
    return matplotlib.image.imread(io.BytesIO(drawn), format="png")[..., :3].min(axis=2) < 0.9


def stays_of(page: Page) -> dict[str, tuple[int, int]]:
    """Return the first and the last bar of each section."""
    own = page.song.sections
    bars = zip(own["first_measure"].tolist(), own["last_measure"].tolist(), strict=True)
    return dict(zip(own["section"].tolist(), bars, strict=True))


def named(title: str) -> list[str]:
    """Return the sections of a heading: a number alone has the name before it."""
    names: list[str] = []
    for word in title.split(", "):
        is_number = re.fullmatch(r"\(?\d+\)?", word)
        names.append(f"{names[-1].rsplit(' ', 1)[0]} {word}" if is_number else word)
        if is_number and "(" in word and "(" not in names[-2]:
            names[-1] = f"{names[-2]} {word}"
    return names


def headings(page: Page) -> list[str]:
    return [f"{stretch.title} {stretch.where}" for stretch in page.sheet.stretches]


def chunks(page: Page) -> list[str]:
    """Return what is printed of each stretch, its heading first."""
    return in_order(page.text, headings(page))


def symbols(song: Song, first: int, last: int) -> list[str]:
    """Return the symbols that hold in bars, row by row: the obvious way."""
    begin = song.measures["onset"].iloc[first - 1]
    end = (song.measures["onset"] + song.measures["duration"]).iloc[last - 1]
    return [row.symbol for row in song.chords.itertuples()
            if row.onset < end - NEAR and row.onset + row.duration > begin + NEAR]  # fmt: skip


def begun(song: Song, bar: int) -> list[str]:
    """Return the symbols that begin in a bar."""
    begin, long = song.measures[["onset", "duration"]].iloc[bar - 1]
    return [row.symbol for row in song.chords.itertuples()
            if begin - NEAR < row.onset < begin + long - NEAR]  # fmt: skip


def bars_in(words: str) -> list[int]:
    """Return the bars of ``"bars 3, 5–8"``."""
    runs = re.findall(r"(\d+)(?:–(\d+))?", words)
    return [bar for low, high in runs for bar in range(int(low), int(high or low) + 1)]


def test_every_section_stands_in_one_heading_with_its_bars(page):
    stays, found = stays_of(page), []
    assert len(chunks(page)) == len(page.sheet.stretches)
    for stretch in page.sheet.stretches:
        runs = re.findall(r"(\d+)(?:–(\d+))?", stretch.where)
        for name, (low, high) in zip(named(stretch.title), runs, strict=True):
            assert stays[name] == (int(low), int(high or low))
            found.append(name)
    assert sorted(found) == sorted(stays)


def struck_bars(page: Page, bars) -> list[str]:
    """Return what is printed of each bar that is made of shapes or is laid out: its chords as the
    chords table has them.
    """
    words = []
    for place, bar in enumerate(bars):
        own = symbols(page.song, bar.number, bar.number) if not place else []
        chords = begun(page.song, bar.number)
        chords = own if len(own) > len(chords) and bar.chords == tuple(own) else chords
        numbers = bar.numbers or ("",) * len(chords)
        chords = [f"{chord} {number}".strip()
                  for chord, number in zip(chords, numbers, strict=True)]  # fmt: skip
        labels = [f"{at}: {label}" if at else label
                  for label, at in zip(bar.shapes, bar.since, strict=True)]  # fmt: skip
        more = [f"{bar.length} bars"] if bar.length > 1 else []
        cell = [str(bar.number), bar.pattern, *chords, *more, ", ".join(labels)]
        words.append(" ".join(filter(None, cell)))
    return words


def test_all_chords_are_printed_in_their_bars(page):
    """The first time of each group from its first bar to its last, then each run of bars in which a
    later time differs; nothing beside them.
    """
    known = set(page.song.chords["symbol"])
    for stretch, text in zip(page.sheet.stretches, chunks(page), strict=True):
        first = stretch.times[0]
        if stretch.spans:
            labels = [f"{span.label}:" for span in stretch.spans[1:]]
            parts = in_order(text, [headings(page)[page.sheet.stretches.index(stretch)], *labels])
            said = " ".join((*stretch.facts, stretch.words, *stretch.cues, *stretch.notices))
            for span, part in zip(stretch.spans, parts, strict=True):
                words = (re.sub(r"^\d+(?=[A-GN])", "", word) for word in part.split())
                drawn = [word for word in words if word in known]  # a number may touch a chord
                if not span.label:
                    drawn = drawn[sum(word in known for word in said.split()) :]
                wanted = symbols(page.song, span.first, span.last)
                assert drawn == wanted, (stretch.title, span.label)
            continue
        rows = [("", stretch.bars), *((f"{row.label}:", row.bars) for row in stretch.rows)]
        numbers = [bar.number + n for bar in stretch.bars for n in range(bar.length)]
        if any(bar.chords or bar.counts for bar in stretch.bars):
            assert numbers == list(range(first.first, first.last + 1))
        else:
            assert not symbols(page.song, first.first, first.last)
            continue
        cells = [(label, cell) for label, bars in rows for cell in struck_bars(page, bars)]
        wanted = []
        for label, cell in cells:
            wanted += [label, cell] if label not in wanted else [cell]
        in_order(text, [word for word in wanted if word])


def test_bars_that_differ_are_those_that_the_notes_say(page):
    """A later time differs where its notes, strings, frets or chords do, read bar by bar."""
    song, part = page.song, page.sheet.part
    for stretch in page.sheet.stretches:
        first, said = stretch.times[0], set()
        for label in [each.label for each in (*stretch.spans, *stretch.rows) if each.label]:
            said |= set(bars_in(label.rpartition(", bar")[2]))
        differ = {
            time.first + n
            for time in stretch.times[1:]
            for n in range(first.last - first.first + 1)
            if bar_of(song, part, time.first + n) != bar_of(song, part, first.first + n)
        }
        assert said == differ, stretch.title


def bar_of(song: Song, part: str, number: int):
    begin, long = song.measures[["onset", "duration"]].iloc[number - 1]
    notes = song.notes[song.notes["part"] == part]
    inside = notes[notes["onset"].between(begin - NEAR, begin + long - 2 * NEAR)]
    columns = ["onset", "duration", "pitch", "string", "fret", "technique"]
    rows = inside.assign(onset=(inside["onset"] - begin).round(4))[columns].round(4)
    chords = [
        (round(max(row.onset - begin, 0.0), 4), row.symbol)
        for row in song.chords.itertuples()
        if row.onset < begin + long - NEAR and row.onset + row.duration > begin + NEAR
    ]
    return sorted(map(str, rows.itertuples(index=False))), chords


def test_what_the_part_is_played_with_stands_on_the_page(page):
    """Tuning, capo, how frets are counted, echo; beside its sections each sound and each layer."""
    song, part = page.song, page.sheet.part
    row = song.parts.set_index("part").loc[part]
    setups = ar.part_setups(song)
    plays = set(song.notes.loc[song.notes["part"] == part, "section"])
    own = setups[(setups["part"] == part) & setups["section"].isin(plays)].set_index("section")
    tuning = next(name for name, notes in LOWEST_FIRST.items()
                  if f"Tuning {notes} (low to high, {name})" in page.text)  # fmt: skip
    assert ar.Neck(tuning).tuning == row["tuning"]
    capos = set(own["capo"])
    assert all((f"capo {capo}" if capo else "none") in page.text for capo in capos)
    assert page.text.count("frets are counted from the") == any(capos)
    if any(capos):
        assert f"frets are counted from the {row['frets_from']}" in page.text
    for echo in own["echo"].dropna().unique():
        assert f"{echo}," in page.text.partition("In a box:")[0]
    texts = dict(zip((stretch.sections for stretch in page.sheet.stretches), chunks(page),
                     strict=True))  # fmt: skip
    before = own.shift().fillna("")
    for names, text in texts.items():
        for section in (name for name in names if name in own.index):
            now, had = own.loc[section], before.loc[section]
            if isinstance(now["layers"], str):
                assert f"from {' and '.join(ar.split_parts(now['layers']))}" in text
            if own["drive"].nunique() > 1 and now["drive"] != had["drive"]:
                assert now["drive"] in text
            echo = now["echo"] if isinstance(now["echo"], str) else ""
            if own["echo"].fillna("").nunique() > 1 and echo != had["echo"]:
                assert (f"echo {echo}" if echo else "no echo") in text


def test_rests_entries_and_remarks_stand_in_their_sections(page):
    """Who rests reads where to come in; who comes in late, from which bar; each remark is there."""
    song, part = page.song, page.sheet.part
    measures = song.measures["onset"].to_numpy()
    own = np.sort(song.notes.loc[song.notes["part"] == part, "onset"].to_numpy())
    entries = np.searchsorted(measures, own + NEAR, side="right")
    stays = stays_of(page)
    for stretch, text in zip(page.sheet.stretches, chunks(page), strict=True):
        for section in stretch.sections:
            first, last = stays[section]
            after = entries[entries >= first]
            if not len(after):
                assert "to the end" in text
            elif after[0] > last:
                assert f"bar {after[0]}" in text
                assert re.search(r"([Ll]ay|[Ss]till) out", text)
            elif after[0] > first and section == stretch.sections[0]:
                assert f"{after[0] - first} bar" in text
                assert f"in at bar {after[0]}" in text
            for remark in song.remarks:
                everybody = not re.match(r"[^:]+: ", remark.text)
                if section in remark.sections and everybody:
                    assert " ".join(remark.text.split()) in text


def test_two_pages_full_and_within_their_margins(page):
    """Two pages lie open; none but the last is more than a third empty; nothing is printed within
    9 mm of an edge but for the foot.
    """
    assert len(page.inks) <= FACING
    edge = int(WHITE_MM / 25.4 * DPI)
    for ink in page.inks:
        assert ink.any()
        for side in (ink[:, :edge], ink[:, -edge:], ink[:edge], ink[-edge // 2 :]):
            assert not side.any()
    foot = int(14 / 25.4 * DPI)
    for ink in page.inks[:-1]:
        music = np.flatnonzero(ink[:-foot].any(axis=1))
        assert music[-1] >= 2 / 3 * (len(ink) - foot)


STROKES = """\
key: D major
meter: {meter}
part: Guitar 1; electric guitar
section: A
chords   | D | D |
Guitar 1 | {bar} | {bar} |
"""


@pytest.mark.parametrize(("meter", "bar", "marks"), [
    ("4/4", "xx0232 eighths", "↓ ↑ ↓ ↑ ↓ ↑ ↓ ↑"),
    ("4/4", "1: xx0232 2&: xx0232 3: xx0232 4&: xx0232", "↓ – – ↑ ↓ – – ↑"),
    ("6/8", "xx0232 eighths", "↓ ↑ ↓ ↓ ↑ ↓"),
])  # fmt: skip
def test_strokes_go_down_on_the_beat(meter, bar, marks):
    """Down on each count and up on its half; in 6/8 each three begin with a stroke down (common
    practice).
    """
    song = read_chart(STROKES.format(meter=meter, bar=bar).encode())
    sheet = part_sheet(song, Player("Guitar 1"), "shapes")
    ((pattern,),) = [stretch.patterns for stretch in sheet.stretches]
    assert " ".join(pattern.marks) == marks
    printed = (
        pypdf.PdfReader(io.BytesIO(print_part(sheet, song, "A4").pdf())).pages[0].extract_text()
    )
    assert marks in " ".join(printed.split())


PALM = """\
key: E minor
part: Guitar 1; electric guitar
section: A
chords   | Em                       | .      |
Guitar 1 | 022xxx eighths palm-mute | 022xxx |
"""


def test_a_technique_that_the_marks_do_not_draw_is_said():
    """Palm mute is drawn in tablature; over counts it is not, and stands in the cues."""
    song = read_chart(PALM.encode())
    cues = {style: part_sheet(song, Player("Guitar 1"), style).stretches[0].cues
            for style in ("notation", "shapes")}  # fmt: skip
    assert "palm mute: bar 1" in cues["shapes"]
    assert not any("palm" in cue for cue in cues["notation"])


TWO = """\
key: D major
part: Guitar 1; electric guitar
section: A
chords   | D                   | G                    | G A           |
Guitar 1 | 1: xx0232 4: x57775 | 1: 320033 4&: 577655 | 577655 x02220 |
section: B
chords   | G                   | D                    | D             |
Guitar 1 | 355433              | xx0232               | x57775        |
"""


def test_shapes_of_a_bar_are_named_with_their_counts():
    """Where each chord has one shape, its number stands behind it; what is struck later in the bar
    has its count.
    """
    song = read_chart(TWO.encode())
    bars = [bar for stretch in part_sheet(song, Player("Guitar 1"), "shapes").stretches
            for bar in stretch.bars]  # fmt: skip
    assert [(bar.numbers, bar.shapes, bar.since) for bar in bars] == [
        ((), ("D", "D (2)"), ("", "4")),
        ((), ("G", "G (2)"), ("", "4&")),
        (("(2)", ""), (), ()),
        (("(3)",), (), ()),
        (("",), (), ()),
        (("(2)",), (), ()),
    ]


def test_the_letter_of_a_pattern_stands_left_of_its_chords():
    """Two ways of striking, one a bar each: each letter follows the number of its own bar."""
    bars = "xx0232 eighths | xx0232 | xx0232 eighths | xx0232"
    chart = STROKES.format(meter="4/4", bar=bars).replace(
        "D | D |", "D | D | D | D | D | D | D | D |"
    )
    song = read_chart(chart.encode())
    sheet = part_sheet(song, Player("Guitar 1"), "shapes")
    printed = (
        pypdf.PdfReader(io.BytesIO(print_part(sheet, song, "A4").pdf())).pages[0].extract_text()
    )
    assert "1 a D 2 b D 3 a D 4 b D" in " ".join(printed.split())


def test_numbers_on_a_string_stand_apart():
    """Quick notes on high frets: a fifth of their size and more lies between two numbers; a digit
    of the typeface is 0.7 of its size wide (DejaVu Sans Bold; from memory).
    """
    slow, quick = "E5 . C#5 .", ". . . . D5 E5 F#5 E5"
    bars = " | ".join([slow, quick, slow, slow, slow, quick, slow, slow])
    chart = f"key: D major\npart: Guitar 1\nsection: A\nGuitar 1 | {bars} |\n"
    song, _ = fingered_part(read_chart(chart.encode()), Player("Guitar 1"))
    (lines,) = engrave(song, "Guitar 1", [(1, 8)], 170, 4.5)
    rows = {}
    for place, size, number in re.findall(
        r'<text ([^>]*)text-anchor="middle" font-size="(\d+)px"[^>]*>(\d+)</text>', lines[0].picture
    ):
        x, y = re.search(r'(?:x="|translate\()([\d.]+)(?:" y="| )([\d.]+)', place).groups()
        narrow = float((re.search(r"scale\(([\d.]+)", place) or ("", 1))[1])
        half = narrow * 0.7 * int(size) * len(number) / 2
        rows.setdefault(y, []).append((float(x) - half, float(x) + half, int(size)))
    gaps = [(after[0] - own[1]) / own[2]
            for row in rows.values() for own, after in itertools.pairwise(sorted(row))]  # fmt: skip
    assert len(gaps) > 10
    assert min(gaps) > 0.2


@pytest.mark.parametrize(("scale", "width", "a_row"), [(1, 186, 4), (0.63, 90, 4), (0.63, 186, 8)])
def test_chords_of_a_section_have_one_size_and_room(scale, width, a_row):
    """Eight stand in a row where that does not make their type smaller."""
    chords = [("F#m",), ("C#m7",), ("A",), ("E",), ("F#m",), ("G#m",), ("A",), ("Bm7",)]
    rows = printing._bar_rows([Bar(n, own) for n, own in enumerate(chords, 1)], width, scale)
    assert [len(row["bars"]) for row in rows] == [a_row] * (8 // a_row)
    assert len({row["chord_size"] for row in rows}) == 1
