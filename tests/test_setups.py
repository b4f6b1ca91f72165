"""What a part has section by section, beside what it has for the whole song."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from songs import parts_of, song, with_setup

from arrange import (
    Decision,
    Song,
    TableError,
    describe,
    find_clashes,
    not_asked,
    part_setups,
    part_texture,
    read_decisions,
    rebuild,
    record_decision,
    render_sound,
    song_energy,
)
from arrange.explaining.section_setups import own_played_setups
from arrange.quantities.sonority import masked_energy, pair_roughness
from arrange.quantities.texture import echo_times
from arrange.sound.sounds import RATE
from arrange.tables.copies import in_copies
from arrange.tables.setups import (
    all_through,
    note_setups,
    played_setups,
    sections_of,
    song_in_section,
    where_otherwise,
)


def two_sections(**setup) -> Song:
    """Two guitars in two sections of two bars; the first has something else in the second."""
    made = song(
        ("Guitar 1", "C4 E4", 0, 8), ("Guitar 1", "D4", 8, 4), ("Guitar 2", "C3", 10, 4),
        sections=[("A", 1), ("B", 3)],
    )  # fmt: skip
    own = {"drive": "overdriven", "capo": 2, "layers": '"Lead + Fx" + Pulse', **setup}
    return with_setup(made, "Guitar 1", "B", **own)


def test_every_part_has_a_setup_in_every_section():
    """Where the setups table says nothing, the parts table holds."""
    made = two_sections()
    every = part_setups(made)
    assert every[["part", "section", "drive", "capo"]].to_numpy().tolist() == [
        ["Guitar 1", "A", "clean", 0],
        ["Guitar 1", "B", "overdriven", 2],
        ["Guitar 2", "A", "clean", 0],
        ["Guitar 2", "B", "clean", 0],
    ]
    assert every["layers"].notna().tolist() == [False, True, False, False]
    assert list(every) == describe("setups")["column"].tolist()


def test_each_note_has_the_setup_of_its_section():
    """A note has what its part has in the section that the note begins in."""
    made = two_sections()
    made = replace(made, notes=made.notes.set_axis(range(10, 10 + len(made.notes))))
    notes = note_setups(made)
    assert notes["drive"].tolist() == ["clean", "clean", "overdriven", "clean"]
    assert notes["capo"].tolist() == [0, 0, 2, 0]
    assert notes.index.equals(made.notes.index)


def test_only_what_is_otherwise_is_kept():
    """A row that repeats the parts table, and names no layers, says nothing."""
    made = two_sections(layers=None)
    kept = where_otherwise(part_setups(made), made.parts)
    assert kept.to_numpy().tolist() == made.setups.to_numpy().tolist()
    assert where_otherwise(part_setups(made)[:1], made.parts).empty
    named = part_setups(made)[:1].assign(layers="Pulse")
    assert len(where_otherwise(named, made.parts)) == 1


def test_a_song_as_it_is_in_one_section():
    """The parts table has what each part has there; without setups it is the song itself."""
    made = two_sections(echo="eighth")
    there = song_in_section(made, "B")
    columns = ["drive", "echo", "capo"]
    assert there.parts[columns].iloc[0].tolist() == ["overdriven", "eighth", 2]
    assert there.parts["capo"].tolist() == [2, 0]
    assert there.parts.dtypes.equals(made.parts.dtypes)
    assert there.setups.empty
    assert song_in_section(made, "A").parts.equals(made.parts)
    plain = replace(made, setups=made.setups[:0])
    assert song_in_section(plain, "B") is plain


def test_a_sound_all_through():
    """It replaces those of the sections; what says nothing more goes."""
    made = two_sections(layers=None, echo="eighth")
    again = all_through(made, "Guitar 1", capo=5, echo=None)
    assert again.parts["capo"].tolist() == [5, 0]
    assert again.setups[["drive", "capo"]].to_numpy().tolist() == [["overdriven", 5]]
    assert again.setups["echo"].isna().all()
    assert all_through(again, "Guitar 1", drive="edge").setups.empty
    assert again.setups.dtypes.equals(made.setups.dtypes)


def test_cue_notes_are_not_played():
    """They show a player what another part does; so says the teacher's page too."""
    made = two_sections()
    is_cue = ((made.notes["part"] == "Guitar 1") & (made.notes["section"] == "B")).to_numpy()
    cued = replace(made, notes=made.notes.assign(technique=np.where(is_cue, "cue", None)))
    assert played_setups(cued)["section"].tolist() == ["A", "B"]
    assert own_played_setups(cued, "Guitar 1").index.tolist() == ["A"]


