"""Sound is compared with what can be measured on it: pitch, time, level, place."""

import base64
import io
import os
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile
from songs import parts_of, song

import arrange as ar
from arrange.sound import (
    PEAK,
    RATE,
    Playback,
    Sound,
    amplifier,
    exposure_hours,
    finding_sound,
    join_sounds,
    render_sound,
    write_sound,
)
from arrange.theory.pitch import frequency

FONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")  # Debian's timgm6mb-soundfont, if it is there


def strongest_near(wave, hertz):
    """Return the frequency of the strongest line within a semitone, by a parabola in the log
    spectrum.
    """
    size = 2**18
    spectrum = np.log(np.abs(np.fft.rfft(wave * np.hanning(len(wave)), size)) + 1e-12)
    low, high = (round(hertz * factor * size / RATE) for factor in (0.95, 1.05))
    top = low + int(np.argmax(spectrum[low:high]))
    before, at, after = spectrum[top - 1 : top + 2]
    return (top + (before - after) / (2 * (before - 2 * at + after))) * RATE / size


def attacks(wave, least):
    """Return the seconds at which the signal rises above `least` after silence."""
    loud = np.abs(wave) > least
    quiet = np.convolve(loud, np.ones(441), "full")[: len(wave)] == 0
    return np.flatnonzero(loud & np.append(True, quiet[:-1])) / RATE


@pytest.mark.sampled
@pytest.mark.parametrize("part", ["Guitar 1", "Bass", "Voice", "Keys"])
@pytest.mark.parametrize("drive", ["clean", "overdriven"])
def test_notes_are_in_tune(part, drive):
    """Notes are within 3 cents of equal temperament on A4 = 440 Hz (ISO 16)."""
    assert frequency(69) == 440.0
    for pitch in range(28, 89, 5):
        parts = parts_of(part, drive=drive)
        wave = render_sound(song((part, pitch, 0, 2), parts=parts)).samples[:, 0].astype(float)
        cents = 1200 * np.log2(strongest_near(wave, frequency(pitch)) / frequency(pitch))
        assert abs(cents) < 3, pitch


def test_onsets_fall_where_they_are_written():
    """Onsets are within a millisecond, at any tempo, in a bar of five and in thirds of a beat."""
    onsets = [0, 1, 2 + 1 / 3, 3, 4.5, 7.25]
    some = song(*(("Guitar 1", "A3", at, 0.1) for at in onsets), tempo=93.0, bars=2)
    for tempo in (93.0, 40.0, 200.0):
        sound = render_sound(some, playback=Playback(tempo=tempo))
        heard = attacks(sound.samples[:, 0], 1e-4)
        np.testing.assert_allclose(heard, np.array(onsets) * 60 / tempo, atol=0.001)


def test_a_change_of_tempo_keeps_its_proportion():
    some = song(("Guitar 1", "A3", 0, 0.1), ("Guitar 1", "A3", 4, 0.1), ("Guitar 1", "A3", 8, 0.1),
                tempo=[60.0, 120.0, 60.0], bars=3)  # fmt: skip
    heard = attacks(render_sound(some, playback=Playback(tempo=30)).samples[:, 0], 1e-4)
    np.testing.assert_allclose(heard, [0, 8, 12], atol=0.001)


def test_nothing_clips_and_nothing_jumps():
    """However many play, the peak stays; the first and the last sample are silence."""
    many = [(f"Guitar {n}", "E2 B2 E3 G3 B3 E4", 0, 4) for n in range(1, 13)]
    for drive in ("clean", "distorted"):
        sound = render_sound(song(*many, parts=parts_of(*(m[0] for m in many), drive=drive)))
        assert np.abs(sound.samples).max() <= PEAK + 1e-6
        assert np.abs(sound.samples[[0, -1]]).max() < 1e-4
        assert np.abs(np.diff(sound.samples, axis=0)).max() < 0.25


