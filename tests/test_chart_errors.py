"""The errors of a broken chart: all faults are reported at once, each below its line.

``reference/chart-faults.txt`` holds the charts and the whole text expected for each.
"""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrange.errors import ArrangeError, ChartError, ReadError
from arrange.formats.chart import read_chart

HERE = Path(__file__).parent
DATASETS = HERE.parent / "datasets"
DEMOS = ("low-water.txt", "tarrow-weir.txt")
TOP = "key: G major\npart: Guitar 1; standard tuning\npart: Voice\nsection: Verse\n"


def expected_faults() -> Iterator[tuple[str, str, str]]:
    """Return name, chart and message of each case."""
    text = (HERE / "reference" / "chart-faults.txt").read_text(encoding="utf-8")
    for case in text.removeprefix("=== ").split("\n\n=== "):
        name, _, rest = case.partition("\n")
        chart, _, message = rest.partition("\n--- is reported\n")
        yield name, chart, message.rstrip("\n")


FAULTS = list(expected_faults())


def error_text(chart: str | bytes, name: str = "song.txt") -> str:
    """Return the message about a broken chart."""
    data = chart.encode() if isinstance(chart, str) else chart
    with pytest.raises(ReadError) as caught:
        read_chart(data, name)
    return str(caught.value)


@pytest.mark.parametrize(("name", "chart", "message"), FAULTS, ids=[fault[0] for fault in FAULTS])
def test_fault_is_reported_as_expected(name, chart, message):  # noqa: ARG001
    """The message names file, line and column, shows the line, and says what would be right."""
    assert error_text(chart) == message


def test_there_are_many_cases():
    """The file of cases is not empty or cut."""
    assert len(FAULTS) >= 80
    assert len({message for _, _, message in FAULTS}) > 75


def test_each_caret_stands_under_the_column_named():
    """The shown line is the file's, and the caret is at the column that the message names."""
    for _, chart, message in FAULTS:
        lines = message.split("\n")
        for fault, shown, caret in zip(lines, lines[1:], lines[2:], strict=False):
            if not fault.startswith("song.txt, line ") or caret.strip() != "^":
                continue
            number = int(fault.split("line ")[1].split(",")[0])
            column = int(fault.split("column ")[1].split(":")[0])
            assert shown == "    " + chart.split("\n")[number - 1].replace("\t", " ")
            assert caret.index("^") == 4 + column - 1


def test_single_faults_can_be_had():
    """An editor can go through the faults one by one."""
    chart = TOP + "chords | Hm |\nGuitar 1 | x3201 |\n"
    with pytest.raises(ChartError) as caught:
        read_chart(chart.encode(), "song.txt")
    assert [(error.line, error.column) for error in caught.value.errors] == [(5, 10), (6, 12)]
    assert caught.value.line == 5


def test_faults_stand_in_the_order_of_the_file():
    """Faults found in another order than that of the lines are sorted."""
    chart = TOP + "chords | Hm |\nfoo\nGuitar 1 | x3201 |\nsection: Chorus; as Nothing\n"
    with pytest.raises(ChartError) as caught:
        read_chart(chart.encode(), "song.txt")
    assert [error.line for error in caught.value.errors] == [5, 6, 7, 8]


def test_many_faults_are_counted():
    """Fifty faults are reported one by one, followed by the number of the others."""
    message = error_text(TOP + "\n".join(f"Voice | Q{number} |\n" for number in range(80)))
    assert message.count("song.txt, line") == 50
    assert message.endswith("\n... and 30 more")


def test_reading_stops_where_there_are_too_many_faults():
    """A file with hundreds of faults is no chart."""
    message = error_text("nothing of it is a chart\n" * 1000)
    assert message.count("song.txt, line") == 50
    assert message.endswith("\n... and so on; reading stopped after 500 faults")


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: "\ufeff" + text,
        lambda text: text.replace(" ", "\t"),
        lambda text: text.replace("\n", "   \n"),
    ],
    ids=[
        "Windows line ends",
        "old Macintosh line ends",
        "byte-order mark",
        "tabs",
        "blanks behind",
    ],
)
def test_how_a_system_writes_text_does_not_matter(change):
    """The same chart with other line ends or a byte order mark gives the same notes."""
    text = TOP + "chords | G | C |\nGuitar 1 | 320003 muted | x32010 / |\n"
    assert read_chart(change(text).encode()).notes.equals(read_chart(text.encode()).notes)


