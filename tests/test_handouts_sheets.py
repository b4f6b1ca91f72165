"""The texts on sheets: every chord of the chords table, and a player's remarks and decisions.

Worked by hand from small charts, or compared with the Song itself. Tuning, shapes and how a band
writes progressions are common practice.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pypdf
import pytest
from songs import song as song_of
from songs import with_setup

from arrange.decisions import Decision, DecisionLog
from arrange.errors import ArrangeError
from arrange.explaining import explain_part
from arrange.explaining.part_sections import part_stays
from arrange.explaining.section_setups import setup_words
from arrange.formats.chart import format_chart, read_chart
from arrange.formats.reading import read
from arrange.guitar.players import Player
from arrange.handouts import PAPERS, STYLES, Layout, write_handout
from arrange.handouts.band import band_sheet
from arrange.handouts.band_pages import band_html
from arrange.handouts.remarks_and_decisions import decision_words
from arrange.handouts.sheets import part_sheet
from arrange.handouts.song_facts import new_facts, song_facts
from arrange.tables.song import Remark

DATASETS = Path(__file__).parent.parent / "datasets"
GATE = """\
title: Gate Song
key: B major
remark: Ben: no capo today
remark: nobody talks between the songs
part: Guitar 1; electric guitar; player Ann
part: Guitar 2; electric guitar; player Ben

section: Verse; played twice
remark: Ann waits for the second bar
chords   | B             | F#             | B      | F#     |
Guitar 1 | x24442 244322 | 244322         | x24442 | 244322 |
Guitar 2 | x24442        | 244322 eighths | xx4442 | xx4322 |

section: Last chorus
remark: Guitar 1, Ness: louder
chords   | E      | B             | G#m7   | E      | B      |
Guitar 1 | 022100 | x24442 pushed | 464444 | 022100 | x24442 |
Guitar 2 | xx2400 | xx4442        | xx6444 | xx2400 | xx4442 |
"""


@pytest.fixture(scope="module")
def gate():
    return read_chart(GATE.encode())


def sheet(song, part, style="shapes", log=None):
    return part_sheet(song, Player(part), style, log)


def struck(stretch):
    """Return the bars of a stretch, each with the counts and marks of its pattern."""
    patterns = {each.letter: each for each in stretch.patterns}
    return [
        replace(bar, counts=patterns[bar.pattern].counts, marks=patterns[bar.pattern].marks)
        if patterns else bar
        for bar in stretch.bars
    ]  # fmt: skip


def symbols(song, section):
    """Return the symbols in force in a section, row by row of the chords table: the obvious way."""
    row = song.sections.set_index("section").loc[section]
    return [
        chord.symbol
        for chord in song.chords.itertuples()
        if chord.onset < row["onset"] + row["duration"]
        and chord.onset + chord.duration > row["onset"]
    ]


# A pause in the harmony, a chord within a bar and one over two sections, a symbol of few letters.
STOPS = """\
key: B major
part: Guitar 1
part: Guitar 2
section: A
chords   | 1: N.C. 2: B 4: C#m | F#7sus4     | 1: N.C. 4: G#m |
Guitar 1 | B3 D#4 F#4 G#4      | C#4 B3      | B3 ~ . D#4     |
Guitar 2 | . x24442 / x46654   | 24x4xx held | .              |
section: B
chords   | ~ | B | 1: ~ 4: N.C. |
Guitar 1 | B3 | D#4 ~ ~ F#4 | B3 |
Guitar 2 | 464444 | x24442 | ~ |
"""
SONGS = {
    "stops": lambda: read_chart(STOPS.encode()),
    "gate": lambda: read_chart(GATE.encode()),
    "Low Water": lambda: read(DATASETS / "low-water.musicxml"),
    "Tarrow Weir": lambda: read(DATASETS / "tarrow-weir.txt"),
}


@pytest.mark.sampled
@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("name", SONGS)
def test_every_chord_printed_is_the_chords_table_s(name, style):
    """All chords of a section are printed in order: over bars, over lines of notation."""
    song = SONGS[name]()
    for part in ("Guitar 1", "Guitar 2"):
        page = sheet(song, part, style)
        for stretch, systems in zip(page.stretches, page.systems(186.0), strict=True):
            wanted = symbols(song, stretch.sections[0])
            assert [chord for bar in stretch.bars for chord in bar.chords] == wanted
            lines = "".join(line.picture for line in systems[0]) if systems else ""
            drawn = re.findall(r'class="harm"><text[^>]*>([^<]*)</text>', lines)
            assert not lines or drawn == wanted
            titles = [re.search(r'y="19.0"[^>]*>([^<]*)<', each)[1] for each in stretch.shapes]
            every = {symbol for name in stretch.sections for symbol in symbols(song, name)}
            assert {re.sub(r" \(\d+\)$", "", title) for title in titles} <= every


def test_a_shape_that_the_next_bar_repeats_keeps_the_chord_that_holds(gate):
    """In four beats of B, the third has the shape of the next bar's F#: only B is printed."""
    first, second, third, _ = struck(sheet(gate, "Guitar 1").stretches[0])
    assert (first.chords, first.shapes) == (("B",), ("B", "B (2)"))
    assert (second.chords, second.shapes) == (("F#",), ())
    assert (third.chords, third.shapes) == (("B",), ())


