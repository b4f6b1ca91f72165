"""Chord symbols as players write them: spellings, numbers, errors, and writing them again.

Which spelling means which chord is common practice; the kinds and their members are MusicXML
4.0's. Outside checks by pitch classes and bass: mir_eval's labels after Harte, music21's harmony
and roman numerals, and the LilyPond test suite's 71f, read through the package.
"""

import itertools
from pathlib import Path

import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scores import harmony, note, read_text, score

import arrange as ar
from arrange.errors import ArrangeError, ChordError
from arrange.theory.chord_symbols import (
    _known_suffixes,
    number_parts,
    parse_chord,
    parse_number_chord,
    settled_chord,
)
from arrange.theory.chords import (
    KINDS,
    Chord,
    Degree,
    chord_intervals,
    chord_number,
    chord_suffix,
    chord_symbol,
    normal_chord,
)
from arrange.theory.pitch import key_name, parse_pitch_class, pitch_class_name

MUSIC21 = Path(music21.__file__).parent

# Our spelling: kind, members above the root, and the other spellings. Common practice, worked
# by hand.
SPELLINGS = {
    "": ("major", {0, 4, 7}, "maj M ma major Maj MAJ"),
    "m": ("minor", {0, 3, 7}, "min - mi minor MIN Min −"),
    "5": ("power", {0, 7}, ""),
    "dim": ("diminished", {0, 3, 6}, "° o º diminished m(b5) mb5 -(b5)"),
    "+": ("augmented", {0, 4, 8}, "aug (#5) +5 augmented maj#5"),
    "7": ("dominant", {0, 4, 7, 10}, "dom7 (b7) add7 add(b7)"),
    "maj7": ("major-seventh", {0, 4, 7, 11}, "M7 Δ Δ7 ma7 j7 Maj7 MAJ7 major7 ∆7 (maj7) (M7)"),
    "m7": ("minor-seventh", {0, 3, 7, 10}, "min7 -7 mi7 minor7 –7"),
    "m7b5": ("half-diminished", {0, 3, 6, 10}, "ø ø7 Ø -7b5 m7(b5) min7b5 m7-5 m7♭5 hdim7"),
    "dim7": ("diminished-seventh", {0, 3, 6, 9}, "°7 o7 diminished7 m6b5"),
    "+7": ("augmented-seventh", {0, 4, 8, 10}, "aug7 7#5 7(#5) 7+5 7♯5 +(b7)"),
    "m(maj7)": ("major-minor", {0, 3, 7, 11}, "mM7 -Δ7 -Δ mmaj7 m(M7) minmaj7 m(Δ) m/maj7 m#7"),
    "m(maj9)": ("major-minor", {0, 3, 7, 11, 2}, "mM9 -Δ9 m(maj7)add9 mmaj9"),
    "6": ("major-sixth", {0, 4, 7, 9}, "maj6 M6 add6 (6)"),
    "m6": ("minor-sixth", {0, 3, 7, 9}, "min6 -6 madd6"),
    "6/9": ("major-sixth", {0, 4, 7, 9, 2}, "69 6add9 6(9) 6/add9 6(add9) add6add9"),
    "m6/9": ("minor-sixth", {0, 3, 7, 9, 2}, "m69 -6/9 min6add9 m6(9)"),
    "9": ("dominant-ninth", {0, 4, 7, 10, 2}, "7add9 7(9) 7/9 dom9"),
    "maj9": ("major-ninth", {0, 4, 7, 11, 2}, "M9 Δ9 ma9 maj7(9) maj7add9 j9"),
    "m9": ("minor-ninth", {0, 3, 7, 10, 2}, "min9 -9 m7(9) m7/9"),
    "11": ("dominant-11th", {0, 4, 7, 10, 2, 5}, "9add11 9(11) dom11"),
    "maj11": ("major-11th", {0, 4, 7, 11, 2, 5}, "M11 Δ11"),
    "m11": ("minor-11th", {0, 3, 7, 10, 2, 5}, "min11 -11 m9(11)"),
    "13": ("dominant-13th", {0, 4, 7, 10, 2, 5, 9}, "11add13 dom13"),
    "maj13": ("major-13th", {0, 4, 7, 11, 2, 5, 9}, "M13 Δ13"),
    "m13": ("minor-13th", {0, 3, 7, 10, 2, 5, 9}, "min13 -13"),
    "sus2": ("suspended-second", {0, 2, 7}, "(sus2)"),
    "sus4": ("suspended-fourth", {0, 5, 7}, "sus (sus) (sus4)"),
    "sus2add4": ("suspended-second", {0, 2, 5, 7}, "sus2sus4 sus24 sus2/4 sus4add2"),
    "7sus4": ("suspended-fourth", {0, 5, 7, 10}, "7sus 7(sus4) m7sus4 7(sus)"),
    "7sus2": ("suspended-second", {0, 2, 7, 10}, "m7sus2"),
    "maj7sus4": ("suspended-fourth", {0, 5, 7, 11}, "M7sus Δsus4"),
    "9sus4": ("suspended-fourth", {0, 5, 7, 10, 2}, "9sus 11sus 7sus4add9 9(sus4) 11sus4"),
    "13sus4": ("suspended-fourth", {0, 5, 7, 10, 2, 9}, "13sus 9sus4add13"),
    "6sus4": ("suspended-fourth", {0, 5, 7, 9}, "6sus"),
    "7sus4(b9)": ("suspended-fourth", {0, 5, 7, 10, 1}, "7sus4b9 7b9sus4 7(b9)sus 7(sus4,b9)"),
    "add2": ("major", {0, 4, 7, 2}, "(add2) (2)"),
    "add4": ("major", {0, 4, 7, 5}, "(add4)"),
    "add9": ("major", {0, 4, 7, 2}, "(add9) add(9) (9) majadd9"),
    "add11": ("major", {0, 4, 7, 5}, "(add11)"),
    "add13": ("major", {0, 4, 7, 9}, "(add13)"),
    "(#11)": ("major", {0, 4, 7, 6}, "add#11 (add#11)"),
    "madd9": ("minor", {0, 3, 7, 2}, "m(add9) -add9 m(9) minadd9"),
    "m7add11": ("minor-seventh", {0, 3, 7, 10, 5}, "m7(11) -7add11 m7/11"),
    "7add13": ("dominant", {0, 4, 7, 10, 9}, "7(13) 7/13 7(add13)"),
    "no3": ("major", {0, 7}, "(no3) omit3 (omit3) no3rd"),
    "no5": ("major", {0, 4}, "(no5) omit5"),
    "no1": ("major", {4, 7}, "(no1)"),
    "7no5": ("dominant", {0, 4, 10}, "7(no5) 7omit5"),
    "9no3": ("dominant-ninth", {0, 7, 10, 2}, "9(no3)"),
    "add9no3": ("major", {0, 7, 2}, "(no3)add9 add9(no3) (add9,no3)"),
    "(b5)": ("major", {0, 4, 6}, "-5 majb5 M(b5)"),
    "7(b5)": ("dominant", {0, 4, 6, 10}, "7b5 7-5 7♭5"),
    "7(b9)": ("dominant", {0, 4, 7, 10, 1}, "7b9 7-9 7♭9 7(♭9) 7/b9 9b9 7addb9"),
    "7(#9)": ("dominant", {0, 4, 7, 10, 3}, "7#9 7+9 7♯9 7(♯9)"),
    "7(#11)": ("dominant", {0, 4, 7, 10, 6}, "7#11 7+11"),
    "7(b13)": ("dominant", {0, 4, 7, 10, 8}, "7b13 7-13"),
    "7(#5,b9)": (
        "dominant",
        {0, 4, 8, 10, 1},
        "7(b9,#5) 7#5b9 7b9#5 7(b9#5) 7(b9/#5) +7b9 aug7(b9)",
    ),
    "7(#5,#9)": ("dominant", {0, 4, 8, 10, 3}, "7#5#9 +7#9 7(#9,#5) 7(#9;#5)"),
    "7(b5,b9)": ("dominant", {0, 4, 6, 10, 1}, "7b5b9 7(b9,b5)"),
    "7(b9,#9)": ("dominant", {0, 4, 7, 10, 1, 3}, "7b9#9 7(#9,b9)"),
    "7alt": ("dominant", {0, 4, 10, 1, 3, 6, 8}, "alt 7(alt)"),
    "9(b5)": ("dominant-ninth", {0, 4, 6, 10, 2}, "9b5 9-5"),
    "9(#5)": ("dominant-ninth", {0, 4, 8, 10, 2}, "9#5 +9 aug9"),
    "9(#11)": ("dominant-ninth", {0, 4, 7, 10, 2, 6}, "9#11 9+11"),
    "13(b9)": ("dominant-13th", {0, 4, 7, 10, 1, 5, 9}, "13b9"),
    "13(#11)": ("dominant-13th", {0, 4, 7, 10, 2, 6, 9}, "13#11"),
    "maj7(#11)": ("major-seventh", {0, 4, 7, 11, 6}, "maj7#11 M7#11 Δ7#11 Δ#11"),
    "maj7(#5)": ("major-seventh", {0, 4, 8, 11}, "maj7#5 +maj7 augmaj7 +M7 +(maj7) +Δ"),
    "maj7(b5)": ("major-seventh", {0, 4, 6, 11}, "maj7b5 M7-5"),
    "maj9(#11)": ("major-ninth", {0, 4, 7, 11, 2, 6}, "maj9#11"),
    "m9(b5)": ("minor-ninth", {0, 3, 6, 10, 2}, "m9b5 ø9 -9b5 m7b5add9"),
    "m11(b5)": ("minor-11th", {0, 3, 6, 10, 2, 5}, "m11b5 ø11"),
    "dim(maj7)": ("diminished", {0, 3, 6, 11}, "°Δ7 °(maj7) dimmaj7 °M7 m(maj7)b5"),
    "m(b6)": ("minor", {0, 3, 7, 8}, "mb6 m(addb6)"),
    "?": ("other", {0}, ""),
    "(pedal)": ("pedal", {0}, "pedal ped"),
    "(N6)": ("Neapolitan", {1, 5, 8}, "N6"),
    "(It+6)": ("Italian", {0, 6, 8}, "It+6"),
    "(Fr+6)": ("French", {0, 2, 6, 8}, "Fr+6"),
    "(Ger+6)": ("German", {0, 3, 6, 8}, "Ger+6"),
    "(Tristan)": ("Tristan", {0, 3, 6, 10}, "Tristan"),
}
ALL_SPELLINGS = [
    (ours, spelling)
    for ours, (_, _, others) in SPELLINGS.items()
    for spelling in [ours, *others.split()]
]

