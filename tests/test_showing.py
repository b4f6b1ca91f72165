"""What a notebook shows: errors as one sentence, songs and results as pages."""

import io
import re
import sys
from dataclasses import replace
from pathlib import Path

import IPython.display
import matplotlib
import numpy as np
import pandas as pd
import pytest
from IPython.core.interactiveshell import InteractiveShell
from matplotlib.figure import Figure
from songs import song
from test_study import Page
from traitlets.config import Config

import arrange as ar
from arrange.showing.hooks import register_pages
from arrange.text import progress

DATASETS = Path(__file__).parent.parent / "datasets"


@pytest.fixture(scope="module")
def shell():
    """Return the shell that a notebook's kernel has, without a kernel."""
    made = InteractiveShell.instance(config=Config(HistoryManager={"enabled": False}))
    made.run_cell("import arrange as ar")
    register_pages()  # the package was imported before there was a shell
    yield made
    InteractiveShell.clear_instance()


def plain(text):
    """Return text without its colours."""
    return re.sub(r"\x1b\[[0-9;]*m", "", text)


def test_an_error_is_one_sentence_with_its_place(shell, capsys):
    """The class, the message, the line of the cell, and how to see more; the cell has failed."""
    ran = shell.run_cell('where = "missing.txt"\n\nsong = ar.read(where)')
    assert isinstance(ran.error_in_exec, ar.ReadError)
    assert not ran.success
    assert plain(capsys.readouterr().out).splitlines() == [
        "ReadError: missing.txt: there is no such file; look for a typing error in the path",
        "in line 3 of the cell: song = ar.read(where)",
        "(%tb in a new cell shows the whole traceback)",
    ]


def test_on_a_page_without_cells_the_sentence_stands_alone(shell, capsys, monkeypatch):
    monkeypatch.setenv("SERVER_SOFTWARE", "voila/0.5")
    shell.run_cell('ar.read("missing.txt")')
    [line] = plain(capsys.readouterr().out).splitlines()
    assert line.startswith("ReadError: missing.txt: there is no such file")


def test_the_traceback_is_shown_on_request(shell, capsys):
    shell.run_cell('ar.describe("tracks")')
    assert "Traceback" not in capsys.readouterr().out
    shell.run_cell("%tb")
    shown = capsys.readouterr().out
    assert shown.startswith("Traceback (most recent call last)")
    assert "schemas.py" in shown
    assert shown.rstrip().endswith("sections, measures, chords, notes, setups, findings")


def test_other_errors_and_handlers_are_left_alone(shell, capsys):
    """Another error has its traceback; a handler that the user sets comes before ours."""
    shell.run_cell("1 / 0")
    assert "Traceback" in plain(capsys.readouterr().out)
    seen = []
    shell.set_custom_exc((ar.ArrangeError,), lambda *given, **_: seen.append(given[2]))
    shell.run_cell('ar.read("missing.txt")')
    shell.set_custom_exc((), None)
    assert [type(error) for error in seen] == [ar.ReadError]


def test_a_function_of_the_cell_is_the_place(shell, capsys):
    """The line is the last one that the user wrote, in whatever function; a long one is cut."""
    shell.run_cell(f'def opened():\n    return ar.read("{"x" * 200}")\n\nopened()')
    place = plain(capsys.readouterr().out).splitlines()[1]
    assert place.startswith('in line 2 of the cell: return ar.read("xxx')
    assert place.endswith("xxx...")
    assert len(place) < 130


def test_a_song_that_does_not_serve_ends_in_a_sentence():
    made = song(
        ("Guitar 1", "C4", 0, 4), ("Bass", "C2", 0, 4), title="Two", parts=["Guitar 1", "Bass"]
    )
    assert ar.guitar_parts(made) == ["Guitar 1"]
    sentence = "'Two' has 1 guitar, and 2 or more are needed here; choose another song"
    with pytest.raises(ar.ArrangeError, match=sentence):
        ar.guitar_parts(made, least=2)
    assert ar.require(made.notes, "no notes") is made.notes
    with pytest.raises(ar.ArrangeError, match="no chord; type some"):
        ar.require(made.chords, "no chord; type some")


