"""Exercises made from songs: their own answers are accepted, and wrong answers get a reply.

Right answers are checked in a second way: moves made by hand whose findings are computed again on
the whole song, notes counted in plain loops, shapes from the trade's own list (common practice),
the demo song's rub as lesson 04 describes it (measures 22 and 24).
"""

from __future__ import annotations

import html
import re
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest
from songs import song, with_setup

from arrange.clashes import Limits, find_clashes
from arrange.errors import ArrangeError
from arrange.exercises import (
    KINDS,
    SIZES,
    SongFacts,
    asking,
    check_answer,
    exercise_sound,
    make_exercises,
    missing_exercises,
)
from arrange.exercises.answers import (
    amount_in,
    find_name,
    number_set,
    numbers_in,
    plain_signs,
)
from arrange.exercises.exercise import wanted
from arrange.exercises.fix_on_the_neck import fault
from arrange.exercises.moved_note import MovedNote, moved_note
from arrange.exercises.plan import handout_blocks
from arrange.exercises.which_capo import open_shape, shape_symbol
from arrange.exercises.which_layer import section_layers
from arrange.formats.reading import read
from arrange.sound import PEAK
from arrange.text.words import an, first_up, listed, runs_words
from arrange.theory.pitch import INTERVAL_NAMES, an_interval, parse_note

DATASETS = Path(__file__).parent.parent / "datasets"
DEMOS = ("low-water.musicxml", "last-bell.musicxml", "tarrow-weir.txt")
STANDARD = (64, 59, 55, 50, 45, 40)
SEEDS = range(1, 8)
SHARPS = {"A": "G", "B": "A", "D": "C", "E": "D", "G": "F"}  # the letter below, with a sharp
NONSENSE = (None, "", "   ", "?", "blue", "é\n\t", "9" * 300, "-1", "3.7", "1/99/7", [], (), {},
            object(), "\x00", "#b#b", "a measure", "Q", "measure", "22 23 24 25")  # fmt: skip


def as_musicians_write(answer: str) -> set[str]:
    """Return an answer as it is, in quotation marks, and in other notations."""
    flats = re.sub(r"\b([A-G])b(?=-?\d)", r"\1 flat ", answer)
    signs = re.sub(r"\b([A-G])b(?=-?\d)", r"\1♭", answer)
    sharps = re.sub(r"\b([ABDEG])b(?=\d)", lambda m: f"{SHARPS[m[1]]}#", answer)
    loud = answer if ":" in answer else f" {answer.upper()} "  # EM is no Em
    return {answer, f'"{answer}"', f"“{answer}”", loud, answer.lower(),
            answer.replace("Guitar ", "guitar"), flats, signs, sharps}  # fmt: skip


@cache
def facts(name: str) -> SongFacts:
    """Return a demo song with the analysis that serves all tests."""
    return SongFacts(read(DATASETS / name))


@cache
def exercises(name: str, size: str) -> tuple:
    """Return the exercises of a demo song and size, seed after seed."""
    return tuple(e for seed in SEEDS for e in make_exercises(facts(name), seed, size))


ALL = [(name, size) for name in DEMOS for size in SIZES]


def of_kind(name: str, size: str, kind: str) -> list:
    return [each for each in exercises(name, size) if each.kind == kind]


@pytest.mark.long
def test_there_are_hundreds_of_all_kinds():
    """There are three songs, three sizes, seven seeds, and every kind."""
    counts = Counter((n, s, e.kind) for n, s in ALL for e in exercises(n, s))
    assert sum(counts.values()) > 300
    assert set(counts) == {(n, s, kind) for n, s in ALL for kind in KINDS}
    assert set(counts.values()) == {len(SEEDS)}


@pytest.mark.sampled
@pytest.mark.parametrize(("name", "size"), ALL)
def test_every_exercise_accepts_its_own_answer(name, size):
    for each in exercises(name, size):
        for answer in as_musicians_write(each.answer):
            reply = check_answer(each, answer)
            assert reply.right, f"{each.question}\n{answer}\n{reply.text}"
            assert reply.text.startswith("Yes")
        assert str(each.solution()).endswith(check_answer(each, each.answer).text)
        assert f"answer={each.answer!r}" not in repr(each)


