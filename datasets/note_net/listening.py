"""The net, the spectra that it takes, and its file."""

from __future__ import annotations

import math
from pathlib import Path

import torch
import torch.nn.functional as F
from agreed import (
    BINS,
    BINS_LOW,
    FLOOR,
    HOP,
    LONG,
    LOW,
    PER_SEMITONE,
    PITCHES,
    SHORT,
    bin_weights,
)
from torch import Tensor, nn
from windows import FRAMES

HARMONICS = (0.5, 1, 2, 3, 4, 5, 6, 7)
APART = (1, 2, 4, 8, 16, 32, 1)  # frames that a block looks back and ahead


class Spectra(nn.Module):
    """Waves, B x samples, to spectra of two windows, B x 2 x FRAMES x BINS."""

    def __init__(self) -> None:
        super().__init__()
        for size in (LONG, SHORT):
            self.register_buffer(f"weights{size}", torch.tensor(bin_weights(size)))
            self.register_buffer(f"window{size}", torch.hann_window(size))

    def forward(self, wave: Tensor) -> Tensor:
        out = []
        for size in (LONG, SHORT):
            window = getattr(self, f"window{size}")
            beside = (LONG - size) // 2
            cut = wave[:, beside : wave.shape[1] - beside]
            lines = torch.stft(cut, size, HOP, window=window, center=False, return_complex=True)
            power = (lines.abs() / (window.sum() / 2)) ** 2
            bins = power.transpose(1, 2) @ getattr(self, f"weights{size}")
            out.append((10 * torch.log10(bins + 1e-12) / FLOOR + 1).clamp(min=0))
        return torch.stack(out, 1)


class Block(nn.Module):
    """Looks up and down by an octave, then back and ahead."""

    def __init__(self, channels: int, narrow: int, apart: int) -> None:
        super().__init__()
        self.into = nn.Conv2d(channels, narrow, 1)
        self.pitch = nn.Conv2d(narrow, narrow, (1, 25), padding=(0, 12))
        self.time = nn.Conv2d(narrow, channels, (3, 3), padding=(apart, 1), dilation=(apart, 1))
        self.norm = nn.BatchNorm2d(channels)

    def forward(self, x: Tensor) -> Tensor:
        y = F.relu(self.into(x))
        y = F.relu(self.pitch(y))
        return F.relu(x + self.norm(self.time(y)))


class Net(nn.Module):
    """Spectra, B x 2 x FRAMES x BINS, to logits, B x 3 x FRAMES x PITCHES."""

    def __init__(self, first: int = 24, wide: int = 48, narrow: int = 20) -> None:
        super().__init__()
        self.one = nn.Sequential(
            nn.Conv2d(2 * len(HARMONICS), first, (3, 5), padding=(1, 2)),
            nn.BatchNorm2d(first),
            nn.ReLU(),
        )
        self.two = nn.Sequential(nn.Conv2d(first, first, 3, padding=1), nn.BatchNorm2d(first))
        self.three = nn.Sequential(
            nn.Conv2d(first, wide, (3, 3), stride=(1, 3), padding=(1, 0)),
            nn.BatchNorm2d(wide),
            nn.ReLU(),
        )
        self.blocks = nn.Sequential(*[Block(wide, narrow, apart) for apart in APART])
        self.heads = nn.Conv2d(wide, 3, (3, 1), padding=(1, 0))

    def forward(self, spectra: Tensor) -> Tensor:
        width = PITCHES * PER_SEMITONE
        begin = (LOW - BINS_LOW) * PER_SEMITONE - 1
        channels = []
        for harmonic in HARMONICS:
            at = begin + round(12 * PER_SEMITONE * math.log2(harmonic))
            piece = spectra[..., max(at, 0) : at + width]
            channels.append(F.pad(piece, (max(-at, 0), 0)))
        x = self.one(torch.cat(channels, 1))
        x = F.relu(x + self.two(x))
        return self.heads(self.blocks(self.three(x)))


class Sureness(nn.Module):
    """A net whose results go from 0 to 1."""

    def __init__(self, net: Net) -> None:
        super().__init__()
        self.net = net

    def forward(self, spectra: Tensor) -> Tensor:
        return self.net(spectra).sigmoid()


def export(net: Net, path: Path) -> None:
    """Write a net as ``arrange.recording`` runs it."""
    spectra = torch.zeros(1, 2, FRAMES, BINS)
    torch.onnx.export(
        Sureness(net.eval().float().cpu()),
        (spectra,),
        str(path),
        input_names=["spectra"],
        output_names=["heard"],
        dynamic_axes={name: {0: "windows", 2: "frames"} for name in ("spectra", "heard")},
        opset_version=17,
        dynamo=False,
    )
