"""Try one hostile file: it is read, refused with an ArrangeError, or a failure of some kind.

Everything but success and an ArrangeError is a failure. So is a warning (they are errors here, as
in the tests), and an output that is incomplete or that the kit cannot read again.
"""

from __future__ import annotations

import contextlib
import functools
import os
import re
import resource
import shutil
import signal
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from mutants.seeds import DEMO

import arrange as ar
from arrange.formats.converting import write_song

PACKAGE = Path(ar.__file__).parent
MOST_BYTES = 4 * 2**30  # bytes of memory, besides what a process needs to begin with
FAILURES = (
    "other error", "at the command", "over time", "over memory", "crashed", "half-written",
    "not read back",
)  # fmt: skip
OUTCOMES = ("read", "refused", *FAILURES)
SHOWN_FRAMES = 3
TARGETS = (".musicxml", ".mid", ".txt")


@dataclass(frozen=True)
class Outcome:
    """The outcome of an item.

    Parameters
    ----------
    kind : str
    number : int
    verdict : str
        One of OUTCOMES.
    place : str
        The last line of the package that was reached before a failure.
    why : str
        The error and its message; for a refusal the message.
    trace : str
        The traceback, of a failure.
    seconds, megabytes : float
        Time of the processor; how far the memory held by the process grew at its peak.
    """

    kind: str
    number: int
    verdict: str
    place: str = ""
    why: str = ""
    trace: str = ""
    seconds: float = 0.0
    megabytes: float = 0.0


class Failure(Exception):
    """A failure that is no error by itself: a verdict of FAILURES, and what was found."""

    def __init__(self, verdict: str, why: str) -> None:
        super().__init__(why)
        self.verdict = verdict


class OverTime(BaseException):
    """Raised when the time is over; passes through code that catches any Exception."""


def outcome_of(kind: str, number: int, task: Callable[[], str], limit_s: float) -> Outcome:
    """Run a task that returns a verdict, and return its outcome."""
    place = why = trace = ""
    held = _megabytes("VmRSS")
    _forget_peak()
    begun = sum(os.times()[:4])  # with the processes that it starts and waits for
    try:
        with at_most(limit_s):
            verdict = task()
    except ar.ArrangeError as error:
        verdict, why = "refused", str(error)
    except BaseException as error:
        verdict = _verdict(error)
        place, why, trace = _place(error), _short(error), traceback.format_exc()
    seconds = sum(os.times()[:4]) - begun
    grown = max(_megabytes("VmHWM") - held, 0.0)
    return Outcome(kind, number, verdict, place, why, trace, seconds, grown)


def use_file(path: Path, out: Path, rng: Random) -> str:
    """Read a song, measure it, write it in some format and read that; return the verdict."""
    song = ar.read(path)
    for step in (ar.find_clashes, lambda each: ar.part_ranges(each.notes, "section", each.parts)):
        with contextlib.suppress(ar.ArrangeError):
            step(song)
    write_back(song, out / f"back{rng.choice(TARGETS)}")
    return "read"


def use_log(path: Path, out: Path, rng: Random) -> str:
    """Read a log of decisions and build the demo song again; sometimes use that song."""
    log = ar.read_decisions(path)
    built = ar.rebuild(demo(), log).song
    if rng.random() < 0.1:
        with contextlib.suppress(ar.ArrangeError):
            ar.find_clashes(built)
        write_back(built, out / f"back{rng.choice(TARGETS)}")
    return "read"


@functools.cache
def demo() -> ar.Song:
    """The demo song."""
    return ar.read(DEMO)


def write_back(song: ar.Song, target: Path) -> None:
    """Write a song and read it again; it may be refused, but then no file may be left."""
    try:
        write_song(song, target)
    except ar.ArrangeError:
        check_nothing_left(target.parent)
        return
    check_no_drafts(target.parent)
    read_back(target)


def read_back(path: Path) -> None:
    """Raise a Failure if the kit cannot read what it wrote."""
    try:
        ar.read(path)
    except ar.ArrangeError as error:
        first = next(iter(getattr(error, "errors", ())), error)
        problem = getattr(first, "problem", str(first))
        raise Failure("not read back", f"{path.suffix}: {problem}") from error


def check_nothing_left(folder: Path) -> None:
    """Raise a Failure if a refused step has left files."""
    left = sorted(path.name for path in folder.rglob("*") if path.is_file())
    if left:
        raise Failure("half-written", f"refused, but there are {', '.join(left)[:200]}")


def check_no_drafts(folder: Path) -> None:
    """Raise a Failure if hidden files were left."""
    drafts = [path.name for path in folder.rglob(".*") if path.is_file()]
    if drafts:
        raise Failure("half-written", f"a draft is left: {drafts[0][:80]}")


@contextlib.contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """Raise OverTime after so many processor seconds, and every second from then on."""

    def ring(*_: Any) -> None:
        raise OverTime(f"more than {seconds:g} s")

    before = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds, 1.0)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def limit_memory() -> None:
    """Let this process have MOST_BYTES more than it has now; leave no core file."""
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most = pages * resource.getpagesize() + MOST_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def emptied(folder: Path) -> Path:
    """Empty a folder and return it."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder


def _megabytes(name: str) -> float:
    status = Path("/proc/self/status").read_text()
    return int(re.search(rf"{name}:\s+(\d+)", status)[1]) / 1024


def _forget_peak() -> None:
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def _verdict(error: BaseException) -> str:
    if isinstance(error, Failure):
        return error.verdict
    if isinstance(error, OverTime):
        return "over time"
    if isinstance(error, MemoryError):
        return "over memory"
    return "other error"


def _place(error: BaseException) -> str:
    """Return the last frames inside the package, innermost first: file, line and function."""
    cause = error.__cause__ if isinstance(error, Failure) and error.__cause__ else error
    frames = traceback.extract_tb(cause.__traceback__)
    own = [frame for frame in frames if frame.filename.startswith(f"{PACKAGE}/")]
    return " < ".join(
        f"{Path(frame.filename).relative_to(PACKAGE)}:{frame.lineno} {frame.name}"
        for frame in own[: -SHOWN_FRAMES - 1 : -1]
    )


def _short(error: BaseException) -> str:
    name = "" if isinstance(error, Failure) else f"{type(error).__name__}: "
    text = " ".join(f"{name}{error}".split())
    return text if len(text) <= 300 else text[:300] + " ..."
