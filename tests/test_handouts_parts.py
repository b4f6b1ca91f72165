"""The parts of a handout: beats, unchanged stretches, cues, engraved lines, strums, page turns.

Worked by hand, against an obvious second implementation, or against the Song itself. How players
count and call things is common practice; the order of a note's elements is MusicXML 4.0's (W3C).
"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
import pandas as pd
import pytest
from explaining_twin import Reading
from matplotlib.ft2font import FT2Font, LoadFlags
from songs import notes_of, parts_of, song

from arrange.explaining.cues import bars_words, nearly_words, section_cues
from arrange.explaining.held_shapes import part_shapes
from arrange.explaining.other_guitars import other_guitars
from arrange.explaining.part_sections import own_notes, part_stays
from arrange.formats.chart import read_chart
from arrange.formats.reading import read
from arrange.guitar.fret_pictures import finger_picture
from arrange.guitar.necks import Neck, parse_shape
from arrange.guitar.players import Player
from arrange.handouts import engraver, engraving, shapes_and_rhythm
from arrange.handouts.drawing import draw_shape
from arrange.handouts.engraving import engrave
from arrange.handouts.excerpts import part_excerpt
from arrange.handouts.page_turns import EMPTY_COST, TURN_SECONDS, page_starts, turn_cost
from arrange.handouts.shapes_and_rhythm import strum_section, strum_sections
from arrange.handouts.sheets import fingered_part, tuning_words
from arrange.theory.meters import (
    bar_counts,
    bar_grid,
    beat_name,
    beats_a_minute,
    is_compound,
    tempo_words,
)

DATASETS = Path(__file__).parent.parent / "datasets"
NOTE_ORDER = (
    "grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument",
    "footnote", "level", "voice", "type", "dot", "accidental", "time-modification", "stem",
    "notehead", "notehead-text", "staff", "beam", "notations", "lyric", "play", "listen",
)  # fmt: skip


@pytest.mark.parametrize(
    ("meter", "quarters", "beat", "counted"),
    [
        ("4/4", 102, "quarter", 102),
        ("6/8", 162, "dotted quarter", 108),
        ("9/8", 144, "dotted quarter", 96),
        ("2/2", 120, "half", 60),
        ("7/8", 100, "eighth", 200),
        ("3/4", 90, "quarter", 90),
        ("6/4", 90, "quarter", 90),
        ("free", 60, "quarter", 60),
    ],
)
def test_the_beat_is_what_players_count(meter, quarters, beat, counted):
    assert beat_name(meter) == beat
    assert beats_a_minute(quarters, meter) == counted
    assert tempo_words(quarters, meter) == f"{beat} = {counted}"
    assert is_compound(meter) == beat.startswith("dotted")


def test_bars_are_counted_aloud():
    assert bar_counts("4/4", 2) == ["1", "&", "2", "&", "3", "&", "4", "&"]
    assert bar_counts("2/4", 4) == ["1", "e", "&", "a", "2", "e", "&", "a"]
    assert bar_counts("3/4", 3) == ["1", "trip", "let", "2", "trip", "let", "3", "trip", "let"]
    assert bar_counts("6/8", 3) == list("123456")
    assert bar_counts("6/8", 6) == ["1", "&", "2", "&", "3", "&", "4", "&", "5", "&", "6", "&"]
    assert bar_counts("4/4", 5) == bar_counts("free", 2) == []
    assert bar_grid("3+2/8", 2.5, [0.5, 1.5]).counts == list("12345")
    assert bar_grid("3+2/8", 2.5, [0.5, 1.5]).places == [0, 1, 2, 0, 1]
    assert bar_grid("2+2+3/8", 3.5, [0.25]).said[:4] == ["1", "1&", "2", "2&"]
    assert bar_grid("3+2/4", 5.0, [0.5]).counts == bar_grid("5/4", 5.0, [0.5]).counts
    assert bar_grid("2/4 + 3/8", 3.5, [0.5]).places == [0, 1, 0, 1, 0, 1, 2]
    assert bar_grid("3+2/8", 2.5, [1 / 3]) is None


def test_bars_are_listed_in_runs():
    assert bars_words([3]) == "bar 3"
    assert bars_words([8, 5, 6, 3, 7, 7]) == "bars 3, 5–8"


def four_sections():
    """Return a song in which Guitar 1 plays A, rests, plays A with one bar changed, then A; Guitar
    2 is an octave higher.
    """
    line = ["C3", "E3", "G3", "E3", "F3", "A3", "C4", "A3"]
    other = [*line[:6], "G3", "A3"]
    rows = [("Guitar 1", p, n, 1) for n, p in enumerate(line)]
    rows += [("Guitar 2", p.replace("3", "5").replace("4", "6"), n, 1) for n, p in enumerate(line)]
    rows += [("Bass", "C2", 8 + n, 1) for n in range(4, 8)]
    rows += [("Guitar 1", p, 16 + n, 1) for n, p in enumerate(other)]
    rows += [("Guitar 1", p, 24 + n, 1) for n, p in enumerate(line)]
    return song(
        *rows, sections=[("Verse 1", 1), ("Break", 3), ("Verse 2", 5), ("Verse 3", 7)],
        chords=[(0, 0, "major", None)],
    )  # fmt: skip


def test_repeats_rests_and_small_changes_are_found():
    stays = part_stays(four_sections(), "Guitar 1")
    assert [stay.plays for stay in stays] == [True, False, True, True]
    assert [stay.written_as for stay in stays] == ["", "", "", "Verse 1"]
    assert (stays[2].nearly_as, stays[2].different) == ("Verse 1", (6,))


def test_cues_are_worked_out_from_the_notes():
    """The cues are: two octaves up, two bars out, the bass a bar before, one bar changed, alone."""
    own = four_sections()
    stays = part_stays(own, "Guitar 1")
    cues = section_cues(own, "Guitar 1", stays)
    assert cues[0] == ("doubles Guitar 2 two octaves lower",)
    assert cues[1][:2] == ("lay out 2 bars; in at Verse 2, bar 5", "listen: Bass in at bar 4")
    assert (nearly_words(stays[2]), cues[2]) == (["as Verse 1 but for bar 6"], ("alone",))
    assert cues[3] == ("alone",)
    other = section_cues(own, "Guitar 2", part_stays(own, "Guitar 2"))
    assert other[0] == ("doubles Guitar 1 two octaves higher",)
    assert other[1] == ("lay out 6 bars, to the end",)
    assert other[2] == ("still out, 4 more bars, to the end",)


@pytest.mark.parametrize(("names", "said"), [
    (("Voice", "Bass"), "together with Voice and Bass"),
    (("Voice", "Bass", "Keys"), "together with Voice, Bass and Keys"),
    (("Voice", "Bass", "Keys", "Voice 2"), "together with 4 others"),
])  # fmt: skip
def test_those_who_come_in_at_once_are_said_together(names, said):
    """In one phrase, by the words that a second reading of them bears out."""
    rows = [("Guitar", "E3", 8, 4), ("Guitar 2", "A3", 0, 2), ("Guitar 3", "A3", 0, 2)]
    own = song(*rows, *((name, "E4", 8, 4) for name in names), sections=[("A", 1), ("B", 3)])
    cue = section_cues(own, "Guitar", part_stays(own, "Guitar"))[0]
    listen = "listen: Guitar 2 and Guitar 3 in at bar 1"
    assert cue == ("lay out 2 bars; in at B, bar 3", listen, said)
    reading = Reading(own, "Guitar", None, None)
    assert reading.bears_out(f"{said}.", "A", {})
    assert reading.bears_out(f"{listen}.", "A", {})
    assert not reading.bears_out(f"{listen}.".replace("Guitar 3", "Voice"), "A", {})
    assert not reading.bears_out(f"{said}.".replace("Voice", "Drum").replace("4", "5"), "A", {})
    assert not reading.bears_out("Together with Voice and Guitar 2.", "A", {})
    others = other_guitars(own, "Guitar", part_stays(own, "Guitar"), [(), ()])
    assert others["B"] == ["Guitar 2 and Guitar 3 lay out"]
    assert reading.bears_out("Guitar 2 and Guitar 3 lay out.", "B", {})
    assert not reading.bears_out("Guitar 2 and Voice lay out.", "B", {})


def test_entries_techniques_and_held_notes_are_cued():
    """What rings on into a section is no rest there, whether something is struck in it or not; D
    is not said to be as A, with which it has a bar of rest alike and nothing else.
    """
    sections = [("A", 1), ("B", 3), ("C", 7), ("D", 9), ("E", 11)]
    notes = notes_of(("Guitar", "E3", 4, 2), ("Guitar", "G3", 6, 4), ("Guitar", "A3", 12, 4),
                     ("Guitar", "A3", 20, 5), ("Guitar", "E3", 36, 8), sections=sections,
                     technique=["palm mute", "palm mute, slide", None, None, None])  # fmt: skip
    own = song(parts=["Guitar"], bars=12, sections=sections)
    own = type(own)(own.parts, own.sections, own.measures, own.chords, notes)
    first, second, third, fourth, last = section_cues(own, "Guitar", part_stays(own, "Guitar"))
    assert first == ("1 bar rest, in at bar 2", "alone", "palm mute throughout", "slide: bar 2",
                     "hold the last notes on into B")  # fmt: skip
    assert second == ("held on from before, in at bar 4", "alone", "hold the last notes on into C")
    assert third == ("held on from before, then lay out 1 bar; in at D, bar 10",)
    assert fourth == ("1 bar rest, in at bar 10", "alone", "hold the last notes on into E")
    assert last == ("held on from before, then lay out 1 bar, to the end",)


@pytest.mark.parametrize("part", ["Guitar 1", "Guitar 2"])
@pytest.mark.parametrize("name", ["low-water.musicxml", "tarrow-weir.txt"])
def test_sections_written_as_another_are_note_for_note_the_same(name, part):
    """The rows of both sections are compared in a slow and obvious way."""
    own = read(DATASETS / name)
    notes = own_notes(own, part)
    stays = {stay.section: stay for stay in part_stays(own, part)}

    def rows(section):
        inside = notes[notes["section"] == section].copy()
        inside["onset"] -= stays[section].onset
        columns = ["onset", "duration", "pitch", "string", "fret"]
        return inside[columns].sort_values(["onset", "pitch"]).round(6).reset_index(drop=True)

    repeated = [stay for stay in stays.values() if stay.written_as]
    assert repeated
    for stay in repeated:
        pd.testing.assert_frame_equal(rows(stay.section), rows(stay.written_as))


def frets_drawn(line):
    return re.findall(r'text-anchor="middle"[^>]*>\(?‹?([\d×]+)›?\)?</text>', line.picture)


@pytest.mark.parametrize(
    ("name", "part"), [("low-water.musicxml", "Guitar 2"), ("tarrow-weir.txt", "Guitar 1")]
)
def test_tablature_shows_the_frets_of_the_song(name, part):
    """Every attack is shown: frets as the part says, open strings 0, muted ones a cross."""
    own = read(DATASETS / name)
    capo, frets_from = own.parts.set_index("part").loc[part, ["capo", "frets_from"]]
    less = capo if frets_from == "capo" else 0
    stays = [stay for stay in part_stays(own, part) if stay.plays]
    systems = engrave(own, part, [(stay.first, stay.last) for stay in stays], 186)
    for stay, lines in zip(stays, systems, strict=True):
        assert [line.first for line in lines] == [stay.first, *(n.last + 1 for n in lines[:-1])]
        assert lines[-1].last == stay.last
        for line in lines:
            notes = own_notes(own, part)
            inside = notes[notes["measure"].between(line.first, line.last) & ~notes["grace"]]
            is_muted = inside["technique"].str.contains("muted", na=False)
            wanted = ["×" if muted else "0" if fret == capo else str(fret - less)
                      for muted, fret in zip(is_muted, inside["fret"], strict=True)]  # fmt: skip
            drawn = frets_drawn(line)
            ties = len(re.findall(r'class="tie"', line.picture))
            assert len(wanted) <= len(drawn) <= len(wanted) + ties
            if not ties:
                assert sorted(drawn) == sorted(wanted)


def test_a_muted_note_stays_muted_over_a_tie():
    """The A is struck muted in bar 1 and held into bar 2: a cross each time, no fret."""
    own = read_chart(
        b"""key: A major
