"""The commands that propose and condense, run as a user runs them."""

import re

import pandas as pd
import pytest

import arrange as ar
from arrange.__main__ import main
from arrange.commands.condensation_text import _lost_lines

DEMO = "datasets/low-water.musicxml"
LAYERS = "datasets/last-bell.musicxml"


def test_condense_writes_the_song_and_the_reasons(tmp_path, capsys):
    target = tmp_path / "two.musicxml"
    arguments = [LAYERS, "--players", "Ann, Ben", "--role", "Lead=lead", "-o", str(target)]
    arguments += [
        "--pin",
        "Ann; Instrumental; Lead",
        "--pin",
        "Ben; Outro; ",
        "--forbid",
        "Ben; any; Pad",
    ]
    assert main(["condense", *arguments]) == 0
    out = capsys.readouterr().out
    assert re.search(
        r"Instrumental \(recording at \d+% of its fullest section, players at \d+% of theirs\)\n"
        r"  Ann takes Lead \(overdriven, capo 2\): ",
        out,
    )
    assert "Growth: no section returns thinner where the recording does not." in out
    assert "Ben lays out: pinned" in out
    assert "of what all layers are worth; proven" in out
    song = ar.read(target)
    assert song.parts["part"].tolist() == ["Voice", "Ann", "Ben", "Bass", "Drums"]
    table = pd.read_csv(tmp_path / "two.choices.csv")
    assert len(table) == 2 * len(song.sections)
    assert not table.loc[table["player"] == "Ben", "layers"].fillna("").str.contains("Pad").any()
    assert main(["condense", *arguments]) == 2
    assert "there already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        (["--pin", "Hook"], "write player; section; layers"),
        (["--role", "Lead"], "write LAYER=ROLE"),
        (["--role", "Lead=star"], "star"),
        (["--players", "0"], "player"),
        (["--layer", "Kazoo"], "Kazoo"),
    ],
)
def test_condense_says_what_is_wrong(tmp_path, capsys, arguments, match):
    assert main(["condense", LAYERS, "-o", str(tmp_path / "a.mid"), *arguments]) == 2
    assert match in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_revoice_prints_and_writes_proposals(tmp_path, capsys):
    folder = tmp_path / "ideas"
    arguments = [
        DEMO,
        "--part",
        "Guitar 1",
        "--section",
        "Chorus 1",
        "--most",
        "3",
        "-o",
        str(folder),
    ]
    assert main(["revoice", *arguments]) == 0
    out = capsys.readouterr().out
    assert "1. " in out
    assert "3. " in out
    assert "4. " not in out
    paths = sorted(folder.glob("*.musicxml"))
    assert [path.name[:2] for path in paths] == ["1-", "2-", "3-"]
    before = ar.find_clashes(ar.read(DEMO))["severity"].sum()
    for path in paths:
        assert ar.find_clashes(ar.read(path))["severity"].sum() < before
    assert len(pd.read_csv(folder / "proposals.csv")) == 3


def test_revoice_says_what_is_wrong(capsys):
    for arguments, match in (
        (["--part", "Guitar 7"], "Guitar 7"),
        (["--part", "Guitar 1", "--section", "Coda"], "Coda"),
        (["--part", "Guitar 1", "--measures", "one"], "such as 21-24"),
    ):
        assert main(["revoice", DEMO, *arguments]) == 2
        assert match in capsys.readouterr().err


