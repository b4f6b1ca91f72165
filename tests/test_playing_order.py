"""In which order the bars are played: cases worked out by hand.

Source of the rules: MusicXML 4.0, elements ``repeat``, ``ending`` and ``sound``, their
attributes and documentation in the schema. Where it is silent (which repeats count after a jump,
where a repeat without a beginning goes back to) the rule is common practice and said so.

In the drawings ``|:`` and ``:|`` are repeat signs, ``[1`` an ending; numbers are bars from 0.
"""

from __future__ import annotations

import pytest
from corpus import SUITE
from scores import WHOLE_BAR, barline, direction, read_text, rehearsal, score, words

import arrange as ar
from arrange.errors import ReadError
from arrange.formats.playing_order import Bar, playing_order
from arrange.limits import MOST_MEASURES


def test_bars_without_signs_are_played_once_in_order():
    """0 1 2: nothing asks for anything else."""
    assert playing_order([Bar(), Bar(), Bar()]) == [0, 1, 2]


def test_no_bars_give_no_order():
    """Nothing to play is nothing played."""
    assert playing_order([]) == []


def test_a_simple_repeat_is_played_twice():
    """``0 |: 1 2 :| 3``: a backward repeat without ``times`` plays its stretch twice."""
    bars = [Bar(), Bar(forward=True), Bar(backward=2), Bar()]
    assert playing_order(bars) == [0, 1, 2, 1, 2, 3]


def test_times_is_how_often_the_stretch_sounds_in_all():
    """``|: 0 :| x3, 1``: "the number of times the repeated section is played", so three."""
    assert playing_order([Bar(forward=True, backward=3), Bar()]) == [0, 0, 0, 1]


def test_times_one_is_no_repeat():
    """Played once in all is played once."""
    assert playing_order([Bar(forward=True, backward=1), Bar()]) == [0, 1]


def test_first_and_second_ending():
    """``|: 0 [1 1 :| [2 2 ] 3``: the number says which time round an ending is played."""
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2,), ending_stops=True),
        Bar(),
    ]
    assert playing_order(bars) == [0, 1, 0, 2, 3]


def test_endings_of_several_bars_are_left_out_whole():
    """``|: 0 [1 1 2 :| [2 3 4 ] 5``: an ending lasts from its start to its stop."""
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1,)),
        Bar(backward=2, ending_stops=True),
        Bar(ending_starts=(2,)),
        Bar(ending_stops=True),
        Bar(),
    ]
    assert playing_order(bars) == [0, 1, 2, 0, 3, 4, 5]


def test_three_endings():
    """``|: 0 [1 1 :| [2 2 :| [3 3 ]``: two repeat signs, three times round."""
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2,), backward=2, ending_stops=True),
        Bar(ending_starts=(3,), ending_stops=True),
    ]
    assert playing_order(bars) == [0, 1, 0, 2, 0, 3]


def test_one_ending_for_the_first_and_second_time():
    """``|: 0 [1,2 1 :| [3 2 ]``: the numbers are a list, so the repeat sign acts twice."""
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1, 2), backward=2, ending_stops=True),
        Bar(ending_starts=(3,), ending_stops=True),
    ]
    assert playing_order(bars) == [0, 1, 0, 1, 0, 2]


def test_a_first_ending_alone_is_left_out_the_second_time():
    """``|: 0 [1 1 :| 2``: the second time there is no ending, the music goes on behind it."""
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(),
    ]
    assert playing_order(bars) == [0, 1, 0, 2]


def test_nested_repeats_play_the_inner_one_each_time():
    """``|: 0 |: 1 :| 2 :| 3`` (common practice: the inner repeat counts anew each time round)."""
    bars = [
        Bar(forward=True),
        Bar(forward=True, backward=2),
        Bar(backward=2),
        Bar(),
    ]
    assert playing_order(bars) == [0, 1, 1, 2, 0, 1, 1, 2, 3]


