"""Run a song through every command, and check each one's messages and output."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import resource
import signal
import subprocess
import sys
import tempfile
import wave
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from typing import IO

import pandas as pd
from matplotlib import pyplot as plt
from mutants.making import SUFFIXES, mutant
from mutants.odd_songs import odd_songs
from mutants.seeds import DATASETS
from mutants.trying import TARGETS, Failure, check_no_drafts, check_nothing_left, read_back

import arrange as ar
from arrange.commands import main
from arrange.formats.chart import read_chart
from arrange.formats.midi import read_midi
from arrange.formats.musicxml import read_musicxml

TRIED = 60  # mutants tried until one is accepted
SECOND = DATASETS / "harbour-set" / "2-salt-on-the-step.txt"
READERS = {
    "musicxml": read_musicxml, "mxl": read_musicxml, "midi": read_midi, "chart": read_chart,
}  # fmt: skip
_PROGRESS = re.compile(r"arrange: .+ \(\d+\.\d s\)$")

Arguments = list[str]


def song_file(number: int, seed: int) -> tuple[str, bytes]:
    """Return suffix and content of a song: the odd songs first, then mutants that are accepted."""
    odd = odd_songs()
    if number < len(odd):
        return odd[number][1:]
    rng = Random(f"accepted {number} {seed}")
    kind = rng.choice(list(READERS))
    first = rng.randrange(10**6)
    data = b""
    for each in range(first, first + TRIED):
        data = mutant(kind, each, seed)
        with contextlib.suppress(Exception):
            READERS[kind](data, "song")
            break
    return SUFFIXES[kind], data


def steps(name: str, song: Path, out: Path) -> list[Arguments]:
    """Return the command lines of a step of the chain, one or several."""
    file = str(song)
    return {
        "study": lambda: [["study", file, "-o", str(out / "study")]],
        "condense": lambda: [["condense", file, "-o", str(out / "two.musicxml")]],
        "revoice": lambda: [["revoice", file, *_passage(song, "part"), "-o", str(out / "ideas")]],
        "mend": lambda: [["mend", file]],
        "change-key": lambda: [["change-key", file, "--by=-2", "-o", str(out / "lower.musicxml")]],
        "handout": lambda: [
            ["handout", file, "--style=notation", "--words", "-o", str(out / "notation")],
            ["handout", file, "--style=shapes", "--frets=capo", "-o", str(out / "shapes")],
        ],
        "explain": lambda: [["explain", file, *_passage(song, "player"), "--length=steps"]],
        "listen": lambda: [["listen", file, "-o", str(out / "song.wav")]],
        "convert": lambda: _there_and_back(song, out),
        "songbook": lambda: [["songbook", file, str(SECOND), "-o", str(out / "book")]],
        "workshop": lambda: [["workshop", file, "-o", str(out / "workshop")]],
    }[name]()


STEPS = (
    "study", "condense", "revoice", "mend", "change-key", "handout", "explain", "listen", "convert",
    "songbook", "workshop",
)  # fmt: skip


def take_step(name: str, song: Path, out: Path) -> str:
    """Do a step by calling the command's own function; return "read" or "refused"."""
    verdict = "read"
    for arguments in steps(name, song, out):
        with tempfile.TemporaryFile() as said, contextlib.redirect_stdout(io.StringIO()):
            with _stderr_to(said):
                try:
                    code: object = main(arguments)
                except SystemExit as error:
                    code = error.code
            said.seek(0)
            text = said.read().decode("utf-8", "replace")
        plt.close("all")
        verdict = _checked(arguments, code, text, out)
        if verdict == "refused":
            break
    return verdict


@contextlib.contextmanager
def _stderr_to(file: IO[bytes]) -> Iterator[None]:
    """Send stderr to a file, including what libraries outside Python write."""
    sys.stderr.flush()
    before = os.dup(2)
    os.dup2(file.fileno(), 2)
    try:
        yield
    finally:
        sys.stderr.flush()
        os.dup2(before, 2)
        os.close(before)