LETTERS = [letter + signs for letter in "ABCDEFG" for signs in ("", "b", "#", "bb", "##")]


def classes(chord):
    """Return the pitch classes of a chord."""
    root = parse_pitch_class(chord.root)
    return {(root + above) % 12 for above in chord_intervals(chord.kind, chord.degrees)}


def bass_class(chord):
    return parse_pitch_class(chord.bass or chord.root)


# Letters


@pytest.mark.parametrize(("ours", "spelling"), ALL_SPELLINGS)
def test_spellings(ours, spelling):
    """Every usual spelling gives the same chord, and our spelling of it (common practice)."""
    kind, members, _ = SPELLINGS[ours]
    chord = parse_chord("C" + spelling)
    assert (chord.kind, classes(chord)) == (kind, members)
    assert chord == parse_chord("C" + ours)
    assert chord_symbol(chord) == "C" + ours


def test_all_kinds_are_spelled():
    """All 33 kinds of MusicXML 4.0 are spelled: the 32 that have a root above, and no chord."""
    kinds = {kind for kind, _, _ in SPELLINGS.values()} | {parse_chord("N.C.").kind}
    assert kinds == set(KINDS)


@pytest.mark.parametrize("root", LETTERS)
def test_roots_and_basses(root):
    """Any accidentals, single and double, behind any kind and over any bass."""
    for ours, bass in itertools.product(SPELLINGS, ("", "D", "Gb", "A##")):
        text = root + ours + ("/" + bass if bass else "")
        chord = parse_chord(text)
        assert (chord.root, chord.kind) == (root, SPELLINGS[ours][0])
        is_named = bass and parse_pitch_class(bass) != parse_pitch_class(root)
        assert chord.bass == (bass if is_named else "")
        assert chord_symbol(chord) == (text if is_named or not bass else root + ours)


