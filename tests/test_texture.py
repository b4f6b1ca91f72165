"""How busy the parts are: worked by hand on a few rows (a quarter note lasts a second).

Echo times are 60000 / tempo times the note value, the definition of both.
"""

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from songs import parts_of, song

from arrange.errors import ArrangeError
from arrange.formats.reading import read
from arrange.quantities.texture import echo_attacks, echo_times, part_texture, song_energy


def two_bars(**more):
    """Return two parts: one holds two notes for a bar and rests for one, the other plays
    quarters.
    """
    return song(
        ("Guitar 1", "C3 E3", 0, 4),
        *(("Guitar 2", "G4", onset, 1) for onset in range(8)),
        bars=2,
        sections=(("Verse", 1), ("Chorus", 2)),
        **more,
    )


def test_attacks_density_polyphony_and_silence():
    """A chord is one attack; a bar of rest is half of two bars; two notes sound while any does."""
    one, other = part_texture(two_bars(), by="song").to_dict("records")
    assert (one["attacks"], one["density"], one["polyphony"], one["silence"]) == (1, 1 / 8, 2, 0.5)
    assert (other["attacks"], other["density"], other["polyphony"]) == (8, 1, 1)
    assert other["silence"] == 0
    assert one["with Guitar 2"] == 1  # its one attack is together with the other's first
    assert other["with Guitar 1"] == 1 / 8
    assert np.isnan(one["with Guitar 1"])


@pytest.mark.parametrize("by", ["song", "section", "measure"])
def test_a_song_without_parts_has_no_texture_and_no_energy(by, tmp_path):
    """A MIDI file with one empty track; bytes by Standard MIDI Files 1.0 (from memory)."""
    file = tmp_path / "empty.mid"
    file.write_bytes(bytes.fromhex("4d546864 00000006 0000 0001 01e0 4d54726b 00000004 00ff2f00"))
    empty = read(file)
    texture, usual = part_texture(empty, by), part_texture(two_bars(), by)
    assert texture.empty
    assert texture.dtypes.equals(usual.drop(columns=["with Guitar 1", "with Guitar 2"]).dtypes)
    energy = song_energy(empty, by)
    assert energy.dtypes.equals(song_energy(two_bars(), by).dtypes)
    assert (energy[["players", "notes", "density", "energy"]] == 0).all(axis=None)


def test_a_silent_span_has_a_row_too():
    """In the second bar the first guitar rests: no attacks, all silence, no share."""
    texture = part_texture(two_bars(), by="section").set_index(["part", "section"])
    silent = texture.loc[("Guitar 1", "Chorus")]
    assert (silent["attacks"], silent["polyphony"], silent["silence"]) == (0, 0, 1)
    assert np.isnan(silent["with Guitar 2"])


def test_a_held_note_counts_in_each_bar():
    """A note over two bars sounds in both, but is attacked in the first."""
    held = song(("Guitar 1", "C3", 0, 8), bars=2)
    first, second = part_texture(held, by="measure").to_dict("records")
    assert (first["attacks"], first["silence"]) == (1, 0)
    assert (second["attacks"], second["silence"]) == (0, 0)


def test_the_window_decides_what_is_together():
    """Attacks 20 ms apart are together within 30 ms and not within 10."""
    near = song(("Guitar 1", "C3", 0, 1), ("Guitar 2", "G3", 0.02, 1), bars=1)
    assert part_texture(near, by="song")["with Guitar 2"][0] == 1
    assert part_texture(near, by="song", window=0.01)["with Guitar 2"][0] == 0


def test_together_is_with_any_other_part():
    """Four attacks: the first with B, the second with C, the third with both, the last alone."""
    texture = part_texture(
        song(
            *(("Guitar A", "C4", onset, 1) for onset in range(4)),
            *(("Guitar B", "E4", onset, 1) for onset in (0, 2)),
            *(("Guitar C", "G4", onset, 1) for onset in (1, 2)),
            bars=1,
        ),
        by="song",
    )
    assert texture["together"].tolist() == [0.75, 1, 1]
    assert texture["with Guitar B"][0] == 0.5
    alone = part_texture(song(("Guitar A", "C4", 0, 1), bars=1), by="song")
    assert alone["together"].tolist() == [0]


