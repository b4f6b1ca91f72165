"""Measure which notes are heard of recorded layers, by kind of playing.

Run it by hand: ``python tests/benchmarks/recording.py [--recorded FOLDER] [--net FILE]`` (five
minutes). The guitar layers of the demo songs of many layers, 40 seconds of each, are rendered with
sounds, an amplifier, an echo and a room that the net was not trained on: the SoundFont TimGM6mb,
which pretty_midi carries, and the recorded notes in FOLDER, files named as A2 and As2; the npm
package ``tonejs-instrument-guitar-acoustic-wav`` (samples CC BY 3.0) has such.

A note is right where its pitch is and its onset is within 50 ms, as mir_eval counts it. Given
are mean F1 over layers, the same where 20 % of its duration has to be right too, and F1 without
the notes that may be repeats of the layer's echo.
"""

from __future__ import annotations

import argparse
import sys
import time
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import mir_eval
import numpy as np
import pandas as pd
import pretty_midi
from scipy import signal

import arrange as ar
from arrange.quantities.texture import echo_times
from arrange.recording.audio_files import RATE
from arrange.recording.net import LOWEST, PITCHES
from arrange.recording.notes import heard_notes, is_repeat
from arrange.sound.note_sounds import is_muted
from arrange.theory.pitch import frequency

DATASETS = Path(__file__).parents[2] / "datasets"
sys.path.insert(0, str(DATASETS / "note_net"))
from collect_notes import from_files, from_font  # noqa: E402

FONT = Path(pretty_midi.__file__).with_name("TimGM6mb.sf2")
PRESETS = {"electric": 27, "acoustic": 25, "muted": 28}
SONGS = ("last-bell.musicxml", "barn-lights.txt", "kiln-yard.txt")
SECONDS = 40.0
GAINS = {"clean": 0, "edge": 8, "overdriven": 18, "distorted": 30}  # dB
KINDS = {
    "strummed": ("Rhythm", "Rhythm double", "Strum", "Acoustic", "Acoustic double", "Stabs"),
    "picked": ("High picking", "High acoustic", "Clean picking"),
    "riffs, power chords": (
        *("Power left", "Power right", "Drive left", "Drive right"),
        *("Riff left", "Riff right", "Chug", "Wall"),
    ),
    "muted": ("Pulse",),
    "octaves, thirds": ("Octaves", "Thirds"),
    "held": ("Pad",),
    "with an echo": ("Echo", "Swell", "Chime", "Ticks", "Wash"),
}  # every other part plays lines
SURE = (0.75, 0.85)  # confidences between which notes are counted apart

Waves = dict[int, np.ndarray]  # by pitch


class Layer(NamedTuple):
    """A rendered layer: ``truth`` has a row a note, begin and end in seconds and pitch."""

    wave: np.ndarray
    truth: np.ndarray
    delay: float  # seconds to the first repeat of its echo, 0 without one


def played(waves: Waves, pitch: int, rng: np.random.Generator, seconds: float) -> np.ndarray:
    """Return a note of the nearest recorded pitch, damped after some seconds."""
    near = min(waves, key=lambda each: (abs(each - pitch), each))
    ratio = 2 ** ((pitch - near) / 12)
    place = np.arange(int((len(waves[near]) - 1) / ratio)) * ratio
    wave = np.interp(place, np.arange(len(waves[near])), waves[near])
    wave = wave[: int((seconds + 0.08) * RATE)]
    late = np.maximum(np.arange(len(wave)) / RATE - seconds, 0)
    return wave * np.exp(-late / 0.015) * rng.uniform(0.6, 1)


def amplified(wave: np.ndarray, gain: float) -> np.ndarray:
    """Return a wave through an arctangent and a cubic curve and a loudspeaker with resonances:
    none of them is of the net's training.
    """
    wave = wave / np.abs(wave).max()
    if gain:
        fine = signal.resample_poly(wave, 4, 1)
        fine = signal.lfilter(*signal.butter(1, 150, "high", fs=4 * RATE), fine)
        bent = np.arctan(1.6 * fine * 10 ** (gain / 20) + 0.25) - np.arctan(0.25)
        bent *= 2 / np.pi
        wave = signal.resample_poly(bent - bent**3 / 4, 1, 4)
        wave = signal.lfilter(*signal.butter(4, 4200, fs=RATE), wave)
        wave = wave + 0.6 * signal.lfilter(*signal.iirpeak(110, 1.2, fs=RATE), wave)
        wave = wave + 0.8 * signal.lfilter(*signal.iirpeak(2600, 1.5, fs=RATE), wave)
    return wave / np.abs(wave).max()


