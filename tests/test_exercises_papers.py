"""The papers of a workshop are read back, its notebooks run, and the check before it tried.

Sources: pypdf as a second reader of what was printed; ISO 216 and ANSI/ASME Y14.1 for paper;
nbformat's schema for notebooks; NIOSH publication 98-126 for the caution.
"""

from __future__ import annotations

import re
import time
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import nbformat
import numpy as np
import pypdf
import pytest
import soundfile
from songs import many_guitars, song

import arrange
from arrange.__main__ import main
from arrange.errors import ArrangeError
from arrange.exercises import (
    KINDS,
    check_answer,
    check_environment,
    environment,
    fix_on_the_neck,
    guess_by_ear,
    make_exercises,
    workshop_papers,
)
from arrange.exercises.exercise import Exercise
from arrange.exercises.papers import print_page
from arrange.exercises.plan import MINUTES, plan_steps
from arrange.exercises.replies import Reply
from arrange.formats.musicxml.writing import write_musicxml
from arrange.formats.reading import read

DATASETS = Path(__file__).parent.parent / "datasets"
DEMOS = (("low-water.musicxml", "small"), ("last-bell.musicxml", "middle"),
         ("tarrow-weir.txt", "large"))  # fmt: skip
NAMES = ("workshop.ipynb", "workshop-solved.ipynb", "workshop-exercises.pdf", "workshop-hints.pdf",
         "workshop-answers.pdf", "workshop-plan.pdf", "workshop-handout-A4.pdf",
         "workshop-handout-letter.pdf", "workshop-sound-1.wav")  # fmt: skip
POINTS = 72 / 25.4  # a mm
A4, LETTER = (210.0, 297.0), (215.9, 279.4)  # mm; ISO 216, ANSI/ASME Y14.1


@pytest.fixture(scope="module", params=DEMOS, ids=[name for name, _ in DEMOS])
def papers(request, tmp_path_factory):
    """Return a demo song's workshop: its name, size, exercises and folder."""
    name, size = request.param
    folder = tmp_path_factory.mktemp("workshop") / "papers"
    paths = workshop_papers(DATASETS / name, folder, seed=4, size=size)
    assert {path.name for path in paths} == {each.name for each in folder.iterdir()}
    return name, make_exercises(read(DATASETS / name), 4, size), folder


def text_of(path: Path) -> str:
    pages = [page.extract_text() for page in pypdf.PdfReader(path).pages]
    return " ".join(" ".join(pages).split())


def squeezed(text: str) -> str:
    """Return a text without blanks, since lines of a page break anywhere."""
    return "".join(text.split())


def test_everything_is_there(papers):
    name, _, folder = papers
    assert {path.name for path in folder.iterdir()} == {name, *NAMES}
    assert (folder / name).read_bytes() == (DATASETS / name).read_bytes()


def test_every_sheet_has_the_same_exercises(papers):
    """Question and kind are the same on every sheet, in the same order, letter by letter."""
    _, exercises, folder = papers
    for word in ("exercises", "hints", "answers"):
        text = squeezed(text_of(folder / f"workshop-{word}.pdf"))
        at = 0
        for each in exercises:
            at = text.find(squeezed(each.kind + each.question), at)
            assert at >= 0, (word, each.question)
            assert all(squeezed(choice) in text for choice in each.choices)


def test_what_each_sheet_gives_away(papers):
    """The question sheet has no hints; the hint sheet has no answers; the answer sheet has both."""
    _, exercises, folder = papers
    texts = {word: squeezed(text_of(folder / f"workshop-{word}.pdf"))
             for word in ("exercises", "hints", "answers")}  # fmt: skip
    for each in exercises:
        reply = squeezed(check_answer(each, each.answer).text)
        assert reply in texts["answers"]
        assert reply not in texts["exercises"] + texts["hints"]
        for choice in each.choices:
            assert squeezed(check_answer(each, choice).text) in texts["answers"]
        for hint in each.hints:
            assert squeezed(hint) in texts["hints"]
            assert squeezed(hint) not in texts["exercises"]
        if each.kind == "guess by ear":
            assert "workshop-sound-1.wav" in texts["exercises"]


def test_names_of_kinds_are_those_of_the_code(papers):
    _, exercises, folder = papers
    for word in ("answers", "plan", "handout-A4"):
        text = text_of(folder / f"workshop-{word}.pdf")
        assert all(each.kind in text for each in exercises), word
    assert [each.kind for each in exercises] == list(KINDS)