@pytest.mark.parametrize(
    "text", ["N.C.", "NC", "N.C", "n.c.", "nc", "no chord", "No Chord", " NC "]
)
def test_no_chord(text):
    """These texts say that nobody plays chords (common practice)."""
    assert parse_chord(text) == Chord("", "none")
    assert parse_number_chord(text, "D major") == Chord("", "none")
    assert chord_symbol(parse_chord(text)) == "N.C."


@pytest.mark.parametrize(
    ("text", "symbol"),
    [
        ("Eb5", "Eb5"),  # E flat's power chord, not E's flat five
        ("E(b5)", "E(b5)"),
        ("C#9", "C#9"),
        ("Bb", "Bb"),
        ("Bbb7", "Bbb7"),
        ("C#b5", "C#(b5)"),
        ("B♭m7♭5", "Bbm7b5"),
        ("F♯m7/C♯", "F#m7/C#"),
        ("E𝄫7", "Ebb7"),
        ("F𝄪m", "F##m"),
        ("CM7", "Cmaj7"),  # case counts
        ("Cm7", "Cm7"),
        ("CM", "C"),
        ("Cm", "Cm"),
        ("C-7", "Cm7"),  # minor behind the root, flat behind a seventh
        ("C7-9", "C7(b9)"),
        ("C-9", "Cm9"),
        ("C-5", "C(b5)"),
        ("C+7", "C+7"),
        ("C6/9", "C6/9"),  # not a bass
        ("C6/9/E", "C6/9/E"),
        ("C6/E", "C6/E"),
        ("C7/9", "C9"),
        ("C7/G", "C7/G"),
        ("C/C", "C"),  # a bass that is the root is not written
        ("Cmadd9", "Cmadd9"),  # not "ma" and "dd9"
        ("Comit3", "Cno3"),  # not "o" and "mit3"
        ("Dmaj7/F#", "Dmaj7/F#"),
        ("Cdim(b5)", "Cdim"),  # what the kind holds anyway
        (" Am7 ", "Am7"),
    ],
)
def test_what_could_mean_two_things(text, symbol):
    """Ambiguous symbols are read by common practice, as the module says."""
    assert chord_symbol(parse_chord(text)) == symbol


