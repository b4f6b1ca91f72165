"""The decision log with hostile content: values that make no sense, letters that cannot be written,
files damaged anywhere, and several writers at once. Every mistake is a fault with its line, and the
content of the file stays.
"""

import os
import random
import re
import subprocess
import sys
from dataclasses import replace

import pandas as pd
import pytest
from songs import with_setup
from test_decisions import octave_up, two_guitars

import arrange as ar
from arrange.decisions import (
    Decision,
    DecisionLog,
    change_status,
    read_decisions,
    rebuild,
    record_decision,
)
from arrange.decisions.log_text import parse_decisions
from arrange.decisions.note_changes import passage_fingerprint
from arrange.text.letters import is_text

HUGE = "9" * 30


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Return a log of three decisions, one with notes and a new part, one dropped later."""
    log = tmp_path_factory.mktemp("log") / "lights.decisions.txt"
    before = two_guitars()
    up = octave_up(before, "Guitar 1", [3, 4])
    up = with_setup(up, "Guitar 1", up.sections["section"].iloc[-1], drive="edge", layers="Hook")
    capo = up.parts.copy()
    capo.loc[capo["part"] == "Guitar 1", "capo"] = 2
    higher = Decision(
        "Guitar 1 goes up", "room\nfor the singer", "Chorus 1", (3, 4), ("Guitar 1",),
        alternatives=("lay out", "the shell only"),
    )  # fmt: skip
    first = record_decision(log, higher, song=before, arrangement=replace(up, parts=capo))
    second = record_decision(log, Decision("capo 2", "easy", supersedes=first.id))
    change_status(log, second.id, "dropped", "no capo at all")
    record_decision(log, Decision("meant so", "the hook", waives="crowding"), song=before)
    return log.read_bytes()


def line_of(data, start):
    """Return the number of the first line that begins with a text."""
    lines = data.decode().split("\n")
    return next(at for at, line in enumerate(lines, 1) if line.startswith(start))


def faults_of(tmp_path, data):
    """Return the lines of the faults, and the whole message."""
    path = tmp_path / "log.txt"
    path.write_bytes(data)
    with pytest.raises(ar.ReadError) as caught:
        read_decisions(path)
    message = str(caught.value)
    assert str(path) in message or "faults in the log" in message
    assert len(message) < 2_000
    lines = [caught.value.line] if caught.value.line else re.findall(r"^line (\d+):", message, re.M)
    return [int(line) for line in lines], message


@pytest.mark.parametrize(
    ("field", "value", "expected"),
    [
        ("spans", f"Guitar 1, 1-{HUGE}", "no song has so many"),
        ("spans", f"Guitar 1, {'9' * 5000}-{'9' * 5000}", "no song has so many"),
        ("spans", "Guitar 1, 4-3", "the first, then the last"),
        ("spans", "Guitar 1, 0-3", "from 1"),
        ("spans", "Guitar 1, -1-3", "write played measures"),
        ("spans", "Guitar 1, nan", "write played measures"),
        ("spans", "Guitar 1", "write a part and its measures"),
        ("spans", "Guitar 1, ٣-٤", "write played measures"),
        ("spans", "Guitar 2, 3-4", "is in none of the spans"),
        ("measures", HUGE, "no song has so many"),
        ("measures", "4-3", "the first, then the last"),
        ("measures", "inf-inf", "write played measures"),
        ("measures", "x" * 10**6, "write played measures"),
        ("date", "2031-13-45", "year-month-day"),
        ("date", "x" * 10**6, "year-month-day"),
        ("status", "agreed\x00", "one of proposed"),
        ("status", "x" * 10**6, "one of proposed"),
        ("what", "\x85", "say what is decided"),
    ],
)
def test_a_value_without_sense_is_a_fault_with_its_line(tmp_path, written, field, value, expected):
    line = line_of(written, f"{field}:")
    old = written.decode().split("\n")[line - 1]
    mutant = written.replace(old.encode(), f"{field}: {value}".encode(), 1)
    lines, message = faults_of(tmp_path, mutant)
    assert expected in message
    note = line_of(written, "notes:") + 2  # a value outside its spans is noticed in the row
    assert lines[0] == (note if "none of the spans" in expected else line)


# A row of the notes table, and one of the parts table: column -> a cell that is invalid there.
ROWS = [
    ("notes", "onset", HUGE, "lies between"),
    ("notes", "onset", "nan", "lies between"),
    ("notes", "onset", "", "a value is needed"),
    ("notes", "duration", "1e300", "lies between"),
    ("notes", "duration", "-1", "a value is needed"),
    ("notes", "duration", "inf", "lies between"),
    ("notes", "measure", HUGE, "a whole number is needed"),
    ("notes", "measure", "3.5", "a whole number is needed"),
    ("notes", "measure", "99", "is in none of the spans"),
    ("notes", "pitch", "999", "lies between 0 and 127"),
    ("notes", "pitch", "C4", "a number is needed"),
    ("notes", "string", HUGE, "a whole number is needed"),
    ("notes", "fret", "9" * 12, "lies between"),
    ("notes", "fret", "9" * 5000, "a whole number is needed"),
    ("notes", "grace", "perhaps", "write yes, or nothing"),
    ("notes", "part", "", "a value is needed"),
    ("notes", "part", "Banjo", "none of the spans"),
    ("notes", "source_id", "", "a value is needed"),
    ("new parts", "capo", HUGE, "a whole number is needed"),
    ("new parts", "capo", "-1", "lies between"),
    ("new parts", "capo", "", "capo"),
    ("new parts", "tuning", f"64 {HUGE}", "a whole number is needed"),
    ("new parts", "tuning", "64 1e9", "a whole number is needed"),
    ("new parts", "tuning", "640 59", "lies between 0 and 127"),
    ("new parts", "family", "kazoo", "it is one of guitar"),
    ("new parts", "drive", "10", "it is one of clean"),
    ("new parts", "level", "-inf", "lies between"),
    ("new parts", "program", "1_0", "a whole number is needed"),
    ("setups", "capo", HUGE, "a whole number is needed"),
    ("setups", "drive", "loud", "it is one of clean"),
    ("setups", "section", "", "a value is needed"),
]


@pytest.mark.parametrize(("table", "column", "cell", "expected"), ROWS)
def test_a_cell_without_sense_is_a_fault_with_its_line(
    tmp_path, written, table, column, cell, expected
):
    lines = written.decode().split("\n")
    head = line_of(written, f"{table}:") + 1
    names = [each.strip() for each in lines[head - 1].strip(" |").split("|")]
    cells = lines[head].strip()[1:-1].split("|")
    cells[names.index(column)] = f" {cell} "
    lines[head] = f"  |{'|'.join(cells)}|"
    found, message = faults_of(tmp_path, "\n".join(lines).encode())
    assert found == [head + 1]
    assert expected in message


def test_a_fault_below_a_blank_line_has_its_own_line_number(tmp_path, written):
    """Blank lines between the rows of a table count like any other line."""
    lines = written.decode().split("\n")
    head = line_of(written, "notes:") + 1
    lines[head] = "  | x |"
    lines[head:head] = ["", ""]
    found, message = faults_of(tmp_path, "\n".join(lines).encode())
    assert found == [head + 3]
    assert "columns; a row has" in message


@pytest.mark.parametrize(
    ("old", "new", "at", "expected"),
    [
        (r"^notes:\n(  \|.*\n)+", "", "new parts:", "without 'notes:'"),
        (r"^supersedes: .*$", "supersedes: d0", "supersedes:", "no other decision 'd0'"),
        (r"^(status of: .*)$", r"\1\nnotes: x", "notes: x", "is not understood"),
        (r"^(status of: .*\n)date: .*$", r"\1date: soon", "date: soon", "year-month-day"),
        (r"^what: capo 2$", "\twhat: capo 2", "\twhat:", "is not understood"),
        (r"^what: capo 2$", "what: a\nd: e", "d: e", "is not understood"),
    ],
)
def test_a_field_that_is_missing_or_foreign(tmp_path, written, old, new, at, expected):
    mutant = re.sub(old, new, written.decode(), count=1, flags=re.M).encode()
    assert mutant != written
    lines, message = faults_of(tmp_path, mutant)
    assert lines == [line_of(mutant, at)]
    assert expected in message


def test_a_decision_that_supersedes_itself(tmp_path, written):
    own = read_back(tmp_path, written).decisions[1].id
    mutant = re.sub(rb"supersedes: \w+", b"supersedes: " + own.encode(), written)
    lines, message = faults_of(tmp_path, mutant)
    assert lines == [line_of(mutant, "supersedes:")]
    assert f"no other decision '{own}'" in message


def test_an_id_given_twice(tmp_path, written):
    lines, message = faults_of(tmp_path, written + written)
    assert len(lines) == 3
    assert lines[0] == line_of(written, "decision:") + written.count(b"\n")
    assert "already; ids must differ" in message


def read_back(tmp_path, data):
    path = tmp_path / "again.txt"
    path.write_bytes(data)
    return read_decisions(path)


def same(one, other):
    assert one.decisions == other.decisions
    for a, b in zip(one.decisions, other.decisions, strict=True):
        assert (a.change is None) == (b.change is None)
        if a.change is not None:
            pd.testing.assert_frame_equal(a.change.notes, b.change.notes)
            pd.testing.assert_frame_equal(a.change.parts, b.change.parts)


def test_what_editors_do_to_a_file_does_not_matter(tmp_path, written):
    """Line ends, a byte order mark, tabs, trailing blanks and sorted entries do not matter."""
    good = read_back(tmp_path, written)
    assert len(good.decisions) == 3
    for mutant in (
        written.replace(b"\n", b"\r\n"),
        written.replace(b"\n", b"\r"),
        b"\xef\xbb\xbf" + written,
        written.replace(b": ", b":\t"),
        written.replace(b"\n", b" \t\n"),
    ):
        if b"bf" in mutant[:3] or mutant != written:
            same(read_back(tmp_path, mutant), good)
    head, *entries = re.split(rb"\n\n(?=decision:|status of:)", written)
    turned = read_back(tmp_path, b"\n\n".join([head, *entries[::-1]]))
    assert {each.id: each.status for each in turned.decisions} == {
        each.id: each.status for each in good.decisions
    }


@pytest.mark.parametrize(
    "line",
    ["decision:" + " " * 10**6 + "x y", "x" * 10**6, "a " * 500_000 + ":", ", 1" * 300_000,
     "|" * 10**6],
    ids=["blanks", "letters", "words", "commas", "bars"],
)  # fmt: skip
@pytest.mark.parametrize("where", ["outside", "in a decision", "in the notes"])
def test_a_line_of_a_million_letters_is_read_at_once(tmp_path, written, line, where):
    at = {"outside": "decision:", "in a decision": "what:", "in the notes": "notes:"}[where]
    rows = written.decode().split("\n")
    number = line_of(written, at) + (where == "in the notes")
    rows.insert(number - 1, f"  {line}" if where == "in the notes" else line)
    lines, _ = faults_of(tmp_path, "\n".join(rows).encode())
    assert lines == [number]


def test_letters_that_are_not_utf8(tmp_path, written):
    latin = written.replace(b"why: room", b"why: r\xf6om").replace(
        b"why: the hook", b"why: the h\xf6ok"
    )
    lines, message = faults_of(tmp_path, latin)
    assert lines == [line_of(written, "why: room"), line_of(written, "why: the hook")]
    assert "save the file as UTF-8" in message
    assert faults_of(tmp_path, written.decode().encode("utf-16"))[0] == [1]
    with pytest.raises(ar.ReadError, match="UTF-16"):
        record_decision(tmp_path / "log.txt", Decision("a", "b"))  # would mix two ways of writing


def test_a_write_that_was_cut_within_a_letter_is_passed_over(tmp_path):
    log = tmp_path / "log.txt"
    record_decision(log, Decision("öööööö", "ü"))
    whole = log.read_bytes()
    log.write_bytes(whole[: whole.index("ö".encode()) + 3])
    third = record_decision(log, Decision("third", "three"))
    read = read_decisions(log)
    assert [each.id for each in read.decisions] == [third.id]
    assert len(read.notices) == 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "log.txt")
    with pytest.raises(ar.ReadError, match="no plain file"):
        read_decisions(tmp_path / "log.txt")
    with pytest.raises(ar.ReadError, match="no plain file"):
        record_decision(tmp_path / "log.txt", Decision("a", "b"))


def test_a_passage_of_any_length_is_compared_at_once():
    """Bars that a song does not have take no time and change nothing."""
    song = two_guitars()
    assert passage_fingerprint(song, [("Guitar 1", 1, 10**15)]) == passage_fingerprint(
        song, [("Guitar 1", 1, 4)]
    )


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (r"3-4", "3-999", "no measure 999"),
        (r"\| 8 \|", "| 900 |", "outside of the song"),
        (r"\| 4 \| 3 \|", "| 1000000 | 3 |", "outside of the song"),
        (r"\| Chorus 1 \|", "| Coda |", "no section 'Coda'"),
    ],
)
def test_a_change_that_cannot_be_made_is_reported(tmp_path, written, old, new, expected):
    text = re.sub(r"passage: .*\n", "", written.decode())
    text = re.sub(old, new, text)
    if "999" in new:
        text = text.replace("| 4 | Chorus 1", "| 999 | Chorus 1")
    text = re.sub(
        r"(?s)\n\ndecision: [^\n]*\ndate: [^\n]*\nstatus: agreed\nwhat: capo 2.*", "\n", text
    )
    log = read_back(tmp_path, text.encode())
    assert len(log.decisions) == 1
    before = two_guitars()
    built = rebuild(before, log)
    ((_, why),) = built.stale
    assert "cannot be made on this song" in why
    assert expected in why
    pd.testing.assert_frame_equal(built.song.notes, before.notes)


# What is given to `record_decision`

HALF = "half \udcff a letter"


@pytest.mark.parametrize(
    "field", ["what", "why", "section", "parts", "waives", "before", "after", "alternatives"]
)
def test_half_a_letter_is_named_with_its_field(tmp_path, field):
    log = tmp_path / "log.txt"
    value = (HALF,) if field in ("parts", "alternatives") else HALF
    with pytest.raises(ar.ArrangeError, match=rf"{field} .*letter 6 is half a letter \(U\+DCFF\)"):
        record_decision(log, Decision(**{"what": "a", "why": "b", field: value}))
    assert not log.exists()


def test_half_a_letter_elsewhere(tmp_path):
    log = tmp_path / "log.txt"
    with pytest.raises(ar.ArrangeError, match=r"why .* half a letter"):
        record_decision(log, Decision("a", HALF), song=two_guitars())
    assert not log.exists()
    log = tmp_path / "caf\udce9.decisions.txt"  # such a file name is fine
    one = record_decision(log, Decision("a", "b"))
    change_status(log, one.id, "dropped", "c")
    with pytest.raises(ar.ArrangeError, match=r"why .* half a letter"):
        change_status(log, one.id, "agreed", HALF)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("one\r\ntwo\rthree", "one\ntwo\nthree"),
        ("  one \n\n two\t", "one\ntwo"),
        ("what: x\nend: d1\ndecision: d2", "what: x\nend: d1\ndecision: d2"),
        ("<<<<<<< ours\n=======", "<<<<<<< ours\n======="),
        ("a\x00b\x0bc\x85d\u2028e", "a\x00b\x0bc\x85d\u2028e"),
        ("x" * 10**6, "x" * 10**6),
    ],
)
def test_any_words_are_read_as_they_are_returned(tmp_path, text, kept):
    log = tmp_path / "log.txt"
    song = replace(two_guitars(), title="two\nlines")
    decision = Decision(text, text, before=text, alternatives=[text])
    written = record_decision(log, decision, song=song)
    assert (written.what, written.why, written.before) == (kept, kept, kept)
    assert read_decisions(log).decisions == (written,)


def named(label):
    """Return the two guitars, the first with another name."""
    song = two_guitars()
    renamed = {"part": {"Guitar 1": label}}
    return replace(song, parts=song.parts.replace(renamed), notes=song.notes.replace(renamed))


@pytest.mark.sampled
@pytest.mark.parametrize("label", ["C:\\new|parts", "\\", "a, 1-2", "end: d1", "x\\pz", "名前"])
def test_any_label_survives(tmp_path, label):
    log, before = tmp_path / "log.txt", named(label)
    after = octave_up(before, label, [3])
    after = replace(after, parts=after.parts.assign(capo=2))
    up = Decision("up", "room", parts=[label])
    written = record_decision(log, up, song=before, arrangement=after)
    same(read_decisions(log), DecisionLog((written,)))
    pd.testing.assert_frame_equal(rebuild(before, read_decisions(log)).song.parts, after.parts)


@pytest.mark.parametrize("label", ["two\nlines", " blank "])
def test_a_label_that_cannot_be_kept_leaves_the_log_as_it_was(tmp_path, label):
    log, before = tmp_path / "log.txt", named(label)
    record_decision(log, Decision("first", "one"))
    data = log.read_bytes()
    up, arrangement = Decision("up", "room", parts=[label]), octave_up(before, label, [3])
    with pytest.raises(ar.ArrangeError, match="cannot be kept as text"):
        record_decision(log, up, song=before, arrangement=arrangement)
    assert log.read_bytes() == data


# Several writers

COUNTING = """
import sys
from arrange.decisions import Decision, DecisionLog, read_decisions, record_decision
from arrange.errors import LogChangedError
from pathlib import Path
log, name, done = Path(sys.argv[1]), sys.argv[2], 0
while done < 100:
    seen = read_decisions(log) if log.exists() else DecisionLog()
    decision = Decision(name, "turn about", before=str(len(seen.decisions)))
    try:
        record_decision(log, decision, expected=seen)
        done += 1
    except LogChangedError:
        pass
