"""How two parts sound together: equal to the hearing models asked half beat by half beat.

The models themselves are held against their published values in the tests of hearing. At 60
quarter notes a minute a quarter note lasts a second.
"""

from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from songs import parts_of, song

from arrange import hearing
from arrange.errors import ArrangeError
from arrange.quantities.sonority import REFERENCE_LEVEL, masked_energy, pair_roughness
from arrange.theory.pitch import parse_note

EXAMPLES = settings(max_examples=10, deadline=None, derandomize=True, phases=[Phase.generate])
PLAYERS = ["Voice", "Guitar 1", "Guitar 2", "Bass"]
HALVES = 40  # half beats that the slow twins use
SOUNDS = parts_of(
    *PLAYERS, drive=["clean", "clean", "distorted", "clean"], level=[6.0, 0.0, -3.0, 0.0]
)


def made(*rows):
    return song(*rows, parts=SOUNDS)


def held(rows, part, half):
    """Return the pitches that a part sounds in a half beat."""
    return sorted(
        {
            parse_note(name)
            for who, names, at, length in rows
            for name in str(names).split()
            if who == part and at <= half / 2 < at + length
        }
    )


def heard(rows, part, half):
    """Return their partials, at the part's level and with its drive; None in silence."""
    about = SOUNDS.set_index("part").loc[part]
    pitches = held(rows, part, half)
    fall = hearing.rolloff(about["family"], about["drive"])
    level = REFERENCE_LEVEL + about["level"]
    return hearing.partials(np.array(pitches, dtype=float), level, fall) if pitches else None


NOTES = st.lists(
    st.tuples(
        st.sampled_from(PLAYERS),
        st.sampled_from(["E2", "G#2", "B2", "C3", "C#3", "E3", "G3", "C4", "E4 G4", "C3 G3"]),
        st.integers(0, 20).map(lambda half: half / 2),
        st.sampled_from([0.5, 1, 2, 4]),
    ),
    min_size=1,
    max_size=10,
)


@given(NOTES, st.sampled_from(["song", "section", "measure"]))
@EXAMPLES
def test_roughness_by_the_half_beat(rows, by):
    """Means and the worst of each measure (or the song, one section), pair by pair."""
    table = pair_roughness(made(*rows), by)
    computed = {
        (row.part_a, row.part_b, getattr(row, "measure", 0)): row for row in table.itertuples()
    }
    wanted = {}
    for one, other in combinations(PLAYERS, 2):
        for half in range(HALVES):
            a, b = heard(rows, one, half), heard(rows, other, half)
            if a is None or b is None:
                continue
            together = hearing.roughness(hearing.joined(a, b))
            alone = max(hearing.roughness(a), hearing.roughness(b))
            span = half // 8 + 1 if by == "measure" else 0
            wanted.setdefault((one, other, span), []).append((together, alone))
    assert computed.keys() == wanted.keys()
    for key, values in wanted.items():
        together, alone = np.array(values, dtype=float).T
        row = computed[key]
        assert row.seconds == pytest.approx(len(values) / 2)
        assert row.together == pytest.approx(together.mean())
        assert row.alone == pytest.approx(alone.mean())
        assert row.added == pytest.approx((together - alone).mean(), abs=1e-12)
        assert row.worst == pytest.approx((together - alone).max(), abs=1e-12)


@pytest.mark.long
@given(NOTES, st.sampled_from(["song", "measure"]))
@EXAMPLES
def test_masking_by_the_half_beat(rows, by):
    """The share that each part hides of every other part is compared."""
    table = masked_energy(made(*rows), by)
    computed = {
        (row.masker, row.target, getattr(row, "measure", 0)): row for row in table.itertuples()
    }
    wanted = {}
    for masker, target in permutations(PLAYERS, 2):
        for half in range(HALVES):
            a, b = heard(rows, masker, half), heard(rows, target, half)
            if a is not None and b is not None:
                span = half // 8 + 1 if by == "measure" else 0
                share = float(hearing.masked_share(a, b))
                wanted.setdefault((masker, target, span), []).append(share)
    assert computed.keys() == wanted.keys()
    for key, values in wanted.items():
        assert computed[key].share == pytest.approx(np.mean(values))
        assert computed[key].worst == pytest.approx(np.max(values))


def test_a_third_is_rougher_low_down():
    """Hutchinson and Knopoff's beating grows downwards: that is why low thirds turn muddy."""
    added = [
        pair_roughness(song(("Guitar 1", low, 0, 4), ("Guitar 2", high, 0, 4)), "song")["added"][0]
        for low, high in (("E2", "G#2"), ("E3", "G#3"), ("E4", "G#4"))
    ]
    assert added[0] > added[1] > added[2] > 0


def test_a_unison_adds_no_roughness():
    """Coinciding partials are merged first: twice the same part is as rough as once."""
    chord = "E3 G3 C4"
    row = pair_roughness(song(("Guitar 1", chord, 0, 4), ("Guitar 2", chord, 0, 4)), "song")
    assert row["added"][0] == pytest.approx(0, abs=1e-12)


def test_a_louder_part_hides_more():
    """At equal level two clean parts hardly hide each other; 20 dB do (REFERENCE: the index is
    about differences, Schroeder, Atal and Hall 1979)."""
    rows = ("Guitar 1", "E3", 0, 4), ("Guitar 2", "G3", 0, 4)
    share = {}
    for level in (0.0, 12.0, 24.0):
        sounds = parts_of("Guitar 1", "Guitar 2", level=[level, 0.0])
        table = masked_energy(song(*rows, parts=sounds), "song").set_index("masker")["share"]
        share[level] = table["Guitar 1"]
    assert share[0.0] < 0.05
    assert share[0.0] <= share[12.0] <= share[24.0]
    assert share[24.0] > 0.5


def test_where_nothing_sounds_together():
    """Parts that take turns make no rows, and neither does a song of one part or of drums."""
    turns = song(("Guitar 1", "E3", 0, 4), ("Guitar 2", "G3", 4, 4))
    alone = song(("Guitar 1", "E3", 0, 4))
    drums = song(("Drums", float("nan"), 0, 4))
    for each in (turns, alone, drums):
        assert pair_roughness(each).empty
        assert masked_energy(each).empty


@pytest.mark.parametrize("measure", [pair_roughness, masked_energy])
def test_spans_have_names(measure):
    with pytest.raises(ArrangeError, match="'song', 'section', 'measure'"):
        measure(song(("Guitar 1", "E3", 0, 4)), by="bar")
