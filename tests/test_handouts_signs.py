"""Signs at the numbers of the tablature, bars drawn as the bar before, short systems, sizes.

What is drawn is found in the SVG: where a line or an arc begins and ends against the numbers, which
letters stand where. How techniques, fingers, counts and repeated bars are written is common
practice.
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest
from explaining_twin import wrong_statements
from songs import song as song_of

from arrange.explaining import explain_part
from arrange.explaining.passages import bar_counts_of
from arrange.formats.chart import read_chart
from arrange.formats.reading import read
from arrange.guitar.fret_counting import shown_fret
from arrange.guitar.players import Player
from arrange.handouts import engraving
from arrange.handouts.engraving import (
    blank_systems,
    drawn_part,
    engrave,
    engrave_prepared,
    prepare,
)
from arrange.handouts.line_heights import LineHeights
from arrange.handouts.marked_notes import marked_notes
from arrange.handouts.progressions import song_progressions
from arrange.handouts.sheets import fingered_part
from arrange.handouts.tab_signs import drawn_techniques
from arrange.tables.setups import note_setups

DATASETS = Path(__file__).parent.parent / "datasets"
DEMOS = [("low-water.musicxml", "Guitar 1"), ("low-water.musicxml", "Guitar 2"),
         ("last-bell.musicxml", "Lead"), ("tarrow-weir.txt", "Guitar 2")]  # fmt: skip
CAPITAL = 0.729  # height of capitals and digits of DejaVu Sans, from the font's OS/2 table
LEADS = """
E |--------|--------|
B |3h5p3-2-|2/5---5\\|
G |--------|--------|
D |--------|--------|
A |--------|--------|
E |----0---|--------|
"""


def tab(rows, chords="| Em | Em |", step="eighths"):
    """Return a song of one guitar in tablature."""
    return read_chart(
        f"key: E minor\npart: Guitar 1; standard tuning\nsection: A\nchords {chords}\n"
        f"Guitar 1, tab in {step}\n{rows.strip()}\n".encode()
    )


def bars(*cells, chords=None):
    """Return a song of one guitar, a cell a bar."""
    chords = chords or ["Em"] * len(cells)
    return read_chart(
        "key: E minor\npart: Guitar 1; standard tuning\nsection: A\n"
        f"chords | {' | '.join(chords)} |\nGuitar 1 | {' | '.join(cells)} |\n".encode()
    )


def only_line(song, **more):
    ((line,),) = engrave(song, "Guitar 1", [(1, len(song.measures))], 186, **more)
    return line


def numbers(line):
    """Return (x, base line, number) of the fret numbers, from left to right, without brackets."""
    found = re.findall(r'<text x="([\d.]+)" y="([\d.]+)" text-anchor="middle"'
                       r"[^>]*>\(?‹?([\d×]+)›?\)?</text>", line.picture)  # fmt: skip
    found += re.findall(r'translate\(([\d.]+) ([\d.]+)\) scale\([\d.]+ 1\)" text-anchor="middle"'
                        r"[^>]*>\(?‹?([\d×]+)›?\)?</text>", line.picture)  # fmt: skip
    return sorted((float(x), -float(y), number) for x, y, number in found)


def paths(line, kind):
    """Return (x, y) of the start and of the end of each path."""
    found = re.findall(rf'class="{kind}-tab" d="M(-?\d+) (-?\d+) .*?(-?\d+) (-?\d+)"', line.picture)
    return sorted(tuple(map(float, each)) for each in found)


def written(line, kind):
    """Return (x, text) of the letters of a kind, from left to right."""
    found = re.findall(rf'<text class="{kind}-tab" x="(-?\d+)"[^>]*>([^<]*)<', line.picture)
    return sorted((float(x), text) for x, text in found)


def repeats(line):
    return line.picture.count('class="mRpt"')


def symbols(line):
    return re.findall(r'class="harm"><text[^>]*>([^<]*)</text>', line.picture)


def test_arcs_with_letters_go_from_a_number_to_the_next_on_its_string():
    """3h5p3 stands on the B string; the open E struck with the second 3 gets none of it."""
    line = only_line(tab(LEADS))
    upper = [(x, y) for x, y, number in numbers(line) if number != "0"]
    arcs = paths(line, "lead")
    assert len(arcs) == 2
    for (left, top, right, end), (own, after) in zip(arcs, itertools.pairwise(upper), strict=False):
        assert own[0] < left < right < after[0]
        assert left - own[0] < 150
        assert after[0] - right < 150
        assert top == end < -own[1] - 200, "over the digits"
    assert [text for _, text in written(line, "lead")] == ["H", "P"]
    for (x, _), (left, _, right, _) in zip(written(line, "lead"), arcs, strict=True):
        assert abs(x - (left + right) / 2) < 1
    assert line.picture.count('class="slur"') == 2, "in the notation too"


def test_each_string_leads_to_its_own_next_number():
    """Two strings are hammered together: an arc each, one above the other, and one letter."""
    line = only_line(tab("""
