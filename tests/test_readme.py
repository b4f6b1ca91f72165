"""The README's code and commands run as printed, on a copy of the demo song."""

import re
import shlex
import shutil
from pathlib import Path

import matplotlib.pyplot
import pytest

from arrange.__main__ import main

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```", TEXT, re.MULTILINE | re.DOTALL)
COMMANDS = [
    line.removeprefix(".venv/bin/arrange ")
    for kind, block in BLOCKS
    for line in block.splitlines()
    if not kind and line.startswith(".venv/bin/arrange ")
]
# These commands open something and wait, or take long; they have tests of their own.
UNRUN = ("lab", "page", "workshop")


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """Return a folder as a reader has it: a song of their own, some others, and the demo songs."""
    shutil.copytree(ROOT / "datasets", tmp_path / "datasets")
    demo = tmp_path / "datasets" / "low-water.musicxml"
    shutil.copy(demo, tmp_path / "my-song.musicxml")
    shutil.copy(tmp_path / "datasets" / "low-water.txt", tmp_path / "my-song.txt")
    shutil.copytree(tmp_path / "datasets" / "harbour-set", tmp_path / "my-songs")
    shutil.copy(demo, tmp_path / "my-songs")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_code_runs_from_top_to_bottom(desk):
    """One block after the other, as in one notebook."""
    names = {}
    run = 0
    for kind, block in BLOCKS:
        if kind == "python":
            exec(compile(block, "README.md", "exec"), names)
            run += 1
            matplotlib.pyplot.close("all")
    assert run >= 6
    log = names["ar"].read_decisions(desk / "my-song.decisions.txt")
    assert len(log.decisions) == 1, "the walk ends with a decision on one's own song"


def test_every_command_runs(desk, capsys):
    """Each line as printed, in order; the song has one decision, made by the code above."""
    assert len(COMMANDS) >= 8
    import arrange as ar

    song = ar.read("my-song.musicxml")
    stays = ar.Decision("stays", "we mean it")
    ar.record_decision(ar.decisions_path("my-song.musicxml"), stays, song=song)
    for command in COMMANDS:
        words = shlex.split(command)
        if words[0] not in UNRUN:
            if words[0] == "convert":
                words.append("--overwrite")
            assert main(words) == 0, f"{command}: {capsys.readouterr().err}"
    assert (desk / "my-song-study" / "report.html").exists()
    assert (desk / "chorus.wav").exists()
    assert (desk / "two.musicxml").exists()
