"""Small files that demand much time or memory are refused or read soon, in bounded memory.

Each is generated here and read in a process forked for it from one that has the package loaded; it
reports how long reading took, how far its peak memory grew (``getrusage``: ``ru_maxrss``), and the
result. Such files are well known
(compression bombs, XML attacks: common practice); the bounds are this project's own.
"""

from __future__ import annotations

import base64
import json
import random
import struct
import subprocess
import sys
import time
from functools import cache
from pathlib import Path

import pytest
from songs import song
from test_bad_input import CONTAINER, packed

import arrange as ar

# For each file named on a line: prints seconds, megabytes above the start, the error or notices.
READER = """
import json, os, resource, sys, time
import arrange as ar
for path in sys.argv[1:]:
    ar.read(path)
unit = 2**20 if sys.platform == "darwin" else 2**10
peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
for line in sys.stdin:
    child = os.fork()
    if child == 0:
        before, begun, message = peak(), time.process_time(), ""
        try:
            message = " ".join(ar.read(line.strip()).notices)
        except ar.ArrangeError as error:
            message = "refused: " + str(error)
        print(json.dumps([time.process_time() - begun, peak() - before, message]), flush=True)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if status:
        print(json.dumps([0, 0, f"ended by {status}"]), flush=True)
"""
DATASETS = Path(__file__).parent.parent / "datasets"
LOADED = (DATASETS / "low-water.musicxml", DATASETS / "tarrow-weir.txt")
MILLION = 10**6
HEAD = ('<score-partwise><part-list><score-part id="P1"><part-name>Guitar</part-name></score-part>'
        '</part-list><part id="P1">')  # fmt: skip
END = "</part></score-partwise>"
BAR = '<measure number="1"><note><rest/><duration>4</duration></note></measure>'
NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"
NOTES = (f'<measure number="1"><attributes><divisions>25</divisions></attributes>{NOTE * 100}'
         "</measure>")  # fmt: skip


