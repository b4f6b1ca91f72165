"""The live view without a browser: its controls are moved and pressed as a browser would, and the
commands that open it are run.
"""

import contextlib
import errno
import json
import random
import re
import shutil
import signal
import socket
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import nbformat
import pytest
from songs import song as song_of
from songs import with_setup

import arrange as ar
from arrange.__main__ import main
from arrange.findings.summary import findings_figures
from arrange.live import serving, strip, view
from arrange.live.choices import Choices, PartChoice
from arrange.live.controls import widgets_of
from arrange.live.decided_song import decision_rows
from arrange.live.kept_view import KeptView, keep_view, kept_path, kept_view
from arrange.live.local_network import network_address
from arrange.live.results_cache import section_findings
from arrange.live.stop_signals import STOPS, ended_by_signals
from arrange.live.view import PartsView
from arrange.live.view_notebook import write_page

DEMO = "datasets/low-water.musicxml"


@dataclass
class Clock:
    """A clock that keeps what is to be done later; nothing happens before ``run``."""

    waiting: list = field(default_factory=list)

    def later(self, seconds, do):
        self.waiting.append((seconds, do))

    def run(self, most=40):
        """Do what is due first, at most so many things."""
        for _ in range(most):
            if not self.waiting:
                return
            self.waiting.sort(key=lambda each: each[0])
            self.waiting.pop(0)[1]()


@pytest.fixture
def log(tmp_path):
    return tmp_path / "low-water.decisions.txt"


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def shown(demo, log, clock):
    """Return a view of Chorus 1 and Guitar 1, without a clock that runs by itself."""
    return PartsView(demo, log, "Guitar 1", "Chorus 1", clock.later)


def control(shown, name):
    return dict(widgets_of(shown.controls))[name]


def press(shown, name):
    """Press a button, and let its effects happen before anything else."""
    clock = shown._ahead.clock.__self__
    clock.waiting.clear()
    control(shown, name).click()
    seconds, do = clock.waiting.pop()
    assert seconds >= 0.1
    do()


def words(shown):
    return shown.words.value


def test_it_opens_where_most_is_to_listen_to(demo, log, clock):
    """The view opens at Chorus 1, where the two guitars clash most."""
    first = PartsView(demo, log, later=clock.later)
    findings = ar.find_clashes(demo)
    pair = findings[findings["parts"] == "Guitar 1 + Guitar 2"]
    assert first.choices.section == pair.groupby("section")["severity"].sum().idxmax()
    assert first.controls.looking.part.value == "Guitar 1"
    assert first.choices.is_as_written
    assert "as written" in first.picture.value


def test_a_moved_control_changes_the_picture(shown):
    before = shown.picture.value
    shown.controls.choosing.octave.value = 1
    assert "Guitar 1: an octave up" in shown.picture.value
    assert "2 → 1 findings" in shown.picture.value
    shown.controls.choosing.octave.value = 0
    assert shown.picture.value == before


@pytest.mark.sampled
@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("inversion", "third lowest", "third lowest"),
        ("strings", "2–4", "on strings 2–4"),
        ("capo", 4, "capo at fret 4"),
        ("drive", "distorted", "distorted"),
        ("echo", "dotted eighth", "dotted eighth echo"),
        ("tempo", 90, "tempo 90"),
        ("section", "Bridge", "Bridge · as written"),
        ("beside", "Bass", "Bass · bars 25–26: hand at fret"),
    ],
)
def test_every_control_is_seen(shown, name, value, expected):
    control(shown, name).value = value
    assert expected in shown.picture.value


def test_each_part_keeps_what_was_chosen_for_it(shown):
    one = shown.controls
    one.choosing.octave.value = 1
    one.looking.part.value = "Guitar 2"
    assert (one.choosing.octave.value, one.choosing.capo.value, one.looking.beside.value) == (
        0,
        3,
        "Guitar 1",
    )
    one.choosing.strings.value = "1–3"
    one.looking.part.value = "Guitar 1"
    assert (one.choosing.octave.value, one.choosing.strings.value, one.choosing.capo.value) == (
        1,
        "as written",
        0,
    )
    assert "Guitar 1: an octave up; Guitar 2: on strings 1–3" in shown.picture.value


def test_a_singer_has_no_strings(shown):
    shown.controls.looking.part.value = "Voice"
    assert shown.controls.choosing.capo.disabled
    assert shown.controls.choosing.strings.disabled
    assert shown.controls.choosing.inversion.disabled
    shown.controls.choosing.octave.value = 1
    assert "Voice: an octave up" in shown.picture.value


