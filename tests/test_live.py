"""A song with some choices made: its notes, its findings, and its picture."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from songs import song as song_of
from songs import with_setup

import arrange as ar
from arrange.errors import ArrangeError
from arrange.findings.summary import findings_figures
from arrange.guitar.necks import Neck
from arrange.live.choices import (
    ECHOES,
    INVERSIONS,
    Choices,
    PartChoice,
    choices_words,
    string_sets,
)
from arrange.live.chosen_song import section_hands, section_mover, try_choices
from arrange.live.findings_list import ALL_PARTS, findings_list, list_findings
from arrange.live.moment_sound import moment_sound, moments
from arrange.live.picture_cache import PictureCache, Seen
from arrange.live.results_cache import ResultsCache, section_findings
from arrange.live.strip import draw_row, strip_row, strip_scale
from arrange.quantities.texture import echo_times

DEMO = "datasets/low-water.musicxml"
CHORUS = Choices("Chorus 1")


@pytest.fixture(scope="module")
def results(demo):
    return ResultsCache(demo)


def chosen(**choice):
    return CHORUS.with_part("Guitar 1", PartChoice(**choice))


def own_notes(song, part="Guitar 1", section="Chorus 1"):
    return song.notes[(song.notes["part"] == part) & (song.notes["section"] == section)]


def test_an_octave_moves_the_part_in_its_section_and_nothing_else(demo):
    song, remarks = try_choices(demo, chosen(octave=1))
    assert remarks == ()
    by = song.notes["pitch"] - demo.notes["pitch"]
    here = (demo.notes["part"] == "Guitar 1") & (demo.notes["section"] == "Chorus 1")
    assert (by[here] == 12).all()
    assert (by[~here].dropna() == 0).all()
    # Other frets are played then; those of the file would be wrong.
    assert song.notes.loc[here, "fret"].isna().all()
    pd.testing.assert_series_equal(song.notes.loc[~here, "fret"], demo.notes.loc[~here, "fret"])


def test_nothing_chosen_is_the_song_itself(demo):
    assert try_choices(demo, CHORUS)[0] is demo


@pytest.mark.parametrize(("inversion", "above"), [("root lowest", 0), ("third lowest", 1),
                                                  ("fifth lowest", 2)])  # fmt: skip
def test_an_inversion_has_that_member_lowest(demo, inversion, above):
    """The chord symbols' own members, root, third and fifth, are checked bar by bar."""
    song, remarks = try_choices(demo, chosen(inversion=inversion))
    assert remarks == ()
    own = own_notes(song)
    for chord in demo.chords[demo.chords["section"] == "Chorus 1"].itertuples():
        here = own[own["onset"].between(chord.onset, chord.onset + chord.duration - 1e-6)]
        struck = here.groupby("onset")["pitch"].agg(["min", "size"])
        full = struck[struck["size"] >= 3]["min"]  # a picked note between chords is no chord
        assert len(full)
        assert set(full % 12) == {chord.pitch_classes[above]}, chord.symbol


@pytest.mark.parametrize("strings", ["1–3", "2–4", "3–6"])
def test_a_string_set_can_be_played_on_those_strings(demo, strings):
    """All notes that begin together have different strings among those asked for."""
    song, remarks = try_choices(demo, chosen(strings=strings))
    first, last = map(int, strings.split("–"))
    allowed = range(first, last + 1)
    tuning = Neck().tuning
    for _, struck in own_notes(song).groupby("onset"):
        assert len(struck) <= len(allowed), remarks
        pitches = sorted(struck["pitch"], reverse=True)
        fits = [
            any(0 <= pitch - tuning[string - 1] <= 22 for string in allowed) for pitch in pitches
        ]
        assert all(fits)


def test_the_third_and_seventh_stay(demo):
    """Cm7 keeps Eb and Bb with every voicing."""
    seventh = demo.chords[(demo.chords["section"] == "Chorus 1") & (demo.chords["symbol"] == "Cm7")]
    chord = seventh.iloc[0]
    for choice in (chosen(inversion="seventh lowest"), chosen(strings="2–5")):
        own = own_notes(try_choices(demo, choice)[0])
        here = own[own["onset"].between(chord.onset, chord.onset + chord.duration - 1e-6)]
        assert {3, 10} <= set(here["pitch"] % 12)


