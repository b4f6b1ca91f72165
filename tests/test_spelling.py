"""The nearest known spelling is compared with counting all slips in a slow way."""

from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrange.theory.spelling import nearest_spelling, slips, unknown_name

WORDS = ("m7", "maj7", "sus4", "sus2", "dim", "m7b5", "M7")


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("majj7", "maj7"),  # one letter too many
        ("mj7", "m7"),  # one too many for one word, one too few for the other: the first is given
        ("mja7", "maj7"),  # neighbours swapped
        ("sus5", "sus4"),  # another letter; sus2 is as near, and comes later
        ("SUS2", "sus2"),  # capitals count less than slips
        ("dmi", "dim"),
        ("7", "m7"),
        ("", None),  # one slip is too many for an empty word
        ("xylophone", None),
        ("xy", None),
    ],
)
def test_nearest(text, word):
    """Worked by hand."""
    assert nearest_spelling(text, WORDS) == word


def test_capitals_decide_between_equals():
    assert nearest_spelling("M77", ("m7", "M7")) == "M7"
    assert nearest_spelling("m77", ("M7", "m7")) == "m7"


SHORT = st.text("abc", max_size=6)


@given(SHORT, SHORT)
def test_slips(one, other):
    """The definition of optimal string alignment, computed recursively from the end."""

    @cache
    def count(i, j):
        if not i or not j:
            return i + j
        found = min(count(i - 1, j) + 1, count(i, j - 1) + 1,
                    count(i - 1, j - 1) + (one[i - 1] != other[j - 1]))  # fmt: skip
        if i > 1 and j > 1 and one[i - 1] == other[j - 2] and one[i - 2] == other[j - 1]:
            found = min(found, count(i - 2, j - 2) + 1)
        return found

    assert slips(one, other) == count(len(one), len(other)) == slips(other, one)


@given(SHORT, st.lists(SHORT, unique=True, max_size=8).map(tuple))
def test_nearest_is_the_nearest(text, known):
    """No known word is nearer than the answer, and there is an answer if one is near enough."""
    distances = [slips(text, word) for word in known]
    most = 2 if len(text) >= 3 else 1
    found = nearest_spelling(text, known)
    if found is None:
        assert not distances or min(distances) > most
    else:
        assert slips(text, found) == min(distances) <= most


def test_an_unknown_name_is_answered_with_what_there_is():
    known = ["Guitar 1", "Guitar 2", "Guitar 1"]
    message = unknown_name("part", "Guitr 2", known)
    assert (
        message
        == "there is no part 'Guitr 2'; did you mean 'Guitar 2'? there are Guitar 1, Guitar 2"
    )
    assert unknown_name("part", "Lute", known) == (
        "there is no part 'Lute'; there are Guitar 1, Guitar 2"
    )
    assert unknown_name("part", "Lute", []) == "there is no part 'Lute'; there is none"