def test_what_a_hand_cannot_play_is_reported_and_is_no_error(shown):
    shown.controls.choosing.capo.value = 7
    assert "Guitar 1 cannot play all of it: bar 25: Bb2 lies below" in words(shown)
    assert 'role="status"' in words(shown)
    assert "out of reach" in shown.picture.value


def test_reset_and_undo(shown):
    shown.controls.choosing.octave.value = 1
    shown.controls.choosing.drive.value = "edge"
    press(shown, "reset")
    assert shown.choices.is_as_written
    assert shown.controls.choosing.octave.value == 0
    press(shown, "undo")
    assert shown.controls.choosing.drive.value == "edge"
    press(shown, "undo")
    assert (shown.controls.choosing.drive.value, shown.controls.choosing.octave.value) == (
        "clean",
        1,
    )
    press(shown, "undo")
    press(shown, "undo")
    assert "nothing to undo" in words(shown)


def test_a_drag_is_one_step(shown, monkeypatch):
    monkeypatch.setattr("arrange.live.view._ONE_STEP_SECONDS", 60)  # however slow the machine is
    for value in (1, 2, 1):
        shown.controls.choosing.octave.value = value
    press(shown, "undo")
    assert shown.controls.choosing.octave.value == 0
    press(shown, "undo")
    assert "nothing to undo" in words(shown)


def test_a_late_slider_message_does_not_undo_a_reset(shown, clock):
    """The button's message comes first, then the slider's remaining message, then the button
    acts.
    """
    shown.controls.choosing.octave.value = 1
    clock.waiting.clear()
    shown.controls.deciding.reset.click()
    acts = clock.waiting.pop()[1]
    shown.controls.choosing.octave.value = 2
    acts()
    shown.controls.choosing.octave.value = -1  # later still, on a busy machine
    assert shown.choices.is_as_written
    assert shown.controls.choosing.octave.value == 0
    shown.controls.choosing.capo.value = 2  # another control may be chosen at any time
    assert not shown.choices.is_as_written


def test_a_decision_is_recorded_with_its_figures(shown, log, demo):
    shown.controls.choosing.octave.value = 1
    shown.controls.deciding.why.value = "room for Guitar 2"
    press(shown, "record")
    decision = ar.read_decisions(log).decisions[0]
    assert decision.what == "Guitar 1: an octave up"
    assert (decision.why, decision.section, decision.parts) == (
        "room for Guitar 2", "Chorus 1", ("Guitar 1",),
    )  # fmt: skip
    assert decision.before == "2 findings (1 crowding, 1 crossing), severity up to 0.57"
    assert decision.after == "1 finding (1 voice), severity up to 0.17"
    assert "Recorded: Guitar 1: an octave up" in words(shown)
    assert str(log.resolve()) in shown.shown_log.value
    assert "1 decision" in shown.shown_log.value
    assert decision.after in shown.shown_log.value
    # The log and the song give the arrangement that was heard.
    built = ar.rebuild(demo, ar.read_decisions(log))
    assert not built.stale
    own = built.song.notes.query("part == 'Guitar 1' and section == 'Chorus 1'")["pitch"]
    was = demo.notes.query("part == 'Guitar 1' and section == 'Chorus 1'")["pitch"]
    assert sorted(own) == sorted(was + 12)


def test_a_second_decision_stands_on_the_first(shown, log, demo):
    shown.controls.choosing.octave.value = 1
    press(shown, "record")
    assert shown.choices.is_as_written
    assert "1 → 1 findings" in shown.picture.value
    shown.controls.looking.part.value = "Guitar 2"
    shown.controls.choosing.capo.value = 5
    press(shown, "record")
    built = ar.rebuild(demo, ar.read_decisions(log))
    assert len(built.applied) == 2
    assert built.song.parts.set_index("part")["capo"]["Guitar 2"] == 5


def test_undo_takes_a_decision_back(shown, log):
    shown.controls.choosing.octave.value = 1
    press(shown, "record")
    press(shown, "undo")
    assert ar.read_decisions(log).decisions[0].status == "dropped"
    assert "dropped" in shown.shown_log.value
    assert "Guitar 1: an octave up" in shown.picture.value
    assert "2 → 1 findings" in shown.picture.value


def test_why_is_cleared_once_it_stands_in_the_log(shown, log):
    shown.controls.choosing.octave.value = 1
    shown.controls.deciding.why.value = "room for Guitar 2"
    press(shown, "record")
    assert shown.controls.deciding.why.value == ""
    shown.controls.choosing.drive.value = "edge"
    press(shown, "record")
    assert [each.why for each in ar.read_decisions(log).decisions] == [
        "room for Guitar 2", "tried in the live view",
    ]  # fmt: skip