@pytest.mark.sampled
@pytest.mark.parametrize(("name", "size"), ALL)
def test_of_the_choices_exactly_one_is_right(name, size):
    """Each wrong choice gets a reply of its own; letters are accepted as well as words."""
    for each in exercises(name, size):
        replies = [check_answer(each, choice) for choice in each.choices]
        if not each.choices:
            assert size != "small"
            continue
        assert sum(reply.right for reply in replies) == 1, each.question
        assert len(each.choices) >= 2
        assert len({reply.text for reply in replies}) == len(replies), each.question
        for place, reply in enumerate(replies):
            letter = chr(97 + place)
            assert check_answer(each, letter) == reply == check_answer(each, f"{letter.upper()})")


@pytest.mark.parametrize(("name", "size"), ALL)
def test_an_unreadable_answer_is_shown_the_form(name, size):
    for each in exercises(name, size)[:24]:
        for answer in NONSENSE:
            reply = check_answer(each, answer)
            assert not reply.right, (each.question, answer)
            assert len(reply.text) > 10
        for answer in (None, "", "blue"):
            assert wanted(each) in check_answer(each, answer).text


@pytest.mark.long
def test_the_same_seed_gives_the_same_exercises():
    own = facts("low-water.musicxml")
    fresh = SongFacts(own.song)
    for size in SIZES:
        assert make_exercises(own, 5, size) == make_exercises(fresh, 5, size)
    asked = {each.question for each in exercises("low-water.musicxml", "middle")}
    assert len(asked) > 20
    alone = make_exercises(own, 5, "small", kinds=["which capo"])
    assert alone == tuple(e for e in make_exercises(own, 5) if e.kind == "which capo")


def test_limits_are_those_of_the_caller():
    """If the limits allow no rubs, no exercise asks for one, and no answer is refused for one."""
    song, none = read(DATASETS / "tarrow-weir.txt"), Limits(rub=1e9)
    label, part = 12, "Guitar 2"  # mud, the same with both limits
    kinds = []
    for own in (SongFacts(song), SongFacts(song, none)):
        assert own.finding(label)["kind"] == "mud"
        outcomes = moved_note(own, label, part, 45.0).outcomes(range(-5, 6))
        kinds.append({kind for each in outcomes.values() for kind, _ in each.brings})
    assert kinds[0] - kinds[1] == {"rub"}
    low_water = SongFacts(facts("low-water.musicxml").song, none)
    assert "rub" in set(facts("low-water.musicxml").findings["kind"])
    assert "rub" not in set(low_water.findings["kind"])


# find the clash


def rub_in_low_water(size: str):
    """Return the exercise on the rub of the two guitars."""
    table = facts("low-water.musicxml").findings
    for seed in range(400):
        (each,) = make_exercises(facts("low-water.musicxml"), seed, size, ["find the clash"])
        if table.loc[each.case[1], "kind"] == "rub":
            return each
    raise AssertionError("no exercise on the rub")


def test_every_right_measure_is_accepted():
    """The rub is in both bars of F (lesson 04), 22 and 24, but not in the Eb and C beside them."""
    each = rub_in_low_water("middle")
    right = [bar for bar in range(1, 93) if check_answer(each, bar).right]
    assert right == [22, 24]
    for form in ("measure 22", "22.", "m. 22", "bar 24", "m24", "(22)"):
        assert check_answer(each, form).right, form
    assert "24" in check_answer(each, 22).text


def test_the_reply_to_a_wrong_measure_says_what_is_there():
    each = rub_in_low_water("middle")
    assert "Not in measure 21" in check_answer(each, 21).text
    assert "Guitar 1 and Guitar 2 meet on one note there, G4" in check_answer(each, 21).text
    assert "lies in Chorus 1; look within Pre-chorus 1" in check_answer(each, 30).text
    assert "There is no measure 300; as played the song has 92" in check_answer(each, 300).text
    small = rub_in_low_water("small")
    assert len({"measure 22", "measure 24"} & set(small.choices)) == 1
    assert len(small.choices) == 4