def test_members_start_with_the_root_and_rise():
    """The order of the table's pitch classes: root first, then upwards."""
    for ours in SPELLINGS:
        chord = parse_chord("C" + ours)
        intervals = chord_intervals(chord.kind, chord.degrees)
        assert intervals == sorted(set(intervals))
        assert intervals[0] == 0 or ours in ("(N6)", "no1")
        assert len({above % 12 for above in intervals}) == len(intervals)


# Back again

DEGREE = st.builds(
    Degree, st.integers(1, 13), st.integers(-2, 2), st.sampled_from(["add", "alter", "subtract"])
)
CHORD = st.builds(
    Chord,
    st.sampled_from(LETTERS),
    st.sampled_from([kind for kind in KINDS if kind != "none"]),
    st.sampled_from(["", *LETTERS]),
    st.lists(DEGREE, max_size=6).map(tuple),
    st.integers(0, 4),
    st.none() | st.text(max_size=8),
)


@given(CHORD)
@settings(max_examples=200)
def test_symbols_read_back(chord):
    """Writing and reading give the same chord; its normal form has its pitch classes."""
    normal = normal_chord(chord)
    assert classes(normal) == classes(chord)
    assert normal_chord(normal) == normal
    assert settled_chord(normal) == settled_chord(chord)
    assert parse_chord(chord_symbol(normal)) == settled_chord(chord)
    assert chord_symbol(parse_chord(chord_symbol(normal))) == chord_symbol(settled_chord(chord))


def test_one_degree_of_every_sort():
    """The same for each kind with each single degree, whatever hypothesis draws."""
    for kind, value, alter, how in itertools.product(
        KINDS, range(1, 14), (-1, 0, 1), ("add", "alter", "subtract")
    ):
        if kind != "none":
            chord = Chord("C", kind, degrees=(Degree(value, alter, how),))
            normal = normal_chord(chord)
            assert classes(normal) == classes(chord)
            assert parse_chord(chord_symbol(chord)) == normal


@pytest.mark.parametrize(
    ("written", "symbol"),
    [
        (("dominant", (9, -1, "add")), "C7(b9)"),
        (("dominant", (9, -1, "alter")), "C7(b9)"),
        (("dominant-ninth", (9, -1, "alter")), "C7(b9)"),
        (("minor-seventh", (5, -1, "alter")), "Cm7b5"),
        (("diminished", (7, 0, "add")), "Cm7b5"),
        (("diminished-seventh", (7, 1, "alter")), "Cm7b5"),
        (("dominant", (3, 0, "subtract"), (4, 0, "add")), "C7sus4"),
        (("dominant", (3, 1, "alter")), "C7sus4"),
        (("suspended-fourth", (7, 0, "add")), "C7sus4"),
        (("major", (5, 1, "alter")), "C+"),
        (("major", (7, 0, "add")), "C7"),
        (("major", (7, 1, "add")), "Cmaj7"),
        (("major", (9, 0, "add"), (6, 0, "add")), "C6/9"),
        (("dominant-13th", (11, 0, "subtract")), "C13no11"),
        (("dominant", (13, 0, "subtract")), "C7"),
        (("dominant-ninth", (9, 0, "subtract"), (9, 1, "add")), "C7(#9)"),
        (("dominant-ninth", (3, 1, "alter"), (9, -1, "add")), "C9sus4(addb9)"),
        (("half-diminished", (5, 0, "subtract")), "Cm7b5no5"),
        (("augmented", (3, 0, "subtract"), (10, 0, "add")), "C(pedal)(#5)add10"),
        (("other", (3, 0, "add"), (5, 0, "add")), "C"),
        (("major", (3, 0, "subtract"), (5, -1, "alter")), "C(b5)no3"),
        (("major", (12, 0, "add")), "C"),
    ],
)
def test_one_spelling_for_every_way_of_writing(written, symbol):
    """One chord written in several of MusicXML's ways gets one symbol. Worked by hand."""
    kind, *degrees = written
    chord = Chord("C", kind, degrees=tuple(Degree(*degree) for degree in degrees))
    assert chord_symbol(chord) == symbol
    assert parse_chord(symbol) == normal_chord(chord)


@pytest.mark.parametrize(
    ("chord", "symbol"),
    [
        (Chord("F#", "major", inversion=2), "F#/C#"),
        (Chord("G", "dominant", inversion=3), "G7/F"),
        (Chord("Cb", "minor", inversion=1), "Cbm/Ebb"),
        (Chord("C", "other", text="7alt"), "C7alt"),
        (Chord("C", "other", text="so what!"), "C?sowhat"),
        (Chord("C", "minor-seventh", text="-7"), "Cm7"),
    ],
)
def test_settled(chord, symbol):
    """An inversion becomes a bass; an "other" is what its text says, where that can be read."""
    settled = settled_chord(chord)
    assert chord_symbol(settled) == symbol
    assert parse_chord(chord_symbol(settled)) == settled


# As others have them


