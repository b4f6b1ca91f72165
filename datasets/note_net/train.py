"""Train the net that hears the notes of one recorded guitar layer.

Run it on a machine with a GPU: ``python train.py notes.npz -o FOLDER [--minutes 8] [--seed 1]``.
It needs torch and onnx besides numpy. All sound is made while training: ``passages`` played on the
notes of ``collect_notes`` and on computed ``strings``, through amplifiers, echoes, rooms and noise.
FOLDER gets ``net.onnx`` and ``report.txt``. Without a GPU it runs too, for a trial:
``--minutes 0.5 --batch 2 --passages 64 --instruments 2``.
"""

from __future__ import annotations

import argparse
import copy
import math
import platform
import time
from collections.abc import Iterator
from multiprocessing import Pool
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from layers import layers
from listening import Net, Spectra, export
from passages import passages
from playing import Bank, load_bank
from torch import Tensor, nn
from windows import DEVICE

LEARNING, WARM = 3e-3, 200  # rate, and steps until it is reached
POSITIVE = (1.5, 3.0, 2.0)  # weights of what is there: sounds, struck, repeats
HEADS = (1.0, 2.0, 1.0)  # weights of the three
CHUNKS = 64  # of passages, made side by side
EVERY = 20.0  # seconds from line to line of progress


def main() -> None:
    """Write the net and the report."""
    parser = argparse.ArgumentParser()
    parser.add_argument("notes", type=Path)
    parser.add_argument("-o", "--output", type=Path, default=Path())
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--batch", type=int, default=128, help="windows a step")
    parser.add_argument("--passages", type=int, default=60_000)
    parser.add_argument("--instruments", type=int, default=60, help="computed")
    asked = parser.parse_args()
    torch.manual_seed(asked.seed)
    if DEVICE == "cuda":
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
        torch.backends.cudnn.benchmark = True
    each = max(asked.passages // CHUNKS, 1)
    with Pool() as pool:
        chunks = pool.starmap(passages, [(each, 1000 * asked.seed + k) for k in range(CHUNKS)])
    music = torch.tensor(np.concatenate(chunks), device=DEVICE)
    bank = load_bank(asked.notes, asked.seed, asked.instruments)
    net = Net().to(DEVICE)
    asked.output.mkdir(parents=True, exist_ok=True)
    report = [_machine(), f"seed {asked.seed}, {len(music)} passages, {len(bank.waves)} notes"]
    report += train(net, bank, music, asked.batch, asked.minutes)
    export(net, asked.output / "net.onnx")
    (asked.output / "report.txt").write_text("\n".join(report) + "\n", encoding="utf-8")


def _machine() -> str:
    device = torch.cuda.get_device_name() if DEVICE == "cuda" else "no GPU"
    return (
        f"Python {platform.python_version()}, torch {torch.__version__}, numpy {np.__version__}, "
        f"{device}"
    )


def train(net: Net, bank: Bank, music: Tensor, batch: int, minutes: float) -> Iterator[str]:
    """Train a net in place; yield lines for the report.

    At the end the net has the average of its weights over the last steps.
    """
    mean = copy.deepcopy(net)
    spectra = Spectra().to(DEVICE)
    adam = torch.optim.AdamW(net.parameters(), lr=LEARNING, weight_decay=1e-2)
    running = net.to(memory_format=torch.channels_last)
    running = torch.compile(running) if DEVICE == "cuda" else running
    yield f"{sum(each.numel() for each in net.parameters())} weights, {batch} windows a step"
    began = shown = time.time()
    step, done = 0, 0.0
    while done < 1:
        adam.param_groups[0]["lr"] = _rate(step, done)
        with torch.no_grad():
            events = music[torch.randint(len(music), (batch,), device=DEVICE)]
            wave, truth = layers(bank, events)
            bins = spectra(wave)
        with torch.autocast(DEVICE, dtype=torch.bfloat16, enabled=DEVICE == "cuda"):
            logits = running(bins)
        loss = loss_of(logits, truth)
        adam.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        adam.step()
        average(mean, net, max(0.002, 1 / (step / 2 + 2)))
        step, done = step + 1, (time.time() - began) / (60 * minutes)
        if step == 1 or done >= 1 or time.time() - shown > EVERY:
            shown = time.time()
            line = _progress(step, shown - began, loss, logits, truth)
            print(line, flush=True)
            yield line
    net.load_state_dict(mean.state_dict())


def _rate(step: int, done: float) -> float:
    """The rate of learning at a step, when a share of the time is over."""
    return LEARNING * min(1, (step + 1) / WARM) * (0.5 + 0.5 * math.cos(math.pi * done))


def loss_of(logits: Tensor, truth: Tensor) -> Tensor:
    """Return how wrong a net is, of B x 3 x FRAMES x PITCHES."""
    positive = torch.tensor(POSITIVE, device=logits.device)[:, None, None]
    losses = F.binary_cross_entropy_with_logits(
        logits.float(), truth, pos_weight=positive, reduction="none"
    )
    return losses.mean((0, 2, 3)) @ torch.tensor(HEADS, device=logits.device)


@torch.no_grad()
def average(mean: Net, net: Net, share: float) -> None:
    """Move the averaged net towards the net by a share."""
    old, new = mean.state_dict(), net.state_dict()
    names = [name for name, each in old.items() if each.is_floating_point()]
    torch._foreach_lerp_([old[name] for name in names], [new[name] for name in names], share)


def _progress(step: int, seconds: float, loss: Tensor, logits: Tensor, truth: Tensor) -> str:
    """How far training is, with the F1 of the three heads by frame and pitch in one batch."""
    hit, true = logits.float() > 0, truth > 0.5
    both = 2 * (hit & true).sum((0, 2, 3))
    f1 = both / (hit.sum((0, 2, 3)) + true.sum((0, 2, 3))).clamp(min=1)
    return (
        f"{step} steps, {seconds:.0f} s, loss {loss.item():.4f}, "
        "F1 sounds {:.3f}, struck {:.3f}, repeats {:.3f}".format(*f1.tolist())
    )


if __name__ == "__main__":
    main()