def take_step_outside(name: str, song: Path, out: Path, seconds: float) -> str:
    """Do the first line of a step with the command itself, as typed in a terminal."""
    arguments = steps(name, song, out)[0]
    typed = [sys.executable, "-W", "error", "-W", "ignore::DeprecationWarning", "-m", "arrange"]
    try:
        done = subprocess.run(
            [*typed, *(each.replace("\0", "") for each in arguments)],
            capture_output=True, timeout=10 * seconds, check=False,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (int(seconds),) * 2),
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise Failure("over time", f"{name}: no end after {10 * seconds:g} s") from None
    said = done.stderr.decode("utf-8", "replace")
    if done.returncode in (-signal.SIGXCPU, -signal.SIGKILL):
        raise Failure("over time", f"{name}: more than {seconds:g} s of the processor")
    if done.returncode < 0:
        raise Failure("crashed", f"exit code {done.returncode}: {said[-500:]}")
    if "MemoryError" in said:
        raise Failure("over memory", said[-500:])
    return _checked(arguments, done.returncode, said, out)


def _passage(song: Path, option: str) -> Arguments:
    """Return the first guitar, or the first part, as an option, and the section where it begins."""
    try:
        read = ar.read(song)
    except ar.ArrangeError:
        return [f"--{option}=Guitar 1"]
    guitars = read.parts.loc[read.parts["family"] == "guitar", "part"].tolist()
    part = (guitars or read.parts["part"].tolist() or [""])[0]
    sections = read.notes.loc[read.notes["part"] == part, "section"].tolist()
    return [f"--{option}={part}", *(f"--section={section}" for section in sections[:1])]


def _there_and_back(song: Path, out: Path) -> list[Arguments]:
    lines = []
    for target in TARGETS:
        one = out / f"song{target}"
        back = out / f"back-from-{target[1:]}{song.suffix if song.suffix in TARGETS else '.xml'}"
        lines += [["convert", str(song), str(one)], ["convert", str(one), str(back)]]
    return lines


def _checked(arguments: Arguments, code: object, said: str, out: Path) -> str:
    """Check what a command has left; return the verdict or raise a Failure."""
    check_no_drafts(out)
    lines = [line for line in said.splitlines() if line and not _PROGRESS.match(line)]
    lines = [line for line in lines if not line.startswith("not read: ")]
    message = f"{arguments[0]}: exit code {code}: {' / '.join(lines)[:400]}"
    if code not in (0, 2) or "Traceback" in said:
        raise Failure("at the command", message)
    is_chart = bool(lines) and lines[0].endswith("has faults:")
    if len(lines) != (1 if code else 0) and not (code and is_chart):
        raise Failure("at the command", f"{len(lines)} lines; {message}")
    if code:
        if arguments[0] != "convert":  # files converted before stay
            check_nothing_left(out)
        elif Path(arguments[2]).exists():
            raise Failure("half-written", f"refused, but there is {Path(arguments[2]).name}")
        return "refused"
    for path in sorted(out.rglob("*")):
        if path.is_file():
            _check_file(path)
    return "read"


def _check_file(path: Path) -> None:
    """Raise a Failure if a file is not whole by the rules of its format."""
    check = CHECKS.get(path.suffix)
    try:
        if check is None:
            read_back(path)
        elif not check(path):
            raise Failure("half-written", f"{path.name} is not whole")
    except (ValueError, OSError, EOFError, wave.Error) as error:
        raise Failure("half-written", f"{path.name}: {error}") from error


def _ends(*marks: bytes) -> Callable[[Path], bool]:
    return lambda path: path.read_bytes().rstrip().endswith(marks)


def _is_whole_wave(path: Path) -> bool:
    with wave.open(str(path)) as file:
        expected = file.getnframes() * file.getnchannels() * file.getsampwidth()
        return len(file.readframes(file.getnframes())) == expected > 0


def _has_columns(path: Path) -> bool:
    return len(pd.read_csv(path).columns) > 0


# All other suffixes are songs.
CHECKS: dict[str, Callable[[Path], bool]] = {
    ".html": _ends(b"</html>"),
    ".svg": _ends(b"</svg>"),
    ".pdf": _ends(b"%%EOF"),
    ".png": _ends(b"IEND\xaeB`\x82"),
    ".wav": _is_whole_wave,
    ".csv": _has_columns,
    ".parquet": lambda path: len(pd.read_parquet(path).columns) > 0,
    ".ipynb": lambda path: "cells" in json.loads(path.read_text(encoding="utf-8")),
    ".md": lambda path: path.stat().st_size > 0,
    ".ogg": lambda path: path.stat().st_size > 0,
    ".json": lambda path: json.loads(path.read_text(encoding="utf-8")) is not None,
}


def some_step(number: int, seed: int) -> str:
    """Return the step that a sample of the command's own calls takes."""
    return Random(f"step {number} {seed}").choice(STEPS)
