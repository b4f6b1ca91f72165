"""What can be done with findings: cases worked by hand, and each move tried on the whole song.

At 60 quarter notes a minute a quarter note lasts a second. What belongs to a finding, how similar
ones are grouped and what counts as the smallest move is our own choice, so that the tests state the
definition.
"""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from songs import parts_of, song

from arrange import Study
from arrange.clashes import KINDS, Limits, find_clashes
from arrange.clashes.scene import Scene
from arrange.errors import ArrangeError, TableError
from arrange.findings import (
    Waiver,
    apply_move,
    finding_notes,
    group_findings,
    not_asked,
    parse_waiver,
    read_waivers,
    smallest_move,
    smallest_moves,
    waive,
    waivers_table,
)
from arrange.findings.possible_moves import Move, moved_notes
from arrange.findings.ranking import ranked, weights
from arrange.findings.recheck import recheck
from arrange.findings.summary import trait_sentences
from arrange.tables.schema_check import check_table
from arrange.tables.schemas import FINDINGS

EXAMPLES = settings(max_examples=8, deadline=None, derandomize=True, phases=[Phase.generate])


def first(music, kind, limits=Limits()):  # noqa: B008
    """Return the most severe finding of a kind."""
    found = find_clashes(music, [kind], limits)
    assert len(found), f"no {kind} in it"
    return found.iloc[0]


def behind(music, kind, limits=Limits()):  # noqa: B008
    """Return (part, name, measure, beat, duration) of the notes behind the first finding of a
    kind.
    """
    notes = finding_notes(music, first(music, kind, limits))
    columns = ("part", "name", "measure", "beat", "duration")
    return list(zip(*(notes[name] for name in columns), strict=True))


# --- The notes behind a finding ---------------------------------------------------------------


def test_behind_a_rub():
    """Guitar 1 holds E4 from beat 1, Guitar 2 strikes F4 on beat 3: both are listed from there on,
    neither the G4 above nor the F4 of the next bar, where no E sounds.
    """
    music = song(("Guitar 1", "E4 G4", 0, 4), ("Guitar 2", "F4", 2, 2), ("Guitar 2", "F4", 5, 1))
    assert behind(music, "rub") == [("Guitar 1", "E4", 1, 3, 2), ("Guitar 2", "F4", 1, 3, 2)]


def test_behind_mud_in_one_part():
    """A low third in one hand has its two notes behind it, not the G above them."""
    music = song(("Guitar 1", "F2 A2 G3", 0, 4))
    assert [row[1] for row in behind(music, "mud")] == ["F2", "A2"]


def test_behind_mud_over_an_assumed_root():
    """No bass plays under the chord C: the missing C cannot be listed, but the E2 above it is."""
    music = song(("Guitar 1", "E2 C4", 0, 8), chords=[(0, 0, "major", None)])
    assert behind(music, "mud") == [("Guitar 1", "E2", 1, 1, 8)]


def test_behind_crowding():
    """Both stay on C4 to D4; the high E5 lies outside the shared zone, and the last bar, in
    which Guitar 2 is silent, is left out.
    """
    shared = [(part, note, at, 1) for part in ("Guitar 1", "Guitar 2")
              for at, note in enumerate(["C4", "D4"] * 4)]  # fmt: skip
    music = song(*shared, ("Guitar 1", "E5", 0, 1), ("Guitar 1", "C4", 8, 4))
    notes = behind(music, "crowding")
    assert [(row[0], row[1]) for row in notes] == [
        (part, name) for name in ["C4", "D4"] * 4 for part in ("Guitar 1", "Guitar 2")
    ]


def test_behind_a_crossing():
    """They are the top notes of both for the two beats in which the upper part lies lower."""
    music = song(
        ("Guitar 1", "C5", 0, 6), ("Guitar 1", "E4", 6, 2), ("Guitar 1", "C5", 8, 8),
        ("Guitar 2", "G3 G4", 0, 16),
    )  # fmt: skip
    assert (
        behind(music, "crossing", Limits(crossing=1))
        == [("Guitar 2", "G4", 2, 3, 2), ("Guitar 1", "E4", 2, 3, 2)][::-1]
    )


def test_behind_disagreeing_thirds():
    """E clashes with Eb over C while both sound; the C and G beside them agree."""
    music = song(
        ("Guitar 1", "C4 E4", 0, 4), ("Guitar 2", "Eb3 G3", 1, 2),
        chords=[(0, 0, "major", None)],
    )  # fmt: skip
    assert behind(music, "third") == [("Guitar 1", "E4", 1, 2, 2), ("Guitar 2", "Eb3", 1, 2, 2)]


def test_behind_a_note_outside():
    """The F# over C is listed only as long as the symbol is C."""
    chords = [(0, 0, "major", None), (4, 2, "major", None)]
    music = song(("Guitar 1", "C4 F#4", 0, 8), chords=chords)
    assert behind(music, "outside") == [("Guitar 1", "F#4", 1, 1, 4)]


def test_behind_voice_and_bass():
    """They are the A with the sung G near it, and the low E with the bass's C below it."""
    music = song(("Voice", "G4", 0, 8), ("Guitar 1", "A4 C3", 0, 8))
    assert [row[:2] for row in behind(music, "voice")] == [("Voice", "G4"), ("Guitar 1", "A4")]
    music = song(("Guitar 1", "E2 C4", 0, 8), ("Bass", "C2", 0, 8))
    assert [row[:2] for row in behind(music, "bass")] == [("Guitar 1", "E2"), ("Bass", "C2")]


SCALE = ["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5"]