def test_nested_endings():
    """``|: 0 |: 1 [1 2 :| [2 3 ] [1 4 :| [2 5 ]``: inner endings, then those of the outer repeat.

    A second ending numbered 1 cannot belong to the inner repeat, which has had its first.
    """
    bars = [
        Bar(forward=True),
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2,), ending_stops=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2,), ending_stops=True),
    ]
    assert playing_order(bars) == [0, 1, 2, 1, 3, 4, 0, 1, 2, 1, 3, 5]


def test_a_repeat_without_a_beginning_goes_back_to_the_start():
    """``0 1 :| 2``: with no forward sign the whole from the start is repeated (common practice)."""
    assert playing_order([Bar(), Bar(backward=2), Bar()]) == [0, 1, 0, 1, 2]


def test_a_second_repeat_without_a_beginning_goes_back_to_the_first_ones_end():
    """``0 :| 1 :|``: each stretch twice (common practice)."""
    assert playing_order([Bar(backward=2), Bar(backward=2)]) == [0, 0, 1, 1]


def test_an_open_ended_forward_repeat_is_played_once():
    """``0 |: 1 2``: nothing sends back to it (common practice)."""
    assert playing_order([Bar(), Bar(forward=True), Bar()]) == [0, 1, 2]


def test_da_capo_al_fine():
    """``0 1(Fine) 2(D.C.)``: to the beginning, then on to Fine, which counts only now."""
    assert playing_order([Bar(), Bar(fine=True), Bar(da_capo=True)]) == [0, 1, 2, 0, 1]


def test_repeats_are_not_played_again_after_da_capo():
    """``|: 0 :| 1(Fine) 2(D.C.)``: ``after-jump`` is no unless said, so bar 0 comes once then."""
    bars = [Bar(forward=True, backward=2), Bar(fine=True), Bar(da_capo=True)]
    assert playing_order(bars) == [0, 0, 1, 2, 0, 1]


def test_after_jump_repeats_are_played_after_da_capo_too():
    """The same with ``after-jump="yes"``: bar 0 comes twice after the D.C. as well."""
    bars = [Bar(forward=True, backward=2, after_jump=True), Bar(fine=True), Bar(da_capo=True)]
    assert playing_order(bars) == [0, 0, 1, 2, 0, 0, 1]


def test_the_last_ending_is_taken_after_da_capo():
    """``|: 0 [1 1 :| [2 2(Fine) ] 3(D.C.)``: no repeat then, so straight into the last ending."""
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2,), ending_stops=True, fine=True),
        Bar(da_capo=True),
    ]
    assert playing_order(bars) == [0, 1, 0, 2, 3, 0, 2]


def test_dal_segno_al_coda():
    """``0 §1 2(To Coda) 3(D.S.) coda 4``: back to the sign, at To Coda over to the coda."""
    bars = [
        Bar(),
        Bar(segno="s"),
        Bar(to_coda="c"),
        Bar(dal_segno="s"),
        Bar(coda="c"),
    ]
    assert playing_order(bars) == [0, 1, 2, 3, 1, 2, 4]


def test_two_signs_are_told_apart_by_name():
    """``§a 0, §b 1, 2(D.S. b), 3(D.S. a)``: the jump names its sign; each is taken once."""
    bars = [Bar(segno="a"), Bar(segno="b"), Bar(dal_segno="b"), Bar(dal_segno="a")]
    assert playing_order(bars) == [0, 1, 2, 1, 2, 3, 0, 1, 2, 3]


def test_a_repeat_inside_a_dal_segno():
    """``0 §|: 1 2 :| 3(Fine) 4(D.S.)``: repeated before the jump, once after it, then Fine."""
    bars = [
        Bar(),
        Bar(segno="s", forward=True),
        Bar(backward=2),
        Bar(fine=True),
        Bar(dal_segno="s"),
    ]
    assert playing_order(bars) == [0, 1, 2, 1, 2, 3, 4, 1, 2, 3]