def test_papers_have_their_size_and_the_handout_one_page(papers):
    _, _, folder = papers
    for path in folder.glob("*.pdf"):
        pages = pypdf.PdfReader(path).pages
        size = LETTER if "letter" in path.name else A4
        for page in pages:
            box = (float(page.mediabox.width) / POINTS, float(page.mediabox.height) / POINTS)
            assert box == pytest.approx(size, abs=0.5)
        assert len(pages) == 1 or "handout" not in path.name


def test_both_handouts_say_the_same(papers):
    _, _, folder = papers
    one, other = (
        squeezed(re.sub(r"\.{3,}", "", text_of(folder / f"workshop-handout-{paper}.pdf")))
        for paper in ("A4", "letter")
    )
    assert one == other
    assert "NIOSH98-126" in one
    assert "Pain,numbnessortingling:stop" in one


def test_the_plan_is_sixty_minutes(papers):
    """Each step begins when the step before ends; the times are read back from the page."""
    _, exercises, folder = papers
    steps = plan_steps(exercises)
    assert sum(step.minutes for step in steps) == MINUTES == 60
    assert [step.begin for step in steps[1:]] == [s.begin + s.minutes for s in steps[:-1]]
    text = text_of(folder / "workshop-plan.pdf")
    spans = [(int(a), int(b)) for a, b in re.findall(r"(\d+)–(\d+) \d+ ", text)]
    assert spans[0][0] == 0
    assert spans[-1][1] == 60
    assert all(one[1] == other[0] for one, other in pairwise(spans))
    breaks = [step for step in steps if step.what == "Break"]
    assert len(breaks) == 1
    assert 20 <= breaks[0].begin <= 40
    assert "dB(A)" in text
    assert "talking voice" in text


def test_any_number_of_exercises_fills_the_hour(papers):
    _, exercises, _ = papers
    for count in range(1, len(KINDS) + 1):
        steps = plan_steps(exercises[:count])
        assert sum(step.minutes for step in steps) == 60
        assert sum(step.what == "Break" for step in steps) == 1
        assert sum(step.what.startswith("Exercise") for step in steps) == count


def run(path: Path, exercises, monkeypatch) -> list:
    """Run the code of a notebook in its folder; return the value of the last line of each cell.

    The exercises, which take their time, are made anew for one song only.
    """
    monkeypatch.chdir(path.parent)
    if not (path.parent / "low-water.musicxml").exists():
        monkeypatch.setattr(arrange, "make_exercises", lambda *_, **__: exercises, raising=False)
    names: dict = {}
    shown = []
    for cell in nbformat.read(path, as_version=4)["cells"]:
        if cell["cell_type"] == "code":
            *lines, last = cell["source"].splitlines()
            exec("\n".join(lines), names)
            shown.append(eval(last, names))
    return shown


def test_both_notebooks_run_and_show_each_exercise(papers, monkeypatch):
    """The reader's copy is the other one without the solutions; it holds no answer at all."""
    _, exercises, folder = papers
    shown = run(folder / "workshop-solved.ipynb", exercises, monkeypatch)
    assert [each for each in shown if isinstance(each, Exercise)] == [*exercises]
    solved = [each for each in shown if isinstance(each, Reply)]
    assert [str(each) for each in solved] == [str(each.solution()) for each in exercises]
    cells, copy = (
        nbformat.read(folder / f"workshop{word}.ipynb", as_version=4)["cells"]
        for word in ("-solved", "")
    )
    kept = [each for each in cells if "answer" not in each["metadata"].get("tags", ())]
    assert copy == kept
    assert len(cells) - len(copy) == len(exercises)
    text = "".join(each["source"] for each in copy)
    assert not [each for each in exercises if each.answer in text or "solution" in text]
    assert not any(each.get("outputs") for each in cells)


def test_sounds_can_be_played(papers):
    _, _, folder = papers
    samples, rate = soundfile.read(folder / "workshop-sound-1.wav")
    assert rate == 44100
    assert 1 < len(samples) / rate < 20
    assert 0.01 < np.abs(samples).max() <= 0.5 + 1e-3


