"""The decision log keeps what is written, names what is wrong, and rebuilds what is decided."""

import datetime
import os
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import textwrap
import time
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from songs import parts_of, song

import arrange as ar
from arrange.decisions import (
    Decision,
    change_status,
    decisions_path,
    read_decisions,
    rebuild,
    record_decision,
    waivers_of,
)
from arrange.decisions.log_text import format_decision, parse_decisions
from arrange.decisions.note_changes import apply_change, change_between, passage_fingerprint

SECTIONS = (("Verse 1", 1), ("Chorus 1", 3))


def two_guitars(upper="E4 G4 B4"):
    """Return four bars in which both guitars share a register in the chorus, from measure 3."""
    return song(
        ("Guitar 1", "C3 E3 G3", 0, 4),
        ("Guitar 1", upper, 8, 4),
        ("Guitar 1", upper, 12, 4),
        ("Guitar 2", "E4 G4 B4", 8, 4),
        ("Guitar 2", "D4 G4", 12, 1 / 3),
        ("Bass", "C2", 0, 16),
        sections=SECTIONS,
        bars=4,
        title="Harbour Lights Out",
    )


def octave_up(before, part, bars):
    notes = before.notes.copy()
    notes.loc[(notes["part"] == part) & notes["measure"].isin(bars), "pitch"] += 12
    return replace(before, notes=notes)


def in_order(some):
    """Return notes in an order that does not depend on the table's order."""
    names = ["part", "onset", "pitch", "source_id"]
    return some.notes.sort_values(names, ignore_index=True)


def test_a_decision_is_read_as_it_was_written(tmp_path):
    log = tmp_path / "lights.decisions.txt"
    before = two_guitars()
    decision = Decision(
        "Guitar 1 goes up an octave\nin the chorus", "so that both are heard", "Chorus 1",
        parts=["Guitar 1"], alternatives=["lay out", "the shell only"],
    )  # fmt: skip
    arrangement = octave_up(before, "Guitar 1", [3, 4])
    written = record_decision(log, decision, song=before, arrangement=arrangement)
    (read,) = read_decisions(log).decisions
    assert read == written
    assert read.change.spans == (("Guitar 1", 3, 4),)
    pd.testing.assert_frame_equal(read.change.notes, written.change.notes)
    assert "crowding" in read.before
    assert "crowding" not in read.after
    text = log.read_text()
    assert "what: Guitar 1 goes up an octave\n  in the chorus\n" in text
    assert "# Decisions for Harbour Lights Out." in text


def test_the_arrangement_is_built_again_note_for_note(tmp_path):
    """The log has two decisions, one based on the other, and one that was dropped."""
    log, before = tmp_path / "log.txt", two_guitars()
    first = octave_up(before, "Guitar 1", [3, 4])
    record_decision(log, Decision("up", "room"), song=before, arrangement=first)
    quiet = replace(first, notes=first.notes[first.notes["part"] != "Guitar 2"].copy())
    quiet = replace(quiet, notes=quiet.notes.reset_index(drop=True))
    lays_out = Decision("Guitar 2 lays out", "quiet")
    dropped = record_decision(log, lays_out, song=first, arrangement=quiet)
    change_status(log, dropped.id, "dropped", "the singer wants it")
    capo = first.parts.copy()
    capo.loc[capo["part"] == "Guitar 2", "capo"] = 2
    last = replace(first, parts=capo)
    at_two = Decision("Guitar 2 takes a capo at 2", "open shapes")
    record_decision(log, at_two, song=first, arrangement=last)
    built = rebuild(before, read_decisions(log))
    pd.testing.assert_frame_equal(in_order(built.song), in_order(last))
    pd.testing.assert_frame_equal(built.song.parts, last.parts)
    assert [each.what for each in built.applied] == ["up", "Guitar 2 takes a capo at 2"]
    assert not built.stale