def test_a_coda_keeps_its_own_repeat():
    """``§0 1(To Coda) 2(D.S.) coda |: 3 :|``: bar 3 is new then, so its repeat is played.

    ``after-jump`` speaks of repeats that are played again after the jump (common practice).
    """
    bars = [
        Bar(segno="s"),
        Bar(to_coda="c"),
        Bar(dal_segno="s"),
        Bar(coda="c", forward=True, backward=2),
    ]
    assert playing_order(bars) == [0, 1, 2, 0, 1, 3, 3]


def test_time_only_says_when_a_jump_counts():
    """``|: 0(To Coda, time 2) 1 :| 2 coda 3``: out of the repeat the second time.

    ``time-only`` of ``sound``: "which times to apply the sound element if it is within a
    repeated section".
    """
    bars = [
        Bar(forward=True, to_coda="c", times=(2,)),
        Bar(backward=2),
        Bar(),
        Bar(coda="c"),
    ]
    assert playing_order(bars) == [0, 1, 0, 3]


def test_to_coda_without_any_jump_counts_the_second_time():
    """``|: 0(To Coda) 1 :| coda 2``: no D.C. or D.S. leads there, so a repeat must (practice)."""
    bars = [Bar(forward=True, to_coda="c"), Bar(backward=2), Bar(), Bar(coda="c")]
    assert playing_order(bars) == [0, 1, 0, 3]


def test_endless_repeats_are_refused():
    """A stretch a thousand million times is a mistake: it ends at the limit, not in hours."""
    with pytest.raises(ReadError, match=rf"more than {MOST_MEASURES} bars; repeat less often"):
        playing_order([Bar(forward=True, backward=10**9)])


def test_a_coda_before_its_jump_is_refused_not_endless():
    """``coda 0, 1(To Coda), 2(D.C.)``: To Coda would lead back for ever after the D.C."""
    with pytest.raises(ReadError, match="ask for more than"):
        playing_order([Bar(coda="c"), Bar(to_coda="c"), Bar(da_capo=True)])


# The same through real files: what is printed and what is played.


def played(tmp_path, *measures):
    """The printed numbers in the order in which they are played."""
    return read_text(tmp_path, score(measures)).measures["written"].tolist()


def test_file_with_repeat_three_times(tmp_path):
    """``1 |: 2 :| x3, 3``: ``times="3"`` in the file."""
    song = played(
        tmp_path,
        WHOLE_BAR,
        barline("left", 'direction="forward"')
        + WHOLE_BAR
        + barline("right", 'direction="backward" times="3"'),
        WHOLE_BAR,
    )
    assert song == ["1", "2", "2", "2", "3"]


def test_file_with_endings_and_sections(tmp_path):
    """``A |: 1 [1 2 :| [2 3 ] B 4``: section A comes twice, told by ``pass``, then B."""
    text = score(
        [
            barline("left", 'direction="forward"') + rehearsal("A") + WHOLE_BAR,
            barline("left", ending="1 start")
            + WHOLE_BAR
            + barline("right", 'direction="backward"', "1 stop"),
            barline("left", ending="2 start")
            + WHOLE_BAR
            + barline("right", ending="2 discontinue"),
            rehearsal("B") + WHOLE_BAR,
        ]
    )
    song = read_text(tmp_path, text)
    assert song.measures["written"].tolist() == ["1", "2", "1", "3", "4"]
    assert song.measures["measure"].tolist() == [1, 2, 3, 4, 5]
    assert song.sections["pass"].tolist() == [1, 2, 1]
    assert song.sections["section"].tolist() == ["A", "A (2)", "B"]
    assert song.sections["first_measure"].tolist() == [1, 3, 5]
    assert song.measures["onset"].tolist() == [0, 4, 8, 12, 16]
    page = read_text(tmp_path, text, played=False)
    assert page.measures["written"].tolist() == ["1", "2", "3", "4"]
    assert page.sections["section"].tolist() == ["A", "B"]