def test_what_cannot_be_inverted_is_reported(demo):
    _, remarks = try_choices(demo, chosen(inversion="seventh lowest"))
    assert "no such voicing within reach for Bb" in remarks[0]
    assert "Cm7" not in remarks[0]
    line = Choices("Intro").with_part("Guitar 1", PartChoice(inversion="root lowest"))
    assert "plays a line here" in try_choices(demo, line)[1][0]
    rests = Choices("Intro").with_part("Bass", PartChoice(strings="1–3"))
    assert try_choices(demo, rests)[1] == ("Bass rests here",)


def test_a_capo_changes_frets_not_sound(demo):
    song, _ = try_choices(demo, chosen(capo=2))
    assert song.parts.set_index("part")["capo"].to_dict() == {
        "Voice": 0, "Guitar 1": 2, "Guitar 2": 3, "Bass": 0,
    }  # fmt: skip
    assert song.notes["pitch"].equals(demo.notes["pitch"])
    own = song.notes["part"] == "Guitar 1"
    assert song.notes.loc[own, "fret"].isna().all()
    assert song.notes.loc[~own, "fret"].equals(demo.notes.loc[~own, "fret"])


def test_a_capo_too_high_is_reported_in_words(results):
    """F2 is the lowest note of the chorus; a capo at 2 leaves F#2 as the lowest string."""
    problems = results.hands(chosen(capo=2), "Guitar 1")["problem"].dropna()
    assert "F2 lies below the lowest open string, F#2 with the capo at 2" in problems.iloc[0]


def test_drive_and_echo_are_the_parts(demo):
    song, _ = try_choices(demo, chosen(drive="distorted", echo="dotted eighth"))
    row = song.parts.set_index("part").loc["Guitar 1"]
    assert (row["drive"], row["echo"]) == ("distorted", "dotted eighth")
    assert try_choices(song, chosen(echo="none"))[0].parts["echo"].isna().all()


@pytest.mark.parametrize("echo", ECHOES[1:])
def test_every_echo_is_a_note_value(demo, echo):
    song, _ = try_choices(demo, chosen(echo=echo))
    assert echo_times(song)["milliseconds"].notna().all()


def test_the_tempo_of_the_section_is_as_chosen(demo):
    song, _ = try_choices(demo, replace(CHORUS, tempo=51.0))
    assert song.measures["tempo"].iloc[24] == 51  # bar 25 is its first
    assert song.seconds(song.duration) == pytest.approx(2 * demo.seconds(demo.duration))


def test_pitches_beyond_hearing_are_refused():
    song = song_of(("Guitar 1", 120, 0, 4))
    with pytest.raises(ArrangeError, match=r"Guitar 1 would leave .*; move it by less"):
        try_choices(song, Choices("Song").with_part("Guitar 1", PartChoice(octave=1)))


def test_unknown_names_are_reported(demo):
    with pytest.raises(ArrangeError, match=r"there is no section 'Coda'; there are Intro"):
        try_choices(demo, Choices("Coda"))
    with pytest.raises(ArrangeError, match=r"there is no part 'Banjo'; there are Voice"):
        try_choices(demo, CHORUS.with_part("Banjo", PartChoice(octave=1)))


@pytest.mark.sampled
@pytest.mark.parametrize("path", [DEMO, "datasets/last-bell.musicxml", "datasets/tarrow-weir.txt"])
def test_a_section_gives_the_same_as_the_whole_song(path):
    """For every section the findings are those of the whole song that begin there."""
    song = ar.read(path)
    whole = ar.find_clashes(song)
    for row in song.sections.itertuples():
        here = whole[whole["measure"].between(row.first_measure, row.last_measure)]
        assert sorted(section_findings(song, row.section)["why"]) == sorted(here["why"])