part: Guitar 1; standard tuning
section: A
chords   | A            | .      |
Guitar 1 | x02220 muted | x02220 |
"""
    )
    is_first = own.notes["measure"] == 1
    held = own.notes[is_first].assign(duration=6.0)
    after = own.notes[~is_first].assign(onset=6.0, duration=2.0)
    own = replace(own, notes=pd.concat([held, after], ignore_index=True))
    ((line,),) = engrave(own, "Guitar 1", [(1, 2)], 186)
    assert frets_drawn(line) == ["×"] * 10 + ["0", "2", "2", "2", "0"]


def test_chord_symbols_stand_over_their_lines():
    own = read(DATASETS / "low-water.musicxml")
    (lines,) = engrave(own, "Guitar 1", [(5, 12)], 186)
    for line in lines:
        drawn = re.findall(r'class="harm"><text[^>]*>([^<]*)</text>', line.picture)
        inside = own.chords[own.chords["measure"].between(line.first, line.last)]
        assert drawn == inside["symbol"].tolist()


def test_chord_symbols_stand_clear_of_each_other():
    """A fifth of their size apart and more, by the widths that the typeface itself gives."""
    font = FT2Font(str(Path(matplotlib.get_data_path()) / "fonts/ttf/DejaVuSans-Bold.ttf"))

    def wide(words):
        glyphs = [font.load_char(ord(letter), LoadFlags.NO_SCALE) for letter in words]
        return 450 * sum(glyph.horiAdvance for glyph in glyphs) / font.units_per_EM

    own = read_chart(
        b"""key: E major
