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
from arrange.song_size import MOST_MEASURES


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


def test_two_signs_are_distinguished_by_name():
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


def heard(*bars):
    """Return the order, and the notices."""
    notices = []
    return playing_order(bars, (), notices), notices


LATE = "measure {}: its D.C. is marked for time {}, at which it cannot be taken"


def test_a_jump_for_the_first_time_at_a_repeat_sign_waits_for_the_repeat():
    """``|: 0 1(D.C., time 1) :| 2``: the first time through the repeat sign stands in the way.

    At the end of bar 1 a player obeys the repeat sign first; the D.C. is left for the last time
    round, which is time 2 and not time 1 as its ``time-only`` says. Some programs write 1 there
    because a D.C. occurs "the first time through" by default (``sound``). So: 0 1, 0 1, D.C.,
    and after it straight through: 0 1 2.
    """
    order, notices = heard(Bar(forward=True), Bar(backward=2, da_capo=True, jump_times=(1,)), Bar())
    assert order == [0, 1, 0, 1, 0, 1, 2]
    assert len(notices) == 1
    assert notices[0].startswith(LATE.format(2, 1))


def test_a_jump_for_the_first_time_in_a_bar_repeated_alone():
    """``0 |: 1(D.C., time 1) :| x3, 2``: as above where one bar is all that is repeated."""
    order, notices = heard(
        Bar(), Bar(forward=True, backward=3, da_capo=True, jump_times=(1,)), Bar()
    )
    assert order == [0, 1, 1, 1, 0, 1, 2]
    assert notices[0].startswith(LATE.format(2, 1))


def test_a_jump_for_the_last_time_round_is_taken_as_written():
    """``|: 0 1(D.C., time 2) :| 2(Fine)``: time 2 is the last; nothing to report."""
    order, notices = heard(
        Bar(forward=True), Bar(backward=2, da_capo=True, jump_times=(2,)), Bar(fine=True)
    )
    assert (order, notices) == ([0, 1, 0, 1, 0, 1, 2], [])


def test_a_jump_inside_a_repeat_is_taken_at_its_time():
    """``0 |: 1 2(D.C., time 2) 3 :| 4``: the second time D.C. comes before the repeat's end.

    After it repeats are not played again, so bar 3 goes on to 4.
    """
    order, notices = heard(
        Bar(), Bar(forward=True), Bar(da_capo=True, jump_times=(2,)), Bar(backward=2), Bar()
    )
    assert (order, notices) == ([0, 1, 2, 3, 1, 2, 0, 1, 2, 3, 4], [])


@pytest.mark.parametrize("time", [1, 2])
def test_a_jump_in_the_second_ending_counts_its_bar_or_the_repeat(time):
    """``0 |: 1 [1 2 :| [2 3(D.C.) ] 4``: bar 3 is played the first time, the repeat the second.

    ``time-only`` counts "times through the repeated section": 2. Programs that count the bar
    write 1. Either way the D.C. follows bar 3, once; after it the last ending is taken.
    """
    order, notices = heard(
        Bar(),
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2,), ending_stops=True, da_capo=True, jump_times=(time,)),
        Bar(),
    )
    assert (order, notices) == ([0, 1, 2, 1, 3, 0, 1, 3, 4], [])


def test_a_jump_in_a_first_ending_is_not_lost():
    """``0 |: 1 [1 2(D.C.) :| [2 3 ]``: bar 2 is played once, so the D.C. is taken there or never.

    It takes the place of the repeat sign: back to 0, and then the second ending.
    """
    bars = (
        Bar(),
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True, da_capo=True),
        Bar(ending_starts=(2,), ending_stops=True),
    )
    assert heard(*bars) == ([0, 1, 2, 0, 1, 3], [])


def test_a_jump_for_a_time_that_another_jump_brings():
    """``0 §1 2(D.C., time 2) 3(D.S.)``: the D.S. brings bar 2 its second time, and the D.C. waits.

    0 1 2 3, D.S., 1 2, D.C., 0 1 2 3.
    """
    order, notices = heard(
        Bar(), Bar(segno="s"), Bar(da_capo=True, jump_times=(2,)), Bar(dal_segno="s")
    )
    assert (order, notices) == ([0, 1, 2, 3, 1, 2, 0, 1, 2, 3], [])