def test_a_push_is_drawn_as_the_chord_that_it_rings_under(gate):
    """The B of bar 2 is struck on the last eighth of bar 1, and rings through bar 2."""
    chorus = sheet(gate, "Guitar 1").stretches[-1]
    bars = struck(chorus)
    assert [bar.chords for bar in bars] == [("E",), ("B",), ("G#m7",), ("E",), ("B",)]
    assert bars[0].marks == ("↓", *"––––––", "↑")
    assert bars[0].shapes == ("E", "B")
    assert bars[1].shapes == ()
    titles = [re.search(r'y="19.0"[^>]*>([^<]*)<', each)[1] for each in chorus.shapes]
    assert (titles, chorus.seen) == (["E", "G#m7"], ("B",))


def test_a_shape_under_no_chord_is_not_given_one():
    """Where N.C. is written no symbol is added; without any symbol a shape has its own name."""
    chart = "key: E major\npart: Guitar 1\nsection: A\nchords | N.C. |\nGuitar 1 | 466544 |\n"
    (stretch,) = sheet(read_chart(chart.encode()), "Guitar 1").stretches
    assert (stretch.bars[0].chords, stretch.bars[0].shapes) == (("N.C.",), ())
    assert ">N.C.</text>" in stretch.shapes[0]
    bare = chart.replace("chords | N.C. |\n", "")
    (stretch,) = sheet(read_chart(bare.encode()), "Guitar 1").stretches
    assert (stretch.bars[0].chords, stretch.bars[0].shapes) == ((), ("G#",))


def decided(what, **place):
    return Decision(what, "as agreed", id=f"d-{what}", **place)


LOG = DecisionLog((
    decided("by part", parts=("Guitar 2",), section="Last chorus"),
    decided("by player", parts=("Ben",), measures=(8, 9)),
    decided("by both", parts=("Ann", "Guitar 2")),
    decided("other part", parts=("Guitar 1",)),
    decided("other player", parts=("Ann",), section="Verse 1"),
    decided("a layer that is gone", parts=("Hook",)),
    decided("for all", section="Verse 2"),
    replace(decided("no more"), status="dropped"),
    replace(decided("perhaps", parts=("Ben",)), status="proposed"),
))  # fmt: skip


def test_decisions_reach_the_sheet_of_the_player(gate):
    """A decision names the part's label, the player's name or the instrument of the source, and is
    printed at its place. One for a part that does not exist is printed for everybody rather than
    nobody.
    """
    own = sheet(gate, "Guitar 2", log=LOG)
    assert own.notices == (
        "Ben: no capo today",
        "nobody talks between the songs",
        "Decided: Ann and Guitar 2: by both – as agreed.",
        "Decided: Hook: a layer that is gone – as agreed.",
        "Proposed: Ben: perhaps – as agreed.",
    )
    by_section = {each.title: each.notices for each in own.stretches}
    assert by_section == {
        "Verse 1, 2": (
            "Ann waits for the second bar",
            "Verse 2: Decided: bars 8–9, Ben: by player – as agreed., "
            "Decided: Verse 2: for all – as agreed.",
        ),
        "Last chorus": (
            "Guitar 1, Ness: louder",
            "Decided: Last chorus, Guitar 2: by part – as agreed.",
            "Decided: bars 8–9, Ben: by player – as agreed.",
        ),
    }
    layer = replace(gate, parts=gate.parts.replace({"instrument": {"electric guitar": "Hook"}}))
    made = sheet(layer, "Guitar 1", log=DecisionLog((decided("the source", parts=("Hook",)),)))
    assert "Decided: Hook: the source – as agreed." in made.notices


def test_remarks_reach_those_that_they_begin_with_or_all(gate):
    """Ness has no part here, so that "Guitar 1, Ness:" is no list of names, and the remark is for
    all.
    """
    assert sheet(gate, "Guitar 1").notices == ("nobody talks between the songs",)
    known = replace(gate, remarks=(Remark("ann, Guitar 1: louder", ("Verse 1",)),))
    assert sheet(known, "Guitar 1").stretches[0].notices == ("Verse 1: ann, Guitar 1: louder",)
    assert sheet(known, "Guitar 2").stretches[0].notices == ()