@pytest.mark.parametrize(
    "path", ["datasets/low-water.musicxml", "datasets/low-water.txt", "datasets/tarrow-weir.txt"]
)
def test_demo_songs_are_built_again(tmp_path, path):
    """Every column of every note survives in the log: strings, frets, techniques, triplets."""
    before = ar.read(path)
    part = before.parts["part"].iloc[-1]
    up = octave_up(before, part, range(1, 400))
    more = replace(up, parts=pd.concat([up.parts, parts_of("Guitar 9")], ignore_index=True))
    log = tmp_path / "log.txt"
    decision = Decision("all of it", "to try every note")
    record_decision(log, decision, song=before, arrangement=more)
    built = rebuild(before, read_decisions(log)).song
    pd.testing.assert_frame_equal(in_order(built), in_order(more))
    pd.testing.assert_frame_equal(built.parts, more.parts)


def test_a_condensed_song_is_built_again(tmp_path):
    """Parts that disappear and parts that are new are rebuilt."""
    before = two_guitars()
    notes = before.notes[before.notes["part"] != "Guitar 2"].replace({"part": {"Guitar 1": "Ann"}})
    after = replace(
        before,
        parts=pd.concat([parts_of("Ann", family="guitar"), parts_of("Bass")], ignore_index=True),
        notes=notes.reset_index(drop=True),
    )
    log = tmp_path / "log.txt"
    decision = Decision("Ann alone", "the other is ill")
    record_decision(log, decision, song=before, arrangement=after)
    built = rebuild(before, read_decisions(log)).song
    pd.testing.assert_frame_equal(in_order(built), in_order(after))
    assert sorted(built.parts["part"]) == ["Ann", "Bass"]


def test_a_passage_that_has_changed_makes_a_decision_stale(tmp_path):
    log, before = tmp_path / "log.txt", two_guitars()
    record_decision(
        log, Decision("up", "room"), song=before, arrangement=octave_up(before, "Guitar 1", [3])
    )
    record_decision(log, Decision("meant so", "hook", "Verse 1", waives="mud"), song=before)
    elsewhere = octave_up(before, "Guitar 2", [4])
    assert not rebuild(elsewhere, read_decisions(log)).stale[1:]
    assert len(rebuild(elsewhere, read_decisions(log)).applied) == 2
    beneath = octave_up(before, "Guitar 1", [3])
    ((stale, why),) = rebuild(beneath, read_decisions(log)).stale
    assert stale.what == "up"
    assert "Guitar 1 in measure 3" in why
    ((stale, why),) = rebuild(octave_up(before, "Bass", [1]), read_decisions(log)).stale
    assert stale.what == "meant so"


def test_levels_and_words_do_not_make_it_stale():
    before = two_guitars()
    louder = replace(before, parts=before.parts.assign(level=3.0), title="other")
    spans = [("Guitar 1", 1, 4)]
    assert passage_fingerprint(before, spans) == passage_fingerprint(louder, spans)
    turned = replace(before, notes=before.notes[::-1].reset_index(drop=True))
    assert passage_fingerprint(before, spans) == passage_fingerprint(turned, spans)


def test_waivers_are_decisions(tmp_path):
    log, before = tmp_path / "log.txt", two_guitars()
    together = Decision(
        "both stay together", "the hook is doubled on purpose", "Chorus 1",
        parts=("Guitar 1", "Guitar 2"), waives="crowding",
    )  # fmt: skip
    kept = record_decision(log, together, song=before)
    record_decision(log, Decision("perhaps", "no idea", waives="rub", status="proposed"))
    (waiver,) = waivers_of(read_decisions(log))
    found = ar.waive(ar.find_clashes(before), [waiver])
    assert set(found.loc[found["kind"] == "crowding", "waived"]) == {kept.id}