def test_every_chord_of_the_suite():
    """71f-AllChordTypes of the LilyPond test suite: 38 chords; each symbol reads back to the
    root, bass, kind, pitch classes and number that the table holds.
    """
    path = MUSIC21 / "musicxml/lilypondTestSuite/71f-AllChordTypes.xml"
    check_symbols(ar.read(path), 38)


def test_symbols_of_other_scores():
    """The same holds for two more scores that music21 brings."""
    check_symbols(ar.read(MUSIC21 / "corpus/demos/ComprehensiveChordSymbolsTestFile.mxl"), 55)
    foster = MUSIC21 / "corpus/leadSheet/fosterBrownHair.mxl"
    check_symbols(ar.read(foster, played=False), 40)


def check_symbols(song, count):
    assert len(song.chords) == count
    keys = song.measures.set_index("measure")["key"]
    for row in song.chords.itertuples():
        chord = parse_chord(row.symbol)
        assert chord_symbol(chord) == row.symbol
        assert (parse_pitch_class(chord.root), bass_class(chord)) == (row.root, row.bass)
        assert chord.kind == row.kind
        root = row.root
        intervals = chord_intervals(chord.kind, chord.degrees)
        assert tuple((root + above) % 12 for above in intervals) == row.pitch_classes
        if isinstance(row.degree, str):
            number = parse_number_chord(row.degree, keys[row.measure])
            assert (classes(number), bass_class(number)) == (set(row.pitch_classes), row.bass)


def degree_xml(value, alter, how):
    return (
        f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}</degree-alter>"
        f"<degree-type>{how}</degree-type></degree>"
    )


@pytest.mark.parametrize(
    ("kind", "more", "typed"),
    [
        ("dominant", degree_xml(9, -1, "add"), "C7b9"),
        ("dominant-ninth", degree_xml(9, -1, "alter"), "C7-9"),
        ("minor-seventh", degree_xml(5, -1, "alter"), "Cø"),
        ("half-diminished", "", "C-7b5"),
        ("suspended-fourth", degree_xml(7, 0, "add"), "C7sus"),
        ("dominant", degree_xml(4, 0, "add") + degree_xml(3, 0, "subtract"), "C7sus"),
        ("major", "<inversion>1</inversion>", "C/E"),
        ("major", "<bass><bass-step>E</bass-step></bass>", "CM/E"),
    ],
)
def test_a_score_and_a_hand_agree(tmp_path, kind, more, typed):
    """A chord from a score fills the table as the same chord typed does."""
    song = read_text(tmp_path, score([harmony("C", kind, more) + note("C4", 16)]))
    row = song.chords.iloc[0]
    chord = parse_chord(typed)
    assert row["symbol"] == chord_symbol(chord)
    assert row["kind"] == chord.kind
    assert row["bass"] == bass_class(chord)
    assert row["pitch_classes"] == tuple(
        above % 12 for above in chord_intervals(chord.kind, chord.degrees)
    )


# Our spelling: mir_eval's label behind the root. mir_eval's "maj11" is no quality of its own.
LABELS = {
    "": "maj",
    "m": "min",
    "+": "aug",
    "dim": "dim",
    "sus4": "sus4",
    "sus2": "sus2",
    "7": "7",
    "maj7": "maj7",
    "m7": "min7",
    "m(maj7)": "minmaj7",
    "6": "maj6",
    "m6": "min6",
    "dim7": "dim7",
    "m7b5": "hdim7",
    "maj9": "maj9",
    "m9": "min9",
    "9": "9",
    "m11": "min11",
    "11": "11",
    "maj13": "maj13",
    "m13": "min13",
    "13": "13",
    "(pedal)": "1",
    "5": "5",
    "+7": "aug(b7)",
    "maj11": "maj7(9,11)",
    "7(b9)": "7(b9)",
    "7(#9)": "7(#9)",
    "7(#11)": "7(#11)",
    "7(b13)": "7(b13)",
    "7(b5)": "7(*5,b5)",
    "7sus4": "sus4(b7)",
    "9sus4": "sus4(b7,9)",
    "7sus2": "sus2(b7)",
    "6/9": "maj6(9)",
    "m6/9": "min6(9)",
    "add9": "maj(9)",
    "madd9": "min(9)",
    "add11": "maj(11)",
    "m7add11": "min7(11)",
    "no3": "maj(*3)",
    "7no5": "7(*5)",
    "maj7(#11)": "maj7(#11)",
    "m(maj9)": "minmaj7(9)",
    "dim(maj7)": "dim(7)",
    "Tristan": "dim(b7)",
}
# An interval in mir_eval's labels for each semitone from root to bass.
OVER = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")


