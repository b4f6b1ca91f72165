"""Re-voicing: small songs with known answers, properties that always hold, and bad input."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from songs import parts_of, song, with_setup

import arrange as ar
from arrange.errors import ArrangeError
from arrange.guitar.fingering import finger_part
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player
from arrange.revoicing import Prices, Scope, Taste, proposals_table, revoice
from arrange.revoicing.harmonies import Harmonies
from arrange.revoicing.ideas import VOICING_IDEAS
from arrange.revoicing.preparing import make_mover, on_neck_of
from arrange.revoicing.stretches import find_stretch
from arrange.tables.columns import object_column
from arrange.tables.song import Song
from arrange.theory.pitch import parse_pitch_class

LOW_WATER = Path(__file__).parent.parent / "datasets" / "low-water.musicxml"
G1, G2 = "Guitar 1", "Guitar 2"

# Open C, F and G as every beginner learns them (common practice), a bar each, four strums.
OPEN = ("C3 E3 G3 C4 E4", "F3 A3 C4 F4", "G2 B2 D3 G3 B3 G4")
CHORDS = ((0, 0, "major", None), (4, 5, "major", None), (8, 7, "major", None))


def strummed(part, shapes, onset=0.0):
    """Return four strums of each shape."""
    return [(part, shape, onset + 4 * bar + beat, 1.0)
            for bar, shape in enumerate(shapes) for beat in range(4)]  # fmt: skip


@pytest.fixture(scope="module")
def crowded():
    """Return two guitars that strum the same open shapes."""
    return song(*strummed(G1, OPEN), *strummed(G2, OPEN), chords=CHORDS, key="C major")


@pytest.fixture(scope="module")
def muddy():
    """Return a guitar in low thirds over a bass, and another that plays high."""
    low = ("E2 G2 C3 E3 G3", "F2 A2 C3 F3", "G2 B2 D3 G3")
    rows = [("Bass", root, 4.0 * bar, 4.0) for bar, root in enumerate(("C2", "F1", "G1"))]
    return song(*strummed(G1, ("C5 E5 G5", "C5 F5 A5", "B4 D5 G5")), *strummed(G2, low), *rows,
                chords=CHORDS, parts=(G1, G2, "Bass"))  # fmt: skip


@pytest.fixture(scope="module")
def low_water():
    """Return the demo song."""
    return ar.read(LOW_WATER)


@pytest.fixture(scope="module")
def of_crowded(crowded):
    """Return all proposals for the second of the two guitars that strum alike."""
    return revoice(crowded, G2)


@pytest.fixture(scope="module")
def of_muddy(muddy):
    """Return all proposals for the guitar in low thirds."""
    return revoice(muddy, G2)


def free_rows(before: Song, part, first, last):
    """Return whether each note is the part's and lies in the measures."""
    notes = before.notes
    return (notes["part"] == part) & notes["measure"].between(first, last)


def sounding(notes, rows=None):
    """Return what is played when, as plain rows."""
    own = notes if rows is None else notes[rows]
    names = ["part", "onset", "duration", "pitch", "technique"]
    return sorted(map(tuple, own[names].fillna("").to_numpy().tolist()))


def check_proposal(before: Song, proposal, part, first, last):
    """Check what must hold for every proposal for one part."""
    after = proposal.song
    rows = free_rows(before, part, first, last)
    kept = after.notes["part"].ne(part) | ~after.notes["measure"].between(first, last)
    assert sounding(after.notes, kept) == sounding(before.notes, ~rows), "others are untouched"
    fingered = finger_part(after, part)
    assert fingered[fingered["measure"].between(first, last)]["problem"].isna().all(), "playable"
    assert len(proposal.ended), "it ends something"
    assert proposal.cost == pytest.approx(sum(proposal.costs.values()))
    held = chords_sounding(after), chords_sounding(before)
    for symbol, had, has in zip(before.chords.itertuples(), held[1], held[0], strict=True):
        assert has <= had | set(symbol.pitch_classes) | {symbol.bass}, "no foreign note comes in"


def mover_of(of: Song, part):
    """The part as it may change over the whole song."""
    return make_mover(Harmonies(of), part, find_stretch(of), Scope(), None, Taste())


