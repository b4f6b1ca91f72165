"""Play passages on recorded, sampled and computed notes, many at once on a GPU."""

from __future__ import annotations

import math
from multiprocessing import Pool
from pathlib import Path

import numpy as np
import torch
from shared import BEFORE, DEVICE, LOW, PITCHES, RATE, SIZE, uniform

INSTRUMENTS = 60  # computed
GROUPS = 4  # of windows with about as many notes


def computed_strings(instrument: int, seed: int) -> list[tuple[str, int, np.ndarray]]:
    """Return notes of an instrument whose strings are computed: partials that are a little sharp,
    strengths by where the string is plucked and where it is heard, high ones dying away sooner.
    """
    rng = np.random.default_rng([seed, instrument])
    t = np.arange(int(4.0 * RATE)) / RATE
    rows = []
    pluck, pickup = rng.uniform(0.04, 0.3), rng.uniform(0.03, 0.3)
    tilt, stiff = rng.uniform(0.2, 1.3), 10 ** rng.uniform(-5.3, -3.5)
    slow, fast = rng.uniform(0.25, 1.2), 10 ** rng.uniform(-0.5, 0.6)
    colour = np.exp(rng.normal(0, 0.7, 60))
    for pitch in range(33 + instrument % 3, 91, 3):
        f0 = 440 * 2 ** ((pitch - 69) / 12)
        n = np.arange(1, int(9000 / f0) + 1)[:60]
        f = n * f0 * np.sqrt(1 + stiff * n**2)
        n, f = n[f < 10_500], f[f < 10_500]
        amp = np.abs(np.sin(np.pi * n * pluck) * np.sin(np.pi * n * pickup)) / n**tilt
        amp *= colour[: len(n)] * rng.uniform(0.6, 1.4, len(n))
        rate = slow * (f0 / 110) ** 0.4 * (1 + fast * (f / 1000) ** rng.uniform(0.7, 1.5))
        beat = rng.uniform(-0.4, 0.4, len(n))
        phase = rng.uniform(0, 2 * np.pi, len(n))
        wave = np.zeros(len(t))
        for a, fr, r, b, ph in zip(amp, f, rate, beat, phase, strict=True):
            wave += a * np.exp(-r * t) * (np.sin(2 * np.pi * fr * t) + 0.4 * np.sin(2 * np.pi * (fr + b) * t + ph))
        click = np.exp(-np.arange(200) / 40) * rng.uniform(0, 0.3) * np.abs(wave).max()
        wave[:200] += rng.normal(size=200) * click
        rows.append((f"computed {instrument}", pitch, wave / np.abs(wave).max()))
    return rows