@pytest.mark.sampled
@pytest.mark.parametrize(
    ("name", "value"),
    [("inversion", "third lowest"), ("strings", "2–4"), ("capo", 4), ("drive", "distorted")],
)
def test_what_is_seen_after_a_decision_is_what_the_log_gives(shown, log, demo, name, value):
    """The findings are those of a view that opens on the log afterwards; and `rebuild` gives the
    figures that were recorded.
    """
    control(shown, name).value = value
    press(shown, "record")
    fresh = PartsView(demo, log, "Guitar 1", "Chorus 1", Clock().later)
    assert shown.picture.value == fresh.picture.value
    assert shown.shown_log.value == fresh.shown_log.value
    log = ar.read_decisions(log)
    built = ar.rebuild(demo, log).song
    assert log.decisions[0].after == findings_figures(section_findings(built, "Chorus 1"))


def test_a_tempo_alone_is_recorded_too(shown, log):
    shown.controls.choosing.tempo.value = 90
    press(shown, "record")
    decision = ar.read_decisions(log).decisions[0]
    assert (decision.what, decision.change) == ("tempo 90", None)
    assert "The song keeps its own tempo" in words(shown)


def test_nothing_chosen_is_nothing_to_record(shown, log):
    press(shown, "record")
    assert "Nothing is chosen yet" in words(shown)
    assert not log.exists()


def test_a_log_that_is_there_is_made_first(shown, log, demo, clock):
    shown.controls.choosing.octave.value = 1
    press(shown, "record")
    again = PartsView(demo, log, "Guitar 1", "Chorus 1", clock.later)
    assert "1 → 1 findings" in again.picture.value
    assert "1 of them made here" in again.shown_log.value


def test_a_log_that_cannot_be_written_is_reported_in_the_view(demo, tmp_path, clock):
    (tmp_path / "a file").write_text("")
    shown = PartsView(demo, tmp_path / "a file" / "log.txt", "Guitar 1", "Chorus 1", clock.later)
    shown.controls.choosing.octave.value = 1
    shown.controls.deciding.why.value = "room for Guitar 2"
    press(shown, "record")
    assert 'role="alert"' in words(shown)
    assert "the decision was not written" in words(shown)
    assert shown.controls.deciding.why.value == "room for Guitar 2"
    assert "Guitar 1: an octave up" in shown.picture.value  # nothing is lost


# Redo, the picture's own buttons, and what is kept


def test_redo_goes_on_again_with_its_decision(shown, log):
    shown.controls.choosing.octave.value = 1
    press(shown, "record")
    press(shown, "undo")
    press(shown, "undo")
    assert shown.choices.is_as_written
    press(shown, "redo")
    assert "Guitar 1: an octave up" in shown.picture.value
    press(shown, "redo")
    assert ar.read_decisions(log).decisions[0].status == "agreed"
    # The same notes as before are decided now; nothing is new, and nothing has ended.
    assert "1 → 1 findings, severity 0.17 → 0.17</span>" in shown.picture.value
    assert "The decision is agreed again." in words(shown)
    press(shown, "redo")
    assert "nothing to redo" in words(shown)
    press(shown, "undo")
    shown.controls.choosing.drive.value = "edge"  # something new: what was undone is gone
    press(shown, "redo")
    assert "nothing to redo" in words(shown)


def tell(shown, do, what):
    """Press a place in the picture, as the page does."""
    shown.picture._handle_custom_msg({"do": do, "what": what}, [])


def test_places_in_the_picture_are_pressed(shown):
    places = re.findall(
        '<button[^>]*data-do="section" data-what="(.*?)"[^>]*>(.*?) <', shown.picture.value
    )
    assert [name for _, name in places] == list(shown.controls.looking.section.options)
    tell(shown, "section", dict(map(reversed, places))["Verse 3"])
    assert shown.controls.looking.section.value == "Verse 3"
    assert 'aria-pressed="true" style="flex-grow:32" aria-label="Verse 3,' in shown.picture.value
    tell(shown, "bar", "42")
    assert shown.controls.listening.moment.value == (41, 42)
    assert "Guitar 1 · bars 41–42: hand at fret" in shown.picture.value
    (key,) = re.findall('data-do="look" data-what="(mud[^"]*)"[^>]*>bar 39', shown.picture.value)
    tell(shown, "look", key)
    assert 'class="marked"' in shown.picture.value
    assert shown.controls.listening.moment.value == (39, 39)
    tell(shown, "look", key)
    assert 'class="marked"' not in shown.picture.value
    tell(shown, "hear", key)
    assert shown.player.children[0].autoplay
    for do, what in (
        ("section", "99"),
        ("section", "x"),
        ("bar", "1"),
        ("look", "none"),
        ("?", ""),
    ):
        tell(shown, do, what)  # of an older picture, say
    assert "alert" not in words(shown)
    assert shown.choices.section == "Verse 3"


