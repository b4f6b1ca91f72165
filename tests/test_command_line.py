"""A user's mistake or interruption in any command gives one line, an exit code, and no partial
file.

Exit codes of runs that are stopped are 128 and the signal's number, as POSIX shells report them.
"""

import re
import shlex
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from songs import many_guitars

from arrange import condense, read, write_musicxml
from arrange.__main__ import main
from arrange.commands import arranging, changing, handing_out, measuring, opening
from arrange.commands.arguments import command_parser

ROOT = Path(__file__).parent.parent
DEMO, CHART = (str(ROOT / "datasets" / name) for name in ("low-water.musicxml", "low-water.txt"))
SMALL = str(ROOT / "datasets" / "harbour-set" / "4-slack-tide.txt")
LAYERS = str(ROOT / "datasets" / "last-bell.musicxml")
REVOICE = ["revoice", DEMO, "--part", "Guitar 1", "--section", "Chorus 1"]
LONG = "x" * 300
DIGITS = "9" * 23
NAMES = re.findall(r"^    ([a-z][a-z-]+)(?:  |$)", command_parser().format_help(), re.MULTILINE)
WAITING = ("lab", "page")  # they serve until they are stopped
STAGES = (measuring, changing, arranging, handing_out, opening)


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """Return a folder to write into, with a file in the way."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("mine")
    (tmp_path / "a.choices.csv").mkdir()
    (tmp_path / "a.wav").mkdir()
    (tmp_path / "ideas").mkdir()
    (tmp_path / "ideas" / "proposals.csv").mkdir()
    (tmp_path / "report").mkdir()
    (tmp_path / "report" / "tables").write_text("mine")
    return tmp_path


@pytest.fixture(scope="module")
def few_layers(tmp_path_factory):
    """Return the file of a song of five layers in three sections."""
    path = tmp_path_factory.mktemp("song") / "few.musicxml"
    write_musicxml(many_guitars(5, 24), path)
    return path


def listing(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def run(words):
    try:
        return main(words)
    except SystemExit as end:
        return end.code


HOSTILE = [
    (["study", DEMO, "-o", "out", "--octave", f"Guitar 1={DIGITS}"], "too many digits"),
    (["study", DEMO, "-o", "out", "--octave", "Guitar 1=999"], "by 999 octaves; a whole number"),
    (["study", DEMO, "-o", "out", "--octave", "Guitar 1=1.5"], "is not a whole number"),
    (["study", DEMO, "-o", "out", "--octave", "=1"], "write PART=N"),
    (["study", DEMO, "-o", LONG], "name too long"),
    (["study", DEMO, "-o", ""], "the name is empty"),
    (["study", DEMO, "-o", "file"], "is a file; name a folder"),
    (["study", SMALL, "-o", "file/out"], "cannot be written"),
    (["study", SMALL, "-o", "report"], "report/tables is a file"),
    (["study", LONG, "-o", "out"], "name too long"),
    (["study", ".", "-o", "out"], "this is a folder"),
    (["study", DEMO, "-o", "out", "--decisions", LONG], "name too long"),
    (["study", DEMO, "-o", "out", "--waive", "kind=x; reason=y"], "x"),
    (["songbook", "ideas", "-o", "out"], "no song is in this folder"),
    (["songbook", DEMO, "-o", "file"], "is a file; name a folder"),
    (["songbook", DEMO, "-o", "out", "--player", "Ann"], "write PART=NAME"),
    (["convert", DEMO, LONG + ".mid"], "name too long"),
    (["convert", DEMO, "a.wav"], "no format ends so"),
    (["convert", DEMO, ".."], "no format ends so"),
    (["convert", DEMO, "file/a.mid"], "cannot be written"),
    (["mend", DEMO, "--finding", "0"], "there is no such finding; there are 22, from 1"),
    (["mend", DEMO, "--finding", "one"], "is not a whole number"),
    (["mend", DEMO, "--finding", "1", "--take", "99", "-o", "b.mid"], "there is no such change"),
    (["mend", DEMO, "-o", "b.mid"], "-o needs --finding N"),
    (["mend", DEMO, "--finding", "1", "-o", "a.wav"], "no format ends so"),
    (["change-key", DEMO], "required: --by"),
    (["change-key", DEMO, "--by", "0"], "write a whole number from 1 to 11"),
    (["change-key", DEMO, "--by", "12"], "write a whole number from 1 to 11"),
    (["change-key", DEMO, "--by", "low"], "is not a whole number"),
    (["change-key", DEMO, "--by", "2", "--most", "0"], "at least one"),
    (["change-key", DEMO, "--by", "2", "--player", "Ann"], "there is no player 'Ann'"),
    (["change-key", DEMO, "--by", "2", "--player", "Guitar 2: capo 99"], "a capo is none"),
    (["change-key", DEMO, "--by", "2", "-o", "a.wav"], "no format ends so"),
    ([*REVOICE, "--most", "0"], "at least one"),
    ([*REVOICE, "--most", "-3"], "at least one"),
    ([*REVOICE, "--most", DIGITS], "digits"),
    ([*REVOICE[:4], "--measures", "-4"], "write played measures|no song has so many"),
    ([*REVOICE[:4], "--measures", "0-4"], "measures"),
    ([*REVOICE[:4], "--measures", "1-" + "9" * 5000], "write played measures|no song has so many"),
    ([*REVOICE[:4], "--chord", LONG], "chord"),
    ([*REVOICE, "-o", "ideas"],
     "proposals.csv is a folder"),
    ([*REVOICE, "-o", "file"], "is a file"),
    (["condense", LAYERS, "-o", "b.mid", "--players", "0"], "at least one has to play"),
    (["condense", LAYERS, "-o", "b.mid", "--players", "-1"], "at least one has to play"),
    (["condense", LAYERS, "-o", "b.mid", "--players", ""], "is not a whole number"),
    (["condense", LAYERS, "-o", "b.mid", "--players", "1.5"], "is not a whole number"),
    (["condense", LAYERS, "-o", "b.mid", "--players", "Ann,"], "a name that is not empty"),
    (["condense", LAYERS, "-o", "b.mid", "--players", ","], "a name that is not empty"),
    (["condense", LAYERS, "-o", "b.mid", "--players", "200"], "at most 16"),
    (["condense", LAYERS, "-o", "b.mid", "--players", "9" * 5000], "too many digits"),
    (["condense", LAYERS, "-o", "a.mid"], "a.choices.csv is a folder"),
    (["condense", LAYERS, "-o", "a.mid", "--overwrite"], "a.choices.csv is a folder"),
    (["condense", LAYERS, "-o", "x" * 250 + ".mid"], "name too long"),
    (["condense", LAYERS, "-o", "b.mid", "--pin", ";;"], "pin"),
    (["condense", LAYERS, "-o", "b.mid", "--role", "="], "part|layer"),
    (["rebuild", DEMO, "-o", "a.wav"], "no format ends so"),
    (["rebuild", DEMO, "-o", "b.mid", "--decisions", "ideas"], "this is a folder; name a text"),
    (["handout", ".", "-o", "out"], "this is a folder"),
    (["handout", DEMO, "-o", LONG], "name too long"),
    (["handout", DEMO, "-o", "out", "--player", ""], "a player has no name"),
    (["handout", DEMO, "-o", "out", "--frets", "bridge"], "--frets: .*'bridge'.*nut.*capo"),
    (["explain", DEMO, "--player", "Guitar 1", "--frets", ""], "--frets: .*nut.*capo"),
    (["explain", DEMO, "--player", "Guitar 1", "--length", LONG], "line"),
    (["explain", DEMO, "--player", "Voice"], "has no strings to finger; .*'Voice guitar'$"),
    (["explain", DEMO, "--player", LONG], "no player"),
    (["explain", DEMO, "--player", "Guitar 1", "--section", LONG], "no section"),
    (["explain", DEMO], "--player"),
    (["listen", DEMO, "-o", "b.wav", "--count-in", "-1"], "from 0 to 16"),
    (["listen", DEMO, "-o", "b.wav", "--count-in", "1000000"], "from 0 to 16"),
    (["listen", DEMO, "-o", "b.wav", "--count-in", DIGITS], "too many digits"),
    (["listen", DEMO, "-o", "b.wav", "--tempo", "0.001"], "from 10 to 400"),
    (["listen", DEMO, "-o", "b.wav", "--tempo", "-60"], "from 10 to 400"),
    (["listen", DEMO, "-o", "b.wav", "--tempo", "nan"], "from 10 to 400"),
    (["listen", DEMO, "-o", "b.wav", "--tempo", "fast"], "'fast' is not a number"),
    (["listen", DEMO, "-o", "b.wav", "--measures", "1-9999999999999"], "no song has so many"),
    (["listen", DEMO, "-o", "b.wav", "--font", LONG], "name too long"),
    (["listen", DEMO, "-o", "a.wav"], "a.wav is a folder"),
    (["listen", DEMO, "-o", LONG + ".ogg"], "name too long"),
    (["listen", DEMO, "-o", "b.mp3"], "end the name in one"),
    (["workshop", DEMO, "-o", "file"], "is a file; name a folder"),
    (["workshop", DEMO, "-o", LONG], "name too long"),
    (["workshop", DEMO, "-o", "out", "--seed", DIGITS], "too many digits"),
    (["page", DEMO, "--port", "-1"], "port"),
    (["page", DEMO, "--port", "65536"], "port"),
    (["page", LONG], "name too long|needs voila"),
    (["lab", LONG], "name too long"),
    (["lab", "ideas"], "this is a folder"),
    ([], "required"),
    (["sing"], "invalid choice: 'sing'"),
    (["listen", DEMO], "required: -o"),
    (["listen", DEMO, "-o", "b.wav", "--loud"], "unrecognized arguments: --loud"),
]  # fmt: skip


@pytest.mark.sampled
@pytest.mark.parametrize(
    ("words", "match"),
    HOSTILE,
    ids=[f"{n}-{(w or ['none'])[0]}" for n, (w, _) in enumerate(HOSTILE)],
)
def test_a_wrong_value_is_one_line(desk, capsys, words, match):
    """Exit code 2, and one line that says what is wrong; every file and folder stays as it was."""
    before = listing(desk)
    assert run(words) == 2
    out, err = capsys.readouterr()
    assert not out
    assert err.count("\n") == 1, err
    assert re.search(match, err), err
    assert len(err) < 1000
    assert "Traceback" not in err
    assert listing(desk) == before


@pytest.fixture
def interruptible():
    """Make the process react to Ctrl-C as in a terminal; a background job ignores it by default."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("interruptible")