def chords_sounding(of: Song):
    """Return pitch classes that sound under each chord symbol."""
    onset = of.notes["onset"].to_numpy()
    end = onset + of.notes["duration"].to_numpy()
    found = []
    for row in of.chords.itertuples():
        there = (onset < row.onset + row.duration - 1e-6) & (end > row.onset + 1e-6)
        found.append({int(p) % 12 for p in of.notes["pitch"][there].dropna()})
    return found


def test_two_open_strummers_part(crowded, of_crowded):
    """Common practice: one stays in first position, the other goes up the neck or thins out."""
    found = of_crowded
    ideas = [each.idea for each in found]
    assert len(set(ideas)) == len(ideas)
    assert len(found) >= 4
    clear = [each for each in found if "crowding" in set(each.ended["kind"])]
    assert {each.idea for each in clear} >= {"clear voicings", "lay out"}
    near = next(each for each in clear if each.idea == "clear voicings").song.notes
    means = near.groupby("part")["pitch"].mean()
    assert means[G2] > means[G1] + 5, "up the neck"
    for each in found:
        check_proposal(crowded, each, G2, 1, 3)
    costs = [each.cost for each in found]
    assert costs[0] == min(costs)


def test_low_thirds_leave_the_low_end(muddy, of_muddy):
    """Common practice: with a bass in the band the guitar leaves the low strings out, or plays
    higher: what lay below its low interval limit is gone.
    """
    assert set(ar.find_clashes(muddy)["kind"]) >= {"mud"}
    found = of_muddy
    best = found[0]
    assert "mud" in set(best.ended["kind"])
    assert best.before_after["severity_after"].sum() < best.before_after["severity_before"].sum()
    lowest = best.song.notes[best.song.notes["part"] == G2].groupby("measure")["pitch"].min()
    written = muddy.notes[muddy.notes["part"] == G2].groupby("measure")["pitch"].min()
    assert (lowest >= written).all()
    assert (lowest > written).any()
    assert any(each.idea == "fewer strings" for each in found)
    for each in found:
        check_proposal(muddy, each, G2, 1, 3)


def test_findings_after_are_those_of_the_new_song(crowded, muddy, of_muddy):
    """Findings of the changed versions are those that ``find_clashes`` gives on the new song."""
    limits = ar.Limits(crowding=0.41)  # one meets 0.4 exactly, up to a rounding error
    of_crowded = revoice(crowded, G2, taste=Taste(limits))
    for before, found, own in ((crowded, of_crowded, limits), (muddy, of_muddy, ar.Limits())):
        was = ar.find_clashes(before, limits=own)
        for each in found:
            true = ar.find_clashes(each.song, limits=own)
            figures = each.before_after
            assert figures["after"].sum() == len(true)
            assert figures["severity_after"].sum() == pytest.approx(true["severity"].sum())
            assert figures["before"].sum() == len(was)
            left = {(row.kind, row.parts) for row in true.itertuples()}
            gone = {(row.kind, row.parts) for row in was.itertuples()} - left
            assert gone <= {(row.kind, row.parts) for row in each.ended.itertuples()}


def test_a_departure_that_an_idea_brings_counts(demo):
    """In Verse 3 an octave up leaves the register in which Guitar 2 lives in the rest of the song;
    what the whole song decides on is as ``find_clashes`` has it.
    """
    [up] = revoice(demo, G2, section="Verse 3", scope=Scope(ideas=["an octave up"]))
    brought = up.brought[up.brought["kind"] == "register"]
    assert brought["parts"].tolist() == [G2]
    true = ar.find_clashes(up.song, ["register"])
    true = true[true["onset"].isin(brought["onset"])]
    keys = ["onset", "kind", "parts", "pitches", "severity"]
    assert brought[keys].to_numpy().tolist() == true[keys].to_numpy().tolist()