def test_a_jump_for_a_time_that_never_comes():
    """``|: 0 |: 1(D.S., time 5) :| 2 :| 3``: inner and outer repeat first, then the jump.

    Bar 1 comes twice in each of two rounds. In the last of them the jump is taken.
    """
    order, notices = heard(
        Bar(forward=True, segno="s"),
        Bar(forward=True, backward=2, dal_segno="s", jump_times=(5,)),
        Bar(backward=2),
        Bar(),
    )
    assert order == [0, 1, 1, 2, 0, 1, 1, 0, 1, 2, 3]
    assert notices[0].startswith(LATE.format(2, 5).replace("D.C.", "D.S."))


def test_a_jump_that_the_fine_forestalls_is_reported():
    """``|: 0(Fine, time 2) 1(D.C., time 3) :|``: the song is over before the D.C. is due."""
    order, notices = heard(
        Bar(forward=True, fine=True, times=(2,)), Bar(backward=2, da_capo=True, jump_times=(3,))
    )
    assert order == [0, 1, 0]
    assert len(notices) == 1
    assert "measure 2: its D.C. is never taken" in notices[0]


def test_to_coda_and_a_jump_in_one_bar_count_apart():
    """``0 §1(To Coda, time 2; D.S.) coda 2``: D.S. the first time, To Coda the second.

    The ``time-only`` of one ``sound`` says nothing about another one.
    """
    bars = (Bar(), Bar(segno="s", to_coda="c", times=(2,), dal_segno="s"), Bar(coda="c"))
    assert heard(*bars) == ([0, 1, 1, 2], [])


def test_a_repeat_sign_at_the_last_ending_leads_past_all_endings():
    """``|: 0 [1 1 :| [2 2 :| 3``: the sign behind ending 2 sends back a third time.

    No ending is numbered 3, so the third time bar 3 follows bar 0.
    """
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2,), backward=2, ending_stops=True),
        Bar(),
    ]
    assert playing_order(bars) == [0, 1, 0, 2, 0, 3]


def test_a_repeat_sign_at_the_last_ending_of_the_song_adds_no_time():
    """``|: 0 [1 1 :| [2 2 :|``: nothing follows that a third time could lead to."""
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2,), backward=2, ending_stops=True),
    ]
    assert playing_order(bars) == [0, 1, 0, 2]


def test_a_repeat_sign_at_an_ending_of_several_times_leads_back_to_it():
    """``|: 0 [1 1 :| [2,3 2 :| 3``: the sign is needed for the third time, and asks no fourth."""
    bars = [
        Bar(forward=True),
        Bar(ending_starts=(1,), backward=2, ending_stops=True),
        Bar(ending_starts=(2, 3), backward=2, ending_stops=True),
        Bar(),
    ]
    assert playing_order(bars) == [0, 1, 0, 2, 0, 2, 3]


def test_endless_repeats_are_refused_with_their_measure():
    """A stretch repeated a thousand million times is a mistake; reading stops at the limit."""
    with pytest.raises(
        ReadError, match=rf"measure 2: .* more than {MOST_MEASURES} bars; mend its 'times'"
    ):
        playing_order([Bar(), Bar(forward=True, backward=10**9)])


def test_to_coda_goes_forwards_only():
    """``coda 0, 1(To Coda), 2(D.C.)``: "coda and tocoda are used for forward jumps" (``sound``).

    No coda sign follows, so the song goes on behind bar 1, and that is reported.
    """
    order, notices = heard(Bar(coda="c"), Bar(to_coda="c"), Bar(da_capo=True))
    assert order == [0, 1, 2, 0, 1, 2]
    assert len(notices) == 1
    assert notices[0].startswith("measure 2: no coda sign follows its To Coda")


def test_to_coda_with_the_sign_of_the_coda_beside_it():
    """``§0, 1(coda sign, To Coda), 2(D.S.), coda 3``: the coda is the sign that follows."""
    bars = [Bar(segno="s"), Bar(coda="c", to_coda="c"), Bar(dal_segno="s"), Bar(coda="c")]
    assert playing_order(bars) == [0, 1, 2, 0, 1, 3]