part: Guitar 1
section: A
chords   | F#m7 C#m7  G#m7 F#m7 | C#m7 F#m7 G#m7 C#m7 |
Guitar 1 | C#4  E4    B3   E4   | E4   E4   E4   E4   |
"""
    )
    ((line,),) = engrave(own, "Guitar 1", [(1, 2)], 130)
    ends = []
    for place, symbol in re.findall(r'class="harm"><text ([^>]*)>([^<]*)<', line.picture):
        left = float(re.search(r'(?:^x="|translate\()(-?[\d.]+)', place)[1])
        narrow = float((re.search(r"scale\(([\d.]+)", place) or ("", 1))[1])
        ends.append((left, left + narrow * wide(symbol)))
    assert len(ends) == 8
    assert min(after - end for (_, end), (after, _) in itertools.pairwise(ends)) > 450 / 5


def drawn(lines):
    """Return the lines without the engraver's empty groups, which are invisible on the page."""
    return [(each.first, each.last, each.height,
             re.sub(r'\s*<g class="[^"]*(MilestoneEnd|pageMilestone)[^"]*" />', "", each.picture))
            for each in lines]  # fmt: skip


def test_a_section_that_returns_is_drawn_as_if_it_were_alone():
    """One bar, then the same two bars twice: they are engraved once, and the second time alone."""
    own = read_chart(
        b"""key: D major
part: Guitar 1
section: A
chords   | D           | G      | A             | G      | A             | D |
Guitar 1 | D4 E4 F#4 ~ | 320033 | x02220 pushed | 320033 | x02220 pushed | . |
"""
    )
    _, original, copied = engrave(own, "Guitar 1", [(1, 1), (2, 3), (4, 5)], 186)
    _, alone = engrave(own, "Guitar 1", [(1, 1), (4, 5)], 186)
    assert copied == [line.moved(2) for line in original]
    assert drawn(copied) == drawn(alone)