def test_only_chord_members_and_no_third_lost():
    """An idea that keeps the harmony keeps each third in some part; one that does not says so."""
    bare = song(*strummed(G1, ("C4 G4 C5", "F4 C5 F5", "G4 D5 G5")), *strummed(G2, OPEN),
                chords=CHORDS)  # fmt: skip
    thirds = [4, 9, 11]
    found = revoice(bare, G2)
    assert found
    for each in found:
        sounds = chords_sounding(each.song)
        lost = [third for third, has in zip(thirds, sounds, strict=True) if third not in has]
        assert len(each.given_up) == len(lost)
        if lost:
            assert "gives up" in each.why
        check_proposal(bare, each, G2, 1, 3)
    purposely = {"without the third", "thin out", "in between", "lay out", "exact double"}
    assert {each.idea for each in found if each.given_up} <= purposely


def test_dropping_the_third_is_stated(crowded):
    """Both have the third: one may leave it out, but not both."""
    found = revoice(crowded, G2, measures=(1, 3), scope=Scope(ideas=["without the third"]))[0]
    own = found.song.notes[found.song.notes["part"] == G2]
    for measure, third in ((1, 4), (2, 9), (3, 11)):
        assert third not in set(own["pitch"][own["measure"] == measure] % 12)
    assert found.given_up == ()


def test_a_pinned_measure_stays(crowded):
    """Measure 2 is pinned: its notes are as written in every proposal."""
    rows = free_rows(crowded, G2, 2, 2)
    for each in revoice(crowded, G2, scope=Scope(pinned=[2])):
        notes = each.song.notes
        own = (notes["part"] == G2) & (notes["measure"] == 2)
        assert sounding(notes, own) == sounding(crowded.notes, rows)
        assert each.idea != "capo"


def test_every_place_of_a_chord(muddy):
    """Only the notes under F change, and the low third F2 A2 disappears."""
    found = revoice(muddy, G2, scope=Scope(chord="F"))
    assert "mud" in set(found[0].ended["kind"])
    for each in found:
        if each.idea != "capo":
            check_proposal(muddy, each, G2, 2, 2)


def test_a_bar_does_not_end_what_lasts_a_section(crowded):
    """If only one bar of three changes, they are still crowded: the message says so, with
    severities.
    """
    with pytest.raises(ArrangeError, match=r"lay out: it ends no finding \(severity \d"):
        revoice(crowded, G2, scope=Scope(chord="F"))


def test_lay_out_and_thin_out_lose_what_they_say(crowded):
    """Both strum together, so that thinning out leaves no note, which is reported once."""
    found = revoice(crowded, G2, scope=Scope(ideas=["thin out", "lay out"]))
    assert [each.idea for each in found] == ["lay out"]
    assert found[0].notes_lost == int(free_rows(crowded, G2, 1, 3).sum())
    assert (found[0].song.notes["part"] == G1).all()


def test_a_line_moves_by_octaves_only():
    """A tune that crosses below keeps its shape."""
    tune = [
        (G1, note, onset, 1.0)
        for onset, note in enumerate(["E3", "F3", "D3", "E3", "G3", "A3", "B3", "G3"])
    ]
    high = [(G1, note, 8.0 + onset, 1.0) for onset, note in enumerate(["E5", "F5", "G5", "A5"] * 6)]
    under = [(G2, "C4", 4.0 * bar, 4.0) for bar in range(8)]
    both = song(*tune, *high, *under, sections=(("Low", 1), ("High", 3)),
                chords=((0, 0, "major", None),))  # fmt: skip
    assert "crossing" in set(ar.find_clashes(both)["kind"])
    found = {each.idea: each for each in revoice(both, G1, section="Low")}
    moved = found["an octave up"]
    own = moved.song.notes[
        (moved.song.notes["part"] == G1) & (moved.song.notes["section"] == "Low")
    ]
    assert own["pitch"].tolist() == [64, 65, 62, 64, 67, 69, 71, 67]
    assert moved.semitones == 12


def test_quarter_tones_stay_quarter_tones():
    """A line with bends that crosses moves an octave up unchanged."""
    low = [(G1, 52.5 + 2 * (n % 2), 2.0 * n, 2.0) for n in range(4)]
    high = [(G1, "E5", 8.0 + 4.0 * bar, 4.0) for bar in range(6)]
    under = [(G2, "C4", 4.0 * bar, 4.0) for bar in range(8)]
    both = song(*low, *high, *under, sections=(("Low", 1), ("High", 3)))
    with pytest.raises(ArrangeError, match="between two frets"):
        revoice(both, G1, "Low", scope=Scope(ideas=["an octave up"]))