def test_findings_of_one_part_are_listed(shown):
    shown.controls.choosing.octave.value = 1
    assert "since the last choice: ▲ 1 new, ✕ 2 ended" in shown.picture.value
    shown.controls.looking.only.value = "Bass"
    assert "No findings of Bass here" in shown.picture.value


def rest(shown):
    """Let time pass until nothing is left to be done."""
    shown._ahead.clock.__self__.run(12)


def test_a_view_opens_where_it_was_left(shown, log, demo):
    shown.controls.looking.section.value = "Verse 3"
    shown.controls.looking.part.value = "Guitar 2"
    shown.controls.looking.beside.value = "Bass"
    shown.controls.choosing.octave.value = 1
    shown.controls.choosing.tempo.value = 90
    rest(shown)
    again = PartsView(demo, log, later=Clock().later)
    assert "Guitar 2: an octave up; tempo 90" in again.picture.value
    assert again.choices == shown.choices
    assert again.controls.looking.beside.value == "Bass"
    press(again, "undo")
    assert again.choices.is_as_written
    asked = PartsView(demo, log, "Guitar 1", "Chorus 1", Clock().later)
    assert asked.choices.section == "Chorus 1"
    assert asked.choices.is_as_written


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: text[:40],
        lambda text: "[" * 50_000 + text,
        lambda text: text.replace("Verse 3", "Coda"),
        lambda text: text.replace('"octave": 1', '"octave": 99'),
        lambda text: text.replace('"octave": 1', '"octave": "1"'),
        lambda text: text.replace('"tempo": null', '"tempo": NaN'),
        lambda text: text.replace('"capo": null', '"capo": [3]'),
        lambda text: text.replace('"drive": null', '"gain": null'),
    ],
)
def test_a_kept_view_that_is_damaged_is_none(log, demo, damage):
    path = kept_path(log)
    assert path.name == "low-water.view.json"
    choices = Choices("Verse 3").with_part("Guitar 1", PartChoice(octave=1))
    keep_view(path, KeptView("Guitar 1", None, choices))
    assert kept_view(path, demo).choices == choices
    path.write_text(damage(path.read_text()))
    assert kept_view(path, demo) is None
    keep_view(log / "no" / "folder.json", KeptView("Guitar 1", None, choices))  # is no error


def test_the_last_picture_is_saved_in_the_notebook(shown, monkeypatch):
    """What a notebook shows without a kernel is the last picture, its buttons without effect."""
    shows, updates = [], []
    handle = SimpleNamespace(update=lambda data, **_: updates.append(data["text/html"]))
    monkeypatch.setattr(view, "display", shows.append)
    monkeypatch.setattr(
        "arrange.live.saved_picture.display",
        lambda data, **_: shows.append(data["text/html"]) or handle,
    )
    shown._ipython_display_()
    assert shows[0] is shown.widget
    assert "Chorus 1 · as written" in shows[1]
    shown.controls.choosing.octave.value = 1
    rest(shown)
    (saved,) = updates
    assert "Guitar 1: an octave up" in saved
    assert saved.count("<button ") == saved.count("<button disabled ")


# Two views on one log


@pytest.mark.parametrize("steps", [20, pytest.param(100, marks=pytest.mark.long)])
def test_two_views_never_write_or_show_a_false_figure(log, monkeypatch, steps):
    """Two people choose, record, undo and redo on one log in any order.

    After each step the view shows the figures of the song that its log gives, unless it reports
    that the log has changed; each decision has the figures of the song rebuilt with and without it;
    and a view that is opened anew, as after a kernel died, knows every decision that was
    acknowledged.
    """
    monkeypatch.setattr("arrange.live.view._LATE_SECONDS", 0)  # no step is faster than a hand
    song = song_of(("Guitar 1", "E3 B3 E4", 0, 4), ("Guitar 2", "E3 B3 E4", 0, 4))
    chance = random.Random(5)
    views = [PartsView(song, log, f"Guitar {n}", "Song", Clock().later) for n in (1, 2)]
    known = {b"": (ar.DecisionLog(), section_findings(song, "Song"))}

    def stands():
        """The log, and the findings of the song as it gives it."""
        data = log.read_bytes() if log.exists() else b""
        if data not in known:
            now = ar.read_decisions(log)
            known[data] = now, section_findings(ar.rebuild(song, now).song, "Song")
        return known[data]

    recorded = 0
    for step in range(steps):
        at, before = chance.randrange(2), stands()
        shown = views[at]
        do = chance.choice(["octave", "octave", "drive", "record", "record", "undo", "redo"])
        if do == "octave":
            control(shown, do).value = chance.choice([-1, 0, 1])
        elif do == "drive":
            control(shown, do).value = chance.choice(["clean", "distorted"])
        else:
            press(shown, do)
        assert "alert" not in words(shown), (step, words(shown))
        now, findings = stands()
        if shown._stand.log == now:
            assert f"<span>{len(findings)} → " in shown.picture.value, step
        recorded += do == "record" and "Recorded: " in words(shown)
        assert len(now.decisions) == recorded
        if len(now.decisions) > len(before[0].decisions):
            assert now.decisions[-1].before == findings_figures(before[1])
            assert now.decisions[-1].after == findings_figures(findings)
        if step % 10 == 9:  # its kernel is gone, and it is opened again
            views[at] = PartsView(song, log, f"Guitar {at + 1}", "Song", Clock().later)
            assert views[at]._stand.log == now
    assert recorded > steps // 20


