"""Roughness, masking and drive in a song: worked by hand, and found again half beat by half beat.

The tests of hearing compare the models with their published values; these tests check the findings
that use them. At 60 quarter notes a minute a quarter note lasts a second.
"""

from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from songs import parts_of, song

from arrange import hearing
from arrange.clashes import Limits, find_clashes
from arrange.theory.pitch import frequency, parse_note

EXAMPLES = settings(max_examples=10, deadline=None, derandomize=True, phases=[Phase.generate])
PLAYERS = ["Voice", "Guitar 1", "Guitar 2", "Bass"]
DRIVES = ["clean", "clean", "overdriven", "edge"]
LEVELS = [0.0, 18.0, 0.0, 0.0]
SOUNDS = parts_of(*PLAYERS, drive=DRIVES, level=LEVELS)
LOUDNESS = 70  # dB for a part at level 0, as the measures state
LOOSE = Limits(
    roughness=0.05, roughness_seconds=0.5, masking=0.05, masking_seconds=0.5, drive=0.02,
    drive_seconds=0.5,
)  # fmt: skip


def found(kind, *rows, limits=LOOSE, sounds=SOUNDS):
    """Return findings of a kind as (parts, onset, duration, value)."""
    table = find_clashes(song(*rows, parts=sounds, bars=10), [kind], limits)
    columns = ("parts", "onset", "duration", "value")
    return sorted(zip(*(table[name] for name in columns), strict=True))


def guitars(**about):
    return parts_of("Guitar 1", "Guitar 2", **about)


# ------------------------------------------------------------------ worked by hand


def test_a_semitone_is_rough_and_a_fifth_is_not():
    """Roughness is greatest at about a quarter of a critical band, near a semitone here (Plomp and
    Levelt 1965, as in Hutchinson and Knopoff's curve), and small where partials coincide."""
    for low, high, rough in (("A3", "Bb3", True), ("A3", "E4", False), ("A3", "A4", False)):
        rows = ("Guitar 1", low, 0, 4), ("Guitar 2", high, 0, 4)
        reported = found("roughness", *rows, limits=Limits(), sounds=guitars())
        assert bool(reported) == rough, high


def test_one_held_roughness_is_one_row():
    """A roughness held for five bars while the bass moves is one row; a second is enough, less is
    not reported.
    """
    rows = [("Guitar 1", "A3", 0, 20), ("Guitar 2", "Bb3", 0, 20)]
    reported = found("roughness", *rows, limits=Limits(), sounds=guitars())
    assert [row[:3] for row in reported] == [("Guitar 1 + Guitar 2", 0, 20)]
    short = ("Guitar 1", "A3", 0, 0.5), ("Guitar 2", "Bb3", 0, 0.5)
    assert found("roughness", *short, limits=Limits(), sounds=guitars()) == []


def test_what_a_loud_part_hides():
    """Parts of equal level hide almost nothing of each other; one that is 20 dB louder does. The
    masked threshold is that of ISO/IEC 11172-3, Annex D.
    """
    rows = ("Guitar 1", "E3", 0, 4), ("Guitar 2", "G3", 0, 4)
    assert found("masking", *rows, limits=Limits(), sounds=guitars()) == []
    reported = found("masking", *rows, limits=Limits(), sounds=guitars(level=[24.0, 0.0]))
    assert [row[0] for row in reported] == ["Guitar 1 + Guitar 2"]
    table = find_clashes(song(*rows, parts=guitars(level=[24.0, 0.0])), ["masking"])
    assert table["why"].iloc[0].startswith("Guitar 1 hides")


@pytest.mark.parametrize(
    ("notes", "is_rough"),
    [
        ("E2 G2", True), ("A2 C3", True), ("E2 G#2 B2", True),
        ("E2 B2", False), ("E2 B2 E3", False), ("E2 A2", False), ("E2 E3", False),
        ("E2", False), ("E4 G#4", False),
    ],
)  # fmt: skip
def test_thirds_low_down_are_rough_under_drive(notes, is_rough):
    """Root, fifth and octave stay clean; a third is rough low down, but may be used high up (common
    practice).
    """
    rows = (("Guitar 1", notes, 0, 4),)
    driven = guitars(drive=["overdriven", "clean"])
    assert bool(found("drive", *rows, limits=Limits(), sounds=driven)) == is_rough
    assert found("drive", *rows, limits=Limits(), sounds=guitars()) == []


def test_two_parts_share_no_amplifier():
    """E2 and G2 in two driven guitars make no products together."""
    rows = ("Guitar 1", "E2", 0, 4), ("Guitar 2", "G2", 0, 4)
    assert found("drive", *rows, sounds=guitars(drive=["distorted", "distorted"])) == []


def test_the_sentence_says_how_fast_it_beats():
    """The products of E2 (82.4 Hz) and G2 (98.0 Hz) lie 15.6 Hz apart, by arithmetic."""
    apart = float(np.diff(frequency(np.array([parse_note("E2"), parse_note("G2")], float)))[0])
    made = song(("Guitar 1", "E2 G2", 0, 4), parts=guitars(drive=["overdriven", "clean"]))
    why = find_clashes(made, ["drive"])["why"].iloc[0]
    assert f"beat {apart:.0f} times a second" in why


def test_merging_identical_parts_adds_no_roughness():
    chord = "E3 G3 Bb3"
    assert found("roughness", ("Guitar 1", chord, 0, 4), ("Guitar 2", chord, 0, 4)) == []


# ------------------------------------------------------------------ by the half beat