def test_a_capo_is_in_the_parts_table(of_muddy):
    """The proposal's part has the capo, and no note lies below it."""
    found = [each for each in of_muddy if each.idea == "capo"]
    assert found
    parts = found[0].song.parts.set_index("part")["capo"]
    assert parts[G2] > 0
    assert parts[G1] == 0
    own = found[0].song.notes[found[0].song.notes["part"] == G2]
    assert (own["fret"] >= parts[G2]).all()
    assert f"a capo at fret {parts[G2]}" in found[0].why
    assert found[0].costs["capo"] == Prices().capo


def test_a_section_is_revoiced_behind_its_capo():
    """A new capo is one for the whole part; its layers stay, and other ideas leave the capo."""
    low = ("C3 E3 G3", "F2 A2 C3 F3", "G2 B2 D3 G3")
    high = ("C5 E5 G5", "C5 F5 A5", "B4 D5 G5")
    bass = [("Bass", root, 4.0 * bar, 4.0) for bar, root in enumerate(("C2", "F1", "G1"))]
    made = song(
        *strummed(G1, high), *strummed(G2, low), *bass, sections=[("A", 1), ("B", 2)],
        chords=CHORDS, parts=(G1, G2, "Bass"),
    )  # fmt: skip
    made = with_setup(made, G2, "B", capo=1, layers="Strummed")
    found = {each.idea: each for each in revoice(made, G2, "B")}
    own = found["capo"].song
    rows = ar.part_setups(own).set_index(["part", "section"]).loc[G2]
    assert rows["capo"].nunique() == 1
    assert rows["capo"].iloc[0] != 1
    assert rows["layers"].tolist()[1] == "Strummed"
    assert ar.part_setups(own)["capo"].tolist()[:2] == [0, 0]
    for idea in set(found) - {"capo"}:
        assert found[idea].song.setups.equals(made.setups)
    stretch = find_stretch(made, "B")
    mover = make_mover(Harmonies(made), G2, stretch, Scope(), None, Taste())
    assert mover.neck.capo == 1
    player = Player("Ann", Neck(capo=4))
    strung = on_neck_of(made, G2, player)
    assert ar.part_setups(strung)["capo"].tolist()[:4] == [0, 0, 4, 4]


def test_without_chord_symbols_one_is_inferred():
    """The notes make C, F and G; the sentence says that these chords were inferred."""
    bare = song(*strummed(G1, OPEN), *strummed(G2, OPEN))
    found = revoice(bare, G2)
    assert all("inferred" in each.why for each in found)
    assert any("C, F, G inferred" in each.why for each in found)
    for each in found:
        assert chords_sounding(each.song) == []
        own = each.song.notes
        for measure, members in ((1, {0, 4, 7}), (2, {5, 9, 0}), (3, {7, 11, 2})):
            assert set(own["pitch"][own["measure"] == measure] % 12) <= members


def test_nothing_inferred_means_lines_only():
    """A cluster is no chord: only octaves, thinning and similar ideas are proposed."""
    rows = [(part, "C4 C#4 D4", 4.0 * bar, 4.0) for part in (G1, G2) for bar in range(3)]
    ideas = {each.idea for each in revoice(song(*rows), G2)}
    assert ideas <= {"an octave up", "an octave down", "exact double", "thin out", "in between",
                     "lay out", "up the neck", "down the neck"}  # fmt: skip


def test_prices_move_the_order(crowded):
    """If lost notes cost nothing, laying out comes first; if they cost most, it does not."""
    cheap = revoice(crowded, G2, taste=Taste(prices=Prices(lost=0.0, hand=10.0)))
    dear = revoice(crowded, G2, taste=Taste(prices=Prices(lost=10_000.0)))
    assert cheap[0].notes_lost > 0
    assert dear[0].notes_lost == 0