@pytest.fixture
def beside(demo, log):
    """Return another view of the same song and log, on the other guitar."""
    return PartsView(demo, log, "Guitar 2", "Chorus 1", Clock().later)


def figures(song):
    return findings_figures(section_findings(song, "Chorus 1"))


def test_a_second_view_shows_the_first_one_s_decision_before_it_records(shown, beside, log, demo):
    """The second view's figures are those of the song with both decisions, as rebuilt from the
    log.
    """
    shown.controls.choosing.octave.value = 1
    press(shown, "record")
    beside.controls.choosing.octave.value = 1
    beside.controls.deciding.why.value = "lighter"
    assert "2 → " in beside.picture.value
    press(beside, "record")
    assert len(ar.read_decisions(log).decisions) == 1
    assert "Somebody else has written in the log" in words(beside)
    assert "new: Chorus 1, Guitar 1: an octave up (agreed)" in words(beside)
    assert "1 → " in beside.picture.value
    assert "1 decision, 1 of them made here" in beside.shown_log.value
    assert beside.controls.choosing.octave.value == 1  # nothing that was chosen or typed is lost
    assert beside.controls.deciding.why.value == "lighter"
    press(beside, "record")
    log = ar.read_decisions(log)
    assert [each.what for each in log.decisions] == [
        "Guitar 1: an octave up", "Guitar 2: an octave up",
    ]  # fmt: skip
    first, second = log.decisions
    assert first.before == figures(demo)
    with_first = ar.rebuild(demo, replace(log, decisions=(first,))).song
    assert first.after == second.before == figures(with_first)
    built = ar.rebuild(demo, log)
    assert not built.stale
    assert second.after == figures(built.song)


@pytest.mark.long
def test_taking_back_shows_first_what_another_wrote(shown, beside, log, demo):
    shown.controls.choosing.octave.value = 1
    press(shown, "record")
    press(beside, "reset")
    beside.controls.choosing.drive.value = "edge"
    press(beside, "record")
    press(beside, "record")
    press(shown, "undo")
    assert [each.status for each in ar.read_decisions(log).decisions] == ["agreed", "agreed"]
    assert "new: Chorus 1, Guitar 2: edge (agreed)" in words(shown)
    press(shown, "undo")
    assert [each.status for each in ar.read_decisions(log).decisions] == ["dropped", "agreed"]
    assert "Guitar 1: an octave up" in shown.picture.value
    shown.controls.looking.part.value = "Guitar 2"
    assert shown.controls.choosing.drive.value == "edge"  # the other's decision stands
    press(shown, "record")
    built = ar.rebuild(demo, ar.read_decisions(log))
    assert not built.stale
    assert ar.read_decisions(log).decisions[-1].after == figures(built.song)


def test_what_another_took_back_is_not_taken_back_twice(shown, log):
    shown.controls.choosing.octave.value = 1
    press(shown, "record")
    (decision,) = ar.read_decisions(log).decisions
    ar.change_status(log, decision.id, "dropped", "the singer wants it low")
    shown.controls.choosing.drive.value = "edge"
    press(shown, "record")
    assert "dropped now: Chorus 1, Guitar 1: an octave up" in words(shown)
    press(shown, "undo")
    data = log.read_bytes()
    press(shown, "undo")
    assert log.read_bytes() == data
    assert "That decision has been changed since: the log stays as it is." in words(shown)
    assert "Guitar 1: an octave up" in shown.picture.value