def test_file_with_one_ending_for_two_times(tmp_path):
    """``|: 1 [1, 2 2 :| [3 3 ]``: an ending's number may be "1, 2" (ending-number)."""
    song = played(
        tmp_path,
        barline("left", 'direction="forward"') + WHOLE_BAR,
        barline("left", ending="1,2 start")
        + WHOLE_BAR
        + barline("right", 'direction="backward"', "1,2 stop"),
        barline("left", ending="3 start") + WHOLE_BAR + barline("right", ending="3 stop"),
    )
    assert song == ["1", "2", "1", "2", "1", "3"]


def test_file_with_da_capo_al_fine_in_sound_elements(tmp_path):
    """``dacapo="yes"`` and ``fine="yes"`` of ``sound``: 1 2 3, then 1 2."""
    song = played(
        tmp_path,
        WHOLE_BAR,
        WHOLE_BAR + direction("<words>Fine</words>", sound='fine="yes"'),
        WHOLE_BAR + direction("<words>D.C. al Fine</words>", sound='dacapo="yes"'),
    )
    assert song == ["1", "2", "3", "1", "2"]


def test_file_with_dal_segno_al_coda_in_sound_elements(tmp_path):
    """1, § 2, 3 To Coda, 4 D.S., coda 5: after the jump 2 3 5."""
    song = played(
        tmp_path,
        WHOLE_BAR,
        direction("<segno/>", sound='segno="s1"') + WHOLE_BAR,
        WHOLE_BAR + direction("<words>To Coda</words>", sound='tocoda="c1"'),
        WHOLE_BAR + direction("<words>D.S. al Coda</words>", sound='dalsegno="s1"'),
        direction("<coda/>", sound='coda="c1"') + WHOLE_BAR,
    )
    assert song == ["1", "2", "3", "4", "2", "3", "5"]


def test_file_with_dal_segno_al_coda_in_words_and_signs_only(tmp_path):
    """The same without any ``sound``: what a player reads off the page (common practice)."""
    song = played(
        tmp_path,
        WHOLE_BAR,
        direction("<segno/>") + WHOLE_BAR,
        WHOLE_BAR + words("To Coda"),
        WHOLE_BAR + words("D.S. al Coda"),
        direction("<coda/>") + WHOLE_BAR,
    )
    assert song == ["1", "2", "3", "4", "2", "3", "5"]


def test_file_with_two_coda_signs_and_no_words_to_coda(tmp_path):
    """Two coda signs: the first is where one leaves, the last where one goes on (practice)."""
    song = played(
        tmp_path,
        WHOLE_BAR,
        WHOLE_BAR + direction("<coda/>"),
        WHOLE_BAR + words("D.C. al Coda"),
        direction("<coda/>") + WHOLE_BAR,
    )
    assert song == ["1", "2", "3", "1", "2", "4"]


def test_file_with_da_capo_al_fine_in_words_only(tmp_path):
    """Words alone: "D. C. al Fine" goes back, "Fine" ends (common practice)."""
    song = played(
        tmp_path,
        WHOLE_BAR,
        WHOLE_BAR + words("Fine"),
        WHOLE_BAR + words("D. C. al Fine"),
    )
    assert song == ["1", "2", "3", "1", "2"]


def test_file_with_nested_repeats(tmp_path):
    """``|: 1 |: 2 :| 3 :|``: the inner stretch twice, each time round."""
    begins, ends = (
        barline("left", 'direction="forward"'),
        barline("right", 'direction="backward"'),
    )
    song = played(tmp_path, begins + WHOLE_BAR, begins + WHOLE_BAR + ends, WHOLE_BAR + ends)
    assert song == ["1", "2", "2", "3", "1", "2", "2", "3"]