# A shape of each chord that a guitarist knows (common practice), what the chord is known by, and
# what else its symbol needs.
KNOWN = [
    ("C3 E3 Bb3 C4 E4", "dominant", (), "C E Bb"),
    ("C3 E3 A3 C4 E4", "major-sixth", (), "C E A"),
    ("C3 F3 G3 C4 F4", "suspended-fourth", (), "C F"),
    ("C3 E3 Bb3 Db4 G4", "dominant", ((9, -1, "add"),), "C E Bb Db"),
    ("C3 Gb3 Bb3 Eb4", "half-diminished", (), "C Eb Gb Bb"),
    ("C3 E3 G3 D4", "major", ((9, 0, "add"),), "C E D"),
]


@pytest.mark.parametrize(("shape", "kind", "degrees", "known"), KNOWN)
def test_an_inversion_holds_what_names_the_chord(shape, kind, degrees, known):
    """Root, third, and the seventh, sixth, suspended, added or altered tone; though a bass has the
    root and the other guitar the rest.
    """
    rows = [("Bass", "C2", 4.0 * bar, 4.0) for bar in range(2)]
    both = song(*strummed(G1, (shape,) * 2), *strummed(G2, (shape,) * 2), *rows,
                chords=((0, 0, kind, None, *degrees),), parts=(G1, G2, "Bass"))  # fmt: skip
    classes = {parse_pitch_class(name) for name in known.split()}
    (harmony,) = Harmonies(both).written
    assert harmony.names_it == classes
    mover = mover_of(both, G2)
    for number, (unit, options) in enumerate(
        zip(mover.units, mover.options(VOICING_IDEAS["another inversion"][0]), strict=True)
    ):
        held = [set((row % 12).tolist()) for row in options.pitches]
        assert all(own >= classes for own in held), number
        assert len(held) > 1
        assert unit.harmony == harmony


def test_a_bass_that_is_no_member_does_not_name_the_chord():
    """C/D is a C; Csus2 has its D."""
    over = song((G1, "C4", 0, 8), chords=((0, 0, "major", 2), (4, 0, "suspended-second", None)))
    assert [each.names_it for each in Harmonies(over).written] == [{0, 4}, {0, 2}]


def test_a_root_that_is_left_out_is_said(of_muddy):
    """With a bass in the band other ideas may leave the root to it, and say so."""
    said = 0
    for each in of_muddy:
        own = each.song.notes[each.song.notes["part"] == G2]
        held = {bar: {int(pitch) % 12 for pitch in rows["pitch"]}
                for bar, rows in own.groupby("measure")}  # fmt: skip
        roots = {1: 0, 2: 5, 3: 7}
        gone = [bar for bar in held if roots[bar] not in held[bar]]
        assert ("no root" in each.why) == bool(gone), each.why
        said += bool(gone)
    assert said


TUNE_NOTES = ("E4", "G4", "F4", "E4", "D4", "F4", "G4", "E4")
TUNE = [(G1, note, float(at), 1.0) for at, note in enumerate(TUNE_NOTES)]
UNDER = [(G2, "C4 E4", 4.0 * bar, 4.0) for bar in range(2)]


@pytest.mark.parametrize(
    ("rows", "part", "moves"),
    [
        ([*TUNE, *UNDER], G1, False),
        ([*TUNE, *UNDER, ("Voice", "C5", 0, 8)], G1, True),
        ([*TUNE, (G2, "C5 E5", 0, 8)], G1, True),
    ],
    ids=["it leads", "a singer leads", "the other guitar is on top"],
)
def test_a_tune_keeps_its_octave(rows, part, moves):
    """A line on top that nobody sings over is the tune: "up the neck" leaves it where it is."""
    both = song(*rows, chords=((0, 0, "major", None),))
    mover = mover_of(both, part)
    (line,) = mover.units
    assert line.harmony is None
    (options,) = mover.options(VOICING_IDEAS["up the neck"][0], (0, 12))
    shifts = (options.pitches - np.rint(line.written))[:, 0].tolist()
    assert shifts == ([0, 12] if moves else [0])
    (free,) = mover.options(VOICING_IDEAS["up the neck"][0], (0, 12), tune_stays=False)
    assert len(free.cost) == 2


