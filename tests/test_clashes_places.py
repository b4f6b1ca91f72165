"""Guitars near the voice and the bass: worked by hand, and found again half beat by half beat.

At 60 quarter notes a minute a quarter note lasts a second. That voice and bass need room is common
practice; how much is our own choice, so that the tests state the definition.
"""

from collections import Counter
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from songs import song

from arrange.clashes import Limits, find_clashes

EXAMPLES = settings(max_examples=10, deadline=None, derandomize=True, phases=[Phase.generate])
PLAYERS = ["Voice", "Guitar 1", "Guitar 2", "Bass"]
LOOSE = Limits(voice=0.01, voice_seconds=0.1, bass=0.01)


def found(kind, *rows, **about):
    """Return findings of one kind with low limits, as (parts, pitches, onset, value)."""
    table = find_clashes(song(*rows, parts=PLAYERS, **about), [kind], LOOSE)
    columns = ("parts", "pitches", "onset", "value")
    return sorted(zip(*(table[name] for name in columns), strict=True))


@pytest.mark.parametrize(
    ("note", "near"),
    [("E4", True), ("Ab4", True), ("A4", True), ("Bb4", True), ("D4", False), ("G4", False),
     ("B4", False), ("G3", False), ("G5", False)],
)  # fmt: skip
def test_near_the_sung_note(note, near):
    """Notes up to a minor third around the sung G count; a unison is a doubling, an octave free."""
    reported = found("voice", ("Voice", "G4", 0, 4), ("Guitar 1", note, 0, 2))
    assert reported == ([("Voice + Guitar 1", note, 0, 0.5)] if near else [])


def test_a_triad_in_the_notes_of_the_singer():
    """C4 E4 G4 is in the way of a sung C4, though no note of it is a minor third from that; so are
    other triads with that C in them. The next inversion up is not, nor is it an octave lower.
    Alone, the unison is a doubling; with its fifth and octave it is no triad.
    """
    for notes, share in (("C4 E4 G4", 1), ("E4 G4 C5", 0), ("C4", 0), ("C4 G4 C5", 0),
                         ("C3 E3 G3", 0), ("G3 C4 E4", 1), ("A3 C4 Eb4", 1)):  # fmt: skip
        reported = found("voice", ("Voice", "C4", 0, 4), ("Guitar 1", notes, 0, 4))
        assert [value for *_, value in reported] == [share] * share, notes


def test_a_wide_chord_is_not_accused_before_a_triad():
    """Six strings of C pass by the sung D4 with one note more than a triad around it does; a part
    that is softer, or whose notes merely ring on, is less in the way.
    """

    def severity(*rows):
        made = song(("Voice", "D4", 0, 4), *rows, parts=PLAYERS)
        return float(find_clashes(made, ["voice"], LOOSE)["severity"].iloc[0])

    one, triad = ("Guitar 1", "E4", 0, 4), ("Guitar 1", "A3 D4 F4", 0, 4)
    wide = ("Guitar 1", "E2 B2 E3 G3 B3 E4", 0, 4)
    assert severity(one) == pytest.approx(severity(triad))
    assert severity(triad) > 1.5 * severity(wide)
    made = song(("Voice", "D4", 0, 2), ("Guitar 1", "E4", 0, 2), parts=PLAYERS)
    soft = replace(made, parts=made.parts.assign(level=[0.0, -10.0, 0.0, 0.0]))
    rings = replace(made, notes=made.notes.assign(
        duration=[2.0, 1.0], technique=pd.array([None, "let ring"], dtype="str")
    ))  # fmt: skip
    assert rings.notes["sounds"].iloc[1] > 2
    full, half, three_quarters = (
        find_clashes(each, ["voice"], LOOSE)["severity"].iloc[0] for each in (made, soft, rings)
    )
    assert half == pytest.approx(full / 2)
    assert three_quarters == pytest.approx(full * (1 + 0.5) / 2)


def test_only_while_it_is_sung():
    """The guitar's long A is near the voice only in the one second of four in which it sings."""
    reported = found("voice", ("Voice", "G4", 1, 1), ("Guitar 1", "A4", 0, 4))
    assert reported == [("Voice + Guitar 1", "A4", 0, 1)]


@pytest.mark.parametrize(
    ("note", "bad"), [("E2", True), ("C#2", True), ("B1", True), ("F2", False), ("C2", False),
                      ("C3", False), ("C1", False)],
)  # fmt: skip
def test_under_and_right_above_the_bass(note, bad):
    """Notes below the bass's C2, or up to a third above it, count; octaves agree with it, a fourth
    is free.
    """
    reported = found("bass", ("Bass", "C2", 0, 4), ("Guitar 1", note, 0, 3))
    assert [value for *_, value in reported] == ([3] if bad else [])


def test_a_bass_with_a_tune_up_high_is_left_alone():
    """At E3 and above, the bass is no foundation."""
    assert found("bass", ("Bass", "E3", 0, 4), ("Guitar 1", "C3", 0, 4)) == []
    assert found("bass", ("Bass", "Eb3", 0, 4), ("Guitar 1", "C3", 0, 4)) != []


ROWS = st.lists(
    st.tuples(
        st.sampled_from(PLAYERS),
        st.integers(40, 58),
        st.integers(0, 30).map(lambda eighths: eighths / 2),
        st.sampled_from([0.5, 1, 2, 4]),
    ),
    min_size=1,
    max_size=14,
)


@given(ROWS)
@EXAMPLES
def test_by_the_half_beat(rows):
    """Count singing time near the voice, and seconds in the bass's range, by half beats."""
    sung, near, low = 0.0, Counter(), Counter()
    for half in range(80):
        holds = {}
        for part, pitch, at, length in rows:
            if at <= half / 2 < at + length:
                holds.setdefault(part, []).append(pitch)
        sung += 0.5 * ("Voice" in holds)
        for guitar in {"Guitar 1", "Guitar 2"} & set(holds):
            if "Voice" in holds:
                top = max(holds["Voice"])
                far = {abs(p - top) for p in holds[guitar]}
                triad = 0 in far and max(far) <= 7 and len(set(holds[guitar])) >= 3
                near[guitar] += 0.5 * (triad or bool(far & {1, 2, 3}))
            if "Bass" in holds and min(holds["Bass"]) < 52:
                above = min(holds[guitar]) - min(holds["Bass"])
                low[guitar] += 0.5 * (above <= 4 and above % 12 != 0)
    reported = {parts: value for parts, _, _, value in found("voice", *rows, bars=10)}
    expected = {f"Voice + {part}": time / sung for part, time in near.items() if time}
    assert reported == pytest.approx(expected)
    reported = Counter()
    for parts, _, _, value in found("bass", *rows, bars=10):
        reported[parts] += value
    assert reported == {f"{part} + Bass": time for part, time in low.items() if time}