@pytest.mark.parametrize("ours", LABELS)
def test_members_agree_with_mir_eval(ours):
    """Pitch classes and bass of 46 kinds, on 12 roots, over each of 12 basses; mir_eval counts
    the bass as a member, so does the comparison.
    """
    labels = pytest.importorskip("mir_eval.chord")
    for root in (key_name(fifths).split()[0] for fifths in range(-5, 7)):
        for above, over in enumerate(OVER):
            label = f"{root}:{LABELS[ours]}/{over}"
            their_root, bitmap, their_bass = labels.encode(label, reduce_extended_chords=True)
            under = pitch_class_name(parse_pitch_class(root) + above)
            chord = parse_chord(f"{root}{ours}/{under}")
            assert parse_pitch_class(chord.root) == their_root
            assert (bass_class(chord) - their_root) % 12 == their_bass % 12
            theirs = {(their_root + at) % 12 for at, is_on in enumerate(bitmap) if is_on}
            assert classes(chord) | {bass_class(chord)} == theirs


# Spellings that music21 reads too. It reads 13b9 and 13#11 as plain 13, 69 as another chord, and
# maj9, no3 and others not at all: those are not compared.
FIGURES = """
    m 7 maj7 m7 dim dim7 + +7 m7b5 6 m6 9 m9 11 m11 13 m13 sus2 sus4 5 add9 add2 madd9 7sus4 7b9 7#9
    7b5 7#5 7#11 7b13 maj7#11 mM7 M7 M9 min min7 minmaj7 ø7 o7 o aug 9b5 9#5 7b9b5 add4 add11 9#11
    m7add11 6add9 7b9#9
"""


@pytest.mark.sampled
@pytest.mark.parametrize("figure", ["", *FIGURES.split()])
def test_spellings_agree_with_music21(figure):
    """The same pitch classes and bass as music21's chord symbols, which write flats as ``-``."""
    for root, over in itertools.product(("C", "B-", "F#", "E-"), ("", "/E", "/G")):
        theirs = music21.harmony.ChordSymbol(root + figure + over)
        chord = parse_chord(root.replace("-", "b") + figure + over)
        their_classes = {pitch.pitchClass for pitch in theirs.pitches}
        assert classes(chord) | {bass_class(chord)} == their_classes
        assert bass_class(chord) == theirs.bass().pitchClass


# Numbers


@pytest.mark.parametrize(
    ("text", "key", "symbol"),
    [
        ("1", "C major", "C"),
        ("4", "Bb major", "Eb"),
        ("5", "D major", "A"),
        ("6m", "C major", "Am"),
        ("2m7", "G major", "Am7"),
        ("5/7", "G major", "D/F#"),
        ("b7", "F major", "Eb"),
        ("♭7", "F major", "Eb"),
        ("#4dim", "C major", "F#dim"),
        ("1maj7", "E major", "Emaj7"),
        ("5sus4", "A major", "Esus4"),
        ("57", "C major", "G7"),
        ("17", "C major", "C7"),
        ("15", "E major", "E5"),
        ("111", "C major", "C11"),
        ("113", "C major", "C13"),
        ("3m", "E major", "G#m"),
        ("7dim", "Gb major", "Fdim"),
        ("4", "Gb major", "Cb"),
        ("7m7b5", "C# major", "B#m7b5"),
        ("6-", "C major", "Am"),
        ("6-7", "C major", "Am7"),
        ("16/9", "C major", "C6/9"),
        ("16/3", "C major", "C6/E"),
        ("16/9/3", "C major", "C6/9/E"),
        ("1b5", "C major", "C(b5)"),
        ("57b9", "C major", "G7(b9)"),
        ("57/7", "C major", "G7/B"),
        ("4/b7", "C major", "F/Bb"),
        ("1m", "A minor", "Am"),
        ("b6", "A minor", "F"),
        ("b3", "C# minor", "E"),
        ("b7", "Bb minor", "Ab"),
        ("57", "A minor", "E7"),
        ("#4", "B major", "E#"),
        ("b2", "Cb major", "Dbb"),
        ("##4", "A# minor", "E#"),  # D with three sharps gives way to the key's own fifth
    ],
)
def test_number_chords(text, key, symbol):
    """The first digit is the degree of the major scale on the tonic, in minor too (common
    practice of bands that write numbers); worked by hand.
    """
    assert chord_symbol(parse_number_chord(text, key)) == symbol


KEYS = [key_name(fifths, mode) for fifths in range(-7, 8) for mode in ("major", "minor")]


@pytest.mark.parametrize("key", KEYS)
def test_roots_are_spelled_as_the_major_scale(key):
    """In all 30 keys the seven degrees are music21's major scale on the tonic, letter by letter."""
    tonic = key.split()[0]
    scale = music21.scale.MajorScale(tonic.replace("b", "-"))
    for degree in range(1, 8):
        name = scale.pitchFromDegree(degree).name.replace("-", "b")
        assert parse_number_chord(str(degree), key).root == name
        assert parse_number_chord(f"1/{degree}", key).bass == (name if degree > 1 else "")