def test_lines_are_counted_alike_whatever_ends_them():
    """A fault in line 6 is reported in line 6."""
    text = TOP + "chords | G |\nVoice | Q4 |\n"
    for end in ("\n", "\r\n", "\r"):
        assert error_text(text.replace("\n", end)).startswith("song.txt, line 6, column 9: ")


def test_another_encoding_is_refused_with_its_place():
    """Latin-1 writes é as a byte that is no UTF-8, which is refused with its place."""
    assert error_text("title: On\npart: Ré\n".encode("latin-1")) == (
        "song.txt, line 2, column 8: byte 0xe9 is no UTF-8 text; save the chart as UTF-8\n"
        "    part: R\ufffd\n"
        "           ^"
    )


def test_column_of_a_wrong_byte_counts_characters():
    """The column counts characters: two characters of two bytes each stand before the fault."""
    message = error_text("éé".encode() + b"\xff\n")
    assert message.startswith("song.txt, line 1, column 3: byte 0xff is no UTF-8 text")


def test_utf_16_is_refused():
    """A UTF-16 byte-order mark is no UTF-8."""
    assert error_text("title: x".encode("utf-16")).startswith(
        "song.txt, line 1, column 1: byte 0xff"
    )


def test_shape_for_six_fingers_is_a_notice():
    """E(2) up to e(7) all apart: five fingers behind the lowest one, a barre counted once."""
    song = read_chart((TOP + "Guitar 1 | 234567 | 133211 | 234567 |\n").encode())
    assert song.notices[:1] == (
        "line 5: the shape 234567 of Guitar 1 needs 6 fingers, a barre counted once; "
        "a hand has four",
    )
    assert not any("133211" in notice for notice in song.notices)


def test_two_notes_on_one_fret_are_one_finger():
    """Fingers two to four hold two strings side by side as well as the first (common practice)."""
    song = read_chart((TOP + "Guitar 1 | 10-10-12-12-15-15 |\n").encode())
    assert not any("fingers" in notice for notice in song.notices)


def test_shape_behind_the_capo_needs_no_finger():
    """Common practice: what the capo holds down is open."""
    text = "part: Guitar 1; capo 3\nsection: Verse\nGuitar 1 | 345343 |\n"
    assert not any("fingers" in notice for notice in read_chart(text.encode()).notices)


def test_unknown_part_to_be_moved_is_reported():
    """An unknown part is reported as in the other formats."""
    with pytest.raises(ReadError, match="no part is called 'Banjo', to be moved by an octave"):
        read_chart((TOP + "Voice | D4 |\n").encode(), octaves={"Banjo": 1})


def test_repeats_of_absurd_size_are_refused():
    """Forty lines that ask for 32 x 256 strokes of five strings each, 1.6 million in all, fail."""
    text = "meter: 32/2\npart: Guitar 1\n" + "".join(
        f"section: S{number}\nGuitar 1 |: x32010 sixteenths :|x32\n\n" for number in range(40)
    )
    start = time.process_time()
    assert error_text(text) == (
        "song.txt: played out, its repeats ask for 1,638,400 notes, more than 500,000; repeat less "
        "often, or read the page order with played=False"
    )
    assert time.process_time() - start < 6


