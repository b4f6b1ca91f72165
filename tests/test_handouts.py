"""The pages that players take home, read back and compared with the Song.

Sources: pypdf as a second reader of what was printed; ISO 216 and ANSI/ASME Y14.1 for paper;
delay time = 60000 / beats a minute times the note value (arithmetic); NIOSH publication 98-126,
table of exposure, for the hours at a level. What players call things is common practice.
"""

from __future__ import annotations

import io
import itertools
import re
from dataclasses import replace
from pathlib import Path

import matplotlib.image
import numpy as np
import pypdf
import pytest
import typst
from printed_text import in_order
from songs import parts_of, song

from arrange.decisions import Decision, DecisionLog
from arrange.errors import ArrangeError
from arrange.formats.reading import read
from arrange.guitar.players import Player
from arrange.handouts import PAPERS, STYLES, Layout, page_picture, typesetting, write_handout
from arrange.handouts.sheets import part_sheet

DATASETS = Path(__file__).parent.parent / "datasets"
DEMOS = ("low-water.musicxml", "tarrow-weir.txt")
FACING = 2  # pages
WHITE_MM = 9.0  # at every edge


def text_of(path: Path) -> str:
    """Return all text of a PDF, page after page, with lines joined."""
    pages = [page.extract_text() for page in pypdf.PdfReader(path).pages]
    return " ".join(" ".join(pages).split())


def pdf_of(paths, word: str) -> Path:
    return next(path for path in paths if path.suffix == ".pdf" and word in path.name)


def stretches_of(own, part, style):
    return part_sheet(own, Player(part), style).stretches


def headings(stretches) -> list[str]:
    return [f"{stretch.title} {stretch.where}" for stretch in stretches]


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(each, marks=pytest.mark.long if n else [])
        for n, each in enumerate(zip(DEMOS, STYLES, strict=True))
    ],
    ids=str,
)
def demo(request, tmp_path_factory):
    """Return a demo song, the style, and the files of its handout."""
    name, style = request.param
    own = read(DATASETS / name)
    paper = "A4" if style == "notation" else "letter"
    folder = tmp_path_factory.mktemp("handout")
    return own, style, write_handout(own, folder, layout=Layout(paper, style))


def test_the_files_are_those_of_every_guitar_and_the_band(demo):
    _, _, paths = demo
    assert [path.suffix for path in paths] == [".pdf", ".html"] * 3
    assert [re.search(r"(guitar-\d|band)\.", path.name)[1] for path in paths[::2]] == [
        "guitar-1", "guitar-2", "band",
    ]  # fmt: skip
    assert all(path.exists() for path in paths)
    assert {path.name for path in paths[0].parent.iterdir()} == {path.name for path in paths}


@pytest.mark.parametrize("part", ["Guitar 1", "Guitar 2"])
def test_every_section_and_chord_is_printed_in_order(demo, part):
    """Between a section's heading and the next stand all its chord symbols; every section of the
    song stands in one heading.
    """
    own, style, paths = demo
    path = pdf_of(paths, part.lower().replace(" ", "-"))
    text, first = text_of(path), pypdf.PdfReader(path).pages[0].extract_text()
    stretches = stretches_of(own, part, style)
    assert headings(stretches)[0] in " ".join(first.split()), "the music begins on the first page"
    for stretch, printed in zip(stretches, in_order(text, headings(stretches)), strict=True):
        inside = own.chords[own.chords["section"].isin(stretch.sections)]
        words = re.sub(r"(?<!\S)\d+(?=[A-G])", "", printed).split()  # bar numbers stand close
        missing = [symbol for symbol in set(inside["symbol"]) if symbol not in words]
        assert not missing, f"{stretch.title}: {missing} of {words}"
    said = [name for stretch in stretches for name in stretch.sections]
    assert sorted(said) == sorted(own.sections["section"])


