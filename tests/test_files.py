"""Files are written whole or not at all, and drafts of a killed run are removed."""

import os
import signal
import subprocess
import sys
import time

import pytest

from arrange.errors import ArrangeError
from arrange.formats import files
from arrange.formats.files import check_target, read_bytes, whole_file, whole_files

WRITER = """
import sys, time
from pathlib import Path
from arrange.formats.files import whole_files
with whole_files(Path(sys.argv[1])) as draft:
    (draft / "half.txt").write_text("half")
    print("writing", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def start(tmp_path):
    """Start a run that is in the middle of writing into the folder; end it after the test."""
    runs = []

    def started():
        asked = [sys.executable, "-c", WRITER, str(tmp_path)]
        run = subprocess.Popen(asked, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        assert run.stdout.readline() == b"writing\n"
        runs.append(run)
        return run

    yield started
    for run in runs:
        run.kill()
        run.wait()
        run.stdout.close()


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def write(folder, *paths, stop=None):
    with whole_files(folder) as draft:
        for path in paths:
            (draft / path).write_text("new")
        if stop:
            raise stop


def test_all_files_are_moved_or_none(tmp_path):
    folder = tmp_path / "new" / "out"
    with whole_files(folder) as draft:
        (draft / "a.txt").write_text("a")
        (draft / "below").mkdir()
        (draft / "below" / "b.txt").write_text("b")
        assert not folder.exists()
    assert names(folder) == ["a.txt", "below"]
    (folder / "c.txt").mkdir()
    for stop in (KeyboardInterrupt, ValueError):
        with pytest.raises(stop):
            write(folder, "a.txt", stop=stop)
    with pytest.raises(ArrangeError, match=r"c\.txt is a folder, where a file is written"):
        write(folder, "a.txt", "c.txt")
    assert (folder / "a.txt").read_text() == "a"
    assert names(folder) == ["a.txt", "below", "c.txt"]
    assert names(tmp_path) == ["new"]


def test_the_longest_name_is_written_and_a_longer_one_refused(tmp_path):
    """Most file systems take names of 255 bytes (NAME_MAX on Linux); a draft must not need more."""
    longest = tmp_path / ("x" * 251 + ".txt")
    with whole_file(longest) as draft:
        draft.write_text("here")
    assert read_bytes(longest) == b"here"
    for name in ("x" * 252 + ".txt", "é" * 128, "x" * 5000):
        for ask in (check_target, read_bytes, lambda path: whole_file(path).__enter__()):
            with pytest.raises(ArrangeError, match="name too long") as caught:
                ask(tmp_path / name)
            assert len(str(caught.value)) < 250
    assert names(tmp_path) == [longest.name]


def test_what_a_killed_run_left_goes_with_the_next(tmp_path, start):
    run = start()
    run.send_signal(signal.SIGKILL)
    run.wait()
    assert len(names(tmp_path)) == 1, "a draft stays behind a killed run"
    with whole_file(tmp_path / "a.txt") as draft:
        draft.write_text("a")
    assert names(tmp_path) == ["a.txt"]


def test_runs_at_once_leave_each_other_alone(tmp_path, start):
    start()
    (other,) = names(tmp_path)
    with whole_files(tmp_path) as draft:
        assert names(tmp_path) == sorted([other, draft.name])
        start()
        assert len(names(tmp_path)) == 3
        (draft / "a.txt").write_text("a")
    assert (tmp_path / other / "half.txt").exists()
    assert len(names(tmp_path)) == 3


def test_without_locks_a_draft_is_swept_by_its_age(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "fcntl", None)
    for name, hours in (("young", 1), ("old", 25)):
        folder = tmp_path / f".arrange-draft-{name}"
        folder.mkdir()
        then = time.time() - 3600 * hours
        os.utime(folder, (then, then))
    with whole_file(tmp_path / "a.txt") as draft:
        draft.write_text("a")
    assert names(tmp_path) == [".arrange-draft-young", "a.txt"]
