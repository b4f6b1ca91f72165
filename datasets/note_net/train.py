"""Train the net that hears the notes of one recorded guitar layer.

Run on a machine with a GPU: ``python train.py notes.npz -o FOLDER [--minutes 9] [--seed 1]``. All
audio is made while training: passages of ``music.py`` played on the notes of ``sounds.py`` and on
computed strings, through amplifiers, echoes, rooms and noise. FOLDER gets ``net.onnx``,
``report.txt`` and ``net.pt``.
"""

from __future__ import annotations

import argparse
import copy
import math
import time
from multiprocessing import Pool
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

from music import BEFORE, EVENTS, SECONDS, passages

def layers(bank: Bank, events: torch.Tensor):
    """Return waves as recorded and their labels."""
    count = len(events)
    dry, is_, pitch, onset, end, gain = played(bank, events)
    empty = is_.sum(1) == 0
    wave = driven(dry)
    wave = chorused(wave)
    delay, strengths = echoes(count)
    wave = roomed(echoed(wave, delay, strengths))
    wave = torch.where(empty[:, None], torch.zeros_like(wave), levelled(wave))
    other = wave.roll(1, 0)
    bleed = 10 ** (-uniform((count, 1), 15, 45) / 20) * (torch.rand((count, 1), device=DEVICE) < 0.25)
    hiss = 0.1 * 10 ** (-uniform((count, 1), 20, 65) / 20)
    at = torch.arange(SIZE, device=DEVICE)[None] / RATE
    hum = 0.1 * 10 ** (-uniform((count, 1), 25, 60) / 20) * (torch.rand((count, 1), device=DEVICE) < 0.3)
    mains = torch.where(torch.rand((count, 1), device=DEVICE) < 0.5, 50.0, 60.0)
    buzz = sum(torch.sin(2 * math.pi * mains * k * at) / k for k in (1, 2, 3, 5))
    noise = torch.randn(count, SIZE, device=DEVICE)
    tint = responses(count, 2.0, torch.full((count, 1), 20.0, device=DEVICE), uniform((count, 1), 2000, 11000))
    wave = wave + bleed * other + hiss * filtered(noise, tint) + hum * buzz
    labels = labelled(count, is_, pitch, onset, end, delay, strengths)
    return wave[:, PRE - LONG // 2 : PRE + SAMPLES + LONG // 2], labels


def labelled(count, is_, pitch, onset, end, delay, strengths):
    """Return frame, onset and repeat, each B x FRAMES x PITCHES."""
    frames = torch.arange(FRAMES, device=DEVICE) * HOP / RATE
    frame = torch.zeros(count, PITCHES, FRAMES, device=DEVICE)
    start = torch.zeros_like(frame)
    again = torch.zeros_like(frame)
    row = pitch.clamp(0, PITCHES - 1)[..., None].expand(-1, -1, FRAMES)

    def put(target, values):
        target.scatter_reduce_(1, row, values * is_[..., None], "amax")

    near = lambda times: (1.5 - (frames - times[..., None]).abs() * RATE / HOP).clamp(0, 1)  # noqa: E731
    put(frame, ((frames >= onset[..., None]) & (frames < end[..., None])).float())
    put(start, near(onset))
    for k in range(4):
        audible = (strengths[:, k : k + 1] > REPEAT_AUDIBLE).float()
        put(again, near(onset + delay * (k + 1)) * audible[..., None])
    again = again * (start < 0.5)
    return torch.stack([frame, start, again], 1).transpose(2, 3)


def bin_weights(size: int) -> np.ndarray:
    """Return the weights that take a spectrum to bins, three a semitone: triangles at least two
    lines of the spectrum wide.
    """
    hertz = np.arange(size // 2 + 1) * RATE / size
    centre = 440 * 2 ** ((np.arange(BINS_LOW * PER_SEMITONE, BINS_HIGH * PER_SEMITONE + 1) / PER_SEMITONE - 69) / 12)
    half = np.maximum(centre * (2 ** (1 / 12 / PER_SEMITONE) - 1), RATE / size)
    return np.maximum(0, 1 - np.abs(hertz - centre[:, None]) / half[:, None]).astype(np.float32)


class Spectra(nn.Module):
    """Log-frequency spectra of two window lengths: B x 2 x FRAMES x bins."""

    def __init__(self) -> None:
        super().__init__()
        for size in (LONG, SHORT):
            self.register_buffer(f"weights{size}", torch.tensor(bin_weights(size)).T.contiguous())
            self.register_buffer(f"window{size}", torch.hann_window(size))

    def forward(self, wave):
        out = []
        for size in (LONG, SHORT):
            window = getattr(self, f"window{size}")
            cut = wave[:, (LONG - size) // 2 : wave.shape[1] - (LONG - size) // 2]
            spectrum = torch.stft(cut, size, HOP, window=window, center=False, return_complex=True)
            power = (spectrum.abs() / (window.sum() / 2)) ** 2
            bins = power.transpose(1, 2) @ getattr(self, f"weights{size}")
            out.append((10 * torch.log10(bins + 1e-12) / FLOOR + 1).clamp(min=0))
        return torch.stack(out, 1)


class Block(nn.Module):
    def __init__(self, channels: int, narrow: int, apart: int) -> None:
        super().__init__()
        self.into = nn.Conv2d(channels, narrow, 1)
        self.pitch = nn.Conv2d(narrow, narrow, (1, 25), padding=(0, 12))
        self.time = nn.Conv2d(narrow, channels, (3, 3), padding=(apart, 1), dilation=(apart, 1))
        self.norm = nn.BatchNorm2d(channels)

    def forward(self, x):
        y = F.relu(self.into(x))
        y = F.relu(self.pitch(y))
        return F.relu(x + self.norm(self.time(y)))


class Net(nn.Module):
    """Spectra, B x 2 x FRAMES x bins, to logits, B x 3 x FRAMES x PITCHES."""

    def __init__(self, first: int = 24, wide: int = 48, narrow: int = 20) -> None:
        super().__init__()
        self.one = nn.Sequential(nn.Conv2d(2 * len(HARMONICS), first, (3, 5), padding=(1, 2)), nn.BatchNorm2d(first), nn.ReLU())
        self.two = nn.Sequential(nn.Conv2d(first, first, 3, padding=1), nn.BatchNorm2d(first))
        self.three = nn.Sequential(nn.Conv2d(first, wide, (3, 3), stride=(1, 3), padding=(1, 0)), nn.BatchNorm2d(wide), nn.ReLU())
        self.blocks = nn.Sequential(*[Block(wide, narrow, apart) for apart in (1, 2, 4, 8, 16, 32, 1)])
        self.heads = nn.Conv2d(wide, 3, (3, 1), padding=(1, 0))

    def forward(self, spectra):
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


WEIGHTS = torch.tensor([1.5, 3.0, 2.0])


def loss_of(logits, labels):
    weights = WEIGHTS.to(logits.device)[:, None, None]
    return F.binary_cross_entropy_with_logits(logits.float(), labels, pos_weight=weights, reduction="none").mean((0, 2, 3)) @ torch.tensor([1.0, 2.0, 1.0], device=logits.device)


@torch.no_grad()
def average(mean: Net, net: Net, share: float) -> None:
    """Move the averaged net towards the net by a share."""
    for name in ("parameters", "buffers"):
        pairs = zip(getattr(mean, name)(), getattr(net, name)(), strict=True)
        old, new = zip(*[pair for pair in pairs if pair[0].is_floating_point()], strict=True)
        torch._foreach_lerp_(list(old), list(new), share)


def batch_f1(logits, labels):
    hit = logits.float().sigmoid() > 0.5
    true = labels > 0.5
    both = (hit & true).sum((0, 2, 3)).float()
    return 2 * both / (hit.sum((0, 2, 3)) + true.sum((0, 2, 3))).clamp(min=1)


def export(net: Net, path: Path) -> None:
    net = net.eval().float().cpu()

    class Out(nn.Module):
        def __init__(self, inner):
            super().__init__()
            self.inner = inner

        def forward(self, spectra):
            return self.inner(spectra).sigmoid()

    spectra = torch.zeros(1, 2, FRAMES, (BINS_HIGH - BINS_LOW) * PER_SEMITONE + 1)
    torch.onnx.export(Out(net), (spectra,), str(path), input_names=["spectra"], output_names=["heard"],
                      dynamic_axes={"spectra": {0: "windows", 2: "frames"}, "heard": {0: "windows", 2: "frames"}},
                      opset_version=17, dynamo=False)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("notes", type=Path)
    parser.add_argument("-o", "--output", type=Path, default=Path("."))
    parser.add_argument("--minutes", type=float, default=9.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--batch", type=int, default=128)
    parser.add_argument("--rate", type=float, default=3e-3)
    parser.add_argument("--start", type=Path)
    parser.add_argument("--pool", type=int, default=60_000)
    parser.add_argument("--device", type=int, default=0)
    asked = parser.parse_args()
    global play_slot_fast
    if DEVICE == "cuda":
        torch.cuda.set_device(asked.device)
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
        torch.backends.cudnn.benchmark = True
        play_slot_fast = torch.compile(play_slot, dynamic=False)
    began = time.time()
    torch.manual_seed(asked.seed)
    with Pool() as pool:
        chunks = pool.starmap(passages, [(asked.pool // 64, 1000 * asked.seed + k) for k in range(64)])
    music = torch.tensor(np.concatenate(chunks), device=DEVICE)
    bank = Bank(asked.notes, asked.seed)
    print(f"{len(music)} passages, {len(bank.waves)} notes, {time.time() - began:.0f} s", flush=True)
    spectra, net = Spectra().to(DEVICE), Net().to(DEVICE)
    if asked.start:
        net.load_state_dict(torch.load(asked.start, map_location=DEVICE))
    mean = copy.deepcopy(net)
    print(sum(p.numel() for p in net.parameters()), "weights", flush=True)
    adam = torch.optim.AdamW(net.parameters(), lr=asked.rate, weight_decay=1e-2)
    net = net.to(memory_format=torch.channels_last)
    learn = torch.compile(net) if DEVICE == "cuda" else net
    started, step, seconds = time.time(), 0, asked.minutes * 60
    shown = started
    while (done := (time.time() - started) / seconds) < 1:
        for group in adam.param_groups:
            warm = min(1, (step + 1) / 200)
            group["lr"] = asked.rate * warm * (0.5 + 0.5 * math.cos(math.pi * done))
        with torch.no_grad():
            events = music[torch.randint(len(music), (asked.batch,), device=DEVICE)]
            wave, labels = layers(bank, events)
            bins = spectra(wave)
        with torch.autocast("cuda", dtype=torch.bfloat16, enabled=DEVICE == "cuda"):
            logits = learn(bins)
        loss = loss_of(logits, labels)
        adam.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        adam.step()
        average(mean, net, max(0.002, 1 / (step / 2 + 2)))
        step += 1
        if step == 50:
            torch.cuda.synchronize()
            marks = [time.time()]
            for _ in range(20):
                wave, labels = layers(bank, events)
            torch.cuda.synchronize()
            marks.append(time.time())
            for _ in range(20):
                spectra(wave)
            torch.cuda.synchronize()
            marks.append(time.time())
            print("seconds a step: sound", (marks[1] - marks[0]) / 20, "spectra", (marks[2] - marks[1]) / 20, flush=True)
        if time.time() - shown > 20 or step in (1, 20, 100):
            shown = time.time()
            f1 = batch_f1(logits, labels)
            print(f"{step} steps, {time.time() - started:.0f} s, loss {loss.item():.4f}, F1 {[round(x, 3) for x in f1.tolist()]}", flush=True)
    asked.output.mkdir(parents=True, exist_ok=True)
    torch.save(mean.state_dict(), asked.output / "net.pt")
    export(mean, asked.output / "net.onnx")
    print(f"{step} steps of {asked.batch} windows; net.onnx {(asked.output / 'net.onnx').stat().st_size} bytes", flush=True)


if __name__ == "__main__":
    main()