def echoed(wave: np.ndarray, delay: float) -> np.ndarray:
    """Return a wave with three repeats, each 6 dB softer and duller."""
    repeat, out = wave, wave.copy()
    for number in (1, 2, 3):
        repeat = signal.lfilter(*signal.butter(1, 5000, fs=RATE), repeat) / 2
        late = round(delay * number * RATE)
        out[late:] += repeat[: len(wave) - late]
    return out


def in_room(wave: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return a wave in a room of 0.9 s, with hiss 62 dB below full level."""
    late = np.arange(int(0.9 * RATE)) / RATE
    room = rng.normal(size=len(late)) * np.exp(-6.9 * late / 0.9) * (rng.random(len(late)) < 0.3)
    room *= 0.12 / np.sqrt((room**2).sum())
    wave = wave + signal.fftconvolve(wave, room)[: len(wave)]
    return wave / np.abs(wave).max() / 2 + rng.normal(size=len(wave)) * 10 ** (-62 / 20)


def layer(song: ar.Song, part: str, sounds: dict[str, Waves], seed: int) -> Layer:
    """Return the 40 seconds of a part in which it plays most."""
    rng = np.random.default_rng(seed)
    row = song.parts.set_index("part").loc[part]
    family = "acoustic" if "coustic" in str(row["instrument"]) else "electric"
    wave, truth = np.zeros(int((SECONDS + 5) * RATE)), []
    for at, end, note in performed(notes_in(song, part), rng):
        muted = is_muted(note.technique)
        sound = played(sounds["muted" if muted and "muted" in sounds else family],
                       note.pitch, rng, end - at)  # fmt: skip
        if muted and "muted" not in sounds:
            sound = sound * np.exp(-np.arange(len(sound)) / RATE / 0.09)
        wave[int(at * RATE) :][: len(sound)] += sound
        truth.append((at, end, note.pitch))
    wave = amplified(wave[: int(SECONDS * RATE)], GAINS[str(row["drive"])])
    times = echo_times(song)
    delay = times.loc[times["part"] == part, "milliseconds"].max() / 1000
    wave = in_room(echoed(wave, delay) if delay > 0 else wave, rng)
    return Layer(wave.astype(np.float32), np.array(truth), delay if delay > 0 else 0.0)


def notes_in(song: ar.Song, part: str) -> pd.DataFrame:
    """Return the notes of the part's 40 seconds, with ``begin`` and ``end`` in seconds of them."""
    notes = song.notes[(song.notes["part"] == part) & song.notes["pitch"].notna()]
    begin = song.seconds(notes["onset"].to_numpy())
    end = song.seconds((notes["onset"] + notes["sounds"]).to_numpy())
    starts = song.seconds(song.measures["onset"].to_numpy())
    inside = (begin >= starts[:, None]) & (begin < starts[:, None] + SECONDS - 0.5)
    most = int(inside.sum(axis=1).argmax())
    notes = notes.assign(begin=begin - starts[most], end=end - starts[most])
    return notes[inside[most]].sort_values(["begin", "pitch"])


def performed(notes: pd.DataFrame, rng: np.random.Generator) -> Iterator[tuple[float, float, Any]]:
    """Yield onset, end and row of each note, a little early or late, chords string by string."""
    for begin, together in notes.groupby("begin"):
        late = rng.normal(0, 0.006)
        order = together[::-1] if rng.random() < 0.35 else together
        for place, note in enumerate(order.itertuples()):
            string = place * 0.012 if len(order) > 3 else rng.normal(0, 0.002)
            at = max(begin + late + string, 0)
            yield at, max(note.end + late, at + 0.05), note


def intervals(notes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return begin and end, and frequency, as mir_eval takes them."""
    return notes[:, :2], frequency(notes[:, 2])


def right(truth: np.ndarray, heard: np.ndarray) -> np.ndarray:
    """Return which of the notes heard are right."""
    pairs = mir_eval.transcription.match_notes(
        *intervals(truth), *intervals(heard), offset_ratio=None
    )
    return np.isin(np.arange(len(heard)), [each for _, each in pairs])


def f1(truth: np.ndarray, heard: np.ndarray, offset_ratio: float | None = None) -> float:
    """Return the F1 of notes."""
    if not len(heard):
        return 0.0
    return mir_eval.transcription.precision_recall_f1_overlap(
        *intervals(truth), *intervals(heard), offset_ratio=offset_ratio
    )[2]


def score(rendered: Layer, net: Path | None) -> tuple[dict[str, float], pd.DataFrame]:
    """Return the figures of a layer, and its notes heard with whether they are right."""
    inside = (rendered.truth[:, 2] >= LOWEST) & (rendered.truth[:, 2] < LOWEST + PITCHES)
    truth = rendered.truth[inside]
    began = time.process_time()
    notes = heard_notes(rendered.wave, net)
    spent = time.process_time() - began
    heard = notes[["begin", "end", "pitch"]].to_numpy(dtype=float)
    own = ~is_repeat(notes, rendered.delay) if rendered.delay else np.ones(len(heard), dtype=bool)
    row = {"notes": len(truth), "F1": f1(truth, heard), "with ends": f1(truth, heard, 0.2),
           "no repeats": f1(truth, heard[own]), "seconds": spent}  # fmt: skip
    return row, notes.assign(right=right(truth, heard))


def kind_of(part: str) -> str:
    """Return what a part plays."""
    return next((kind for kind, parts in KINDS.items() if part in parts), "lines")


def measured(
    banks: dict[str, dict[str, Waves]], net: Path | None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return a row a layer, and a row a note heard."""
    rows, every, number = [], [], 0
    for name in SONGS:
        song = ar.read(DATASETS / name)
        for part in song.parts.loc[song.parts["family"] == "guitar", "part"]:
            for place, (label, sounds) in enumerate(banks.items()):
                row, notes = score(layer(song, part, sounds, 2 * number + place), net)
                rows.append({"sounds": label, "kind": kind_of(part), "part": part, **row})
                every.append(notes.assign(sounds=label))
            number += 1
    return pd.DataFrame(rows), pd.concat(every)


def by_pitch(rows: Iterator[tuple[str, int, np.ndarray]]) -> dict[str, Waves]:
    """Return the waves of notes by family and pitch."""
    banks: dict[str, Waves] = {}
    for family, pitch, wave in rows:
        banks.setdefault(family, {})[pitch] = wave
    return banks


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--recorded", type=Path)
    parser.add_argument("--net", type=Path)
    parser.add_argument("--layers", action="store_true", help="a row for each layer, too")
    asked = parser.parse_args()
    warnings.simplefilter("ignore")
    banks = {"font": by_pitch(from_font(FONT.read_bytes(), PRESETS))}
    if asked.recorded:
        own = by_pitch(from_files(asked.recorded, "recorded"))["recorded"]
        banks["recorded"] = {"electric": own, "acoustic": own}
    rows, notes = measured(banks, asked.net)
    if asked.layers:
        print(rows.round(3).to_string(), end="\n\n")
    figures = ["F1", "with ends", "no repeats"]
    table = rows.groupby(["sounds", "kind"])[figures].mean()
    table.insert(0, "layers", rows.groupby(["sounds", "kind"]).size())
    print(table.round(3).to_string())
    without = rows[rows["kind"] != "with an echo"]
    print(without.groupby("sounds")[figures].mean().round(3).to_string(), "(without an echo)")
    sure = notes[notes["confidence"].between(*SURE)]
    share = sure.groupby("sounds")["right"].agg(["mean", "size"]).round(3)
    print(f"right, of notes with a confidence of {SURE[0]} to {SURE[1]}:\n{share.to_string()}")
    print(f"{SECONDS * len(rows) / rows['seconds'].sum():.1f} seconds heard a second of processor")


if __name__ == "__main__":
    main()
