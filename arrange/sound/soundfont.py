"""Parts played from a SoundFont: each part's MIDI file alone, turned into a wave."""

from __future__ import annotations

import importlib
import io
import tempfile
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import soundfile

from arrange.errors import ArrangeError
from arrange.formats.midi import write_midi
from arrange.sound.tones import RATE, Array
from arrange.tables.song import Song

_VOLUME = 6.0  # brings a note of a font near the level of one of ours (by ear)


@dataclass(frozen=True)
class Sampler:
    """A song's parts on the instruments of a font.

    Parameters
    ----------
    song : Song
    font : Path
    slower : float
        Times as long as at the song's tempo.

    Raises
    ------
    ArrangeError
        If the font cannot be read, or the library that plays it is not installed.
    """

    song: Song
    font: Path
    slower: float

    @cached_property
    def _data(self) -> bytes:
        try:
            data = self.font.read_bytes()
        except OSError as error:
            raise ArrangeError(f"{self.font}: cannot be read: {error.strerror}") from None
        if data[:4] != b"RIFF" or data[8:12] != b"sfbk":
            raise ArrangeError(f"{self.font}: this is no SoundFont; its name ends in .sf2")
        return data

    @cached_property
    def _library(self) -> Any:
        try:
            return importlib.import_module("midirenderer")
        except ImportError:
            raise ArrangeError(
                "to play from a SoundFont, install what plays it: pip install 'arrange[sampled]'"
            ) from None

    def play(self, part: str, notes: pd.DataFrame) -> Array:
        """Return notes of a part in mono from the start of the song, at ``RATE``."""
        data, library = self._data, self._library
        measures = self.song.measures
        alone = replace(
            self.song,
            parts=self.song.parts[self.song.parts["part"] == part].assign(level=0.0),
            measures=measures.assign(tempo=measures["tempo"] / self.slower),
            notes=notes.assign(duration=notes["sounds"]).reset_index(drop=True),
        )
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "part.mid"
            write_midi(alone, path)
            wave = library.render_wave_from(data, path.read_bytes())
        samples, rate = soundfile.read(io.BytesIO(wave), dtype="float32", always_2d=True)
        mono = samples.mean(axis=1) * _VOLUME
        if rate != RATE:
            at = np.arange(int(len(mono) * RATE / rate)) * rate / RATE
            mono = np.interp(at, np.arange(len(mono)), mono)
        return mono
