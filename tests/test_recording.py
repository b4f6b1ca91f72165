"""What is heard of a recorded layer is compared with what was played, and with other libraries."""

import importlib.util
import io
import re
import sys
from pathlib import Path

import mir_eval
import numpy as np
import onnx
import pandas as pd
import pretty_midi
import pytest
import soundfile
from scipy.signal import resample_poly
from songs import song

from arrange.errors import ArrangeError
from arrange.recording import net, spectra
from arrange.recording.audio_files import LONGEST_MINUTES, RATE, read_layer
from arrange.recording.notes import heard_notes, is_repeat
from arrange.sound import RATE as SOUND_RATE
from arrange.sound import Playback, render_sound
from arrange.theory.pitch import frequency

FONT = Path(pretty_midi.__file__).with_name("TimGM6mb.sf2")  # the net was not trained on it
AGREED = Path(__file__).parents[1] / "datasets" / "note_net" / "agreed.py"
SINE = 0.5 * np.sin(2 * np.pi * 440 * np.arange(RATE) / RATE)


def sine(rate, channels=1):
    """Return a second of A4 at half of full level; a second channel is silent."""
    wave = np.zeros((rate, channels))
    wave[:, 0] = 0.5 * np.sin(2 * np.pi * 440 * np.arange(rate) / rate)
    return wave


