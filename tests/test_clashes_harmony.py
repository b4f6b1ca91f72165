"""Notes against the chord symbol: worked by hand, and found again half beat by half beat.

At 60 quarter notes a minute a quarter note lasts a second. Avoid notes are those taught by B.
Nettles and R. Graf, The Chord Scale Theory and Jazz Harmony (1997; from memory).
"""

from collections import Counter

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from songs import song

from arrange.clashes import Limits, find_clashes
from arrange.theory.pitch import parse_note

EXAMPLES = settings(max_examples=10, deadline=None, derandomize=True, phases=[Phase.generate])
PLAYERS = ["Guitar 1", "Guitar 2", "Bass"]
C_MAJOR = [(0, 0, "major", None)]


def found(kind, *rows, **about):
    """Return findings of one kind with a low limit, as (parts, pitches, onset, value)."""
    table = find_clashes(song(*rows, **about), [kind], Limits(third=0.01, outside=0.01))
    columns = ("parts", "pitches", "onset", "value")
    return sorted(zip(*(table[name] for name in columns), strict=True))


def test_major_against_minor_third():
    """E and Eb over C clash for the two seconds in which both are held."""
    rows = ("Guitar 1", "E4", 0, 3), ("Guitar 2", "Eb3", 1, 4)
    assert found("third", *rows, chords=C_MAJOR) == [("Guitar 1 + Guitar 2", "Eb3 E4", 1, 2)]


@pytest.mark.parametrize("third", ["E4", "Eb4"])
def test_a_third_against_a_suspension(third):
    """The fourth of a suspended chord clashes with a third, however far apart; over a plain chord
    the fourth is no suspension and belongs to ``outside``.
    """
    rows = ("Guitar 1", third, 0, 2), ("Guitar 2", "F5", 0, 2)
    sus = [(0, 0, "suspended-fourth", None)]
    assert found("third", *rows, chords=sus) == [("Guitar 1 + Guitar 2", f"{third} F5", 0, 2)]
    assert found("third", *rows, chords=[(0, 0, "major-ninth", None)]) == []


def test_a_sharp_nine_is_meant():
    """A seventh with a sharp nine holds both thirds by definition (common practice)."""
    rows = ("Guitar 1", "E3", 0, 2), ("Guitar 2", "Eb4", 0, 2)
    assert found("third", *rows, chords=[(0, 0, "dominant", None, (9, 1, "add"))]) == []


def test_one_players_thirds_are_their_own():
    """Both thirds in one part, and thirds without a chord symbol, are not reported."""
    one = ("Guitar 1", "E3 Eb4", 0, 2)
    assert found("third", one, chords=C_MAJOR) == []
    assert found("third", ("Guitar 1", "E3", 0, 2), ("Guitar 2", "Eb4", 0, 2)) == []


def test_which_notes_are_outside():
    """Over C in C major: the fourth F is an avoid note and counts in full, D and A colour the
    chord and count a quarter; C# and Bb lie outside the key and count in full.
    """
    weights = {}
    for name in ("C4", "C#4", "D4", "E4", "F4", "G4", "A4", "Bb4"):
        reported = found("outside", ("Guitar 1", name, 0, 2), chords=C_MAJOR, key="C major")
        weights[name] = reported[0][-1] / 2 if reported else 0
    assert weights == {
        "C4": 0, "C#4": 1, "D4": 0.25, "E4": 0, "F4": 1, "G4": 0, "A4": 0.25, "Bb4": 1
    }  # fmt: skip


def test_a_mode_has_the_notes_of_its_signature():
    """In D dorian, the white keys, over Dm, B colours the chord and Bb is an avoid note a semitone
    above A.
    """
    about = {"chords": [(0, 2, "minor", None)], "key": "D dorian"}
    assert found("outside", ("Guitar 1", "B3", 0, 4), **about)[0][-1] == 1
    assert found("outside", ("Guitar 1", "Bb3", 0, 4), **about)[0][-1] == 4


def test_the_bass_of_the_symbol_belongs_to_it():
    """C/D contains D, and C5 has no third: D is not outside, E is (a quarter, in the key)."""
    over_d = [(0, 0, "major", 2)]
    assert found("outside", ("Bass", "D2", 0, 2), chords=over_d, key="C major") == []
    power = [(0, 0, "power", None)]
    assert found("outside", ("Guitar 1", "E3", 0, 4), chords=power, key="C major")[0][-1] == 1


def test_nothing_is_asked_where_no_chord_stands():
    """Nothing is reported without a symbol, a chord, or members other than the root."""
    for chords in ([], [(0, 0, "none", None)], [(0, 0, "pedal", None)]):
        assert found("outside", ("Guitar 1", "F#4", 0, 4), chords=chords) == []


ROWS = st.lists(
    st.tuples(
        st.sampled_from(PLAYERS),
        st.integers(45, 70),
        st.integers(0, 30).map(lambda eighths: eighths / 2),
        st.sampled_from([0.5, 1, 2, 4]),
    ),
    min_size=1,
    max_size=14,
)
CHORDS = st.sampled_from(
    [
        C_MAJOR,
        [(0, 0, "suspended-fourth", None), (8, 9, "minor", 0)],
        [(0, 7, "dominant", None, (9, 1, "add")), (6, 0, "none", None), (12, 5, "major", None)],
    ]
)


def names_at(rows, time):
    return {(part, pitch) for part, pitch, at, length in rows if at <= time < at + length}


def members_of(chord):
    """Return members above the root of the chords drawn from, by the handbook."""
    kind = chord[2] + ("#9" if len(chord) > 4 else "")
    return {
        "major": {0, 4, 7}, "minor": {0, 3, 7}, "suspended-fourth": {0, 5, 7},
        "dominant#9": {0, 3, 4, 7, 10}, "none": set(),
    }[kind]  # fmt: skip


@given(ROWS, CHORDS)
@EXAMPLES
def test_seconds_by_the_half_beat(rows, chords):
    """Count total seconds of each pair of parts that disagrees, and of each note outside, one half
    beat after the other.
    """
    thirds, outside = Counter(), Counter()
    for half in range(64):
        time = half / 2
        chord = [each for each in chords if each[0] <= time][-1]
        members, root = members_of(chord), chord[1]
        holds = {}
        for part, pitch in names_at(rows, time):
            above = (pitch - root) % 12
            holds.setdefault(part, set()).add(above)
            extra = {(chord[3] - root) % 12} if chord[3] is not None else set()
            if members and above not in members | extra:
                avoid = (above - 1) % 12 in members | extra
                outside[part, pitch] += 0.5 if avoid else 0.125
        for one, held in holds.items():
            for other, also in holds.items():
                pairs = [(4, 3)] if not {3, 4} <= members else []
                pairs += [(4, 5), (3, 5)] if 5 in members else []
                if one != other and members:
                    for pair in pairs:
                        thirds[frozenset((one, other))] += 0.5 * (
                            pair[0] in held and pair[1] in also
                        )
    made = song(*rows, chords=chords, parts=PLAYERS, bars=10)
    limits = Limits(third=0.01, outside=0.01)
    seconds = Counter()
    for row in find_clashes(made, ["third"], limits).itertuples():
        seconds[frozenset(row.parts.split(" + "))] += row.value
    assert seconds == +thirds
    seconds = Counter()
    for row in find_clashes(made, ["outside"], limits).itertuples():
        seconds[row.parts, parse_note(row.pitches)] += row.value
    assert seconds == outside  # without a key no note is foreign to it