def test_behind_a_doubling():
    """They are the top notes of the eight common attacks; the low G below them is not one."""
    music = song(
        *(("Guitar 1", note, at, 1) for at, note in enumerate(SCALE)),
        *(("Guitar 2", note, at, 1) for at, note in enumerate(SCALE)),
        ("Guitar 2", "G2", 0, 8),
    )
    notes = behind(music, "doubling")
    assert len(notes) == 16
    assert {row[1] for row in notes} == set(SCALE)


LATE = [("Guitar 1", "C4", at, 0.2) for at in range(8)] + [
    ("Guitar 2", "G4", at + 0.25, 0.2) for at in range(8)
]


def test_behind_attacks_that_miss():
    """Eight quarters and eight attacks a sixteenth later are listed; shared attacks are not."""
    notes = behind(song(*LATE, ("Guitar 1", "C4", 8, 1), ("Guitar 2", "G4", 8, 1)), "near")
    assert len(notes) == 16
    assert notes[:2] == [("Guitar 1", "C4", 1, 1, 0.2), ("Guitar 2", "G4", 1, 1.25, 0.2)]


def echoing():
    """Return quarters with a triplet echo against sixteenths: the repeats miss, no attack does."""
    rows = [("Guitar 1", "C4", at, 0.2) for at in range(16)]
    rows += [("Guitar 2", "G4", at / 4, 0.2) for at in range(64)]
    parts = parts_of("Guitar 1", "Guitar 2", echo=["triplet quarter", None])
    return song(*rows, parts=parts, tempo=60)


def test_behind_an_echo():
    """The attacks that the echo repeats and the other part's are listed; no move of a note
    ends it.
    """
    music, limits = echoing(), Limits(near=1)
    finding = first(music, "near", limits)
    assert "echo" in finding["why"]
    notes = finding_notes(music, finding)
    assert set(notes["part"]) == {"Guitar 1", "Guitar 2"}
    moves = smallest_moves(music, finding, limits)
    assert moves["move"].tolist() == [
        "no single move ends it: an echo misses, not a note; set it to another note value"
    ]
    with pytest.raises(ArrangeError, match="this row changes nothing: no single move"):
        apply_move(music, moves.iloc[0])
    with pytest.raises(ArrangeError, match="no row of smallest_moves"):
        apply_move(music, finding)


def test_a_finding_by_its_label_or_as_a_row():
    """Label, Series and named tuple give the same; an unknown label or part is reported."""
    music = song(("Guitar 1", "C4", 0, 4), ("Guitar 2", "Db4", 0, 4))
    found = find_clashes(music)
    label = found.index[0]
    expected = finding_notes(music, found.iloc[0])
    assert len(expected) == 2
    pd.testing.assert_frame_equal(finding_notes(music, label), expected)
    pd.testing.assert_frame_equal(finding_notes(music, next(found.itertuples())), expected)
    with pytest.raises(ArrangeError, match="no finding has the label 99"):
        finding_notes(music, 99)
    with pytest.raises(ArrangeError, match="of a part 'Fiddle', which the song does not have"):
        finding_notes(music, found.iloc[0].replace("Guitar 1 + Guitar 2", "Guitar 1 + Fiddle"))


def test_a_part_with_a_plus_in_its_name():
    """The label of a part may contain the sign that joins two labels."""
    music = song(("Ann + Bo", "C4", 0, 4), ("Guitar + amp", "Db4", 0, 4))
    assert [row[0] for row in behind(music, "rub")] == ["Ann + Bo", "Guitar + amp"]


# --- The smallest move ------------------------------------------------------------------------


def test_out_of_a_rub_onto_the_chord():
    """E4 against F4 over C: F goes down a semitone onto E or up a tone onto G; E down four onto
    C or up three onto G. All are members of C, so that no step to another note is listed.
    """
    music = song(
        ("Guitar 1", "E4", 0, 4), ("Guitar 2", "F4", 0, 4),
        chords=[(0, 0, "major", None)], key="C major",
    )  # fmt: skip
    moves = smallest_moves(music, first(music, "rub"))
    steps = moves[moves["semitones"].abs() < 12]
    assert list(zip(steps["part"], steps["move"], steps["semitones"], strict=True)) == [
        ("Guitar 2", "down a semitone to E4", -1),
        ("Guitar 2", "up 2 semitones to G4", 2),
        ("Guitar 1", "up 3 semitones to G4", 3),
        ("Guitar 1", "down 4 semitones to C4", -4),
    ]
    assert steps["in_chord"].all()
    assert sorted(moves["move"].tolist()[-2:]) == ["leave out E4", "leave out F4"]
    assert smallest_move(music, first(music, "rub")) == "Guitar 2: down a semitone to E4"


def test_without_a_chord_symbol_any_note_will_do():
    """For C4 against C#4 without a chord, each moves a semitone away from or onto the other."""
    music = song(("Guitar 1", "C4", 0, 4), ("Guitar 2", "C#4", 0, 4))
    moves = smallest_moves(music, first(music, "rub"))
    assert moves["in_chord"].isna().all()
    assert set(moves["move"][:4]) == {
        "up a semitone to C#4", "down a semitone to B3",
        "up a semitone to D4", "down a semitone to C4",
    }  # fmt: skip


def test_moves_stay_on_the_neck():
    """The open low E of a guitar goes no lower."""
    music = song(("Guitar 1", "E2", 0, 8), ("Guitar 2", "F2", 0, 8))
    moves = smallest_moves(music, first(music, "rub"))
    down = moves[(moves["part"] == "Guitar 1") & (moves["semitones"] < 0)]
    assert down.empty


