"""How busy the parts are: worked by hand on a few rows (a quarter note lasts a second)."""

import numpy as np
import pytest
from songs import parts_of, song

from arrange.errors import ArrangeError
from arrange.texture import part_texture, song_energy


def two_bars(**more):
    """One part holds two notes for a bar and rests for one; the other plays quarters throughout."""
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


def test_a_silent_span_is_told_too():
    """In the second bar the first guitar rests: no attacks, all silence, no share to tell."""
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


def test_the_window_tells_what_is_together():
    """Attacks 20 ms apart are together within 30 ms and not within 10."""
    near = song(("Guitar 1", "C3", 0, 1), ("Guitar 2", "G3", 0.02, 1), bars=1)
    assert part_texture(near, by="song")["with Guitar 2"][0] == 1
    assert part_texture(near, by="song", window=0.01)["with Guitar 2"][0] == 0


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