@pytest.mark.parametrize(
    "choices",
    [
        chosen(octave=1),
        chosen(octave=-1),
        chosen(inversion="third lowest"),
        chosen(strings="1–4", capo=2),
        chosen(capo=5),
        chosen(drive="distorted", echo="eighth"),
        replace(CHORUS, tempo=140.0),
        CHORUS.with_part("Guitar 2", PartChoice(octave=1)),
    ],
)
def test_a_trial_gives_the_same_as_the_whole_changed_song(results, choices):
    whole = ar.find_clashes(results.song(choices))
    here = whole[whole["measure"].between(25, 32)]
    assert sorted(results.findings(choices)["why"]) == sorted(here["why"])


def test_what_was_tried_is_there_at_once(results):
    once = results.findings(chosen(octave=1))
    assert results.findings(chosen(octave=1)) is once
    # Neither is a part fingered anew for another tempo or sound.
    assert results.hands(chosen(drive="edge"), "Guitar 1") is results.hands(CHORUS, "Guitar 1")


def test_a_decided_song_is_fingered_and_keeps_its_tempo(results, demo):
    song = results.decided(replace(chosen(octave=1), tempo=60.0))
    assert own_notes(song)["fret"].notna().all()
    assert song.measures["tempo"].equals(demo.measures["tempo"])


def test_choices_in_words(demo):
    assert choices_words(CHORUS) == "as written"
    choice = chosen(octave=-1, inversion="third lowest", strings="2–4", capo=0, echo="none")
    assert choices_words(replace(choice, tempo=90.0)) == (
        "Guitar 1: an octave down, third lowest, on strings 2–4, no capo, no echo; tempo 90"
    )
    assert string_sets(demo, "Voice") == ()
    assert string_sets(demo, "Bass")[1:] == ("1–3", "2–4")
    assert len(INVERSIONS) == len(set(INVERSIONS))


def test_figures_in_words(results):
    figures = findings_figures(results.findings(CHORUS))
    assert figures == "2 findings (1 crowding, 1 crossing), severity up to 0.57"
    assert findings_figures(results.findings(Choices("Bridge"))) == "no findings"


# The picture


PAIR = ("Guitar 1", "Guitar 2")


@pytest.fixture(scope="module")
def pictures(results):
    return PictureCache(results)


def drawn(pictures, choices, parts=PAIR, moment=(25, 26), **more):
    more = {"since": Choices(choices.section), "only": ALL_PARTS} | more
    return "".join(pictures.drawn(Seen(choices, parts=parts, moment=moment, **more))[0])


def svgs(html):
    return [ElementTree.fromstring(each) for each in re.findall("<svg.*?</svg>", html, re.DOTALL)]


def texts(svg, kind=None):
    found = [each for each in svg.iter() if each.tag.endswith("text")]
    return [each.text for each in found if kind is None or kind in each.get("class").split()]


def test_the_picture_says_all_in_words(pictures):
    html = drawn(pictures, chosen(octave=1))
    assert "<b>Chorus 1 · Guitar 1: an octave up</b>" in html
    assert "2 → 1 findings, severity 0.80 → 0.17; ▲ 1 new, ✕ 2 ended" in html
    chart, *necks = svgs(html)
    assert "Chorus 1 bar by bar: chords, what Guitar 1 and Guitar 2 play" in chart.get("aria-label")
    assert {"C4", "C5", "25 ♪", "32", "Voice", "Bass", "Guitar 1"} <= set(texts(chart))
    for neck, part in zip(necks, PAIR, strict=True):
        assert f"{part} on the neck, bars 25–26: " in neck.get("aria-label")


def test_the_strip_has_all_chords_in_order(pictures, demo):
    for section in ("Verse 1", "Chorus 1", "Intro"):
        first = int(demo.sections.set_index("section").loc[section, "first_measure"])
        chart = svgs(drawn(pictures, Choices(section), moment=(first, first)))[0]
        own = demo.chords.loc[demo.chords["section"] == section, "symbol"]
        assert texts(chart, "chord") == own.tolist()


def frets_at(svg):
    """Return (x of its middle, y, fret) of what stands in the tablature, by time."""
    found = []
    for each in svg.iter():
        if each.get("class") == "tab":
            for x, sign in zip(each.get("x").split(), each.text, strict=True):
                found.append((float(x), float(each.get("y")), sign))
    return sorted(found)


