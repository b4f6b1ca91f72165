"""The command and the report: what is written, that it is self-contained, and bad input."""

import dataclasses
import html.parser
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pandas.api.types import is_object_dtype
from songs import song, with_setup

from arrange.__main__ import main
from arrange.errors import ArrangeError
from arrange.explaining import explain_part
from arrange.findings import Waiver, group_findings, read_waivers, smallest_move
from arrange.formats import files
from arrange.formats.reading import read
from arrange.report.studying import Study, study

DEMO = Path(__file__).parents[1] / "datasets" / "low-water.musicxml"
TABLES = (
    "parts sections measures chords notes setups ranges section_ranges measure_ranges overlap "
    "section_overlap findings waivers decisions"
)


@pytest.fixture(scope="module")
def whole() -> Study:
    """Return the study of the demo song."""
    return study(DEMO)


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Path:
    """Return the folder that the command makes of the demo song."""
    folder = tmp_path_factory.mktemp("studies") / "demo"
    assert main(["study", str(DEMO), "-o", str(folder)]) == 0
    return folder


class Page(html.parser.HTMLParser):
    """Collect what a page asks for from elsewhere, and the tags that it leaves open."""

    VOID = frozenset({"meta", "br", "link", "img", "input", "hr"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.asked: list[str] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.handle_startendtag(tag, attrs)
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.add(tag)
        for name, value in attrs:
            if name in ("src", "href", "xlink:href", "data", "action", "srcset", "poster"):
                self.asked.append(value)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def test_the_command_writes_report_and_tables(tmp_path, capsys):
    """One page and each table twice, nothing else; the last lines say where."""
    folder = tmp_path / "new" / "study"
    assert main(["study", str(DEMO), "-o", str(folder)]) == 0
    out, err = capsys.readouterr()
    steps = [re.fullmatch(r"arrange: .+ \(\d+\.\d s\)", line) for line in err.splitlines()]
    assert all(steps), "nothing but what it is at, where the machine is busy"
    assert out.startswith("Low Water at Ferrystone: 23 places to listen to.\n")
    assert f"Report:    {folder / 'report.html'}\n" in out
    assert f"Tables:    {folder / 'tables'}\n" in out
    assert "Notebooks: " in out
    files = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.*"))
    tables = [f"tables/{name}.{kind}" for name in TABLES.split() for kind in ("csv", "parquet")]
    assert files == sorted(["report.html", *tables])
    assert [path.name for path in folder.parent.iterdir()] == ["study"]


def test_the_module_runs_as_a_command(tmp_path):
    """`python -m arrange` is the same command; its exit code is the shell's."""
    command = [sys.executable, "-m", "arrange", "study", "missing.musicxml"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("arrange: missing.musicxml: there is no such file")
    assert done.stderr.count("\n") == 1


def test_the_report_stands_alone(written):
    """It asks for nothing from elsewhere: no script, no style sheet, no picture, and no address
    but the names that SVG gives its own vocabulary.
    """
    text = (written / "report.html").read_text(encoding="utf-8")
    page = Page(text)
    assert page.open == []
    assert {"html", "svg", "table", "style"} <= page.tags
    assert not page.tags & {"script", "link", "img", "iframe", "object", "embed", "base"}
    assert all(place.startswith("#") for place in page.asked)
    assert "@import" not in text
    assert all(place.startswith("#") for place in re.findall(r"url\(['\"]?([^)]*)", text))
    bare = re.sub(r"(?s)<metadata>.*?</metadata>", "", text)
    bare = re.sub(r'\sxmlns(:\w+)?="[^"]*"', "", bare)
    assert "://" not in bare
    assert text.count("<html") == text.count("</html>") == 1


def test_the_report_says_what_was_found(written, whole):
    """Every finding of the demo song stands in it, the strongest of like ones first, with its
    place as played and as printed, and the source of its rule.
    """
    page = Page((written / "report.html").read_text(encoding="utf-8"))
    words = " ".join(" ".join(page.words).split())
    groups = group_findings(whole.findings, whole.song)
    places = [words.index(sentence) for sentence in groups["why"].drop_duplicates()]
    assert places == sorted(places)
    assert all(sentence in words for sentence in whole.findings["why"])
    grouped = "what belongs together in 13 rows, the rarest in good music first: "
    assert f"23 places to listen to, {grouped}" in words
    assert "measures 61 to 64 (printed 55 to 58)" in words
    assert "Intro measures 1 to 4 0.08" in words, "no printed numbers where they are the same"
    for source in whole.findings["source"].unique():
        assert source in words
    assert "92 measures as played, 86 printed" in words
    assert "3:30 min" in words


def test_the_report_says_what_would_end_it(written, whole):
    """The first rows bear their smallest move, and the notes behind them by measure and beat: the
    demo's rub is Guitar 1's Bb4 on Guitar 2's A4 in measures 22 and 24.
    """
    page = Page((written / "report.html").read_text(encoding="utf-8"))
    words = " ".join(" ".join(page.words).split())
    groups = group_findings(whole.findings, whole.song)
    assert words.count("Smallest move.") == words.count("Its notes.") == 12 == len(groups) - 1
    for finding in groups.iloc[:12].itertuples():
        assert f"Smallest move. {smallest_move(whole.song, finding)}" in words
    assert "Its notes. 22:1 Guitar 1 Bb4, Guitar 2 A4; " in words


WAIVE = ["kind=doubling; section=Intro; reason=the <hook> is meant", "measures=39; reason=a thud"]


def test_waived_findings_stay_visible(tmp_path, capsys):
    """Ids in the order given; the main rows are without them, below they stand with the reasons;
    the tables hold both, and read back they waive the same.
    """
    folder = tmp_path / "study"
    options = [option for text in WAIVE for option in ("--waive", text)]
    assert main(["study", str(DEMO), "-o", str(folder), *options]) == 0
    assert "23 places to listen to, 3 of them waived.\n" in capsys.readouterr().out
    page = Page((folder / "report.html").read_text(encoding="utf-8"))
    assert page.open == []
    words = " ".join(" ".join(page.words).split())
    main_rows, below = words.split("Waived: meant to be so")
    assert "20 places to listen to" in main_rows
    assert "Waived by W1: the <hook> is meant" in below
    assert below.count("Waived by W2: a thud") == 1, "the mud and the bass's place are one row"
    assert "Waived by" not in main_rows
    assert "hollow where it is waived" in main_rows
    findings = pd.read_parquet(folder / "tables" / "findings.parquet")
    assert findings["waived"].value_counts().to_dict() == {"W1": 1, "W2": 2}
    again = study(DEMO, waivers=read_waivers(folder / "tables" / "waivers.csv"))
    assert again.findings["waived"].equals(findings["waived"])


def test_all_waived():
    """If all findings are waived, only the waived ones are listed."""
    made = song(("Guitar 1", "C4", 0, 3), ("Guitar 2", "Db4", 0, 3))
    words = " ".join(
        Page(Study(made, [Waiver("W1", "meant", parts=("Guitar 1", "Guitar 2"))]).html()).words
    )
    assert "All findings are waived." in words
    assert "Waived by W1:" in words


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("kind=doubling", "waiver W1: a reason is needed; say why it is meant to be so"),
        ("kind=noise; reason=so", "covers no finding: none is of kind 'noise'; there are"),
        ("type=rub; reason=so", "'type=rub' is not understood"),
    ],
)
def test_a_wrong_waiver(tmp_path, capsys, text, message):
    """Reported in one line, and nothing is written."""
    assert main(["study", str(DEMO), "-o", str(tmp_path / "study"), "--waive", text]) == 2
    err = capsys.readouterr().err
    assert message in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_parquet_tables_are_the_frames(written, whole):
    """Read back, each is the frame of the study, dtypes and all; tuples come back as arrays."""
    for name, frame in whole.tables.items():
        back = pd.read_parquet(written / "tables" / f"{name}.parquet")
        assert back.columns.tolist() == frame.columns.tolist()
        for column in frame:
            if is_object_dtype(frame[column]):
                kept = [None if value is None else tuple(value) for value in back[column]]
                assert kept == frame[column].tolist(), (name, column)
            else:
                pd.testing.assert_series_equal(back[column], frame[column])


def test_csv_tables_are_the_frames(written, whole):
    """Read back with the frame's dtypes each is the frame; a tuple is written as its numbers with
    blanks between.
    """
    for name, frame in whole.tables.items():
        dtypes = {
            column: dtype for column, dtype in frame.dtypes.items() if not is_object_dtype(dtype)
        }
        path = written / "tables" / f"{name}.csv"
        back = pd.read_csv(path, dtype=dtypes, keep_default_na=False, na_values=[""])
        assert back.columns.tolist() == frame.columns.tolist()
        for column in frame:
            if column in dtypes:
                pd.testing.assert_series_equal(back[column], frame[column], rtol=1e-12)
            else:
                expected = [" ".join(map(str, value)) if value else "" for value in frame[column]]
                assert back[column].fillna("").tolist() == expected, (name, column)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("missing.musicxml", None, "there is no such file"),
        ("empty.musicxml", b"", "empty"),
        ("words.doc", b"la la la", "export the song as .musicxml"),
        ("broken.musicxml", b"<score-partwise><part-list>", "line 1"),
        ("other.xml", b"<html></html>", "html"),
        ("two\nlines.musicxml", b"<score-partwise", "line"),
    ],
)
def test_bad_input_is_one_line_and_leaves_nothing(tmp_path, capsys, name, content, message):
    """Exit code 2, one line on stderr that names the file, nothing on stdout, no folder."""
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    folder = tmp_path / "study"
    assert main(["study", str(path), "-o", str(folder)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("arrange: ")
    assert err.count("\n") == 1
    assert " ".join(name.split()) in err
    assert message in err
    assert [path.name for path in tmp_path.iterdir()] == [name] * (content is not None)


def test_a_folder_is_no_song(tmp_path, capsys):
    """A folder where the song should be is reported as one."""
    assert main(["study", str(tmp_path), "-o", str(tmp_path / "study")]) == 2
    assert "this is a folder; name a file in it" in capsys.readouterr().err


def test_what_a_folder_holds_stays(tmp_path):
    """A second study takes the place of the first; the user's own files are left alone."""
    folder = tmp_path / "study"
    (folder / "tables").mkdir(parents=True)
    (folder / "mine.txt").write_text("mine")
    (folder / "tables" / "mine.csv").write_text("mine")
    (folder / "report.html").write_text("old")
    assert main(["study", str(DEMO), "-o", str(folder)]) == 0
    assert (folder / "mine.txt").read_text() == "mine"
    assert (folder / "tables" / "mine.csv").read_text() == "mine"
    assert "Low Water" in (folder / "report.html").read_text(encoding="utf-8")
    assert (folder / "tables" / "notes.csv").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["study"]


@pytest.mark.parametrize("place", ["taken", "taken/study"])
def test_a_file_where_the_folder_should_go(tmp_path, capsys, place):
    """The file stays, and the message names it."""
    (tmp_path / "taken").write_text("mine")
    assert main(["study", str(DEMO), "-o", str(tmp_path / place)]) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"arrange: {tmp_path / place}")
    assert err.count("\n") == 1
    assert (tmp_path / "taken").read_text() == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["taken"]


@pytest.mark.long
def test_a_folder_that_may_not_be_written(tmp_path, capsys, monkeypatch):
    """The system's own reason is reported in one line."""

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(files.tempfile, "mkdtemp", refuse)
    assert main(["study", str(DEMO), "-o", str(tmp_path / "study")]) == 2
    err = capsys.readouterr().err
    assert err == (
        f"arrange: {tmp_path / 'study'}: cannot be written: Permission denied; choose another "
        "place\n"
    )
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="may write anywhere")
def test_a_folder_without_the_right_to_write(tmp_path, capsys):
    """The same holds for a folder that the user may not write into."""
    tmp_path.chmod(0o500)
    assert main(["study", str(DEMO), "-o", str(tmp_path / "study")]) == 2
    assert "cannot be written: Permission denied" in capsys.readouterr().err