def test_a_tune_on_top_of_chords_stays_on_top():
    """G A C over held thirds: whatever lies below, these are the notes that are heard."""
    picked = [(G1, note, at / 2, 0.5) for at, note in enumerate(("C4", "E4", "C4", "E4"))]
    over = ("C4 G4", "C4 A4", "C4 C5", "C4 G4")
    tops = [(G1, notes, 2.0 + at / 2, 0.5) for at, notes in enumerate(over)]
    both = song(*picked, *tops, (G2, "C4 E4", 0.0, 4.0), chords=((0, 0, "major-sixth", None),))
    mover = mover_of(both, G1)
    (unit,) = mover.units
    assert unit.written[unit.tune_ranks].tolist() == [67, 69, 72]
    every = mover.options(lambda *asked: np.ones(len(asked[3]), dtype=bool))
    (options,) = every
    assert len(options.cost) > 1
    assert (options.pitches[:, unit.tune_ranks] == [67, 69, 72]).all()


def test_a_passing_note_keeps_its_step():
    """D between C and E, in a picked chord that goes to another inversion: it lies a step from the
    note that it leads to there too, on a note of the key.
    """
    pattern = ["C4", "E4", "G4", "F4", "E4", "G4", "C4", "G4"]
    picked = [(G1, note, 8.0 * bar / 2 + at / 2, 0.5)
              for bar in range(2) for at, note in enumerate(pattern)]  # fmt: skip
    other = [(G2, "C4 E4 G4", 4.0 * bar + at, 1.0) for bar in range(2) for at in range(4)]
    both = song(*picked, *other, chords=((0, 0, "major", None),), key="C major")
    found = [each for each in revoice(both, G1) if each.idea in VOICING_IDEAS]
    moved = 0
    for each in found:
        own = each.song.notes[each.song.notes["part"] == G1].sort_values("onset")
        pitch = dict(zip(own["onset"], own["pitch"], strict=True))
        for bar in (0.0, 4.0):
            if bar + 1.5 in pitch and bar + 2.0 in pitch:
                step = abs(pitch[bar + 1.5] - pitch[bar + 2.0])
                assert 1 <= step <= 2, each.idea
                assert pitch[bar + 1.5] % 12 in {0, 2, 4, 5, 7, 9, 11}
                moved += pitch[bar + 1.5] % 12 != 5
    assert moved, "somewhere another note than F leads to the new one"


def test_one_string_is_left_out_by_name(muddy):
    """G2's low shapes lose a string each; the sentence says which, and the others stay."""
    [found] = revoice(muddy, G2, scope=Scope(ideas=["leave out one string"]))
    assert re.search(r"Guitar 2 leaves out string 6 \(E2\) of major", found.why)
    own = found.song.notes[found.song.notes["part"] == G2]
    before = muddy.notes[muddy.notes["part"] == G2]
    for bar, rows in own[own["onset"] % 4 == 0].groupby("measure"):
        was = set(before.loc[(before["measure"] == bar) & (before["onset"] % 4 == 0), "pitch"])
        assert len(was) - len(rows) in (0, 1)
        assert set(rows["pitch"]) < was or set(rows["pitch"]) == was
    assert found.notes_lost > 0
    check_proposal(muddy, found, G2, 1, 3)


def test_one_note_is_raised_by_name():
    """The root rubs against the other's major seventh, a semitone below: it goes up to the next
    member that the shape has not, the seventh itself; the others stay.
    """
    rows = [(G2, "C4 E4 G4", float(at), 1.0) for at in range(4)]
    both = song((G1, "B3", 0, 4), *rows, chords=((0, 0, "major-seventh", None),))
    found = next(each for each in revoice(both, G2) if each.idea == "raise one note")
    assert "Guitar 2 raises C4 of major-seventh to B4: that ends 2 of" in found.why
    own = found.song.notes[found.song.notes["part"] == G2]
    assert [set(rows["pitch"]) for _, rows in own.groupby("onset")] == [{64, 67, 71}] * 4
    assert found.notes_lost == 0
    assert not len(ar.find_clashes(found.song, ["rub"]))
    check_proposal(both, found, G2, 1, 1)