def test_measure_and_notes():
    """In the large size, the right note in a wrong octave gets another reply than a wrong note."""
    each = rub_in_low_water("large")
    assert check_answer(each, "22: A4 Bb4").right
    other = check_answer(each, "24: A sharp 4, A4")
    assert other.right, "the same note by another name"
    assert "By its name in this song A#4 is Bb4." in other.text
    assert "By its name" not in check_answer(each, "24: A4 B♭4").text
    assert "another octave" in check_answer(each, "22: A4 Bb5").text
    assert "belongs to something else" in check_answer(each, "22: A4 C5").text
    assert "still missing" in check_answer(each, "22: A4").text
    assert "Which notes" in check_answer(each, "22").text
    assert "Not in measure 23" in check_answer(each, "23: A4 Bb4").text


def test_a_right_section_is_one_with_the_finding():
    """The right sections are those of the findings table."""
    for name in DEMOS:
        table = facts(name).findings
        for each in of_kind(name, "middle", "find the clash"):
            if not each.question.startswith("In which section"):
                continue
            row = table.loc[each.case[1]]
            same = table[(table["kind"] == row["kind"]) & (table["parts"] == row["parts"])]
            for section in same["section"]:
                assert check_answer(each, section).right, (each.question, section)
            silent = [s for s in facts(name).song.sections["section"] if s not in each.case[2]]
            assert not any(check_answer(each, section).right for section in silent)
            if name == "low-water.musicxml":
                reply = check_answer(each, "chorus").text
                assert reply == "There are Chorus 1, Chorus 2 and Chorus 3: write which."


# name its kind


def test_a_kind_is_right_if_it_is_found_in_these_parts_then():
    for name in DEMOS:
        table = facts(name).findings
        for each in of_kind(name, "large", "name its kind"):
            row = table.loc[each.case[0]]
            end = table["onset"] + table["duration"]
            here = (table["onset"] <= row["onset"] + row["duration"]) & (end >= row["onset"])
            parts = [set(p.split(" + ")) <= set(row["parts"].split(" + ")) for p in table["parts"]]
            kinds = set(table["kind"][here & np.array(parts)])
            for kind in set(table["kind"]):
                assert check_answer(each, kind).right == (kind in kinds), (each.question, kind)


def test_the_reply_to_a_wrong_kind_says_why():
    each = next(e for e in of_kind("low-water.musicxml", "large", "name its kind")
                if e.answer == "mud" and "Guitar 2, " in e.question)  # fmt: skip
    assert "Guitar 2 alone" in check_answer(each, "rub").text
    assert "is clean" in check_answer(each, "drive").text
    assert "did you mean 'mud'" in check_answer(each, "mudd").text
    assert "did you mean 'crowding'" in check_answer(each, "Crowd").text
    beside = check_answer(each, "masking")
    assert beside.right or "masking" in beside.text


# fix it on the neck


def other_findings(table) -> Counter:
    return Counter(zip(table["kind"], table["parts"], strict=True))


def cases(name: str) -> list:
    """Return each different fix exercise of a song once."""
    found = {e.case: e for size in SIZES for e in of_kind(name, size, "fix it on the neck")}
    return list(found.values())


