"""The net that hears notes: which pitches sound, and which are struck, frame by frame.

``note_net.onnx`` is trained by ``datasets/note_net/train.py``. It takes spectra, windows x 2 x
frames x bins, and gives windows x 3 x frames x pitches: how sure it is that a pitch sounds, that
it is struck, and that this is a repeat of an echo; the last is right too seldom to be used.
"""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from arrange.errors import ArrangeError, shortened
from arrange.recording.spectra import BINS, HOP, PER_SEMITONE, power, spectra
from arrange.recording.spectra import LOWEST as LOWEST_BIN
from arrange.tables.sounding import Array

NET = Path(__file__).with_name("note_net.onnx")
LOWEST, PITCHES = 35, 54  # MIDI number of the lowest pitch that the net hears, and how many
_AT_ONCE = 2048  # frames
_AROUND = 72  # frames before and after these, at least as far as the net looks
_SILENT = 1e-3  # peak under which a stretch is not listened to: 40 dB under the loud parts
_THREADS = 2
_PARTIALS = (1, 2, 3, 4)


class Frames(NamedTuple):
    """What is heard of a layer, frame by frame: each frames x ``PITCHES``, the first ``LOWEST``.

    Parameters
    ----------
    sounds, struck : array of float32
        How sure the net is that a pitch sounds, and that it is struck; 0 to 1.
    strength : array of float32
        Power of the pitch's first partials, 1 at full level.
    """

    sounds: Array
    struck: Array
    strength: Array


def heard_frames(samples: Array, net: str | os.PathLike[str] | None = None) -> Frames:
    """Return what is heard of a layer, frame by frame.

    Parameters
    ----------
    samples : array of float32
        A layer, levelled.
    net : path, optional
        An ONNX net of the same shape, in place of the kit's own.

    Raises
    ------
    ArrangeError
        If ``onnxruntime`` is not installed, or the file is no such net.
    """
    path = os.fspath(net or NET)
    frames = len(samples) // HOP + 1
    out = np.zeros((3, frames, PITCHES), dtype=np.float32)
    for begin in range(0, frames, _AT_ONCE):
        end = min(begin + _AT_ONCE, frames)
        first, last = max(begin - _AROUND, 0), min(end + _AROUND, frames)
        if np.abs(samples[first * HOP : last * HOP]).max(initial=0) < _SILENT:
            continue
        bins = spectra(samples, first, last)
        own = slice(begin - first, end - first)
        out[:2, begin:end] = _heard(path, bins)[:2, own]
        out[2, begin:end] = _strength(power(bins[1, own]))
    return Frames(*out)


def _heard(path: str, bins: Array) -> Array:
    """What a net makes of the spectra of some frames, 3 x frames x pitches."""
    session = _session(path)
    try:
        (heard,) = session.run(None, {"spectra": bins[None]})
    except Exception as error:  # its own classes have no public names
        raise _not_ours(path, f"it does not run: {_first_line(error)}") from None
    if heard.shape != (1, 3, bins.shape[1], PITCHES):
        raise _not_ours(path, f"it gives {' x '.join(map(str, heard.shape))}")
    return np.asarray(heard[0])


def _strength(short: Array) -> Array:
    """The power of each pitch's first partials, of the power of the short window's bins."""
    places = (LOWEST - LOWEST_BIN + np.arange(PITCHES)) * PER_SEMITONE
    steps = np.rint(12 * PER_SEMITONE * np.log2(_PARTIALS)).astype(int)
    beside = np.arange(-1, 2)
    bins = places[:, None, None] + steps[:, None] + beside
    return np.asarray(short[:, bins.reshape(PITCHES, -1)].sum(axis=2))


@lru_cache(maxsize=2)
def _session(path: str) -> Any:
    try:
        import onnxruntime
    except ImportError:
        raise ArrangeError(
            "to hear single notes, install what runs the net: pip install 'arrange[audio]'"
        ) from None
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = _THREADS
    options.log_severity_level = 4
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")  # others need the time
    try:
        session = onnxruntime.InferenceSession(path, options)
    except Exception as error:  # its own classes have no public names
        raise ArrangeError(
            f"{shortened(path)}: this is no net that can be run ({_first_line(error)})"
        ) from None
    takes = [(each.name, len(each.shape)) for each in session.get_inputs()]
    if takes != [("spectra", 4)] or len(session.get_outputs()) != 1:
        names = ", ".join(name for name, _ in takes)
        raise _not_ours(path, f"it takes {shortened(names)}")
    return session


def _not_ours(path: str, why: str) -> ArrangeError:
    return ArrangeError(
        f"{shortened(path)}: this net does not hear notes as the kit's does: {why}; it should take "
        f"spectra, windows x 2 x frames x {BINS}, and give windows x 3 x frames x {PITCHES}"
    )


def _first_line(error: Exception) -> str:
    return str(error).splitlines()[0][:120]