def test_open_shapes_at_the_capo_that_is_there(muddy):
    """With a capo at 3 its fret is the open string: a guitar in Bb plays open shapes there."""
    moved = replace(muddy, notes=muddy.notes.assign(pitch=muddy.notes["pitch"] + 3))
    chords = [tuple((each + 3) % 12 for each in own) for own in muddy.chords["pitch_classes"]]
    roots = (muddy.chords["root"] + 3) % 12
    moved = replace(
        moved,
        chords=muddy.chords.assign(root=roots, bass=roots, pitch_classes=object_column(chords)),
        parts=moved.parts.assign(capo=[0, 3, 0]),
    )
    found = revoice(moved, G2, scope=Scope(ideas=["open shapes"]))[0]
    own = found.song.notes[(found.song.notes["part"] == G2) & (found.song.notes["onset"] % 4 == 0)]
    for _, bar in own.groupby("measure"):
        assert (bar["fret"] == 3).any()
        assert bar["fret"].between(3, 7).all()
    assert found.costs["capo"] == 0


@pytest.mark.long
def test_who_is_on_top_is_that_of_the_song():
    """The findings of one idea do not depend on which others are tried beside it."""
    before = ar.read(LOW_WATER.parent / "kiln-yard.txt")
    row = before.sections.set_index("section").loc["Chorus 3"]
    found = {each.idea: each for each in revoice(before, "Riff right", "Chorus 3")}
    for idea in ("shells", "without the third", "another string set"):
        true = ar.find_clashes(found[idea].song)
        touches = true["onset"] < row["onset"] + row["duration"] - 1e-6
        touches &= true["onset"] + true["duration"] > row["onset"] + 1e-6
        assert found[idea].before_after["after"].sum() == touches.sum()


def test_the_same_every_run(crowded, of_crowded):
    """Ties are broken the same way each time."""
    one, other = of_crowded, revoice(crowded, G2)
    assert proposals_table(one).equals(proposals_table(other))
    for first, second in zip(one, other, strict=True):
        assert first.song.notes.equals(second.song.notes)


def test_low_water(low_water):
    """In a muddy section of the demo song, the best ideas end all mud and change nothing else."""
    first, last = 37, 44
    found = revoice(low_water, G2, section="Verse 3")
    assert len({each.idea for each in found[:4]}) == 4
    assert len(found[0].ended) >= 6
    assert found[0].brought.empty
    for each in found:
        if each.idea != "capo":
            check_proposal(low_water, each, G2, first, last)
        fingered = finger_part(each.song, G2)
        assert fingered["problem"].isna().all()


@pytest.mark.long
def test_a_strum_mutes_one_string_within_at_most(crowded, low_water):
    """A pick that strums can jump one muted string, not two (common practice). This holds for every
    new voicing of one part or two; unchanged shapes and shapes that only move are not checked.
    """
    as_it_is = ("an octave up", "an octave down", "fewer strings", "exact double")
    checked = 0
    for whole, section, parts in ((crowded, None, (G1, G2)), (low_water, "Chorus 1", (G1, G2))):
        written = set(zip(*(whole.notes[c] for c in ("part", "onset", "pitch")), strict=True))
        for each in (*revoice(whole, parts[0], section=section),
                     *ar.revoice_pair(whole, parts, section=section)):  # fmt: skip
            notes = each.song.notes
            played = zip(*(notes[c] for c in ("part", "onset", "pitch")), strict=True)
            is_new = np.array([note not in written for note in played])
            own = notes.assign(is_new=is_new)[notes["part"].isin(parts)]
            for _, struck in own.groupby(["part", "onset"]):
                on = sorted(struck["string"].dropna().astype(int))
                if len(on) >= 3 and struck["is_new"].any() and each.idea not in as_it_is:
                    checked += 1
                    assert on[-1] - on[0] + 1 - len(on) <= 1, f"{each.idea}: strings {on}"
    assert checked > 100


def test_strings_and_frets_are_those_of_the_new_notes(of_muddy):
    """pitch = open string + fret, from the nut (MusicXML 4.0, staff-tuning)."""
    tuning = np.array([64, 59, 55, 50, 45, 40])
    for each in of_muddy:
        own = each.song.notes[each.song.notes["part"] == G2].dropna(subset=["string"])
        opened = tuning[own["string"].astype(int) - 1]
        assert (opened + own["fret"].astype(int) == own["pitch"]).all()