@pytest.fixture(scope="module")
def picked_and_strummed():
    """A bar of single notes at 1, 2 and 4&, a bar of two strummed chords, a bar of rest."""
    made = song_of(
        ("Guitar 1", "E4", 0, 1), ("Guitar 1", "C4", 1, 2.5), ("Guitar 1", "E5", 3.5, 0.5),
        ("Guitar 1", "E3 B3 E4", 4, 2), ("Guitar 1", "F3 C4 F4", 6, 2), ("Guitar 2", "E2", 8, 4),
    )  # fmt: skip
    places = {"string": [1, 2, 1, 4, 2, 1, 4, 2, 1, 6], "fret": [0, 1, 12, 2, 0, 0, 3, 1, 1, 0]}
    return replace(made, notes=made.notes.assign(
        **{name: pd.array(values, dtype="Int64") for name, values in places.items()}
    ))  # fmt: skip


def test_lines_are_tablature_at_their_counts_and_chords_are_shapes(picked_and_strummed):
    chart = svgs(drawn(PictureCache(ResultsCache(picked_and_strummed)), Choices("Song"),
                       moment=(1, 2)))[0]  # fmt: skip
    one, two, four, second = frets_at(chart)[:4]
    assert [each[2] for each in (one, two, four, second)] == ["0", "1", "1", "2"]  # 12 is last
    first_string, second_string = one[1], two[1]
    assert four[1] == first_string < second_string
    beat = two[0] - one[0]
    assert (four[0] + second[0]) / 2 - one[0] == pytest.approx(3.5 * beat, abs=0.2)
    # Below the strings stand the counts, and none is written where nothing is struck.
    assert texts(chart, "count") == ["124&13", "1"]
    # Two shapes, and no tablature in their bar.
    left = float(chart.find(".//*[@data-what='2']/*").get("x"))
    right = float(chart.find(".//*[@data-what='3']/*").get("x"))
    assert not [each for each in frets_at(chart) if left < each[0] < right]
    assert sum(each.get("class") == "shape-dot" for each in chart.iter()) == 2


def test_shapes_of_a_bar_stand_beside_each_other_in_it():
    """The one at 4& ends before the bar line; where four do not fit, there is tablature."""
    chords = [(2, 0, 0), (3, 1, 1), (5, 3, 3), (7, 5, 5)]
    onsets = [(0, 0.0), (1, 3.5), (2, 4.0), *((n % 4, 8.0 + n) for n in range(4))]
    rows = [("Guitar 1", "E3 B3 E4", at, 0.5) for _, at in onsets]
    frets = [fret for chord, _ in onsets for fret in chords[chord]]
    made = song_of(*rows)
    places = {"string": [4, 2, 1] * len(rows), "fret": frets}
    song = replace(made, notes=made.notes.assign(
        **{name: pd.array(values, dtype="Int64") for name, values in places.items()}
    ))  # fmt: skip
    row = strip_row(song, "Guitar 1", song.notes, Neck())
    scale = strip_scale(song, (1, 3), [row])
    shapes = "".join(draw_row(scale, row, 0.0))
    lefts = [float(x) for x in re.findall(r'class="neck" d="M([\d.]+) [\d.]+v46', shapes)]
    assert len(lefts) == 3
    ends = [(left - 21, left + 45) for left in lefts]  # with the number of its first fret
    assert scale.left(1) <= ends[0][0] < ends[0][1] <= ends[1][0]
    assert ends[1][1] <= scale.left(2) + 0.1 <= ends[2][0] + 0.2
    assert row.shaped == {1, 2}


def test_the_words_say_what_is_played(picked_and_strummed):
    html = drawn(PictureCache(ResultsCache(picked_and_strummed)), Choices("Song"), moment=(1, 2))
    assert "bar 1. Guitar 1: 1 string 1 fret 0, 2 string 2 fret 1, 4&amp; string 1 fret 12." in html
    assert "Guitar 2: rests</li>" in html
    assert "bar 3. Guitar 1: rests. Guitar 2: 1 string 6 fret 0</li>" in html


