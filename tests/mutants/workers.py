"""Try items in separate processes: one that dies is reported and replaced; the rest go on."""

from __future__ import annotations

import faulthandler
import multiprocessing
import os
import re
import shutil
import signal
import tempfile
import time
import warnings
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

from mutants.trying import FAILURES, Outcome, limit_memory

Item = tuple[str, int]  # kind and number
Try = Callable[[str, int, int, Path], Outcome]  # kind, number, seed, a folder to work in
BATCH = 20
# An item that takes longer, by processor or clock time, hangs where no alarm reaches it.
MOST_WORK_S, PATIENCE_S = 120.0, 1800.0


@dataclass
class _Worker:
    """A process, the items that it has not reported yet, and when it last reported one: the time on
    the clock, and its processor time until then.
    """

    process: Any
    connection: Connection
    folder: Path
    pending: deque[Item] = field(default_factory=deque)
    since: float = 0.0
    worked: float = 0.0
    is_dead: bool = False


def try_all(
    items: Sequence[Item], attempt: Try, seed: int, jobs: int = 2, keep: Path | None = None
) -> Iterator[Outcome]:
    """Yield the outcome of each item, in no particular order.

    Parameters
    ----------
    items : sequence of (kind, number)
    attempt : callable
        Tries an item; importable by its name, since another process calls it.
    seed, jobs : int
    keep : path, optional
        Where the files of failing items go, each beside a text with its seed and traceback.
    """
    left = deque(items)
    with tempfile.TemporaryDirectory(prefix="hostile-") as home:
        workers = [_started(Path(home) / str(n), attempt, seed) for n in range(jobs)]
        try:
            while left or any(worker.pending for worker in workers):
                for worker in workers:
                    _feed(worker, left)
                ready = wait([each.connection for each in workers], timeout=1.0)
                for number, worker in enumerate(workers):
                    for outcome in _heard(worker, worker.connection in ready):
                        if keep and outcome.verdict in FAILURES:
                            _keep(outcome, worker.folder, keep, seed)
                        yield outcome
                    if worker.is_dead:
                        left.extendleft(reversed(worker.pending))
                        workers[number] = _started(worker.folder, attempt, seed)
        finally:
            for worker in workers:
                worker.process.kill()


def _feed(worker: _Worker, left: deque[Item]) -> None:
    if worker.pending or not left:
        return
    worker.pending = deque(left.popleft() for _ in range(min(BATCH, len(left))))
    _note_time(worker)
    worker.connection.send(list(worker.pending))


def _heard(worker: _Worker, is_ready: bool) -> Iterator[Outcome]:
    """Return what a worker reports, or that it no longer reports anything."""
    try:
        while is_ready and worker.connection.poll():
            outcome = worker.connection.recv()
            worker.pending.popleft()
            _note_time(worker)
            yield outcome
            worker.connection.send("go on")
    except (EOFError, ConnectionError):
        worker.process.join()
        code = worker.process.exitcode
        yield _lost(worker, "crashed", f"the process ended with exit code {code}")
        return
    if worker.pending and _hangs(worker):
        os.kill(worker.process.pid, signal.SIGUSR1)  # makes it write where it is
        time.sleep(0.5)
        worker.process.kill()
        worker.process.join()
        yield _lost(worker, "over time", "no answer, not even to the alarm")


def _note_time(worker: _Worker) -> None:
    worker.since, worker.worked = time.monotonic(), _worked(worker)


def _hangs(worker: _Worker) -> bool:
    is_late = time.monotonic() - worker.since > PATIENCE_S
    return is_late or _worked(worker) - worker.worked > MOST_WORK_S


def _worked(worker: _Worker) -> float:
    """Return the processor seconds that a process has used."""
    try:
        stat = Path(f"/proc/{worker.process.pid}/stat").read_text()
    except OSError:  # it has just ended
        return worker.worked
    user, system = stat.rpartition(")")[2].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def _lost(worker: _Worker, verdict: str, why: str) -> Outcome:
    worker.is_dead = True
    if not worker.pending:
        return Outcome("worker", 0, verdict, "", why)
    kind, number = worker.pending.popleft()
    file = worker.folder / "faults"
    trace = file.read_text(errors="replace") if file.exists() else ""
    frame = re.search(r"/arrange/([\w/]+\.py)\", line (\d+) in (\w+)", trace)
    place = "{}:{} {}".format(*frame.groups()) if frame else ""
    return Outcome(kind, number, verdict, place, why, trace)


def _keep(outcome: Outcome, folder: Path, keep: Path, seed: int) -> None:
    keep.mkdir(parents=True, exist_ok=True)
    name = f"{outcome.kind}-{outcome.number}"
    for path in folder.glob("item/input/*"):
        if path.is_file():
            shutil.copy(path, keep / f"{name}{path.suffix}")
    heading = f"{outcome.kind} {outcome.number}, seed {seed}: {outcome.verdict}\n"
    text = f"{heading}{outcome.place}\n{outcome.why}\n\n{outcome.trace}"
    (keep / f"{name}.trace").write_text(text, encoding="utf-8", errors="replace")


def _started(folder: Path, attempt: Try, seed: int) -> _Worker:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    process = context.Process(target=_work, args=(there, attempt, seed, folder), daemon=True)
    process.start()
    there.close()
    return _Worker(process, here, folder, since=time.monotonic())


def _work(connection: Connection, attempt: Try, seed: int, folder: Path) -> None:
    faults = (folder / "faults").open("w")
    faulthandler.enable(faults)
    faulthandler.register(signal.SIGUSR1, faults)
    limit_memory()
    as_in_the_tests()
    while True:
        try:
            for kind, number in connection.recv():
                connection.send(attempt(kind, number, seed, folder / "item"))
                connection.recv()  # until the files of a failure are stored
        except EOFError:
            return


def as_in_the_tests() -> None:
    """Make warnings errors, except deprecations inside libraries, as pyproject.toml does."""
    warnings.resetwarnings()
    warnings.simplefilter("error")
    warnings.filterwarnings("ignore", category=DeprecationWarning, module=r"(?!arrange)")
