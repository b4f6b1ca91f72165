"""A kind of finding is one row: an invented kind works in every place that uses kinds."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

import arrange as ar
from arrange.clashes import EVIDENCE, GROUPS, KINDS, MOVES, Kind
from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash
from arrange.condensing.clash_penalties import pair_severity
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.exercises import make_exercises
from arrange.live.results_cache import section_findings
from arrange.text.bibliography import SOURCES

DEMO = "datasets/low-water.musicxml"
NAME = "low string"


def find_low_strings(scene, limits):
    """Find, as an invented kind, guitars that sound below A2: one finding a section."""
    found = []
    for row, (label, onset, end) in enumerate(scene.sections):
        for part in np.flatnonzero(scene.families == "guitar").tolist():
            note, _ = scene.sounding_in(scene.section_slices(row), part)
            low = note[scene.pitch[note] < 45]
            if len(low):
                found.append(
                    Clash(
                        NAME, onset, end, [scene.parts[part]], sorted({*scene.pitch[low].tolist()}),
                        float(len(low)), limits.rub, "notes",
                        f"{scene.parts[part]} goes down to its lowest string in {label}.",
                        scene.row[low],
                    )
                )  # fmt: skip
    return found


ROW = Kind(
    find=find_low_strings,
    group="place",
    lane="on the lowest string",
    question="does {parts} go down to its lowest string",
    meaning="a guitar plays on its lowest string",
    noun="low string",
    limit="rub",
    source="room for the bass",
    parts=1,
    moves=("octave",),
    one_note_ends_it=True,
    notes_can_be_named=True,
)


@pytest.fixture
def with_it(monkeypatch):
    """Return the table of kinds with one more row."""
    monkeypatch.setitem(KINDS, NAME, ROW)


def test_every_row_names_what_there_is():
    """Groups, moves, evidence, limits and sources are all known ones."""
    limits = {field.name for field in fields(Limits)}
    for name, kind in KINDS.items():
        assert kind.group in GROUPS, name
        assert set(kind.moves) <= set(MOVES), name
        assert kind.evidence in EVIDENCE, name
        assert kind.limit in limits, name
        assert kind.source in SOURCES, name
        assert "{parts}" in kind.question, name


@pytest.mark.usefixtures("with_it")
def test_an_invented_kind_is_found_grouped_moved_and_drawn(tmp_path):
    """Only its row was written for it."""
    study = ar.study(DEMO)
    song, findings = study.song, study.findings
    own = findings[findings["kind"] == NAME]
    assert len(own)
    assert NAME in set(ar.group_findings(findings, song)["kind"])
    finding = own.iloc[0]
    notes = ar.finding_notes(song, finding)
    assert (notes["pitch"] < 45).all()
    assert len(notes) == len(finding["notes"])
    moves = ar.smallest_moves(song, finding)
    assert "an octave higher" in " ".join(moves["move"])
    moved = ar.apply_move(song, moves[moves["move"].str.contains("octave")].iloc[0])
    assert len(ar.find_clashes(moved, [NAME])) < len(own)
    labels = [text.get_text() for text in ar.plot_clashes(findings, song).texts]
    assert any(ROW.lane in label for label in labels)
    ar.plot_hearing(song, finding["onset"], ar.split_parts(finding["parts"]))
    assert "lowest string" in study.write(tmp_path / "out").read_text(encoding="utf-8")
    assert ar.finding_sound(song, finding).seconds > 0


@pytest.mark.long
@pytest.mark.usefixtures("with_it")
def test_an_invented_kind_in_proposals_live_views_exercises_and_songbooks(tmp_path):
    """The invented kind also works in these higher packages."""
    song = ar.read(DEMO)
    section = ar.find_clashes(song, [NAME])["section"].iloc[0]
    part = ar.find_clashes(song, [NAME])["parts"].iloc[0]
    ideas = ar.revoice(song, part, section=section)
    assert any(NAME in set(idea.ended["kind"]) for idea in ideas)
    assert NAME in set(section_findings(song, section)["kind"])
    questions = [
        exercise.question + exercise.form
        for seed in range(4)
        for exercise in make_exercises(
            song, seed=seed, size="large", kinds=["name its kind", "find the clash"]
        )
    ]
    assert any(NAME in text or "lowest string" in text for text in questions)
    papers = ar.workshop_papers(DEMO, tmp_path / "workshop", seed=1, size="small")
    assert papers
    (tmp_path / "songs").mkdir()
    ar.write_musicxml(song, tmp_path / "songs" / "a.musicxml")
    table = ar.songbook_table(ar.read_songbook(tmp_path / "songs"))
    groups = [f"{group}_a_minute" for group in GROUPS]
    assert table[groups].sum(axis=1).iloc[0] == pytest.approx(table["findings_a_minute"].iloc[0])


def test_a_kind_that_may_be_meant_takes_nothing_from_two_layers(monkeypatch):
    """The row says that the kind may be intended; condensing keeps no list of its own."""
    recorded = RecordedLayers.of(ar.read("datasets/last-bell.musicxml"), None)
    before = pair_severity(recorded)
    for name in KINDS:
        monkeypatch.setitem(KINDS, name, replace(KINDS[name], may_be_meant=True))
    assert len(before)
    assert pair_severity(recorded).empty


def test_the_readme_says_what_each_kind_says():
    """The README's table has a row for every kind."""
    table = Path("README.md").read_text(encoding="utf-8").partition("## What is looked for")[2]
    rows = {*re.findall(r"^\| (\w+) \|", table.partition("\n## ")[0], re.M)} - {"kind"}
    assert rows == {*KINDS}, "README, What is looked for: a row '| kind | what it says |' each"