@pytest.mark.parametrize("part", ["Guitar 1", "Guitar 2"])
def test_what_is_printed_once_is_the_same(demo, part):
    """Bar by bar: the notes, strings, frets and chords of a section that returns are those of the
    first time, but for the bars that are printed beside it.
    """
    own, style, _ = demo
    sheet = part_sheet(own, Player(part), style)
    for stretch in sheet.stretches:
        first = stretch.times[0]
        labels = [span.label for span in stretch.spans] + [row.label for row in stretch.rows]
        beside = bars_in(" ".join(label.rpartition(", bar")[2] for label in labels))
        for time in stretch.times[1:]:
            for bar in range(first.first, first.last + 1):
                here = time.first + bar - first.first
                is_same = bar_of(own, part, bar) == bar_of(own, part, here)
                assert is_same or here in beside, (stretch.title, here)


def bars_in(words: str) -> set[int]:
    """Return the bars of ``"bars 3, 5–8"``."""
    runs = re.findall(r"(\d+)(?:–(\d+))?", words)
    return {bar for low, high in runs for bar in range(int(low), int(high or low) + 1)}


def bar_of(own, part, number):
    """Return what a part plays and which chords hold in a bar, read row by row."""
    bar = own.measures.iloc[number - 1]
    end = bar["onset"] + bar["duration"]
    notes = own.notes[own.notes["part"] == part]
    inside = notes[(notes["onset"] < end - 1e-6) & (notes["onset"] >= bar["onset"] - 1e-6)]
    chords = own.chords
    held = chords[(chords["onset"] < end - 1e-6)
                  & (chords["onset"] + chords["duration"] > bar["onset"] + 1e-6)]  # fmt: skip
    played = [
        (round(onset - bar["onset"], 4), pitch, str(string), str(fret))
        for onset, pitch, string, fret in inside[["onset", "pitch", "string", "fret"]].itertuples(
            index=False
        )
    ]
    return sorted(played, key=str), held["symbol"].tolist()


def test_a_part_lies_open_on_the_stand(demo):
    """Both demos are songs of three to four minutes: two facing pages, none of them but the last
    more than a third empty.
    """
    _, _, paths = demo
    for path in (path for path in paths if path.suffix == ".pdf" and "band" not in path.name):
        assert len(pypdf.PdfReader(path).pages) <= FACING, path.name


def test_facts_of_the_part_are_printed(demo):
    """The page shows key, meter, tempo as counted, tuning low to high, and the capo in words."""
    own, _, paths = demo
    text = text_of(pdf_of(paths, "guitar-2"))
    capo = own.parts.set_index("part").loc["Guitar 2", "capo"]
    assert re.search(rf"Capo {capo}; frets are counted from the (nut|capo)", text)
    assert "Tuning E A D G B E (low to high, standard)" in text
    if own.title.startswith("Low"):
        assert "Key Bb major Meter 4/4 Tempo quarter = 102 Length 3:30, 92 bars" in text
        # At a capo on the third fret the shape a minor third lower sounds the chord.
        assert "Gm = Em" in text
        assert "Eb/G = C/E" in text
        assert "meter 6/8, dotted quarter = 64" in text  # 96 quarters a minute
    else:
        # 108 dotted quarters are 162 quarters a minute: 60000 / 162 * 3/4 = 277.8 ms, and for four
        # bars 60000 / 144 * 3/4 = 312.5 ms.
        assert "Tempo dotted quarter = 108" in text
        assert "Echo dotted eighth, 278 ms in bars 10–41, 46–55, 312 ms in bars 42–45" in text
        assert "edge (just breaking up)" in text
        assert "from bar 45: meter 9/8" in text


def test_cues_say_what_the_demo_was_written_to_do(demo):
    """The demos' own remarks say who doubles whom, and who waits; the cues must agree."""
    own, style, paths = demo
    text = text_of(pdf_of(paths, "guitar-2"))
    printed = in_order(text, headings(stretches_of(own, "Guitar 2", style)))
    if own.title.startswith("Low"):
        assert "Doubles Guitar 1 an octave lower." in printed[0]
        assert "Play Intro again, under these chords." in printed[-2]  # the tag has the hook
        assert "Doubles Guitar 1 an octave lower." in printed[-2]
    else:
        lead_in, tune, second, *_ = printed
        assert "Lay out 9 bars; in at Tune (2), bar 10." in lead_in
        assert "Still out, 8 more bars; in at Tune (2), bar 10; last chord before you: D." in tune
        assert second.startswith("Tune (2), (3), (4) bars 10–17, ")