def test_levels_add_as_powers():
    """Two equal sources that do not know of each other are 3.01 dB above one (10 lg 2)."""
    both = song(("Guitar 1", "C3", 0, 4), ("Guitar 2", "G3", 0, 4), bars=1)
    assert song_energy(both, by="song")["level"][0] == pytest.approx(3.0103, abs=1e-4)
    quiet = parts_of("Guitar 1", "Guitar 2", level=[0.0, -10.0])
    one = song(("Guitar 1", "C3", 0, 4), ("Guitar 2", "G3", 0, 4), bars=1, parts=quiet)
    assert song_energy(one, by="song")["level"][0] == pytest.approx(10 * np.log10(1.1))


def test_energy_falls_where_a_part_lays_out():
    """The fullest span has energy 1; the bar with one part fewer has less."""
    verse, chorus = song_energy(two_bars(), by="section")["energy"]
    assert verse == pytest.approx(1)
    assert chorus < verse


def test_nothing_but_drums_and_nothing_at_all():
    """Unpitched notes are attacks; an empty song has no energy and no level."""
    drums = song(("drums", np.nan, 0, 1), ("drums", np.nan, 2, 1), bars=1)
    assert part_texture(drums, by="song")["attacks"][0] == 2
    empty = song_energy(song(parts=("Guitar 1",), bars=1), by="song")
    assert empty["energy"][0] == 0
    assert np.isnan(empty["level"][0])


def test_an_unknown_span_is_refused():
    with pytest.raises(ArrangeError, match="by='beat': it is one of 'song', 'section', 'measure'"):
        part_texture(two_bars(), by="beat")


# Milliseconds of a quarter, an eighth, a dotted eighth, a triplet eighth, a sixteenth and a dotted
# sixteenth: 60000 / tempo times 1, 1/2, 3/4, 1/3, 1/4 and 3/8.
VALUES = ("quarter", "eighth", "dotted eighth", "triplet eighth", "sixteenth", "dotted sixteenth")
MILLISECONDS = {
    120: (500, 250, 375, 166.67, 125, 187.5),
    90: (666.67, 333.33, 500, 222.22, 166.67, 250),
    140: (428.57, 214.29, 321.43, 142.86, 107.14, 160.71),
    100: (600, 300, 450, 200, 150, 225),
}


@pytest.mark.parametrize("tempo", list(MILLISECONDS))
def test_echo_times_at_a_tempo(tempo):
    """To a hundredth of a millisecond."""
    names = [f"Guitar {number}" for number in range(len(VALUES))]
    times = echo_times(song(parts=parts_of(*names, echo=list(VALUES)), tempo=tempo, bars=1))
    assert times["echo"].tolist() == list(VALUES)
    assert times["milliseconds"].tolist() == pytest.approx(list(MILLISECONDS[tempo]), abs=0.005)


@pytest.mark.parametrize(
    ("echo", "quarters"),
    [("Dotted eighth", 3 / 4), ("eighth dotted", 3 / 4), ("eighth triplet", 1 / 3),
     ("half note", 2), ("whole", 4), ("triplet quarter", 2 / 3), ("thirty-second", 1 / 8)],
)  # fmt: skip
def test_ways_to_write_a_note_value(echo, quarters):
    music = song(("Guitar", "C4", 0, 1), parts=parts_of("Guitar", echo=echo))
    assert echo_times(music)["quarters"].tolist() == pytest.approx([quarters])
    assert echo_attacks(music)["onset"].tolist() == pytest.approx(
        [quarters, 2 * quarters, 3 * quarters]
    )


@pytest.mark.parametrize("echo", ["slap", "dotted", "dotted triplet eighth", "eighth quarter", ""])
def test_an_echo_that_names_no_note_value(echo):
    """The echo is in the table without a time, and repeats nothing."""
    music = song(("Guitar", "C4", 0, 1), parts=parts_of("Guitar", echo=echo))
    assert echo_times(music)[["quarters", "milliseconds"]].isna().all(axis=None)
    assert echo_attacks(music).empty
    assert part_texture(music)["echoes"].tolist() == [0]


def test_no_echo_no_rows():
    assert echo_times(two_bars()).empty
    assert echo_attacks(two_bars()).empty
    assert part_texture(two_bars(), by="song")["echoes"].tolist() == [0, 0]


def test_a_tempo_change_is_a_row_of_its_own():
    """A dotted eighth is 375 ms at 120 and 500 at 90; a tempo that returns is listed once."""
    music = song(parts=parts_of("Guitar", echo="dotted eighth"), tempo=[120, 90, 120], bars=3)
    rows = echo_times(music)[["part", "measure", "tempo", "milliseconds"]]
    assert rows.to_numpy().tolist() == [["Guitar", 1, 120, 375], ["Guitar", 2, 90, 500]]


