"""Sections that return, and capos that move: against all plans tried, and worked cases."""

from dataclasses import replace
from itertools import pairwise, product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from slow_condensing import Slow
from songs import parts_of, song
from test_condensing import assert_worth_by_hand

from arrange import read
from arrange.commands.condensation_text import condensation_text
from arrange.condensing import Weights, condense
from arrange.condensing.capo_changes import CAPO_CHANGE_SECONDS
from arrange.condensing.returns import earlier_returns
from arrange.errors import ArrangeError
from arrange.guitar.players import Player, read_player
from arrange.tables.setups import part_setups

DATASETS = Path(__file__).parent.parent / "datasets"
FORM = settings(
    max_examples=8, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip


@pytest.mark.parametrize(
    ("labels", "kinds", "earlier"),
    [
        (["Verse 1", "Chorus 1", "Verse 2", "Chorus 2"], "vcvc", [-1, -1, 0, 1]),
        (["Verse", "Last verse", "Verse (2)"], "vvv", [-1, -1, 0]),
        (["Section 1", "Section 2"], "oo", [-1, -1]),
        (["A", "B", "A (2)", "A (3)"], "oooo", [-1, -1, 0, 2]),
    ],
)
def test_what_returns(labels, kinds, earlier):
    """The nearest before of the same name; a number is part of a name that says no kind."""
    kinds = [{"v": "verse", "c": "chorus", "o": "other"}[kind] for kind in kinds]
    assert earlier_returns(pd.DataFrame({"section": labels, "kind": kinds})) == earlier


def returning(seed, layers=3, sections=("A", "B", "A (2)", "B (2)")):
    """Random layers, in sections of a bar that return."""
    draw = np.random.default_rng(seed)
    names = [f"Layer {letter}" for letter in "ABCD"[:layers]]
    rows = []
    for number, name in enumerate(names):
        low = int(draw.integers(45, 66))
        for bar in range(len(sections)):
            if draw.random() < 0.2 and number:
                continue
            if number and draw.random() < 0.15:
                rows += [(name, *row[1:]) for row in rows
                         if row[0] == names[number - 1] and row[2] // 4 == bar]  # fmt: skip
                continue
            step = float(draw.choice([0.5, 1.0, 2.0, 4.0]))
            rows += [(name, low + int(draw.choice([0, 2, 4, 5, 7])), 4 * bar + onset, step)
                     for onset in np.arange(0, 4, step)]  # fmt: skip
    drives = draw.choice(["clean", "overdriven"], layers).tolist()
    places = [(label, bar + 1) for bar, label in enumerate(sections)]
    return song(*rows, parts=parts_of(*names, family="guitar", drive=drives), bars=len(sections),
                sections=places)  # fmt: skip


@pytest.mark.long
@settings(FORM, max_examples=3)
@given(seed=st.integers(0, 10**6), swapped=st.sampled_from([0.0, 0.3, 2.0]),
       thinner=st.sampled_from([0.0, 5.0]))  # fmt: skip
def test_all_plans_with_returns_tried(seed, swapped, thinner):
    """No plan is worth more than the bound, and the value is that of the best."""
    weights = Weights(swapped=swapped, thinner=thinner, leaving=0.1, role_change=0.2, stretch=0.0)
    made = returning(seed)
    found = condense(made, 2, weights=weights)
    slow = Slow(made, weights)
    best, _ = slow.best(2)
    assert found.value <= best + 1e-3
    assert best <= found.bound + 1e-3
    assert found.is_proven
    assert found.value == pytest.approx(best, abs=1e-3)
    assert found.terms["value"].sum() == pytest.approx(found.value, abs=1e-3)
    assert_worth_by_hand(found, *slow.every(2), seed)


@settings(FORM, max_examples=1)
@given(seed=st.integers(0, 10**6))
def test_three_players_with_returns(seed):
    """Never worth more than the best of all plans, nor the bound less."""
    made = returning(seed, layers=4, sections=("A", "A (2)"))
    weights = Weights(stretch=0.0)
    found = condense(made, 3, weights=weights)
    best, _ = Slow(made, weights).best(3)
    assert found.value <= best + 1e-3
    assert best <= found.bound + 1e-3
    assert found.value >= 0.95 * best


@pytest.mark.long
@settings(FORM, max_examples=1)
@given(seed=st.integers(0, 10**6))
def test_the_next_best_with_returns(seed):
    """Pinned to it, the whole is worth what was announced."""
    made, weights = returning(seed), Weights(stretch=0.0)
    # What a pick cannot do in the other sections is not looked for.
    people = [Player(f"Player {number}", picks="fingers") for number in (1, 2)]
    found = condense(made, people, weights=weights)
    for row in found.alternatives.itertuples():
        pins = [(f"Player {k + 1}", row.section, layers) for k, layers in enumerate(row.layers)]
        pinned = condense(made, people, pins=pins, weights=weights)
        assert pinned.value == pytest.approx(row.value, abs=1e-4)


def with_capos(seed):
    """Layers recorded with other capos, three notes a section and then rests, of some length."""
    draw = np.random.default_rng(seed)
    names, starts = ["Layer A", "Layer B", "Layer C"], [1]
    for _ in range(4):
        starts.append(starts[-1] + int(draw.integers(1, 4)))
    rows = [("Layer A", 60, 0.0, 1.0)]
    for first, behind in pairwise(starts):
        for name in names:
            if draw.random() < 0.45:
                bar = int(draw.integers(first, behind))
                rows += [(name, int(draw.choice([57, 60, 62])), 4 * (bar - 1) + beat, 1.0)
                         for beat in range(3)]  # fmt: skip
    parts = parts_of(*names, family="guitar", capo=draw.choice([0, 5], 3).tolist())
    places = [(f"Part {number}", start) for number, start in enumerate(starts[:-1], 1)]
    return song(*rows, parts=parts, bars=starts[-1] - 1, sections=places)


def silence_between(made, one, first, other, second):
    """Seconds from the last note of some layers in a section to the first of others in another."""
    notes = made.notes
    before = notes[notes["part"].isin(one) & (notes["section"] == first)]
    behind = notes[notes["part"].isin(other) & (notes["section"] == second)]
    ends = (before["onset"] + before["duration"]).max()
    last = made.sections.set_index("section").loc[first]
    return behind["onset"].min() - min(ends, last["onset"] + last["duration"])


def best_with_capos(made, found):
    """Every way for one player: an option and a capo in each section that they play in."""
    problem, names = found.known.problem, found.known.problem.recorded.names
    sections = problem.recorded.sections
    steps = []
    for section, own in enumerate(problem.options):
        step = [(0, None)] if problem.playable[section][:, 0].any() else []
        step += [(place, neck) for neck in problem.lineup.may_have(0)
                 for place in problem.may(0, section, neck).tolist() if place]  # fmt: skip
        lead = problem.worths[section].lead
        steps.append([way for way in step if not lead or own.masks[way[0]] & lead])
    tables, price = problem.tables(1), problem.criteria.weights.capo_change
    best, quiet_between = -np.inf, {}
    for plan in product(*steps):
        total, last = 0.0, None
        for section, (place, neck) in enumerate(plan):
            own = problem.options[section]
            total += tables[section][own.masks[place]]
            total -= problem.own_cost(section, neck or 0)[place] if place else 0.0
            if section:
                total -= problem.changes(section - 1, 0)[plan[section - 1][0], place]
            if not place:
                continue
            if last is not None and plan[last][1] != neck:
                key = last, plan[last][0], section, place
                if key not in quiet_between:
                    layers = [[names[layer] for layer in problem.options[s].options[plan[s][0]]]
                              for s in (last, section)]  # fmt: skip
                    quiet_between[key] = silence_between(
                        made, layers[0], sections[last], layers[1], sections[section]
                    )
                is_enough = quiet_between[key] >= CAPO_CHANGE_SECONDS - 1e-9
                total -= price if is_enough else np.inf
            last = section
        best = max(best, total)
    return best


@pytest.mark.long
@settings(FORM, max_examples=5)
@given(seed=st.integers(0, 10**6))
def test_all_capos_tried(seed):
    """A capo moves where there are eight seconds for it, and only where it pays."""
    made = with_capos(seed)
    weights = Weights(presence=3.0, other_neck=3.0, capo_change=0.4, leaving=0.1, role_change=0.1)
    roles = dict.fromkeys(["Layer A", "Layer B", "Layer C"], "rhythm")
    player = Player("Ann", capos=(0, 5))
    found = condense(made, [player], weights=weights, roles=roles)
    best = best_with_capos(made, found)
    assert found.value == pytest.approx(best, abs=1e-4)
    assert found.is_proven
    assert found.terms["value"].sum() == pytest.approx(found.value, abs=1e-4)
    moves = found.capo_changes
    assert (moves["seconds"] >= CAPO_CHANGE_SECONDS - 1e-6).all()
    played = found.choices[found.choices["action"] != "lays out"]
    assert (np.diff(played["capo"]) != 0).sum() == len(moves)
    setups = part_setups(found.song).set_index("section")["capo"]
    assert setups[played["section"]].tolist() == played["capo"].tolist()
    notes = found.song.notes
    assert (notes["fret"] >= notes["section"].map(setups)).all()


def low_and_high(rest):
    """A line that no capo at 4 leaves room for, then one that only that lets the hand hold open."""
    rows = [("Low", "E2", 0, 4), ("High", "E4", 4 + rest, 4)]
    bars = 2 + rest // 4
    return song(*rows, parts=parts_of("Low", "High", family="guitar", capo=[0, 4]), bars=bars,
                sections=[("Verse", 1), ("Chorus", 2)])  # fmt: skip


def test_a_capo_moves_in_time():
    """Eight seconds of silence are enough, four are not; the place and the time are given."""
    weights = Weights(presence=1.0, other_neck=1.0, capo_change=0.5)
    players = [Player("Ann", capos=(0, 4))]
    roles = {"Low": "rhythm", "High": "rhythm"}
    short = condense(low_and_high(4), players, weights=weights, roles=roles)
    assert short.capo_changes.empty
    assert set(short.choices["capo"]) == {0}
    long = condense(low_and_high(8), players, weights=weights, roles=roles)
    assert long.choices["capo"].tolist() == [0, 4]
    (move,) = long.capo_changes.itertuples(index=False)
    assert tuple(move) == ("Chorus", "Ann", 0, 4, 1, 4, 8.0)
    parts, setups = long.song.parts, part_setups(long.song)
    assert parts["capo"].tolist() == [0]
    assert setups["capo"].tolist() == [0, 4]
    assert setups["layers"].tolist() == ["Low", "High"]


def test_a_note_does_not_ring_into_a_new_capo():
    """What sounds over the border ends there if the capo moves behind it."""
    rows = [("Pad", "E2", 0, 8), ("Pad", "E4", 16, 4)]
    made = song(*rows, parts=parts_of("Pad", family="guitar", capo=[4]), bars=5,
                sections=[("Verse", 1), ("Chorus", 2)])  # fmt: skip
    weights = Weights(presence=1.0, other_neck=1.0, capo_change=0.1)
    found = condense(made, [Player("Ann", capos=(0, 4))], weights=weights)
    assert found.choices["capo"].tolist() == [0, 4]
    ends = found.song.notes["onset"] + found.song.notes["duration"]
    assert ends.tolist() == [4, 20]


@pytest.mark.parametrize(
    ("rest", "players", "pins", "said"),
    [
        (
            8, [Player("Ann", capos=(4,)), Player("Ben", capos=(0,))], [("Ann", "Verse", "Low")],
            "'Ann' is pinned to Low in 'Verse', which no neck and hand allow: every part must be "
            "playable; with no capo it would do",
        ),
        (
            4, [Player("Ann", capos=(0, 9), picks="fingers"), Player("Ben", capos=(9,))],
            [("Ann", "Verse", "Low"), ("Ann", "Chorus", "High")],
            "'Ann' would have to play Low in 'Verse' with no capo and High in 'Chorus' with "
            "capo 9, and there are 4.0 s to move the capo, where 8 are needed: free a pin",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_said(rest, players, pins, said):
    """One sentence with what would do."""
    # C#3 is the lowest string behind a capo at 9; C#6 lies twelve frets above that.
    rows = [("Low", "E2", 0, 4), ("High", "C#3 C#6", 4 + rest, 4)]
    made = song(*rows, parts=parts_of("Low", "High", family="guitar"), bars=2 + rest // 4,
                sections=[("Verse", 1), ("Chorus", 2)])  # fmt: skip
    roles = {"Low": "rhythm", "High": "rhythm"}
    with pytest.raises(ArrangeError) as raised:
        condense(made, players, roles=roles, pins=pins)
    assert said in str(raised.value)


def test_the_command_says_where_a_capo_moves():
    """With the place and the time that there is for it."""
    weights = Weights(presence=1.0, other_neck=1.0, capo_change=0.5)
    roles = {"Low": "rhythm", "High": "rhythm"}
    found = condense(low_and_high(8), [Player("Ann", capos=(0, 4))], weights=weights, roles=roles)
    lines = "\n".join(condensation_text(found)).splitlines()
    (at,) = [number for number, line in enumerate(lines) if "capo: Ann" in line]
    text = " ".join(" ".join(lines[at : at + 2]).split())
    assert text.startswith(
        "capo: Ann goes from no capo to capo 4: 8 s of silence from measure 1 to measure 4"
    )
    assert next(n for n, line in enumerate(lines) if line.startswith("Chorus (")) < at


def test_a_layer_that_changes_hands_is_named():
    """With what is gained by it, or that there is no other way."""
    rows = [("Tune", 72 + step, bar + step, 1) for bar in (0, 4) for step in range(4)]
    rows += [("Chords", "C3 E3 G3", bar, 4) for bar in (0, 4)]
    made = song(*rows, parts=parts_of("Tune", "Chords", family="guitar"), bars=2,
                sections=[("A", 1), ("A (2)", 2)])  # fmt: skip
    roles = {"Tune": "lead", "Chords": "rhythm"}
    players = [Player("Ann", capos=(0,)), Player("Ben", capos=(0,))]
    stays = condense(made, players, roles=roles).choices
    assert not stays["reason"].str.contains(" had in ").any()
    pins = [("Ann", "A", "Tune"), ("Ben", "A (2)", "Tune")]
    choices = condense(made, players, roles=roles, pins=pins).choices
    said = choices.set_index(["section", "player"])["reason"]
    assert said["A (2)", "Ben"] == (
        "pinned to Tune; Ben has Tune here, which Ann had in A, because pins, bans, necks and "
        "hands leave no other way"
    )
    # If a swap counts for nothing, several layers change hands.
    kiln = read(DATASETS / "kiln-yard.txt")
    people = [read_player("Ann: acoustic"), read_player("Ben: electric; clean, overdriven; echo")]
    found = condense(kiln, people, weights=Weights(swapped=0.0, stretch=0.0))
    swapped = found.choices[found.choices["reason"].str.contains(r"here, which \w+ had in")]
    assert len(swapped)
    assert swapped["reason"].str.contains(r"to keep it would cost \d+\.\d s, most of it for ").any()


def test_a_song_names_its_players():
    """They play where nobody else is given; where the song names nobody, that is said."""
    made = low_and_high(8)
    roles = {"Low": "rhythm", "High": "rhythm"}
    named = replace(made, players=("Ann: capo none or 4", "Ben: acoustic; capo 0"))
    found = condense(named, roles=roles)
    assert found.song.parts["part"].tolist() == ["Ann", "Ben"]
    assert not any("nobody is named" in notice for notice in found.song.notices)
    assert condense(named, 1, roles=roles).song.parts["part"].tolist() == ["Player 1"]
    unnamed = condense(made, roles=roles).song
    assert unnamed.parts["part"].tolist() == ["Player 1", "Player 2"]
    assert any(notice.startswith("nobody is named: two players") for notice in unnamed.notices)