def test_a_part_that_another_took_out_is_let_go(shown, log, demo):
    """The choice for that part is dropped; the other choices stay."""
    others = replace(
        demo,
        parts=demo.parts[demo.parts["part"] != "Guitar 1"].reset_index(drop=True),
        notes=demo.notes[demo.notes["part"] != "Guitar 1"].reset_index(drop=True),
    )
    shown.controls.choosing.octave.value = 1
    shown.controls.looking.part.value = "Guitar 2"
    shown.controls.choosing.drive.value = "edge"
    ill = ar.Decision("Guitar 1 is ill", "flu")
    ar.record_decision(log, ill, song=demo, arrangement=others)
    shown.controls.looking.part.value = "Guitar 1"
    press(shown, "record")
    assert "new: Guitar 1 is ill (agreed). flu" in words(shown)
    assert "Guitar 1" not in shown.controls.looking.part.options
    assert "Chorus 1 · Guitar 2: edge" in shown.picture.value
    press(shown, "record")
    assert ar.read_decisions(log).decisions[-1].what == "Guitar 2: edge"


def test_a_log_that_another_damaged_is_reported_and_nothing_is_written(shown, log):
    shown.controls.choosing.octave.value = 1
    log.write_text("decision: d1\nwhat: x\nend: d1\n")
    press(shown, "record")
    assert 'role="alert"' in words(shown)
    assert "line 1" in words(shown)
    assert log.read_text() == "decision: d1\nwhat: x\nend: d1\n"
    log.unlink()
    press(shown, "record")
    assert len(ar.read_decisions(log).decisions) == 1


def test_a_log_that_is_gone_is_reported(shown, log):
    shown.controls.choosing.octave.value = 1
    press(shown, "record")
    log.unlink()
    shown.controls.choosing.drive.value = "edge"
    press(shown, "record")
    assert "gone: Chorus 1, Guitar 1: an octave up" in words(shown)
    assert not log.exists()
    assert "2 → " in shown.picture.value