def test_what_a_part_has_where_it_plays():
    """Guitar 2 plays in B alone; each capo is there once, with its sections."""
    played = played_setups(two_sections())
    assert played[["part", "section"]].to_numpy().tolist() == [
        ["Guitar 1", "A"], ["Guitar 1", "B"], ["Guitar 2", "B"]
    ]  # fmt: skip
    assert sections_of(played, "capo") == {0: ["A", "B"], 2: ["B"]}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"part": "Guitar 9"}, "table 'setups': there is no part 'Guitar 9'"),
        ({"section": "C"}, "table 'setups': there is no section 'C'"),
        ({"drive": "loud"}, "column 'drive': 'loud'; it is one of clean"),
        ({"capo": 99}, "column 'capo', row 0: 99; it lies between 0"),
    ],
)
def test_setups_are_checked(change, message):
    """A setup names a part and a section of the song, a drive and a capo that exist."""
    made = two_sections()
    with pytest.raises(TableError, match=message):
        replace(made, setups=made.setups.assign(**change))


def test_a_part_has_one_setup_in_a_section():
    """Two rows for the same part and section contradict each other."""
    made = two_sections()
    twice = pd.concat([made.setups, made.setups])
    message = "row 1: a second row has part 'Guitar 1' and section 'B'"
    with pytest.raises(TableError, match=message):
        replace(made, setups=twice)


def test_a_song_without_setups_has_an_empty_table():
    """A Song made of five tables has a sixth without rows, of the right dtypes."""
    plain = song(("Guitar 1", "C4", 0, 4))
    assert plain.setups.empty
    assert str(plain.setups["capo"].dtype) == "int64"
    assert str(plain.setups["drive"].dtype) == "str"
    again = Song(plain.parts, plain.sections, plain.measures, plain.chords, plain.notes)
    assert again.setups.empty


def test_copies_of_a_passage_keep_the_setups():
    """Each copy of a passage has the sound that its part has there."""
    made = two_sections()
    copies = in_copies(made, [made.notes, made.notes], 8.0, 16.0)
    every = part_setups(copies.song)
    own = every[every["part"] == "Guitar 1"]
    assert own["section"].tolist() == ["0 B", "1 B"]
    assert own["drive"].tolist() == ["overdriven", "overdriven"]
    assert list(find_clashes(copies.song)) == describe("findings")["column"].tolist()


# --- what each section sounds like: as in a song that has its sound all through -----------------

USUAL, OTHER = {"drive": "clean", "echo": None}, {"drive": "distorted", "echo": "quarter"}


def two_sounds() -> tuple[Song, Song, Song]:
    """A song whose first guitar changes its sound in B; and with either sound all through."""
    bars = [
        ("Guitar 1", "E2 G2", 0, 2), ("Guitar 1", "E3", 2, 0.5), ("Guitar 1", "A3", 3, 0.5),
        ("Guitar 2", "F3 A3", 0, 1.5), ("Guitar 2", "C4", 2.5, 0.5), ("Guitar 2", "D4", 3.25, 0.5),
    ]  # fmt: skip
    rows = [(part, notes, onset + 4 * bar, lasts)
            for bar in (0, 1, 2, 6, 7, 8) for part, notes, onset, lasts in bars]  # fmt: skip
    # Three bars of silence between, so that nothing rings over.
    form = {"sections": [("A", 1), ("B", 7)], "tempo": 90.0, "bars": 12}
    made = []
    for own in (USUAL, OTHER):
        sounds = {name: [value, USUAL[name]] for name, value in own.items()}
        made.append(song(*rows, parts=parts_of("Guitar 1", "Guitar 2", **sounds), **form))
    return with_setup(made[0], "Guitar 1", "B", **OTHER), *made


def test_findings_follow_the_sound_of_the_section():
    """What is found in a section is what is found in a song with its sound all through."""
    both, usual, other = two_sounds()
    found = find_clashes(both)
    for section, alike in (("A", usual), ("B", other)):
        expected = find_clashes(alike)
        own, expected = (each[each["section"] == section] for each in (found, expected))
        columns = ["kind", "onset", "value", "severity", "why"]
        assert len(own)
        pd.testing.assert_frame_equal(
            own[columns].sort_values(columns, ignore_index=True),
            expected[columns].sort_values(columns, ignore_index=True),
        )
    assert set(found.loc[found["kind"] == "drive", "section"]) == {"B"}


@pytest.mark.parametrize("by", ["section", "measure"])
def test_numbers_follow_the_sound_of_the_section(by):
    """Levels, echoes, roughness and masking of a section are those of its own sound."""
    both, usual, other = two_sounds()
    at = pd.Series(dict(zip(both.measures["measure"], both.measures["section"], strict=True)))
    for measure in (
        lambda some: song_energy(some, by)[[by, "players", "notes", "density", "level"]],
        lambda some: part_texture(some, by)[["part", by, "echoes", "attacks"]],
        lambda some: pair_roughness(some, by)[[by, "together", "alone"]],
        lambda some: masked_energy(some, by)[["masker", by, "share"]],
    ):
        found = measure(both)
        section = found[by] if by == "section" else found[by].map(at)
        for name, alike in (("A", usual), ("B", other)):
            pd.testing.assert_frame_equal(
                found[section == name], measure(alike)[(section == name).to_numpy()]
            )