@pytest.mark.parametrize("name", NAMES)
def test_ctrl_c_is_one_line(name, monkeypatch, capsys):
    """A command that is interrupted at any point says so in one line."""
    run_name = f"run_{name.replace('-', '_')}"
    (stage,) = (each for each in STAGES if hasattr(each, run_name))
    monkeypatch.setattr(stage, run_name, lambda _: signal.raise_signal(signal.SIGINT))
    more = {
        "condense": ["-o", "a"],
        "revoice": ["--part", "a"],
        "convert": ["a"],
        "explain": ["--player", "a"],
        "change-key": ["--by", "2"],
    }
    outputs = {each: ["-o", "a"] for each in ("rebuild", "handout", "listen", "workshop")}
    assert main([name, DEMO, *(more | outputs).get(name, [])]) == 130
    err = capsys.readouterr().err
    assert err.startswith("arrange: interrupted")
    assert err.count("\n") == 1


@pytest.mark.usefixtures("interruptible")
def test_ctrl_c_while_writing_leaves_nothing(few_layers, tmp_path, monkeypatch, capsys):
    """The interruption comes at the second of two files of a condensation."""
    monkeypatch.setattr(pd.DataFrame, "to_csv", lambda *_, **__: signal.raise_signal(signal.SIGINT))
    assert main(["condense", str(few_layers), "-o", str(tmp_path / "new" / "a.mid")]) == 130
    assert not list(tmp_path.iterdir())
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize("words", ["--help", "study --help", f"convert '{DEMO}' a.mid"])
def test_a_closed_pipe_ends_quietly(tmp_path, words):
    """A reader such as ``head`` has closed the pipe before anything is printed."""
    asked = [sys.executable, "-m", "arrange", *shlex.split(words)]
    env = {"PYTHONPATH": str(ROOT), "PATH": ""}
    process = subprocess.Popen(
        asked, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path, env=env
    )
    process.stdout.close()
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait() == 141
    assert [path.name for path in tmp_path.iterdir()] == (["a.mid"] if "mid" in words else [])


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has this device")
def test_output_that_cannot_be_written_is_one_line(tmp_path):
    """Output to a full disk gives one line."""
    asked = [sys.executable, "-m", "arrange", "convert", DEMO, "a.mid"]
    with open("/dev/full", "w") as full:
        process = subprocess.run(
            asked, stdout=full, stderr=subprocess.PIPE, cwd=tmp_path, env={"PYTHONPATH": str(ROOT)}
        )
    assert (process.returncode, process.stderr) == (2, b"arrange: No space left on device\n")


