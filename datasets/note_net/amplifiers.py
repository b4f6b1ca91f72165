"""Amplifiers, loudspeakers, echoes, rooms and levels, for many windows at once.

Waves are B x SIZE, a row a window; every window gets settings of its own, at random.
"""

from __future__ import annotations

import math

import torch
from agreed import LEVEL, RATE
from torch import Tensor
from windows import DEVICE, FIRST, SAMPLES, SIZE, decibels, one_in, uniform

REPEATS = 4  # of an echo
FINER = 4  # times the rate at which an amplifier bends a wave
TENTH = RATE // 10  # samples over which loudness is taken
ROOM_SECONDS = 2
CLEAN, HARD, SOFT = 0.35, 0.25, 0.4  # shares of windows, and of amplifiers by their curve
CHORUSED, ECHOED, IN_ROOM = 0.12, 0.22, 0.7  # shares of windows


def filtered(wave: Tensor, response: Tensor) -> Tensor:
    """Return waves through filters, given their responses, B x SIZE/2+1."""
    return torch.fft.irfft(torch.fft.rfft(wave) * response, n=SIZE)


def responses(count: int, strength: float, low: Tensor, high: Tensor) -> Tensor:
    """Return random smooth responses, B x SIZE/2+1.

    ``strength`` is in dB, from octave to octave; below ``low`` and above ``high``, in Hz and B x 1,
    they fall by 12 dB an octave.
    """
    hertz = torch.linspace(0, RATE / 2, SIZE // 2 + 1, device=DEVICE)
    octave = torch.log2(hertz.clamp(min=20) / 20).clamp(max=9.99)
    knots = torch.randn(count, 11, device=DEVICE) * strength
    left = octave.long()
    part = octave - left
    level = knots[:, left] * (1 - part) + knots[:, left + 1] * part
    level = level - 10 * torch.log10(1 + (hertz[None] / high) ** 4)
    level = level - 10 * torch.log10(1 + (low / hertz.clamp(min=1)[None]) ** 4)
    return decibels(level)


def at_peak(wave: Tensor) -> Tensor:
    """Return waves with a peak of 1."""
    return wave / wave.abs().amax(1, keepdim=True).clamp(min=1e-4)


def toned(wave: Tensor, strength: float, lows: tuple[int, int], highs: tuple[int, int]) -> Tensor:
    """Return waves through random tone controls, given the limits of their low and high cuts."""
    count = len(wave)
    low, high = uniform((count, 1), *lows), uniform((count, 1), *highs)
    return filtered(wave, responses(count, strength, low, high))


def driven(wave: Tensor) -> Tensor:
    """Return waves through amplifiers: a tone control, a curve, a loudspeaker. Some stay clean."""
    wave = at_peak(wave)
    before = at_peak(toned(wave, 3.5, (20, 250), (3000, 10_000)))
    loud = toned(bent(before), 3.0, (40, 130), (2500, 6500))
    plain = toned(wave, 3.5, (20, 100), (4000, 11_000))
    return torch.where(one_in(len(wave), CLEAN), plain, at_peak(loud))


def bent(wave: Tensor) -> Tensor:
    """Return waves through a curve that is soft, hard or not symmetric, by 0 to 40 dB."""
    count = len(wave)
    gain = decibels(uniform((count, 1), 0, 40))
    fine = torch.fft.irfft(torch.fft.rfft(wave), n=FINER * SIZE) * FINER * gain
    bias = uniform((count, 1), 0, 0.6)
    which = torch.rand((count, 1), device=DEVICE)
    others = torch.where(
        which < SOFT + HARD, fine.clamp(-1, 1), torch.tanh(fine + bias) - torch.tanh(bias)
    )
    fine = torch.where(which < SOFT, torch.tanh(fine), others)
    return torch.fft.irfft(torch.fft.rfft(fine)[:, : SIZE // 2 + 1], n=SIZE) / FINER


def chorused(wave: Tensor) -> Tensor:
    """Return waves, some with a copy whose delay moves up and down."""
    count = len(wave)
    at = torch.arange(SIZE, device=DEVICE, dtype=torch.float32)[None]
    depth, speed = uniform((count, 1), 0.0005, 0.003), uniform((count, 1), 0.3, 3)
    swing = torch.sin(2 * math.pi * speed * at / RATE + uniform((count, 1), 0, 6))
    place = (at - (0.008 + depth * (1 + swing)) * RATE).clamp(0, SIZE - 2)
    low = place.long()
    part = place - low
    late = torch.gather(wave, 1, low) * (1 - part) + torch.gather(wave, 1, low + 1) * part
    return wave + uniform((count, 1), 0.3, 1) * one_in(count, CHORUSED) * late


def echoes(count: int) -> tuple[Tensor, Tensor]:
    """Return delays in seconds, B x 1, and strengths of the repeats, B x REPEATS; 0 without."""
    delay = uniform((count, 1), 0.12, 0.65)
    back, first = decibels(-uniform((count, 1), 3, 14)), decibels(-uniform((count, 1), 1, 14))
    strengths = first * back ** torch.arange(REPEATS, device=DEVICE)
    return delay, one_in(count, ECHOED) * strengths


def echoed(wave: Tensor, delay: Tensor, strengths: Tensor) -> Tensor:
    """Return waves with their repeats, each duller than the one before."""
    frequency = torch.arange(SIZE // 2 + 1, device=DEVICE)[None] / SIZE
    response = torch.ones(len(wave), SIZE // 2 + 1, dtype=torch.complex64, device=DEVICE)
    dull = 1 / (1 + (frequency * RATE / uniform((len(wave), 1), 2000, 9000)) ** 2)
    for number in range(REPEATS):
        late = torch.exp(-2j * math.pi * frequency * torch.round(delay * RATE * (number + 1)))
        response = response + strengths[:, number : number + 1] * dull ** (number + 1) * late
    return filtered(wave, response)


def in_room(wave: Tensor) -> Tensor:
    """Return waves, most of them in a room that fades within 0.2 to 2.2 seconds."""
    count, length = len(wave), RATE * ROOM_SECONDS
    at = torch.arange(length, device=DEVICE)[None] / RATE
    room = torch.randn(count, length, device=DEVICE)
    room = room * torch.exp(-6.9 * at / (10 ** uniform((count, 1), -0.7, 0.35)))
    room = room / room.pow(2).sum(1, keepdim=True).sqrt()
    wet = decibels(uniform((count, 1), -32, -8)) * one_in(count, IN_ROOM)
    return filtered(wave, 1 + wet * torch.fft.rfft(room, n=SIZE))


def levelled(wave: Tensor) -> Tensor:
    """Return waves at a level as windows have it in a layer that is levelled as a whole."""
    inside = wave[:, FIRST : FIRST + SAMPLES // TENTH * TENTH]
    loudness = inside.reshape(len(wave), -1, TENTH).pow(2).mean(2).sqrt()
    loud = torch.quantile(loudness, 0.9, dim=1, keepdim=True).clamp(min=1e-4)
    usual, soft = uniform(loud.shape, -5, 2), uniform(loud.shape, -20, -5)
    level = LEVEL * decibels(torch.where(one_in(len(wave), 0.75), usual, soft))
    return wave / loud * level