def test_mud_in_one_hand_is_ended_by_one_of_its_notes():
    """F2 A2 is a third too low: moving either note ends it, and the text says which."""
    music = song(("Guitar 1", "F2 A2", 0, 4))
    moves = smallest_moves(music, first(music, "mud"))
    assert set(moves["move"].str.split().str[0]) == {"F2", "A2", "leave"}
    assert set(moves["changed"].map(len)) == {1}


def test_a_late_part_comes_earlier():
    """One part moves a sixteenth earlier, or the other later, with all attacks at once."""
    music = song(*LATE)
    moves = smallest_moves(music, first(music, "near"))
    listed = list(zip(moves["part"], moves["move"], strict=True))[:2]
    assert ("Guitar 2", "together with Guitar 1: a sixteenth earlier") in listed
    assert ("Guitar 1", "together with Guitar 2: a sixteenth later") in listed
    earlier = moves[moves["move"].str.endswith("earlier")].iloc[0]
    moved = apply_move(music, earlier)
    assert sorted(moved.notes["onset"]) == sorted(list(map(float, range(8))) * 2)


def test_a_singer_is_left_where_she_sings():
    """If a guitar is in the singer's way, only the guitar moves."""
    music = song(("Voice", "G4", 0, 8), ("Guitar 1", "A4", 0, 8))
    moves = smallest_moves(music, first(music, "voice"))
    assert moves["part"].unique().tolist() == ["Guitar 1"]
    assert moves["move"].tolist() == ["an octave higher", "an octave lower", "leave out A4"]


def test_a_guitar_under_the_bass_is_the_one_to_move():
    """E2 under the bass's G2: the guitar goes up; the bass stays (common practice)."""
    music = song(("Bass", "G2", 0, 8), ("Guitar 1", "E2 B3", 0, 8))
    moves = smallest_moves(music, first(music, "bass"))
    up = moves[moves["semitones"] > 0]
    assert set(up["part"]) == set(moves["part"]) == {"Guitar 1"}
    assert smallest_move(music, first(music, "bass")) == "Guitar 1: up 3 semitones to G2"


def test_a_bass_may_go_up_below_the_guitar():
    """Over F the bass plays E, the guitar F: the bass alone is outside the chord and moves, to
    nothing higher than the guitar's note. Without a symbol it stays, and the guitar moves.
    """
    rows = ("Bass", "E1", 0, 4), ("Guitar 1", "F3", 0, 4)
    music = song(*rows)
    assert set(smallest_moves(music, first(music, "rub"))["part"]) == {"Guitar 1"}
    music = song(*rows, chords=[(0, 5, "major", None)])
    assert smallest_move(music, first(music, "rub")).startswith("Bass: up a semitone to F1")
    moves = smallest_moves(music, first(music, "rub"))
    up = moves[(moves["part"] == "Bass") & (moves["semitones"] > 0)]["semitones"]
    assert len(up)
    assert up.max() <= 25


def test_a_moved_note_has_a_string_again():
    """F4 on string 1 goes down a semitone to the open string."""
    music = song(("Guitar 1", "F4", 0, 4), ("Guitar 2", "E4", 0, 4))
    notes = music.notes.assign(string=pd.array([1, None], "Int64"),
                               fret=pd.array([1, None], "Int64"))  # fmt: skip
    music = replace(music, notes=notes)
    moves = smallest_moves(music, first(music, "rub"))
    down = moves[(moves["part"] == "Guitar 1") & (moves["semitones"] == -1)].iloc[0]
    after = apply_move(music, down).notes
    assert after[["string", "fret"]].iloc[0].tolist() == [1, 0]
    assert after["string"].isna().tolist() == [False, True]
    out = moves[(moves["part"] == "Guitar 1") & moves["semitones"].isna()].iloc[0]
    assert apply_move(music, out).notes["part"].tolist() == ["Guitar 2"]


def test_the_intruder_moves_first():
    """Over C, B3 is no member and C4 is: Guitar 1 goes a semitone up, or three down to another
    member, before Guitar 2 moves at all, though its way onto E4 is not longer.
    """
    music = song(("Guitar 1", "B3", 0, 4), ("Guitar 2", "C4", 0, 4),
                 chords=[(0, 0, "major", None)], key="C major")  # fmt: skip
    moves = smallest_moves(music, first(music, "rub"))
    assert moves["part"].tolist()[:2] == ["Guitar 1"] * 2
    assert moves["move"].iloc[0] == "up a semitone to C4"


def test_no_note_moves_onto_one_that_is_there():
    """A2 and C3 are too low: neither goes where the other is, but C3 goes up."""
    music = song(("Guitar 1", "A2 C3", 0, 4), chords=[(0, 9, "minor", None)])
    moves = smallest_moves(music, first(music, "mud"))
    assert moves["move"].tolist()[0] == "C3 up 4 semitones to E3"
    assert not moves["move"].str.contains("A2 up 3|C3 down 3").any()


def test_a_move_that_brings_as_much_as_it_ends_is_not_offered():
    """Between two others, B4 rubs with C5; a semitone down, or two up, it would rub with another
    guitar's notes as long and as exposed.
    """
    music = song(("Guitar 1", "B4", 0, 4), ("Guitar 2", "C5", 0, 4), ("Guitar 3", "A4", 0, 4))
    rub = first(music, "rub")
    moves = smallest_moves(music, rub)
    own = moves[moves["part"] == "Guitar 1"]
    assert "down a semitone to Bb4" not in own["move"].tolist()
    down = own[own["semitones"] < 0].iloc[0]
    assert down["semitones"] < -1
    assert len(find_clashes(apply_move(music, down), ["rub"])) == 0


