"""A small share of the hostile files of ``benchmarks/hostile.py`` is read, or refused as promised.

The project promises success or an ArrangeError without a warning or a crash, within limits of time
and memory, complete outputs that can be read again, and one line from the command.
"""

import os
import signal
from functools import partial
from random import Random

import numpy as np
import pytest
from mutants import trying
from mutants.items import COUNTS, attempt, items_of
from mutants.making import SUFFIXES, mutant
from mutants.trying import FAILURES, outcome_of, use_file
from mutants.workers import try_all

import arrange as ar

MUTANTS, SONGS = 1 / 500, 1 / 300  # of the full number
SEED = 7


def check(items):
    """Check that no item fails; list each failure with the way to try it again."""
    failed = [
        f"{each.kind} {each.number}, seed {SEED}: {each.verdict}: {each.place}: {each.why}"
        for each in try_all(items, attempt, SEED, jobs=1)
        if each.verdict in FAILURES
    ]
    assert not failed, "\n".join(failed)


def test_mutants_are_read_or_refused():
    """Forty damaged files of each format and twenty logs of decisions are tried."""
    check(items_of(MUTANTS, SUFFIXES))


def test_odd_songs_go_through_every_command():
    """A song goes through each step; one by the command itself."""
    check(items_of(SONGS, [kind for kind in COUNTS if kind not in SUFFIXES]))


@pytest.mark.parametrize("kind", SUFFIXES)
def test_a_mutant_is_always_the_same(kind):
    """Kind, number and seed decide the file; another number or seed gives another file."""
    assert mutant(kind, 3, 1) == mutant(kind, 3, 1)
    assert len({mutant(kind, number, seed) for number in range(6) for seed in (1, 2)}) > 6


def hang(*_):
    """Work for ever."""
    while True:
        pass


def eat(*_):
    """Ask for more memory than there is."""
    return bytearray(2**40)


def warn(*_):
    """Divide by zero, of which numpy warns."""
    return float(np.float64(1) / np.float64(0))


def refuse(*_):
    """Raise an error, as promised for bad input."""
    raise ar.ArrangeError("song.txt: no bars; write some")


@pytest.mark.parametrize(
    ("task", "verdict"),
    [(hang, "over time"), (eat, "over memory"), (warn, "other error"), (refuse, "refused")],
)
def test_what_is_reported_of_a_failure(task, verdict):
    """Each kind of failure is distinguished from the others."""
    assert outcome_of("chart", 1, task, limit_s=0.2).verdict == verdict


def test_a_file_that_cannot_be_read_back(tmp_path, monkeypatch):
    """The file that a writer leaves must be a song again, and a refusal may leave no file."""
    path = tmp_path / "song.txt"
    path.write_text("part: Guitar 1\nsection: A\nGuitar 1 | x32010 |\n")
    (tmp_path / "out").mkdir()

    def write(_, target, *__):
        target.write_text("part:")

    monkeypatch.setattr(trying, "write_song", write)
    task = partial(use_file, path, tmp_path / "out", Random(1))
    assert outcome_of("chart", 1, task, limit_s=10).verdict == "not read back"

    def half(_, target, *__):
        write(_, target)
        raise ar.ArrangeError("no")

    monkeypatch.setattr(trying, "write_song", half)
    assert outcome_of("chart", 1, task, limit_s=10).verdict == "half-written"


def die(kind, number, *_):
    """End the process at the second item; this stands in for ``attempt``."""
    if number == 1:
        os.kill(os.getpid(), signal.SIGSEGV)
    return outcome_of(kind, number, lambda: "read", limit_s=5)


@pytest.mark.long
def test_a_worker_that_dies_is_replaced():
    """The item is reported as a crash, and the others are still tried."""
    items = [("chart", number) for number in range(4)]
    verdicts = {each.number: each.verdict for each in try_all(items, die, 1, jobs=1)}
    assert verdicts == {0: "read", 1: "crashed", 2: "read", 3: "read"}