@pytest.mark.sampled
@pytest.mark.parametrize("is_new", [True, False])
def test_a_full_disk_leaves_no_half_written_folder(tmp_path, capsys, monkeypatch, is_new):
    """The write of one table fails: what was there before is as it was, nothing else is left."""
    folder = tmp_path / "study"
    if not is_new:
        folder.mkdir()
        (folder / "report.html").write_text("old")

    def fail(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pd.DataFrame, "to_csv", fail)
    assert main(["study", str(DEMO), "-o", str(folder)]) == 2
    err = capsys.readouterr().err
    assert (
        err
        == f"arrange: {folder}: cannot be written: No space left on device; choose another place\n"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["study"] * (not is_new)
    if not is_new:
        assert [path.name for path in folder.iterdir()] == ["report.html"]
        assert (folder / "report.html").read_text() == "old"


def test_markup_in_names_is_only_text():
    """A title, a part and a section that hold markup are shown as they are written."""
    evil = "<script>alert('x')</script><b>&amp;"
    made = song(
        (evil, "C4", 0, 8), ("Guitar 2", "Db4", 0, 8), title=evil, source=evil, notices=(evil,),
        sections=((evil, 1),), parts=[evil, "Guitar 2"],
    )  # fmt: skip
    for text in (Study(made).html(), Study(made)._repr_html_()):
        page = Page(text)
        assert "script" not in page.tags
        assert "<script" not in text
        assert "alert('x')</script>" not in text
        assert "".join(page.words).count(evil) >= 4


def test_the_notebook_display():
    """In a notebook a study shows itself: the report without the page around it."""
    shown = Study(
        song(("Guitar 1", "C4", 0, 8), ("Guitar 2", "C4", 0, 8), title="Two")
    )._repr_html_()
    page = Page(shown)
    assert page.open == []
    assert not page.tags & {"html", "head", "body", "title", "meta"}
    assert "Two" in page.words
    assert {"svg", "style", "table"} <= page.tags


@pytest.mark.parametrize(
    "made",
    [
        song(("Guitar 1", "C4", 0, 4)),
        song(("Drums", 40.0, 0, 0)),
        song(("Guitar 1", "C4", 0, 4), parts=["Guitar 1", "Guitar 2"]),
    ],
    ids=["one part", "nothing sounds", "a silent part"],
)
def test_a_song_with_little_in_it(tmp_path, made):
    """One part, no notes or a silent part still make a whole report, which says so."""
    page = Page(Study(made).write(tmp_path / "study").read_text(encoding="utf-8"))
    words = " ".join(" ".join(page.words).split())
    assert page.open == []
    assert "Nothing is past a limit. This is no promise that all is well: listen all" in words
    parts = {1: "1 part", 2: "2 parts"}[len(made.parts)]
    assert f"{parts} · 1 section · 1 measure · " in words
    assert ("no pitched notes" in words) == (
        len(made.parts) > 1 or made.notes["duration"].eq(0).all()
    )


@pytest.mark.long
def test_page_order(tmp_path, capsys):
    """86 printed measures instead of the 92 played: the verse once, with both endings in a row."""
    assert main(["study", str(DEMO), "-o", str(tmp_path / "study"), "--page-order"]) == 0
    capsys.readouterr()
    measures = pd.read_parquet(tmp_path / "study" / "tables" / "measures.parquet")
    assert measures["written"].astype(int).tolist() == list(range(1, 87))


@pytest.mark.long
def test_octave(tmp_path, capsys):
    """The part named is moved, the others are not."""
    folder = tmp_path / "study"
    options = ["--octave", "Guitar 1=-1", "--octave", "Voice=+1"]
    assert main(["study", str(DEMO), "-o", str(folder), *options]) == 0
    capsys.readouterr()
    notes = pd.read_parquet(folder / "tables" / "notes.parquet")
    plain = read(DEMO).notes
    moved = plain["part"].map({"Guitar 1": -12.0, "Voice": 12.0}).fillna(0)
    np.testing.assert_array_equal(notes["pitch"], plain["pitch"] + moved)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("Guitar 1", "--octave 'Guitar 1': write PART=N, such as 'Guitar 1=-1'"),
        ("Guitar 1=low", "--octave 'Guitar 1=low': write PART=N"),
        ("=1", "--octave '=1': write PART=N"),
        ("Tuba=1", "no part is called 'Tuba'"),
        ("Guitar 1=-9", "cannot be moved by -9 octaves; a whole number from -3 to 3"),
    ],
)
def test_a_wrong_octave(tmp_path, capsys, text, message):
    """Reported in one line; for an unknown part the known ones are listed."""
    assert main(["study", str(DEMO), "-o", str(tmp_path / "study"), "--octave", text]) == 2
    err = capsys.readouterr().err
    assert message in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_without_arguments_the_usage_is_printed(capsys):
    """What is missing, and where to read on; the exit code of a wrong call."""
    with pytest.raises(SystemExit) as left:
        main(["study"])
    assert left.value.code == 2
    assert "arguments are required: IN; see arrange study --help" in capsys.readouterr().err