def test_a_fault_of_ours_is_reported_in_the_view(shown, monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("three & <four>")

    monkeypatch.setattr(shown._stand.pictures, "drawn", broken)
    shown.controls.choosing.octave.value = 1
    assert 'role="alert"' in words(shown)
    assert "ZeroDivisionError: three &amp; &lt;four&gt;" in words(shown)
    assert "press Undo" in words(shown)
    monkeypatch.undo()
    press(shown, "undo")
    assert "alert" not in words(shown)


def test_every_way_to_hear(shown):
    """Each button gives a new player that begins to play; a later change does not start it."""
    lengths = {}
    for name in ("before", "after", "each", "both"):
        press(shown, name)
        player = shown.player.children[0]
        assert player.autoplay
        lengths[name] = len(player.value)
    assert lengths["before"] == lengths["after"] < lengths["both"] < lengths["each"]
    shown.controls.choosing.octave.value = 1
    shown._ahead.settle()
    assert not shown.player.children[0].autoplay
    shown._press("hear", shown._found()[0].key)
    heard = shown.player.children[0]
    assert heard.autoplay
    shown._ahead.settle()
    assert shown.player.children[0] is heard  # it plays on
    press(shown, "before")
    quiet = shown.player.children[0].value
    press(shown, "after")
    assert shown.player.children[0].value != quiet


def test_a_change_is_prepared_to_be_heard_and_what_may_come_next(shown, clock, monkeypatch):
    monkeypatch.setattr("arrange.live.view._ONE_STEP_SECONDS", 0)  # the user has rested
    shown.controls.choosing.capo.value = 2
    clock.waiting[:] = clock.waiting[-1:]  # the others were put off
    clock.run(30)
    assert len(shown.player.children) == 1
    known = shown._stand.pictures.drawn.cache_info().misses
    shown.controls.choosing.capo.value = 3
    assert shown._stand.pictures.drawn.cache_info().misses == known


def test_all_is_labelled(shown):
    """Every control that the keyboard can reach has a label."""
    for name, each in widgets_of(shown.controls):
        assert each.description, name
    svg = shown.picture.value
    assert 'role="img"' in svg
    assert "aria-label" in svg


def test_a_song_with_one_part_and_one_bar(log, clock):
    song = song_of(("Guitar 1", "E3 B3 E4", 0, 4))
    shown = PartsView(song, log, later=clock.later)
    shown.controls.choosing.octave.value = 1
    assert "Guitar 1: an octave up" in shown.picture.value
    press(shown, "each")
    clock.run()
    assert "alert" not in words(shown)


def test_the_front_door(tmp_path, demo):
    path = tmp_path / "song.musicxml"
    shutil.copy(DEMO, path)
    shown = ar.explore_parts(path, "Guitar 2", section="Verse 3")
    assert shown.log == ar.decisions_path(path)
    assert shown.choices.section == "Verse 3"
    assert "application/vnd.jupyter.widget-view+json" in shown._repr_mimebundle_()
    with pytest.raises(ar.ArrangeError, match="there is no part 'Banjo'"):
        ar.explore_parts(demo, "Banjo", log=tmp_path / "log")
    with pytest.raises(ar.ArrangeError, match="there is no section 'Coda'"):
        ar.explore_parts(demo, section="Coda", log=tmp_path / "log")


def test_without_a_loop_buttons_act_at_once(demo, log):
    shown = view.PartsView(demo, log, "Guitar 1", "Chorus 1")
    shown.controls.choosing.octave.value = 1
    shown.controls.deciding.reset.click()
    assert shown.choices.is_as_written


# The page and the commands


def test_a_page_is_a_whole_notebook(tmp_path):
    path = write_page(DEMO, tmp_path / "page.ipynb")
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    assert notebook.cells[0].source.startswith("# Low Water at Ferrystone")
    compile(notebook.cells[1].source, "cell", "exec")
    assert str(Path(DEMO).resolve()) in notebook.cells[1].source
    shutil.copy(DEMO, tmp_path / "song's.musicxml")
    beside = write_page(tmp_path / "song's.musicxml", tmp_path / "beside.ipynb")
    source = nbformat.read(beside, as_version=4).cells[1].source
    assert 'ar.explore_parts("song\'s.musicxml")' in source  # both may be moved together
    with pytest.raises(ar.ArrangeError, match="nowhere"):
        write_page(tmp_path / "nowhere.mid", tmp_path / "other.ipynb")
    assert not (tmp_path / "other.ipynb").exists()
    duo = tmp_path / "duo.txt"
    duo.write_text("part: Ann\nsection: All\nAnn | G4 |\n")
    with pytest.raises(ar.ArrangeError, match=r"no part is a guitar.*leave out --layers"):
        write_page(duo, tmp_path / "other.ipynb", layers=True)
    ar.decisions_path(duo).write_text("<<<<<<< ours\n")
    with pytest.raises(ar.ArrangeError, match="line 1: a merge conflict was left here"):
        write_page(duo, tmp_path / "other.ipynb")
    ar.decisions_path(duo).unlink()
    ar.decisions_path(duo).mkdir()
    for use in (ar.study, partial(write_page, target=tmp_path / "other.ipynb")):
        with pytest.raises(ar.ArrangeError, match=r"duo\.decisions\.txt: this is a folder"):
            use(duo)


def test_the_lab_opens_on_the_lessons_or_on_a_song(tmp_path):
    ran = []
    song = tmp_path / "a gig.musicxml"
    shutil.copy(DEMO, song)
    serving.open_lab(run=ran.append, opens=False)
    assert ran[0][0].endswith("notebooks")
    assert ran[0][1:] == ["--LabApp.default_url=/lab/tree/01_start_here.ipynb", "--no-browser"]
    serving.open_lab(song, run=ran.append)
    page = tmp_path / "a gig.live.ipynb"
    address = "--LabApp.default_url=/lab/tree/a%20gig.live.ipynb"
    assert ran[1] == [f"--ServerApp.root_dir={tmp_path}", address]
    page.write_text(json.dumps({"mine": 1}))
    serving.open_lab(song, run=ran.append)
    assert json.loads(page.read_text()) == {"mine": 1}  # what is there stays
    serving.open_lab(page, run=ran.append)
    assert ran[3] == ran[1]  # a notebook is opened as it is
    with pytest.raises(ar.ArrangeError, match="there is no such file"):
        serving.open_lab(tmp_path / "workshop.ipynb", run=ran.append)
    with pytest.raises(ar.ArrangeError, match="come with a clone of the repository"):
        serving.open_lab(notebooks=tmp_path / "none", run=ran.append)


def test_a_page_that_cannot_be_served_says_why(tmp_path, monkeypatch):
    """The error gives the reason, and no folder is left."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    before = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    with pytest.raises(ar.ArrangeError, match=r"pip install 'arrange\[page\]'"):
        serving.serve_page(DEMO)
    monkeypatch.setattr("importlib.util.find_spec", lambda _: True)
    with pytest.raises(ar.ArrangeError, match="nowhere"):
        serving.serve_page(tmp_path / "nowhere.mid")
    assert list(tmp_path.iterdir()) == []
    assert signal.getsignal(signal.SIGTERM) == before


@pytest.mark.parametrize(
    ("address", "says"),
    [
        (None, "this machine is in no network; join the one"),
        ("127.0.0.1", "this machine is in no network"),
        ("0.0.0.0", "this machine is in no network"),
        ("8.8.8.8", "in the Internet itself, as 8.8.8.8"),  # RFC 6890: all others are for networks
        ("192.168.1.7", ""), ("10.0.0.7", ""), ("172.20.10.2", ""), ("169.254.3.4", ""),
    ],
)  # fmt: skip
def test_a_page_is_shared_in_a_local_network_alone(monkeypatch, address, says):
    """Without a way out of this machine, and with an address that the whole world reaches, a
    sentence says so.
    """

    class Way(socket.socket):
        def connect(self, to):
            assert to[0] == "192.0.2.1"  # for examples (RFC 5737, section 3)
            if address is None:
                raise OSError(errno.ENETUNREACH, "")

        def getsockname(self):
            return address, 40_000

    monkeypatch.setattr("socket.socket", Way)
    if says:
        with pytest.raises(ar.ArrangeError, match=says):
            network_address()
    else:
        assert network_address() == address


@pytest.mark.parametrize("sent", STOPS)
def test_a_signal_ends_what_it_is_asked_to_end(sent):
    """A signal before the server runs also closes what was opened, and restores the signal
    handlers.
    """
    before, closed = [signal.getsignal(each) for each in STOPS], []
    with ended_by_signals(), contextlib.closing(SimpleNamespace(close=lambda: closed.append(1))):
        signal.raise_signal(sent)
        closed.append("never reached")
    assert closed == [1]
    assert [signal.getsignal(each) for each in STOPS] == before


def test_the_commands(monkeypatch, tmp_path, capsys):
    asked = []
    monkeypatch.setattr(serving, "open_lab", lambda *a, **k: asked.append((a, k)))
    monkeypatch.setattr(serving, "serve_page", lambda *a, **k: asked.append((a, k)))
    assert main(["lab", "--no-browser"]) == 0
    assert main(["page", DEMO, "--port", "8123", "--share", "--dark"]) == 0
    assert asked == [
        ((None,), {"layers": False, "players": [], "opens": False}),
        (
            (DEMO,),
            {
                "layers": False,
                "players": [],
                "port": 8123,
                "shares": True,
                "opens": True,
                "dark": True,
            },
        ),
    ]
    monkeypatch.undo()
    page = str(tmp_path / "sent.html")
    for wrong, says in (
        ([str(tmp_path / "none.mid")], "none.mid"),
        ([str(tmp_path / "none.mid"), "-o", page], "none.mid"),
        ([DEMO, "-o", page, "--share"], "leave out --layers, --player, --share"),
        ([DEMO, "-o", str(tmp_path / "sent.txt")], "end its name in .html"),
    ):
        assert main(["page", *wrong]) == 2
        assert says in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_controls_show_what_the_section_has(log, clock):
    """Another section shows its own sound; what is chosen is chosen for the whole song."""
    made = song_of(
        ("Guitar 1", "C4", 0, 8), ("Guitar 2", "C3", 0, 8), sections=[("A", 1), ("B", 2)]
    )
    made = with_setup(made, "Guitar 1", "B", capo=2, drive="overdriven", echo="eighth")
    seen = PartsView(made, log, "Guitar 1", "A", clock.later)
    one = seen.controls
    assert (one.choosing.capo.value, one.choosing.drive.value, one.choosing.echo.value) == (
        0,
        "clean",
        "none",
    )
    one.looking.section.value = "B"
    assert (one.choosing.capo.value, one.choosing.drive.value, one.choosing.echo.value) == (
        2,
        "overdriven",
        "eighth",
    )
    assert seen.choices.is_as_written
    one.choosing.capo.value = 0
    one.looking.section.value = "A"
    one.choosing.octave.value = 1  # A has no capo anyway; that there is none in B stays chosen
    assert seen.choices.of("Guitar 1").capo == 0
    one.looking.section.value = "B"
    one.choosing.capo.value = 2
    assert seen.choices.of("Guitar 1").capo is None


def test_a_part_without_pitch_does_not_rest():
    """The hand drum strikes in every verse of the demo, and has no notes to be named."""
    song = ar.read("datasets/tarrow-weir.txt")
    drum = song.notes[song.notes["part"] == "Hand drum"]
    for notes, words in ((drum, "sounds without pitch"), (drum.head(0), "rests here")):
        row = strip.strip_row(song, "Hand drum", notes, None)
        drawn = "".join(strip.draw_row(strip.strip_scale(song, (1, 4), [row]), row, 0.0))
        assert words in drawn
        assert drawn.count("axis") == 1


def test_a_decision_without_figures_is_listed_without():
    meant = ar.Decision("we start together", "the drummer counts in", id="d1", status="agreed")
    row = "<li><b>agreed</b>: we start together. the drummer counts in.</li>"
    assert decision_rows(ar.DecisionLog((meant,))) == row