def test_a_later_decision_supersedes(tmp_path):
    log = tmp_path / "log.txt"
    first = record_decision(log, Decision("capo 2", "easy"))
    second = record_decision(log, Decision("capo 3", "easier", supersedes=first.id))
    assert [each.status for each in read_decisions(log).decisions] == ["superseded", "agreed"]
    change_status(log, second.id, "dropped", "no capo at all")
    assert [each.status for each in read_decisions(log).decisions] == ["agreed", "dropped"]
    with pytest.raises(ar.ArrangeError, match="no decision 'd9' to supersede"):
        record_decision(log, Decision("x", "y", supersedes="d9"))


def test_what_is_asked_for_must_be_there(tmp_path):
    log, before = tmp_path / "log.txt", two_guitars()
    for about, match in (
        ({"section": "Chorus 9"}, "no section 'Chorus 9'.*Verse 1"),
        ({"parts": ("Guitar 3",)}, "no part 'Guitar 3'"),
        ({"measures": (3, 9)}, "the song has 4"),
        ({"measures": (3, 2)}, "the first, then the last"),
        ({"status": "perhaps"}, "one of proposed, agreed"),
    ):
        with pytest.raises(ar.ArrangeError, match=match):
            record_decision(log, Decision("a", "b", **about), song=before)
    with pytest.raises(ar.ArrangeError, match="what is decided and why"):
        Decision("a", " ")
    with pytest.raises(ar.ArrangeError, match="give the song too"):
        record_decision(log, Decision("a", "b"), arrangement=before)
    slower = replace(before, measures=before.measures.assign(tempo=61.0))
    with pytest.raises(ar.ArrangeError, match="differ in their measures"):
        record_decision(log, Decision("a", "b"), song=before, arrangement=slower)
    assert not log.exists()
    with pytest.raises(ar.ReadError, match="cannot be read"):
        read_decisions(log)
    record_decision(log, Decision("a", "b"))
    with pytest.raises(ar.ArrangeError, match="no decision 'd0'"):
        change_status(log, "d0", "agreed", "why")
    assert decisions_path("gigs/lights.musicxml").name == "lights.decisions.txt"


def test_what_was_recorded_is_not_recorded_again(tmp_path):
    """An entry that is already in a log is refused; its id and passage belong to one entry."""
    log, before = tmp_path / "log.txt", two_guitars()
    first = record_decision(log, Decision("capo 2", "easy"), song=before)
    data = log.read_bytes()
    with pytest.raises(ar.ArrangeError, match=f"recorded already.*supersedes='{first.id}'"):
        record_decision(log, replace(first, why="easier"), song=before)
    with pytest.raises(ar.ArrangeError, match="leave them empty"):
        record_decision(log, replace(first, id=""), song=before)
    assert log.read_bytes() == data


def test_a_date_that_is_given_is_kept(tmp_path):
    """A decision may have an earlier date."""
    log = tmp_path / "log.txt"
    written = record_decision(log, Decision("capo 2", "easy", date="2031-06-30"))
    assert written.date == "2031-06-30"
    assert read_decisions(log).decisions == (written,)
    today = record_decision(log, Decision("capo 3", "easier"))
    assert today.date == datetime.date.today().isoformat()
    with pytest.raises(ar.ArrangeError, match="write year-month-day, such as 2031-06-30"):
        record_decision(log, Decision("capo 2", "easy", date="last Monday"))
    assert len(read_decisions(log).decisions) == 2


def test_several_are_not_one_text():
    """``parts="Guitar 1"`` would be read as eight parts of one letter."""
    with pytest.raises(ar.ArrangeError, match=r"parts 'Guitar 1': write \['Guitar 1'\]"):
        Decision("up", "room", parts="Guitar 1")


