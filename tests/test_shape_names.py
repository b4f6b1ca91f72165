"""Shapes named: against music21 and mir_eval, there and back, and as players call them."""

import itertools

import mir_eval
import music21
import numpy as np
import pytest

from arrange.errors import ArrangeError
from arrange.guitar.hands import Hand, hold_shapes
from arrange.guitar.necks import LEFT_OUT, TUNINGS, Neck, format_shape, parse_shape, shape_pitches
from arrange.guitar.shape_names import chord_readings, name_shape
from arrange.guitar.voicings import Tones, find_voicings
from arrange.theory.chord_members import degree, members_of, note_in_octave
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import note_above
from arrange.theory.pitch import parse_pitch_class

# suffix: members, the name in music21's Chord.commonName, the label in mir_eval.chord
KINDS = {
    "": ((0, 4, 7), "major triad", "maj"),
    "m": ((0, 3, 7), "minor triad", "min"),
    "dim": ((0, 3, 6), "diminished triad", "dim"),
    "7": ((0, 4, 7, 10), "dominant seventh chord", "7"),
    "maj7": ((0, 4, 7, 11), "major seventh chord", "maj7"),
    "m7": ((0, 3, 7, 10), "minor seventh chord", "min7"),
    "m7b5": ((0, 3, 6, 10), "half-diminished seventh chord", "hdim7"),
    "m(maj7)": ((0, 3, 7, 11), "minor-augmented tetrachord", "minmaj7"),
}
# Symmetrical: every member may be the root, so that only the root position has one name.
SYMMETRICAL = {
    "+": ((0, 4, 8), "augmented triad", "aug"),
    "dim7": ((0, 3, 6, 9), "diminished seventh chord", "dim7"),
}


def inversions(members):
    """Close positions with each member in the bass, and each with a member doubled above."""
    for turn in range(len(members)):
        close = [*members[turn:], *(member + 12 for member in members[:turn])]
        yield turn, close
        for doubled in members:
            yield turn, [*close, doubled + 24]


@pytest.mark.sampled
@pytest.mark.parametrize("suffix", KINDS)
def test_music21_names_the_same_chord(suffix):
    """Root, inversion and kind of triads and sevenths on twelve roots, in all inversions and
    doublings. music21 distinguishes chords by their spelling, so it is given our spelling. Its
    sixth chords are inverted sevenths, where we follow the bass: for m7 and m7b5 our first
    reading may be the sixth chord, and the reading on music21's root is compared."""
    members, common, _ = KINDS[suffix]
    count = 0
    for root in range(12):
        for turn, offsets in inversions(members):
            pitches = sorted(48 + root + offset for offset in offsets)
            readings = chord_readings(pitches)
            wanted = [r for r in readings if parse_pitch_class(r.chord.root) == root]
            reading = next(r for r in wanted if r.symbol.split("/")[0] == r.chord.root + suffix)
            if suffix not in ("m7", "m7b5"):
                assert reading is readings[0]
            assert not reading.left_out
            names = list(note_names(reading, pitches))
            chord = music21.chord.Chord(names)
            assert parse_pitch_class(chord.root().name.replace("-", "b")) == root
            assert chord.inversion() == reading.inversion == turn
            assert chord.commonName == common
            count += 1
    assert count == 12 * len(members) * (len(members) + 1)


def test_a_note_of_too_many_accidentals_has_the_name_of_the_root_s_key():
    """The raised fifth of B#, F with three sharps, is G# and not Ab."""
    assert note_above("B#", 5, 8) == "G#"


def note_names(reading, pitches):
    """The notes spelled as degrees of the root, double flats and all, as music21 writes names."""
    root = reading.chord.root
    members = members_of(reading.chord)
    for pitch in pitches:
        member = (pitch - parse_pitch_class(root)) % 12
        note = note_above(root, degree(members[member]), member)
        yield note_in_octave(note, pitch).replace("b", "-")


@pytest.mark.parametrize("suffix", [*KINDS, *SYMMETRICAL])
def test_mir_eval_labels_the_same_notes(suffix):
    """The label in Harte's syntax (ISMIR 2005), encoded by mir_eval.chord, has our pitch classes
    and our bass."""
    members, _, label = (KINDS | SYMMETRICAL)[suffix]
    for root, (turn, offsets) in itertools.product(range(12), inversions(members)):
        pitches = [48 + root + offset for offset in offsets]
        readings = chord_readings(pitches)
        reading = next(r for r in readings if parse_pitch_class(r.chord.root) == root)
        own = ["1", "b3" if 3 in members else "3"]
        own.append({6: "b5", 7: "5", 8: "#5"}[members[2]])
        own += [{9: "bb7", 10: "b7", 11: "7"}[members[3]]] if len(members) == 4 else []
        text = f"{reading.chord.root}:{label}/{own[turn]}"
        label_root, bitmap, bass = mir_eval.chord.encode(text)
        assert label_root == root
        assert {(root + int(i)) % 12 for i in np.flatnonzero(bitmap)} == {p % 12 for p in pitches}
        assert (root + bass) % 12 == pitches[0] % 12
        assert reading.members[0] == own[turn]