E |--------|
B |3---5---|
G |2---4---|
D |--------|
A |--------|
E |--------|
""".replace("3---", "3h--").replace("2---", "2h--"), "| Em |"))  # fmt: skip
    two, three, four, five = (each[0] for each in numbers(line))
    arcs = paths(line, "lead")
    assert len(arcs) == 2
    assert len({top for _, top, _, _ in arcs}) == 2
    assert all(two == three < left < right < four == five for left, _, right, _ in arcs)
    assert [text for _, text in written(line, "lead")] == ["H"]


def test_slides_are_lines_that_rise_or_fall_with_the_frets():
    """2/5 rises; the slide at the end leads to no note and is open."""
    line = only_line(tab(LEADS))
    (left, start, right, end), (open_left, _, open_right, _) = paths(line, "slide")
    two, five = [each for each in numbers(line) if each[2] in "25"][-3:-1]
    assert two[0] < left < right < five[0]
    assert end < start, "upward"
    assert open_left > numbers(line)[-1][0]
    assert 0 < open_right - open_left < 400
    falling = only_line(tab(LEADS.replace("2/5", "5/2").replace("5\\", "5-")))
    ((_, start, _, end),) = paths(falling, "slide")
    assert end > start


def test_what_leads_over_the_end_of_a_line_goes_on_in_the_next_one():
    song = tab(LEADS.replace("3-2-|2/5", "--2h|5--"))
    (lines,) = engrave(song, "Guitar 1", [(1, 2)], 70)
    assert len(lines) == 2
    arc, arrival = paths(lines[0], "lead")[-1], paths(lines[1], "lead")[0]
    ends = [float(x) for x in re.findall(r'd="M-?[\d.]+ [\d.]+ L([\d.]+) ', lines[0].picture)]
    assert abs(arc[2] - max(ends)) < 100, "open to the end of the staff"
    assert arrival[2] < numbers(lines[1])[0][0] < arrival[2] + 200
    assert [text for _, text in written(lines[1], "lead")] == []


def test_nothing_leads_to_a_note_that_does_not_follow_at_once():
    """On the B string the 5 comes a beat too late: the arc is open, the notation has no slur."""
    song = tab("""