@pytest.mark.parametrize("style", STYLES)
def test_notices_are_printed(gate, tmp_path, style):
    paths = write_handout(gate, tmp_path, player="Ben", layout=Layout(style=style), decisions=LOG)
    pages = [page.extract_text() for page in pypdf.PdfReader(paths[0]).pages]
    html = paths[1].read_text(encoding="utf-8")
    for text in (" ".join(" ".join(pages).split()), html):
        assert "Ben: no capo today" in text
        assert "Ann waits for the second bar" in text
        assert "Decided: bars 8–9, Ben: by player – as agreed." in text
        assert "other part" not in text
        assert "no more" not in text


def test_remarks_are_kept_by_a_chart(gate):
    """Remarks are read for the sections as played, and written again."""
    assert gate.remarks == (
        Remark("Ben: no capo today"),
        Remark("nobody talks between the songs"),
        Remark("Ann waits for the second bar", ("Verse 1", "Verse 2")),
        Remark("Guitar 1, Ness: louder", ("Last chorus",)),
    )
    assert read_chart(format_chart(gate).encode()).remarks == gate.remarks
    later = read_chart((GATE + "section: Coda; as Last chorus\nremark: slower\n").encode())
    assert later.remarks[-2:] == (
        Remark("Guitar 1, Ness: louder", ("Last chorus",)),
        Remark("slower", ("Coda",)),
    )


@pytest.mark.parametrize(("limit", "most"), [("_WIDEST", 300), ("_MOST_NOTES", 15)])
def test_a_bar_that_no_line_can_hold(monkeypatch, tmp_path, limit, most):
    """The error is a sentence with the place; the engraver itself would write to the terminal, or
    hang.
    """
    monkeypatch.setattr(f"arrange.handouts.engraving.{limit}", most)
    rows = [("Guitar 1", "A3", 0.25 * place, 0.25) for place in range(16)]
    with pytest.raises(ArrangeError, match="Guitar 1, bar 1: it holds more notes than a line"):
        write_handout(song_of(*rows), tmp_path / "sheets")
    assert not list(tmp_path.iterdir())


def test_a_key_that_ends_is_said():
    """Otherwise the old key would seem to stay in force."""
    chart = (
        "key: B major\npart: Guitar 1; standard tuning\nsection: Verse\nGuitar 1 | x24442 |\n"
        "key: none\nsection: Chorus\nGuitar 1 | x32010 |\nkey: C major\nsection: Tag\n"
        "Guitar 1 | x32010 |\n"
    )
    assert new_facts(read_chart(chart.encode())) == {2: "key none", 3: "key C major"}
    one_bar = read_chart(chart.partition("key: none")[0].encode())
    assert dict(song_facts(one_bar))["Length"].endswith(", 1 bar")


def test_a_player_is_named_once():
    """If the part is named after its player, as after condensing, the head gives the name once."""
    tarrow = read(DATASETS / "tarrow-weir.txt")
    for name, said in (("Corrie", "Corrie"), ("Guitar 1", "")):
        parts = tarrow.parts.assign(player=tarrow.parts["part"].replace("Guitar 1", name))
        sheet = part_sheet(replace(tarrow, parts=parts), Player("Guitar 1"), "shapes")
        assert sheet.player == said


def test_a_decision_that_names_its_part_says_it_once():
    lower = Decision("Guitar 1: lower", "clearer", section="Chorus 1", parts=("Guitar 1",))
    assert decision_words(lower, 99) == "Chorus 1: Guitar 1: lower – clearer"
    assert decision_words(replace(lower, what="lower"), 99) == (
        "Chorus 1, Guitar 1: lower – clearer"
    )


def test_a_capo_that_moves_without_a_rest_says_so():
    made = song_of(
        ("Guitar 1", "E3", 0, 8), ("Guitar 1", "E4", 8, 8), sections=[("A", 1), ("B", 3)], bars=4
    )
    stays = part_stays(made, "Guitar 1")
    found = setup_words(with_setup(made, "Guitar 1", "B", capo=2), "Guitar 1", stays)
    assert found["A"] == ("then capo 2, with no rest to move it",)


def sheets_of_changing_sounds():
    """The sheet of a guitar that changes sound, echo and capo from section to section."""
    made = song_of(
        *(("Guitar 1", "E3", onset, 2) for onset in (0, 2, 4, 16, 18, 24, 26)),
        sections=[("A", 1), ("B", 3), ("C", 5), ("D", 7)], bars=8, tempo=60.0,
    )  # fmt: skip
    made = with_setup(made, "Guitar 1", "A", layers="Pulse")
    sound = {"drive": "overdriven", "echo": "dotted eighth", "capo": 2}
    made = with_setup(made, "Guitar 1", "C", **sound, layers='Hook + "Drive + Fx"')
    made = with_setup(made, "Guitar 1", "D", drive="overdriven", capo=2)
    return sheet(made, "Guitar 1", "notation"), made