def test_what_a_move_brings_is_listed():
    """F4 against E4 may go up to F#4, but there the keys hold G4: a new rub. Moving down onto E4
    causes no new finding.
    """
    music = song(("Guitar 1", "F4", 0, 3), ("Guitar 2", "E4", 0, 3), ("Keys", "G4", 0, 3))
    moves = smallest_moves(music, first(music, "rub")).set_index(["part", "move"])["also"]
    assert moves["Guitar 1", "up a semitone to F#4"] == 1
    assert moves["Guitar 1", "down a semitone to E4"] == 0


PARTS = ["Guitar 1", "Guitar 2", "Bass", "Voice"]
ROWS = st.lists(
    st.tuples(
        st.sampled_from(PARTS),
        st.integers(40, 72),
        st.integers(0, 60).map(lambda sixteenths: sixteenths / 4),
        st.sampled_from([0.5, 1, 2, 4]),
    ),
    min_size=2,
    max_size=14,
)
CHORDS = st.sampled_from([[], [(0, 0, "major", None), (8, 9, "minor", None)]])
LOOSE = Limits(rub=0.1, mud=0.5, crowding=0.2, crowding_seconds=1, crossing=0.3, third=0.2,
               outside=0.5, voice=0.2, voice_seconds=0.5, bass=0.5, doubling=3, near=1,
               fusing=4)  # fmt: skip


def of_its_parts(findings, finding):
    """Return (onset, pitches) of findings of the same kind and parts that touch its time."""
    end = findings["onset"] + findings["duration"]
    same = (findings["kind"] == finding.kind) & (findings["parts"] == finding.parts)
    same &= (findings["onset"] <= finding.onset + finding.duration) & (end >= finding.onset)
    return set(zip(findings["onset"][same], findings["pitches"][same], strict=True))


@given(ROWS, CHORDS, st.integers(0, 9))
@settings(EXAMPLES, max_examples=10)
def test_each_move_ends_its_finding(rows, chords, number):
    """Each move is made on the whole song and checked there: at the finding's time nothing of its
    kind and parts is left but what was there before. A finding has a move or a reason for none.
    """
    music = song(*rows, parts=PARTS, chords=chords, bars=10)
    before = find_clashes(music, limits=LOOSE)
    for finding in before.iloc[number : number + 1].itertuples():
        beside = of_its_parts(before, finding) - {(finding.onset, finding.pitches)}
        moves = smallest_moves(music, finding, LOOSE)
        assert len(moves)
        for move in moves.itertuples():
            if not move.changed:
                assert move.move.startswith("no single move ends it: ")
                continue
            after = find_clashes(apply_move(music, move), [finding.kind], LOOSE)
            assert of_its_parts(after, finding) <= beside, (finding, move)


def listed(findings):
    """Return findings as (kind, parts, pitches, onset, value, notes), in order."""
    rows = findings.round({"onset": 6, "value": 6})
    columns = ("kind", "parts", "pitches", "onset", "value", "notes")
    return sorted(zip(*(rows[name] for name in columns), strict=True))


@given(ROWS, CHORDS, st.integers(-3, 3))
@EXAMPLES
def test_versions_rechecked_at_once_are_as_each_alone(rows, chords, semitones):
    """Several changed versions checked in one call give what a song with each gives by itself,
    crossings too, whichever part is on top then; each finding names the notes of its own version.
    """
    music = song(*rows, parts=PARTS, chords=chords, bars=10)
    moves = [
        Move("Bass", "up", "", (0,), semitones),
        Move("Bass", "out", "", (0, 1)),
        Move("Bass", "shift", "", (1,), quarters=(0.25,)),
    ]
    versions = [music.notes, *(moved_notes(music.notes, move) for move in moves)]
    found = recheck(music, versions, (0.0, 40.0), LOOSE)
    for version, own in zip(versions, found, strict=True):
        alone = find_clashes(replace(music, notes=version.reset_index(drop=True)), limits=LOOSE)
        labels = version.index.to_numpy()
        named = alone.assign(notes=[tuple(labels[list(each)].tolist()) for each in alone["notes"]])
        assert listed(own) == listed(named)


@pytest.mark.long
@given(ROWS, CHORDS)
@EXAMPLES
def test_looked_for_of_some_parts_only_findings_are_as_of_all(rows, chords):
    """Findings of some parts equal those found when all parts are asked, since the notes of the
    others still count.
    """
    music = song(*rows, parts=PARTS, chords=chords, bars=10)
    (whole,) = recheck(music, [music.notes], (0.0, 40.0), LOOSE)
    for some in combinations(music.parts["part"], 2):
        (found,) = recheck(music, [music.notes], (0.0, 40.0), LOOSE, parts=some)
        asked, wanted = (
            each[np.array([set(own.split(" + ")) <= set(some) for own in each["parts"]], bool)]
            for each in (found, whole)
        )
        assert listed(asked) == listed(wanted)


def test_a_move_is_tried_on_the_notes_of_its_own_parts():
    """Of forty parts that sound at once, 780 pairs of notes do; of two of them, one pair does. The
    other parts are heard, but not compared with each other.
    """
    music = crowd(40, 1)
    names = music.parts["part"].tolist()
    assert len(Scene(music).pairs[0]) == 40 * 39 // 2
    few = Scene(music, asked=names[:2])
    assert len(few.pairs[0]) == 1
    assert len(few.part) == 40