def test_a_long_part_is_engraved_in_pieces_that_do_not_show(monkeypatch):
    """Each piece is short, since the engraver's time grows with the square of the bars."""
    own = read(DATASETS / "last-bell.musicxml")
    stretches = list(zip(own.sections["first_measure"], own.sections["last_measure"], strict=True))
    together = engrave(own, "Rhythm", stretches, 186)
    sizes, render = [], engraving.score_pages

    def counted(xml, **options):
        sizes.append(xml.count("<measure ") // xml.count("<part "))
        return render(xml, **options)

    for module in (engraver, engraving):
        monkeypatch.setattr(module, "score_pages", counted)
    monkeypatch.setattr("arrange.handouts.engraved_documents._MOST_AT_ONCE", 16)
    pieces = engrave(own, "Rhythm", stretches, 186)
    assert max(sizes) <= 17
    assert len(sizes) > 6
    assert list(map(drawn, pieces)) == list(map(drawn, together))


def test_chord_symbols_stand_clear_of_the_accidentals_below():
    """A sharp reaches 1.4 staff spaces over its line (SMuFL metadata of usual fonts, from memory),
    a staff space is 180 in the picture."""
    own = read_chart(
        b"""key: A major
part: Flute; flute
section: A
chords | D           | Dm           |
Flute  | D6 ~ F#6 E6 | F6 ~ D6 ~    |
"""
    )
    ((line,),) = engrave(own, "Flute", [(1, 2)], 186)
    (accidental,) = re.findall(
        r'class="accid">\s*<use [^>]*translate\([\d.]+, (-?[\d.]+)\)', line.picture
    )
    rows = re.findall(r'class="harm"><text [^>]*?y="(-?[\d.]+)"', line.picture)
    assert len(rows) == 2
    assert max(map(float, rows)) < float(accidental) - 1.4 * 180


def test_a_long_title_fits_on_its_fret_picture():
    """A bold letter is some 0.68 of its size wide."""
    title = "G#m7 (2)"
    shape, fingers = parse_shape("022100", Neck()), (0, 0, 1, 3, 2, 0)
    picture = draw_shape(finger_picture(shape, title, Neck(), fingers))
    x, size = re.search(r'<text x="([\d.]+)" y="19.0" font-size="([\d.]+)"', picture).groups()
    assert float(x) + 0.68 * float(size) * len(title) / 2 <= 100


def test_short_notes_are_joined_by_the_beat():
    """Eighths are joined in twos under a quarter, in threes in 6/8; a sixteenth beside a dotted
    eighth.
    """
    lengths = [0.5] * 4 + [0.75, 0.25, 1.0]
    onsets = np.cumsum([0, *lengths[:-1]])
    own = song(*[("Voice", "C4", at, n) for at, n in zip(onsets, lengths, strict=True)])
    root, *_ = part_excerpt(own, "Voice", [(1, 1)])
    beams = [[beam.text for beam in note.findall("beam")] for note in root.iter("note")]
    assert beams == [["begin"], ["end"], ["begin"], ["end"], ["begin"],
                     ["end", "backward hook"], []]  # fmt: skip
    jig = song(*[("Voice", "C4", n / 2, 0.5) for n in range(6)], meter="6/8")
    root, *_ = part_excerpt(jig, "Voice", [(1, 1)])
    assert [note.findtext("beam") for note in root.iter("note")] == ["begin", "continue", "end"] * 2


def test_the_upper_voice_is_the_engraver_s_first():
    """The held chord of the end was typed first; stems of the tune above it point up."""
    own = read(DATASETS / "tarrow-weir.txt")
    root, *_ = part_excerpt(own, "Guitar 1", [(54, 55)])
    (score, _) = root.iter("part")
    octaves = {(note.findtext("voice"), int(note.findtext("pitch/octave")))
               for note in score.iter("note")}  # fmt: skip
    assert octaves == {("1", 5), ("2", 3), ("2", 4)}


def test_elements_of_a_note_keep_the_order_of_the_schema():
    own = read(DATASETS / "low-water.musicxml")
    root, numbers, *_ = part_excerpt(own, "Guitar 1", [(5, 12), (57, 64)])
    assert numbers == [*range(5, 13), *range(57, 65)]
    for note in root.iter("note"):
        order = [NOTE_ORDER.index(child.tag) for child in note]
        assert order == sorted(order)


def strummed_section(own, part, stay, neck):
    notes = own_notes(own, part)
    shapes = part_shapes(own, notes, dict.fromkeys(own.sections["section"], neck))
    return strum_section(own, notes, stay, shapes.get(stay.section))


def test_a_strum_is_counted():
    """C for a bar is strummed on 1, 2 & and 3; G is picked in eighths, then silence follows."""
    c_shape, g_shape = "C3 E3 G3 C4", [("G2", 6), ("D3", 4), ("G3", 3)]
    rows = [("Guitar", c_shape, at, n) for at, n in ((0, 1), (1.5, 0.5), (2, 2))]
    rows += [("Guitar", name, 4 + n / 2, 0.5) for n, (name, _) in enumerate(g_shape)]
    own = song(*rows, chords=[(0, 0, "major", None), (4, 7, "minor", None)],
               parts=parts_of("Guitar", tuning=[Neck().tuning]))  # fmt: skip
    own, _ = fingered_part(own, Player("Guitar"))
    notes = own_notes(own, "Guitar")
    strummed = strummed_section(own, "Guitar", part_stays(own, "Guitar")[0], Neck())
    first, second = strummed.bars
    assert first.counts == ("1", "&", "2", "&", "3", "&", "4", "&")
    assert first.marks == ("↓", "–", "·", "↑", "↓", "–", "–", "–")
    assert second.marks[3:] == ("·",) * 5
    picked = notes[notes["onset"] >= 4]["string"].astype(str).tolist()
    assert list(second.marks[:3]) == picked
    assert [label for label, _ in strummed.shapes] == ["major", "minor"]


def test_a_chord_held_from_the_section_before_rings_on():
    own = read_chart(
        b"""key: D major
part: Guitar 1
section: A
chords   | D             | G      |
Guitar 1 | xx0232        | 320033 |
section: B
chords   | ~                 | D               |
Guitar 1 | ~ . 320033 320033 | ~ . . xx0232    |
"""
    )
    own, _ = fingered_part(own, Player("Guitar 1"))
    stay = part_stays(own, "Guitar 1")[1]
    strummed = strummed_section(own, "Guitar 1", stay, Neck())
    assert strummed.bars[0].marks == ("–", "–", "·", "·", "↓", "–", "↓", "–")


def test_a_line_is_no_row_of_shapes():
    own = song(("Guitar", "E3", 0, 1), ("Guitar", "F3", 1, 1),
               parts=parts_of("Guitar", tuning=[Neck().tuning]))  # fmt: skip
    own, _ = fingered_part(own, Player("Guitar"))
    assert strummed_section(own, "Guitar", part_stays(own, "Guitar")[0], Neck()) is None


def test_tunings_are_printed_low_to_high():
    assert tuning_words((64, 59, 55, 50, 45, 40)) == "E A D G B E (low to high, standard)"
    assert tuning_words((63, 59, 55, 50, 45, 40)) == "E A D G B Eb (low to high)"


def brute_force(heights, rests, begins, room):
    """Try all ways to break pages; return the least cost."""
    count, best = len(heights), np.inf
    for breaks in itertools.product([False, True], repeat=count - 1):
        starts = [0, *(n + 1 for n, is_here in enumerate(breaks) if is_here)]
        ends = [*starts[1:], count]
        pages = zip(starts, ends, strict=True)
        if any(sum(heights[a:b]) > room and b > a + 1 for a, b in pages):
            continue
        best = min(best, cost_of(starts, heights, rests, begins, room))
    return best


def cost_of(starts, heights, rests, begins, room):
    """Return the cost of these pages: page 2 lies beside page 1, page 4 beside page 3, and so
    on; none but the last may be more than a third empty for nothing.
    """
    empty = sum(3 * sum(heights[a:b]) < 2 * room for a, b in itertools.pairwise(starts))
    turns = [turn_cost(rests[start], begins[start], is_beside=page % 2 == 0)
             for page, start in enumerate(starts[1:], 2)]  # fmt: skip
    return len(starts) + sum(turns) + EMPTY_COST * empty


def test_pages_are_broken_as_well_as_can_be():
    """The cost equals that of trying all ways, on 200 sheets drawn at random."""
    chance = np.random.default_rng(7)
    for _ in range(200):
        count = int(chance.integers(1, 10))
        heights = chance.uniform(10, 60, count).tolist()
        rests = chance.choice([0.0, 0.5, 2.0, 3.0, 9.0], count).tolist()
        begins = chance.choice([False, True], count).tolist()
        starts = page_starts(heights, rests, begins, 100)
        ends = [*starts[1:], count]
        assert starts[0] == 0
        assert all(sum(heights[a:b]) <= 100 or b == a + 1
                   for a, b in zip(starts, ends, strict=True))  # fmt: skip
        cost = cost_of(starts, heights, rests, begins, 100)
        assert cost == pytest.approx(brute_force(heights, rests, begins, 100))


def test_a_new_meter_is_written_at_its_bar_alone(monkeypatch):
    """All is engraved in one go, and looks as each stretch does by itself."""
    bars = "| {D} {G} | {A} {D} | {G} {A} | {D} {A} |".format(
        D="xx0232 eighths", G="320033 eighths", A="x02220 eighths"
    )
    own = read_chart(
        f"""key: D major
meter: 4/4
part: Guitar 1; standard tuning

section: A
Guitar 1 {bars}

section: B
meter: 6/8
Guitar 1 {bars}

section: C
meter: 4/4
Guitar 1 {bars}
""".encode()
    )
    stretches = [(1, 4), (5, 8), (9, 12)]
    alone = [engrave(own, "Guitar 1", [each], 186)[0] for each in stretches]
    calls, render = [], engraving.score_pages
    monkeypatch.setattr(
        engraving, "score_pages", lambda *xml, **more: calls.append(xml) or render(*xml, **more)
    )
    together = engrave(own, "Guitar 1", stretches, 186)
    assert len(calls) == 1
    assert list(map(drawn, together)) == list(map(drawn, alone))


def test_a_page_is_turned_in_the_rest():
    """With three lines to a page, the second page ends where there is time to turn; the first,
    which lies beside it, ends wherever it is full. Without a better choice a page ends before a
    section.
    """
    rests = [0.0, 0, TURN_SECONDS, 0, 0, TURN_SECONDS, 0, 0]
    assert page_starts([30] * 8, rests, [True] * 8, 100) == [0, 3, 5]
    assert page_starts([30] * 4, [0] * 4, [True, False, False, True], 100) == [0, 3]


RETURNS = """key: D major
part: Guitar 1
section: A
chords   | D    | G    | D    | A    | D    | G    | D    | A    |
Guitar 1 | {D}  | {G}  | {D}  | {A}  | {D}  | {G}  | {D}  | {A}  |
section: B
chords   | G    | D    | G    | A    | D    | G    | D    | A    |
Guitar 1 | {G}  | {D}  | {G}  | {A}  | {D}  | {G}  | {D}  | {A}  |
section: C
Guitar 1 | . |
""".format(D="xx0232 eighths", G="320033 eighths", A="x02220 eighths").encode()


def test_lines_that_hold_the_same_are_engraved_once(monkeypatch):
    """There are two sections of two lines. D (once as the song begins), G and A are measured; the
    first line of each section and the line that ends both are engraved.
    """
    sizes, render = [], engraving.score_pages

    def counted(xml, **options):
        sizes.append(xml.count("<measure ") // xml.count("<part "))
        return render(xml, **options)

    for module in (engraver, engraving):
        monkeypatch.setattr(module, "score_pages", counted)
    first, second = engrave(read_chart(RETURNS), "Guitar 1", [(1, 8), (9, 16)], 186)
    assert [line.first for line in first + second] == [1, 5, 9, 13]
    assert first[1].picture == second[1].picture
    assert sizes == [4, 12]


def test_the_bar_number_stands_left_of_the_staff_and_not_in_the_picture():
    """The number is in the picture in HTML and beside it in the PDF, at the same place."""
    (line, *_), _ = engrave(read_chart(RETURNS), "Guitar 1", [(1, 8), (9, 16)], 186)
    assert ">9</text>" not in line.moved(8).picture
    x, y, size = (round(share * line.width) for share in line.number())
    found = re.search(r'<text x="(\d+)" y="(\d+)" text-anchor="end" font-size="(\d+)px"[^>]*>9<',
                      line.moved(8).numbered())  # fmt: skip
    assert tuple(map(int, found.groups())) == (x, y, size)
    staff = re.search(r'class="staff">\s*<path d="M(-?[\d.]+) ', line.picture)
    assert x < 620 + float(staff[1]), "the margin is 62 page units wide"


def test_a_bar_that_something_rings_into_is_another_bar():
    """A3 is struck at the start of A and B, and held for two bars in A, for one in B: the bars of
    the attack are equal, those after it are not.
    """
    rows = [("Guitar", "A3", 0, 8), ("Guitar", "A3", 8, 4), ("Guitar", "E3", 12, 4),
            ("Guitar", "A3", 16, 4), ("Guitar", "A3", 24, 4), ("Guitar", "E3", 28, 4)]  # fmt: skip
    stays = part_stays(song(*rows, sections=[("A", 1), ("B", 5)]), "Guitar")
    assert (stays[1].nearly_as, stays[1].different) == ("A", (6,))


def test_a_section_that_is_only_rung_into_is_rested():
    """Nothing is struck in B: the part rests while the last chord of A dies away."""
    own = song(("Guitar", "A3", 0, 8), ("Guitar", "A3", 12, 4), sections=[("A", 1), ("B", 2)])
    stays = part_stays(own, "Guitar")
    assert [stay.plays for stay in stays] == [True, True]
    own = song(("Guitar", "A3", 0, 8), sections=[("A", 1), ("B", 2)])
    assert [stay.plays for stay in part_stays(own, "Guitar")] == [True, False]


PUSHED = b"""key: D major
part: Guitar 1
section: A
chords   | D      | G      |
Guitar 1 | xx0232 | 320033 |
section: B
chords   | A             | D      |
Guitar 1 | x02220 pushed | xx0232 |
section: C
chords   | D      | G      |
Guitar 1 | xx0232 | 320033 |
"""


def test_a_push_over_a_section_s_end_is_the_next_section_s_chord():
    """The chord is struck on the last eighth of A and rings through the first bar of B."""
    own, _ = fingered_part(read_chart(PUSHED), Player("Guitar 1"))
    stays, notes = part_stays(own, "Guitar 1"), own_notes(own, "Guitar 1")
    necks = dict.fromkeys(own.sections["section"], Neck())
    strums = strum_sections(own, notes, stays, part_shapes(own, notes, necks), necks)
    assert [label for label, _ in strums["A"].shapes] == ["D", "G", "A"]
    assert strums["A"].bars[1].labels == ("G", "A")
    assert [label for label, _ in strums["B"].shapes] == ["D"]


def test_a_section_that_returns_is_worked_out_once(monkeypatch):
    own = read(DATASETS / "tarrow-weir.txt")
    own, _ = fingered_part(own, Player("Guitar 2"))
    stays, asked = part_stays(own, "Guitar 2"), []
    alone = {stay.section: strummed_section(own, "Guitar 2", stay, Neck(capo=2))
             for stay in stays if stay.plays}  # fmt: skip

    def counted(*arguments):
        asked.append(arguments[2].section)
        return strum_section(*arguments)

    monkeypatch.setattr(shapes_and_rhythm, "strum_section", counted)
    notes, necks = own_notes(own, "Guitar 2"), dict.fromkeys(own.sections["section"], Neck(capo=2))
    together = strum_sections(own, notes, stays, part_shapes(own, notes, necks), necks)
    assert together == {section: strums for section, strums in alone.items() if strums}
    assert "Tune (2)" in asked
    assert "Tune (3)" not in asked


def test_a_player_brings_a_neck_and_a_hand():
    own = read(DATASETS / "tarrow-weir.txt")
    made, _ = fingered_part(own, Player("Guitar 2", Neck("drop D", capo=0)))
    row = made.parts.set_index("part").loc["Guitar 2"]
    assert (row["tuning"], row["capo"]) == (Neck("drop D").tuning, 0)
    assert made.parts.set_index("part").loc["Guitar 1", "capo"] == own.parts["capo"].iloc[1]
