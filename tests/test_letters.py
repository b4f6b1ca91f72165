"""Bytes that are not UTF-8 in file names and options: the file is written all the same, or one
sentence says which text cannot be written.
"""

import os
import shutil
import subprocess
import sys
from dataclasses import replace

import pytest

import arrange as ar
from arrange.__main__ import main
from arrange.findings import Waiver
from arrange.live.view_notebook import write_page
from arrange.text.letters import check_text, is_text, readable, shown

HALF = "half \udcff a letter"
DEMO = "datasets/low-water.musicxml"


def test_what_can_be_written():
    assert check_text("why", "naïve 🎸") == "naïve 🎸"
    with pytest.raises(ar.ArrangeError, match=r"why 'half .*': letter 6 is half a letter"):
        check_text("why", HALF)
    assert (is_text(HALF), is_text(readable(HALF))) == (False, True)
    assert readable(HALF) == "half � a letter"
    assert len(shown("x" * 10**6)) < 60


@pytest.mark.parametrize("field", ["decision", "reason", "kind", "section", "parts"])
def test_a_waiver_names_the_field(field):
    fields = {"decision": "W1", "reason": "meant so", "kind": "rub"}
    fields[field] = (HALF,) if field == "parts" else HALF
    with pytest.raises(ar.ArrangeError, match=rf"waiver .*: {field} .*half a letter"):
        Waiver(**fields)


def test_a_player_s_name(demo):
    with pytest.raises(ar.ArrangeError, match=r"player .*half a letter"):
        ar.condense(demo, players=["Ann", HALF])
    with pytest.raises(ar.ArrangeError, match=r"player .*half a letter"):
        ar.read_songbook([DEMO], players={"Guitar 1": HALF})


def test_a_song_s_title(demo):
    with pytest.raises(ar.ArrangeError, match=r"the title .*half a letter"):
        replace(demo, title=HALF)


@pytest.fixture(scope="module")
def untitled(tmp_path_factory):
    """Return a song without a title in a file whose name is Latin-1."""
    path = tmp_path_factory.mktemp("songs") / "caf\udce9.mid"
    try:
        ar.write_midi(replace(ar.read(DEMO), title=""), path)
    except OSError:
        pytest.skip("names of files are UTF-8 here")
    return path


@pytest.mark.long
def test_a_file_s_name_in_a_report(tmp_path, untitled):
    page = ar.study(untitled).write(tmp_path / "out\udcff")
    assert "caf�" in page.read_text(encoding="utf-8")
    assert (page.parent / "tables" / "notes.parquet").stat().st_size


def test_a_file_s_name_in_a_songbook_and_on_a_page(tmp_path, untitled):
    (untitled.parent / "bad\udce8.mid").write_bytes(b"no song")
    book = ar.read_songbook(untitled.parent)
    assert list(book.studies) == ["caf�"]
    assert book.faults["file"].tolist() == ["bad�.mid"]
    page = write_page(untitled, tmp_path / "page.ipynb")
    assert "# caf�" in page.read_text(encoding="utf-8")


def test_the_command_shows_a_name_that_a_screen_cannot(tmp_path):
    """Standard output accepts only UTF-8, and the command still shows the name."""
    shutil.copy(DEMO, tmp_path / "song.musicxml")
    target = os.fsdecode(os.fsencode(tmp_path) + b"/o\xff.mid")
    done = subprocess.run(
        [sys.executable, "-m", "arrange", "convert", str(tmp_path / "song.musicxml"), target],
        capture_output=True, check=False, env={**os.environ, "PYTHONIOENCODING": "utf-8:strict"},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, b"")
    assert rb"o\udcff.mid" in done.stdout


@pytest.mark.parametrize("text", ["9" * 5000, "1-" + "9" * 5000, "4-3", "0", "x", "1-2-3"])
def test_measures_that_no_song_has(text, capsys):
    assert main(["listen", DEMO, "--measures", text, "-o", "never.wav"]) == 2
    printed = capsys.readouterr().err
    assert printed.startswith("arrange: --measures")
    assert len(printed) < 200