# Large garbage files of kinds that could each take a slow path.
GARBAGE = {
    "signs": lambda size: "".join(random.Random(1).choices("ab |:;,#%~./12x\t\n", k=size)),
    "faults": lambda size: TOP + "Guitar 1 | x3x010 foo | G7 | ~ . | % |\n\n" * (size // 40),
    "rows of nobody": lambda size: TOP + "Gutar 1 | x32010 | x02210 |\n" * (size // 28),
    "chords, each another": lambda size: TOP + "".join(
        f"chords | H{number} | Cx{number} |\n\n" for number in range(size // 24)
    ),
    "bar lines": lambda size: TOP + "|" * size,
    "repeats": lambda size: TOP + "chords " + "|: G " * (size // 5) + "|\n",
    "endings": lambda size: TOP + "chords |1. C |2. D |3. C |\n\n" * (size // 27),
    "one row of chords": lambda size: TOP + "chords | " + "G " * (size // 2) + "|\n",
    "repeated bars": lambda size: TOP + "Guitar 1 | % | % | % | % |\n\n" * (size // 28),
    "sections as others": lambda size: TOP + "Voice | D4 | E4 |\n" + "".join(
        f"section: A{number}; as Verse\n" for number in range(size // 24)
    ),
    "voices": lambda size: TOP + "".join(
        f"Guitar 1, voice {number} | . |\n\n" for number in range(size // 26)
    ),
    "parts": lambda size: "".join(f"part: P{number}\n" for number in range(size // 12)),
    "digits": lambda size: TOP + "Guitar 1 | " + "1" * size + " |\n",
    "numbers": lambda size: TOP.strip() + "; numbered " + "1-9999 " * (size // 7) + "\n",
    "comments": lambda size: "# " * (size // 2),
}  # fmt: skip


@pytest.mark.sampled
@pytest.mark.parametrize("kind", GARBAGE)
def test_a_megabyte_of_garbage_is_refused_in_seconds(kind):
    """It takes under five seconds of processor time, and the time grows no faster than the size."""
    times = []
    for size in (250_000, 1_000_000):
        data = GARBAGE[kind](size).encode()
        start = time.process_time()
        with pytest.raises(ArrangeError):
            read_chart(data, "garbage.txt")
        times.append(time.process_time() - start)
    assert times[1] < 5  # a second on an idle machine
    assert times[1] < 8 * times[0] + 0.2


def survives(data: bytes) -> None:
    """Read the chart; only an ArrangeError may be raised, and soon."""
    start = time.process_time()
    try:
        read_chart(data, "fuzz.txt")
    except ArrangeError as error:
        str(error)
    assert time.process_time() - start < 6


WORDS = """section: part: key: meter: Guitar 1 Voice chords | |: :| |1. || % ~ . / x32010 D4,F4
x-x-10-11-12-x hit 1: 2&: 3+1/3: Gm7 5/7 muted pushed eighths grace ; as played twice capo 3 6/8
in two , voice tab eighths E|--0h2-| third time"""
LINES = st.lists(
    st.text(max_size=40) | st.lists(st.sampled_from(WORDS.split()), max_size=12).map(" ".join),
    max_size=20,
)


@settings(max_examples=150, deadline=None)
@given(LINES)
def test_no_text_brings_another_error(lines):
    """Words of charts in any order, and any characters at all, raise no other error."""
    survives((TOP + "\n".join(lines)).encode("utf-8", errors="replace"))


@settings(max_examples=50, deadline=None)
@given(st.binary(max_size=300))
def test_no_bytes_bring_another_error(data):
    """Any bytes raise no other error."""
    survives(data)


@pytest.mark.parametrize("name", DEMOS)
def test_no_changed_demo_brings_another_error(name):
    """Characters inserted, removed, doubled or exchanged (fixed seed) raise no other error."""
    chance = random.Random(name)
    original = (DATASETS / name).read_text(encoding="utf-8")
    signs = "|:;,.~%/x0123456789-#& \n\tGm'é"
    for _ in range(60):
        text = original
        for _ in range(chance.choice((1, 1, 2, 5, 30))):
            at = chance.randrange(len(text))
            length = chance.choice((0, 1, 1, 5, 200))
            put = chance.choice(("", chance.choice(signs), text[at : at + 60], "9" * 5000))
            text = text[:at] + put + text[at + length :]
        survives(text.encode())


@pytest.mark.parametrize("name", DEMOS)
def test_a_long_chart_is_read_soon(name):
    """100 kB of the demo's lines in a row, with the faults that follow from it, are read soon."""
    text = (DATASETS / name).read_text(encoding="utf-8")
    survives((text * (100_000 // len(text) + 1))[:100_000].encode())