GOOD = """\
# Decisions for a song.

decision: d1
date: 2031-06-30
status: agreed
what: lay out
why: quiet
end: d1
"""


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ("date: 2031-06-30", "date: June", 4, "year-month-day"),
        ("status: agreed", "status: ok", 5, "one of proposed"),
        ("why: quiet", "why: quiet\nmeasures: 9-2", 8, "the first, then the last"),
        ("what: lay out", "what:", 6, "what is decided and why"),
        ("why: quiet", "because: quiet", 7, "is not understood"),
        ("why: quiet\n", "why: quiet\nwhy: loud\n", 8, "twice"),
        ("end: d1", "end: d2", 8, "line 3 begins 'd1'"),
        ("decision: d1", "decision:d2", 8, "begins 'd2'"),
        ("# Decisions", "Decisions", 1, "outside of a decision"),
        ("why: quiet\n", "", 3, "what is decided and why"),
        ("why: quiet", "measures: x", 7, "21-24"),
        ("why: quiet", "why: quiet\nspans: here", 8, "'Guitar 2, 25-32'"),
        ("why: quiet", "why: quiet\nnotes:\n  | part |", 9, "the columns are part"),
        ("what: lay out", "<<<<<<< ours\nwhat: lay out", 6, "merge conflict"),
        ("end: d1\n", "end: d1\n\nstatus of: d7\nstatus: agreed\nend: d7\n", 10, "'d7'"),
    ],
)
def test_each_mistake_is_named_with_its_line(tmp_path, old, new, line, message):
    log = tmp_path / "log.txt"
    for text in (GOOD, GOOD.replace("\n", "\r\n")):
        log.write_bytes(text.encode())
        assert read_decisions(log).decisions[0].why == "quiet"
        log.write_bytes(text.replace("\r\n", "\n").replace(old, new).encode())
        with pytest.raises(ar.ReadError, match=re.escape(message)) as caught:
            read_decisions(log)
        assert caught.value.line == line


def test_all_mistakes_are_reported_at_once(tmp_path):
    """A merge conflict leaves three marks; the entries on both sides are whole."""
    other = GOOD.split("\n\n")[1].replace("d1", "d2")
    log = tmp_path / "log.txt"
    both = GOOD + "<<<<<<< ours\n" + other + "=======\n" + other.replace("d2", "d3") + ">>>>>>> b\n"
    log.write_text(both)
    with pytest.raises(ar.ReadError, match="3 faults") as caught:
        read_decisions(log)
    assert re.findall(r"line (\d+):", str(caught.value)) == ["9", "16", "23"]
    log.write_text(
        "\n".join(line for line in both.split("\n") if line[:1] not in "<=>" or not line)
    )
    assert [each.id for each in read_decisions(log).decisions] == ["d1", "d2", "d3"]


@pytest.mark.parametrize("letters", range(1, 200, 7))
def test_a_write_that_was_cut_short_is_passed_over(tmp_path, letters):
    """If power fails after some letters, the rest of the log is read, and new entries are whole."""
    log = tmp_path / "log.txt"
    first = record_decision(log, Decision("first", "one"))
    size = log.stat().st_size
    record_decision(log, Decision("second", "two " * 30))
    with log.open("r+b") as file:
        file.truncate(size + letters)
    third = record_decision(log, Decision("third", "three"))
    read = read_decisions(log)
    assert [each.id for each in read.decisions] == [first.id, third.id]
    assert len(read.notices) == (1 if letters > 1 else 0)  # one letter: a blank line
    assert all("cut short" in notice for notice in read.notices)


TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc", "Zl", "Zp")), max_size=30).filter(
    lambda text: text == text.strip() and "\x85" not in text
)
WORDS = TEXT.filter(bool)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(WORDS, WORDS, TEXT, st.lists(WORDS, max_size=3), st.sampled_from(["proposed", "agreed"]))
def test_any_words_survive(what, why, before, alternatives, status):
    one = Decision(
        what, why, status=status, before=before, alternatives=alternatives, date="2031-06-30",
        id="d1",
    )  # fmt: skip
    decisions, notices, faults = parse_decisions(format_decision(one))
    assert (decisions, notices, faults) == ([one], [], [])


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.text(max_size=300))
def test_rubbish_is_reported_and_not_taken(text):
    """Reading any text ends in decisions, notices and faults with lines."""
    decisions, _, faults = parse_decisions(text)
    assert not decisions
    assert all(1 <= line <= len(re.split(r"\r\n|\r|\n", text)) for line, _ in faults)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_what_differs_makes_the_other(seed):
    """For any two songs of the same form, the stored change turns the first into the second."""
    draw = random.Random(seed)

    def any_song():
        players = draw.sample(["Guitar 1", "Guitar 2", "Guitar 3", "Bass"], draw.randint(1, 4))
        rows = [
            (draw.choice(players), draw.randint(40, 70), draw.randint(0, 31) / 2, 0.5)
            for _ in range(draw.randint(0, 12))
        ]
        return song(*rows, parts=players, bars=4)

    before, after = any_song(), any_song()
    made = apply_change(before, change_between(before, after))
    names = ["part", "onset", "duration", "pitch", "source_id"]
    pd.testing.assert_frame_equal(
        made.notes.sort_values(names, ignore_index=True),
        after.notes.sort_values(names, ignore_index=True),
    )
    assert set(made.parts["part"]) == set(after.parts["part"])


WRITER = """
import sys
from arrange.decisions import Decision, record_decision
for number in range(10_000):
    decision = Decision(f"{sys.argv[2]} {number}", "because " * 400)
    print(record_decision(sys.argv[1], decision).id, flush=True)
"""


def writer(log, name):
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(log), name], stdout=subprocess.PIPE, text=True
    )


def test_two_writers_and_a_kill_lose_nothing_acknowledged(tmp_path):
    """Two processes make some hundred writes at once, each killed at a random moment."""
    log, draw, printed = tmp_path / "log.txt", random.Random(3), []
    for run in range(4):
        both = [writer(log, f"{run}{name}") for name in "ab"]
        seen = [process.stdout.readline() for process in both]  # both are at work
        time.sleep(draw.uniform(0.05, 0.4))
        for process in both:
            process.send_signal(signal.SIGKILL)
        printed += [line for line in seen if line.endswith("\n")]
        printed += [line for p in both for line in p.communicate()[0].splitlines(keepends=True)]
    acknowledged = {line.strip() for line in printed if line.endswith("\n")}
    kept = {each.id for each in read_decisions(log).decisions}
    assert len(acknowledged) > 100
    assert acknowledged <= kept
    assert len(kept - acknowledged) <= 8  # written, but killed before it was printed


def test_a_full_disk_leaves_the_log_as_it_was(tmp_path):
    """A limit on file size simulates a full disk: the write fails half-way."""
    log = tmp_path / "log.txt"
    first = record_decision(log, Decision("first", "one"))
    code = f"""
    import resource, signal
    from arrange.decisions import Decision, record_decision
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, ({log.stat().st_size + 100},) * 2)
    try:
        record_decision({str(log)!r}, Decision("second", "two " * 100))
    except ValueError as error:
        print(error)
    """
    process = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=True
    )
    assert "was not written" in process.stdout
    assert "as it was" in process.stdout
    assert [each.id for each in read_decisions(log).decisions] == [first.id]
    assert not read_decisions(log).notices
    assert resource.getrlimit(resource.RLIMIT_FSIZE)  # this process has no such limit


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="this system has other access rights")
def test_a_folder_that_is_read_only():
    """Nobody may write in the folder; since root always may, the test runs as another user."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o555)
        own = os.geteuid()
        if own == 0:
            os.seteuid(65534)
        try:
            with pytest.raises(ar.ArrangeError, match="was not written: Permission denied"):
                record_decision(Path(folder) / "log.txt", Decision("a", "b"))
        finally:
            os.seteuid(own)
        assert not any(Path(folder).iterdir())
        Path(folder).chmod(0o755)


def test_a_folder_in_the_way(tmp_path):
    with pytest.raises(ar.ArrangeError, match="was not written: Is a directory"):
        record_decision(tmp_path, Decision("a", "b"))
