"""A part that departs from the rest of the song is found, with its notes; what it always does is
not.

The songs are made for this: three guitars in C major through 32 bars of four quarter notes, at 60 a
minute. Guitar 1 plays around C5, Guitar 2 around C4, Guitar 3 around C3, all on every beat, so that
nobody leaves a register, the scale or the grid.
"""

import numpy as np
import pytest
from songs import parts_of, song, with_setup

from arrange.clashes import KINDS, Limits, find_clashes
from arrange.clashes.departures import _foreign, _missing
from arrange.clashes.scene import Scene
from arrange.clashes.stretches import stretches_of
from arrange.findings import smallest_moves

NEW = ["register", "scale", "grid"]
MAJOR = (0, 2, 4, 5, 7, 9, 11)
BASES = {"Guitar 1": 72, "Guitar 2": 60, "Guitar 3": 48}
BARS = 32
BAD = range(16, 32)  # beats: bars 5 to 8
FORM = (("Verse 1", 1), ("Chorus 1", 9), ("Verse 2", 17), ("Chorus 2", 25))


def line(part, beat):
    """Return the pitch of a part at a beat: up and down the scale, each part in its own way."""
    step = beat * (2 + list(BASES).index(part)) % 7
    return BASES[part] + MAJOR[step]


def band(change=None, beats=range(4 * BARS), part="Guitar 2", **about):
    """Return the song, with `change` (pitch, onset) -> (pitch, onset) made to a part's beats."""
    rows = []
    for beat in range(4 * BARS):
        for name in BASES:
            place = line(name, beat), float(beat)
            if change and name == part and beat in beats:
                place = change(*place)
            rows.append((name, place[0], place[1], 0.75))
    return song(*rows, key="C major", **about)


def found(music, kinds=NEW, **limits):
    """Return kind, parts, first and last measure of the departures."""
    table = find_clashes(music, kinds, Limits(**limits))
    end = np.ceil((table["onset"] + table["duration"]) / 4 - 1e-6).astype(int)
    return list(zip(table["kind"], table["parts"], table["measure"], end, strict=True))


def octave_up(pitch, onset):
    """Return the note an octave higher."""
    return pitch + 12, onset


def semitone_up(pitch, onset):
    """Return the note a semitone higher."""
    return pitch + 1, onset


def late(pitch, onset):
    """Return the note a sixteenth later."""
    return pitch, onset + 0.25


def test_nobody_departs():
    """All do the same all the time."""
    assert found(band()) == []


@pytest.mark.parametrize(
    ("change", "kind", "value", "says"),
    [
        (octave_up, "register", 2.6, "In measures 5 to 8 Guitar 2 plays about an octave above "
         "where it lives in the rest of the song."),
        (semitone_up, "scale", 0.6, "(C#, Eb, F#, Ab, Bb) is foreign to the scale of the others"),
        (late, "grid", 1.0, "100% of the attacks of Guitar 2 miss the others' by a sixteenth or "
         "less; in the rest of the song 0% do."),
    ],
)  # fmt: skip
def test_four_bars_of_one_part(change, kind, value, says):
    """Each damage is one departure: the bars, the part, the notes and the words are right.

    An octave: 12 semitones from its median and from the others', 12 from the bars before and
    after, each over four semitones and what is usual, here little: 12 / 4 = 3 at most. A semitone
    up, the notes on C#, Eb, F#, Ab and Bb are foreign, those on C and F are not. Late, all miss.
    """
    music = band(change, BAD)
    assert found(music) == [(kind, "Guitar 2", 5, 8)]
    finding = find_clashes(music, NEW).iloc[0]
    assert finding["value"] == pytest.approx(value, abs=0.45)
    assert says in finding["why"]
    notes = music.notes.loc[list(finding["notes"])]
    assert set(notes["part"]) == {"Guitar 2"}
    assert notes["onset"].between(16, 32).all()
    foreign = ~np.isin(music.notes["pitch"] % 12, MAJOR)
    expected = {"scale": int(foreign.sum())}.get(kind, 16)
    assert len(notes) == expected


