"""The papers of a workshop are read back, its notebooks run, and the check before it tried.

Sources: pypdf as a second reader of what was printed; ISO 216 and ANSI/ASME Y14.1 for paper;
nbformat's schema for notebooks; NIOSH publication 98-126 for the caution.
"""

from __future__ import annotations

import itertools
import re
import time
from collections import Counter
from functools import cache
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
from arrange.clashes import KINDS as FINDINGS
from arrange.errors import ArrangeError
from arrange.exercises import (
    KINDS,
    check_answer,
    check_environment,
    environment,
    exercise_sounds,
    fix_on_the_neck,
    guess_by_ear,
    make_exercises,
    workshop_papers,
)
from arrange.exercises.exercise import Exercise
from arrange.exercises.exercise_sheets import WORDS_TITLE, right_words, sound_name
from arrange.exercises.exercise_sounds import (
    is_whole_song,
    song_once,
    song_once_words,
    sound_words,
)
from arrange.exercises.papers import print_page
from arrange.exercises.plan import GET_STARTED, MINUTES, OWN_SONG, plan_steps
from arrange.exercises.printed_bars import printed_bars
from arrange.exercises.replies import Reply
from arrange.formats.musicxml.writing import write_musicxml
from arrange.formats.reading import read
from arrange.guitar.fingering import finger_part

DATASETS = Path(__file__).parent.parent / "datasets"
DEMOS = (("low-water.musicxml", "small"), ("last-bell.musicxml", "middle"),
         ("tarrow-weir.txt", "large"))  # fmt: skip
NAMES = ("read-me-first.pdf", "workshop.ipynb", "workshop-solved.ipynb",
         "workshop-exercises-A4.pdf", "workshop-exercises-letter.pdf", "workshop-hints.pdf",
         "workshop-answers.pdf", "workshop-plan.pdf", "workshop-handout-A4.pdf",
         "workshop-handout-letter.pdf", "workshop-song.flac", "workshop-sound-1.flac")  # fmt: skip
SHEETS = ("exercises-A4", "exercises-letter", "hints", "answers")
SEED = 8  # of the workshops
POINTS = 72 / 25.4  # a mm
SONG_SECONDS = 30.0  # of the demo songs, so that they are cut and made in no time
A4, LETTER = (210.0, 297.0), (215.9, 279.4)  # mm; ISO 216, ANSI/ASME Y14.1


@pytest.fixture(
    scope="module",
    params=[pytest.param(demo, marks=pytest.mark.sampled) for demo in DEMOS],
    ids=[name for name, _ in DEMOS],
)
def papers(request, tmp_path_factory):
    """Return a demo song's workshop: its name, size, exercises and folder."""
    name, size = request.param
    folder = tmp_path_factory.mktemp("workshop") / "papers"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(exercise_sounds, "_SONG_SECONDS", SONG_SECONDS)
        paths = workshop_papers(DATASETS / name, folder, seed=SEED, size=size)
    assert {path.name for path in paths} == {each.name for each in folder.iterdir()}
    return name, make_exercises(read(DATASETS / name), SEED, size), folder


@cache
def text_of(path: Path) -> str:
    pages = [page.extract_text() for page in pypdf.PdfReader(path).pages]
    return " ".join(" ".join(pages).split())


def squeezed(text: str) -> str:
    """Return a text without blanks, since lines of a page break anywhere."""
    return "".join(text.split())


def test_everything_is_there(papers):
    name, exercises, folder = papers
    sounds = [sound_name(number, each) for number, each in enumerate(exercises, 1)]
    assert {path.name for path in folder.iterdir()} == {name, *NAMES, *sounds}
    assert (folder / name).read_bytes() == (DATASETS / name).read_bytes()