def test_ranges_and_strip_share_their_bars(pictures):
    """The ranges' boxes begin where the bars' numbers stand."""
    chart = svgs(drawn(pictures, CHORUS))[0]
    bars = [float(each.get("x")) for each in chart.findall(".//*[@data-do='bar']/*[@width]")]
    path = next(each.get("d") for each in chart.iter() if each.get("class") == "one")
    boxes = [float(each) for each in re.findall(r"M([\d.]+) ", path)]
    assert boxes == bars


def test_a_song_without_strings_has_note_names(duet):
    chart, *necks = svgs(drawn(PictureCache(ResultsCache(duet)), Choices("Song"),
                               ("Voice", "Keys"), (1, 1)))  # fmt: skip
    assert necks == []
    assert texts(chart, "note") == ["E4", "F#4", "G#4"]  # as the key spells them
    assert "C4" in texts(chart)  # a line of the scale, whatever the key
    assert "no chord symbols" in texts(chart)


@pytest.fixture(scope="module")
def duet():
    return song_of(("Voice", "E4", 0, 2), ("Voice", "F#4", 2, 2), ("Keys", "C3 G#4", 0, 4),
                   key="F# minor")  # fmt: skip


def test_a_long_section_is_shown_in_turns():
    """The chord in bar 16 rings on to bar 17, which is not among the first bars shown."""
    rows = [("Guitar 1", "E3 B3 E4", float(beat), 8.0 if beat == 60 else 1.0)
            for beat in range(256) if not 60 < beat < 68]  # fmt: skip
    rows += [("Guitar 2", "E3 G3 B3", float(beat), 1.0) for beat in range(256)]
    song = song_of(*rows, chords=[(0, 4, "minor", None)])
    pictures = PictureCache(ResultsCache(song))
    for moment, bars in (((1, 2), range(1, 17)), ((18, 19), range(17, 33))):
        html = drawn(pictures, Choices("Song"), moment=moment)
        assert re.findall('data-do="bar" data-what="(.*?)"', html) == [*map(str, bars)]
    assert len(html) < 90_000


def test_both_necks_have_one_scale_and_the_rest_is_pale(pictures):
    """Guitar 1 an octave up goes far up the neck; Guitar 2's frets stay below it."""
    for choices in (CHORUS, chosen(octave=1)):
        _, one, two = svgs(drawn(pictures, choices))
        frets = [
            {each.text: each.get("x") for each in neck.iter() if each.get("class") == "axis middle"}
            for neck in (one, two)
        ]
        shared = frets[0].keys() & frets[1].keys()
        assert len(shared) > 5
        assert all(frets[0][fret] == frets[1][fret] for fret in shared)
    whole = svgs(drawn(pictures, CHORUS, moment=(25, 32)))[1]
    part = svgs(drawn(pictures, CHORUS, moment=(25, 25)))[1]

    def dots(neck, kind):
        paths = [each.get("d") for each in neck.iter() if each.get("class") == kind]
        return paths[0].count("M")

    assert dots(whole, "pale-dot") == 0
    assert 0 < dots(part, "one-dot") < dots(whole, "one-dot")
    assert dots(part, "pale-dot") > 0


def test_the_shared_zone_is_where_both_are(results, pictures):
    """As written, both guitars share a register in each bar; the zone is worked out from their
    ranges.
    """
    ranges = ar.part_ranges(results.base.notes, by="measure")
    ranges = ranges[ranges["measure"].between(25, 32)].set_index(["part", "measure"])
    one, two = ranges.loc["Guitar 1"], ranges.loc["Guitar 2"]
    low = np.maximum(one["lowest"], two["lowest"])
    shared = int((low <= np.minimum(one["highest"], two["highest"])).sum())
    html = drawn(pictures, CHORUS)
    assert f"▦ shared register in {shared} of 8 bars" in html
    assert 'class="was"' not in html
    assert drawn(pictures, chosen(octave=1)).count('class="was"') == 1