def crowd(parts, notes):
    """Return guitars that all sound all the time, each on one pitch."""
    names = [f"Guitar {number + 1}" for number in range(parts)]
    rows = [
        (name, 40 + number % 44, float(onset), 1.0)
        for number, name in enumerate(names)
        for onset in range(notes)
    ]
    return song(*rows, parts=parts_of(*names), bars=notes // 4 + 1)


def test_more_than_can_be_compared_is_refused_with_what_to_do(monkeypatch):
    """Five parts that sound in four slices meet 10 x 4 times. Forty meetings are accepted where 40
    is the limit.
    """
    music = crowd(5, 4)
    monkeypatch.setattr("arrange.clashes.MOST_MEETINGS", 40)
    find_clashes(music)
    monkeypatch.setattr("arrange.clashes.MOST_MEETINGS", 39)
    with pytest.raises(
        ArrangeError,
        match="5 parts over 2 measures are too much to compare: two of them sound together 40 "
        "times, and 39 is the most; take out parts or measures",
    ):
        find_clashes(music)


def test_the_largest_song_that_is_read_is_refused_before_it_is_compared():
    """200 parts that all sound through 200 slices: 19,900 pairs, 3,980,000 meetings."""
    with pytest.raises(ArrangeError, match="sound together 3,980,000 times"):
        find_clashes(crowd(200, 200))


@given(ROWS, CHORDS)
@EXAMPLES
def test_the_notes_behind_make_the_finding(rows, chords):
    """The notes are of the finding's parts and time, and without them the finding is gone."""
    music = song(*rows, parts=PARTS, chords=chords, bars=10)
    for finding in find_clashes(music, limits=LOOSE).itertuples():
        notes = finding_notes(music, finding)
        assert set(notes["part"]) <= set(finding.parts.split(" + "))
        assert (notes["onset"] >= finding.onset - 1e-9).all()
        lasts = 0 if KINDS[finding.kind].is_of_attacks else notes["duration"]
        end = (notes["onset"] + lasts).max()
        assert end <= finding.onset + finding.duration + 1e-9
        left = replace(music, notes=music.notes.drop(index=notes.index))
        after = find_clashes(left, [finding.kind], LOOSE)
        same = after[(after["parts"] == finding.parts) & (after["onset"] == finding.onset)]
        assert finding.kind == "crossing" or finding.pitches not in set(same["pitches"])


# --- Grouping ---------------------------------------------------------------------------------

FORM = (("Verse 1", 1), ("Chorus 1", 3), ("Verse 2", 5), ("Chorus 2", 7))


def in_form(*rows, kinds=("verse", "chorus", "verse", "chorus"), **about):
    """Return a song of four sections of two bars."""
    music = song(*rows, sections=FORM, bars=8, **about)
    return replace(music, sections=music.sections.assign(kind=list(kinds)))


def rub(bar, low="C4", high="Db4"):
    """Return both guitars a semitone apart through a bar."""
    return [("Guitar 1", low, 4 * bar - 4, 3), ("Guitar 2", high, 4 * bar - 4, 3)]


def rows_of(music):
    """Return (kind, times, sections) of each group."""
    groups = group_findings(find_clashes(music, ["rub"]), music)
    return list(zip(groups["kind"], groups["times"], groups["sections"], strict=True))


def test_each_chorus_once():
    """The same rub in the first bar of both choruses is one row; in the verse it is another."""
    music = in_form(*rub(3), *rub(7), *rub(2))
    assert rows_of(music) == [("rub", 1, "Verse 1"), ("rub", 2, "Chorus 1 and 2")]


def test_another_place_of_the_chorus_is_another_clash():
    """The first bar of one chorus and the second of the other give two rows."""
    assert len(rows_of(in_form(*rub(3), *rub(8)))) == 2


def test_sections_of_no_kind_are_not_alike():
    """If a section has no kind, equal places in it are not grouped."""
    assert len(rows_of(in_form(*rub(3), *rub(7), kinds=["other"] * 4))) == 2


def test_played_again_in_a_repeat():
    """The same printed bar played a second time is grouped."""
    music = in_form(*rub(3), *rub(7), kinds=["other"] * 4)
    measures = music.measures.assign(written=["1", "2", "3", "4", "5", "6", "3", "8"])
    assert rows_of(replace(music, measures=measures)) == [("rub", 2, "Chorus 1 and 2")]


def test_like_ones_of_a_section():
    """A finding on other pitches in the same section joins the row; the most severe is shown."""
    music = in_form(*rub(3, "C3", "Db3"), *rub(4, "E4", "F4"))
    groups = group_findings(find_clashes(music, ["rub"]), music)
    assert groups["times"].tolist() == [2]
    assert groups["pitches"].tolist() == ["C3 C#3"]


def test_section_names_in_short():
    """Numbered names share one word, in the order of the song."""
    bars = [1, 3, 5, 7]
    music = song(
        *(row for bar in bars for row in rub(bar)),
        sections=[("Chorus 1", 1), ("Tag", 3), ("Chorus 2", 5), ("Chorus 3", 7)],
    )
    music = replace(music, sections=music.sections.assign(kind="chorus"))
    assert rows_of(music) == [("rub", 4, "Chorus 1, 2 and 3; Tag")]


def test_waived_ones_stay_apart():
    """A waived finding does not hide one that is not."""
    music = in_form(*rub(3), *rub(7))
    findings = waive(
        find_clashes(music, ["rub"]), [Waiver("W1", "an ornament", section="Chorus 2")]
    )
    groups = group_findings(findings, music)
    assert sorted(groups["sections"]) == ["Chorus 1", "Chorus 2"]


def test_grouping_asks_for_a_findings_table():
    """Another table is refused; an empty one has no groups."""
    music = in_form(*rub(3))
    with pytest.raises(TableError, match="table 'findings' lacks"):
        group_findings(music.notes, music)
    empty = group_findings(find_clashes(music, ["voice"]), music)
    more = ["kinds", "times", "sections", "labels", "trait"]
    assert empty.columns.tolist() == [*FINDINGS.names, *more]
    assert empty.empty


@given(ROWS, st.randoms(use_true_random=False))
@EXAMPLES
def test_grouping_loses_nothing(rows, random):
    """Each finding is in one group, which names its kind; the row shown is the first of them; the
    order of the findings makes no difference.
    """
    music = in_form(*(row for row in rows if row[2] + row[3] <= 32), parts=PARTS)
    findings = find_clashes(music, limits=LOOSE)
    groups = group_findings(findings, music)
    assert groups["times"].sum() == len(findings)
    held = [label for labels in groups["labels"] for label in labels]
    assert sorted(held) == sorted(findings.index)
    for row in groups.itertuples():
        own = findings.loc[list(row.labels)]
        assert set(own["kind"]) == set(row.kinds.split(", "))
        assert (row.kind, row.parts) == (own["kind"].iloc[0], own["parts"].iloc[0])
        assert row.severity == own["severity"].iloc[0]
        assert row.times == len(own)
    order = list(findings.index)
    random.shuffle(order)
    again = group_findings(findings.loc[order], music)
    columns = [*FINDINGS.names, "kinds", "times", "sections", "trait"]
    pd.testing.assert_frame_equal(again[columns], groups[columns])
    assert [set(labels) for labels in again["labels"]] == [set(own) for own in groups["labels"]]


def test_one_wrong_note_is_one_row():
    """Guitar 2 holds C#4 under three parts that hold C, E and G, with a chord symbol of C: it rubs
    with two, and stands outside the chord. All of it is one row; the mud
    of a bar later, of other notes, is another.
    """
    music = song(
        ("Guitar 2", "C#4", 0, 4), ("Guitar 1", "C4", 0, 4), ("Guitar 3", "C5", 0, 4),
        ("Bass", "C2", 0, 4), ("Guitar 1", "E2 G2", 8, 4),
        chords=[(0, 0, "major", None)], bars=4,
    )  # fmt: skip
    findings = find_clashes(music, ["rub", "outside", "mud"])
    groups = group_findings(findings, music)
    wrong = groups[groups["measure"] == 1]
    assert len(wrong) == 1
    assert set(wrong["kinds"].iloc[0].split(", ")) >= {"rub", "outside"}
    assert wrong["times"].iloc[0] == (findings["measure"] == 1).sum() >= 3
    assert groups["kinds"].tolist().count("mud") == 1


def test_a_double_that_is_meant_is_one_quiet_row():
    """Two guitars in unison through a verse crowd each other and double: the doubling is why."""
    music = in_form(*[row for at in range(0, 8) for row in (
        ("Guitar 1", SCALE[at], at, 1), ("Guitar 2", SCALE[at], at, 1),
    )])  # fmt: skip
    groups = group_findings(find_clashes(music, ["crowding", "doubling"]), music)
    assert groups["kinds"].tolist() == ["doubling, crowding"]
    assert groups["severity"].iloc[0] < 0.2


def test_what_a_double_brings_is_one_row():
    """Two guitars strum the same chords, whose top notes are a quarter of what they share, beside a
    third in their register: they crowd each other since they double, and the third once.
    """
    music = in_form(*[row for at in range(8) for row in (
        *((part, f"C3 E3 G3 {SCALE[at]}", at, 1) for part in ("Guitar 1", "Guitar 2")),
        ("Guitar 3", "C3 E3 G3 C4", at, 1),
    )])  # fmt: skip
    groups = group_findings(find_clashes(music, ["crowding", "doubling"]), music)
    assert groups[["kinds", "parts", "times"]].to_numpy().tolist() == [
        ["crowding", "Guitar 1 + Guitar 3", 2],
        ["doubling, crowding", "Guitar 1 + Guitar 2", 2],
    ]


def test_what_a_song_does_throughout_is_a_trait_and_comes_last():
    """Both guitars share a register in every bar of four sections, and rub once: the rub is first,
    the crowding is stated in a sentence. Eight bars are too short to know.
    """
    names = [(f"Verse {n}", 4 * n - 3) for n in range(1, 5)]
    rows = [(part, note, 2 * at, 2) for at in range(32)
            for part, note in (("Guitar 1", "C4"), ("Guitar 2", "C4"))]  # fmt: skip
    music = song(*rows, *rub(6, "B4", "C5"), sections=names)
    groups = group_findings(find_clashes(music, ["crowding", "rub"]), music)
    assert groups["kind"].tolist() == ["rub", *["crowding"] * 4]
    assert groups["trait"].tolist() == [False, *[True] * 4]
    assert trait_sentences(groups) == [
        "Guitar 1 and Guitar 2 share a register for most of the time that they play."
    ]
    short = song(*rows[:32], sections=names[:2])
    groups = group_findings(find_clashes(short, ["crowding"]), short)
    assert groups["trait"].tolist() == [False, False]


def test_what_good_music_seldom_has_comes_first():
    """The most severe comes first; of equal ones the earlier."""
    rows = [("rub", 0.5, 0.0), ("mud", 0.5, 8.0), ("mud", 0.5, 4.0), ("mud", 0.9, 12.0)]
    table = pd.DataFrame(rows, columns=["kind", "severity", "onset"])
    table = table.assign(parts="Guitar 1", pitches="C4")
    assert ranked(table).index.tolist() == [3, 0, 2, 1]


def test_a_row_of_several_kinds_comes_before_a_row_as_severe_of_one():
    """Severities of a half and 0.75 are one and two times ln 2; of the other kinds 0.3 count. What
    departs from the song counts 1.2 times, what comes with a double that is meant not at all.
    """
    kinds = ["rub", "third", "rub", "mud", "mud", "register", "doubling"]
    table = pd.DataFrame({"kind": kinds, "severity": [0.75, 0.5, 0.5, 0.75, 0.75, 0.5, 0.1]})
    found = weights(table, [[0, 1], [0, 2], [3, 4], [2, 1, 3], [5], [6, 0]])
    assert found[:5] / np.log(2) == pytest.approx([2.3, 2, 2, 2.6, 1.2])
    assert found[5] == pytest.approx(-np.log(0.9))


# --- Waiving ----------------------------------------------------------------------------------

DOUBLED = [(part, note, at, 1) for part in ("Guitar 1", "Guitar 2")
           for at, note in enumerate(SCALE)]  # fmt: skip
HOOK = Waiver("W1", "the hook is meant", kind="doubling")


def test_waived_by_kind_parts_section_and_measures():
    """Each condition alone, and all together, cover the doubling; the rub in the chorus stays."""
    music = in_form(*DOUBLED, *rub(3))
    findings = find_clashes(music, ["doubling", "rub"])
    for covers in (
        {"kind": "doubling"},
        {"section": "Verse 1"},
        {"measures": (1, 2)},
        {"kind": "doubling", "parts": ("Guitar 2", "Guitar 1"), "measures": (1, 1)},
    ):
        waived = waive(findings, [Waiver("W1", "meant", **covers)])
        check_table(waived, FINDINGS)
        assert waived["waived"].notna().tolist() == (waived["kind"] == "doubling").tolist()
    assert waive(findings, [Waiver("W1", "so", parts=("Guitar 1",))])["waived"].eq("W1").all()
    assert findings["waived"].isna().all(), "nothing is changed in place"


def test_the_first_waiver_counts():
    """Neither a later waiver nor a second call replaces the first; row labels stay."""
    music = in_form(*DOUBLED)
    findings = find_clashes(music, ["doubling"]).set_axis([7], axis=0)
    waived = waive(findings, [HOOK, Waiver("W2", "so too", section="Verse 1")])
    assert waived["waived"].to_dict() == {7: "W1"}
    assert waive(waived, [Waiver("W3", "again", kind="doubling")])["waived"].tolist() == ["W1"]


@pytest.mark.parametrize(
    ("covers", "message"),
    [
        ({"kind": "rub"}, "none is of kind 'rub'; there are findings of kind doubling"),
        ({"section": "Coda"}, "none is of section 'Coda'; there are findings of section Verse 1"),
        ({"measures": (5, 8)}, "there are: doubling of Guitar 1 .* in Verse 1, measure 1"),
        ({"parts": ("Guitar",)}, r"W1 \(parts=Guitar\) covers no finding"),
    ],
)
def test_a_waiver_that_covers_nothing(covers, message):
    """The error says what there is to cover; a part must be named in full."""
    findings = find_clashes(in_form(*DOUBLED), ["doubling"])
    with pytest.raises(ArrangeError, match=message):
        waive(findings, [Waiver("W1", "meant", **covers)])


def test_one_id_has_one_reason():
    """One decision may cover two places, but not with two reasons."""
    findings = find_clashes(in_form(*DOUBLED, *rub(3)), ["doubling", "rub"])
    again = Waiver("W1", HOOK.reason, kind="rub")
    assert waive(findings, [HOOK, again])["waived"].eq("W1").all()
    with pytest.raises(ArrangeError, match="W1: it has two reasons, 'the hook is meant' and 'no'"):
        waive(findings, [HOOK, replace(again, reason="no")])


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"decision": " ", "reason": "so", "kind": "rub"}, "needs the id of its decision"),
        ({"decision": "W1", "reason": " ", "kind": "rub"}, "W1: a reason is needed"),
        ({"decision": "W1", "reason": "so"}, "say what it covers: one of kind, parts, section"),
        ({"decision": "W1", "reason": "so", "measures": (4, 2)}, "measures 4-2: the first played"),
    ],
)
def test_a_waiver_that_is_none(fields, message):
    """An id, a reason and something that it covers are required."""
    with pytest.raises(ArrangeError, match=message):
        Waiver(**fields)