def test_mend_lists_findings_and_moves_and_makes_one(tmp_path, capsys):
    """The numbers are those that it prints; the song that it writes has the change."""
    before = ar.read(DEMO)
    findings = ar.find_clashes(before)
    assert main(["mend", DEMO]) == 0
    out = capsys.readouterr().out
    number = 1 + findings.index.get_loc(findings.index[findings["kind"] == "rub"][0])
    assert f"{number}. measure 22, rub: Guitar 1's Bb4 rubs" in out
    assert f"{len(findings)} findings; --finding N says what ends one." in out
    target = tmp_path / "mended.musicxml"
    words = ["mend", DEMO, "--finding", str(number)]
    assert main([*words, "--take", "2", "-o", str(target)]) == 0
    out = capsys.readouterr().out
    assert "1. Guitar 1: down a semitone to A4" in out
    assert "2. Guitar 1: up 2 semitones to C5" in out
    after = ar.read(target)
    assert not len(ar.find_clashes(after, ["rub"]))
    moved = ar.smallest_moves(before, findings.iloc[number - 1]).iloc[1]
    rows = list(moved["changed"])
    assert after.notes.loc[rows, "pitch"].tolist() == [72.0] * len(rows)
    assert after.notes.loc[rows, "fret"].notna().all()


@pytest.mark.long
def test_mend_where_no_move_helps(capsys):
    """One sentence: no single move ends it."""
    path = "datasets/tarrow-weir.txt"
    number = 1 + ar.find_clashes(ar.read(path))["kind"].tolist().index("drive")
    assert main(["mend", path, "--finding", str(number)]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert err.startswith(f"arrange: --finding {number}: no single move ends it: ")


def test_handout_writes_sheets(tmp_path, capsys):
    arguments = ["handout", DEMO, "-o", str(tmp_path / "out"), "--player", "Guitar 2", "--paper"]
    assert main([*arguments, "letter"]) == 0
    paths = capsys.readouterr().out.split("\n")[:-1]
    suffixes = sorted(path.rpartition(".")[2] for path in paths)
    assert suffixes == ["html", "html", "pdf", "pdf"]
    assert all((tmp_path / "out").joinpath(path).stat().st_size > 1000 for path in paths)
    with pytest.raises(SystemExit, match="2"):
        main([*arguments, "A9"])
    assert "--paper: invalid choice: 'A9'" in capsys.readouterr().err


@pytest.mark.sampled
@pytest.mark.parametrize("length", ["line", "paragraph", "steps"])
def test_explain_prints_the_words(capsys, length):
    """A player's name means the part; the words are those of ``explain_part``."""
    path = "datasets/tarrow-weir.txt"
    asked = ["explain", path, "--player", "Tam", "--section", "Middle", "--frets", "nut"]
    assert main([*asked, "--length", length]) == 0
    words = ar.explain_part(ar.read(path), "Guitar 2", "Middle", frets="nut").text(length)
    assert capsys.readouterr().out.split() == words.split()


@pytest.mark.sampled
@pytest.mark.parametrize("columns", [60, 80])
def test_lines_fit_the_terminal(capsys, monkeypatch, tmp_path, columns):
    """No line is so long that the terminal breaks it in the middle of a word."""
    monkeypatch.setenv("COLUMNS", str(columns))
    out = str(tmp_path / "two.mid")
    assert main(["condense", "datasets/last-bell.musicxml", "-o", out]) == 0
    printed = capsys.readouterr().out
    assert main(["revoice", "datasets/low-water.musicxml", "--part", "Guitar 1", "--section",
                 "Chorus 1"]) == 0  # fmt: skip
    printed += capsys.readouterr().out
    assert main(["explain", "datasets/tarrow-weir.txt", "--player", "Guitar 1"]) == 0
    printed += capsys.readouterr().out
    lines = [each for each in printed.splitlines() if str(tmp_path) not in each]
    assert max(map(len, lines)) <= columns


def test_one_measure_is_not_several():
    """A loss in a single bar is stated in the singular, in several bars in the plural."""
    lost = pd.DataFrame({
        "layer": ["Slide", "Hook"], "what": "its own line", "measures": ["27", "3, 5-6"],
        "value": [2.0, 1.0], "share": [0.06, 0.03], "why": "it is hard",
    })  # fmt: skip
    one, several = _lost_lines(lost)
    assert "Slide, measure 27: " in one
    assert "Hook, measures 3, 5-6: " in several