E |---3----|
B |-3h--5--|
G |--------|
D |--------|
A |--------|
E |--------|
""", "| Em |")  # fmt: skip
    notes = song.notes
    short = notes["duration"].where(notes["technique"].isna(), 0.5)
    song = type(song)(song.parts, song.sections, song.measures, song.chords,
                      notes.assign(duration=short))  # fmt: skip
    line = only_line(song)
    assert "slur" not in line.picture
    ((left, _, right, _),) = paths(line, "lead")
    five = next(each for each in numbers(line) if each[2] == "5")
    assert right - left < 500 < five[0] - left


def test_a_slide_out_of_a_stretch_does_not_lead_into_another():
    song = bars("E4 ~ ~ ~ ~ ~ ~ D4 slide", "E4", "E4 ~ D4 ~ E4 ~ D4 ~", "G4")
    (first,), (other,) = engrave(song, "Guitar 1", [(1, 1), (3, 4)], 186)
    assert "gliss" not in first.picture + other.picture
    ((both,),) = engrave(song, "Guitar 1", [(1, 2)], 186)
    assert both.picture.count("gliss") == 1


@pytest.mark.parametrize("has_notes", [True, False])
def test_what_rings_on_into_a_stretch_is_a_note_with_a_tie_to_it(has_notes):
    """No rest: the whole bar of the open chord, then half a bar of it, in brackets in the tablature
    (common practice); it is not counted again.
    """
    song = bars("022000", "~", "320033 ~ ~ ~", "~ ~ xx0232 ~")
    lines = [line for own in engrave(song, "Guitar 1", [(2, 2), (3, 3), (4, 4)], 186,
                                     has_notes=has_notes) for line in own]  # fmt: skip
    staves = 1 + has_notes
    assert [len(re.findall('class="tie-in"', line.picture)) for line in lines] == [
        6 * staves, 0, 6 * staves,
    ]  # fmt: skip
    assert [len(re.findall(r">\([\d×]+\)</text>", line.picture)) for line in lines] == [6, 0, 6]
    assert not any('class="rest"' in line.picture for line in lines)
    assert [[number for _, _, number in numbers(line)] for line in lines] == [
        [*"022000"], [*"320033"], [*"3200330232"],
    ]  # fmt: skip
    assert [[text for _, text, _ in counts(line)] for line in lines] == [
        [], [] if has_notes else ["1"], [] if has_notes else ["3"],
    ]  # fmt: skip


def test_palm_mute_and_let_ring_are_said_once_a_run():
    """Two runs in one line: a broken line from the words to the last number of each."""
    song = bars("022000 eighths palm-mute", "022000 eighths", "022000 eighths palm-mute",
                "xx0232 quarters let-ring")  # fmt: skip
    line = only_line(song)
    assert [text for _, text in written(line, "run")] == ["P.M.", "P.M.", "let ring"]
    assert line.picture.count("stroke-dasharray") == 3
    places = sorted({x for x, _, number in numbers(line)})
    starts = [x for x, _ in written(line, "run")]
    assert [min(places, key=lambda each: abs(each - x)) for x in starts] == [
        places[0], places[16], places[24],
    ]  # fmt: skip


def test_techniques_that_are_drawn_need_no_words():
    assert set(drawn_techniques(has_tab=False)) < set(drawn_techniques(has_tab=True))
    assert "bend" not in drawn_techniques(has_tab=True)


def test_fingers_stand_where_the_hand_moves():
    """The hand lies at 5, also for the 8 with the fourth finger, and from the 9 on at 9."""
    song = tab("""