def test_a_study_is_of_a_song():
    """The measures are those of the package on the song; held notes are cut at the bar lines."""
    made = song(("Guitar 1", "C4", 0, 8), ("Guitar 2", "E4", 4, 4))
    one = Study(made)
    assert one.measure_ranges["measure"].tolist() == [1, 2, 2]
    assert list(one.tables) == TABLES.split()
    with pytest.raises(dataclasses.FrozenInstanceError):
        one.song = made
    with pytest.raises(ArrangeError, match="there is no such file"):
        study("missing.musicxml")


def test_sounds_and_capos_by_section_are_shown(tmp_path):
    """Each once, in order, with its sections; a part that changes nothing has one word."""
    made = song(
        ("Guitar 1", "C4", 0, 8), ("Guitar 1", "C4", 8, 4), ("Guitar 1", "D4", 12, 4),
        ("Guitar 2", "C3", 0, 12), sections=[("Verse", 1), ("Bridge", 3), ("Coda", 4)],
    )  # fmt: skip
    assert "<th>Sound</th>" not in Study(made).html()
    made = with_setup(made, "Guitar 1", "Bridge", capo=2, drive="overdriven", layers="Lead")
    made = with_setup(made, "Guitar 2", "Coda", capo=5)  # where it rests
    one = Study(made)
    page = one.html()
    assert (
        "none in Verse and Coda; 2 in Bridge</td><td>clean in Verse and Coda; overdriven in" in page
    )
    assert '<td class="number"></td><td>clean</td>' in page
    one.write(tmp_path / "study")
    back = pd.read_parquet(tmp_path / "study" / "tables" / "setups.parquet")
    pd.testing.assert_frame_equal(back, made.setups)