def test_every_sheet_has_the_same_exercises(papers):
    """Question and kind are the same on every sheet, in the same order, letter by letter."""
    _, exercises, folder = papers
    for word in SHEETS:
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
             for word in SHEETS[1:]}  # fmt: skip
    texts["exercises"] = texts["exercises-letter"]
    for number, each in enumerate(exercises, 1):
        reply = squeezed(check_answer(each, each.answer).text)
        assert reply in texts["answers"]
        assert reply not in texts["exercises"] + texts["hints"]
        for choice in each.choices:
            assert squeezed(check_answer(each, choice).text) in texts["answers"]
        for hint in each.hints:
            assert squeezed(hint) in texts["hints"]
            assert squeezed(hint) not in texts["exercises"]
        assert squeezed(f"Sound: {sound_name(number, each)}") in texts["exercises"]


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
    paths = [folder / f"workshop{word}.ipynb" for word in ("-solved", "")]
    notebooks = [nbformat.read(path, as_version=4) for path in paths]
    for path, notebook in zip(paths, notebooks, strict=True):
        nbformat.validate(notebook)
        assert path.read_text(encoding="utf-8") == nbformat.writes(notebook) + "\n"
    cells, copy = (notebook["cells"] for notebook in notebooks)
    kept = [each for each in cells if "answer" not in each["metadata"].get("tags", ())]
    assert copy == kept
    assert len(cells) - len(copy) == len(exercises)
    asked = [each["source"] for each in copy if WORDS_TITLE not in each["source"]]
    assert len(asked) == len(copy) - 1  # the words are explained, and all choices are among them
    text = "".join(asked)
    assert not [each for each in exercises if each.answer in text or "solution" in text]
    assert not any(each.get("outputs") for each in cells)


def test_sounds_can_be_played(papers):
    """Those of a passage last as long as its bars, each part alone first where that is said."""
    _, exercises, folder = papers
    song_ = exercises[0].facts.song
    for number, each in enumerate(exercises, 1):
        samples, rate = soundfile.read(folder / sound_name(number, each))
        assert rate == 44100
        assert 0.01 < np.abs(samples).max() <= 0.5 + 1e-3
        if each.kind == "guess by ear":
            assert 1 < len(samples) / rate < 20
        elif not is_whole_song(each):
            first, last = each.passage.stretches[0]
            bars = song_.measures.iloc[first - 1 : last]
            once = song_.seconds(bars["onset"].iloc[-1] + bars["duration"].iloc[-1])
            once -= song_.seconds(bars["onset"].iloc[0])
            alone = len(each.passage.parts) if "alone" in sound_words(each) else 0
            least = once * (len(each.passage.stretches) + alone)
            assert len(samples) / rate >= (least if once < 20 else 0)
            assert len(samples) / rate < 100


def test_the_song_is_heard_once(papers):
    """A long song ends with a section, and the papers say which; the demo songs are short."""
    _, exercises, folder = papers
    song_ = exercises[0].facts.song
    assert song_once(song_) == (1, len(song_.measures))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(exercise_sounds, "_SONG_SECONDS", SONG_SECONDS)
        words, (_, last) = song_once_words(song_), song_once(song_)
    assert last in song_.sections["last_measure"].tolist()
    assert f"measure {last}, " in words
    info = soundfile.info(folder / "workshop-song.flac")
    row = song_.measures.iloc[last - 1]
    assert info.duration == pytest.approx(song_.seconds(row["onset"] + row["duration"]) + 2, abs=1)
    for file in ("read-me-first.pdf", "workshop-plan.pdf"):
        assert squeezed(words) in squeezed(text_of(folder / file))
    assert 'src="workshop-song.flac"' in (folder / "workshop.ipynb").read_text().replace("\\", "")


def test_words_are_explained_before_they_are_asked(papers):
    _, exercises, folder = papers
    asked = {word for each in exercises for word in each.words}
    assert asked
    text = squeezed(text_of(folder / "workshop-exercises-A4.pdf"))
    first = text.index(squeezed(exercises[0].question))
    cells = nbformat.read(folder / "workshop.ipynb", as_version=4)["cells"]
    (words,) = [each["source"] for each in cells if WORDS_TITLE in each["source"]]
    assert cells.index(next(c for c in cells if c["source"] == words)) < cells.index(
        next(c for c in cells if c["source"].startswith("## 1. "))
    )
    for word in ("finding", "register"):
        assert squeezed(word) in text[:first]
        assert f"**{word}**" in words
    for each in FINDINGS:
        meaning = FINDINGS[each].meaning
        assert (squeezed(meaning) in text[:first]) == (each in asked)
        assert (meaning in words) == (each in asked)