E |------9-|9-------|
B |5-8-----|----9---|
G |--------|--------|
D |--------|--------|
A |--------|--------|
E |--------|--------|
""")  # fmt: skip
    fingers = [1, 4, 1, 1, 1]
    line = only_line(song, fingers=fingers)
    found = written(line, "finger")
    assert [text for _, text in found] == ["1", "1"]
    x = [each[0] for each in numbers(line)]
    assert [at for at, _ in found] == [x[0], x[2]]
    assert written(only_line(song), "finger") == []


def test_no_finger_stands_below_an_open_string():
    """The finger of the second fret would be read as that of the open E; the G that follows in the
    same place has it.
    """
    line = only_line(bars("022000", "x02220"), fingers=[0, 2, 3, 0, 0, 0, 0, 1, 2, 3, 0])
    assert written(line, "finger") == []
    line = only_line(bars("022000", "320033"), fingers=[0, 2, 3, 0, 0, 0, 3, 2, 0, 0, 4, 4])
    assert [text for _, text in written(line, "finger")] == ["3"]


@pytest.mark.sampled
@pytest.mark.parametrize(("name", "part"), DEMOS)
def test_fingers_of_the_demos_are_those_of_a_slow_count(name, part):
    """Attack by attack: where the hand lies, how far it went, which string is the lowest."""
    song, fingered = fingered_part(read(DATASETS / name), Player(part))
    fingers = fingered["finger"].tolist()
    own = song.notes[song.notes["part"] == part].assign(finger=fingers)
    wanted, before, has_moved = [], None, False
    for _, attack in own.groupby("onset"):
        attack = attack[attack["string"].notna()]
        held = attack[attack["finger"].between(1, 4) & (attack["fret"] > 0)]
        if not len(held):
            continue
        least = held.sort_values("finger", kind="stable").iloc[0]
        place = least["fret"] - least["finger"]
        wide = held["fret"].max() - held["fret"].min() >= 4
        has_moved = bool(has_moved or before is None or abs(place - before) >= 2 or wide)
        lowest = attack[~attack["grace"]].sort_values("string").iloc[-1:]
        for note in lowest.itertuples():
            if note.Index in held.index:
                wanted += [int(note.finger)] * has_moved
                has_moved = False
        before = place
    marked = marked_notes(song, part, fingers).sort_values("onset", kind="stable")
    assert marked["finger"][marked["finger"] > 0].tolist() == wanted
    assert wanted or part == "Power left", "its shapes all stand over an open string"


def test_bars_that_are_the_same_are_the_sign_of_the_bar_before():
    """Eight bars take one line, chord symbol and notes stand once; notation and tablature."""
    line = only_line(bars(*["022000 eighths"] * 8))
    assert repeats(line) == 2 * 7
    assert symbols(line) == ["Em"]
    assert len(numbers(line)) == 6 * 8
    staff = re.findall(r'class="staff">\s*<path d="M([\d.]+) [\d.]+ L([\d.]+) ', line.picture)
    first, *others = [float(right) - float(left) for left, right in staff[::2]]
    assert max(others) < first / 2


def test_which_bars_are_the_sign_of_the_bar_before():
    """Not two alone, not under another chord, not one that rings on, not the first of a stretch."""
    assert repeats(only_line(bars("E4 D4", "E4 D4", "D4 E4"))) == 0
    assert repeats(only_line(bars(*["E4"] * 4, chords=["Em", "Em", "C", "C"]))) == 0
    assert repeats(only_line(bars(*["E4"] * 3, "."))) == 4
    assert repeats(only_line(bars("E4 ~ D4 ~", "E4 ~ D4 ~", "E4 ~ D4 ~", "~ ~ D4 ~"))) == 0
    assert repeats(only_line(bars(".", ".", ".", "."))) == 0
    song = bars(*["E4"] * 6)
    (first,), (later,) = engrave(song, "Guitar 1", [(1, 6), (3, 6)], 186)
    assert (repeats(first), repeats(later)) == (10, 6)
    assert symbols(later) == ["Em"]


def test_a_long_row_of_equal_bars_is_written_again_for_each_line():
    (lines,) = engrave(bars(*["022000"] * 20), "Guitar 1", [(1, 20)], 186)
    assert [(line.first, line.last) for line in lines] == [(1, 8), (9, 16), (17, 20)]
    assert [len(numbers(line)) for line in lines] == [6, 6, 6]
    assert [repeats(line) for line in lines] == [14, 14, 6]


@pytest.mark.sampled
@pytest.mark.parametrize("staff_mm", [4.5, 4.7, 5.5, 6.7])
def test_digits_and_symbols_are_legible_in_any_size(staff_mm):
    """A fret is 2 mm high and a chord symbol 2.6 mm, on the paper; each bar stands once."""
    song = read(DATASETS / "low-water.musicxml")
    (lines,) = engrave(song, "Guitar 1", [(1, 64)], 186, staff_mm)
    assert [bar for line in lines for bar in range(line.first, line.last + 1)] == [*range(1, 65)]
    for line in lines:
        mm = 186 / line.width
        assert abs(720 * mm - staff_mm) < 0.01
        sizes = re.findall(r'font-size="(\d+)px"[^>]*>([^<]*)<', line.picture)
        frets = [int(size) for size, text in sizes if re.fullmatch(r"[\d×]+", text)]
        assert min(frets) * CAPITAL * mm >= 1.99
        chords = re.search(r'class="harm"><text[^>]*font-size="(\d+)', line.picture)
        assert int(chords[1]) * CAPITAL * mm >= 2.59
        assert line.number_size * CAPITAL * mm >= 1.59


@pytest.mark.parametrize("has_notes", [True, False])
def test_a_part_is_measured_once_for_all_sizes(monkeypatch, has_notes):
    calls, measure = [], engraving.bar_widths
    monkeypatch.setattr(engraving, "bar_widths", lambda xml: calls.append(xml) or measure(xml))
    song = read(DATASETS / "tarrow-weir.txt")
    prepared = prepare(drawn_part(song, "Guitar 1"), [(2, 9), (34, 41)], has_notes=has_notes)
    count = len(calls)
    for staff_mm in (5.0, 6.7):
        lines = engrave_prepared(prepared, 186, staff_mm)
        assert len(calls) == count > 0
        alone = engrave(song, "Guitar 1", [(2, 9), (34, 41)], 186, staff_mm, has_notes=has_notes)
        assert [(s.first, s.last, s.height) for each in lines for s in each] == [
            (s.first, s.last, s.height) for each in alone for s in each
        ]
        count = len(calls)
    # `lines` are those of the web page's size, from which heights in another are known.
    heights = LineHeights.of(prepared.part.notes, len(song.measures), [*itertools.chain(*lines)],
                             6.7, has_symbols=True)  # fmt: skip
    blank, drawn = (
        [line.height for own in each for line in own]
        for each in (blank_systems(prepared, 186, 5.0, heights), engrave_prepared(prepared, 186, 5))
    )
    assert len(blank) == len(drawn)
    assert sum(blank) == pytest.approx(sum(drawn), rel=0.06)  # as the module says


def test_one_bar_or_two_keep_their_natural_width():
    """Two of them fit beside each other; what is cut off is blank."""
    song = read(DATASETS / "tarrow-weir.txt")
    (one,), (two,), (four,) = engrave(song, "Guitar 1", [(18, 18), (18, 19), (34, 37)], 186)
    assert one.natural < two.natural < two.width / 2
    assert four.natural == four.width == two.width == one.width
    for line in (one, two):
        cut = line.cut()
        assert cut.width == line.natural
        assert cut.height * cut.width == pytest.approx(line.height * line.width)
        view = re.search(r'viewBox="0 0 (\d+) (\d+)"', cut.picture)
        assert float(view[1]) == pytest.approx(cut.width, abs=1)
        ends = [float(x) for x in re.findall(r'd="M-?[\d.]+ [\d.]+ L([\d.]+) ', line.picture)]
        assert 620 + max(ends) <= cut.width < 620 + max(ends) + 200
        assert cut.numbered().count(">18</text>") == 1


@pytest.mark.sampled
@pytest.mark.parametrize("has_notes", [True, False])
@pytest.mark.parametrize(("name", "part"), DEMOS)
def test_signs_stay_within_their_picture(name, part, has_notes):
    song, fingered = fingered_part(read(DATASETS / name), Player(part))
    sections = zip(song.sections["first_measure"], song.sections["last_measure"], strict=True)
    for line in itertools.chain(
        *engrave(
            song, part, [*sections], 186, 4.7, fingered["finger"].tolist(), has_notes=has_notes
        )
    ):
        moved = re.search(r'<g color="black" transform="translate\(0 (-?\d+)\)', line.picture)
        margin = re.search(r'page-margin" transform="translate\([\d.]+, ([\d.]+)', line.picture)
        down = float(moved[1]) + float(margin[1])
        rows = re.findall(r'<text class="[a-z]+-tab" x="(-?\d+)" y="(-?\d+)"', line.picture)
        for x, y in rows:
            assert 0 < float(x) + 620 < line.width
            assert 150 < float(y) + down <= line.height * line.width - 20


def counts(line):
    """Return (x, text, how narrow) of the counts, from left to right."""
    found = re.findall(r'class="count-tab" (?:x="(\d+)"|transform="translate\((\d+) \d+\) '
                       r'scale\(([\d.]+) 1\)")[^>]*>([^<]*)<', line.picture)  # fmt: skip
    return sorted((float(x or moved), text.replace("&amp;", "&"), float(narrow or 1))
                  for x, moved, narrow, text in found)  # fmt: skip


def said_counts(song, part, bar):
    """Return (count as it is said, fret numbers) of each attack of a bar."""
    own = song.notes[(song.notes["part"] == part) & (song.notes["measure"] == bar)]
    own = own[~own["grace"] & ~own["technique"].fillna("").str.contains("cue")]
    setting = song.measures.iloc[bar - 1]
    attacks = [(onset - setting["onset"], notes) for onset, notes in own.groupby("onset")]
    said = bar_counts_of(setting["meter"], setting["duration"], [at for at, _ in attacks])
    if any(count.startswith("after") for count in said):
        return [("", [])] * len(said)
    capo = note_setups(song)["capo"]
    frets_from = song.parts.set_index("part")["frets_from"][part]
    return [
        (count, sorted("×" if isinstance(note.technique, str) and "muted" in note.technique
                       else str(shown_fret(note.fret, capo[note.Index], frets_from))
                       for note in notes.itertuples()))
        for count, (_, notes) in zip(said, attacks, strict=True)
    ]  # fmt: skip


@pytest.mark.sampled
@pytest.mark.parametrize(("name", "part"), DEMOS)
def test_each_attack_has_its_count_below_it(name, part):
    """Bar by bar: the count as it is said, and above it the frets of that attack."""
    song, _ = fingered_part(read(DATASETS / name), Player(part))
    sections = [*zip(song.sections["first_measure"], song.sections["last_measure"], strict=True)]
    prepared = prepare(drawn_part(song, part), sections, has_notes=False)
    for lines, (stretch, _) in zip(engrave_prepared(prepared, 186, 4.7), prepared.stretches,
                                   strict=True):  # fmt: skip
        for line in lines:
            bars = [bar for bar in range(line.first, line.last + 1) if bar not in stretch.repeated]
            wanted = [each for bar in bars for each in said_counts(song, part, bar) if each[0]]
            found = counts(line)
            assert len(found) == len(wanted)
            drawn = numbers(line)
            for (x, text, _), (said, frets) in zip(found, wanted, strict=True):
                assert text == said or (not text[0].isdecimal() and said.endswith(text))
                assert sorted(fret for at, _, fret in drawn if abs(at - x) < 1) == frets


@pytest.mark.sampled
@pytest.mark.parametrize("staff_mm", [4.7, 6.7])
@pytest.mark.parametrize(("step", "cell"), [("sixteenths", "3" * 16), ("eighth triplets", "3" * 12),
                                            ("sixteenths", "3-33" * 4), ("sixteenths", "-33-" * 4),
                                            ("eighth triplets", "-33" * 4)])  # fmt: skip
def test_counts_are_legible_and_touch_nothing(step, cell, staff_mm):
    rest = "-" * len(cell)
    rows = [f"{string} |{'|'.join([cell if string == 'B' else rest] * 4)}|" for string in "EBGDAE"]
    song = tab("\n".join(rows), "| Em | D | G | C |", step)
    (lines,) = engrave(song, "Guitar 1", [(1, 4)], 186, staff_mm, has_notes=False)
    widths = {"&": 0.78, "e": 0.615, "a": 0.613, "trip": 1.716, "let": 1.285}
    for line in lines:
        size = int(re.search(r'class="count-tab"[^>]*font-size="(\d+)', line.picture)[1])
        assert size * CAPITAL * 186 / line.width >= 1.79
        found = []
        for x, text, narrow in counts(line):
            digits = len(text) - len(text.lstrip("1234"))
            wide = 0.636 * digits + widths.get(text[digits:], 0)
            found.append((x, size * narrow * wide / 2))
            assert narrow >= 0.4
        assert len(found) == (line.last - line.first + 1) * sum(sign != "-" for sign in cell)
        for (x, half), (after, other) in itertools.pairwise(found):
            assert x + half + 20 < after - other


def strokes(line):
    """Return (x, "down" or "up") of the signs of strokes, from left to right."""
    found = re.findall(r'class="(down|up)-stroke" d="M(\d+) [^"]*L(\d+) \d+"', line.picture)
    return sorted(((float(left) + float(right)) / 2, kind) for kind, left, right in found)


@pytest.mark.parametrize("has_notes", [True, False])
def test_strums_have_their_strokes_once(has_notes):
    """Down on the beat, up between; the second bar goes on as the first, the third strums beats;
    one strum on the beat and two strings have none.
    """
    song = bars("022000 eighths", "320033 eighths", "xx0232 quarters", "022000 . xx02xx xx02xx",
                "1: xx0232 2&: xx0232")  # fmt: skip
    (lines,) = engrave(song, "Guitar 1", [(1, 5)], 290, 4.7, has_notes=has_notes)
    (line,) = lines
    found = strokes(line)
    assert [kind for _, kind in found] == ["down", "up"] * 4 + ["down"] * 4 + ["down", "up"]
    places = sorted({x for x, _, _ in numbers(line)})
    wanted = [*places[:8], *places[16:20], *places[-3:-1]]  # the last number is tied on
    assert [x for x, _ in found] == pytest.approx(wanted, abs=1)


def test_a_meter_that_is_added_up_is_counted_through_and_strummed_by_groups():
    """Three and two eighths: each group has a beam and begins with a stroke down."""
    song = read_chart(
        b"key: E minor\nmeter: 3+2/8\npart: Guitar 1; standard tuning\nsection: A\n"
        b"chords | Em | 1: C 4: G |\nGuitar 1 | 022000 eighths | x32010 eighths |\n"
    )
    alone, both = (only_line(song, has_notes=has_notes) for has_notes in (False, True))
    assert [text for _, text, _ in counts(alone)] == list("1234512345")
    assert [kind for _, kind in strokes(alone)] == ["down", "up", "down", "down", "up"]
    assert both.picture.count('class="beam"') == 4
    assert [[entry.symbol for entry in bar] for bar in song_progressions(song)[0].bars] == [
        ["Em"], ["C", "G"],
    ]  # fmt: skip
    words = explain_part(song, "Guitar 1")
    assert "Em on 1 2 3 4 5" in words.text("steps")
    assert not wrong_statements(song, "Guitar 1", words)


def test_drums_have_no_key():
    song = song_of(("Drums", None, 0, 1), ("Guitar", "F#3", 0, 4), key="D major")
    for part, keys in (("Drums", 0), ("Guitar", 2)):
        ((line,),) = engrave(song, part, [(1, 1)], 186)
        assert line.picture.count('class="keyAccid"') == keys


SYNCOPATED = """
E |--------|--------|
B |33-3--33|-3--3---|
G |--------|--------|
D |--------|--------|
A |--------|--------|
E |--------|--------|
"""


def test_a_sign_stands_alone_where_its_number_is_struck():
    line = only_line(tab(SYNCOPATED), has_notes=False)
    assert [text for _, text, _ in counts(line)] == ["1", "&", "2&", "4", "&", "1&", "3"]
    assert counts(only_line(tab(SYNCOPATED))) == [], "notation needs none"


def test_a_bar_whose_rhythm_fits_no_count_has_none():
    """Thirds of a beat and quarters of another one."""
    song = tab("""