@cache
def reader():
    """Start the process that reads, once."""
    return subprocess.Popen(
        [sys.executable, "-c", READER, *map(str, LOADED)], stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip


@pytest.fixture(scope="module", autouse=True)
def _end_the_reader():
    yield
    reader().communicate()


def read_apart(path, content, seconds, megabytes):
    """Read a file in a separate process, within bounds; return its message."""
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    reader().stdin.write(f"{path}\n")
    reader().stdin.flush()
    took, grew, message = json.loads(reader().stdout.readline())
    assert took < seconds
    assert grew < megabytes
    return message


def compressed(inside, times, size):
    """Return a score of repeated text and noise that packs to one in so many of its bytes."""
    whole = inside * (times * size // len(inside))
    noise = base64.b64encode(random.Random(1).randbytes(size * 9 // 10)).decode()
    score = f"{HEAD}{whole}<!--{noise}-->{END}"
    data = packed({"META-INF/container.xml": CONTAINER.format("song.xml"), "song.xml": score})
    assert size / 2 < len(data) < 2 * size
    assert len(score) / len(data) > 45
    return data


@pytest.mark.parametrize(
    ("inside", "times"),
    [
        (NOTES, 90),
        ("<measure>" + "<a/>" * 1000 + "</measure>", 80),
        ("<measure>" + "<step/>" * 1000 + "</measure>", 80),
        ('<measure><a b="" c="" d="" e="" f="" g=""/></measure>', 80),
    ],
    ids=["notes", "small elements", "steps", "attributes"],
)
def test_a_score_packed_almost_as_tightly_as_may_be(inside, times, tmp_path):
    """100 kB that unpack to ten megabytes are refused for what they contain, before parsing."""
    message = read_apart(tmp_path / "song.mxl", compressed(inside, times, 100_000), 5, 170)
    assert "tags and attributes, as no score of its size has; export it again" in message


def test_a_small_score_may_be_packed_tightly(tmp_path):
    """5,000 bars of silence, which pack to a hundredth of their size, are read."""
    score = HEAD + BAR * 5_000 + END
    data = packed({"META-INF/container.xml": CONTAINER.format("song.xml"), "song.xml": score})
    assert len(data) < len(score) / 100
    assert "refused" not in read_apart(tmp_path / "song.mxl", data, 5, 100)


# A plain file is in memory only once, as it is, and a parser's own limits are at ten megabytes.


@pytest.mark.sampled
@pytest.mark.parametrize(
    ("content", "says"),
    [
        (lambda: HEAD + BAR.replace("4", "1" * 100 * MILLION) + END, "absurdly deep or long"),
        (lambda: HEAD + f'<measure number="{"1" * 100 * MILLION}"/>' + END, "absurdly deep or"),
        (lambda: HEAD + "<a>" * 200_000 + "</a>" * 200_000 + END, "absurdly deep or long"),
        (
            lambda: HEAD + "<measure " + " ".join(f'a{n}="1"' for n in range(MILLION)) + "/>" + END,
            "absurdly deep or long",
        ),
        (lambda: HEAD + "<!--" + "x" * 100 * MILLION + "-->" + END, "not well-formed XML"),
        (
            lambda: "<!DOCTYPE a [" + "".join(f'<!ENTITY e{n} "x">' for n in range(MILLION)) + "]>"
            + HEAD + BAR + END,
            "declares more than 100 XML entities, which are not read, for safety",
        ),
    ],
    ids=["text", "attribute", "nesting", "attributes", "comment", "entities"],
)  # fmt: skip
def test_plain_xml_of_absurd_things(content, says, tmp_path):
    """Megabytes in one text, attribute or tag, or hundreds of thousands of some element."""
    text = content()
    megabytes = len(text) / MILLION
    assert says in read_apart(tmp_path / "song.musicxml", text, 5, megabytes + 90)


@pytest.mark.parametrize(
    ("inside", "times", "most"),
    [
        (f"<measure>{'<note/>' * 100}</measure>", 90_000, "8,000,000"),
        ("<a/>", 2 * MILLION, "1,142,"),
        ("<a/>b", 2 * MILLION, "1,428,"),
        ('<a b="" c="" d=""/>', MILLION // 2, "1,357,"),
    ],
    ids=["too many", "elements", "texts", "attributes"],
)
def test_more_tags_than_a_score_has_are_refused(inside, times, most, tmp_path):
    """They are refused before parsing: a tag every five bytes takes 48 times the file in memory."""
    text = HEAD + inside * times + END
    message = read_apart(tmp_path / "song.musicxml", text, 5, len(text) / MILLION + 30)
    assert f"more than {most}" in message
    assert "tags and attributes, as no score of its size has" in message


def midi(*tracks, ticks=480):
    """Return a Standard MIDI File of format 1."""
    chunks = [b"MTrk" + struct.pack(">L", len(track)) + track for track in tracks]
    return b"MThd" + struct.pack(">LHHH", 6, 1, len(tracks), ticks) + b"".join(chunks)


STOP = b"\0\xff\x2f\0"
LONGEST = b"\xff\xff\xff\x7f"  # 2^28 - 1, the longest time or length that the format holds
ONE = b"\0\x90\x3c\x40\x60\x80\x3c\x40" + STOP


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (lambda: midi(b"\0\x90\x3c\x40" + LONGEST + b"\x80\x3c\x40" + STOP, ticks=1),
         "track 1 is 268,435,455 quarter notes long; 80,000 is the most"),
        (lambda: midi(*[ONE] * 5_000), "make 5,000 parts; 200 is the most"),
        (lambda: midi(*[ONE] * 65_535), "make 65,535 parts; 200 is the most"),
        (lambda: midi(b"\x01\xff\x51\x03\x07\xa1\x20" * MILLION + STOP, ONE),
         "more than 100,000 texts, tempos, meters and keys: no song has so many"),
        (lambda: midi(b"\x01\xff\x06\x07Verse 1" * MILLION + STOP, ONE), "more than 100,000 texts"),
        (lambda: midi(b"\0\x90" + b"\x3c\x40\0" * 4 * MILLION + b"\x3c\x40" + STOP),
         "keys that go down or up, pedals and bends: no song has so many"),
        (lambda: midi(bytes(range(128)) * 80_000 + STOP), "where an event should begin"),
        (lambda: midi(b"\0\xf0" + LONGEST + b"xx" + STOP), "an event of 268,435,455 bytes"),
    ],
    ids=["ticks", "tracks", "all tracks", "tempos", "markers", "running status", "garbage",
         "claimed"],
)  # fmt: skip
def test_midi_of_absurd_things(data, says, tmp_path):
    """Times, tracks and events that no song has give one sentence within seconds."""
    assert says in read_apart(tmp_path / "song.mid", data(), 6, 300)


@pytest.mark.parametrize(
    "kind", [b"\xff\x03", b"\xff\x06", b"\xf0"], ids=["name", "mark", "system"]
)
def test_midi_with_one_huge_event(kind, tmp_path):
    """A name or a marker of a hundred megabytes is cut; other events of that size are skipped."""
    size = 100 * MILLION
    length = bytes([size >> 21 & 127 | 128, size >> 14 & 127 | 128, size >> 7 & 127 | 128,
                    size & 127])  # fmt: skip
    data = midi(b"\0" + kind + length + b"x" * size + STOP, ONE)
    message = read_apart(tmp_path / "song.mid", data, 6, 350)  # the file, its track, the event
    assert ("names of sections are cut to 1000 characters: 1" in message) == (kind == b"\xff\x06")


PART, ROW = "part: Guitar 1\n", "Guitar 1 | x32010 |\n"
SECTION = f"{PART}section: Verse\n{ROW}"
DIGITS = "9" * 5_000


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (lambda: f"{PART}section: Verse; played 1000000000 times\n{ROW}", "write 'played twice'"),
        (lambda: f"{PART}section: Verse; played {DIGITS} times\n{ROW}", "line 2, column"),
        (lambda: f"{PART}section: Verse\nGuitar 1 |: x32010 :|x1000000000\n", "line 3, column"),
        (lambda: f"{PART}section: Verse; numbered {DIGITS}-{DIGITS}\n{ROW}", "line 2, column"),
        (lambda: f"{PART}tempo: {DIGITS}\nsection: Verse\n{ROW}", "line 2, column"),
        (lambda: f"{PART}meter: {DIGITS}/4\nsection: Verse\n{ROW}", "line 2, column"),
        (lambda: f"part: Guitar 1; capo {DIGITS}\nsection: Verse\n{ROW}", "line 1, column"),
        (lambda: f"{PART}section: A\nGuitar 1 | {'-'.join([DIGITS] * 6)} |\n", "line 3, column"),
        (lambda: f"{PART}section: Verse\nGuitar 1 | {DIGITS}: x32010 |\n", "line 3, column"),
        (lambda: SECTION + "a" * 50 * MILLION, "a line of 50,000,000 characters; 200,000 is the"),
        (lambda: f"{PART}section: {'a;' * 25 * MILLION}\n{ROW}", "a line of 50,000,009"),
        (lambda: SECTION + "".join(f"section: {n}; as Verse\n" for n in range(100_000)),
         "a chart has 20000 bars at most"),
        (lambda: SECTION + "\n" * 50 * MILLION, "more than 200,000 lines, as no chart has"),
        (lambda: "tempo: 100\n" * 190_000 + SECTION, ""),
        (lambda: SECTION + "".join(f"remark: {n}\n" for n in range(190_000)),
         "a chart has 1,000 remarks at most"),
    ],
    ids=["times", "times digits", "repeats", "numbers", "tempo", "meter", "capo", "frets", "count",
         "line", "heading", "sections", "lines", "settings", "remarks"],
)  # fmt: skip
def test_charts_of_absurd_things(text, says, tmp_path):
    """Counts, numbers, lines and sections that no chart has give a sentence within seconds."""
    assert says in read_apart(tmp_path / "song.txt", text(), 6, 300)


@pytest.mark.long
def test_two_hundred_layers_are_weighed():
    """As many layers as a song may have: an answer within seconds, and a bound of it."""
    names = [f"Guitar {number}" for number in range(200)]
    a_song = song(*((name, "E3 B3", beat, 1) for name in names for beat in range(10)), bars=10)
    begun = time.process_time()
    assert ar.condense(a_song, 2).is_proven
    assert time.process_time() - begun < 20