def test_the_picture_is_small_and_stays_within(pictures, demo):
    for choices in (CHORUS, chosen(octave=2), Choices("Bridge"), Choices("Verse 3")):
        first = int(demo.sections.set_index("section").loc[choices.section, "first_measure"])
        html = drawn(pictures, choices, moment=(first, first + 1))
        assert len(html) < 60_000
        for svg in svgs(html):
            width, height = map(float, svg.get("viewBox").split()[2:])
            for each in svg.iter():
                if each.tag.endswith(("rect", "text")) and each.get("x"):
                    assert all(-1 <= float(x) <= width for x in each.get("x").split())
                    assert -1 <= float(each.get("y")) <= height


def test_names_from_a_file_are_text_and_no_markup():
    name = '<b>&"Guitar"</b>'
    song = song_of((name, "E4 G4", 0, 4))
    choices = Choices("Song").with_part(name, PartChoice(octave=1))
    html = drawn(PictureCache(ResultsCache(song)), choices, (name,), (1, 1))
    assert "<b>&" not in html
    assert any((each or "").startswith(name) for each in texts(svgs(html)[0]))


# The list of findings


def test_findings_are_listed_by_what_the_last_choice_changed(pictures):
    found = pictures.found(chosen(octave=1), CHORUS)
    assert [(each.state, each.what) for each in found] == [
        ("new", "bar 25: voice, Voice + Guitar 1"),
        ("ended", "bar 25: crowding, Guitar 1 + Guitar 2"),
        ("ended", "bar 25: crossing, Guitar 1 + Guitar 2"),
    ]
    assert found[1].bars == (25, 32)
    assert [each.state for each in pictures.found(chosen(octave=1), chosen(octave=1))] == ["stays"]
    html = findings_list(found, "Guitar 2", found[1].key)
    assert "2 findings of Guitar 2 · since the last choice: ✕ 2 ended" in html
    assert html.count('aria-pressed="true"') == 1
    assert "Guitar 1 and Guitar 2 live in the same register" in html  # the reason, without a mouse
    assert "No findings of Bass here" in findings_list(found, "Bass", "")


def test_a_waived_finding_is_marked_with_its_reason(results):
    """It is the last one in the list; what the last choice brought or ended stays there."""
    meant = ar.Waiver("d1", "they swap on purpose", kind="crowding")
    pictures = PictureCache(results, [meant, ar.Waiver("d2", "gone", kind="drive")])
    found = pictures.found(CHORUS, CHORUS)
    assert [each.state for each in found] == ["stays", "waived"]
    html = findings_list(found, ALL_PARTS, "")
    assert "<h3>2 findings, 1 waived</h3>" in html
    assert "○ waived</span>" in html
    assert html.count("Waived: they swap on purpose</span>") == 1
    assert {each.state for each in pictures.found(chosen(octave=1), CHORUS)} == {"new", "ended"}
    own = next(each for each in pictures.form if each.label == CHORUS.section)
    assert (own.words, own.name()) == (
        "Chorus 1 <small>▲1</small>",
        "Chorus 1, 1 finding, 1 waived",
    )
    assert "2 → 2 findings, 1 of them waived, severity" in drawn(pictures, CHORUS)


def test_each_finding_is_called_otherwise(results):
    """By its bar, kind and parts; with the beat, and the notes, where two are alike."""
    table = results.findings(Choices("Verse 3"))
    two, three = (pd.concat([table.iloc[:1]] * count, ignore_index=True) for count in (2, 3))
    two["beat"] = [1.0, 2.5]
    three["pitches"], three["onset"] = ["C4", "D4", "E4"], [0.0, 1.0, 2.0]
    names = [[each.what for each in list_findings(own, own, [0.0])] for own in (two, three)]
    first = table.iloc[0]
    whose = f"{first['kind']}, {first['parts']}"
    at = f"bar {first['measure']}, beat"
    assert names[0] == [f"{at} 1: {whose}", f"{at} 2.5: {whose}"]
    beat = f"{at} {first['beat']:.3g}: {whose}"
    assert sorted(names[1]) == [f"{beat}, {note}" for note in ("C4", "D4", "E4")]


