"""A sound that can be heard in a notebook and written to a file."""

from __future__ import annotations

import base64
import io
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from arrange.errors import ArrangeError, shortened
from arrange.formats.files import check_target, whole_file
from arrange.sound.tones import RATE, Array

_FORMATS = {".wav": ("WAV", "PCM_16"), ".flac": ("FLAC", "PCM_16"), ".ogg": ("OGG", "VORBIS")}
_BLOCK_SAMPLES = 2**16  # written at a time: the Vorbis writer cannot take minutes at once


@dataclass(frozen=True)
class Sound:
    """Something to listen to. A notebook shows it as a player.

    Parameters
    ----------
    samples : array of float32, samples x 2
        Left and right, at ``RATE``, between -1 and 1.
    begins : float
        Seconds at which the music begins, after a count-in.
    is_loop : bool
        Whether the player begins anew at the end.
    """

    samples: Array
    begins: float = 0.0
    is_loop: bool = False

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / RATE

    def _repr_html_(self) -> str:
        # FLAC: lossless, a fifth of a WAV's size, and played by every browser.
        file = io.BytesIO()
        _write_blocks(self, file, ".flac")
        data = base64.b64encode(file.getvalue()).decode()
        loop = " loop" if self.is_loop else ""
        name = f"Sound, {self.seconds:.0f} seconds"
        return (
            f'<audio controls{loop} aria-label="{name}" src="data:audio/flac;base64,{data}">'
            "</audio>"
        )


def join_sounds(*sounds: Sound, pause: float = 0.8) -> Sound:
    """Return sounds one after the other, such as a passage before and after a change.

    Parameters
    ----------
    *sounds : Sound
    pause : float
        Seconds of silence between two of them.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> bar = ar.render_sound(song, measures=(1, 1))
    >>> both = ar.join_sounds(bar, bar, pause=1)
    >>> round(both.seconds - 2 * bar.seconds, 3)
    1.0
    """
    silence = np.zeros((round(pause * RATE), 2), dtype=np.float32)
    pieces = [piece for sound in sounds for piece in (sound.samples, silence)][:-1]
    return Sound(np.concatenate(pieces)) if pieces else Sound(silence[:0])


def write_sound(sound: Sound, path: str | os.PathLike[str]) -> Path:
    """Write a sound as ``.wav`` or ``.flac`` (16 bits) or ``.ogg`` (Vorbis), whole or not at all.

    Raises
    ------
    ArrangeError
        If the name ends in none of them, or the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> sound = ar.render_sound(song, measures=(1, 1))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     ar.write_sound(sound, f"{folder}/bar.flac").name
    'bar.flac'
    """
    path = Path(path)
    check_sound_path(path)
    with whole_file(path) as draft:
        try:
            _write_blocks(sound, draft, path.suffix.lower())
        except (
            soundfile.LibsndfileError
        ) as error:  # for a full disk the library reports "System error."
            raise ArrangeError(
                f"{shortened(path)}: cannot be written: {error.error_string} Is the disk full? "
                "Choose another place"
            ) from None
    return path


def check_sound_path(path: Path) -> None:
    """Raise an ArrangeError if no sound can be written there."""
    if path.suffix.lower() not in _FORMATS:
        raise ArrangeError(
            f"{shortened(path)}: a sound is written as .wav, .flac or .ogg; end the name in one"
        )
    check_target(path)


def _write_blocks(sound: Sound, target: Path | io.BytesIO, suffix: str) -> None:
    kind, subtype = _FORMATS[suffix]
    samples = sound.samples
    with soundfile.SoundFile(target, "w", RATE, samples.shape[1], subtype, format=kind) as file:
        for begin in range(0, len(samples), _BLOCK_SAMPLES):
            file.write(samples[begin : begin + _BLOCK_SAMPLES])


def exposure_hours(decibels: Any) -> Any:
    """Return how many hours of a day one may hear a level, dBA, after NIOSH: 8 at 85 dBA, half
    as long for each 3 dB more. A rule for work places; your own ears may ask for less.
    """
    return 8 / 2 ** ((np.asarray(decibels) - 85) / 3)
