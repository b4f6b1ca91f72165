"""Plans made by hand are worth what the search and the slow, obvious way say they are."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from songs import parts_of
from songs import song as song_of
from test_condensing import made_up

from arrange.condensing import condense, kept_layers
from arrange.condensing.pins_and_bans import PinsAndBans
from arrange.condensing.plan_by_hand import (
    best_from_here,
    every_untried,
    plan_by_hand,
    taken_by,
    untried,
    what_would_do,
    why_no_option,
    with_taken,
    with_tried,
)
from arrange.condensing.reasons import choices_table, lost_table
from arrange.condensing.returns import Returns
from arrange.errors import ArrangeError
from arrange.guitar.players import Player

SECTIONS = (("Verse", 1), ("Chorus", 2), ("Verse (2)", 3))


def by_hand(known, taken):
    return plan_by_hand(known.problem, Returns(known.problem, len(taken[0])), taken)


def test_a_plan_by_hand_equals_the_search_with_pins():
    """The search, with everything pinned, comes to the same worth and the same losses."""
    made = made_up(1, 3, SECTIONS)
    best = condense(made, 2)
    known = with_tried(best.known, every_untried(best.known))
    problem, draw = known.problem, np.random.default_rng(1)
    for _ in range(3):
        taken = tuple(random_choice(problem, section, draw) for section in range(3))
        found = by_hand(known, taken)
        assert found.troubles == ()
        pins = [
            (who, where, [problem.recorded.names[layer] for layer in option])
            for where, chosen in zip(problem.recorded.sections, taken, strict=True)
            for who, option in zip(("Player 1", "Player 2"), chosen, strict=True)
        ]
        pinned = condense(made, 2, pins=pins)
        assert found.plan.value == pytest.approx(pinned.value, abs=1e-5)
        lost = lost_table(problem, found.plan, known.left_out)
        columns = ["section", "layer", "what", "measures", "value"]
        pd.testing.assert_frame_equal(lost[columns], pinned.lost[columns])


def random_choice(problem, section, draw):
    """A choice of two players that hands can hold, with the lead."""
    worth, own = problem.worths[section], problem.options[section]
    able = np.flatnonzero(problem.playable[section].any(axis=0))
    while True:
        one, other = (int(each) for each in draw.choice(able, 2))
        masks = own.masks[one], own.masks[other]
        if not masks[0] & masks[1] and (not worth.lead or worth.lead & (masks[0] | masks[1])):
            return own.options[one], own.options[other]


def test_the_search_s_own_plan_by_hand(layers):
    """Put in by hand, the best plan has the same worth, necks, losses and reasons."""
    known, plan = layers.known, layers.plan
    taken = taken_by(known.problem, plan)
    found = by_hand(known, taken)
    assert found.troubles == ()
    assert found.plan.value == pytest.approx(layers.value, abs=1e-4)
    assert (found.plan.choices, found.plan.necks) == (plan.choices, plan.necks)
    again = replace(found.plan, value=plan.value)
    lost = lost_table(known.problem, again, known.left_out)
    pd.testing.assert_frame_equal(lost, layers.lost)
    pd.testing.assert_frame_equal(choices_table(known.problem, again), layers.choices)
    known = with_tried(known, untried(known, taken))
    assert untried(known, taken) == []
    assert by_hand(known, taken).plan.value == pytest.approx(layers.value, abs=1e-4)


def test_what_hands_cannot_hold_is_said_and_weighed_all_the_same(layers):
    """A pulse and a far line ask for fingers; without the lead it is no plan either."""
    problem = layers.known.problem
    names, section = problem.recorded.names, problem.recorded.sections.index("Pre-chorus 1")
    merge = tuple(names.index(name) for name in ("Pulse", "Rhythm"))
    taken = list(taken_by(problem, layers.plan))
    taken[section] = ((), merge)
    known = with_tried(layers.known, untried(layers.known, tuple(taken)))
    found = by_hand(known, tuple(taken))
    assert [each.why for each in found.troubles] == [
        "Ben has Pulse + Rhythm in Pre-chorus 1: no hand can hold it, or no pick can strike it"
    ]
    assert found.plan.value < layers.value
    assert what_would_do(known.problem, 1, section, merge).endswith("with the fingers it would do")
    led = next(each for each, worth in enumerate(problem.worths) if worth.lead)
    taken = list(taken_by(problem, layers.plan))
    taken[led] = ((), ())
    found = by_hand(known, tuple(taken))
    assert [each.why for each in found.troubles] == [
        f"Lead is the lead in {problem.recorded.sections[led]}, and nobody plays it"
    ]


def test_what_is_no_option_says_why(layers):
    problem = layers.known.problem
    names, sections = problem.recorded.names, problem.recorded.sections
    intro = sections.index("Intro")
    assert why_no_option(problem, intro, ()) == ""
    silent = names.index("Lead")
    assert why_no_option(problem, intro, (silent,)) == "Lead does not play in Intro"
    most = max(range(len(sections)), key=lambda each: len(problem.worths[each].layers))
    three = problem.worths[most].layers[:3]
    assert "two are the most" in why_no_option(problem, most, three)


def test_the_best_from_here_keeps_what_is_decided():
    """It is what `condense` gives with the same pins and bans; without the lead there is none."""
    made = made_up(3, 3, SECTIONS)
    best = condense(made, 2, roles={"Layer A": "lead"})
    problem = best.known.problem
    decided = PinsAndBans({(1, 1): ()}, ((-1, 2, (1,)),))
    known, plan = best_from_here(best.known, decided)
    asked = condense(
        made, 2, roles={"Layer A": "lead"},
        pins=[("Player 2", "Chorus", ())], forbid=[(None, "Verse (2)", "Layer B")],
    )  # fmt: skip
    assert plan.value == pytest.approx(asked.value, abs=1e-5)
    assert taken_by(known.problem, plan) == taken_by(problem, asked.plan)
    assert known.problem.lineup.decided.is_free
    led = next(each for each, worth in enumerate(problem.worths) if worth.lead)
    with pytest.raises(ArrangeError, match="Layer A"):
        best_from_here(known, PinsAndBans({(player, led): () for player in (0, 1)}, ()))


@pytest.mark.parametrize("between", [False, True])
def test_a_capo_that_cannot_be_moved_in_time(between):
    """Ann needs the open E for one section and a string behind a capo at 9 for another; a section
    between that she can play with either leaves no time either.
    """
    rows = [("Low", "E2", 0, 4), ("High", "C#3 C#6", 8, 4), ("Mid", "E4", 4, 4)]
    made = song_of(*rows, parts=parts_of("Low", "High", "Mid", family="guitar"), bars=3,
                   sections=[("Verse", 1), ("Bridge", 2), ("Chorus", 3)])  # fmt: skip
    players = [Player("Ann", capos=(0, 9), picks="fingers"), Player("Ben", capos=(0, 9))]
    roles = dict.fromkeys(("Low", "High", "Mid"), "rhythm")
    best = condense(made, players, roles=roles)
    high, low, mid = range(3)
    taken = (((low,), ()), ((mid,) if between else (), ()), ((high,), ()))
    known = with_tried(best.known, untried(best.known, taken))
    (trouble,) = by_hand(known, taken).troubles
    assert trouble.why.startswith("'Ann' would have to play")
    assert "High in 'Chorus' with capo 9, and there are" in trouble.why
    assert trouble.why.endswith(
        "give one of them to somebody else, or nothing in a section between"
    )
    assert (trouble.section, trouble.player) == (-1, 0)


def test_by_hand_everything_can_be_had(monkeypatch):
    """A layer that the search leaves out is worth what it is worth where all are weighed; it is
    kept as by a pin, and the search has its own layers again.
    """
    made = made_up(5, 6, SECTIONS[:2])
    every = condense(made, 2)
    for name in ("MOST_LAYERS", "MOST_KEPT"):
        monkeypatch.setattr(kept_layers, name, 3)
    monkeypatch.setattr(kept_layers, "_NEIGHBOURS", 1)
    few = condense(made, 2)
    worth = few.known.problem.worths[1]
    least, *_ = sorted(set(worth.layers) - set(worth.kept))
    taken = list(taken_by(few.known.problem, few.plan))
    taken[1] = ((least,), taken[1][1])
    taken = tuple(taken)
    assert why_no_option(few.known.problem, 1, (least,)) == ""
    known = with_taken(few.known, taken)
    known = with_tried(known, untried(known, taken))
    found = by_hand(known, taken)
    whole = with_tried(every.known, untried(every.known, taken))
    assert found.plan.value == pytest.approx(by_hand(whole, taken).plan.value, abs=1e-5)
    pin = ("Player 1", "Chorus", made.parts["part"].iloc[least])
    pinned = condense(made, 2, pins=[pin])
    again, plan = best_from_here(known, PinsAndBans({(0, 1): (least,)}, ()))
    assert taken_by(again.problem, plan)[1][0] == (least,)
    assert plan.value == pytest.approx(pinned.value, abs=1e-5)
    free, plan = best_from_here(again, PinsAndBans({}, ()))
    assert plan.value == pytest.approx(few.value, abs=1e-5)
    assert [each.kept for each in free.problem.worths] == [
        each.kept for each in few.known.problem.worths
    ]