@pytest.mark.sampled
@pytest.mark.parametrize("name", DEMOS)
def test_a_right_place_ends_the_finding_in_the_whole_song(name):
    """The move is made by hand, and the findings of the whole song are computed again."""
    own = facts(name)
    for each in Random(1).sample(cases(name), min(4, len(cases(name)))):
        label, part, pitch = each.case
        row = own.finding(label)
        string, fret = map(int, each.answer.split(" ")[0].split("/"))
        new = own.neck(part).tuning[string - 1] + fret
        notes = own.song.notes
        ends = notes["onset"] + notes["duration"]
        here = (notes["part"] == part) & (notes["pitch"] == pitch)
        here &= (notes["onset"] < row["onset"] + row["duration"]) & (ends > row["onset"])
        assert here.sum() >= len(MovedNote(own, label, part, pitch).rows) > 0
        rows = list(MovedNote(own, label, part, pitch).rows)
        mended = replace(own.song, notes=notes.assign(
            pitch=notes["pitch"].mask(notes.index.isin(rows), new)))  # fmt: skip
        before, after = own.findings, find_clashes(mended)
        gone = (after["kind"] == row["kind"]) & (after["parts"] == row["parts"])
        gone &= (after["onset"] == row["onset"]) & (after["pitches"] == row["pitches"])
        assert not gone.any(), each.question
        assert not other_findings(after) - other_findings(before), each.question


@pytest.mark.parametrize("name", DEMOS)
def test_the_reply_to_each_wrong_place_says_why(name):
    """Every place near the note gets the sentence for its fault."""
    words = {
        "same": "again", "taken": "one note at a time", "double": "sounds already",
        "stays": "does not end the", "brings": "but now something else is found",
        "chord": "is no note of",
        "hand": "the hand cannot hold it", "leap": "but now the top line leaps",
    }  # fmt: skip
    seen = set()
    for each in cases(name)[:6]:
        label, part, pitch = each.case
        note, neck = MovedNote(facts(name), label, part, pitch), facts(name).neck(part)
        for string, opened in enumerate(neck.tuning, 1):
            for fret in range(neck.capo, 18):
                if abs(opened + fret - pitch) > 12:
                    continue
                what = fault(note, string, fret)
                reply = check_answer(each, f"{string}/{fret}")
                assert reply.right == (not what)
                assert what == "" or words[what] in reply.text, (what, reply.text)
                seen.add(what)
    assert {"", "same", "stays", "brings"} <= seen


def leaping() -> SongFacts:
    """Return a rub whose upper note could go down, but then the top line would leap."""
    return SongFacts(
        song(
            ("Guitar 1", "C5", 0, 4), ("Guitar 1", "Bb4", 4, 4), ("Guitar 1", "C5", 8, 4),
            ("Guitar 1", "D5", 12, 4), ("Guitar 2", "E5", 0, 4), ("Guitar 2", "A4", 4, 4),
            ("Guitar 2", "F5", 8, 8), tempo=90,
        )
    )  # fmt: skip


def test_that_ends_the_rub_but_now_the_top_line_leaps_a_ninth():
    """C5 down to Bb3 is fourteen semitones, a major ninth; before, Bb4 was a major second away."""
    for seed in range(40):
        (each,) = make_exercises(leaping(), seed, "middle", ["fix it on the neck"])
        if each.case[1] == "Guitar 1":
            break
    assert each.case[1] == "Guitar 1"
    reply = check_answer(each, "4/8")
    assert not reply.right
    assert reply.text == (
        "That ends the rub, but now the top line leaps a major ninth; before it was a major second."
    )
    below = check_answer(each, "1/4").text
    assert below == (
        "Ab4 does not end the rub. Beside A4 it makes a minor second again, from the other side."
    )
    assert "Bb4 again" in check_answer(each, "3/15").text, "the same note on another string"
    assert check_answer(each, (1, 1)).right, "F4, a third below"
    for text in ("1/1", "string 1, fret 1", "fret 1 on string 1", "1st string, 1st fret", "1⁄1"):
        assert check_answer(each, text).right, text
    worked_out = check_answer(each, 2 / 5)
    assert 'such as check("2/5")' in worked_out.text
    assert "By its name in this song D#4 is Eb4" in check_answer(each, "D#4").text
    assert "Bb4 is gone" in check_answer(each, "x").text
    assert "lies at" in check_answer(each, "F4").text
    assert "no string 7" in check_answer(each, "7/1").text
    assert "past the neck" in check_answer(each, "1/30").text


def test_fix_offers_wrong_choices_too():
    for name in DEMOS:
        for each in of_kind(name, "small", "fix it on the neck"):
            assert len(each.choices) >= 3
            assert sum(not check_answer(each, choice).right for choice in each.choices) >= 2


