"""Windows of layers as they are recorded, with what is to be heard in them."""

from __future__ import annotations

import math

import torch
from agreed import HOP, LEVEL, LONG, PITCHES, RATE
from amplifiers import (
    REPEATS,
    chorused,
    driven,
    echoed,
    echoes,
    filtered,
    in_room,
    levelled,
    responses,
)
from playing import Bank, Played, played
from torch import Tensor
from windows import DEVICE, FIRST, FRAMES, SAMPLES, SIZE, decibels, one_in, uniform

REPEAT_AUDIBLE = 0.12  # strength from which a repeat is to be heard
BLEEDING, HUMMING = 0.25, 0.3  # shares of windows


def layers(bank: Bank, events: Tensor) -> tuple[Tensor, Tensor]:
    """Return windows with half a long window on either side, and their labels.

    ``events`` is B x EVENTS x 5, as ``passages`` gives it.
    """
    dry = played(bank, events)
    delay, strengths = echoes(len(events))
    wave = in_room(echoed(chorused(driven(dry.wave)), delay, strengths))
    plays = dry.there.any(1, keepdim=True)
    wave = torch.where(plays, levelled(wave), torch.zeros_like(wave))
    wave = wave + noise(wave)
    around = wave[:, FIRST - LONG // 2 : FIRST + SAMPLES + LONG // 2]
    return around, labels(dry, delay, strengths)


def noise(wave: Tensor) -> Tensor:
    """Return what else is on a recording: another layer, hiss, mains hum."""
    count = len(wave)
    bleed = decibels(-uniform((count, 1), 15, 45)) * one_in(count, BLEEDING)
    hiss = LEVEL * decibels(-uniform((count, 1), 20, 65))
    low = torch.full((count, 1), 20.0, device=DEVICE)
    tint = responses(count, 2.0, low, uniform((count, 1), 2000, 11_000))
    white = torch.randn(count, SIZE, device=DEVICE)
    hum = LEVEL * decibels(-uniform((count, 1), 25, 60)) * one_in(count, HUMMING)
    mains = 50.0 + 10 * one_in(count, 0.5)
    at = torch.arange(SIZE, device=DEVICE)[None] / RATE
    buzz = sum(torch.sin(2 * math.pi * mains * times * at) / times for times in (1, 2, 3, 5))
    return bleed * wave.roll(1, 0) + hiss * filtered(white, tint) + hum * buzz


def labels(dry: Played, delay: Tensor, strengths: Tensor) -> Tensor:
    """Return what sounds, what is struck and what repeats, B x 3 x FRAMES x PITCHES."""
    frames = torch.arange(FRAMES, device=DEVICE) * HOP / RATE
    onset, end = dry.onset[..., None], dry.end[..., None]
    sounds = _by_pitch(dry, ((frames >= onset) & (frames < end)).float())
    struck = _by_pitch(dry, _near(frames, onset))
    repeats = torch.zeros_like(struck)
    for number in range(REPEATS):
        audible = (strengths[:, number, None, None] > REPEAT_AUDIBLE).float()
        again = _near(frames, onset + delay[..., None] * (number + 1)) * audible
        repeats = torch.maximum(repeats, _by_pitch(dry, again))
    repeats = repeats * (struck < 0.5)
    return torch.stack([sounds, struck, repeats], 1).transpose(2, 3)


def _near(frames: Tensor, moments: Tensor) -> Tensor:
    """1 within half a frame of a moment, falling to 0 at one and a half frames."""
    return (1.5 - (frames - moments).abs() * RATE / HOP).clamp(0, 1)


def _by_pitch(dry: Played, values: Tensor) -> Tensor:
    """The highest of the values of the notes of each pitch, B x PITCHES x FRAMES."""
    out = torch.zeros(len(values), PITCHES, FRAMES, device=DEVICE)
    row = dry.row.clamp(0, PITCHES - 1)[..., None].expand(-1, -1, FRAMES)
    return out.scatter_reduce_(1, row, values * dry.there[..., None], "amax")