@pytest.mark.sampled
@pytest.mark.parametrize("tuning", TUNINGS)
def test_a_name_leads_back_to_the_shape(tuning):
    """Naming, finding all voicings of the name, and naming again is the identity: 20 playable
    shapes on each tuning."""
    random = np.random.default_rng(len(tuning))
    neck = Neck(tuning, capo=int(random.integers(0, 3)))
    base = random.integers(neck.capo, 14, 400)[:, None]
    shapes = base + random.integers(0, 4, (400, neck.strings))
    kind = random.random(shapes.shape)
    shapes = np.where(kind < 0.3, LEFT_OUT, np.where(kind < 0.45, neck.capo, shapes))
    if neck.short_string:
        shapes[:, neck.short_string - 1] = neck.capo
    shapes = shapes[hold_shapes(shapes, neck, Hand()).playable]
    tried = 0
    for shape in map(tuple, shapes.tolist()):
        named = name_shape(shape, neck)
        if not named.readings or tried == 20:
            continue
        tried += 1
        best = named.readings[0]
        assert parse_chord(best.symbol) is not None
        out = [name for name in best.left_out if name in ("5",)]
        strings = [s + 1 for s, fret in enumerate(shape) if fret != LEFT_OUT]
        held = [fret for fret in shape if fret != LEFT_OUT]
        found = find_voicings(best.symbol, neck, strings=strings, frets=(min(held), max(held)),
                              tones=Tones(leave_out=out))  # fmt: skip
        assert shape in set(found["frets"]), (format_shape(shape), best)
        assert name_shape(shape, neck).readings[0].symbol == best.symbol
    assert tried == 20


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("x32010", "C, root position, root and third doubled"),
        ("200232", "D/F#, first inversion, root, third and fifth doubled"),
        ("x02213", "Am7, root position, root doubled"),
        ("x3434x", "Cm7b5, root position"),
        ("8x998x", "Cmaj7, root position"),
        ("x32333", "C9, root position"),
        ("x32030", "Cadd9, root position, third doubled"),
        ("x7678x", "E7(#9), root position, no fifth"),
        ("133xxx", "F5, root position, root doubled"),
        ("xx0230", "Dsus2, root position, root doubled"),
        ("002200", "Esus4, root position, root and fourth doubled"),
        ("x32310", "C7, root position, no fifth, root and third doubled"),
        ("xxx000", "Em/G, first inversion"),
        ("xxx5xx", "C"),
        ("x7x9xx", "E in octaves"),
        ("xxx9x8", "minor sixth E4 C5"),
        ("xxxxxx", "no string sounds"),
    ],
)
def test_what_players_call_it(text, expected):
    """Well-known shapes (common practice)."""
    assert str(name_shape(text)).split(": ")[-1] == expected


def test_octave_and_power_shapes():
    """Octaves lie two strings and two frets up from strings 6 and 5, two strings and three frets
    up from 4 and 3; a power chord with its octave on 4-3-2 lies at n, n+2, n+3; one fret across
    4-3-2 is a second-inversion major triad with its root on string 3 (common practice)."""
    neck = Neck()
    for fret in range(1, 12):
        for string, up in ((6, 2), (5, 2), (4, 3), (3, 3)):
            shape = [LEFT_OUT] * 6
            shape[string - 1], shape[string - 3] = fret, fret + up
            low, high = sorted(shape_pitches(shape, neck))
            assert high - low == 12
            assert name_shape(tuple(shape)).name.endswith("in octaves")
        power = (LEFT_OUT, fret + 3, fret + 2, fret, LEFT_OUT, LEFT_OUT)
        best = name_shape(power).readings[0]
        assert (best.chord.kind, best.members) == ("power", ("1", "5", "1"))
        across = (LEFT_OUT, fret, fret, fret, LEFT_OUT, LEFT_OUT)
        best = name_shape(across).readings[0]
        assert (best.chord.kind, best.inversion) == ("major", 2)
        assert parse_pitch_class(best.chord.root) == (neck.tuning[2] + fret) % 12


def test_with_a_capo_both_names_are_given():
    """A capo at c with open shapes sounds c semitones up (common practice)."""
    for capo in range(1, 8):
        neck = Neck(capo=capo)
        for text, symbol in (
            ("x32010", "C"),
            ("022100", "E"),
            ("x02210", "Am"),
            ("200232", "D/F#"),
        ):
            plain = parse_shape(text, Neck())
            moved = tuple(fret + capo if fret != LEFT_OUT else fret for fret in plain)
            best = name_shape(moved, neck).readings[0]
            assert best.shape_of == symbol
            root = parse_pitch_class(parse_chord(symbol).root)
            assert parse_pitch_class(best.chord.root) == (root + capo) % 12
    assert str(name_shape("133211", Neck(capo=1)).readings[0]).startswith("sounds F, shape of E, ")


def test_shapes_off_the_neck():
    """As ``parse_shape`` says."""
    with pytest.raises(ArrangeError, match="has 3 strings"):
        name_shape("x32")
    with pytest.raises(ArrangeError, match="fret 1 on string"):
        name_shape("133211", Neck(capo=2))