def test_the_level_of_the_song_is_the_mean_power_of_its_sections():
    """Two sections of equal length: the mean of their powers, by arithmetic."""
    both, _, _ = two_sounds()
    powers = 10 ** (song_energy(both)["level"].to_numpy() / 10)
    whole = 10 ** (song_energy(both, "song")["level"].to_numpy() / 10)
    assert whole[0] == pytest.approx(powers.mean())


def test_each_section_is_heard_with_its_sound():
    """The samples of a section are those of a song that has its sound all through."""
    both, usual, other = (render_sound(some).samples for some in two_sounds())
    middle = round(5.5 * 4 * 60 / 90 * RATE)
    scale = [np.abs(each).max() for each in (both, usual, other)]
    assert not np.allclose(usual[middle:], other[middle:], atol=0.01 * min(scale))
    # The whole is turned down where it would clip, each song by its own peak.
    for own, alike in ((both[:middle], usual[:middle]), (both[middle:], other[middle:])):
        gain = np.abs(own).max() / np.abs(alike).max()
        np.testing.assert_allclose(own, gain * alike, atol=1e-4 * np.abs(own).max())


def test_echoes_are_timed_where_they_are():
    """A row for each echo that a part has, from the first bar with it."""
    both, _, _ = two_sounds()
    again = with_setup(both, "Guitar 2", "A", echo="eighth")
    rows = echo_times(again)[["part", "echo", "measure", "milliseconds"]].to_numpy().tolist()
    assert rows == [
        ["Guitar 1", "quarter", 7, pytest.approx(60_000 / 90)],
        ["Guitar 2", "eighth", 1, pytest.approx(30_000 / 90)],
    ]


def test_what_was_not_asked_looks_at_every_section():
    """A guitar that is driven in one section is asked what its amplifier makes of chords."""
    both, usual, _ = two_sounds()
    assert any("Every guitar is clean" in sentence for sentence in not_asked(usual))
    assert not any("Every guitar is clean" in sentence for sentence in not_asked(both))


# --- decisions keep what a part has in a section ------------------------------------------------


def test_a_decision_keeps_the_setups(tmp_path):
    """The log beside a song gives the sound of each section back, and takes it away again."""
    before = song(
        ("Guitar 1", "C4 E4", 0, 8), ("Guitar 2", "C3", 10, 4), sections=[("A", 1), ("B", 3)]
    )  # fmt: skip
    driven = with_setup(before, "Guitar 1", "B", drive="overdriven", layers="Hook + Pulse")
    log = tmp_path / "song.decisions.txt"
    record_decision(log, Decision("drive", "it grows", status="agreed"), song=before,
                    arrangement=driven)  # fmt: skip
    assert rebuild(before, read_decisions(log)).song.setups.equals(driven.setups)
    again = replace(driven, setups=driven.setups[:0])
    record_decision(log, Decision("clean", "too loud", status="agreed"), song=driven,
                    arrangement=again)  # fmt: skip
    built = rebuild(before, read_decisions(log))
    assert len(built.applied) == 2
    assert built.song.setups.empty


def test_a_decision_on_a_new_part_brings_its_setups(tmp_path):
    """A part that is removed takes its setups along, a new one has its own."""
    before = with_setup(
        song(("Layer", "C4", 0, 8), ("Bass", "C2", 0, 8), sections=[("A", 1), ("B", 2)]),
        "Layer", "A", drive="edge",
    )  # fmt: skip
    notes = before.notes.assign(part=before.notes["part"].replace("Layer", "Ann"))
    parts = before.parts.assign(part=before.parts["part"].replace("Layer", "Ann"))
    after = replace(before, parts=parts, notes=notes, setups=before.setups[:0])
    after = with_setup(after, "Ann", "B", drive="distorted", capo=3, echo="quarter", layers="Layer")
    log = tmp_path / "song.decisions.txt"
    record_decision(log, Decision("one player", "there is one", status="agreed"), song=before,
                    arrangement=after)  # fmt: skip
    assert rebuild(before, read_decisions(log)).song.setups.equals(after.setups)


def test_a_capo_of_a_section_that_changes_makes_a_decision_stale(tmp_path):
    """The frets of a passage mean something else with another capo."""
    before = two_sections(capo=2)
    notes = before.notes.assign(pitch=before.notes["pitch"] + 12)
    log = tmp_path / "song.decisions.txt"
    record_decision(log, Decision("up", "higher", status="agreed"), song=before,
                    arrangement=replace(before, notes=notes))  # fmt: skip
    other = replace(before, setups=before.setups.assign(capo=4))
    assert len(rebuild(before, read_decisions(log)).applied) == 1
    assert len(rebuild(other, read_decisions(log)).stale) == 1