def shown(shell, value):
    """Return what a cell shows that ends in a value, its HTML checked."""
    data, _ = shell.display_formatter.format(value)
    page = Page(data["text/html"])
    assert page.open == []
    assert not re.search(r"<NA>|\bnan\b|\de-\d\d", re.sub(r'"data:[^"]*"', "", data["text/html"]))
    images = re.findall(r"<(?:img|svg|audio)[^>]*", data["text/html"])
    assert all(re.search(r'(alt|aria-label)="[^"]{9}', image) for image in images)
    assert 1 <= len(data["text/plain"].splitlines()) <= 5 or isinstance(value, list)
    return page, data


@pytest.fixture(scope="module")
def chart():
    return ar.read(DATASETS / "harbour-set" / "4-slack-tide.txt")


def test_a_song_shows_itself(shell, chart):
    """Title, facts, picture, two bars to hear, parts and form; notes by name."""
    page, data = shown(shell, chart)
    words = " ".join(" ".join(page.words).split())
    assert "Slack Tide 4-slack-tide.txt · 4 parts · 5 sections · " in words
    assert "Measures 1 to 2, 6 seconds. All of it: ar.render_sound(song)" in words
    assert "D2 A2 D3 G3 A3 D4" in words
    assert "E2 to " in words
    assert {"img", "audio", "table", "style"} <= page.tags
    assert all(place.startswith("data:") for place in page.asked)
    assert 'alt="Dark is busy, thick is many notes, empty is silent. Parts: ' in data["text/html"]


def test_proposals_show_themselves(shell, chart):
    """One with before and after; a list as a table, a row each."""
    one, other = chart.parts["part"][:2]
    notes = chart.notes
    there = (notes["part"] == one) & notes["measure"].between(5, 8)
    higher = replace(chart, notes=notes.assign(pitch=notes["pitch"] + 12 * there))
    found = ar.find_clashes(chart).query("kind == 'crowding'").head(1)
    counts = pd.DataFrame({"severity_before": [0.5], "severity_after": [0.1]})
    ideas = [
        ar.Proposal(chart, higher, idea, f"{idea} helps", counts, found, found[:0], 10.0, 0, 12.0,
                    24.0, (), {"finding": 3.0}, 3.0, 0)
        for idea in ("an octave up", "another")
    ]  # fmt: skip
    page, data = shown(shell, ideas[0])
    words = " ".join(" ".join(page.words).split())
    assert "What it brings Nothing." in words
    assert "Measures 5 to 6, " in words
    assert "Before, then after." in words
    assert f"Parts: {one}, {other}." in data["text/html"], "the other one of the clash is drawn too"
    assert data["text/plain"] == "<Proposal 'an octave up'>\n  an octave up helps"
    page, _ = shown(shell, ideas)
    assert page.words.count("an octave up") == page.words.count("another") == 1
    assert "given up" not in page.words, "its sentence says so, and the table is wide"
    assert "text/html" not in shell.display_formatter.format([1, 2])[0]
    assert "text/html" not in shell.display_formatter.format([])[0]

    class Lines(list):
        def _repr_html_(self):
            return "<b>lines</b>"

    assert shell.display_formatter.format(Lines())[0]["text/html"] == "<b>lines</b>"


def test_a_condensation_shows_itself(shell):
    rows = [(part, chord, at, 4) for at in (0, 4) for part, chord in
            (("Low", "C3 G3"), ("High", "E4 G4"), ("Top", "C5"))]  # fmt: skip
    two = ar.condense(
        song(*rows, parts=["Low", "High", "Top"]), ["Ann", "Ben"], layers=["Low", "High", "Top"]
    )
    page, _ = shown(shell, two)
    words = " ".join(" ".join(page.words).split())
    assert "3 layers for Ann and Ben" in words
    assert "Who plays what" in words
    assert two.recorded.parts["part"].tolist() == ["Low", "High", "Top"]