class Bank:
    """All notes on the GPU, and which of them are near a pitch in each family."""

    def __init__(self, path: Path, seed: int) -> None:
        kept = np.load(path)
        waves, pitch, family = kept["waves"].astype(np.float32) / 32_000, kept["pitch"], kept["family"]
        with Pool() as pool:
            rows = sum(pool.starmap(computed_strings, [(each, seed) for each in range(INSTRUMENTS)]), [])
        waves = np.concatenate([waves, np.stack([row[2] for row in rows]).astype(np.float32)])
        pitch = np.concatenate([pitch, [row[1] for row in rows]])
        family = np.concatenate([family, [row[0] for row in rows]])
        self.waves = torch.tensor(waves, device=DEVICE).half()
        self.pitch = torch.tensor(pitch, device=DEVICE).float()
        self.names = sorted(set(family.tolist()))
        weight = {"recorded electric": 5.0, "recorded nylon": 2.0, "clean": 2.5, "jazz": 1.5, "steel": 2.0,
                  "nylon": 1.0, "muted": 0.6, "bass": 0.3}
        weights = [weight.get(name, 9.0 / INSTRUMENTS) for name in self.names]
        self.weights = torch.tensor(weights, device=DEVICE) / sum(weights)
        near = np.zeros((len(self.names), 128, 3), dtype=np.int64)
        for row, name in enumerate(self.names):
            own = np.flatnonzero(family == name)
            for each in range(128):
                order = own[np.argsort(np.abs(pitch[own] - each), kind="stable")][:3]
                near[row, each] = np.resize(order, 3)
        self.near = torch.tensor(near, device=DEVICE)
        # seconds until a note is 36 dB below its loudest
        block = np.sqrt((waves[:, : waves.shape[1] // 441 * 441].reshape(len(waves), -1, 441) ** 2).mean(2))
        above = block > block.max(1, keepdims=True) * 10 ** (-36 / 20)
        lasts = (above.shape[1] - above[:, ::-1].argmax(1)) * 441 / RATE
        self.lasts = torch.tensor(lasts, device=DEVICE).float()


def _play_note(total, flat, length: int, begin, ratio, end, gain, tau, depth, speed):
    """Add one note to each window."""
    at = torch.arange(total.shape[1], device=total.device, dtype=torch.float32)[None] / RATE - BEFORE
    since = at - begin[:, 0:1]
    place = (since + depth * torch.sin(2 * math.pi * speed * since)) * ratio * RATE
    inside = (since >= 0) & (place < length - 2) & (place >= 0)
    low = torch.where(inside, place, torch.zeros_like(place))
    whole = low.long()
    part = low - whole
    base = begin[:, 1:2].long() * length
    value = flat[base + whole].float() * (1 - part) + flat[base + whole + 1].float() * part
    over = torch.clamp(at - end, min=0)
    envelope = gain * torch.exp(-over / tau[:, 0:1]) * torch.exp(-torch.clamp(since, min=0) / tau[:, 1:2])
    return total + torch.where(inside, value * envelope, torch.zeros_like(value))


def played(bank: Bank, events: torch.Tensor):
    """Return dry waves (B x SIZE) and what is to be heard: frame, onset times."""
    count = len(events)
    is_ = ~events[..., 2].isnan()
    ev = torch.nan_to_num(events)
    shift = torch.randint(-3, 4, (count, 1), device=DEVICE).float()
    pitch = ev[..., 2] + shift
    is_ = is_ & (pitch >= LOW) & (pitch < LOW + PITCHES)
    family = torch.multinomial(bank.weights, count, replacement=True)
    muted_row = bank.names.index("muted")
    many = (ev[..., 4].sum(1) > 0.5 * is_.sum(1)) & (torch.rand(count, device=DEVICE) < 0.25) & (is_.sum(1) > 0)
    family = torch.where(many, torch.full_like(family, muted_row), family)
    pick = torch.randint(0, 3, pitch.shape, device=DEVICE)
    pick = torch.where(torch.rand(pitch.shape, device=DEVICE) < 0.6, torch.zeros_like(pick), pick)
    ids = bank.near[family[:, None], pitch.long().clamp(0, 127), pick]
    cents = uniform((count, 1), -12, 12) + torch.randn(pitch.shape, device=DEVICE) * 3
    away = pitch - bank.pitch[ids]
    is_ = is_ & (away.abs() < 9)
    ratio = 2 ** ((away + cents / 100) / 12)
    gain = ev[..., 3] ** 2 * is_
    wide = uniform((count, 1), 0.3, 1)
    gain = gain * 10 ** (torch.randn(pitch.shape, device=DEVICE) * 2 * wide / 20)
    palm = 10 ** uniform((count, 1), -1.4, -0.6)
    tau_end = 10 ** uniform((count, 1), -2.2, -1.3).expand(pitch.shape)
    tau_own = torch.where(ev[..., 4] > 0, palm.expand(pitch.shape) * uniform(pitch.shape, 0.8, 1.25), torch.full_like(pitch, 60.0))
    tau_own = torch.where(many[:, None], torch.full_like(tau_own, 60.0), tau_own)
    bends = (torch.rand((count, 1), device=DEVICE) < 0.15).float()
    depth = bends * uniform((count, 1), 0, 1.2e-3)
    speed = uniform((count, 1), 4, 7)
    flat, length = bank.waves.reshape(-1), bank.waves.shape[1]
    order = is_.sum(1).argsort()
    total = torch.zeros(count, SIZE, device=DEVICE)
    for rows in order.chunk(GROUPS):
        own = torch.zeros(len(rows), SIZE, device=DEVICE)
        begin = torch.stack([ev[rows, :, 0], ids[rows].float()], 2)
        tau = torch.stack([tau_end[rows], tau_own[rows]], 2)
        parts = (ratio[rows], ev[rows, :, 1], gain[rows])
        for e in np.flatnonzero(is_[rows].any(0).cpu().numpy()).tolist():
            own = play_note(own, flat, length, begin[:, e].contiguous(), *[each[:, e : e + 1].contiguous() for each in parts], tau[:, e].contiguous(), depth[rows], speed[rows])
        total[rows] = own
    lasts = bank.lasts[ids] / ratio
    lasts = torch.where(tau_own < 10, torch.minimum(lasts, tau_own * 4.1), lasts)
    end = torch.minimum(ev[..., 1], ev[..., 0] + lasts)
    return total, is_, pitch.round().long() - LOW, ev[..., 0], end, gain