# which capo

OPEN = "C A G E D Am Em Dm A7 B7 D7 E7 G7 Am7 Em7 Dm7 Cmaj7 Fmaj7 C/B G/B D/F# Am/G"
CLOSED = "F Bb B Eb Ab C# F# Bm Gm Cm Fm C#m G#m F#m Bbm"


def test_open_shapes_are_those_of_the_trade():
    """Common practice: what players call open chords in standard tuning, and what they barre."""
    assert [symbol for symbol in OPEN.split() if not open_shape(symbol, 0, STANDARD)] == []
    assert [symbol for symbol in CLOSED.split() if open_shape(symbol, 0, STANDARD)] == []
    assert open_shape("C", 0, STANDARD) == "x32010"
    assert open_shape("Em", 0, STANDARD) == "022000"


def test_capo_shapes():
    """Counted down by hand: Gm over a capo at 3 has the shape of Em, Bb that of G, Eb of C, F
    of D.
    """
    assert [shape_symbol(s, 3) for s in ("Gm", "Bb", "Eb", "F", "Bb/D")] == [
        "Em", "G", "C", "D", "G/B",
    ]  # fmt: skip
    assert shape_symbol("A/C#", 5) == "E/G#"


def test_which_capo_of_the_demo():
    """The demo's chords are those of Bb major: only capo 3 makes Gm, Bb, Eb and F open shapes."""
    each = next(e for e in of_kind("low-water.musicxml", "middle", "which capo")
                if set(e.case[1]) == {"Gm", "Bb", "Eb", "F"})  # fmt: skip
    assert [fret for fret in range(8) if check_answer(each, fret).right] == [3]
    assert "none of them has an open shape; all want" in check_answer(each, "fret 0").text
    assert check_answer(each, "no capo").text == check_answer(each, 0).text
    assert "leaves little neck" in check_answer(each, 12).text


def test_fret_and_shapes():
    each = next(e for e in of_kind("low-water.musicxml", "large", "which capo")
                if "3: " in e.answer)  # fmt: skip
    fret, shapes = each.answer.removeprefix("fret ").split(": ")
    assert check_answer(each, f"{fret}: {shapes.replace(' ', ', ')}").right
    assert "Which" in check_answer(each, fret).text
    each_shape = shapes.split()
    swapped = " ".join([each_shape[1], each_shape[0], *each_shape[2:]])
    symbol = each.case[1][0]
    assert check_answer(each, f"{fret}: {swapped}").text.startswith(
        f"Fret {fret} is right, but the shape of {each_shape[1]} does not sound as {symbol} there"
    )


# which layer can go


@pytest.mark.parametrize("name", DEMOS)
def test_layers_counted_in_plain_loops(name):
    """A note is heard elsewhere if another part begins the same pitch class at the same moment."""
    own = facts(name)
    for each in {e.case[0]: e for e in of_kind(name, "large", "which layer can go")}.values():
        section = each.case[0]
        notes = own.sounding[own.sounding["section"] == section].to_dict("records")
        shares = {}
        for layer in section_layers(own, section):
            mine = [n for n in notes if n["part"] == layer.part]
            alone = 0
            for note in mine:
                alone += not any(
                    other["part"] != layer.part
                    and abs(other["onset"] - note["onset"]) < 1e-6
                    and (other["pitch"] - note["pitch"]) % 12 == 0
                    for other in notes
                )
            assert (layer.notes, layer.alone) == (len(mine), alone), (section, layer)
            shares[layer.part] = alone / len(mine)
        assert all(shares[part] <= min(shares.values()) + 0.02 for part in each.case[1])


def test_the_share_that_is_lost_is_the_right_answer():
    """Too small, too large, and above the total are three mistakes with different replies."""
    each = next(e for e in of_kind("last-bell.musicxml", "large", "which layer can go")
                if not e.answer.endswith(": 0"))  # fmt: skip
    part, count = each.answer.split(": ")
    assert check_answer(each, each.answer).right
    assert check_answer(each, f"{part} {count}").right
    assert "Fewer" in check_answer(each, f"{part}: {int(count) + 1}").text
    assert "More" in check_answer(each, f"{part}: {int(count) - 1}").text
    assert "in all" in check_answer(each, f"{part}: 9999").text
    assert "How many" in check_answer(each, part).text