def test_a_name_that_no_terminal_can_show(tmp_path, monkeypatch, capsys):
    """Linux allows file names that are not UTF-8; what can be shown of them is shown."""
    monkeypatch.chdir(tmp_path)
    name = b"\xff.mid".decode("utf-8", "surrogateescape")
    assert main(["convert", DEMO, name]) == 0
    assert r"\udcff.mid" in capsys.readouterr().out


@pytest.mark.sampled
@pytest.mark.parametrize("name", NAMES)
def test_the_example_in_the_help_runs(name, tmp_path, monkeypatch, capsys):
    """Each command's example runs on the demo songs; for commands that serve, and slow ones
    that run as the README prints them, only the options are read.
    """
    assert run([name, "--help"]) == 0
    (example,) = re.findall(r"^example:\n  arrange (.*)", capsys.readouterr().out, re.MULTILINE)
    shutil.copytree(ROOT / "datasets", tmp_path / "datasets")
    monkeypatch.chdir(tmp_path)
    words = shlex.split(example)
    assert words[0] == name
    if name in (*WAITING, "condense", "handout", "workshop"):
        assert command_parser().parse_args(words).command == name
    else:
        assert main(words) == 0, capsys.readouterr().err


def test_condense_prints_what_is_lost_and_what_else_there_is(few_layers, tmp_path, capsys):
    """The lines say what the tables of the condensation hold, and fit a terminal of 100 columns."""
    target = str(tmp_path / "a.mid")
    assert main(["condense", str(few_layers), "--players", "Ann, Ben", "-o", target]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines()[:-2])) <= 100
    words = " ".join(out.split())
    result = condense(read(few_layers), ["Ann", "Ben"])
    assert len(result.lost)
    for row in result.lost.itertuples():
        assert row.layer in words
        assert row.measures in words
        if row.value > 0.01:
            assert f"{row.what} ({row.value:.1f} s" in words
    best = result.alternatives[result.alternatives["rank"] == 1]
    for row in best.itertuples():
        assert f"next best: {row.choice}; it would cost {row.costs:.1f} s" in words
    assert words.count("next best: ") == len(result.song.sections)
