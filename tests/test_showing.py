"""What a notebook shows: errors as one sentence, songs and results as pages."""

import re

import pytest
from IPython.core.interactiveshell import InteractiveShell
from songs import song
from traitlets.config import Config

import arrange as ar


@pytest.fixture(scope="module")
def shell():
    """Return the shell that a notebook's kernel has, without a kernel."""
    made = InteractiveShell.instance(config=Config(HistoryManager={"enabled": False}))
    made.run_cell("import arrange as ar")
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