def test_a_layer_that_cannot_go():
    each = next(e for e in of_kind("last-bell.musicxml", "middle", "which layer can go")
                if "Chorus" in e.section)  # fmt: skip
    assert "it stays" in check_answer(each, "Voice").text
    assert "does not play in" in check_answer(each, "Strum").text
    wrong = [layer.part for layer in section_layers(each.facts, each.case[0])
             if layer.part not in each.case[1]]  # fmt: skip
    layers = {layer.part: layer for layer in section_layers(each.facts, each.case[0])}
    own, best = layers[wrong[0]], layers[each.case[1][0]]
    reply = check_answer(each, wrong[0]).text
    assert f"you would lose {own.alone} of its {own.notes} notes, which no other" in reply
    assert reply.endswith(f"share would be lost: {best.alone} of its {best.notes} notes.")
    assert each.hints[1] == f"The layer that can go has most in common with {best.with_whom}."
    assert "did you mean" in check_answer(each, wrong[0] + "e").text


# guess by ear


def test_what_is_heard_is_short_and_soft():
    for name in DEMOS:
        for size in SIZES:
            sound = exercise_sound(of_kind(name, size, "guess by ear")[0])
            assert 1 < sound.seconds < 20
            assert 0.01 < np.abs(sound.samples).max() <= PEAK + 1e-6


def test_two_takes_differ_and_the_order_is_that_of_the_answer():
    """The second half of one order is the first half of the other."""
    takes = [e for e in of_kind("low-water.musicxml", "small", "guess by ear")
             if e.case[0] == "takes"]  # fmt: skip
    assert takes
    assert {e.answer for e in takes} == {"the first take", "the second take"}
    each = takes[0]
    other = replace(each, case=(*each.case[:-1], 1 - each.case[-1]))
    first, second = (exercise_sound(e).samples for e in (each, other))
    assert not np.array_equal(first, second)
    assert check_answer(other, each.answer).right is False
    assert "is gone" in check_answer(other, each.answer).text
    assert check_answer(each, "1").right != check_answer(each, "2").right


def test_an_interval_is_the_distance_of_the_two_notes():
    for name in DEMOS:
        for each in of_kind(name, "large", "guess by ear"):
            rows = each.facts.song.notes.loc[list(each.case[1])]
            size = int(abs(rows["pitch"].iloc[0] - rows["pitch"].iloc[1]))
            assert each.answer == INTERVAL_NAMES[size]
            assert check_answer(each, size).right
            octave = check_answer(each, size + 12)
            assert "by an octave" in octave.text
            wrong = check_answer(each, (size + 1) % 12)
            assert not wrong.right
            assert ("wider" in wrong.text) == ((size + 1) % 12 > size)


def test_an_interval_is_read_as_musicians_write_it():
    """A large M is major, a small one minor (common practice); a number alone is semitones."""
    (each,) = make_exercises(facts("low-water.musicxml"), 28, "large", ["guess by ear"])
    assert each.answer == "octave"
    for semitones, forms in {
        3: ("m3", "min 3", "Minor 3rd", "minor third", "3"), 4: ("M3", "maj. 3", "major 3rd", "4"),
        5: ("P4", "4th", "perfect fourth", "a fourth"), 6: ("tritone", "aug 4", "TT"),
        7: ("P5", "Perfect 5th"), 9: ("M6", "9"), 12: ("octave", "P8")
    }.items():  # fmt: skip
        for form in forms:
            reply = check_answer(each, f'"{form}"').text
            expected = {12: "Yes, an octave"}.get(semitones, first_up(an_interval(semitones)))
            assert reply.startswith(expected), (form, reply)
    for form in ("3rd", "M", "m4", "4th or 5th"):
        assert wanted(each) in check_answer(each, form).text