def test_file_with_after_jump(tmp_path):
    """``after-jump="yes"`` of ``repeat``: the repeat counts after the D.C. too."""
    song = played(
        tmp_path,
        WHOLE_BAR + barline("right", 'direction="backward" after-jump="yes"'),
        WHOLE_BAR + direction("<words>Fine</words>", sound='fine="yes"'),
        WHOLE_BAR + direction("<words>D.C.</words>", sound='dacapo="yes"'),
    )
    assert song == ["1", "1", "2", "3", "1", "1", "2"]


def test_file_with_time_only(tmp_path):
    """``tocoda`` with ``time-only="2"``: the second time round the coda follows bar 1."""
    song = played(
        tmp_path,
        barline("left", 'direction="forward"')
        + WHOLE_BAR
        + direction("<words>2nd time to Coda</words>", sound='tocoda="c" time-only="2"'),
        WHOLE_BAR + barline("right", 'direction="backward"'),
        WHOLE_BAR,
        direction("<coda/>", sound='coda="c"') + WHOLE_BAR,
    )
    assert song == ["1", "2", "1", "4"]


def test_file_with_a_hidden_forward_repeat(tmp_path):
    """``forward-repeat="yes"`` of ``sound``: the repeat begins there though no sign is shown."""
    song = played(
        tmp_path,
        WHOLE_BAR,
        '<sound forward-repeat="yes"/>' + WHOLE_BAR,
        WHOLE_BAR + barline("right", 'direction="backward"'),
    )
    assert song == ["1", "2", "3", "2", "3"]


def test_signs_of_any_part_count(tmp_path):
    """Repeat signs may stand in a lower part only; the band plays together."""
    text = score(
        [WHOLE_BAR, WHOLE_BAR],
        [WHOLE_BAR + barline("right", 'direction="backward"'), WHOLE_BAR],
    )
    assert read_text(tmp_path, text).measures["written"].tolist() == ["1", "1", "2"]


# The suite's own repeats, worked out by hand from what stands in the files.


@pytest.mark.parametrize(
    ("name", "order"),
    [
        # one bar, times="5"
        ("45a-SimpleRepeat", "1 1 1 1 1 2"),
        # no forward sign; [1 2 :| [2 3 ]
        ("45b-RepeatWithAlternatives", "1 2 1 3 4"),
        # 1 |: 2 3 :| x5, 4 5 6 7 :| x3 from the start, 8
        ("45c-RepeatMultipleTimes", " ".join(["1", *["2 3"] * 5, "4 5 6 7"] * 3 + ["8"])),
        # 1 [1 2 :| [2 3 ] 4 |: 5 :| 6 [1 7 :| goes back behind the ending, to 4; |: 8 9 :| 10
        ("45e-Repeats-Nested-Alternatives", "1 2 1 3 4 5 5 6 7 4 5 5 6 8 9 8 9 10"),
        # a forward sign that nothing closes
        ("45g-Repeats-NotEnded", "1 2"),
    ],
)
def test_repeats_of_the_suite(name, order):
    """Simple, alternative, multiple, nested and open-ended repeats."""
    song = ar.read(SUITE / f"{name}.xml")
    assert song.measures["written"].tolist() == order.split()
    assert not any("never played" in notice for notice in song.notices)


@pytest.mark.parametrize("name", ["45d-Repeats-Nested-Alternatives", "45f-Repeats-InvalidEndings"])
def test_bars_that_no_reading_reaches_are_told(name):
    """Endings without a repeat sign before them make no sense: what is passed over is told."""
    song = ar.read(SUITE / f"{name}.xml")
    page = ar.read(SUITE / f"{name}.xml", played=False)
    passed = sorted(set(page.measures["written"]) - set(song.measures["written"]), key=int)
    assert passed
    assert any(f"measure {', '.join(passed)}: never played" in told for told in song.notices)
