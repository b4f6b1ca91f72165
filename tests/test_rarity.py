"""Severity says how rare it is that well-made music goes so far."""

import numpy as np
import pandas as pd
import pytest
from benchmarks import rarity as making
from songs import song

from arrange.clashes import KINDS, find_clashes
from arrange.clashes.rarity import (
    FILE,
    INSTRUMENTS,
    LARGE_CHOIR,
    SMALL_CHOIR,
    UNKNOWN,
    Rarity,
    curves,
    curves_of,
    ensemble,
    rarity,
    rarity_sentences,
    severities,
    without_rarity,
)


def rows(*points, passages=100):
    """Return the rows of a table with one curve."""
    return [
        {"kind": "rub", "unit": "s", "ensemble": INSTRUMENTS, "passages": passages, "value": value,
         "one_in": one_in} for value, one_in in points
    ]  # fmt: skip


def test_between_and_beyond_the_rows_of_the_table():
    """One passage in 4 reaches 2 and one in 16 reaches 3: in equal steps of the value it is 1, 2,
    4, 8, 16, 32 and so on, each as many times as rare as the one before.
    """
    (curve,) = curves_of(rows((2, 4), (3, 16))).values()
    value = np.array([0, 1, 2, 2.5, 3, 3.5, 5])
    assert np.exp(curve.at(value)) == pytest.approx([1, 2, 4, 8, 16, 32, 256])


def test_severity_by_hand():
    """1 - N ** (-1 / 5): 32 = 2 ** 5, 1,024 = 4 ** 5. Where it is not known, by value over limit:
    0.5 at twice the limit, 0.75 at four times.
    """
    rare = Rarity(np.log([1, 32, 1024, np.nan, np.nan]), np.array([9, 9, 9, 0, 0]))
    found = severities(rare, np.array([9, 9, 9, 2, 4]))
    assert found == pytest.approx([0, 0.5, 0.75, 0.5, 0.75])


def test_how_rare_it_is_in_words():
    """The number is rounded down, and never larger than what was measured."""
    one_in, passages = [1.9, 2, 32, 59.9, 1024, 1024, 1e9, np.nan], [104] * 5 + [2000, 61, 0]
    fewer = "Fewer than one passage in {} of well-made music goes this far.".format
    assert rarity_sentences(Rarity(np.log(one_in), np.array(passages))) == [
        "Well-made music often goes this far.", fewer(2), fewer(30), fewer(50), fewer(100),
        fewer("1,000"), fewer(60), UNKNOWN,
    ]  # fmt: skip
    for each in rarity_sentences(Rarity(np.log(one_in), np.array(passages))):
        assert without_rarity(f"They rub. {each}") == "They rub."


@pytest.mark.parametrize("key", sorted(curves()))
def test_what_goes_farther_is_rarer(key):
    """Each curve of the package rises from 0 at nothing, far beyond its last row too."""
    curve, kind = curves()[key], key[0]
    value = np.linspace(0, 3 * curve.value[-1], 200)
    log_one_in = curve.at(value)
    assert kind in KINDS
    assert log_one_in[0] == 0
    assert (np.diff(log_one_in) > 0).all()
    assert (curve.log_one_in[1:] >= 0).all()
    found = severities(Rarity(log_one_in, np.full(200, 9)), value)
    assert (np.diff(found) > 0).all()
    assert ((found >= 0) & (found < 1)).all()


def test_a_band_is_compared_with_instruments_and_a_choir_with_choirs():
    """Where most of the parts sing; drums do not count."""
    for families, expected in (
        (["voice", "guitar", "guitar", "bass", "drums"], INSTRUMENTS),
        (["voice"] * 2 + ["guitar"] * 2, INSTRUMENTS),
        (["drums"], INSTRUMENTS),
        (["voice"] * 4 + ["drums"], SMALL_CHOIR),
        (["voice"] * 5, LARGE_CHOIR),
    ):
        assert ensemble(np.array(families, dtype=object)) == expected


def test_findings_say_how_rare_they_are():
    """A rub held for a bar, a kind that cannot be compared, and a double that is meant."""
    rub = song(("Guitar 1", "A4", 0, 4), ("Guitar 2", "Bb4", 0, 4))
    (row,) = find_clashes(rub, ["rub"]).itertuples()
    families = rub.parts["family"].to_numpy(dtype=object)
    rare = rarity([("rub", row.unit)], np.array([row.value]), families)
    assert row.severity == severities(rare, np.array([1.0]))[0]
    assert row.why.endswith(rarity_sentences(rare)[0])
    low = song(("Bass", "E2", 0, 8), ("Guitar 1", "G2", 0, 8))
    assert find_clashes(low, ["bass"])["why"].iloc[0].endswith(UNKNOWN)
    tune = [(60 + 2 * (step % 3), step / 2, 0.5) for step in range(16)]
    double = song(*(("Guitar 1", *note) for note in tune), *(("Guitar 2", *note) for note in tune))
    assert find_clashes(double, ["doubling"])["why"].iloc[0].endswith("so it reads as meant.")


def test_the_share_of_passages_over_a_severity_is_what_it_says():
    """A table made of 3,000 passages, whose values are exponential, holds for 30,000 others: the
    share of those over a severity is within 20 % of what it says, in the tail too.
    """
    chance = np.random.default_rng(4)
    known, others = (chance.exponential(1.0, size) for size in (3000, 30000))
    points = making.fitted(known[known >= 1], 3000, 0.5)
    (curve,) = curves_of(rows(*points)).values()
    reached = curve.at(others[others >= 1])
    for severity in (0.3, 0.4, 0.5, 0.6, 0.7):
        share = np.count_nonzero(reached > -5 * np.log1p(-severity)) / 30000
        assert share == pytest.approx((1 - severity) ** 5, rel=0.2)


def test_a_kind_that_few_passages_have():
    """Two of 100 reach the limit: one in 40, half a passage added; a tenth of them go beyond by as
    much as others do, 0.5 on average, times the logarithm of 10.
    """
    points = making.fitted(np.array([1.2, 3.0]), 100, 0.5)
    assert np.array(points) == pytest.approx(np.array([(1, 40), (1 + 0.5 * np.log(10), 400)]))


@pytest.fixture(scope="module")
def body():
    """Return the pieces that the table of the package is made of."""
    return making.body("tuning")


@pytest.mark.long
def test_the_table_is_what_the_pieces_give(body):
    made = making.table(*body)
    pd.testing.assert_frame_equal(made, pd.read_csv(FILE))


@pytest.mark.long
def test_severities_hold_for_pieces_that_were_left_out(body):
    """Three times two thirds of the pieces say how rare things are in the other third: all kinds
    together, the number of passages over a severity is within 20 % of what it says.
    """
    found = making.held_out(*body)
    assert (found["said"] > 25).all()
    assert found["found"].to_numpy() == pytest.approx(found["said"].to_numpy(), rel=0.2)