def test_parts_stand_where_they_are_panned():
    some = song(("Guitar 1", "A3", 0, 1), ("Guitar 2", "E4", 0, 1), ("Bass", "Eb2", 0, 1))
    sides = Playback(pan={"Guitar 1": -1, "Guitar 2": 1})
    left, right = render_sound(some, playback=sides).samples.T.astype(float)

    def level(wave, pitch):
        line = np.exp(-2j * np.pi * frequency(pitch) * np.arange(RATE) / RATE)
        return abs((wave[:RATE] * np.hanning(RATE)) @ line)

    assert level(left, 57) > 100 * level(right, 57)
    assert level(right, 64) > 100 * level(left, 64)
    assert level(left, 39) == pytest.approx(level(right, 39), rel=0.01)
    apart = render_sound(some).samples.T.astype(float)
    assert level(apart[0], 57) > 2 * level(apart[1], 57)
    placed = [Playback(pan={"Bass": side}) for side in (-1, 0, 0.3)]
    power = [
        (render_sound(some, parts=["Bass"], playback=each).samples ** 2).sum() for each in placed
    ]
    assert power == pytest.approx([power[0]] * 3, rel=1e-4)


def test_a_loop_has_no_seam():
    """Two rounds of the loop equal the steady sound of a part that repeats the bar."""
    bar = [("Guitar 1", "E3 B3", 0, 2), ("Guitar 1", "G3", 2, 2)]
    often = [(part, notes, at + 4 * n, lasts) for n in range(6) for part, notes, at, lasts in bar]
    once = render_sound(song(*bar, bars=1), playback=Playback(loop=True))
    long = render_sound(song(*often, bars=6))
    size = len(once.samples)
    assert size == 4 * RATE
    np.testing.assert_allclose(once.samples, long.samples[4 * size : 5 * size], atol=1e-3)


