"""Play passages on recorded, sampled and computed notes, many windows at once."""

from __future__ import annotations

import math
from itertools import chain
from multiprocessing import Pool
from pathlib import Path
from typing import NamedTuple

import numpy as np
import torch
from agreed import LOW, PITCHES, RATE
from collect_notes import FULL
from passages import BEFORE
from strings import computed_strings
from torch import Tensor
from windows import DEVICE, SIZE, one_in, uniform

GROUPS = 4  # of windows with about as many notes
NEAR = 3  # notes of a family that may stand for a pitch
FURTHEST = 9  # semitones by which a note is moved, less than that
BLOCK = 441  # samples over which it is measured how long a note lasts
LASTS = 36  # dB below its loudest, where a note ends
FOR_EVER = 60.0  # seconds of a note that is not damped
WEIGHTS = {"recorded electric": 5.0, "recorded nylon": 2.0, "clean": 2.5, "jazz": 1.5, "steel": 2.0,
           "nylon": 1.0, "muted": 0.6, "bass": 0.3}  # fmt: skip
COMPUTED = 9.0  # weight of all computed instruments together


class Bank(NamedTuple):
    """All notes, and which of them are near a pitch in each family."""

    waves: Tensor  # notes x samples, peak 1
    pitch: Tensor  # of each note, MIDI number
    lasts: Tensor  # seconds of each note
    families: list[str]
    weights: Tensor  # how often each family is used
    near: Tensor  # families x 128 x NEAR, rows of notes


class Played(NamedTuple):
    """Windows as played, dry; all but the wave are B x EVENTS."""

    wave: Tensor  # B x SIZE
    there: Tensor  # which events are notes that sound
    row: Tensor  # their pitches, from LOW
    onset: Tensor  # seconds from the window's first frame
    end: Tensor


class Damping(NamedTuple):
    """How quickly notes die away, in seconds to 1/e, B x EVENTS."""

    end: Tensor  # once they are damped
    own: Tensor  # from their start, where the palm mutes them


def load_bank(path: Path, seed: int, instruments: int) -> Bank:
    """Return the notes that ``collect_notes`` has kept, and those of computed instruments."""
    kept = np.load(path)
    with Pool() as pool:
        made = pool.starmap(computed_strings, [(each, seed) for each in range(instruments)])
    family, pitch, waves = (list(column) for column in zip(*chain(*made), strict=True))
    whole = np.concatenate([kept["waves"].astype(np.float32) / FULL, np.float32(waves)])
    pitches = np.concatenate([kept["pitch"], pitch])
    names = np.concatenate([kept["family"], family])
    families = sorted(set(names.tolist()))
    weights = np.array([WEIGHTS.get(each, COMPUTED / instruments) for each in families])
    return Bank(
        waves=torch.tensor(whole, device=DEVICE).half(),
        pitch=torch.tensor(pitches, device=DEVICE).float(),
        lasts=torch.tensor(_lasting(whole), device=DEVICE).float(),
        families=families,
        weights=torch.tensor(weights / weights.sum(), device=DEVICE).float(),
        near=torch.tensor(_nearest(pitches, names, families), device=DEVICE),
    )


def _nearest(pitches: np.ndarray, names: np.ndarray, families: list[str]) -> np.ndarray:
    near = np.zeros((len(families), 128, NEAR), dtype=np.int64)
    for row, family in enumerate(families):
        own = np.flatnonzero(names == family)
        away = np.abs(pitches[own] - np.arange(128)[:, None])
        order = own[np.argsort(away, axis=1, kind="stable")[:, :NEAR]]
        near[row] = np.resize(order.T, (NEAR, 128)).T
    return near


