"""The damages of the corpus experiment do what they say; its figures agree with other sources."""

import numpy as np
import pandas as pd
import pytest
from benchmarks.damage import (
    CORPUS,
    DAMAGES,
    HALF_PHRASE,
    OCTAVE,
    PASSAGE,
    PHRASE,
    SIXTEENTH,
    area,
    by_height,
    experiment,
    half,
    judged,
    paired_area,
    passage,
    pieces,
    range_overlap,
    rising,
    scores,
    semitone_pairs,
    twin,
    wins,
    with_interval,
)
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy.stats import mannwhitneyu
from songs import song

from arrange.clashes import find_clashes

EXAMPLES = settings(max_examples=20, deadline=None, derandomize=True, phases=[Phase.generate])
NAMES = ("Guitar 1", "Guitar 2", "Guitar 3", "Guitar 4")  # high to low
SEEDS = ("Harbour Lights", "Slow Tram", "The Long Jetty", "Kettle Lane")
SCORES = st.lists(st.tuples(*[st.integers(0, 5)] * 2), min_size=1, max_size=12)


def four_parts(quarters=40):
    """Return four parts in quarter notes, far enough apart to keep their order."""
    pitches = (76, 67, 60, 48)
    return song(
        *[
            (name, pitch + (beat % 3), beat, 1)
            for name, pitch in zip(NAMES, pitches, strict=True)
            for beat in range(quarters)
        ]
    )


def changes(damage, seed, original):
    """Return what a damage did: rows that changed, with the steps in pitch and in time."""
    worse = twin(original, damage, seed).notes
    before = original.notes
    same = ["part", "duration", "source_id", "grace"]
    pd.testing.assert_frame_equal(worse[same], before[same])
    steps = before.assign(
        pitch_step=worse["pitch"] - before["pitch"], time_step=worse["onset"] - before["onset"]
    )
    return steps[(steps["pitch_step"] != 0) | (steps["time_step"] != 0)]


def moves(changed):
    """Return the step in pitch of each part that changed; all of its changed notes move alike."""
    steps = changed.groupby("part")["pitch_step"].agg(["min", "max"])
    assert (steps["min"] == steps["max"]).all()
    return steps["min"].to_dict()


def is_stretch(changed, length):
    """Return whether the notes are all of a part's within `length` quarter notes from a bar
    line.
    """
    start = changed["onset"].min()
    expected = min(length, 40 - start)
    return start % 4 == 0 and (changed.groupby("part").size() == expected).all()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("damage", ["inner part an octave off", "inner part, for a phrase"])
def test_an_inner_part_moves_an_octave(damage, seed):
    """Guitar 2 (G4) is nearer to Guitar 3 or 4 when down than to Guitar 1 (E5) when up: 67 - 12
    lies 5 below 60, 67 + 12 lies 3 above 76, so it goes up; Guitar 3 goes down to 48.
    """
    changed = changes(damage, seed, four_parts())
    ((part, step),) = moves(changed).items()
    assert step == {"Guitar 2": OCTAVE, "Guitar 3": -OCTAVE}[part]
    if damage == "inner part an octave off":
        assert len(changed) == 40
    else:
        assert is_stretch(changed, PHRASE)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("damage", "length"),
    [("a semitone off for a phrase", PHRASE), ("a semitone off for half a phrase", HALF_PHRASE)],
)
def test_one_part_a_semitone_off(damage, length, seed):
    """One part moves up or down for 16 or 8 quarter notes."""
    changed = changes(damage, seed, four_parts())
    ((_, step),) = moves(changed).items()
    assert abs(step) == 1
    assert is_stretch(changed, length)