def test_an_html_page_holds_the_same_and_needs_nothing_else(demo):
    own, style, paths = demo
    page = next(p for p in paths if p.name.endswith("guitar-1.html")).read_text(encoding="utf-8")
    outside = re.sub(r'xmlns(:xlink)?="http://www.w3.org/[^"]*"', "", page)
    assert not re.search(r"https?:|\bsrc=|url\(|@import", outside)
    text = " ".join(re.sub(r"<[^>]*>", " ", re.sub(r"<style.*?</style>", "", page, flags=re.S))
                    .split())  # fmt: skip
    text = text.replace("\u2060", "")  # no line ends there
    stretches = stretches_of(own, "Guitar 1", style)
    for stretch, printed in zip(stretches, in_order(text, headings(stretches)), strict=True):
        inside = own.chords[own.chords["section"].isin(stretch.sections)]
        assert set(inside["symbol"]) <= set(printed.split()), stretch.title


def test_the_band_sheet_shows_form_and_players_on_one_page(demo):
    """The chords in numbers stand on another; ``test_band_sheet`` reads the chords."""
    own, _, paths = demo
    path = pdf_of(paths, "band")
    assert len(pypdf.PdfReader(path).pages) == 2
    text = text_of(path)
    in_order(text[text.index("Energy") :], [
        f"{row.section} {row.first_measure}"
        + (f"–{row.last_measure}" if row.last_measure > row.first_measure else "")
        for row in own.sections.itertuples()
    ])  # fmt: skip
    for part in own.parts["part"]:
        assert part in text
    # NIOSH 98-126: 94 dB(A) for one hour, 100 dB(A) for 15 minutes.
    assert "at 94 dB(A) one hour is a whole day's share, at 100 dB(A) a quarter of an hour" in text


@pytest.fixture
def pages(monkeypatch):
    """Collect every page that is printed from now on, as PNG."""
    drawn = []
    compiled = typst.compile

    def also_drawn(template, **options):
        made = compiled(template, **(options | {"format": "png", "ppi": 50, "timestamp": None}))
        drawn.extend(made if isinstance(made, list) else [made])
        return compiled(template, **options)

    monkeypatch.setattr(typesetting.typst, "compile", also_drawn)
    return drawn


EDGES = {
    "one page": song(
        ("Guitar", "C3 E3 G3", 0, 4), ("Guitar", "F3 A3 C4", 4, 4), key="C major", title="Short",
    ),
    "bass and a part that never plays": song(
        *[("Bass", p, n, 1) for n, p in enumerate(["E1", "G1", "A1", "B1"] * 2)],
        parts=["Bass", "Guitar"], title="Bass only",
    ),
    "seven strings": song(
        ("Guitar", "B1 F#2 B2", 0, 1), ("Guitar", "E2", 1, 1 / 3), ("Guitar", "F2", 4 / 3, 1 / 3),
        ("Guitar", "G2", 5 / 3, 1 / 3), ("Guitar", "A2", 2, 2), title="Low Iron", tempo=140,
        parts=parts_of("Guitar", tuning=[(64, 59, 55, 50, 45, 40, 35)], drive="distorted"),
    ),
    "6/8": song(
        *[("Guitar", p, n / 2, 0.5) for n, p in enumerate(("G3 B3 D4 G4 D4 B3 " * 4).split())],
        meter="6/8", tempo=150, sections=[("A", 1), ("B", 3)], title="Jig",
    ),
    "many sections and a long title": song(
        *[("Guitar 1", f"{'CDEFGAB'[n % 7]}3 G3", 16 * n + 4 * b, 3)
          for n in range(28) for b in range(4) if n % 5 != 3],
        *[("Guitar 2", "C4 E4", 16 * n, 16) for n in range(28)],
        sections=[(f"{('Verse', 'Chorus', 'Interlude for two whistles')[n % 3]} {n // 3 + 1}",
                   1 + 4 * n) for n in range(28)],
        title="The Long and Winding Story of the Harbour Master's Daughters & <Boats> #1 *_$[x]",
    ),
    "short notes": song(
        *[("Guitar", p, n / 8, 0.125)
          for n, p in enumerate(["E3", "G3", "A3", "B3", "D4", "E4", "G4", "A4"] * 8)]
    ),
    "not playable": song(("Guitar", "E6 E1", 0, 4), ("Guitar", "E2 F2 G2", 4, 4)),
    "a voice and drums": song(
        ("Voice", "C5", 0, 4), ("Voice", "D5", 4, 2), ("Drums", float("nan"), 0, 1),
        ("Drums", float("nan"), 4, 1), chords=[(0, 0, "major", None)],
    ),
    "no notes": song(parts=["Guitar"], bars=3),
}  # fmt: skip