def test_a_finding_that_is_looked_at_is_marked_in_its_bars(pictures):
    found = pictures.found(Choices("Verse 3"), Choices("Verse 3"))
    one = next(each for each in found if each.bars == (39, 39))
    html = drawn(pictures, Choices("Verse 3"), moment=(39, 39), looked_at=one.key)
    chart = svgs(html)[0]
    (mark,) = [each for each in chart.iter() if each.get("class") == "marked"]
    bar = chart.find(".//*[@data-what='39']/*")
    assert float(mark.get("x")) == pytest.approx(float(bar.get("x")) - 1, abs=0.1)
    drawn_in_order = [each.get("class") or "" for each in chart.iter()]
    assert drawn_in_order.index("marked") < drawn_in_order.index("row-name one-name")
    assert float(mark.get("width")) == pytest.approx(float(bar.get("width")) + 2, abs=0.1)


# The moment that is heard


def test_the_moment_is_where_most_is_to_listen_to(demo, results):
    named, chosen_bars = moments(demo, "Verse 3", results.findings(Choices("Verse 3")))
    assert named[:2] == [("bars 37–38", (37, 38)), ("bars 39–40", (39, 40))]
    assert named[-2:] == [("bars 43–44", (43, 44)), ("the whole section", (37, 44))]
    assert chosen_bars == (39, 40)  # the strongest is in bar 39
    quiet, first = moments(demo, "Bridge", results.findings(Choices("Bridge")))
    assert first == quiet[0][1]


def test_both_is_before_and_then_after(results):
    args = (25, 26), ("Guitar 1", "Guitar 2"), False
    before, after, both, each = (
        np.frombuffer(moment_sound(results, chosen(octave=1), *args, what)[44:], dtype="<i2")
        for what in ("before", "after", "both", "each")
    )
    assert (both[: len(before)] == before).all()
    assert (both[-len(after) :] == after).all()
    assert (each[-len(after) :] == after).all()
    assert len(each) > 3 * len(after)
    assert not (before == after).all()


# --- sounds and capos that a part has in a section ---------------------------------------------


@pytest.fixture(scope="module")
def capo_in_b():
    """A guitar with a capo at 2, overdriven with an echo, in the second of two sections."""
    made = song_of(
        ("Guitar 1", "C4", 0, 4), ("Guitar 1", "F#2", 4, 4), ("Guitar 2", "C3", 0, 8),
        sections=[("A", 1), ("B", 2)],
    )  # fmt: skip
    own = {"capo": 2, "drive": "overdriven", "echo": "eighth", "layers": "Lead + Pad"}
    return with_setup(made, "Guitar 1", "B", **own)


def test_a_sound_that_is_chosen_holds_for_the_whole_song(capo_in_b):
    """It replaces what a section had of its own; the layers, and what is not chosen, stay."""
    choices = Choices("A").with_part("Guitar 1", PartChoice(capo=5, echo="none"))
    tried, _ = try_choices(capo_in_b, choices)
    rows = ar.part_setups(tried).set_index(["part", "section"]).loc["Guitar 1"]
    assert rows["capo"].tolist() == [5, 5]
    assert rows["echo"].isna().all()
    assert rows["drive"].tolist() == ["clean", "overdriven"]
    assert rows["layers"].tolist()[1] == "Lead + Pad"
    assert ar.part_setups(tried)["capo"].tolist()[2:] == [0, 0]
    drier, _ = try_choices(
        replace(capo_in_b, setups=capo_in_b.setups.assign(layers=None)),
        Choices("A").with_part("Guitar 1", PartChoice(0, capo=0, drive="clean", echo="none")),
    )
    assert drier.setups.empty


def test_hands_and_voicings_of_a_section_have_its_capo(capo_in_b):
    """F#2 is the open sixth string behind a capo at 2, and is fretted without one."""
    hands = section_hands(capo_in_b, "Guitar 1", "B")
    assert (hands["string"].tolist(), hands["fret"].tolist()) == ([6], [2])
    assert hands["finger"].tolist() == [0]
    plain = replace(capo_in_b, setups=capo_in_b.setups[:0])
    assert section_hands(plain, "Guitar 1", "B")["finger"].tolist() != [0]
    assert section_mover(capo_in_b, "Guitar 1", "B").neck.capo == 2
    assert section_mover(capo_in_b, "Guitar 1", "A").neck.capo == 0
