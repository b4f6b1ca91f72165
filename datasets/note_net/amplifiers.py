"""Amplifiers, loudspeakers, echoes, rooms and levels, many recordings at once on a GPU."""

from __future__ import annotations

import math

import torch
from shared import DEVICE, PRE, RATE, SAMPLES, SIZE, uniform


def filtered(wave, response):
    return torch.fft.irfft(torch.fft.rfft(wave) * response, n=SIZE)


def responses(count: int, strength, low, high):
    """Return random smooth responses, with a low and a high cut, B x SIZE/2+1."""
    hertz = torch.linspace(0, RATE / 2, SIZE // 2 + 1, device=DEVICE)
    octave = torch.log2(hertz.clamp(min=20) / 20)
    knots = torch.randn(count, 11, device=DEVICE) * strength
    place = octave.clamp(max=9.99)
    left = place.long()
    part = place - left
    db = knots[:, left] * (1 - part) + knots[:, left + 1] * part
    db = db - 10 * torch.log10(1 + (hertz[None] / high) ** 4 ) - 10 * torch.log10(1 + (low / hertz.clamp(min=1)[None]) ** 4)
    return 10 ** (db / 20)


def driven(wave):
    """Return the waves through amplifiers: a tone control, a curve at four times the rate, a
    loudspeaker; some stay as they are.
    """
    count = len(wave)
    peak = wave.abs().amax(1, keepdim=True).clamp(min=1e-4)
    clean = torch.rand((count, 1), device=DEVICE) < 0.35
    before = filtered(wave / peak, responses(count, 3.5, uniform((count, 1), 20, 250), uniform((count, 1), 3000, 10000)))
    before = before / before.abs().amax(1, keepdim=True).clamp(min=1e-4)
    gain = 10 ** (uniform((count, 1), 0, 40) / 20)
    spectrum = torch.fft.rfft(before)
    fine = torch.fft.irfft(spectrum, n=4 * SIZE) * 4
    bias = uniform((count, 1), 0, 0.6)
    x = fine * gain
    which = torch.rand((count, 1), device=DEVICE)
    y = torch.where(which < 0.4, torch.tanh(x), torch.where(which < 0.65, x.clamp(-1, 1), torch.tanh(x + bias) - torch.tanh(bias)))
    y = torch.fft.irfft(torch.fft.rfft(y)[:, : SIZE // 2 + 1], n=SIZE) / 4
    y = filtered(y, responses(count, 3.0, uniform((count, 1), 40, 130), uniform((count, 1), 2500, 6500)))
    y = y / y.abs().amax(1, keepdim=True).clamp(min=1e-4)
    plain = filtered(wave / peak, responses(count, 3.5, uniform((count, 1), 20, 100), uniform((count, 1), 4000, 11000)))
    return torch.where(clean, plain, y)


def chorused(wave):
    count = len(wave)
    at = torch.arange(SIZE, device=DEVICE, dtype=torch.float32)[None]
    depth, speed = uniform((count, 1), 0.0005, 0.003), uniform((count, 1), 0.3, 3)
    lag = (0.008 + depth * (1 + torch.sin(2 * math.pi * speed * at / RATE + uniform((count, 1), 0, 6)))) * RATE
    place = (at - lag).clamp(0, SIZE - 2)
    low = place.long()
    part = place - low
    late = torch.gather(wave, 1, low) * (1 - part) + torch.gather(wave, 1, low + 1) * part
    mix = uniform((count, 1), 0.3, 1) * (torch.rand((count, 1), device=DEVICE) < 0.12)
    return wave + mix * late


def echoes(count: int):
    """Return delay in seconds and strengths of up to four repeats, B x 4."""
    on = (torch.rand((count, 1), device=DEVICE) < 0.22).float()
    delay = uniform((count, 1), 0.12, 0.65)
    back = 10 ** (-uniform((count, 1), 3, 14) / 20)
    first = 10 ** (-uniform((count, 1), 1, 14) / 20)
    return delay, on * first * back ** torch.arange(4, device=DEVICE)


def echoed(wave, delay, strengths):
    frequency = torch.arange(SIZE // 2 + 1, device=DEVICE)[None] / SIZE
    response = torch.ones(len(wave), SIZE // 2 + 1, dtype=torch.complex64, device=DEVICE)
    dull = 1 / (1 + (frequency * RATE / uniform((len(wave), 1), 2000, 9000)) ** 2)
    for k in range(4):
        lag = torch.round(delay * RATE * (k + 1))
        response = response + strengths[:, k : k + 1] * dull ** (k + 1) * torch.exp(-2j * math.pi * frequency * lag)
    return torch.fft.irfft(torch.fft.rfft(wave) * response, n=SIZE)


def roomed(wave):
    count = len(wave)
    at = torch.arange(RATE * 2, device=DEVICE)[None] / RATE
    fades = torch.exp(-6.9 * at / (10 ** uniform((count, 1), -0.7, 0.35)))
    room = torch.randn(count, RATE * 2, device=DEVICE) * fades
    room = room / room.pow(2).sum(1, keepdim=True).sqrt()
    room = torch.cat([room, torch.zeros(count, SIZE - room.shape[1], device=DEVICE)], 1)
    wet = 10 ** (uniform((count, 1), -32, -8) / 20) * (torch.rand((count, 1), device=DEVICE) < 0.7)
    out = torch.fft.irfft(torch.fft.rfft(wave) * (1 + wet * torch.fft.rfft(room)), n=SIZE)
    return out


def levelled(wave):
    """Return waves at the level that a whole layer's loud parts would have."""
    inside = wave[:, PRE : PRE + SAMPLES]
    block = inside[:, : SAMPLES // 2205 * 2205].reshape(len(wave), -1, 2205).pow(2).mean(2).sqrt()
    loud = torch.quantile(block, 0.9, dim=1, keepdim=True).clamp(min=1e-4)
    level = 0.1 * 10 ** (torch.where(torch.rand_like(loud) < 0.75, uniform(loud.shape, -5, 2), uniform(loud.shape, -20, -5)) / 20)
    return wave / loud * level