# Each song in one style, by turns; the longest in both.
@pytest.mark.sampled
@pytest.mark.parametrize(
    ("name", "style"),
    [
        *zip(EDGES, itertools.cycle(STYLES), strict=False),
        ("many sections and a long title", STYLES[1]),
    ],
)
def test_nothing_is_lost_or_cut_off_on_unusual_songs(tmp_path, pages, name, style):
    """All headings are printed, pages have the size of the paper, and their edges are white."""
    own, paper = EDGES[name], "A4" if style == "notation" else "letter"
    parts = own.parts["part"].tolist()
    paths = write_handout(own, tmp_path, player=parts, layout=Layout(paper, style))
    assert len(paths) == 2 * len(parts) + 2
    for part, path in zip(parts, paths[:-2:2], strict=True):
        in_order(text_of(path), headings(stretches_of(own, part, style)))
        for sheet in pypdf.PdfReader(path).pages:
            size = [float(side) * 25.4 / 72 for side in sheet.mediabox[2:]]
            assert size == pytest.approx(PAPERS[paper][:2], abs=0.1)
    for picture in pages:
        check_margins(picture)


def check_margins(picture: bytes) -> None:
    ink = matplotlib.image.imread(io.BytesIO(picture), format="png")[..., :3].min(axis=2) < 0.9
    edge = int(WHITE_MM / 25.4 * 50)
    for where, side in (("left", ink[:, :edge]), ("right", ink[:, -edge:]), ("top", ink[:edge]),
                        ("foot", ink[-int(edge * 0.4):])):  # fmt: skip
        assert not side.any(), f"ink at the {where}"
    assert ink.any()


def test_what_cannot_be_played_is_reported(tmp_path):
    """E1 lies an octave below a guitar: the sheet says so and invents no fret."""
    paths = write_handout(EDGES["not playable"], tmp_path)
    assert "Not playable as written, measure 1: E1 lies below the lowest open string" in text_of(
        paths[0]
    )


@pytest.mark.long
def test_the_same_song_gives_the_same_bytes(tmp_path):
    """The bytes do not depend on what was written before."""
    own = read(DATASETS / "tarrow-weir.txt")
    both = write_handout(own, tmp_path / "both")
    alone = write_handout(own, tmp_path / "alone", player="Tam")
    names = [path.name for path in alone]
    assert len(names) == 4
    for name in names:
        before = next(path for path in both if path.name == name)
        assert before.read_bytes() == (tmp_path / "alone" / name).read_bytes()


@pytest.mark.long
def test_each_step_is_reported(tmp_path):
    steps = []
    write_handout(read(DATASETS / "tarrow-weir.txt"), tmp_path, progress=steps.append)
    assert steps == ["the sheet of Guitar 1", "the sheet of Guitar 2", "the band sheet"]


def test_the_band_sheet_is_measured_for_all_sizes_at_once(tmp_path, monkeypatch):
    """All sizes of type share one measurement; a part has one for each size that is tried."""
    queries, query = [], typst.query

    def counted(*arguments, **options):
        queries.append(options["sys_inputs"]["sheet"])
        return query(*arguments, **options)

    monkeypatch.setattr(typesetting.typst, "query", counted)
    write_handout(EDGES["many sections and a long title"], tmp_path, player="Guitar 2")
    band = [query for query in queries if '"sizes"' in query]
    assert len(band) <= 2, "in the smallest size, then in all"