def test_a_section_says_its_sound_its_capo_and_its_layers():
    """A sound stands where it changes, an echo that is off where it was on, sections that stand
    together all say theirs; a capo to be changed in the section before, with its time.
    """
    page, _ = sheets_of_changing_sounds()
    assert [stretch.facts for stretch in page.stretches] == [
        ("full", "clean", "no capo", "from Pulse"),
        ("softer", "then capo 2, 10 s for it"),
        (
            "overdriven", "capo 2",
            "C: full, echo dotted eighth, from Hook and Drive + Fx", "D: softer, no echo",
        ),
    ]  # fmt: skip
    head = dict(page.facts)
    assert head["Sound"] == "clean at first; changes stand beside the sections"
    assert head["Capo"].startswith("none at first; changes stand beside the sections")
    assert head["Echo"] == "dotted eighth, 750 ms in bars 5–6"
    assert page.form == (("A", 1, 2, True), ("B", 3, 2, False), ("C", 5, 2, True),
                         ("D", 7, 2, True))  # fmt: skip
    assert page.legend == (
        "In a box: first bar, section, how many bars. Filled: you play; empty: lay out. "
        "At tablature: a slanted number is the finger."
    )


def test_what_rests_more_says_as_which_printed_bars_it_is():
    """The fullest section is printed; an earlier one that rests in its first bars is not, and a
    later one that ends otherwise says which of its bars are the same.
    """
    rows = [("Guitar 1", f"{'CDEFG'[(bar - 1) % 4 + (bar == 12)]}4", 4 * bar - 4 + beat, 1)
            for bar in range(3, 13) for beat in range(3)]  # fmt: skip
    made = song_of(*rows, sections=[("Intro", 1), ("Chorus 1", 5), ("Chorus 2", 9)], bars=12)
    intro, chorus = sheet(made, "Guitar 1", "notation").stretches
    assert (intro.title, intro.spans) == ("Intro", ())
    assert intro.cues[:2] == ("2 bars rest, in at bar 3", "bars 3–4 as bars 7–8 of Chorus 1")
    assert chorus.title == "Chorus 1, 2"
    assert [(span.label, span.first, span.last) for span in chorus.spans] == [
        ("", 5, 8), ("Chorus 2, bar 12", 12, 12),
    ]  # fmt: skip
    assert "Chorus 2: bars 9–11 as bars 5–7" in chorus.cues
    words = explain_part(made, "Guitar 1")
    assert [each.written_as or "nearly" * ("As" in each.line) for each in words.sections] == [
        "", "", "nearly",
    ]  # fmt: skip


def test_the_band_sheet_lists_every_sound_of_a_part():
    _, made = sheets_of_changing_sounds()
    ((_, words),) = band_sheet(made, None, {}).players
    assert words == "Guitar; no capo; capo 2; clean and overdriven; echo dotted eighth, 750 ms"


def test_a_player_is_named_once_on_the_band_sheet():
    """The same where the line of a part says who plays it."""
    tarrow = read(DATASETS / "tarrow-weir.txt")
    for name, said in (("Corrie", "Corrie; acoustic guitar"), ("Guitar 1", "Acoustic guitar")):
        parts = tarrow.parts.assign(player=tarrow.parts["player"].replace("Corrie", name))
        players = dict(band_sheet(replace(tarrow, parts=parts), None, {}).players)
        assert players["Guitar 1"].startswith(said)


@pytest.mark.long
def test_no_line_ends_within_a_tempo_or_a_pair_of_chords(tmp_path):
    """In the demo song they would, in both formats and on both papers."""
    low = read(DATASETS / "low-water.txt")
    pairs = ("quarter = 102", "Bb/D = G/B", "F/A = D/F#", "Eb/G = C/E")
    for paper in PAPERS:
        paths = write_handout(low, tmp_path, player="Guitar 2", layout=Layout(paper))
        part, page, band, _ = paths
        text = "".join(each.extract_text() for each in pypdf.PdfReader(part).pages)
        assert [pair for pair in pairs if pair not in text] == []
        assert "dotted quarter = 64" in pypdf.PdfReader(band).pages[0].extract_text()
        html = page.read_text(encoding="utf-8")
        assert [pair for pair in pairs if pair.replace(" ", "\u00a0") not in html] == []
        assert "dotted\u00a0quarter\u00a0=\u00a064" in html


def test_names_of_many_parts_stand_upright_on_the_web_page_too():
    """As in print, where the names of all parts are long together."""
    low = band_sheet(read(DATASETS / "low-water.txt"), None, {})
    assert band_html(low, {}, [], "A4").count('class="upright"') == len(low.parts)
    short = replace(low, parts=("Ann", "Ben"), has_upright_names=False)
    assert 'class="upright"' not in band_html(short, {}, [], "A4")