def paragraphs(page: str) -> list[str]:
    """The paragraphs of the guitars' words on a report, as text."""
    folded = re.findall(r'(?s)<details class="words">.*?</details>', page)
    return [
        " ".join("".join(Page(inside).words).split())
        for text in folded
        for inside in re.findall(r"(?s)<p.*?</p>", text)
    ]


def test_how_to_play_each_guitar(written):
    """The words are those of ``explain_part``, a paragraph for each section that is no repeat, in
    folded blocks; what returns is named once.
    """
    page = (written / "report.html").read_text(encoding="utf-8")
    expected = []
    for part in ("Guitar 1", "Guitar 2"):
        words = explain_part(read(DEMO), part)
        expected += [words.start]
        expected += [f"{own.section}. {own.paragraph}" for own in words.sections
                     if own.section != "Tag"]  # fmt: skip
        expected += ["What returns. Tag as Intro."]
    assert paragraphs(page) == expected
    assert re.findall(r'class="words"><summary>(.*?)<', page) == ["Guitar 1", "Guitar 2"]


def test_parts_without_words():
    """A voice, keys, a bass and a guitar that never plays have none; a guitar that cannot be
    strung has the sentence that says so.
    """
    rows = [(part, "C4", 0, 4) for part in ("Voice", "Keys", "Bass")]
    without = song(*rows, parts=["Voice", "Keys", "Bass", "Guitar 1"])
    assert "How to play it" not in Study(without).html()
    made = song(("Guitar 1", "C4", 0, 4))
    far = replace(made, parts=made.parts.assign(capo=24))
    (sentence,) = paragraphs(Study(far).html())
    with pytest.raises(ArrangeError) as raised:
        explain_part(far, "Guitar 1")
    assert sentence == str(raised.value)


def test_markup_in_words_is_only_text():
    """Labels of parts and sections, sounds and chord symbols stand in the words as written."""
    evil = "<i>x</i>&amp;"
    made = song(
        (evil, "C4 E4 G4", 0, 8), (evil, "C4 E4 G4", 8, 8), ("Guitar 2", "C3", 0, 8),
        parts=[evil, "Guitar 2"], sections=[(evil, 1), ("Coda", 3)], chords=[(0, 0, "major", None)],
    )  # fmt: skip
    made = with_setup(made, evil, evil, layers=evil)
    made = replace(made, chords=made.chords.assign(symbol=evil))
    first, section, coda, *_ = paragraphs(Study(made).html())
    assert first.startswith("Standard tuning.")
    assert section.startswith(
        f"{evil}. Triads, first finger at fret 3, strings 3 to 1. From {evil}."
    )
    assert coda == f"What returns. Coda as {evil}."