@pytest.mark.parametrize(
    ("name", "kind", "rate", "channels", "error"),
    [
        ("a.wav", "PCM_16", 44_100, 1, 1e-3),
        ("a.wav", "PCM_U8", 22_050, 1, 1e-2),
        ("a.wav", "FLOAT", 96_000, 2, 1e-3),
        ("a.flac", "PCM_24", 48_000, 2, 1e-3),
        ("a.aiff", "PCM_24", 48_000, 1, 1e-3),
        ("a.ogg", "VORBIS", 44_100, 2, 3e-2),
    ],
)
def test_a_file_becomes_samples(tmp_path, name, kind, rate, channels, error):
    """scipy's resampling of what soundfile reads gives the same samples, channels mixed."""
    path = tmp_path / name
    soundfile.write(path, sine(rate, channels), rate, subtype=kind)
    heard = read_layer(path)
    assert heard.dtype == np.float32
    assert len(heard) == RATE
    middle = slice(500, -500)  # filters ring at both ends
    common = np.gcd(RATE, rate)
    known = resample_poly(soundfile.read(path, always_2d=True)[0].mean(axis=1),
                          RATE // common, rate // common)  # fmt: skip
    assert np.abs(heard - known)[middle].max() < 1e-3
    assert np.abs(heard - SINE / channels)[middle].max() < error


def test_samples_that_are_no_numbers_are_silence(tmp_path):
    wave = sine(RATE)
    wave[100:200], wave[300] = np.nan, np.inf
    soundfile.write(tmp_path / "a.wav", wave, RATE, subtype="FLOAT")
    heard = read_layer(tmp_path / "a.wav")
    assert not heard[100:200].any()
    assert heard[300] == 0
    np.testing.assert_allclose(heard[400:], SINE[400:], atol=1e-6)


def wav(frames, rate=RATE):
    """Return the bytes of a silent WAV file of 8 bits."""
    file = io.BytesIO()
    soundfile.write(file, np.zeros(0), rate, format="WAV", subtype="PCM_U8")
    data = bytearray(file.getvalue() + bytes([128]) * frames)
    data[4:8] = (len(data) - 8).to_bytes(4, "little")
    data[40:44] = frames.to_bytes(4, "little")
    return bytes(data)


BAD = {
    "empty.wav": (b"", r"this is no audio that can be read \(.+\); give a WAV, FLAC"),
    "song.mid": (b"MThd\0\0\0\6\0\1\0\1\1\xe0" * 9, "this is no audio that can be read"),
    "cut.flac": (b"fLaC\0\0\0\x22" + bytes(9), "this is no audio that can be read"),
    "none.wav": (wav(0), "there is no sound in it"),
    "long.wav": (wav(31 * 60 * 8_000, 8_000), f"lasts 31 minutes; at most {LONGEST_MINUTES:.0f}"),
    "slow.wav": (wav(500, 4_000), "4,000 samples a second; what is read has 8,000 to"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_no_layer_is_refused_in_a_sentence(tmp_path, name):
    data, expected = BAD[name]
    (tmp_path / name).write_bytes(data)
    with pytest.raises(ArrangeError, match=expected) as raised:
        read_layer(tmp_path / name)
    assert name in str(raised.value)
    assert "\n" not in str(raised.value)


def test_a_missing_file_and_an_unread_format(tmp_path):
    with pytest.raises(ArrangeError, match="there is no such file"):
        read_layer(tmp_path / "none.wav")
    with pytest.raises(ArrangeError, match="there is no such file"):
        read_layer(tmp_path)
    soundfile.write(tmp_path / "a.au", sine(RATE), RATE, format="AU")
    with pytest.raises(ArrangeError, match="AU is not read; give a WAV"):
        read_layer(tmp_path / "a.au")


@pytest.mark.parametrize("pitch", [57, 64 + 1 / 3, 88])
def test_the_spectrum_of_a_sine(pitch):
    """Its own bin is the highest, and full level is 1."""
    wave = np.sin(2 * np.pi * frequency(pitch) * np.arange(RATE) / RATE).astype(np.float32)
    bins = spectra.spectra(wave, 20, 60)
    own = round((pitch - spectra.LOWEST) * spectra.PER_SEMITONE)
    assert bins.shape == (2, 40, spectra.BINS)
    assert set(bins[0].argmax(axis=1)) == {own}
    lines = (2 * spectra.RATE / size for size in (spectra.LONG, spectra.SHORT))
    for row, apart in zip(bins, lines, strict=True):
        reach = 12 * np.log2(1 + apart / frequency(pitch)) * spectra.PER_SEMITONE
        assert np.abs(row.argmax(axis=1) - own).max() <= max(reach, 1)
    # A Hann window spreads a sine over three lines, of 1, 1/4 and 1/4 of its power, and a bin takes
    # a share of each.
    level = spectra.FLOOR * (bins[0, :, own] - 1)
    assert np.abs(level).max() < 2
    soft = spectra.spectra(wave / 100, 20, 60)[0, :, own]
    np.testing.assert_allclose((bins[0, :, own] - soft) * spectra.FLOOR, 40, atol=0.1)


def test_spectra_in_pieces_are_the_whole():
    wave = np.random.default_rng(3).normal(size=12_345).astype(np.float32)
    whole = spectra.spectra(wave, 0, 49)
    pieces = [spectra.spectra(wave, first, first + 7) for first in range(0, 49, 7)]
    np.testing.assert_allclose(np.concatenate(pieces, axis=1), whole, atol=1e-5)
    assert not spectra.spectra(np.zeros(5000, dtype=np.float32), 0, 20).any()


def test_a_layer_is_levelled_by_what_is_played():
    """Rests and hiss do not count; silence stays silence."""
    played = np.tile(SINE, 4).astype(np.float32)
    rest = np.full(20 * RATE, 1e-4, dtype=np.float32)
    heard = spectra.levelled(np.concatenate([played, rest]) / 30)
    assert np.sqrt((heard[: len(played)] ** 2).mean()) == pytest.approx(spectra.LEVEL, rel=1e-3)
    assert not spectra.levelled(np.zeros(RATE, dtype=np.float32)).any()
    assert len(spectra.levelled(np.zeros(0, dtype=np.float32))) == 0


def test_training_and_hearing_agree():
    """The scripts that train the net do not import the front end; they have the same numbers."""
    loader = importlib.util.spec_from_file_location("agreed", AGREED)
    agreed = importlib.util.module_from_spec(loader)
    loader.loader.exec_module(agreed)
    ours = (RATE, spectra.HOP, spectra.LONG, spectra.SHORT, spectra.FLOOR, spectra.LEVEL)
    theirs = (agreed.RATE, agreed.HOP, agreed.LONG, agreed.SHORT, agreed.FLOOR, agreed.LEVEL)
    assert ours == theirs
    ours = (spectra.LOWEST, spectra.HIGHEST, spectra.PER_SEMITONE, net.LOWEST, net.PITCHES)
    theirs = (agreed.BINS_LOW, agreed.BINS_HIGH, agreed.PER_SEMITONE, agreed.LOW, agreed.PITCHES)
    assert ours == theirs
    wave = np.random.default_rng(1).normal(size=spectra.LONG).astype(np.float32)
    for row, size in enumerate((spectra.LONG, spectra.SHORT)):
        cut = wave[(spectra.LONG - size) // 2 :][:size] * np.hanning(size + 1)[:-1]
        power = np.abs(np.fft.rfft(cut) / (np.hanning(size + 1).sum() / 2)) ** 2
        known = 10 * np.log10(power @ agreed.bin_weights(size) + 1e-12) / agreed.FLOOR + 1
        frame = spectra.LONG // 2 // spectra.HOP
        np.testing.assert_allclose(
            spectra.spectra(wave, frame, frame + 1)[row, 0], np.maximum(known, 0), atol=1e-4
        )


PICKED = ("C3", "G3", "C4", "E4", "G4", "E4")
LINE = ("E4", "G4", "A4", "B4", "D5", "B4", "A4", "G4")
PASSAGE = (  # strummed, picked, a line: onsets in quarter notes at 120 a minute
    *((onset, "E2 B2 E3 G#3 B3 E4", 1) for onset in (0, 1)),
    *((onset, "A2 E3 A3 C#4 E4", 1) for onset in (2, 3)),
    *((4 + row / 2, name, 2) for row, name in enumerate(PICKED)),
    *((8 + row / 2, name, 0.5) for row, name in enumerate(LINE)),
)


@pytest.fixture(scope="module", params=["own", "font"])
def rendered(request):
    """Return a passage's samples at RATE and its notes: begin, end in seconds, frequency."""
    made = song(*[("Guitar", names, onset, length) for onset, names, length in PASSAGE], tempo=120)
    sound = render_sound(made, playback=Playback(font=FONT if request.param == "font" else None))
    common = np.gcd(RATE, SOUND_RATE)
    wave = resample_poly(sound.samples.mean(axis=1), RATE // common, SOUND_RATE // common)
    begin = made.seconds(made.notes["onset"].to_numpy())
    end = made.seconds((made.notes["onset"] + made.notes["duration"]).to_numpy())
    played = frequency(made.notes["pitch"].to_numpy())
    return wave.astype(np.float32), np.column_stack([begin, end]), played


def test_notes_are_heard_where_they_are_played(rendered):
    """The net knows neither sound; right are a pitch and an onset within 50 ms, as mir_eval and
    MIREX count notes.
    """
    wave, intervals, played = rendered
    notes = heard_notes(wave)
    assert list(notes) == ["begin", "end", "pitch", "confidence", "level"]
    assert notes["begin"].is_monotonic_increasing
    assert (notes["end"] > notes["begin"]).all()
    assert notes["confidence"].between(0, 1).all()
    precision, recall, _, _ = mir_eval.transcription.precision_recall_f1_overlap(
        intervals, played, notes[["begin", "end"]].to_numpy(),
        frequency(notes["pitch"].to_numpy()), onset_tolerance=0.05, offset_ratio=None,
    )  # fmt: skip
    assert precision > 0.85  # our own sound has a strong second partial: octaves are heard too
    assert recall > 0.97


def test_silence_and_hiss_have_no_notes():
    hiss = np.random.default_rng(2).normal(size=2 * RATE) * 1e-3
    for wave in (np.zeros(2 * RATE), hiss, np.zeros(0)):
        assert heard_notes(wave.astype(np.float32)).empty


def test_repeats_of_an_echo():
    """A repeat is the same pitch, later by the delay, and softer."""
    rows = [
        (0.0, 60, -20.0, False),  # played
        (0.3, 60, -26.0, True),
        (0.6, 60, -32.0, True),  # the repeat of a repeat
        (0.3, 64, -26.0, False),  # another pitch
        (1.0, 67, -20.0, False),
        (1.3, 67, -19.0, False),  # as loud: struck again
        (2.0, 69, -20.0, False),
        (2.34, 69, -26.0, False),  # 40 ms late
        (2.32, 69, -26.0, True),  # 20 ms late
    ]
    begin, pitch, level, known = zip(*rows, strict=True)
    notes = pd.DataFrame({"begin": begin, "pitch": pitch, "level": level})
    order = [4, 8, 1, 0, 5, 2, 7, 3, 6]
    assert is_repeat(notes, 0.3).tolist() == list(known)
    assert is_repeat(notes.iloc[order], 0.3).tolist() == [known[row] for row in order]
    assert is_repeat(notes.iloc[:0], 0.3).tolist() == []


def test_the_net_is_small():
    """A tenth of a second of sound is heard, whichever its length; the file is at most 1 MB."""
    assert net.NET.stat().st_size < 1_000_000
    frames = net.heard_frames(SINE[: RATE // 10].astype(np.float32))
    assert frames.sounds.shape == (RATE // 10 // spectra.HOP + 1, net.PITCHES)
    assert min(each.min() for each in frames) >= 0
    assert max(each.max() for each in frames[:2]) <= 1


def other_net(path, name="spectra", dimensions=4):
    """Write a net that gives what it takes."""
    shape = [1] * dimensions
    ends = [onnx.helper.make_tensor_value_info(each, 1, shape) for each in (name, "heard")]
    node = onnx.helper.make_node("Identity", [name], ["heard"])
    graph = onnx.helper.make_graph([node], "other", ends[:1], ends[1:])
    made = onnx.helper.make_model(graph, opset_imports=[onnx.helper.make_opsetid("", 17)],
                                  ir_version=8)  # fmt: skip
    onnx.save(made, path)


def test_a_wrong_net_is_refused(tmp_path):
    wave, path = SINE.astype(np.float32), tmp_path / "wrong.onnx"
    with pytest.raises(ArrangeError, match=r"wrong\.onnx: this is no net that can be run"):
        heard_notes(wave, path)
    path.write_bytes(b"no net")
    with pytest.raises(ArrangeError, match=r"wrong\.onnx: this is no net that can be run"):
        heard_notes(wave, path)
    for name, dimensions in (("sound", 4), ("spectra", 2)):
        other = tmp_path / f"{name}{dimensions}.onnx"
        other_net(other, name, dimensions)
        with pytest.raises(ArrangeError, match="does not hear notes as the kit's does: it takes"):
            heard_notes(wave, other)
    other_net(tmp_path / "same.onnx")  # takes spectra of another size
    with pytest.raises(ArrangeError, match="it does not run: "):
        heard_notes(wave, tmp_path / "same.onnx")


def test_without_the_library_that_runs_the_net(monkeypatch):
    monkeypatch.setitem(sys.modules, "onnxruntime", None)
    net._session.cache_clear()
    with pytest.raises(ArrangeError, match=re.escape("pip install 'arrange[audio]'")):
        heard_notes(SINE.astype(np.float32))
    net._session.cache_clear()