@pytest.mark.parametrize("papers", DEMOS[:1], indirect=True, ids=["low-water.musicxml"])
def test_the_same_again_gives_the_same_bytes(papers, tmp_path):
    name, exercises, folder = papers
    workshop_papers(DATASETS / name, tmp_path, seed=4, size=exercises[0].size)
    for path in folder.iterdir():
        assert path.read_bytes() == (tmp_path / path.name).read_bytes(), path.name


@pytest.fixture
def small_song(tmp_path_factory) -> Path:
    """Return the file of a song of four bars with a rub."""
    path = tmp_path_factory.mktemp("song") / "four-bars.musicxml"
    own = song(("Guitar 1", "C5", 0, 4), ("Guitar 1", "Bb4", 4, 4), ("Guitar 1", "C5", 8, 8),
               ("Guitar 2", "E5", 0, 4), ("Guitar 2", "A4", 4, 4), ("Guitar 2", "F5", 8, 8),
               title="Four Bars", tempo=90)  # fmt: skip
    write_musicxml(own, path)
    return path


def test_nobodys_answers_are_lost(small_song, tmp_path):
    """A notebook with somebody's answers is kept, and then no other file is written."""
    source = small_song
    workshop_papers(source, tmp_path)
    mine = tmp_path / "workshop.ipynb"
    mine.write_text(mine.read_text().replace('exercises[0]"', "exercises[0].check('b')\""))
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(ArrangeError, match=r"workshop\.ipynb is there already and differs"):
        workshop_papers(source, tmp_path, seed=2)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    workshop_papers(source, tmp_path, seed=2, overwrite=True)
    assert mine.read_bytes() != before["workshop.ipynb"]


def test_the_song_may_lie_in_the_folder(small_song):
    before = small_song.read_bytes()
    workshop_papers(small_song, small_song.parent)
    assert small_song.read_bytes() == before


def test_a_folder_that_cannot_be(tmp_path):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(ArrangeError, match="file is a file; name a folder"):
        workshop_papers(DATASETS / "tarrow-weir.txt", tmp_path / "file")
    assert (tmp_path / "file").read_text() == "mine"


def test_what_a_song_does_not_give_is_stated(tmp_path):
    """For two voices and keys there is no guitar and no task on the neck, and the papers say so."""
    path = tmp_path / "song.musicxml"
    own = song(("Voice", "C4", 0, 4), ("Keys", "C4 Db4", 0, 4), ("Voice", "G4", 4, 4),
               ("Keys", "E4 G4", 4, 4), ("Bass", "C2", 0, 8), sections=(("A", 1), ("B", 2)),
               title="Two *keys* #1")  # fmt: skip
    write_musicxml(own, path)
    workshop_papers(path, tmp_path / "papers")
    reason = "no guitar plays in this song"
    assert reason in text_of(tmp_path / "papers" / "workshop-plan.pdf")
    assert reason in (tmp_path / "papers" / "workshop.ipynb").read_text()


def test_a_page_that_does_not_fit_is_refused():
    blocks = [{"kind": "text", "text": "A long line of words. " * 20}] * 60
    with pytest.raises(ArrangeError, match="does not fit on one page of A4"):
        print_page("Song", "Page", blocks, "A4")


# the evening before


def test_this_machine_is_ready(capsys):
    assert main(["ready"]) == 0
    printed = capsys.readouterr().out
    assert "NOT" not in printed
    assert printed.endswith("Ready.\n")
    for what in ("Python", "numpy", "jupyterlab", "sound", "a printed page", "free disk",
                 "browser", "song and exercises", "notebook kernel"):  # fmt: skip
        assert re.search(rf"^(ok  |hint) {what}: ", printed, re.MULTILINE)


@pytest.mark.parametrize("is_known", [True, False])
def test_only_what_is_fulfilled_reads_ok(monkeypatch, capsys, is_known):
    """If Python does not know the machine's browser, the check gives a hint instead of an ok."""

    def get():
        if not is_known:
            raise environment.webbrowser.Error("could not locate runnable browser")
        return SimpleNamespace()

    monkeypatch.setattr(environment.webbrowser, "get", get)
    assert main(["ready"]) == 0
    printed = capsys.readouterr().out
    assert ("ok   browser: SimpleNamespace" in printed) == is_known
    assert ("hint browser: none known" in printed) != is_known
    lines = printed.splitlines()
    for line, following in pairwise(lines):
        assert not (line.startswith("ok ") and "to do:" in following)