# Roman numeral in music21, and the number that bands write.
ROMANS = {
    "major": [
        ("I", "1"), ("ii", "2m"), ("iii", "3m"), ("IV", "4"), ("V", "5"), ("vi", "6m"),
        ("viio", "7dim"), ("V7", "57"), ("ii7", "2m7"), ("I7", "1maj7"), ("IV7", "4maj7"),
        ("viiø7", "7m7b5"), ("iv", "4m"), ("bVII", "b7"), ("bVI", "b6"), ("bIII", "b3"),
        ("#ivo", "#4dim"), ("V6", "5/7"), ("I6", "1/3"), ("I64", "1/5"), ("ii6", "2m/4"),
        ("V42", "57/4"), ("vi7", "6m7"), ("III", "3"), ("I+", "1+"), ("V9", "59"),
    ],
    "minor": [
        ("i", "1m"), ("iio", "2dim"), ("III", "b3"), ("iv", "4m"), ("v", "5m"), ("V", "5"),
        ("VI", "b6"), ("VII", "b7"), ("V7", "57"), ("iv7", "4m7"), ("iiø7", "2m7b5"),
        ("i6", "1m/b3"), ("V6", "5/7"), ("i64", "1m/5"), ("i7", "1m7"), ("VI7", "b6maj7"),
        ("VII7", "b77"), ("IV", "4"), ("bII", "b2"),
    ],
}  # fmt: skip
TONICS = {"major": "C Db D Eb E F F# G Ab A Bb B", "minor": "C C# D Eb E F F# G G# A Bb B"}


@pytest.mark.parametrize(
    ("tonic", "mode"), [(tonic, mode) for mode, names in TONICS.items() for tonic in names.split()]
)
def test_numbers_agree_with_roman_numerals(tonic, mode):
    """Pitch classes and bass as music21's roman numerals, in all 24 keys."""
    name = tonic.replace("b", "-")
    theirs_key = music21.key.Key(name if mode == "major" else name.lower())
    for figure, number in ROMANS[mode]:
        theirs = music21.roman.RomanNumeral(figure, theirs_key)
        chord = parse_number_chord(number, f"{tonic} {mode}")
        assert classes(chord) == {pitch.pitchClass for pitch in theirs.pitches}, number
        assert bass_class(chord) == theirs.bass().pitchClass, number
        assert parse_pitch_class(chord.root) == theirs.root().pitchClass, number


@pytest.mark.sampled
@pytest.mark.parametrize(
    ("tonic", "mode"), [(tonic, mode) for mode, names in TONICS.items() for tonic in names.split()]
)
def test_numbers_agree_with_the_numerals_of_chords(tonic, mode):
    """Degree and accidental of diatonic and borrowed chords are those that music21 finds.

    Its numerals count the natural minor scale in minor, and leave the sign of a raised leading note
    out; ours count the major scale on the tonic.
    """
    key = music21.key.Key(tonic.replace("b", "-"), mode)
    lowered = {3, 6, 7} if mode == "minor" else set()
    for figure, number in ROMANS[mode]:
        theirs = music21.roman.RomanNumeral(figure, key)
        found = music21.roman.romanNumeralFromChord(music21.chord.Chord(theirs.pitches), key)
        degree, alter = found.scaleDegreeWithAlteration
        alter = alter.alter if alter else 0
        sign = {-1: "b", 0: "", 1: "#"}[int(alter) - (degree in lowered)]
        bass = theirs.bass().pitchClass
        suffix = number_parts(number)[1]
        ours = chord_number(theirs.root().pitchClass, suffix, bass, f"{tonic} {mode}")
        assert ours == number
        assert number_parts(ours)[0] == f"{sign}{degree}", figure


@pytest.mark.parametrize(
    ("number", "parts"),
    [
        ("1", ("1", "", "")), ("b7maj7/5", ("b7", "maj7", "/5")), ("57/#4", ("5", "7", "/#4")),
        ("16/9", ("1", "6/9", "")), ("16/3", ("1", "6", "/3")), ("#4dim", ("#4", "dim", "")),
        ("N.C.", ("", "", "N.C.")), ("", ("", "", "")),
    ],
)  # fmt: skip
def test_a_number_s_parts(number, parts):
    """Worked by hand; /9 is no degree, so that it belongs to the kind."""
    assert number_parts(number) == parts


@pytest.mark.sampled
@pytest.mark.parametrize("key", KEYS)
def test_numbers_read_back(key):
    """The number of every root and kind over every bass gives back its pitch classes and bass."""
    for root, bass, ours in itertools.product(range(12), range(12), SPELLINGS):
        if ours in ("", "m7", "6/9") or bass == root:
            chord = parse_number_chord(chord_number(root, ours, bass, key), key)
            plain = parse_chord("C" + ours)
            assert parse_pitch_class(chord.root) == root
            assert bass_class(chord) == bass
            assert (chord.kind, chord.degrees) == (plain.kind, plain.degrees)
            assert chord_suffix(chord) == ours


# Errors


