"""The commands that take decisions and make sound, run as a user runs them."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pytest
import soundfile

import arrange as ar
from arrange.__main__ import main

DEMO = "datasets/low-water.musicxml"


@pytest.fixture
def gig(tmp_path):
    """Put the demo song into a folder, with one decision that moves a part and one that waives."""
    path = tmp_path / "low-water.musicxml"
    shutil.copy(DEMO, path)
    song = ar.read(path)
    notes = song.notes.copy()
    chorus = (notes["part"] == "Guitar 2") & (notes["section"] == "Chorus 1")
    notes.loc[chorus, "pitch"] += 12
    notes.loc[chorus, ["string", "fret"]] = None
    after = replace(song, notes=notes)
    log = ar.decisions_path(path)
    higher = ar.Decision(
        "Guitar 2 an octave up", "room for the hook", section="Chorus 1", parts=["Guitar 2"]
    )
    ar.record_decision(log, higher, song=song, arrangement=after)
    meant = ar.Decision("the hook is doubled", "it is meant", section="Intro", waives="doubling")
    ar.record_decision(log, meant, song=song)
    return path, after


def test_rebuild_writes_the_arrangement(gig, tmp_path, capsys):
    path, after = gig
    target = tmp_path / "arranged.mid"
    assert main(["rebuild", str(path), "-o", str(target)]) == 0
    assert "2 decisions made" in capsys.readouterr().out
    count = ar.read(target).notes["pitch"].value_counts()
    assert count.to_dict() == after.notes.query("not grace")["pitch"].value_counts().to_dict()
    assert main(["rebuild", str(path), "-o", str(target)]) == 2
    assert "there already" in capsys.readouterr().err


def test_rebuild_reports_what_is_stale(gig, tmp_path, capsys):
    path, _ = gig
    text = path.read_text().replace("<step>F</step>", "<step>G</step>")
    path.write_text(text)
    assert main(["rebuild", str(path), "-o", str(tmp_path / "a.txt"), "--overwrite"]) == 0
    out = capsys.readouterr().out
    assert "not made:" in out
    assert "Guitar 2 an octave up; the notes, chords or tuning have changed since" in out


def test_the_report_shows_what_was_decided(gig, tmp_path, capsys):
    path, _ = gig
    assert main(["study", str(path), "-o", str(tmp_path / "out")]) == 0
    assert "1 of them waived" in capsys.readouterr().out
    page = (tmp_path / "out" / "report.html").read_text()
    assert "What was decided" in page
    chorus = page[page.index("Guitar 1 and Guitar 2 live in the same register") :]
    assert re.search(r"Decided here\.</b> d\w+ \(agreed, Chorus 1\): Guitar 2 an octave up", chorus)
    assert "room for the hook" in page
    assert "it is meant" in page


def test_a_log_with_a_fault_stops_the_study(gig, tmp_path, capsys):
    path, _ = gig
    log = path.with_suffix(".decisions.txt")
    log.write_text(log.read_text().replace("why:", "because:", 1))
    assert main(["study", str(path), "-o", str(tmp_path / "out")]) == 2
    assert re.search(r"decisions.txt, line \d+: 'because", capsys.readouterr().err)


def test_listen_writes_a_stretch(tmp_path, capsys):
    target = tmp_path / "chorus.ogg"
    arguments = [
        DEMO,
        "-o",
        str(target),
        "--section",
        "Chorus 1",
        "--part",
        "Guitar 1",
        "--tempo",
        "51",
    ]
    assert main(["listen", *arguments, "--count-in", "1", "--click"]) == 0
    assert "Turn the volume down" in capsys.readouterr().out
    samples, rate = soundfile.read(target)
    assert len(samples) / rate == pytest.approx(9 * 4 * 60 / 51 + 2, abs=0.1)
    assert 0.01 < np.abs(samples).max() < 0.6
    assert main(["listen", DEMO, "-o", str(target), "--measures", "x"]) == 2
    assert "such as 21-24" in capsys.readouterr().err
    assert main(["listen", DEMO, "-o", str(target), "--part", "Guitar 5"]) == 2
    assert "no part 'Guitar 5'" in capsys.readouterr().err
