"""Labels are joined and split: any label survives, and usual lists read as before."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrange.text.part_lists import join_parts, split_fields, split_parts

LABELS = st.lists(st.text(alphabet='ab+" =;,', max_size=8) | st.text(max_size=6), max_size=4)


@pytest.mark.parametrize(
    ("labels", "text"),
    [
        ([], ""),
        (["Guitar 1"], "Guitar 1"),
        (["Guitar 1", "Bass"], "Guitar 1 + Bass"),
        (["A+B", 'Say "when"'], 'A+B + Say "when"'),
        (["Clean + Chorus", "Guitar 1"], '"Clean + Chorus" + Guitar 1'),
        (['"Ann" and I', "Bass"], '"""Ann"" and I" + Bass'),
        (["Both +", "+ one"], '"Both +" + "+ one"'),
    ],
)
def test_a_label_is_quoted_only_where_it_must_be(labels, text):
    assert join_parts(labels) == text
    assert split_parts(text) == labels


@given(LABELS)
def test_what_was_joined_is_split_again(labels):
    assert split_parts(join_parts(labels)) == labels


@given(LABELS, st.sampled_from([";", ","]))
def test_fields_around_labels_are_split_where_they_end(labels, sign):
    line = f"x=1{sign} parts={join_parts(labels, sign + chr(34))}{sign} y=2"
    first, parts, last = split_fields(line, sign)
    assert (first, last) == ("x=1", "y=2")
    assert split_parts(parts.removeprefix("parts=")) == labels


@pytest.mark.parametrize(
    ("text", "labels"),
    [
        ('"Clean" tone + Bass', ['"Clean" tone', "Bass"]),
        ('"never closed + Bass', ['"never closed', "Bass"]),
        (" Guitar 1  +  Bass ", ["Guitar 1", "Bass"]),
        ("Guitar 1 + ", ["Guitar 1"]),
    ],
)
def test_what_people_wrote_by_hand_is_read_as_it_looks(text, labels):
    """Older lists are read too: a quotation mark that does not enclose a label is a character."""
    assert split_parts(text) == labels


def test_a_quotation_mark_in_a_sentence_ends_no_field():
    text = 'parts="A; B" + C; reason=a 5" speaker, the "loud" one; kind=rub'
    fields = ['parts="A; B" + C', 'reason=a 5" speaker, the "loud" one', "kind=rub"]
    assert split_fields(text, ";") == fields