# The same through real files: what is printed and what is played.


def played(tmp_path, *measures):
    """Return the printed numbers in the order in which they are played."""
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
    """``A |: 1 [1 2 :| [2 3 ] B 4``: section A comes twice, with its ``pass``, then B."""
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


def test_file_with_time_only_on_a_da_capo(tmp_path):
    """``|: 1(D.C., ``time-only="1"``) :| 2``: the repeat first, then the D.C., with a notice."""
    text = score(
        [
            barline("left", 'direction="forward"')
            + WHOLE_BAR
            + direction("<words>D.C.</words>", sound='dacapo="yes" time-only="1"')
            + barline("right", 'direction="backward"'),
            WHOLE_BAR,
        ]
    )
    song = read_text(tmp_path, text)
    assert song.measures["written"].tolist() == ["1", "1", "1", "2"]
    (notice,) = [notice for notice in song.notices if "D.C." in notice]
    assert notice.startswith(LATE.format(1, 1))


@pytest.mark.parametrize("beside", ["", "<coda/>"])
@pytest.mark.parametrize("leaving", ["To Coda", ""])
def test_file_with_repeated_last_ending_and_jumps_in_words_and_signs(tmp_path, beside, leaving):
    """``§|: 1 [1 2 :| [2 3 :| 4 To Coda, 5 D.S. al Coda, coda 6``, no ``tocoda``, no ``dalsegno``.

    1 2, 1 3, and the third time past both endings: 1 4 5. D.S.: 1, again past both, 4, To Coda, 6.
    Both places of the coda carry the value that names it; with words or without, the last one is
    the coda and one leaves at the first (common practice).
    """
    begins, ends = barline("left", 'direction="forward"'), 'direction="backward"'
    words_there = f"<words>{leaving}</words>" if leaving else ""
    kinds = [kind for kind in (words_there, beside) if kind] or ["<coda/>"]
    song = played(
        tmp_path,
        begins + direction("<segno/>", sound='segno="s"') + WHOLE_BAR,
        barline("left", ending="1 start") + WHOLE_BAR + barline("right", ends, "1 stop"),
        barline("left", ending="2 start") + WHOLE_BAR + barline("right", ends, "2 stop"),
        WHOLE_BAR + direction(*kinds, sound='coda="c"'),
        WHOLE_BAR + words("D.S. al Coda"),
        direction("<coda/>", sound='coda="c"') + WHOLE_BAR,
    )
    assert song == ["1", "2", "1", "3", "1", "4", "5", "1", "4", "6"]


def test_file_with_absurd_repeats_names_the_measure(tmp_path):
    """The error names the measure whose repeat sign asks for it."""
    text = score([WHOLE_BAR, WHOLE_BAR + barline("right", 'direction="backward" times="99999"')])
    with pytest.raises(ReadError, match="measure 2: the repeat that ends here asks for more than"):
        read_text(tmp_path, text)


def test_chart_with_a_repeat_sign_at_the_last_ending(tmp_path):
    """In a chart the numbers of the endings say how often a stretch is played, not the last sign.

    ``|: C |1. F :|2. G :| Am |``: C F, C G, Am (datasets/README.md).
    """
    path = tmp_path / "song.txt"
    path.write_text(
        "title: Slack Tide\npart: Guitar 1; standard tuning\nkey: C\nmeter: 4/4\ntempo: 100\n\n"
        "section: Verse\nchords |: C |1. F :|2. G :| Am |\n"
    )
    assert ar.read(path).chords["symbol"].tolist() == ["C", "F", "C", "G", "Am"]


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
def test_bars_that_no_reading_reaches_are_reported(name):
    """Endings without a repeat sign before them make no sense: what is passed over is reported."""
    song = ar.read(SUITE / f"{name}.xml")
    page = ar.read(SUITE / f"{name}.xml", played=False)
    passed = sorted(set(page.measures["written"]) - set(song.measures["written"]), key=int)
    assert passed
    assert any(f"measure {', '.join(passed)}: never played" in notice for notice in song.notices)