def test_a_waiver_as_text():
    """Names may come in any order, with a range or one measure; the reason keeps its text."""
    text = "reason=Ann = lead, as agreed; kind=rub;parts=Guitar 1 + Guitar 2; measures=21-24"
    assert parse_waiver(text, "W1") == Waiver(
        "W1", "Ann = lead, as agreed", "rub", ("Guitar 1", "Guitar 2"), "", (21, 24)
    )
    assert parse_waiver("measures=3; reason=so", "W2").measures == (3, 3)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("kind=rub", "W1: a reason is needed"),
        ("kind", "'kind' is not understood; write name=value"),
        ("sort=rub; reason=so", "'sort=rub' is not understood"),
        ("kind=rub; kind=mud; reason=so", "kind stands there twice"),
        ("kind=; reason=so", "nothing stands behind kind="),
        ("measures=one; reason=so", "measures 'one'; write played measures such as 21-24"),
        ("measures=4-; reason=so", "measures '4-'; write"),
    ],
)
def test_a_text_that_is_no_waiver(text, message):
    """The error names the piece that is not understood."""
    with pytest.raises(ArrangeError, match=message):
        parse_waiver(text, "W1")


TEXT = st.text("abcXYZ019,\"'éß–-+ .", min_size=1, max_size=12).map(str.strip).filter(bool)
WAIVERS = st.builds(
    Waiver,
    TEXT,
    TEXT,
    kind=st.sampled_from(["rub", "doubling"]),
    parts=st.lists(TEXT.filter(lambda name: "+" not in name), max_size=2).map(tuple),
    section=st.one_of(st.just(""), TEXT),
    measures=st.one_of(
        st.none(), st.tuples(st.integers(1, 50), st.integers(50, 99)), st.just((3, 3))
    ),
)