def test_decisions_and_roles_stand_on_the_band_sheet(tmp_path):
    """Decisions in force are printed; a dropped one is not, and one not yet agreed says so."""
    log = DecisionLog((
        Decision("Guitar 2 an octave up", "it was mud", "Song", id="d1"),
        Decision(
            "leave out the third", "the singer has it", measures=(1, 1), status="proposed", id="d2"
        ),
        Decision("double the hook", "louder", status="dropped", id="d3"),
    ))  # fmt: skip
    paths = write_handout(
        EDGES["one page"], tmp_path, decisions=log, roles={"Guitar": "holds the chords"}
    )
    text = text_of(paths[2])
    assert "Song: Guitar 2 an octave up – it was mud" in text
    assert "bar 1: leave out the third – the singer has it (proposed)" in text
    assert "double the hook" not in text
    assert "role: holds the chords" in text


def test_markup_in_names_is_printed_as_it_stands(tmp_path):
    own = replace(EDGES["one page"], title='#strong[x] <b>&amp; *_$ \\ "q"')
    paths = write_handout(own, tmp_path)
    assert '#strong[x] <b>&amp; *_$ \\ "q"' in text_of(paths[0])
    assert "&lt;b&gt;&amp;amp;" in paths[1].read_text(encoding="utf-8")


def test_wrong_words_are_answered_with_the_right_ones(tmp_path):
    own = read(DATASETS / "tarrow-weir.txt")
    with pytest.raises(ArrangeError, match="no player 'Corie'; did you mean 'Corrie'"):
        write_handout(own, tmp_path, player="Corie")
    with pytest.raises(ArrangeError, match="paper='A5'; it is one of 'A4', 'letter'"):
        write_handout(own, tmp_path, layout=Layout("A5"))
    with pytest.raises(ArrangeError, match="style='tab'; it is one of 'notation', 'shapes'"):
        write_handout(own, tmp_path, layout=Layout(style="tab"))
    with pytest.raises(ArrangeError, match="roles: there is no part 'Ness'"):
        write_handout(own, tmp_path, roles={"Ness": "tune"})
    with pytest.raises(ArrangeError, match="no player is named"):
        write_handout(own, tmp_path, player=[])
    empty = replace(own, parts=own.parts[:0], notes=own.notes[:0])
    with pytest.raises(ArrangeError, match="this song has no part"):
        write_handout(empty, tmp_path)
    with pytest.raises(ArrangeError, match="this song has no guitar; name a player, one of Voice"):
        write_handout(song(("Voice", "C4", 0, 4)), tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_folder_that_cannot_be_written_is_named(tmp_path):
    (tmp_path / "file").write_text("mine")
    for folder in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(ArrangeError, match=r"file.*(name a folder|choose another place)"):
            write_handout(EDGES["one page"], folder)
    assert (tmp_path / "file").read_text() == "mine"


def test_old_files_stay_where_a_sheet_cannot_be_made(tmp_path, monkeypatch):
    paths = write_handout(EDGES["one page"], tmp_path)
    before = {path: path.read_bytes() for path in paths}

    def fails(*_, **__):
        raise RuntimeError("the page failed")

    monkeypatch.setattr(typesetting.typst, "Compiler", fails)
    with pytest.raises(RuntimeError):
        write_handout(EDGES["one page"], tmp_path)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_ink_is_black_or_white(tmp_path, pages):
    """Every pixel is grey, so that a print without colour loses nothing."""
    write_handout(
        read(DATASETS / "tarrow-weir.txt"), tmp_path, layout=Layout(style="shapes"), player="Tam"
    )
    for page in pages:
        colours = matplotlib.image.imread(io.BytesIO(page), format="png")[..., :3]
        assert np.ptp(colours, axis=2).max() < 0.01
        assert colours.min() < 0.1


def test_a_page_can_be_looked_at(tmp_path):
    """A4 with a margin of 4 mm, at 90 pixels an inch: (210 + 8) / 25.4 * 90 pixels wide."""
    pdf = next(path for path in write_handout(EDGES["one page"], tmp_path) if path.suffix == ".pdf")
    picture = matplotlib.image.imread(io.BytesIO(page_picture(pdf)), format="png")
    assert picture.shape[1] == pytest.approx((210 + 8) / 25.4 * 90, abs=2)
    assert picture[..., :3].min() < 0.1, "something is printed"
    with pytest.raises(ArrangeError, match=r"page 9: cannot be shown: .*page 9 does not exist"):
        page_picture(pdf, page=9)
    with pytest.raises(ArrangeError, match="there is no such file"):
        page_picture(tmp_path / "gone.pdf")