def test_a_log_and_a_songbook_show_themselves(shell):
    page, data = shown(shell, ar.read_decisions(DATASETS / "low-water-agreed.decisions.txt"))
    why, name = (page.words.index(each) for each in
                 ("room for the other guitar and the singer", "d85baf8ea"))  # fmt: skip
    assert why < name  # what is read first stands to the left; nothing stands in "measures"
    assert "measures" not in page.words
    assert data["text/plain"].splitlines()[0] == "<DecisionLog: 1 decision>"
    assert "no decisions" in shown(shell, ar.DecisionLog())[0].words
    book = ar.read_songbook([DATASETS / "harbour-set" / "4-slack-tide.txt", "missing.txt"])
    words = " ".join(shown(shell, book)[0].words)
    assert "Slack Tide" in words
    assert "there is no such file" in words
    words = " ".join(shown(shell, book.in_order([]))[0].words)
    assert "A songbook without songs" in words


def test_markup_in_names_is_only_text_everywhere(shell):
    evil = "<script>alert(1)</script>&amp;"
    made = song((evil, "C4", 0, 4), title=evil, parts=[evil], sections=[(evil, 1)], notices=(evil,))
    log = ar.DecisionLog((ar.Decision(evil, evil, section=evil, parts=[evil]),))
    for value in (made, log):
        page, data = shown(shell, value)
        assert "<script>alert" not in data["text/html"]
        assert page.words.count(evil) >= 3


def test_a_table_for_people():
    """Names of notes, plain numbers, nothing for nothing; text to the left."""
    table = pd.DataFrame(
        {"part": ["A", "B"], "pitch": [60.0, np.nan], "share": [0.0125, 0.5],
         "severity": [1.0, 0.5], "capo": pd.array([3, None], dtype="Int64"),
         "tuning": [(64, 59), None],
         "layers": [("x", "y"), ()], "grace": [True, False], "source_id": ["n1", "n2"]}
    )  # fmt: skip
    assert repr(ar.show(table)).splitlines() == [
        "part  pitch  share  severity (0 to 1)  capo (frets)  tuning, low to high  layers  grace",
        "A     C4      0.01                1.0             3  B3 E4                x, y    yes",
        "B             0.50                0.5                                             no",
    ]
    html = ar.show(table)._repr_html_()
    assert '<td data-key="60">C4</td>' in html
    assert '<td class="number" data-key="0.0125">0.01</td>' in html
    assert repr(ar.show(pd.DataFrame({"cost_mm": [0.012]}))) == "cost (mm)\n    0.012"
    assert repr(ar.show(table, most=1)).endswith("\n1 more row")
    row = repr(ar.show(table.iloc[0])).splitlines()
    assert [line.split()[0] for line in row[1:5]] == ["part", "pitch", "share", "severity"]
    assert row[2].split() == ["pitch", "C4"]
    assert "No rows." in ar.show(table[:0]).html
    with pytest.raises(ar.ArrangeError, match="show a table"):
        ar.show([1, 2])


def test_a_picture_of_a_cell_has_words(shell):
    """As image and as HTML, rendered once as the notebook is set; settings stay as they were."""
    before = dict(matplotlib.rcParams), matplotlib.get_backend()
    ax = ar.plot_shape(["x32010"], ["C"])
    png = shell.display_formatter.formatters["image/png"]
    published = []
    with pytest.MonkeyPatch.context() as patch:
        png.for_type(Figure, lambda figure: (published.append(figure), "UE5H")[1])
        patch.setattr(
            IPython.display, "publish_display_data", lambda *given: published.append(given)
        )
        assert shell.display_formatter.format(ax.get_figure()) == ({}, {})
        png.pop(Figure)
    figure, (data, about) = published
    assert figure is ax.get_figure()
    words = "Fret pictures: C x32010."
    html = f'<img alt="{words}" src="data:image/png;base64,UE5H">'
    assert data == {"text/plain": words, "image/png": "UE5H", "text/html": html}
    assert about == {"image/png": {"alt": words}}
    assert (dict(matplotlib.rcParams), matplotlib.get_backend()) == before


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture
def clock(monkeypatch):
    """Make each look at the clock move it on by a second."""
    now = [0.0]

    def look():
        now[0] += 1
        return now[0]

    monkeypatch.setattr(progress, "monotonic", look)