@given(st.lists(WAIVERS, max_size=4))
@EXAMPLES
def test_waivers_come_back_from_a_table(tmp_path_factory, waivers):
    """Waivers are written as a study writes its tables, then read."""
    path = tmp_path_factory.mktemp("waivers") / "waivers.csv"
    waivers_table(waivers).to_csv(path, index=False)
    assert read_waivers(path) == tuple(waivers)


def test_a_table_that_holds_no_waivers(tmp_path):
    """The error names the file, the line and the mistake."""
    path = tmp_path / "waivers.csv"
    with pytest.raises(ArrangeError, match=r"waivers.csv: cannot be read: No such file"):
        read_waivers(path)
    path.write_text("")
    with pytest.raises(ArrangeError, match="it is no table of waivers"):
        read_waivers(path)
    path.write_text("decision,reason\nW1,so\n")
    with pytest.raises(ArrangeError, match="column 'kind' is missing"):
        read_waivers(path)
    path.write_text("decision,reason,kind,parts,section,measures\nW1,so,rub,,,\nW2,,rub,,,\n")
    with pytest.raises(ArrangeError, match="line 3: waiver W2: a reason is needed"):
        read_waivers(path)


# --- What cannot be asked ---------------------------------------------------------------------

C_CHORD = [(0, 0, "major", None)]
NO_CHORDS = (
    "No chord symbols: thirds were not checked, and tones outside the chord only against a harmony "
    "inferred from the notes."
)
NO_VOICE = "No part is a singer: room for the voice was not checked."
NO_BASS = "No part is a bass: room for the bass was not checked."
ALL_CLEAN = (
    "Every guitar is clean, or the song does not say: what overdrive makes of chords was not "
    "checked."
)
DRIVEN = parts_of("Guitar 1", "Voice", "Bass", drive=["edge", "clean", "clean"])
BAND = [("Guitar 1", "C4", 0, 4), ("Voice", "C5", 0, 4), ("Bass", "C2", 0, 4)]