@pytest.mark.parametrize("papers", DEMOS[:1], indirect=True, ids=["low-water.musicxml"])
def test_bars_on_the_sheet_are_those_of_the_tables(papers):
    """Every fret and chord symbol of the bars asked about is on the page, and nothing else.

    The fingered notes are the reference; frets count from the nut, a string on the capo is open.
    """
    _, exercises, folder = papers
    song_ = exercises[0].facts.song
    text = squeezed(text_of(folder / "workshop-exercises-A4.pdf"))
    capo_of = song_.parts.set_index("part")["capo"]
    seen = 0
    for each in exercises:
        for cell in itertools.chain(*printed_bars(each).rows):
            first, last = (re.findall(r"\d+", cell["bars"]) * 2)[:2]
            bars = range(int(first), int(last) + 1)
            for line in cell["lines"]:
                drawn = re.findall(r"<text[^>]*>(.*?)</text>", line["picture"])
                assert squeezed("".join(drawn[:-1])) in text
                assert drawn[-1] == first
                notes = finger_part(song_, line["part"])
                frets = notes["fret"][notes["measure"].isin(bars)].astype(int)
                capo = capo_of[line["part"]]
                shown = [str(fret if fret > capo else 0) for fret in frets]
                symbols = song_.chords["symbol"][song_.chords["measure"].isin(bars)].tolist()
                has_frets = each.kind != "which capo"
                written = [text for text in drawn[:-1] if text != "let ring"]
                assert Counter(written) == Counter(shown * has_frets + symbols)
                seen += 1
    assert (
        seen
        == sum(
            len(each.passage.parts) * len(each.passage.stretches)
            for each in exercises
            if each.passage
        )
        + 1
    )  # eight bars are two lines


def test_a_leader_finds_everything_in_the_folder(papers):
    """The first page names each file; the plan has the answers and says what to bring."""
    _, exercises, folder = papers
    page, plan = (squeezed(text_of(folder / name)) for name in
                  ("read-me-first.pdf", "workshop-plan.pdf"))  # fmt: skip
    for path in folder.iterdir():
        assert squeezed(path.name) in page
    assert len(pypdf.PdfReader(folder / "read-me-first.pdf").pages) == 1
    assert squeezed("arrange lab workshop.ipynb opens the notebook") in page
    cells = nbformat.read(folder / "workshop.ipynb", as_version=4)["cells"]
    for cell, paper in ((cells[0], "exercises"), (cells[-1], "handout")):
        assert f"workshop-{paper}-A4.pdf" in cell["source"]
    for number, each in enumerate(exercises, 1):
        assert squeezed(f"Answer: {right_words(each)}") in plan
        assert sound_name(number, each) in plan
    for thing in ("computer", "loudspeaker", "stick", "arrange ready", "exercise sheet, 10 times",
                  "take home, 10 times", "pencils", "5 guitars", "5 capos", "tuner",
                  "hearing protection"):  # fmt: skip
        assert squeezed(thing) in plan, thing


def test_the_page_to_take_home_has_the_commands_of_the_readme(papers):
    _, _, folder = papers
    readme = (DATASETS.parent / "README.md").read_text()
    text = squeezed(text_of(folder / "workshop-handout-letter.pdf"))
    for command in (GET_STARTED, OWN_SONG):
        assert f"\n{command}\n" in readme
        assert squeezed(command) in text
    assert "http" not in text


@pytest.mark.long
@pytest.mark.parametrize("papers", DEMOS[:1], indirect=True, ids=["low-water.musicxml"])
def test_the_same_again_gives_the_same_bytes(papers, tmp_path, monkeypatch):
    name, exercises, folder = papers
    if name != DEMOS[0][0]:  # one is enough
        return
    monkeypatch.setattr(exercise_sounds, "_SONG_SECONDS", SONG_SECONDS)
    workshop_papers(DATASETS / name, tmp_path, seed=SEED, size=exercises[0].size)
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
    assert {small_song.name, *NAMES} <= {Path(line).name for line in out}
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
            made.append(make_exercises(many_guitars(9, 16), 8, "small", [module.KIND])[0].question)
        except ArrangeError as error:
            made.append(str(error))
        assert 0 < len(tried) <= 4
    assert made[0] == made[1]
    if module is fix_on_the_neck:
        assert re.search(r"\(4 notes of \d+ were tried\)", made[0])


@pytest.mark.long
def test_a_workshop_of_a_dozen_guitars_takes_seconds_and_reports_its_steps(tmp_path, capsys):
    path = tmp_path / "many.musicxml"
    write_musicxml(many_guitars(12, 16), path)
    start = time.process_time()
    assert main(["workshop", str(path), "-o", str(tmp_path / "papers")]) == 0
    assert time.process_time() - start < 60
    steps = capsys.readouterr().err.splitlines()
    last = f"making exercise {len(KINDS)} of {len(KINDS)}: {KINDS[-1]}"
    assert any(last in line for line in steps)
    assert "printing and writing" in steps[-1]