ROWS = st.lists(
    st.tuples(
        st.sampled_from(PLAYERS),
        st.sampled_from(
            ["E2", "G#2", "B2", "C3", "C#3", "E3", "G3", "E2 G2", "E3 G#3 B3", "A2 E3"]
        ),
        st.integers(0, 40).map(lambda half: half / 2),
        st.sampled_from([0.5, 1, 2, 4]),
    ),
    min_size=1,
    max_size=12,
)
HALVES = range(90)


def held(rows, part, half):
    return sorted(
        {
            float(parse_note(name))
            for who, names, at, length in rows
            for name in names.split()
            if who == part and at <= half / 2 < at + length
        }
    )


def heard(rows, part, half):
    about = SOUNDS.set_index("part").loc[part]
    pitches, fall = held(rows, part, half), hearing.rolloff(about["family"], about["drive"])
    return hearing.partials(np.array(pitches), LOUDNESS + about["level"], fall) if pitches else None


def stretches(times):
    """Return half beats, joined where at most a bar of four lies between one's end and the next."""
    runs = []
    for half in sorted(times):
        if runs and half / 2 - (runs[-1][-1] + 1) / 2 <= 4:
            runs[-1].append(half)
        else:
            runs.append([half])
    return runs


def rounded(rows):
    return sorted((*row[:3], round(float(row[3]), 9)) for row in rows)


@pytest.mark.long
@given(ROWS)
@EXAMPLES
def test_roughness_by_the_half_beat(rows):
    expected = []
    for one, other in combinations(PLAYERS, 2):
        added, pairs = {}, {}
        for half in HALVES:
            a, b = heard(rows, one, half), heard(rows, other, half)
            if a is not None and b is not None:
                alone = max(hearing.roughness(a), hearing.roughness(b))
                value = float(hearing.roughness(hearing.joined(a, b)) - alone)
                if value >= LOOSE.roughness:
                    added[half], pairs[half] = value, (a, b)
        for run in stretches(added):
            worst = max(added[half] for half in run)
            a, b = pairs[next(half for half in run if added[half] >= worst - 1e-12)]
            apart = hearing.roughness_sethares(a) + hearing.roughness_sethares(b)
            if hearing.roughness_sethares(hearing.joined(a, b)) > 1.1 * apart:
                value = np.mean([added[half] for half in run])
                end = (run[-1] + 1) / 2
                expected.append((f"{one} + {other}", run[0] / 2, end - run[0] / 2, value))
    assert rounded(found("roughness", *rows)) == rounded(expected)


@given(ROWS)
@EXAMPLES
def test_masking_by_the_half_beat(rows):
    expected = []
    for loud, soft in permutations(PLAYERS, 2):
        shares = [
            float(hearing.masked_share(heard(rows, loud, half), heard(rows, soft, half)))
            for half in HALVES
            if held(rows, loud, half) and held(rows, soft, half)
        ]
        if shares and np.mean(shares) >= LOOSE.masking:
            names = " + ".join(name for name in PLAYERS if name in (loud, soft))
            expected.append((names, np.mean(shares)))
    reported = [(parts, value) for parts, _, _, value in found("masking", *rows)]
    assert sorted((n, round(v, 9)) for n, v in reported) == sorted(
        (n, round(float(v), 9)) for n, v in expected
    )


@given(ROWS)
@EXAMPLES
def test_drive_by_the_half_beat(rows):
    expected = []
    for part, drive in zip(PLAYERS, DRIVES, strict=True):
        if drive == "clean":
            continue
        added = {}
        for half in HALVES:
            pitches = np.array(held(rows, part, half))
            steps = {(high - low) % 12 for low, high in combinations(pitches, 2)}
            if steps <= {0, 5, 7}:
                continue
            hertz, strength = frequency(pitches), 1 / len(pitches)
            shape = hearing.drive_named(drive)
            products = hearing.clipping_products(hertz, strength, shape)
            behind = hearing.joined(
                hearing.clipped_tones(hertz, strength, shape),
                hearing.Partials(products.frequency, products.amplitude),
            )
            plain = hearing.Partials(hertz, np.full(len(pitches), strength))
            value = float(hearing.roughness(behind) - hearing.roughness(plain))
            if value >= LOOSE.drive:
                added[half] = value
        for run in stretches(added):
            end = (run[-1] + 1) / 2
            value = np.mean([added[half] for half in run])
            expected.append((part, run[0] / 2, end - run[0] / 2, value))
    assert rounded(found("drive", *rows)) == rounded(expected)


@pytest.mark.parametrize("kind", ["roughness", "masking", "drive"])
def test_the_order_of_parts_changes_nothing(kind):
    rows = [("Guitar 2", "E2 G2 E3", 0, 8), ("Bass", "F2", 2, 4), ("Guitar 1", "Eb3", 1, 6)]
    back = SOUNDS.iloc[::-1].reset_index(drop=True)
    one, other = found(kind, *rows), found(kind, *rows, sounds=back)
    names = [{(frozenset(p.split(" + ")), *more) for p, *more in rounded(t)} for t in (one, other)]
    assert one
    assert names[0] == names[1]


@pytest.mark.parametrize("kind", ["roughness", "masking", "drive"])
def test_silence_and_drums_give_none(kind):
    assert found(kind) == []
    drums = parts_of("Drums", "Guitar 1")
    assert found(kind, ("Drums", float("nan"), 0, 4), sounds=drums) == []


def test_an_octave_lower_is_rougher():
    """A third in two guitars gets rougher with each octave down (Plomp and Levelt's curve)."""
    values = []
    for low, high in (("C4", "Eb4"), ("C3", "Eb3"), ("E2", "G2")):
        rows = ("Guitar 1", low, 0, 4), ("Guitar 2", high, 0, 4)
        values.append(found("roughness", *rows, sounds=guitars())[0][-1])
    assert values[0] < values[1] < values[2]