def test_what_it_does_throughout_is_a_habit():
    """A part that is always an octave higher, always late or always in another key departs from
    nothing.
    """
    for change in (octave_up, semitone_up, late):
        assert found(band(change)) == []


def test_a_whole_section_is_arranged_so():
    """Guitar 2 goes up for both choruses of eight bars: no departure; for half a chorus it is one;
    where nobody named the sections, a chorus is one too.
    """
    choruses = [*range(32, 64), *range(96, 128)]
    assert found(band(octave_up, choruses, sections=FORM)) == []
    assert found(band(octave_up, range(32, 48), sections=FORM)) == [("register", "Guitar 2", 9, 12)]
    unnamed = tuple((f"Part {number}", first) for number, (_, first) in enumerate(FORM))
    assert found(band(octave_up, range(32, 64), sections=unnamed))[0][:2] == (
        "register", "Guitar 2",
    )  # fmt: skip


def test_another_recorded_layer_has_a_register_of_its_own():
    """Guitar 2 plays a layer that lies an octave higher in Verse 2: no departure. What goes
    up in the middle of one layer is one.
    """
    names = [(f"Verse {n}", 4 * n - 3) for n in range(1, BARS // 4 + 1)]
    music = band(octave_up, BAD, sections=names)
    assert [kind for kind, *_ in found(music)] == ["register"]
    for name, _ in names:
        layer = "High hook" if name == "Verse 2" else "Strum"
        music = with_setup(music, "Guitar 2", name, layers=layer)
    assert found(music) == []
    whole = [(names[0][0], 1)]
    one = with_setup(band(octave_up, BAD, sections=whole), "Guitar 2", whole[0][0], layers="Strum")
    assert [kind for kind, *_ in found(one)] == ["register"]


def test_eight_bars_are_one_departure():
    """Two stretches that touch, equally high, are joined."""
    assert found(band(octave_up, range(16, 48)), ["register"]) == [("register", "Guitar 2", 5, 12)]


def test_all_modulate_together():
    """If the others go up a semitone too, Guitar 2 stays in their scale: there is nothing."""
    rows = [
        (name, line(name, beat) + (beat in BAD), float(beat), 0.75)
        for beat in range(4 * BARS)
        for name in BASES
    ]
    assert found(song(*rows)) == []


def test_chord_symbols_are_part_of_the_scale():
    """Alone, a part is foreign to nothing; with chord symbols of C major it is foreign to these."""
    rows = [("Guitar 2", line("Guitar 2", beat) + (beat in BAD), float(beat), 0.75)
            for beat in range(4 * BARS)]  # fmt: skip
    assert found(song(*rows)) == []
    chords = [(8.0 * n, (0, 5, 7, 9)[n % 4], "minor" if n % 4 == 3 else "major", None)
              for n in range(BARS // 2)]  # fmt: skip
    assert found(song(*rows, chords=chords)) == [("scale", "Guitar 2", 5, 8)]


def test_drums_give_the_grid_and_have_no_register():
    """A guitar alone with drums on the beats is late beside them, and the drums beside the guitar:
    nobody can say who is; neither register nor scale is asked of drums.
    """
    rows = [("Guitar 1", 60, beat + 0.25 * (beat in BAD), 0.5) for beat in range(4 * BARS)]
    hits = [("Drums", float("nan"), float(beat), 0.5) for beat in range(4 * BARS)]
    kinds = {(kind, parts) for kind, parts, *_ in found(song(*rows, *hits))}
    assert kinds == {("grid", "Guitar 1"), ("grid", "Drums")}


def test_short_sparse_and_empty_songs_have_none():
    """Under three stretches nothing departs; a part of few notes has no habits; silence neither."""
    rows = [(name, line(name, beat) + 12 * (beat > 3), float(beat), 1.0)
            for beat in range(8) for name in BASES]  # fmt: skip
    assert found(song(*rows)) == []
    assert found(song(bars=40, parts=("Guitar 1",))) == []
    lonely = [("Guitar 1", 60, 0.0, 1.0), ("Guitar 1", 84, 100.0, 1.0)]
    assert found(song(*lonely)) == []


def test_only_the_parts_asked_for():
    """``asked`` leaves out the departures of others, and counts their notes all the same."""
    music = band(semitone_up, BAD)
    limits = Limits()
    assert KINDS["scale"].find(Scene(music, asked=["Guitar 1"]), limits) == []
    assert len(KINDS["scale"].find(Scene(music, asked=["Guitar 2"]), limits)) == 1


def test_the_octave_back_ends_it():
    """The smallest move of a register departure is tried on the whole song."""
    music = band(octave_up, BAD)
    moves = smallest_moves(music, find_clashes(music, ["register"]).iloc[0])
    assert moves["move"].iloc[0].startswith("an octave lower")


def test_missing_attacks_by_a_slow_count():
    """Attacks at random: one misses if none of the others' is within 30 ms, but one within a
    sixteenth.
    """
    random = np.random.default_rng(4)
    rows = [(name, 60, at, 0.1) for name in BASES
            for at in np.unique(np.round(random.uniform(0, 60, 90), 2))]  # fmt: skip
    attacks = Scene(song(*rows)).attacks
    for part in range(3):
        others = [at for other in range(3) if other != part for at in attacks[other].onset]
        expected = [
            min(abs(own - at) for at in others) > 0.03 + 1e-6
            and min(abs(own - at) for at in others) <= 0.25 + 1e-6
            for own in attacks[part].onset
        ]
        assert _missing(attacks, part).tolist() == expected


def test_stretches_by_a_slow_count():
    """Notes held over bar lines, cut by hand: the time and height of each bar, and sums of four."""
    random = np.random.default_rng(7)
    part, pitch = random.integers(0, 2, 60), random.integers(40, 80, 60).astype(float)
    onset, length = random.uniform(0, 60, 60), random.uniform(0.1, 9, 60)
    bars = (np.arange(16) * 4.0, np.full(16, 4.0))
    stretches = stretches_of(bars, (part, pitch, onset, onset + length), 2)
    time, height = np.zeros((2, 2, 16))
    for own, tone, begin, end in zip(part, pitch, onset, onset + length, strict=True):
        for bar in range(16):
            stop = 4 * bar + 4 if bar < 15 else np.inf
            inside = max(0.0, min(end, stop) - max(begin, 4 * bar))
            time[own, bar] += inside
            height[own, bar] += inside * tone
    np.testing.assert_allclose(stretches.time, time)
    np.testing.assert_allclose(stretches.height, height)
    np.testing.assert_allclose(stretches.classes.sum(axis=1), time)
    assert stretches.bars == 4
    slow = [[row[first : first + 4].sum() for first in range(13)] for row in time]
    np.testing.assert_allclose(stretches.total(time), slow)
    wide = [[row[max(first - 2, 0) : first + 6].sum() for first in range(13)] for row in time]
    np.testing.assert_allclose(stretches.total(time, 2), wide)


def test_the_foreign_share_by_a_slow_count():
    """Notes at random: each counts by how far its pitch class stays below a twelfth of what the
    others sound in the stretch and two bars around.
    """
    random = np.random.default_rng(9)
    pitches = random.integers(50, 62, (3, 96)).tolist()
    rows = [
        (name, pitch, float(at), 1.0)
        for name, own in zip(BASES, pitches, strict=True)
        for at, pitch in enumerate(own)
    ]
    stretches = Scene(song(*rows, parts=parts_of(*BASES, family="keys"))).stretches
    for part, name in enumerate(BASES):
        _, share = _foreign(stretches, stretches.classes.sum(axis=0), part)
        for first in (0, 7, 20):
            begin, end = 4 * first, 4 * first + 16
            others = np.zeros(12)
            for whose, pitch, at, _ in rows:
                if whose != name and begin - 8 <= at < end + 8:
                    others[pitch % 12] += 1
            own = [
                pitch % 12 for whose, pitch, at, _ in rows if whose == name and begin <= at < end
            ]
            counted = [max(0.0, 1 - 12 * others[each] / others.sum()) for each in own]
            assert share[first] == pytest.approx(np.mean(counted))