def _lasting(waves: np.ndarray) -> np.ndarray:
    """How many seconds each note lasts until it stays LASTS dB below its loudest."""
    blocks = waves[:, : waves.shape[1] // BLOCK * BLOCK].reshape(len(waves), -1, BLOCK)
    loudness = np.sqrt((blocks**2).mean(2))
    above = loudness > loudness.max(1, keepdims=True) * 10 ** (-LASTS / 20)
    return (above.shape[1] - above[:, ::-1].argmax(1)) * BLOCK / RATE


def played(bank: Bank, events: Tensor) -> Played:
    """Return windows of events, B x EVENTS x 5, each on one family of notes."""
    onset, end, pitch, strength, palm = torch.nan_to_num(events).unbind(-1)
    count, size = len(events), pitch.shape
    pitch = pitch + torch.randint(-3, 4, (count, 1), device=DEVICE)
    there = ~events[..., 2].isnan() & (pitch >= LOW) & (pitch < LOW + PITCHES)
    family, on_muted = _families(bank, palm, there)
    notes = _chosen_notes(bank, family, pitch)
    away = pitch - bank.pitch[notes]
    there = there & (away.abs() < FURTHEST)
    cents = uniform((count, 1), -12, 12) + torch.randn(size, device=DEVICE) * 3
    ratio = 2 ** ((away + cents / 100) / 12)
    uneven = torch.randn(size, device=DEVICE) * 2 * uniform((count, 1), 0.3, 1)  # dB
    gain = strength**2 * there * 10 ** (uneven / 20)
    damping = _damping(palm, on_muted)
    wave = _mixed(bank, notes, there, torch.stack([onset, end, ratio, gain, *damping], 2))
    lasts = bank.lasts[notes] / ratio
    fades = torch.minimum(lasts, damping.own * LASTS / (20 / math.log(10)))
    lasts = torch.where(damping.own < FOR_EVER, fades, lasts)
    return Played(wave, there, pitch.round().long() - LOW, onset, torch.minimum(end, onset + lasts))


def _families(bank: Bank, palm: Tensor, there: Tensor) -> tuple[Tensor, Tensor]:
    """A family for each window, and which windows play notes that were recorded muted."""
    count = len(palm)
    family = torch.multinomial(bank.weights, count, replacement=True)
    mostly = (palm.sum(1) > 0.5 * there.sum(1)) & there.any(1)
    on_muted = mostly & one_in(count, 0.25)[:, 0]
    muted = torch.full_like(family, bank.families.index("muted"))
    return torch.where(on_muted, muted, family), on_muted


def _chosen_notes(bank: Bank, family: Tensor, pitch: Tensor) -> Tensor:
    """The note that stands for each pitch: mostly the nearest, else one near by."""
    rank = torch.randint(0, NEAR, pitch.shape, device=DEVICE)
    rank = torch.where(torch.rand(pitch.shape, device=DEVICE) < 0.6, 0, rank)
    return bank.near[family[:, None], pitch.long().clamp(0, 127), rank]


def _damping(palm: Tensor, on_muted: Tensor) -> Damping:
    count, size = len(palm), palm.shape
    muted = 10 ** uniform((count, 1), -1.4, -0.6) * uniform(size, 0.8, 1.25)
    own = torch.where((palm > 0) & ~on_muted[:, None], muted, FOR_EVER)
    return Damping(10 ** uniform((count, 1), -2.2, -1.3).expand(size), own)


def _mixed(bank: Bank, notes: Tensor, there: Tensor, settings: Tensor) -> Tensor:
    """Windows with all their notes, B x SIZE; ``settings`` is B x EVENTS x 6, as ``_play_note``
    takes them. Windows with about as many notes are computed together.
    """
    count = len(notes)
    depth = one_in(count, 0.15) * uniform((count, 1), 0, 1.2e-3)  # seconds of a vibrato
    speed = uniform((count, 1), 4, 7)
    flat, length = bank.waves.reshape(-1), bank.waves.shape[1]
    total = torch.zeros(count, SIZE, device=DEVICE)
    for rows in there.sum(1).argsort().chunk(GROUPS):
        own = torch.zeros(len(rows), SIZE, device=DEVICE)
        vibrato = torch.cat([depth[rows], speed[rows]], 1)
        for event in torch.nonzero(there[rows].any(0))[:, 0].tolist():
            begin = notes[rows, event, None] * length
            own = PLAY_NOTE(own, flat, begin, length, settings[rows, event], vibrato)
        total[rows] = own
    return total


def _play_note(
    total: Tensor, flat: Tensor, begin: Tensor, length: int, setting: Tensor, vibrato: Tensor
) -> Tensor:
    """Windows with one more note each.

    ``flat`` has all notes in a row, ``begin`` is where the own one begins, B x 1; ``setting`` is
    onset, end, ratio of frequencies, gain and the two dampings, B x 6; ``vibrato`` is depth in
    seconds and speed in Hz, B x 2.
    """
    onset, end, ratio, gain, end_damping, own_damping = setting.split(1, dim=1)
    depth, speed = vibrato.split(1, dim=1)
    at = torch.arange(total.shape[1], device=total.device, dtype=torch.float32)[None]
    at = at / RATE - BEFORE
    since = at - onset
    place = (since + depth * torch.sin(2 * math.pi * speed * since)) * ratio * RATE
    inside = (since >= 0) & (place < length - 2) & (place >= 0)
    place = torch.where(inside, place, torch.zeros_like(place))
    whole = place.long()
    part = place - whole
    value = flat[begin + whole].float() * (1 - part) + flat[begin + whole + 1].float() * part
    fades = torch.clamp(at - end, min=0) / end_damping + torch.clamp(since, min=0) / own_damping
    return total + torch.where(inside, value * gain * torch.exp(-fades), torch.zeros_like(value))


PLAY_NOTE = torch.compile(_play_note, dynamic=False) if DEVICE == "cuda" else _play_note
