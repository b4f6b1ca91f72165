"""A recorded layer's file as samples: one channel, at the rate at which everything here listens."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import soundfile
import soxr

from arrange.errors import ArrangeError, shortened
from arrange.tables.sounding import Array

RATE = 22_050  # samples a second, of everything that is heard
LONGEST_MINUTES = 30.0
_BLOCK = 2**16  # frames read at a time
_READABLE = ("WAV", "WAVEX", "RF64", "W64", "FLAC", "OGG", "AIFF", "MP3")
_SLOWEST, _FASTEST = 8_000, 384_000  # samples a second


def read_layer(path: str | os.PathLike[str]) -> Array:
    """Return a recorded layer's samples.

    Channels are mixed to one. Samples that are no numbers count as silence.

    Parameters
    ----------
    path : path
        WAV, FLAC, OGG, AIFF or MP3, at any rate, with any number of channels.

    Returns
    -------
    array of float32
        At ``RATE``, about between -1 and 1.

    Raises
    ------
    ArrangeError
        If the file cannot be read, is no audio, is empty, or lasts longer than
        ``LONGEST_MINUTES``.
    """
    name = shortened(path)
    if not Path(path).is_file():
        raise ArrangeError(f"{name}: there is no such file")
    try:
        with soundfile.SoundFile(path) as file:
            _check(name, file)
            stream = soxr.ResampleStream(file.samplerate, RATE, 1, dtype="float32")
            pieces = [
                stream.resample_chunk(_one_channel(block))
                for block in file.blocks(_BLOCK, dtype="float32", always_2d=True)
            ]
    except soundfile.SoundFileError as error:
        reason = str(error).rstrip(".").rpartition(": ")[2]
        raise ArrangeError(
            f"{name}: this is no audio that can be read ({reason}); give a WAV, FLAC, OGG, AIFF or "
            "MP3 file"
        ) from None
    pieces.append(stream.resample_chunk(np.zeros(0, dtype=np.float32), last=True))
    return np.concatenate(pieces)


def _check(name: str, file: soundfile.SoundFile) -> None:
    if file.format not in _READABLE:
        raise ArrangeError(f"{name}: {file.format} is not read; give a WAV, FLAC, OGG or AIFF file")
    if not file.frames:
        raise ArrangeError(f"{name}: there is no sound in it")
    if not _SLOWEST <= file.samplerate <= _FASTEST:
        raise ArrangeError(
            f"{name}: {file.samplerate:,} samples a second; what is read has {_SLOWEST:,} to "
            f"{_FASTEST:,}"
        )
    minutes = file.frames / file.samplerate / 60
    if minutes > LONGEST_MINUTES:
        raise ArrangeError(
            f"{name} lasts {minutes:,.0f} minutes; at most {LONGEST_MINUTES:.0f} are read: cut the "
            "song out of it"
        )


def _one_channel(block: Array) -> Array:
    """One channel of a block, with silence in place of what is no number."""
    mono = block.mean(axis=1, dtype=np.float32)
    return np.nan_to_num(mono, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