@pytest.mark.parametrize(
    ("found", "wanted", "fits"),
    [
        ("3.11.7", ">=3.11", True), ("3.9", ">=3.11", False), ("10.5.1", "<11,>=9.7", True),
        ("11.0", "<11,>=9.7", False), ("0.15.2", "<0.16,>=0.15", True), ("2.1", "==2.1.0", True),
        ("0.16.0rc1", "<0.16,>=0.15", False), ("1.4.5", "~=1.4.2", True),
        ("1.5", "~=1.4.2", False), ("2", "any", True),
    ],
)  # fmt: skip
def test_versions_are_compared_as_numbers(found, wanted, fits):
    """The comparison follows PEP 440, Version specifiers, for final releases."""
    assert environment._fits(found, wanted) == fits


def test_what_is_missing_is_listed_with_what_to_do(monkeypatch, tmp_path, capsys):
    real = environment.importlib.metadata.version

    def without(name):
        if name == "typst":
            raise environment.importlib.metadata.PackageNotFoundError(name)
        return "1.0" if name == "numpy" else real(name)

    monkeypatch.setattr(environment.importlib.metadata, "version", without)
    monkeypatch.setattr(environment.shutil, "disk_usage", lambda _: SimpleNamespace(free=10**6))
    table = check_environment(tmp_path / "none.musicxml")
    assert list(table.columns) == ["what", "found", "wanted", "to_do", "ok", "needed"]
    table = table.set_index("what")
    assert table.loc["typst", "found"] == "not installed"
    assert table.loc["typst", "to_do"].startswith("pip install 'typst")
    assert table.loc["numpy", "to_do"].startswith("pip install 'numpy>=")
    assert "there is no such file" in table.loc["song and exercises", "found"]
    assert table.loc["song and exercises", "to_do"] == "mend the song or choose another"
    assert not table.loc["free disk", "ok"]
    assert main(["ready", str(tmp_path / "none.musicxml")]) == 1
    out = capsys.readouterr().out
    assert "NOT  typst: not installed" in out
    assert "Not ready" in out


def test_the_command(small_song, tmp_path, capsys):
    folder = str(tmp_path / "w")
    assert main(["workshop", str(small_song), "-o", folder, "--seed", "3", "--size", "middle"]) == 0
    out = capsys.readouterr().out.split()
    assert {Path(line).name for line in out} == {small_song.name, *NAMES}
    assert main(["workshop", str(small_song), "-o", folder, "--size", "huge"]) == 2
    assert "size='huge'" in capsys.readouterr().err
    assert main(["workshop", str(small_song), "-o", folder, "--seed", "8"]) == 2
    assert "is there already and differs" in capsys.readouterr().err
    assert main(["workshop", str(tmp_path / "none.txt"), "-o", str(tmp_path / "x")]) == 2
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    ("module", "trial"), [(fix_on_the_neck, "_places"), (guess_by_ear, "_take")]
)
def test_only_so_many_notes_are_tried(monkeypatch, module, trial):
    """The notes are chosen by the seed; the paper says what was not tried."""
    tried, made = [], []
    attempt = getattr(module, trial)
    monkeypatch.setattr(module, trial, lambda *case: tried.append(case) or attempt(*case))
    monkeypatch.setattr(module, "MOST_TRIED", 4, raising=False)
    for _ in range(2):
        tried.clear()
        try:
            made.append(make_exercises(many_guitars(9, 16), 3, "small", [module.KIND])[0].question)
        except ArrangeError as error:
            made.append(str(error))
        assert 0 < len(tried) <= 4
    assert made[0] == made[1]
    if module is fix_on_the_neck:
        assert re.search(r"\(4 notes of \d+ were tried\)", made[0])


def test_a_workshop_of_a_dozen_guitars_takes_seconds_and_reports_its_steps(tmp_path, capsys):
    path = tmp_path / "many.musicxml"
    write_musicxml(many_guitars(12, 16), path)
    start = time.process_time()
    assert main(["workshop", str(path), "-o", str(tmp_path / "papers")]) == 0
    assert time.process_time() - start < 15
    steps = capsys.readouterr().err.splitlines()
    last = f"making exercise {len(KINDS)} of {len(KINDS)}: {KINDS[-1]}"
    assert any(last in line for line in steps)
    assert "printing and writing" in steps[-1]