@pytest.mark.sampled
@pytest.mark.parametrize(
    ("music", "expected"),
    [
        (song(*BAND, chords=C_CHORD, key="C major", parts=DRIVEN), []),
        (song(*BAND, chords=C_CHORD, key="C major"), [ALL_CLEAN]),
        (song(*BAND, key="C major", parts=DRIVEN), [NO_CHORDS]),
        (
            song(*BAND, chords=C_CHORD, parts=DRIVEN),
            ["No key: tones outside the chord count as its colour, but for avoid notes."],
        ),
        (
            song(*BAND, chords=[(0, 0, "none", None)], parts=DRIVEN),
            ["No chord symbol names more than a root: tones outside the chord were not checked."],
        ),
        (
            song(*BAND[:1], ("Guitar 2", "E4", 0, 4), chords=C_CHORD, key="C major"),
            [NO_VOICE, NO_BASS, ALL_CLEAN],
        ),
        (
            song(*BAND[:1]),
            [NO_CHORDS, ALL_CLEAN, "Only Guitar 1 plays: nothing between two parts was checked, "
             "only what a part does alone."],
        ),
        (
            song(("Drums", np.nan, 0, 1), ("Drums", np.nan, 1, 1), ("Drums 2", np.nan, 1, 1)),
            ["No note has a pitch and a duration: only attacks were checked, if there are any."],
        ),
        (
            song(("Guitar 1", "C4", 0, 0), ("Guitar 2", "C4", 0, 0)),
            ["Nothing is played: there are no notes with a duration, so nothing was checked.",
             "2 notes have no duration and were left out."],
        ),
        (
            song(*BAND, ("Voice", "D5", 1, 0), chords=C_CHORD, key="C major", parts=DRIVEN),
            ["1 note has no duration and was left out."],
        ),
        (
            song(*BAND, chords=C_CHORD, key="C major", tempo=120, parts=DRIVEN,
                 notices=("no tempo is given: 120 quarter notes a minute are assumed",)),
            ["No tempo: seconds are counted at 120 quarter notes a minute; slower, a clash lasts "
             "longer."],
        ),
    ],
    ids=["all", "clean", "chords", "key", "roots", "guitars", "one part", "percussion",
         "no durations", "one note", "tempo"],
)  # fmt: skip
def test_what_could_not_be_asked(music, expected):
    """The study and the notebook say which checks could not run; all others ran."""
    assert not_asked(music) == expected
    check_table(find_clashes(music), FINDINGS)
    shown = Study(music)._repr_html_()
    assert ("What could not be checked" in shown) == bool(expected)
    for sentence in expected:
        assert sentence in shown


@pytest.mark.long
def test_a_dozen_parts():
    """Twelve guitars, each a semitone above the next, play two at a time in a bar of their own:
    there are six rubs and no others.
    """
    rows = [(f"Guitar {number}", 60 + number % 2, 4 * (number // 2), 3) for number in range(12)]
    music = song(*rows)
    found = find_clashes(music)
    assert (found["kind"] == "rub").sum() == 6
    groups = group_findings(found, music)
    assert groups["times"].sum() == len(found)
    assert "Smallest move" in Study(music).html()