"""


@pytest.mark.long
def test_nobody_writes_between_the_check_and_the_entry(tmp_path):
    """Two processes write a hundred decisions each, and every decision says how many the process
    had seen: exactly so many must stand above it.
    """
    log = tmp_path / "log.txt"
    both = [subprocess.Popen([sys.executable, "-c", COUNTING, str(log), each]) for each in "ab"]
    assert [process.wait(120) for process in both] == [0, 0]
    decisions = read_decisions(log).decisions
    assert [each.before for each in decisions] == [str(number) for number in range(200)]
    assert len({each.id for each in decisions}) == 200
    assert sorted(each.what for each in decisions) == ["a"] * 100 + ["b"] * 100


def test_no_id_is_given_twice(tmp_path, monkeypatch):
    drawn = iter(["aaaaaaaa", "aaaaaaaa", "bbbbbbbb"])
    monkeypatch.setattr("secrets.token_hex", lambda _: next(drawn))
    log = tmp_path / "log.txt"
    assert record_decision(log, Decision("a", "b")).id == "daaaaaaaa"
    assert record_decision(log, Decision("a", "b")).id == "dbbbbbbbb"
    assert len(read_decisions(log).decisions) == 2


def test_a_log_that_is_not_as_expected_stays_as_it_is(tmp_path):
    log = tmp_path / "log.txt"
    first = record_decision(log, Decision("a", "b"), expected=DecisionLog())
    seen, data = read_decisions(log), log.read_bytes()
    with pytest.raises(ar.LogChangedError, match="nothing was written"):
        record_decision(log, Decision("a", "b"), expected=DecisionLog())
    assert log.read_bytes() == data
    change_status(log, first.id, "dropped", "c", expected=seen)
    with pytest.raises(ar.LogChangedError, match="read it again"):
        change_status(log, first.id, "agreed", "c", expected=seen)
    with pytest.raises(ar.LogChangedError):
        record_decision(tmp_path / "none.txt", Decision("a", "b"), expected=seen)
    assert not (tmp_path / "none.txt").exists()


# Damaged anywhere

BITS = [
    HUGE, "nan", "inf", "-1", "1e300", "999", "0", "4-3", "\x00", "\ud800", "\ufeff", "\t", "|",
    "\\", "\r", "\r\n", "\n", "\n\n", "end: d1\n", "decision: d1\n", "status of: d1\n", "notes:\n",
    "spans: Guitar 1, 1-99999999999999999999999\n", "  ", "<<<<<<< ours\n", "#", " + ", "é",
    "x" * 999,
]  # fmt: skip


def damaged(data, draw):
    """Return the text with up to three damages: a line or some letters removed, doubled, moved, or
    replaced by something foreign.
    """
    text = data.decode()
    for _ in range(draw.randint(1, 3)):
        lines = text.split("\n")
        one, two = (draw.randrange(len(lines)) for _ in range(2))
        begin = draw.randrange(len(text))
        end = begin + draw.choice([0, 0, 1, 5, 40, 400])
        kind = draw.randrange(7)
        if kind == 0:
            del lines[one]
        elif kind == 1:
            lines.insert(two, lines[one])
        elif kind == 2:
            lines[one], lines[two] = lines[two], lines[one]
        elif kind == 3:
            numbers = list(re.finditer(r"\d+(\.\d+)?", text))
            begin, end = draw.choice(numbers).span()
        text = "\n".join(lines) if kind < 3 else text[:begin] + draw.choice(BITS) + text[end:]
    return text.encode("utf-8", "surrogatepass")


@pytest.mark.sampled
@pytest.mark.parametrize("seed", range(4))
def test_a_damaged_log_is_read_or_refused_and_recording_keeps_it(tmp_path, written, seed):
    """For thirty logs of each seed, faults have lines, and one more decision removes nothing."""
    draw, log, song = random.Random(seed), tmp_path / "log.txt", two_guitars()
    for _ in range(30):
        data = damaged(written, draw)
        text = data.decode("utf-8-sig", "surrogateescape")
        decisions, _, faults = parse_decisions(text)
        count = len(re.split(r"\r\n|\r|\n", text))
        assert all(1 <= line <= count and is_text(problem) for line, problem in faults)
        log.write_bytes(data)
        if faults:
            with pytest.raises(ar.ReadError):
                read_decisions(log)
        else:
            same(read_decisions(log), DecisionLog(tuple(decisions)))
            rebuild(song, read_decisions(log))
        new = record_decision(log, Decision("one more", "it must go on"))
        assert log.read_bytes().startswith(data)
        more, _, _ = parse_decisions(log.read_bytes().decode("utf-8-sig", "surrogateescape"))
        same(DecisionLog(tuple(more)), DecisionLog((*decisions, new)))