@pytest.mark.usefixtures("clock")
def test_progress_in_a_terminal(monkeypatch):
    """Nothing for two seconds, then a line that takes the place of the one before, then nothing."""
    monkeypatch.setattr(sys, "stderr", Terminal())
    assert list(progress.steps("abc", "Reading songs", "song")) == ["a", "b", "c"]
    lines = sys.stderr.getvalue().split("\r\x1b[K")
    assert lines == ["", "Reading songs: song 2 of 3, 2 s so far",
                     "Reading songs: song 3 of 3, 3 s so far", ""]  # fmt: skip
    for _ in progress.steps(iter("abcd"), "Trying", "round"):
        break
    assert sys.stderr.getvalue().count("Trying") == 0


@pytest.mark.usefixtures("clock")
def test_progress_goes_to_no_file(capsys):
    assert len(list(progress.steps(range(9), "Reading songs", "song"))) == 9
    assert capsys.readouterr() == ("", "")


@pytest.mark.usefixtures("clock")
def test_progress_in_a_notebook(shell, monkeypatch):
    """One output, shown once and then changed; how long it took remains."""
    seen = []
    monkeypatch.setattr(type(shell), "kernel", object(), raising=False)
    monkeypatch.setattr(
        shell.display_pub, "publish", lambda *given, **more: seen.append((given, more))
    )
    list(progress.steps(range(3), "Reading songs", "song"))
    assert [given[0]["text/plain"] for given, _ in seen] == [
        "Reading songs: song 2 of 3, 2 s so far", "Reading songs: song 3 of 3, 3 s so far",
        "Reading songs: done in 4 seconds",
    ]  # fmt: skip
    assert [more["update"] for _, more in seen] == [False, True, True]
    assert len({more["transient"]["display_id"] for _, more in seen}) == 1


def test_a_song_is_chosen_from_a_folder(tmp_path):
    """Songs in the folder and one below, no logs; the value is a path that can be read."""
    chosen = ar.choose_file(DATASETS, "4-slack-tide.txt")
    names = [name for name, _ in chosen.options]
    assert "low-water.musicxml" in names
    assert not [name for name in names if "decisions" in name or name.endswith(".md")]
    assert ar.read(chosen.value).title == "Slack Tide"
    for folder, what in ((tmp_path, "no song is in this folder"), ("nowhere", "no such folder")):
        with pytest.raises(ar.ReadError, match=what):
            ar.choose_file(folder)
    by_path = ar.choose_file(chosen.value)
    assert by_path.value == chosen.value
    assert len(by_path.options) == 4, "the songs beside it"


def test_bars_are_tried():
    """What is found, as a sentence; nothing found, as one too; both can be heard."""
    tried = ar.try_bars("Bb4 . . .", "A4 . . .", kinds=["rub"])
    assert tried.findings["pitches"].tolist() == ["A4 Bb4"]
    assert "Guitar 1's Bb4 rubs against Guitar 2's A4" in repr(tried)
    page = tried._repr_html_()
    assert "rubs against" in page
    assert "<audio controls" in page
    alone = ar.try_bars("3x0003")
    assert alone.song.parts["part"].tolist() == ["Guitar 1"]
    assert repr(alone) == "Nothing is found here."
    assert "<p>Nothing is found here.</p><audio" in alone._repr_html_()
    driven = ar.try_bars("E2,G2", sound_1="overdriven").findings["kind"]
    assert "drive" in driven.tolist()
    with pytest.raises(ar.ChartError, match="mutd"):
        ar.try_bars("320003 mutd")
