"""Voice leading is compared with published sizes, all possible ways, and scipy's assignment."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from arrange.errors import ArrangeError
from arrange.theory.voice_leading import smallest_voice_leading

C = (0, 4, 7)


@pytest.mark.parametrize(
    ("after", "size"),
    [
        ((5, 9, 0), 3),  # F
        ((9, 0, 4), 2),  # Am
        ((4, 8, 11), 2),  # E
        ((8, 0, 3), 2),  # Ab
        ((7, 11, 2), 3),  # G
        ((3, 7, 10), 3),  # Eb
        ((6, 10, 1), 6),  # F#
    ],
)
def test_from_c_major(after, size):
    """The sum of semitones from C to other triads, worked by hand as D. Tymoczko, The geometry of
    musical chords, Science 313 (2006) 72-74, defines it: voices move by at most that.
    """
    assert smallest_voice_leading(C, after, doubling=False).size == size
    assert smallest_voice_leading(C, after).size <= size


def test_doubling_makes_it_smaller():
    """Cmaj7 to Emaj7: (4, 4, 7, 11, 0) to (3, 4, 8, 11, 11) moves by 1 + 0 + 1 + 0 + 1 (the
    same, supplement, figure S12); one to one it takes 4.
    """
    before, after = (4, 7, 11, 0), (4, 8, 11, 3)
    found = smallest_voice_leading(before, after)
    assert found.size == 3
    assert {a for a, _ in found.voices} == set(before)
    assert {b for _, b in found.voices} == set(after)
    assert smallest_voice_leading(before, after, doubling=False).size == 4


def test_real_pitches_with_a_doubled_root():
    """C3 G3 C4 E4 to C3 F3 C4 F4: two voices stay, G goes down by two and E up by one (counted
    by hand); as pitch classes C doubled is one note, and the size is the same 3.
    """
    before, after = (48, 55, 60, 64), (48, 53, 60, 65)
    assert sum(abs(a - b) for a, b in zip(before, after, strict=True)) == 3
    assert smallest_voice_leading(before, (*after, 57)).size == 3


def way(a, b):
    """Return semitones the short way round."""
    return min((a - b) % 12, (b - a) % 12)


chords = st.sets(st.integers(0, 11), min_size=1, max_size=4)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(chords, chords)
def test_doubling_against_all_ways(one, other):
    """Each note before goes somewhere, and what is left out after is reached by its nearest."""
    best = min(
        sum(way(a, b) for a, b in zip(one, to, strict=True))
        + sum(min(way(a, b) for a in one) for b in other - set(to))
        for to in product(other, repeat=len(one))
    )
    found = smallest_voice_leading(one, other)
    assert found.size == best
    assert found.size == sum(way(a, b) for a, b in found.voices)
    assert found.size == smallest_voice_leading(other, one).size


@settings(max_examples=60, deadline=None, derandomize=True)
@given(chords, chords)
def test_one_to_one_against_an_assignment(one, other):
    """The size is that of H. W. Kuhn's assignment (1955), as scipy solves it."""
    if len(one) != len(other):
        with pytest.raises(ArrangeError, match="allow doubling"):
            smallest_voice_leading(one, other, doubling=False)
        return
    table = np.array([[way(a, b) for b in other] for a in one])
    best = table[linear_sum_assignment(table)].sum()
    assert smallest_voice_leading(one, other, doubling=False).size == best


def test_no_notes():
    """An empty chord is refused."""
    with pytest.raises(ArrangeError, match="without notes"):
        smallest_voice_leading((), C)