def test_dotted_eighths_on_straight_eighths_fill_the_gaps():
    """At 120 notes at 0, 250 and 500 ms repeat at 375, 625 and 875, on the off sixteenths, where
    nothing is struck; the second repeats, from 750 on, fall on eighths again.
    """
    eighths = [("Guitar", "C4", eighth / 2, 0.5) for eighth in range(3)]
    music = song(*eighths, parts=parts_of("Guitar", echo="dotted eighth"), tempo=120)
    repeats = echo_attacks(music)
    once = repeats[repeats["repeat"] == 1]
    assert once["seconds"].tolist() == pytest.approx([0.375, 0.625, 0.875])
    assert (once["onset"] * 4 % 2 == 1).all()
    twice = repeats[repeats["repeat"] == 2]
    assert twice["seconds"].tolist() == pytest.approx([0.75, 1.0, 1.25])
    assert (twice["onset"] * 4 % 2 == 0).all()


def test_repeats_get_softer_and_a_chord_repeats_once():
    """Three repeats, 6 dB softer each (ours)."""
    music = song(("Guitar", "C4 E4 G4", 1, 1), parts=parts_of("Guitar", echo="eighth"))
    assert echo_attacks(music)[["attack", "onset", "repeat", "level"]].to_numpy().tolist() == [
        [1, 1.5, 1, -6], [1, 2, 2, -12], [1, 2.5, 3, -18],
    ]  # fmt: skip


def test_echoes_are_counted_by_their_amplitude():
    """One attack in a bar of four seconds: 10^(-6/20) + 10^(-12/20) + 10^(-18/20) repeats, 0.87;
    an attack on the last eighth repeats after the end, where no span counts it.
    """
    parts = parts_of("Guitar", echo="eighth")
    early, late = (song(("Guitar", "C4", at, 0.5), parts=parts, bars=1) for at in (0, 3.5))
    assert part_texture(early)["echoes"][0] == pytest.approx(0.8784 / 4, abs=1e-4)
    assert part_texture(late)["echoes"][0] == 0
    assert song_energy(early)["density"][0] == pytest.approx(1.8784 / 4, abs=1e-4)


def slow_repeats(onsets, tempos, quarters):
    """Return (attack, repeat, seconds, onset) of each repeat: bar after bar, four quarters each."""

    def seconds_at(onset):
        time, bar = 0.0, 0
        while bar < len(tempos) - 1 and onset >= 4 * (bar + 1):
            time += 4 * 60 / tempos[bar]
            bar += 1
        return time + (onset - 4 * bar) * 60 / tempos[bar], bar

    def onset_at(seconds):
        bar = 0
        while bar < len(tempos) - 1 and seconds >= seconds_at(4 * (bar + 1))[0]:
            bar += 1
        return 4 * bar + (seconds - seconds_at(4 * bar)[0]) * tempos[bar] / 60

    repeats = []
    for onset in sorted(set(onsets)):
        time, bar = seconds_at(onset)
        for repeat in (1, 2, 3):
            later = time + repeat * quarters * 60 / tempos[bar]
            repeats.append((onset, repeat, later, onset_at(later)))
    return repeats


@given(
    st.lists(st.integers(0, 143).map(lambda twelfth: twelfth / 12), min_size=1, max_size=8),
    st.lists(st.sampled_from([60, 72, 97, 120, 200]), min_size=3, max_size=3),
    st.sampled_from([("dotted eighth", 3 / 4), ("triplet quarter", 2 / 3), ("whole", 4)]),
)
@settings(max_examples=12, deadline=None, derandomize=True, phases=[Phase.generate])
def test_repeat_by_repeat(onsets, tempos, echo):
    """Over changes of tempo and beyond the end; a second part has an echo of its own."""
    rows = [(part, "C4", onset, 0.05) for part in ("Guitar 1", "Guitar 2") for onset in onsets]
    parts = parts_of("Guitar 1", "Bass", "Guitar 2", echo=[echo[0], None, "quarter"])
    music = song(*rows, parts=parts, tempo=tempos, bars=3)
    found = echo_attacks(music)
    assert found["part"].tolist() == ["Guitar 1"] * (len(found) // 2) + ["Guitar 2"] * (
        len(found) // 2
    )
    wanted = slow_repeats(onsets, tempos, echo[1]) + slow_repeats(onsets, tempos, 1)
    columns = found[["attack", "repeat", "seconds", "onset"]].to_numpy()
    assert columns == pytest.approx(np.array(wanted), abs=1e-7)
    assert found["level"].tolist() == [-6.0 * repeat for _, repeat, *_ in wanted]
