"""Condensing: compared with all plans, with properties that must always hold, and with known
answers.

Any such choice must satisfy these properties: a double costs nothing to leave out, everything is
kept if there are enough players, and more players never make it worse. The answers for the small
songs are common practice.
"""

import itertools
from pathlib import Path

import music21
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from slow_condensing import Slow
from songs import parts_of, song

from arrange import part_setups, read
from arrange.condensing import ROLES, Weights, condense, layer_roles
from arrange.condensing.plan_by_hand import plan_by_hand, untried, with_tried
from arrange.condensing.returns import Returns
from arrange.condensing.section_worth import CLEARLY
from arrange.errors import ArrangeError
from arrange.guitar.fingering import finger_part
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player

DATASETS = Path(__file__).parent.parent / "datasets"
SECTIONS = (("Verse", 1), ("Chorus", 2), ("Bridge", 3), ("Tag", 4))
FORM = settings(
    max_examples=3, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip


def made_up(seed, layers, sections=SECTIONS, reverse=False):
    """Return a song of random layers: lines, two-note chords and held notes, some doubled."""
    draw = np.random.default_rng(seed)
    names = [f"Layer {letter}" for letter in "ABCDEFGH"[:layers]]
    rows = []
    for number, name in enumerate(names):
        kind, low = draw.integers(4), int(draw.integers(45, 64))
        for bar in range(len(sections)):
            if draw.random() < 0.25 and number:
                continue
            if kind == 3 and number:
                rows += [(name, pitch, onset, lasts) for other, pitch, onset, lasts in rows
                         if other == names[number - 1] and onset // 4 == bar]  # fmt: skip
                continue
            step = float(draw.choice([0.5, 1.0, 2.0] if kind < 2 else [4.0]))
            for onset in np.arange(0, 4, step):
                pitch = low + int(draw.choice([0, 2, 4, 5, 7]))
                rows.append((name, pitch, 4 * bar + onset, step))
                if kind == 1:
                    rows.append((name, pitch + int(draw.choice([3, 4, 7])), 4 * bar + onset, step))
    drives = draw.choice(["clean", "overdriven"], layers).tolist()
    if reverse:
        names, drives = names[::-1], drives[::-1]
    return song(*rows, parts=parts_of(*names, family="guitar", drive=drives), bars=len(sections),
                sections=sections, chords=[(0, 0, "major", None), (8, 7, "dominant", None)]
                if draw.random() < 0.7 else ())  # fmt: skip


def taken(condensation):
    """Return what the players take by section, as sets: it does not matter who takes what."""
    by = condensation.choices.groupby("section", sort=False)["layers"]
    return [sorted(layers) for _, layers in by]


def nothing_left_out(condensation):
    return condensation.lost["value"].notna().all()


@pytest.mark.sampled
@pytest.mark.parametrize("players", [1, 2, 3])
@settings(FORM, max_examples=3)
@given(seed=st.integers(0, 10**6), layers=st.integers(2, 4))
def test_all_plans_tried(seed, layers, players):
    """No other plan has a higher value, and the plan returned is among the best."""
    layers = min(max(layers, players + 1), 4)
    # With two players or more there are so many plans that one section less is enough.
    made = made_up(seed, layers, SECTIONS[: 4 if players == 1 else 3])
    weights = Weights(stretch=0.0)  # what a hand reaches is tried with players of their own
    found = condense(made, players, weights=weights)
    if not nothing_left_out(found):
        return
    slow = Slow(made, weights)
    best, plans = slow.best(players)
    assert found.value == pytest.approx(best, abs=1e-3)
    assert found.bound == pytest.approx(best, abs=1e-3)
    every = {tuple(tuple(sorted(choice)) for choice in plan) for plan in plans}
    assert tuple(tuple(choice) for choice in taken(found)) in every
    if len(every) == 1:
        assert [tuple(choice) for choice in taken(found)] == list(next(iter(every)))
    if players == 2:
        assert_worth_by_hand(found, *slow.every(players), seed)


def assert_worth_by_hand(found, steps, total, seed):
    """Check that random plans, put in by hand, are worth what the slow way says."""
    draw, names = np.random.default_rng(seed), found.known.problem.recorded.names
    for _ in range(2):
        at = tuple(int(draw.integers(size)) for size in total.shape)
        plan = tuple(
            tuple(tuple(sorted(map(names.index, option))) for option in list(step)[place])
            for step, place in zip(steps, at, strict=True)
        )
        known = with_tried(found.known, untried(found.known, plan))
        by_hand = plan_by_hand(known.problem, Returns(known.problem, len(plan[0])), plan)
        assert by_hand.troubles == ()
        assert by_hand.plan.value == pytest.approx(float(total[at]), abs=1e-3)


@pytest.mark.long
@settings(FORM, max_examples=3)
@given(seed=st.integers(0, 10**6), layers=st.integers(2, 5))
def test_what_always_holds(seed, layers):
    """More players have no lower value; as many players as layers keep everything; the terms add up
    to the value; no note is new.
    """
    made = made_up(seed, layers)
    grown = [condense(made, players) for players in range(1, layers + 2)]
    values = [one.value for one in grown]
    assert values == sorted(values) or np.diff(values).min() > -1e-4
    for one in grown:
        assert one.value <= one.bound + 1e-6
        assert one.terms["value"].sum() == pytest.approx(one.value, abs=1e-3)
        assert no_new_note(made, one)
        assert can_all_be_played(one)
        assert lead_is_kept(made, one)
    for one in grown[layers - 1 :]:
        assert one.lost["value"].isna().all()  # except what nobody can play
        assert one.share == pytest.approx(1)
        played = {name for layers_ in one.choices["layers"] for name in layers_}
        assert played == set(made.notes["part"]) or not nothing_left_out(one)


def no_new_note(made, condensation):
    """Check that each note of the result begins in a layer at that pitch and ends no later."""
    until = {}
    for n in made.notes.itertuples():
        until.setdefault((n.onset, n.pitch), []).append(n.onset + n.duration)
    ends = made.notes["onset"] + made.notes["duration"]
    for n in condensation.song.notes.itertuples():
        if (n.onset, n.pitch) not in until:
            return False
        end = n.onset + n.duration
        # It may be held by another layer that struck it before.
        held = (made.notes["pitch"] == n.pitch) & (made.notes["onset"] <= n.onset)
        if end > ends[held].max() + 1e-9:
            return False
    return True


def can_all_be_played(condensation):
    """Check that each part can be fingered as a whole, with the strings that the notes have."""
    made = condensation.song
    players = condensation.choices["player"].unique()
    has_notes = [name for name in players if (made.notes["part"] == name).any()]
    return all(finger_part(made, name)["problem"].isna().all() for name in has_notes) and (
        made.notes[["string", "fret"]].notna().all().all()
    )


def lead_is_kept(made, condensation):
    """Check that where a lead plays, one is kept, or another layer that plays the same."""
    roles = condensation.roles.set_index("layer")["role"]
    leads = [name for name in roles.index if roles[name] == "lead"]
    for section, own in condensation.choices.groupby("section"):
        there = made.notes[made.notes["section"] == section]
        sounding = [name for name in leads if (there["part"] == name).any()]
        if sounding and nothing_left_out(condensation):
            played = {name for layers in own["layers"] for name in layers}
            content = {frozenset(zip(there.onset[there.part == n], there.pitch[there.part == n],
                                     strict=True)) for n in played}  # fmt: skip
            wanted = {frozenset(zip(there.onset[there.part == n], there.pitch[there.part == n],
                                    strict=True)) for n in sounding}  # fmt: skip
            if not content & wanted:
                return False
    return True


@pytest.mark.long
@FORM
@given(seed=st.integers(0, 10**6), layers=st.integers(2, 5), players=st.integers(1, 3))
def test_the_order_of_layers_plays_no_part(seed, layers, players):
    """The same layers in reverse order, and the same question asked twice, give the same answer."""
    one, again = (condense(made_up(seed, layers), players) for _ in range(2))
    other = condense(made_up(seed, layers, reverse=True), players)
    columns = ["section", "player", "layers", "action", "reason"]
    for answer in (again, other):
        pd.testing.assert_frame_equal(answer.choices[columns], one.choices[columns])
        assert answer.value == one.value


@FORM
@given(seed=st.integers(0, 10**6), layers=st.integers(2, 4), players=st.integers(1, 2))
def test_an_exact_double_costs_nothing(seed, layers, players):
    """A layer that plays exactly what another plays is left out, and nothing is lost."""
    made = made_up(seed, layers)
    double = made.notes[made.notes["part"] == "Layer A"].assign(part="Layer A too")
    row = made.parts[made.parts["part"] == "Layer A"].assign(part="Layer A too")
    with_it = replace_tables(made, row, double)
    found = condense(with_it, players)
    for section, own in found.choices.groupby("section"):
        played = {name for layers_ in own["layers"] for name in layers_}
        if len(played & {"Layer A", "Layer A too"}) == 1:
            lost = found.lost[(found.lost["section"] == section)
                              & found.lost["layer"].isin(["Layer A", "Layer A too"])]  # fmt: skip
            lost = lost[lost["value"].notna()]
            assert lost["value"].abs().max() == 0
            assert lost["why"].str.contains("exactly the same").all()
        assert len(played & {"Layer A", "Layer A too"}) < 2


def replace_tables(made, part, notes):
    return type(made)(
        pd.concat([made.parts, part], ignore_index=True), made.sections, made.measures,
        made.chords, pd.concat([made.notes, notes], ignore_index=True),
    )  # fmt: skip


@FORM
@given(seed=st.integers(0, 10**6), players=st.integers(2, 3))
def test_pins_are_kept(seed, players):
    """A pinned choice is taken, and a forbidden one is not."""
    made = made_up(seed, 4)
    free = condense(made, players)
    banned = next(row.layer for row in free.roles.itertuples() if row.role != "lead")
    pinned = condense(
        made, players, pins=[("Player 2", "Chorus", ())], forbid=[(None, "Tag", banned)]
    )
    by = pinned.choices.set_index(["player", "section"])
    assert by.loc[("Player 2", "Chorus"), "layers"] == ()
    assert by.loc[("Player 2", "Chorus"), "reason"] == "pinned to nothing"
    assert not any(banned in layers for layers in by.xs("Tag", level="section")["layers"])
    assert pinned.value <= free.bound + 1e-6


def band(**more):
    """Return a lead, its octave double in the chorus, strummed chords, and a held pad."""
    rows = []
    tune = [67, 69, 71, 74, 72, 71, 69, 66, 67, 71, 74, 76, 74, 72, 69, 67]
    for bar in range(8):
        for beat in range(4):
            pitch = tune[(4 * bar + beat + bar // 4) % 16]
            rows.append(("Tune", pitch, 4 * bar + beat, 1))
            if bar >= 4:
                rows.append(("Tune low", pitch - 12, 4 * bar + beat, 1))
            rows.append(("Chords", "G2 B2 D3" if bar % 2 == 0 else "D3 F#3 A3", 4 * bar + beat, 1))
        rows.append(("Pad", "B3 D4" if bar % 2 == 0 else "A3 D4", 4 * bar, 4))
    chords = [(4 * bar, 7 if bar % 2 == 0 else 2, "major", None) for bar in range(8)]
    return song(*rows, bars=8, sections=(("Verse", 1), ("Chorus", 5)), chords=chords,
                parts=parts_of("Tune", "Tune low", "Chords", "Pad", family="guitar"),
                **more)  # fmt: skip


def test_roles_of_a_small_band():
    """The roles are what a musician who hears the song would say."""
    roles = layer_roles(band()).set_index("layer")
    assert roles["role"].to_dict() == {
        "Tune": "lead", "Tune low": "double", "Chords": "rhythm", "Pad": "pad",
    }  # fmt: skip
    assert roles.loc["Tune low", "doubles"] == "Tune"
    assert roles.loc["Chords", "polyphony"] == 3
    assert roles.loc["Pad", "density"] == 1 / 4  # a quarter note lasts a second
    assert roles.loc["Tune low", "presence"] == 1 / 2
    given = layer_roles(band(), roles={"Pad": "rhythm"}).set_index("layer")
    assert given.loc["Pad", "role"] == "rhythm"
    assert given.loc["Pad", "why"].startswith("given as rhythm")


def test_a_hook_a_fill_and_a_pulse():
    """A returning figure of one bar, three notes in the song, and one note at an even pace."""
    figure = [(0, "E4"), (0.5, "G4"), (1, "A4"), (2, "G4"), (3.5, "E4")]
    rows = [("Figure", name, 4 * bar + at, 0.5) for bar in range(8) for at, name in figure]
    rows += [("Answer", name, 30 + k / 2, 0.5) for k, name in enumerate(("D5", "C5", "A4"))]
    rows += [("Pulse", "E3", k / 2, 0.5) for k in range(64)]
    roles = layer_roles(song(*rows, parts=parts_of("Figure", "Answer", "Pulse", family="guitar")))
    by_layer = dict(zip(roles["layer"], roles["role"], strict=True))
    assert by_layer == {"Figure": "hook", "Answer": "fill", "Pulse": "rhythm"}


def solo(**more):
    """Return chords throughout, and a line above them only in the second of three sections."""
    tune = [76, 78, 79, 81, 83, 81, 79, 78, 76, 74, 76, 79, 78, 76, 74, 71]
    rows = [("Chords", "G2 B2 D3", beat, 1) for beat in range(48)]
    rows += [("Solo", pitch, 16 + beat, 1) for beat, pitch in enumerate(tune)]
    return rows, {"bars": 12, "sections": (("Verse", 1), ("Break", 5), ("Verse 2", 9)), **more}


def test_a_solo_that_is_there_once():
    """A solo that fills one section and lies on top is the lead there, however short it is."""
    rows, form = solo(parts=parts_of("Chords", "Solo", family="guitar"))
    roles = layer_roles(song(*rows, **form)).set_index("layer")
    assert roles.loc["Solo", "role"] == "lead"
    assert roles.loc["Solo", "sounding"] == pytest.approx(1 / 3)
    # The same line in one bar of four is a fill; in every bar but mostly silent it is one too.
    in_a_bar = [row for row in rows if row[0] == "Chords" or 24 <= row[2] < 28]
    with_gaps = [row if row[0] == "Chords" else (*row[:3], 0.5) for row in rows]
    for fewer, why in ((in_a_bar, "25% of the bars"), (with_gaps, "sounds for 50%")):
        by_layer = layer_roles(song(*fewer, **form)).set_index("layer")
        assert by_layer.loc["Solo", "role"] == "fill"
        assert why in by_layer.loc["Solo", "why"]


def test_the_line_on_top_leads():
    """Of two lines the higher is kept, unless the lower is clearly more salient."""
    tune = [76, 78, 76, 74, 76, 79, 78, 76]
    rows = [("High", tune[beat // 4], beat, 4) for beat in range(0, 32, 4)]
    rows += [("Under", tune[beat % 8] - 12, beat, 1) for beat in range(32)]
    roles = {"High": "lead", "Under": "lead"}
    parts = parts_of("High", "Under", family="guitar")
    forbid = [(None, None, ("High", "Under"))]
    # It is not enough that the lower one moves more; that it is also four times as loud is.
    for level, expected in ((0.0, "High"), (-12.0, "Under")):
        made = song(*rows, bars=8, parts=parts.assign(level=[level, 0.0]))
        salience = layer_roles(made, roles=roles).set_index("layer")["salience"]
        assert (salience["Under"] > salience["High"] + CLEARLY) == (expected == "Under")
        found = condense(made, 1, roles=roles, forbid=forbid)
        assert found.choices["layers"][0] == (expected,)
        assert f"{expected} is the lead" in found.choices["reason"][0]


@pytest.mark.parametrize(
    ("piece", "top"),
    [("haydn/opus74no1/movement3", "Violin 1"), ("mozart/k155/movement1", "Violin I"),
     ("beethoven/opus18no1/movement1", "Violin I"), ("bach/bwv66.6", "Soprano")],
)  # fmt: skip
def test_the_top_of_a_quartet_leads(piece, top):
    """The first violin, or the soprano, leads, and no other part (common practice)."""
    made = read(Path(music21.__file__).parent / "corpus" / f"{piece}.mxl")
    roles = layer_roles(made, made.parts["part"].tolist()).set_index("layer")["role"]
    assert roles[roles == "lead"].index.tolist() == [top]


def test_a_double_for_a_part_of_the_song():
    """A layer that follows another in one section only, and then plays thirds, is no double."""
    line = [64, 66, 67, 69, 71, 69, 67, 66]
    rows = [("First", line[beat % 8], beat, 1) for beat in range(64)]
    same = [("Second", line[beat % 8], beat, 1) for beat in range(64)]
    thirds = [(name, pitch + (3 if beat >= 56 else 0), beat, lasts)
              for name, pitch, beat, lasts in same]  # fmt: skip
    parts = parts_of("First", "Second", family="guitar")
    form = {"bars": 16, "sections": (("Chorus", 1), ("Tag", 15)), "parts": parts}
    doubles = [layer_roles(song(*rows, *own, **form))["doubles"][1] for own in (same, thirds)]
    assert doubles[0] == "First"
    assert pd.isna(doubles[1])


def two_lines(*onsets, pitch=64, lasts=1, low=60):
    """Return two lines for one player: one on each beat, the other where the test says."""
    rows = [("Line", low, beat, 1) for beat in range(8)]
    rows += [("Other", pitch, onset, lasts) for onset in onsets]
    made = song(*rows, bars=2, parts=parts_of("Line", "Other", family="guitar"))
    pins = [("Player 1", "Song", ("Line", "Other"))]
    return condense(made, 1, pins=pins, roles={"Line": "lead", "Other": "rhythm"})


def test_how_hard_two_lines_at_once_are():
    """The cost grows with the time that both sound, separate attacks, and distance in pitch."""

    def cost(*onsets, **more):
        terms = two_lines(*onsets, **more).terms.set_index("term")["value"]
        return -terms["merging"] / Weights().merging

    second = 1.0  # a quarter note
    together = cost(*range(8))
    assert together == pytest.approx(8 * second * (1 + 0 + 4 / 12) / 3, abs=1e-5)
    # A whole note in each bar: six of its eight attacks fall on the other line alone.
    assert cost(0, 4, lasts=4) == pytest.approx(8 * second * (1 + 6 / 8 + 4 / 12) / 3, abs=1e-5)
    # An octave and more apart counts as an octave.
    assert cost(*range(8), pitch=79) == pytest.approx(8 * second * (1 + 0 + 1) / 3, abs=1e-5)


def test_lines_that_take_turns_cost_nothing():
    """Two lines that alternate cost nothing, and the reason says that they alternate."""
    rows = [("Call", 64, 0, 2), ("Call", 66, 4, 2), ("Answer", 60, 2, 2), ("Answer", 62, 6, 2)]
    made = song(*rows, bars=2, parts=parts_of("Answer", "Call", family="guitar"))
    found = condense(made, 1)
    assert found.choices["layers"][0] == ("Answer", "Call")
    assert found.terms.set_index("term")["value"]["merging"] == 0
    assert "never heard at once" in found.choices["reason"][0]


def test_the_song_of_fourteen_layers(layers):
    """Echo and fills, which alternate, go to one player; the solo is kept; the hook comes back."""
    found = layers
    assert found.is_proven
    by = found.choices.groupby("section", sort=False)["layers"].apply(list)
    assert ("Echo", "Fills") in by["Verse 1"]
    assert ("Lead",) in by["Instrumental"]
    assert all(("Hook",) in by[name] for name in ("Intro", "Chorus 1", "Chorus 2", "Tag 1"))
    roles = found.roles.set_index("layer")["role"]
    some = roles[["Lead", "Hook", "Slide", "Fills", "Power right"]].tolist()
    assert some == ["lead", "hook", "fill", "fill", "rhythm"]
    drives = part_setups(found.song).set_index(["part", "section"])["drive"]
    assert drives["Ann", "Verse 1"] == "clean"
    assert drives["Ann", "Chorus 1"] == "overdriven"


def test_two_players_of_a_small_band():
    """One has the tune, the other the chords; alone, the tune is played."""
    two = condense(band(), 2)
    assert two.is_proven
    by = two.choices.set_index(["section", "player"])["layers"]
    for section in ("Verse", "Chorus"):
        assert "Tune" in by[section, "Player 1"]
        assert "Chords" in by[section, "Player 2"] or "Chords" in by[section, "Player 1"]
    one = condense(band(), 1)
    assert all("Tune" in layers for layers in one.choices["layers"])
    assert "always kept" in one.choices["reason"][0]
    names = condense(band(), ["Mara", "Odd"]).song.parts["part"].tolist()
    assert names == ["Mara", "Odd"]


def test_other_parts_stay_and_notes_are_whole():
    """A bass and a singer are not changed; a note that two layers hold at once is one note."""
    rows = [("Bass", "G1", 0, 4), ("Voice", "G4", 0, 4)]
    rows += [("One", "G3", 0, 4), ("Two", "G3", 0, 2), ("Two", "B3", 2, 2), ("Three", "D5", 0, 4)]
    made = song(*rows)
    found = condense(made, 2, pins=[("Player 1", "Song", ("One", "Two"))])
    parts = found.song.parts["part"].tolist()
    assert parts == ["Bass", "Voice", "Player 1", "Player 2"]
    kept = found.song.notes[found.song.notes["part"].isin(["Bass", "Voice"])]
    assert kept[["onset", "duration", "pitch"]].to_numpy().tolist() == [[0, 4, 31], [0, 4, 67]]
    merged = found.song.notes[found.song.notes["part"] == "Player 1"].sort_values("pitch")
    assert merged[["onset", "duration", "pitch"]].to_numpy().tolist() == [[0, 4, 55], [2, 2, 59]]


def test_strings_of_the_source_are_kept():
    """A layer recorded with a capo in another tuning is played with both, on its own frets."""
    rows = [("Open", "D3", 0, 2), ("Open", "A3", 2, 2)]
    tuning = (62, 57, 54, 50, 45, 38)
    parts = parts_of("Open", family="guitar", capo=2)
    parts["tuning"] = pd.Series([tuning], dtype=object)
    made = song(*rows, parts=parts)
    notes = made.notes.assign(string=pd.array([6, 5], dtype="Int64"),
                              fret=pd.array([12, 12], dtype="Int64"))  # fmt: skip
    found = condense(type(made)(made.parts, made.sections, made.measures, made.chords, notes), 1)
    row = found.song.parts.iloc[0]
    assert (row["tuning"], row["capo"]) == (tuning, 2)
    assert found.song.notes[["string", "fret"]].to_numpy().tolist() == [[6, 12], [5, 12]]


def test_strings_tuned_alike_keep_the_frets_of_the_source():
    """In drop D the upper strings are those of standard tuning.

    The octaves stay on strings 4 and 2, where two notes of these pitches would lie lower on 3 and
    1; the power chord uses the lowest string, and none of its notes keeps its place.
    """
    rows = [("Lead", "A3", 0, 1), ("Lead", "A4", 0, 1), ("Lead", "G2", 1, 1), ("Lead", "D3", 1, 1)]
    made = song(*rows, parts=parts_of("Lead", family="guitar"))
    notes = made.notes.assign(string=pd.array([4, 2, 6, 5], dtype="Int64"),
                              fret=pd.array([7, 10, 3, 5], dtype="Int64"))  # fmt: skip
    made = type(made)(made.parts, made.sections, made.measures, made.chords, notes)
    played = condense(made, [Player("Ada", Neck("drop D"))]).song.notes
    played = played.sort_values(["onset", "string"])
    assert played[["string", "fret"]].to_numpy().tolist() == [[2, 10], [4, 7], [5, 5], [6, 5]]
    capoed = condense(made, [Player("Ada", Neck(capo=2))]).song.notes
    assert capoed.loc[capoed["pitch"] == 69, "string"].tolist() == [1]


def test_a_note_held_into_the_next_section():
    """The note sounds on if the player keeps its layer, and ends there if not."""
    rows = [("Pad", "D4 G4", 0, 6), ("Pad", "C4 G4", 6, 2), ("Riff", "G2", 4, 4)]
    made = song(*rows, bars=2, sections=(("Verse", 1), ("Chorus", 2)))
    stays = condense(made, 1, roles={"Pad": "lead"})
    held = stays.song.notes.query("onset == 0")
    assert held["duration"].tolist() == [6, 6]
    leaves = condense(made, 1, pins=[("Player 1", "Chorus", "Riff")], roles={"Pad": "pad"})
    assert leaves.song.notes.query("onset == 0")["duration"].tolist() == [4, 4]


def test_alternatives_and_growth():
    """The next best plans are listed with their costs; more players have a higher value."""
    found = condense(band(), 2)
    others = found.alternatives
    for _, own in others.groupby("section"):
        assert len(own) == 3
        assert own["costs"].is_monotonic_increasing
        assert (own["costs"] >= -1e-9).all()
    grown = found.by_players()
    assert grown["players"].tolist() == [1, 2, 3, 4]
    assert grown["value"].is_monotonic_increasing
    assert grown["value"][1] == found.value
    assert grown["share"][3] == pytest.approx(1)


@pytest.mark.long
def test_an_alternative_costs_what_it_costs():
    """If the alternative is pinned, the whole plan has the value that was announced; what a hand
    pays in other sections may take a little more.
    """
    for weights in (Weights(stretch=0.0), Weights()):
        found = condense(band(), 2, weights=weights)
        for row in found.alternatives.itertuples():
            pins = [(f"Player {k + 1}", row.section, layers) for k, layers in enumerate(row.layers)]
            pinned = condense(band(), 2, pins=pins, weights=weights)
            assert pinned.value <= row.value + 1e-4
            if not weights.stretch:
                assert pinned.value == pytest.approx(row.value, abs=1e-4)


def test_a_quiet_section_stays_quiet():
    """If growth has a high weight, the held pad plays below the tune, where the strumming would
    fill the verse up to the chorus; the chorus keeps the strumming. If growth has no weight, both
    strum.
    """

    def chords_in(growth):
        found = condense(band(), 2, weights=Weights(growth=growth))
        second = found.choices.query("player == 'Player 2'").set_index("section")["layers"]
        fuller = found.terms.query("term == 'growth'")["value"].sum()
        return second["Verse"], second["Chorus"], fuller

    assert chords_in(0) == (("Chords",), ("Chords",), 0)
    assert chords_in(5) == (("Pad",), ("Chords",), 0)
    assert chords_in(0.5)[2] < 0  # it keeps strumming, at a cost


def low_and_high():
    """Return a line below the range of every guitar, and one that can be played."""
    return song(("Deep", "C1", 0, 4), ("Deep", "D1", 4, 4), ("High", "E4", 0, 4),
                ("High", "G4", 4, 4), parts=parts_of("Deep", "High", family="guitar"))  # fmt: skip


def test_a_layer_that_cannot_be_played():
    """It is reported as lost with the reason; if it is the lead, condensing is refused."""
    found = condense(low_and_high(), 1, roles={"Deep": "rhythm"})
    assert found.choices["layers"][0] == ("High",)
    row = found.lost.set_index("layer").loc["Deep"]
    assert "below the lowest open string" in row["why"]
    assert "Deep cannot be played at all" in " ".join(found.song.notices)
    with pytest.raises(ArrangeError, match="'Deep' is the lead and must be kept, but no note"):
        condense(low_and_high(), 1, roles={"Deep": "lead"})
    with pytest.raises(ArrangeError, match=r"pinned to Deep in 'Song'.*must be playable"):
        condense(low_and_high(), 1, roles={"Deep": "rhythm"}, pins=[("Player 1", "Song", "Deep")])


def test_no_layer_lies_on_a_neck():
    """No layer lies in the range of a neck: a standard guitar with 24 frets goes from E2 to E6
    (common practice).
    """
    for rows in ([("Deep", "C1", 0, 4)], [("Deep", "C1", 0, 4), ("Far", "C9", 0, 4)]):
        names = [row[0] for row in rows]
        alone = song(*rows, parts=parts_of(*names))
        made = song(*rows, ("Voice", "C4", 0, 4), parts=parts_of(*names, "Voice"))
        for each, roles in itertools.product((alone, made), ({}, dict.fromkeys(names, "rhythm"))):
            with pytest.raises(ArrangeError, match=r"no note of Deep|'Deep' is the lead"):
                condense(each, 2, roles=roles)


def chords_that_are_hard():
    """Return random chords on three layers, many of which no hand can hold whole."""
    draw, rows = np.random.default_rng(7), []
    for name, bar, beat in itertools.product("ABC", range(4), (0, 2)):
        count, low = int(draw.integers(1, 4)), int(draw.integers(36, 60))
        pitches = sorted(set((low + draw.integers(0, 30, count)).tolist()))
        rows += [(name, pitch, 4 * bar + beat, float(draw.choice([1.0, 2.0, 5.0])))
                 for pitch in pitches]  # fmt: skip
    return song(*rows, parts=parts_of(*"ABC", family="guitar"), bars=4,
                sections=(("Verse", 1), ("Chorus", 3)))  # fmt: skip


def test_a_condensation_does_not_change():
    """Asking for more players thins out other layers, but the answer for one player stays."""
    one, other = (condense(chords_that_are_hard(), 1, roles=dict.fromkeys("ABC", "rhythm"))
                  for _ in range(2))  # fmt: skip
    grown = other.by_players(3)
    pd.testing.assert_frame_equal(other.by_players(3), grown)
    assert other.share == one.share
    pd.testing.assert_frame_equal(other.alternatives, one.alternatives)


def test_players_bring_their_necks():
    """Ben has a bass in drop D with a capo; Ann gets the best neck; a third is like the last."""
    neck = Neck("drop D", capo=2)
    found = condense(band(), ["Ann", Player("Ben", neck)])
    assert found.song.parts["part"].tolist() == ["Ann", "Ben"]
    row = found.song.parts.set_index("part").loc["Ben"]
    assert (row["tuning"], row["capo"]) == (neck.tuning, neck.capo)
    assert (found.choices.query("player == 'Ben'")["capo"] == 2).all()
    assert found.song.parts["capo"][0] == 0
    assert found.by_players(3)["value"].is_monotonic_increasing
    assert condense(band(), Player("Ann", neck)).song.parts["capo"].tolist() == [2]


def test_players_bring_their_hands():
    """Between a barre chord without open strings and one note, the small hand gets the note.

    F2 C3 F3 A3 C4 F4 takes a barre and three more fingers (common practice); a hand of two fingers
    cannot hold it.
    """
    rows = [("Barre", "F2 C3 F3 A3 C4 F4", 4 * bar, 4) for bar in range(4)]
    rows += [("Note", "F4", 4 * bar + beat, 1) for bar in range(4) for beat in range(4)]
    made = song(*rows, parts=parts_of("Barre", "Note", family="guitar"))
    roles = {"Barre": "rhythm", "Note": "rhythm"}
    small = Hand(fingers=2)
    for people in (["Big", Player("Small", hand=small)], [Player("Small", hand=small), "Big"]):
        found = condense(made, people, roles=roles)
        by = found.choices.set_index("player")["layers"]
        assert (by["Big"], by["Small"]) == (("Barre",), ("Note",))
    pin = [("Small", "Song", "Barre")]
    with pytest.raises(ArrangeError, match=r"'Small' is pinned to Barre in 'Song', which no neck"):
        condense(made, people, roles=roles, pins=pin)


def test_each_role_has_a_weight():
    """Each role has a weight, and a meaning in words for those who correct a role."""
    roles = pd.DataFrame({"role": list(ROLES), "salience": 1.0})
    assert (Weights().of_layers(roles) > 0).all()
    assert all(role.meaning for role in ROLES.values())


def test_growth_asks_for_players_that_there_can_be():
    found = condense(band(), 2)
    for most in (0, 17, 10**23):
        with pytest.raises(ArrangeError, match="at most 16"):
            found.by_players(most)


def test_a_section_of_silence_and_too_many_players():
    """All players rest where nothing sounds; a player without any notes is reported."""
    made = song(("Only", "E4", 0, 4), bars=2, sections=(("Verse", 1), ("Rest", 2)),
                parts=parts_of("Only", family="guitar"))  # fmt: skip
    found = condense(made, 3)
    by = found.choices.set_index(["section", "player"])
    assert set(by.xs("Rest")["action"]) == {"lays out"}
    assert set(by.xs("Rest")["reason"]) == {"nothing sounds here"}
    assert len(found.song.parts) == 3
    notices = " ".join(found.song.notices)
    assert "3 players for 1 layers" in notices
    assert "no layer plays in Rest" in notices
    assert "no chord symbols" in notices


@pytest.mark.parametrize(
    ("question", "message"),
    [
        ({"players": 0}, "players=0; at least one"),
        ({"players": -1}, "players=-1; at least one"),
        ({"players": 17}, "players=17; at least one has to play, and at most 16 can"),
        ({"players": 200}, "at most 16"),
        ({"players": 10**23}, "at most 16"),
        ({"players": 1.5}, "players=1.5"),
        ({"players": float("nan")}, "players=nan"),
        ({"players": [f"P{number}" for number in range(17)]}, "players=17"),
        ({"players": ["Mara", " "]}, "each needs a name that is not empty"),
        ({"players": []}, "no players"),
        ({"players": ["Mara", "Mara"]}, "two players are called 'Mara'"),
        ({"players": ["Mara", Player("Mara")]}, "two players are called 'Mara'"),
        ({"layers": ["Tune", "Tun"]}, "no part 'Tun'; did you mean 'Tune'"),
        ({"layers": []}, "no layers"),
        ({"layers": ["Tune", "Tune"]}, "names 'Tune' twice"),
        ({"layers": ["Tune"], "players": ["Pad"]}, "'Pad', as is a part that stays"),
        ({"roles": {"Tune": "solo"}}, "'Tune' is given as 'solo'; a role is one of lead"),
        ({"roles": {"Organ": "pad"}}, "no layer 'Organ'"),
        ({"pins": [("Player 3", "Verse", "Tune")]}, "no player 'Player 3'"),
        ({"pins": [("Player 1", "Coda", "Tune")]}, "no section 'Coda'"),
        (
            {"pins": [("Player 1", "Verse", "Tune"), ("Player 2", "Verse", "Tune")]},
            "a layer has one player",
        ),
        ({"pins": [("Player 1", "Verse", "Organ")]}, "no layer 'Organ'"),
        ({"pins": [("Player 1", "Verse", "Tune low")]}, "does not play; there play Chords"),
        ({"pins": ["Tune"]}, r"each is \(player, section, layers\)"),
        ({"pins": [(None, "Verse", "Tune")]}, "names no player"),
        ({"pins": [("Player 1", "Verse", ("Tune", "Pad", "Chords"))]}, "merges 3 layers"),
        ({"pins": [("Player 1", "Verse", "Tune"), ("Player 1", "Verse", "Pad")]},
         "pinned to 'Tune' and to 'Pad'; keep one"),
        ({"pins": [("Player 1", "Verse", "Tune")], "forbid": [(None, None, "Tune")]},
         "'Tune' is forbidden there"),
        ({"pins": [("Player 1", "Verse", "Pad"), ("Player 2", "Verse", "Chords")]},
         "'Tune' is the lead in 'Verse' and must be kept, but pins and bans"),
        ({"forbid": [("Player 1", "Verse", "Tune"), ("Player 2", "Verse", "Tune")]},
         "'Tune' is the lead in 'Verse'"),
    ],
)  # fmt: skip
def test_what_cannot_be_asked(question, message):
    """The error names the rule that is violated."""
    with pytest.raises(ArrangeError, match=message):
        condense(band(), **{"players": 2, **question})


@pytest.mark.parametrize(
    ("weights", "message"),
    [({"line": -1}, "0 or more"), ({"clash": 2}, "at most 1"), ({"octave": 1.5}, "a share"),
     ({"other_neck": 0.1}, "presence")],
)  # fmt: skip
def test_weights_that_make_no_sense(weights, message):
    """Weights for which the required properties would not hold are refused."""
    with pytest.raises(ArrangeError, match=message):
        Weights(**weights)


def test_no_guitars_at_all():
    """The layers have to be named, and may be any parts that fit on a guitar."""
    made = song(("Voice 1", "E4", 0, 4), ("Voice 2", "C4", 0, 4))
    with pytest.raises(ArrangeError, match="no part of this song is a guitar; name the layers"):
        condense(made)
    found = condense(made, 2, layers=["Voice 1", "Voice 2"])
    assert found.song.parts["family"].tolist() == ["guitar", "guitar"]
    assert sorted(found.song.notes["pitch"]) == [60, 64]