def test_only_what_is_about_a_passage_sounds():
    each = of_kind("low-water.musicxml", "small", "which capo")[0]
    with pytest.raises(ArrangeError, match="nothing is played for 'which capo'"):
        exercise_sound(replace(each, passage=None))


# how it is shown


def test_a_reply_is_about_what_stands_in_the_field(monkeypatch):
    """What is typed late is checked again; any later change takes the reply away."""
    now = [100.0]
    monkeypatch.setattr(asking.time, "monotonic", lambda: now[0])
    each = rub_in_low_water("middle")
    form = each.answer_form
    assert form is each.answer_form, "what is typed stays when the cell is run again"
    check, hint, show = form.buttons
    enter = {"event": "submit"}
    (field,) = form.fields
    field.value = "2"
    field._handle_custom_msg(enter, None)
    assert "Not yet" in form.replied.value
    field.value = "22"  # was on its way when the key was pressed
    assert "Right" in form.replied.value
    field.value = "222"
    assert "press Check" in form.replied.value
    assert "alert" not in form.replied.value
    now[0] += 2
    check.click()
    assert "no measure 222" in form.replied.value
    field.value = "23"
    assert "press Check" in form.replied.value
    show.click()
    assert html.escape(str(each.solution())) in form.replied.value
    for count in range(1, len(each.hints) + 2):
        hint.click()
        assert form.hinted.value.count("<li>") == min(count, len(each.hints))
    small = rub_in_low_water("small")
    form = small.answer_form
    shown = []
    form.replied.observe(lambda change: shown.append(change["new"]), "value")
    form.buttons[0].click()
    assert "No answer yet: choose one." in form.replied.value
    assert "One moment" in shown[0], "some answers take seconds"
    for field, choice in zip(form.fields, small.choices, strict=True):
        field.value = choice
        assert [each.value for each in form.fields if each.value] == [choice] == [form.answer]
        now[0] += 2
        form.buttons[0].click()
        assert ("Right" in form.replied.value) == (choice == small.answer)


def test_the_same_text_stands_where_there_are_no_widgets():
    each = rub_in_low_water("small")
    for text in (str(each), html.unescape(re.sub("<[^>]+>", " ", each._repr_html_()))):
        for part in (each.question, *each.choices, wanted(each), 'exercise.check("...")'):
            assert part.lower() in text.lower()


# songs that give less


def test_a_song_without_chords_gives_the_others():
    own = facts("low-water.musicxml").song
    bare = SongFacts(replace(own, chords=own.chords.iloc[:0]))
    missing = missing_exercises(bare)
    assert missing == {"which capo": "this song has no chord symbols"}
    assert [each.kind for each in make_exercises(bare)] == [k for k in KINDS if k not in missing]


def test_a_song_without_guitars():
    voices = song(("Voice", "C4 E4", 0, 4), ("Keys", "F4", 0, 4), ("Voice", "G4", 4, 4))
    missing = missing_exercises(voices)
    assert missing["fix it on the neck"] == "no guitar plays in this song"
    assert missing["which capo"] == "no guitar plays in this song"
    with pytest.raises(ArrangeError, match="no guitar plays"):
        make_exercises(voices, kinds=["which capo"])


def test_a_song_that_gives_none():
    with pytest.raises(ArrangeError, match="this song gives no exercise"):
        make_exercises(song(("Guitar 1", "C4", 0, 4)))
    empty = song(parts=("Guitar 1",), bars=2)
    assert set(missing_exercises(empty)) == set(KINDS)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"size": "huge"}, "size='huge'; it is one of 'small', 'middle', 'large'"),
        ({"kinds": ["sing it"]}, "no exercise is called 'sing it'"),
        ({"kinds": "which capo"}, "give several"),
        ({"kinds": []}, "kinds is empty"),
    ],
)
def test_what_is_asked_must_be_known(asked, message):
    with pytest.raises(ArrangeError, match=message):
        make_exercises(leaping(), **asked)


# words