@pytest.mark.parametrize(
    ("text", "offset", "suggestion"),
    [
        ("Hm7", 0, "Bm7"),
        ("H", 0, "B"),
        ("h7", 0, "B7"),
        ("am7", 0, "Am7"),
        ("bb7", 0, "Bb7"),
        ("Cmajj7", 4, "Cmaj7"),
        ("Cmja7", 2, "Cmaj7"),
        ("Cdmi", 1, "Cdim"),
        ("CSUS4", 1, "Csus4"),
        ("C8", 1, "C7"),
        ("C2", 1, "Cadd2"),
        ("C4", 1, "Csus4"),
        ("Csus3", 1, "Csus4"),
        ("Cmsus4", 2, "C7sus4"),
        ("C+11", 1, "C7(#11)"),
        ("C7b", 2, "C7"),
        ("C7(b9", 5, "C7(b9)"),
        ("C7b9)", 4, "C7(b9)"),
        ("Cm77", 3, "Cm7"),
        ("Cm7b55", 5, "Cm7b5"),
        ("C6/8", 3, "C6/9"),
        ("C/H", 2, "C/B"),
        ("C/e", 2, "C/E"),
        ("Am7/", 4, "Am7"),
        ("Cmaj7/Gx", 7, "Cmaj7/G"),
        ("Cmjr7/E", 2, "Cmaj7/E"),
        ("C m", 1, "Cm"),
        ("  Hm7", 2, "Bm7"),
        ("C###", 3, None),
        ("Cbbb7", 3, None),
        ("Xyz", 0, None),
        ("Cxylophone", 1, None),
        ("", 0, None),
        ("7", 0, None),
    ],
)
def test_unknown_chords(text, offset, suggestion):
    """The error says what was found, where it could not be read, and which chord is similar."""
    with pytest.raises(ChordError) as caught:
        parse_chord(text)
    error = caught.value
    assert (error.text, error.offset, error.suggestion) == (text, offset, suggestion)
    remedy = "write a root A to G, then its kind: C, Cm, C7, Cmaj7, Csus4, C/E"
    meant = f"did you mean {suggestion!r}?" if suggestion else remedy
    assert str(error) == f"no chord {text!r}; {meant}"
    assert isinstance(error, ArrangeError)


@pytest.mark.parametrize(
    ("text", "offset", "suggestion"),
    [
        ("8m", 0, None),
        ("0", 0, None),
        ("Am7", 0, None),
        ("7b", 1, "b7"),
        ("6b m", 1, "b6m"),
        ("5/8", 2, "5"),
        ("6/9", 2, "69"),
        ("1/H", 2, "1"),
        ("11", 1, "17"),
        ("1 7", 1, "17"),
        ("2m77", 3, "2m7"),
        ("5maj/77", 5, "5maj/7"),
        ("###4", 2, None),
    ],
)
def test_unknown_numbers(text, offset, suggestion):
    """The same holds for numbers in the key."""
    with pytest.raises(ChordError) as caught:
        parse_number_chord(text, "D major")
    error = caught.value
    assert (error.offset, error.suggestion) == (offset, suggestion)
    remedy = "write a degree 1 to 7 of the key, then its kind: 1, 6m, 57, 4maj7, b7, 5/7"
    meant = f"did you mean {suggestion!r}?" if suggestion else remedy
    assert str(error) == f"no chord number {text!r}; {meant}"


@pytest.mark.parametrize("key", ["", "D", "H major", "D dur", "d minor"])
def test_unknown_keys(key):
    with pytest.raises(ArrangeError, match=r"no key '.*'; write a tonic and a mode: 'D major'"):
        parse_number_chord("1", key)


def test_long_text_is_cut_in_the_message():
    with pytest.raises(ChordError, match=r"^no chord 'C{40}\.\.\.'; write a root A to G"):
        parse_chord("C" * 5000)


SCRIBBLE = st.text("ABCDEFGHabcdefgmMjinsudo0123456789#b♭♯+-°øΔ/()?,. ", max_size=12)


@given(SCRIBBLE | st.text(max_size=12) | SCRIBBLE.map(lambda text: "C" + text))
def test_nothing_but_chord_errors(text):
    """Any typed text is a chord that reads back, or an error at a place in the text whose
    suggestion can be read.
    """
    for parse in (parse_chord, lambda symbol: parse_number_chord(symbol, "Eb major")):
        found = chord_or_error(parse, text)
        if isinstance(found, Chord):
            assert normal_chord(found) == found
            assert parse_chord(chord_symbol(found)) == found
        else:
            assert 0 <= found.offset <= len(text)
            assert found.suggestion is None or parse(found.suggestion)
            assert str(found).startswith("no chord ")


def chord_or_error(parse, text):
    try:
        return parse(text)
    except ChordError as error:
        return error


def test_known_spellings_are_chords():
    """Every spelling that a suggestion may name can be read, and reads back in our spelling."""
    for text in _known_suffixes():
        chord = parse_chord("C" + text)
        assert parse_chord(chord_symbol(chord)) == chord