BAD = [
    ({"part": "Guitar 9"}, "no part 'Guitar 9'"),
    ({"section": "Coda"}, "no section 'Coda'"),
    ({"measures": (2, 9)}, "within 1 to 3"),
    ({"measures": 0}, "within 1 to 3"),
    ({"scope": Scope(chord="Abmaj7")}, "is nowhere in this song"),
    ({"scope": Scope(chord="H7")}, "no chord"),
    ({"scope": Scope(chord="F"), "measures": 1}, "no stretch is left"),
    ({"scope": Scope(pinned=[1, 2, 3])}, "pinned in all"),
    ({"scope": Scope(pinned=[7])}, "there are 1 to 3"),
    ({"scope": Scope(pinned={G1: [1]})}, f"{G1!r} is pinned and is not asked for"),
    ({"player": Player(G1)}, "in the order of the parts"),
    ({"scope": Scope(ideas=["mute"])}, "no idea 'mute'"),
]


@pytest.mark.parametrize(("asked", "message"), BAD)
def test_bad_input(crowded, asked, message):
    """A value that is impossible is refused, and the error lists the possible ones."""
    with pytest.raises(ArrangeError, match=message):
        revoice(crowded, **{"part": G2} | asked)


def test_silent_or_nothing_to_end():
    """A part that is silent, one without strings, and one that disturbs no other part."""
    some = song(*strummed(G1, OPEN), (G2, "C5 E5", 0.0, 4.0), ("Voice", "C6", 0.0, 12.0),
                chords=CHORDS)  # fmt: skip
    for bar in (2, 3):  # it plays in the bar before, or not at all
        with pytest.raises(ArrangeError, match=f"silent in measure {bar}"):
            revoice(some, G2, measures=bar)
    with pytest.raises(ArrangeError, match="no strings to finger"):
        revoice(some, "Voice")
    with pytest.raises(ArrangeError, match="nothing to end"):
        revoice(some, G2, measures=1)


def test_a_part_that_cannot_be_played():
    """If every proposal fails, the message says by which rule."""
    high = [(G2, "F6 A6", 4.0 * bar, 4.0) for bar in range(3)]
    rub = [(G1, "E5", 4.0 * bar, 4.0) for bar in range(3)]
    parts = parts_of(G1, G2, tuning=[(64, 59, 55, 50, 45, 40)] * 2)
    cannot = song(*rub, *high, parts=parts, chords=((0, 0, "major", None),))
    with pytest.raises(ArrangeError, match=r"nothing (that was tried helps|to end)"):
        revoice(cannot, G2, scope=Scope(ideas=["in between", "an octave up"]))


def test_a_small_hand_gets_shapes_that_it_can_hold(low_water):
    """A hand of two fingers: every new shape is held by it, and the same shapes
    are more than it can hold where nobody says whose hand it is.
    """
    hand = ar.Hand(fingers=2)
    scope = Scope(ideas=["clear voicings", "up the neck"])

    def problems(player):
        found = revoice(low_water, G2, "Verse 3", scope=scope, player=player)
        own = [finger_part(each.song, G2, hand=hand) for each in found]
        return sum(
            int(fingered["problem"][fingered["section"] == "Verse 3"].notna().sum())
            for fingered in own
        )

    assert problems(Player(G2, hand=hand)) == 0
    assert problems(None) > 0


def test_a_player_brings_a_neck_along(muddy):
    """Drop D under a capo at 2: the proposal's part is strung so, and every fret is counted on it;
    a neck as written changes nothing.
    """
    neck = ar.Neck("drop D", capo=2)
    scope = Scope(ideas=["clear voicings"])
    best = revoice(muddy, G2, scope=scope, player=Player("Ann", neck))[0]
    row = best.song.parts.set_index("part").loc[G2]
    assert (row["tuning"], row["capo"]) == (neck.tuning, 2)
    own = best.song.notes[best.song.notes["part"] == G2].dropna(subset=["string"])
    opened = np.array(neck.tuning)[own["string"].astype(int) - 1]
    assert (opened + own["fret"].astype(int) == own["pitch"]).all()
    assert own["fret"].min() >= 2
    same = revoice(muddy, G2, scope=scope, player=Player(G2, ar.Neck()))
    assert proposals_table(same).equals(proposals_table(revoice(muddy, G2, scope=scope)))