def test_articles_and_lists():
    assert [an_interval(n) for n in (0, 8, 12, 13, 17, 24, 29)] == [
        "a unison", "a minor sixth", "an octave", "a minor ninth", "an octave and a fourth",
        "2 octaves", "2 octaves and a fourth",
    ]  # fmt: skip
    assert (an("outside"), an("rub")) == ("an outside", "a rub")
    assert listed(["C", "D", "E"]) == "C, D and E"
    assert (listed(["C"]), listed([])) == ("C", "")
    assert runs_words([3, 5, 6, 7]) == "measures 3 and 5 to 7"
    assert runs_words([4]) == "measure 4"
    assert numbers_in("measure 22, A4 and m7") == [22, 7]
    assert number_set("3, 5 to 7 and 9-10") == {3, 5, 6, 7, 9, 10}
    amounts = ("0.25", ".25", "0,25", "1/4", "25 %", "0.25 s", "x", "", "1/0", "-")
    assert [amount_in(text) for text in amounts] == [0.25] * 6 + [None] * 4
    names = ["Guitar 1", "guitar 1", 'Say "when"', "A+B"]
    for text, name in (("guitar 1", "guitar 1"), ("GUITAR 1", "Guitar 1"), ("guitar1", "Guitar 1"),
                       ("say when", 'Say "when"'), ("a + b", "A+B"), ("", None),
                       ("C", None)):  # fmt: skip
        assert find_name(text, names) == name
    assert plain_signs("E flat 4, F♯3, a-flat and 2⁄5") == "Eb4, F#3, Ab and 2/5"
    assert parse_note("A#4") == parse_note("Bb4")


def test_no_sentence_stumbles():
    """All texts have correct articles, no doubled signs and no missing values."""
    bad = (" a octave", " a eleventh", " a outside", "  ", "..", ". .", "None", "nan", " 1 notes",
           "[]", "()", "{")  # fmt: skip
    for name, size in ALL:
        for each in exercises(name, size)[:60]:
            replies = [check_answer(each, answer).text for answer in (*each.choices, each.answer)]
            for text in (each.question, each.form, *each.hints, *replies):
                assert not [sign for sign in bad if sign in text], text
                assert text[0] == text.strip()[0]


def test_a_song_without_findings_has_none_of_any_kind():
    """An empty table must have all its columns, since other code reads them."""
    quiet = SongFacts(song(("Guitar 1", "C4", 0, 4)))
    assert quiet.findings.empty
    assert quiet.of_kinds(lambda _: True).columns.tolist() == quiet.findings.columns.tolist()


@pytest.mark.long
def test_exercises_follow_what_a_section_has():
    """The same rub in two sections, in the second behind a capo, overdriven."""
    rub = (("Guitar 1", "C5", 0, 4), ("Guitar 2", "B4", 0, 4))
    made = song(
        *((part, note, at + bar, lasts) for bar in (0, 12) for part, note, at, lasts in rub),
        sections=[("A", 1), ("B", 3)], tempo=90,
    )  # fmt: skip
    made = with_setup(made, "Guitar 1", "B", capo=3, drive="overdriven")
    own = SongFacts(made)
    at = {row.section: row.Index for row in own.findings.itertuples()
          if row.kind == "rub"}  # fmt: skip
    assert {section: MovedNote(own, label, "Guitar 1", 72.0).neck.capo
            for section, label in at.items()} == {"A": 0, "B": 3}  # fmt: skip
    replies = {
        each.section: check_answer(each, "drive").text
        for seed in range(8)
        for each in make_exercises(own, seed, "large", ["name its kind"])
    }
    assert "Guitar 1 is clean" in replies["A"]
    assert "Guitar 1 is overdriven" in replies["B"]
    about = handout_blocks(made, make_exercises(own, 1))[0]["text"]
    assert "Guitar 1 (capo 3 in B, overdriven in B) and Guitar 2;" in about
    plain = replace(made, setups=made.setups[:0], parts=made.parts.assign(capo=[2, 0]))
    assert "Guitar 1 (capo 2) and" in handout_blocks(plain, make_exercises(own, 1))[0]["text"]