def test_a_loop_with_a_count_in_rings_into_its_clicks():
    """The bar after the count-in is the same; what rings on at the end lies under the clicks of
    the next time round, and the notebook's player begins anew.
    """
    own = song(("Guitar 1", "E3 B3", 0, 2), ("Guitar 1", "G3", 2, 2), bars=1)
    plain = render_sound(own, playback=Playback(count_in=1))
    counted = render_sound(own, playback=Playback(count_in=1, loop=True))
    begins = round(counted.begins * RATE)
    assert len(counted.samples) == 8 * RATE
    np.testing.assert_allclose(
        counted.samples[begins + RATE // 100 :], plain.samples[begins + RATE // 100 : 8 * RATE],
        atol=1e-6,
    )  # fmt: skip
    rings = counted.samples[: RATE // 4] - plain.samples[: RATE // 4]
    np.testing.assert_allclose(rings, plain.samples[8 * RATE :][: RATE // 4], atol=2e-3)
    assert np.abs(rings).max() > 1e-3
    assert "<audio controls loop " in counted._repr_html_()
    assert "loop" not in plain._repr_html_()


def test_the_players_sound_is_whole():
    """What a notebook plays, decoded again, is the sound to 16 bits."""
    own = render_sound(song(("Guitar 1", "E3 B3", 0, 2), bars=1))
    data = base64.b64decode(re.search(r"base64,([^\"]*)", own._repr_html_())[1])
    again, rate = soundfile.read(io.BytesIO(data))
    assert rate == RATE
    np.testing.assert_allclose(again, own.samples, atol=2**-15)


def test_rendered_again_it_is_the_same_to_the_bit(tmp_path):
    some = ar.read("datasets/low-water.musicxml")
    one, other = (render_sound(some, section="Intro") for _ in range(2))
    np.testing.assert_array_equal(one.samples, other.samples)
    for name in ("a.wav", "a.ogg"):
        paths = [write_sound(one, tmp_path / folder / name) for folder in "xy"]
        data, rate = soundfile.read(paths[0])
        assert rate == RATE
        assert len(data) == len(one.samples)
    assert paths[0].with_suffix(".wav").read_bytes() == paths[1].with_suffix(".wav").read_bytes()


def test_count_in_and_clicks_follow_the_meter():
    """A beat of 6/8 is a dotted quarter: two to the bar (common practice)."""
    some = song(("Guitar 1", "A3", 0, 0.1), meter="6/8", tempo=90.0, bars=2)
    sound = render_sound(some, playback=Playback(count_in=1))
    assert sound.begins == pytest.approx(3 * 60 / 90)
    counted = attacks(sound.samples[:, 1], 1e-3)
    np.testing.assert_allclose(counted, [0, 1, 2], atol=0.002)
    heard = attacks(render_sound(some, parts=[], playback=Playback(click=True)).samples[:, 0], 1e-3)
    np.testing.assert_allclose(heard, [0, 1, 2, 3], atol=0.002)
    four = render_sound(song(("Guitar 1", "A3", 0, 1), tempo=120.0), playback=Playback(count_in=2))
    assert four.begins == pytest.approx(4.0)


def test_an_echo_repeats_at_its_note_value():
    """A dotted eighth at 120 quarter notes a minute is 375 ms: 60000 / 120 * 0.75."""
    parts = parts_of("Guitar 1", echo="dotted eighth")
    some = song(("Guitar 1", "A3", 0, 0.1), parts=parts, tempo=120.0)
    wave = render_sound(some).samples[:, 0]
    heard = attacks(wave, 2e-4)
    np.testing.assert_allclose(heard, [0, 0.375, 0.75, 1.125], atol=0.003)
    peaks = [np.abs(wave[round(at * RATE) :][:2000]).max() for at in heard]
    np.testing.assert_allclose(20 * np.log10(peaks[1] / peaks[0]), -6, atol=0.5)


def test_drive_adds_what_the_hearing_says():
    """A driven fifth holds its difference tone, an octave below the root; a clean one does not."""
    level = {}
    for drive in ("clean", "distorted"):
        parts = parts_of("Guitar 1", drive=drive)
        wave = render_sound(song(("Guitar 1", "A2 E3", 0, 2), parts=parts)).samples[:, 0]
        spectrum = np.abs(np.fft.rfft(wave[: 2 * RATE] * np.hanning(2 * RATE)))
        level[drive] = spectrum[108:112].max() / spectrum[218:222].max()
    assert level["distorted"] > 20 * level["clean"]


def test_findings_can_be_heard_on_their_own():
    some = ar.read("datasets/low-water.musicxml")
    found = ar.find_clashes(some)
    row = found[found["kind"] == "crowding"].iloc[0]
    sound = finding_sound(some, row)
    alone = render_sound(some, parts=["Guitar 1"], section=row["section"])
    assert sound.seconds == pytest.approx(3 * alone.seconds + 2 * 0.8, abs=0.01)
    np.testing.assert_array_equal(sound.samples[: len(alone.samples)], alone.samples)
    both = join_sounds(alone, alone, pause=1.0)
    assert both.seconds == pytest.approx(2 * alone.seconds + 1)
    assert "<audio controls" in sound._repr_html_()


def test_a_finding_is_played_back_as_asked():
    """At half the tempo each take lasts twice as long, but for the two seconds of its end."""
    some = ar.read("datasets/low-water.musicxml")
    found = ar.find_clashes(some)
    row = found[found["kind"] == "rub"].iloc[0]
    tempo = some.measures["tempo"].iloc[row["measure"] - 1]
    plain, slow = (finding_sound(some, row, Playback(tempo=each)) for each in (None, tempo / 2))
    assert slow.seconds - 6 - 1.6 == pytest.approx(2 * (plain.seconds - 6 - 1.6), abs=0.01)
    again = finding_sound(some, row, Playback(loop=True))
    assert again.is_loop
    np.testing.assert_array_equal(again.samples, plain.samples)


def test_hours_after_the_table_of_niosh():
    """NIOSH, publication 98-126 (1998), table 1-1: 85 dBA 8 h, 88 4 h, ... 100 15 min."""
    hours = exposure_hours([85, 88, 91, 94, 97, 100])
    np.testing.assert_allclose(hours, [8, 4, 2, 1, 0.5, 0.25])


@pytest.mark.parametrize(
    ("asked", "match"),
    [
        ({"parts": ["Guitar 9"]}, "no part 'Guitar 9'"),
        ({"parts": "Guitar 1"}, r"give a list of labels, \['Guitar 1'\]"),
        ({"section": "Chorus 9"}, "no section 'Chorus 9'"),
        ({"measures": (0, 1)}, "measures 1 to 1"),
        ({"measures": (1, 1), "section": "Song"}, "not both"),
        ({"playback": Playback(pan={"Guitar 7": 0})}, "no part 'Guitar 7'"),
        ({"playback": Playback(font="pyproject.toml")}, "no SoundFont"),
        ({"playback": Playback(font="none.sf2")}, "cannot be read"),
    ],
)
def test_what_cannot_be_rendered(asked, match):
    with pytest.raises(ar.ArrangeError, match=match):
        render_sound(song(("Guitar 1", "A3", 0, 1)), **asked)


@pytest.mark.parametrize(
    ("asked", "match"),
    [
        ({"tempo": 0}, "from 10 to 400"),
        ({"tempo": float("nan")}, "from 10 to 400"),
        ({"count_in": -1}, "count_in=-1: whole bars of clicks before the music, from 0 to 16"),
        ({"count_in": 1_000_000}, "from 0 to 16"),
        ({"count_in": 1.5}, "count_in=1.5: whole bars"),
        ({"pan": {"Guitar 1": 2}}, "from -1, left"),
    ],
)
def test_what_cannot_be_played_back(asked, match):
    """The error comes where it is asked for, before any song is read."""
    with pytest.raises(ar.ArrangeError, match=match):
        Playback(**asked)


def test_what_cannot_be_written(tmp_path):
    silence = Sound(np.zeros((10, 2), dtype=np.float32))
    with pytest.raises(ar.ArrangeError, match=r"as \.wav, \.flac or \.ogg"):
        write_sound(silence, tmp_path / "a.mp3")
    (tmp_path / "a.wav").mkdir()
    with pytest.raises(ar.ArrangeError, match="is a folder, where a file is written"):
        write_sound(silence, tmp_path / "a.wav")
    assert [path.name for path in tmp_path.iterdir()] == ["a.wav"]


def test_songs_that_hardly_sound():
    """Percussion sounds; if nothing sounds, not even a click, an error says so."""
    assert render_sound(song(("Drums", np.nan, 0, 1))).samples.any()
    empty, short = song(parts=("Guitar 1",)), song(("Guitar 1", "A3", 0, 0))
    assert render_sound(empty, playback=Playback(click=True)).samples.any()
    for silent in (empty, short):
        with pytest.raises(ar.ArrangeError, match="Guitar 1 lays out in measure 1, so there"):
            render_sound(silent)


@pytest.mark.skipif(not FONT.exists(), reason="no SoundFont on this machine")
def test_a_font_is_played_in_tune_and_in_time():
    some = song(("Guitar 1", "A3", 0, 1), ("Guitar 1", "A3", 2, 1), tempo=60.0)
    sound = render_sound(
        replace(some, parts=some.parts.assign(program=28)), playback=Playback(font=FONT)
    )
    wave = sound.samples[:, 0].astype(float)
    cents = 1200 * np.log2(strongest_near(wave[: 2 * RATE], 220.0) / 220.0)
    assert abs(cents) < 15  # the font's own tuning
    assert np.abs(wave).max() > 0.005
    half = Playback(font=os.fspath(FONT), tempo=30.0)
    slow = render_sound(some, measures=(1, 1), playback=half)
    assert slow.seconds == pytest.approx(8 + 2)


@cache
def whole_song():
    return render_sound(ar.read("datasets/low-water.musicxml"))


@pytest.mark.sampled
@pytest.mark.parametrize("name", ["whole.wav", "whole.flac", "whole.ogg"])
def test_a_whole_song_is_written_in_every_format(tmp_path, name):
    """The files are read back: as long, two channels, nothing clipped, and the same sound."""
    sound = whole_song()
    assert sound.seconds > 200
    write_sound(sound, tmp_path / name)
    again, rate = soundfile.read(tmp_path / name, dtype="float32", always_2d=True)
    assert rate == RATE
    assert again.shape == sound.samples.shape
    assert np.abs(again).max() < 0.6
    # 16 bits without loss; Vorbis leaves out what is masked.
    apart = np.sqrt(np.mean((again - sound.samples) ** 2) / np.mean(sound.samples**2))
    assert apart < (0.15 if name.endswith("ogg") else 0.01)


def test_who_lays_out_is_said():
    """A part that rests in the passage is named, with where it plays instead; with other parts the
    passage is heard.
    """
    some = song(
        ("Guitar 1", "A3", 0, 1), ("Guitar 1", "A3", 8, 1), ("Guitar 2", "E4", 4, 1),
        bars=3, sections=[("Verse", 1), ("Chorus", 2), ("Outro", 3)],
    )  # fmt: skip
    with pytest.raises(ar.ArrangeError, match=r"measure 2, so .*; ask for Verse, Outro"):
        render_sound(some, parts=["Guitar 1"], section="Chorus")
    assert render_sound(some, section="Chorus").samples.any()
    with pytest.raises(ar.ArrangeError, match="no part lays out in measures 1 to 3"):
        render_sound(some, parts=[])


def test_a_sound_that_would_be_too_long_is_not_begun(monkeypatch, tmp_path):
    """Fifty bars of four at 5 quarter notes a minute last 40 minutes; nothing is made of it."""
    slow = song(("Guitar 1", "A3", 0, 1), ("Guitar 1", "A3", 199, 1), tempo=5.0)
    monkeypatch.setattr("arrange.sound.rendering._part", None)
    for path in (None, tmp_path / "a.wav"):
        with pytest.raises(ar.ArrangeError, match=r"for 40 minutes; at most 30 are made at"):
            render_sound(slow, path)
    assert not list(tmp_path.iterdir())


def test_a_font_is_held_to_the_same_limit():
    """It plays from the start of the song, so that what lies before the stretch counts."""
    some = song(("Guitar 1", "A3", 0, 1), ("Guitar 1", "A3", 1796, 1), tempo=60.0)
    with pytest.raises(ar.ArrangeError, match="for 60 minutes"):
        render_sound(some, measures=(450, 450), playback=Playback(tempo=30, font="none.sf2"))


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg"])
def test_a_sound_that_does_not_fit_is_reported_and_leaves_nothing(suffix, tmp_path):
    """The system stops the file at 10 kB, as it does where a disk is full."""
    resource = pytest.importorskip("resource")
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, (88200, 2)).astype("float32")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, before[1]))
    try:
        with pytest.raises(ar.ArrangeError, match=r"cannot be written: .*Is the disk full"):
            write_sound(Sound(noise), tmp_path / f"noise{suffix}")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert list(tmp_path.iterdir()) == []


def test_drive_in_blocks_is_drive_at_once(monkeypatch):
    """The filter continues across the edges of a block."""
    wave = np.random.default_rng(1).standard_normal(1000).astype(np.float32)
    whole = amplifier.driven(wave, "overdriven")
    monkeypatch.setattr(amplifier, "_BLOCK", 170)
    np.testing.assert_allclose(amplifier.driven(wave, "overdriven"), whole, atol=1e-5)