@pytest.mark.parametrize("seed", SEEDS)
def test_one_part_a_sixteenth_late(seed):
    """All of its notes are late with unchanged pitches; each is in the bar where it now begins."""
    original = four_parts()
    changed = changes("a sixteenth late", seed, original)
    assert len(set(changed["part"])) == 1
    assert len(changed) == 40
    assert (changed["time_step"] == SIXTEENTH).all()
    assert (changed["pitch_step"] == 0).all()
    late = twin(original, "a sixteenth late", seed).notes
    assert (late["measure"] == late["onset"] // 4 + 1).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_all_but_the_top_go_down(seed):
    """Three of four parts move down an octave, for the same phrase."""
    changed = changes("into the mud for a phrase", seed, four_parts())
    assert moves(changed) == dict.fromkeys(NAMES[1:], -OCTAVE)
    assert is_stretch(changed, PHRASE)


@pytest.mark.parametrize("seed", SEEDS)
def test_two_neighbours_are_swapped(seed):
    """The upper goes down and the lower goes up, and they stay crossed for the whole phrase."""
    original = four_parts()
    changed = changes("swapped for a phrase", seed, original)
    steps = moves(changed)
    upper, lower = sorted(steps, key=by_height(original).index)
    assert by_height(original).index(lower) - by_height(original).index(upper) == 1
    assert (steps[upper], steps[lower]) == (-OCTAVE, OCTAVE)
    assert is_stretch(changed, PHRASE)
    worse = changed.assign(pitch=changed["pitch"] + changed["pitch_step"])
    above, below = (worse[worse["part"] == part]["pitch"].to_numpy() for part in (upper, lower))
    assert (above < below).all()


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_twin_is_always_the_same(damage):
    """The twin depends only on the piece's name."""
    one, other = (twin(four_parts(), damage, "Harbour Lights") for _ in range(2))
    pd.testing.assert_frame_equal(one.notes, other.notes)


def test_what_cannot_be_damaged():
    """A song in which nobody plays for half of any phrase cannot be damaged."""
    sparse = song(("Guitar 1", 60, 0, 1), ("Guitar 2", 55, 20, 1), ("Guitar 3", 50, 40, 1), bars=20)
    undone = {damage for damage in DAMAGES if twin(sparse, damage, "Harbour Lights") is None}
    assert undone == set(DAMAGES) - {"inner part an octave off", "a sixteenth late"}


def test_a_passage_lies_in_the_middle():
    """From 100 quarter notes in bars of four, the passage takes 64 from the bar line at 16 (18
    would be the middle); the note that reaches beyond its end is cut, and chord symbols are left
    out.
    """
    rows = [("Guitar 1", 60, beat, 3) for beat in range(0, 98, 2)]
    long = song(*rows, chords=[(0, 0, "major", None)])
    short = passage(long)
    assert short.notes["onset"].tolist() == list(range(16, 80, 2))
    assert short.notes["duration"].tolist() == [3.0] * 31 + [2.0]
    assert (len(long.chords), len(short.chords)) == (1, 0)
    assert passage(four_parts()).notes["onset"].max() < PASSAGE


def test_the_two_halves():
    """Each half has at least 120 files of several composers, and no file is in both."""
    names = [path.relative_to(CORPUS).as_posix() for path in pieces()]
    for part in ("tuning", "reported"):
        own = [name for name in names if half(name) == part]
        assert len(own) >= 120
        assert len({name.split("/")[0] for name in own}) >= 6
    assert len(set(names)) == len(names)


def test_the_naive_rules():
    """C4 to G4 and E4 to C5 share three of twelve semitones. A minor second and a minor ninth
    between two parts count; a major seventh, a part's own notes and notes in turn do not.
    """
    lines = song(("Guitar 1", "C4 G4", 0, 1), ("Guitar 2", "E4 C5", 0, 1))
    assert range_overlap(lines) == 0.25
    for pair, count in (("C4 C#4", 1), ("C4 C#5", 1), ("C#5 C4", 1), ("C4 B4", 0), ("C4 D4", 0)):
        one, other = pair.split()
        assert semitone_pairs(song(("Guitar 1", one, 0, 2), ("Guitar 2", other, 1, 2))) == count
        assert semitone_pairs(song(("Guitar 1", pair, 0, 2))) == 0
        assert semitone_pairs(song(("Guitar 1", one, 0, 1), ("Guitar 2", other, 1, 1))) == 0


def test_a_score_is_severity_a_minute():
    """A rub for four seconds in a song of eight: its severity times 60 / 8."""
    rub = song(("Guitar 1", "C4", 0, 4), ("Guitar 2", "C#4", 0, 4), ("Guitar 1", "C4", 4, 4))
    findings = find_clashes(rub, ["rub"])
    (severity,) = findings["severity"]
    rates = scores(rub, findings)
    assert rates["rub"] == pytest.approx(severity * 7.5)
    assert rates["worst rub"] == severity
    assert rates["semitone pairs"] == 7.5


def test_the_area_by_hand():
    """3 and 2 against 1 and 2 are three wins and a tie of four, so 3.5 / 4; in pairs 3 beats 1 and
    2 ties with 2, so 1.5 / 2.
    """
    won = wins(np.array([3, 2]), np.array([1, 2]))
    assert (area(won), paired_area(won)) == (0.875, 0.75)


@EXAMPLES
@given(SCORES)
def test_the_area_is_the_rank_statistic(pairs):
    """The area is Mann and Whitney's U over n m, as scipy computes it (Hanley and McNeil 1982)."""
    worse, better = np.array(pairs).T
    statistic = mannwhitneyu(worse, better, method="asymptotic").statistic
    assert area(wins(worse, better)) == pytest.approx(statistic / len(pairs) ** 2)


@EXAMPLES
@given(SCORES, st.integers(0, 2**32 - 1))
def test_a_resample_is_the_area_of_the_pieces_drawn(pairs, seed):
    """Counting how often each piece is drawn gives the same as listing the drawn pieces."""
    drawn = np.random.default_rng(seed).integers(0, len(pairs), len(pairs))
    counts = np.bincount(drawn, minlength=len(pairs))
    worse, better = np.array(pairs).T
    won = wins(worse, better)
    for measure in (area, paired_area):
        (measured,) = measure(won, counts[None])
        assert measured == pytest.approx(measure(wins(worse[drawn], better[drawn])))


def test_the_interval_agrees_with_the_formula():
    """E. R. DeLong, D. M. DeLong and D. L. Clarke-Pearson, Biometrics 44 (1988) 837-845 (from
    memory): the variance of the area from its structural components, with the covariance of
    twin and original, since they come in pairs. Half the 95 % interval is 1.96 times its root.
    """
    random = np.random.default_rng(3)
    better = random.normal(size=200)
    worse = 0.5 * better + random.normal(0.8, 1, 200)
    won = wins(worse, better)
    components = won.mean(axis=1) + won.mean(axis=0)
    expected = 1.96 * np.sqrt(components.var(ddof=1) / 200)
    measured, low, high = with_interval(area, won)
    assert measured == pytest.approx(won.mean())
    assert (high - low) / 2 == pytest.approx(expected, rel=0.1)
    assert with_interval(area, np.ones((5, 5))) == (1, 1, 1)


@pytest.fixture(scope="module")
def small_experiment():
    """Return the experiment on a chorale, a quartet movement and a madrigal."""
    names = ("bach/bwv66.6.mxl", "haydn/opus1no1/movement2.mxl", "monteverdi/madrigal.3.1.mxl")
    return experiment([CORPUS / name for name in names])


@pytest.mark.parametrize("damage", DAMAGES)
def test_the_matching_kind_rises(small_experiment, damage):
    """On all three together, the kinds that should notice score higher than on the originals."""
    tables, _ = small_experiment
    own = tables.set_index("version").reindex(columns=list(DAMAGES[damage].kinds), fill_value=0.0)
    assert own.loc[damage].sum(axis=1).mean() > own.loc["original"].sum(axis=1).mean()


def test_results_of_a_damage(small_experiment):
    """Each row agrees with a slow count over the pieces."""
    tables, alarms = small_experiment
    rises = rising(tables).set_index("damage")
    for damage, about in DAMAGES.items():
        row = judged(tables, damage)
        pairs = [
            (
                sum(own.get(kind, 0.0) for kind in about.kinds),
                sum(before.get(kind, 0.0) for kind in about.kinds),
            )
            for _, own in tables[tables["version"] == damage].iterrows()
            for _, before in tables[tables["version"] == "original"].iterrows()
            if own["piece"] == before["piece"]
        ]
        assert row["pieces"] == len(pairs)
        assert row["kind rises"] == np.mean([one > other for one, other in pairs])
        assert row["paired"] == np.mean(
            [(one > other) + (one == other) / 2 for one, other in pairs]
        )
        assert row["area low"] <= row["area"] <= row["area high"]
        if len(about.kinds) == 1:
            assert rises.loc[damage].get(about.kinds[0], 0.0) == row["kind rises"]
    assert alarms["composer"].tolist() == ["bach", "haydn", "monteverdi"]