E |--------|--------|
B |222222--|3-3-3-3-|
G |--------|--------|
D |--------|--------|
A |--------|--------|
E |--------|--------|
""")  # fmt: skip
    onset = [0, 1 / 3, 2 / 3, 1, 1.25, 1.5, *song.notes["onset"].iloc[6:]]
    length = [1 / 3, 1 / 3, 1 / 3, 0.25, 0.25, 2.5, *song.notes["duration"].iloc[6:]]
    notes = song.notes.assign(onset=onset, duration=length)
    song = type(song)(song.parts, song.sections, song.measures, song.chords, notes)
    line = only_line(song, has_notes=False)
    assert [text for _, text, _ in counts(line)] == ["1", "2", "3", "4"]
    assert counts(line)[0][0] == numbers(line)[-4][0]


@pytest.mark.sampled
@pytest.mark.parametrize(("name", "part"), DEMOS)
def test_tablature_alone_is_lower_and_has_the_same_symbols(name, part):
    song, fingered = fingered_part(read(DATASETS / name), Player(part))
    sections = [*zip(song.sections["first_measure"], song.sections["last_measure"], strict=True)]
    fingers = fingered["finger"].tolist()
    alone, both = (
        list(itertools.chain(*engrave(song, part, sections, 186, 4.7, fingers, has_notes=has)))
        for has in (False, True)
    )
    played = [[line.height * 186 for line in each if numbers(line)] for each in (alone, both)]
    assert max(played[0]) < min(23, *played[1])
    assert [symbol for line in alone for symbol in symbols(line)] == [
        symbol for line in both for symbol in symbols(line)
    ]
    assert [text for line in alone for _, text in written(line, "finger")] == [
        text for line in both for _, text in written(line, "finger")
    ]
    for line in alone:
        assert line.picture.count('class="clef"') == 1
        assert "keySig" not in line.picture
        meters = song.measures["meter"].tolist()
        is_new = any(bar == 1 or meters[bar - 2] != meters[bar - 1]
                     for bar in range(line.first, line.last + 1))  # fmt: skip
        assert ('class="meterSig"' in line.picture) == is_new


def test_a_new_meter_is_seen_in_tablature_alone():
    song = read_chart(
        b"key: E minor\nmeter: 3/4\npart: Guitar 1; standard tuning\nsection: A\n"
        b"chords | Em | Em |\nGuitar 1 | 022000 | 022000 |\n"
        b"section: B\nmeter: 4/4\nchords | Em | Em |\nGuitar 1 | 022000 | 022000 |\n"
    )
    (lines,) = engrave(song, "Guitar 1", [(1, 4)], 186, has_notes=False)
    assert sum(line.picture.count('class="meterSig"') for line in lines) == 2
    assert {text for line in lines for _, text, _ in counts(line)} == {"1"}


def test_what_lies_on_no_string_is_written_in_notation():
    """The stretch with such a note alone; a part without a tuning whole."""
    song = bars("022000 quarters", "320033", "022000 quarters", "320033")
    notes = song.notes.assign(string=song.notes["string"].mask(song.notes.index == 0),
                              fret=song.notes["fret"].mask(song.notes.index == 0))  # fmt: skip
    song = type(song)(song.parts, song.sections, song.measures, song.chords, notes)
    both = engrave(song, "Guitar 1", [(1, 2), (3, 4)], 186)
    alone = engrave(song, "Guitar 1", [(1, 2), (3, 4)], 186, has_notes=False)
    assert alone[0] == both[0]
    assert alone[1][0].height < both[1][0].height / 1.2
    assert len(counts(alone[1][0])) == 5
    low_water = read(DATASETS / "low-water.musicxml")
    voice = [engrave(low_water, "Voice", [(5, 12)], 186, has_notes=has) for has in (True, False)]
    assert voice[0] == voice[1]


def test_a_clef_is_whole():
    """Below the staff it reaches 655 thousandths of its height, from the engraver's font."""
    song = read(DATASETS / "low-water.musicxml")
    for line in itertools.chain(*engrave(song, "Voice", [(1, 4)], 186)):
        moved = re.search(r'<g color="black" transform="translate\(0 (-?\d+)\)', line.picture)
        margin = re.search(r'page-margin" transform="translate\([\d.]+, ([\d.]+)', line.picture)
        clef = re.search(r'href="#E050[^>]*translate\(\d+, (\d+)\)', line.picture)
        low = float(clef[1]) + 0.72 * 655 + float(margin[1]) + float(moved[1])
        assert low < line.height * line.width
