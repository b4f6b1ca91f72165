"""The view of layers without a browser: its messages are sent as a browser would."""

import random
import re
from dataclasses import replace
from pathlib import Path

import pytest
from songs import song as song_of
from test_condensing import made_up

import arrange as ar
from arrange.__main__ import main
from arrange.condensing import kept_layers
from arrange.condensing.plan_by_hand import taken_by
from arrange.live import serving
from arrange.live.layers.layers_view import LayersView
from arrange.live.layers.panels import letters, shares_words
from arrange.live.layers.results import LayersResults
from arrange.live.layers.shares import NOBODY, Shares
from arrange.live.layers.shares_file import format_shares, parse_shares, read_shares
from arrange.live.view_notebook import write_page


class Clock:
    """A clock that does nothing before ``run``."""

    def __init__(self):
        self.waiting = []

    def later(self, seconds, do):
        self.waiting.append((seconds, do))

    def run(self, times=1):
        """Do what was asked for last, so many times."""
        for _ in range(times):
            self.waiting.pop()[1]()


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture(scope="module")
def results(layers):
    return LayersResults(layers)


@pytest.fixture
def shown(results, tmp_path, clock):
    """Return a view of the song of fourteen layers, whose best is known already."""
    song, log = results.problem.recorded.song, tmp_path / "last-bell.decisions.txt"
    return LayersView(song, log, lambda _: results, clock.later)


def send(shown, do, **more):
    shown._safely(lambda: shown.press({"do": do, **more}))


def place(shown, section, layer):
    recorded = shown.results.problem.recorded
    return {"section": recorded.sections.index(section), "layer": recorded.names.index(layer)}


def cell(shown, section, layer):
    at = place(shown, section, layer)
    return shown.grid.state["cells"][f"{at['section']}-{at['layer']}"]


def part(shown, name):
    return re.sub("<[^>]+>", " ", shown.grid.state["parts"][name])


def test_it_opens_with_the_best(shown, layers):
    assert shown.shares.taken == taken_by(layers.known.problem, layers.plan)
    assert "77% of what all layers together are worth" in part(shown, "totals")
    assert "This is the best." in part(shown, "totals")
    assert cell(shown, "Intro", "Hook") == ["player-0", "A", "Hook, Intro: Ann", "true"]
    assert cell(shown, "Intro", "Lead")[0] == "silent"
    assert shown.grid.state["controls"]["undo"] == {"off": "true"}


def test_the_figures_are_those_of_condensing(shown, layers):
    """Section by section, worth, losses and reasons are those of the condensation."""
    figures = shown.results.figures(shown.shares)
    worth = layers.terms.groupby("section", sort=False)["value"].sum()
    lost = layers.lost.groupby("section")["value"].sum()
    for own, name in zip(figures.sections, worth.index, strict=True):
        assert own.value == pytest.approx(worth[name], abs=1e-6)
    words = [shown.results.section_words(shown.shares, figures, n) for n in range(len(worth))]
    for own, said, name in zip(figures.sections, words, worth.index, strict=True):
        assert sum(one["value"] for one in said.lost) == pytest.approx(lost.get(name, 0), abs=1e-6)
        assert own.lost == len(said.lost)
    reasons = [choice["reason"] for said in words for choice in said.choices]
    whole = layers.choices["reason"].tolist()
    assert all(one.startswith(other) for one, other in zip(whole, reasons, strict=True))


def test_a_press_gives_to_the_next_and_undo_takes_it_back(shown, clock):
    at = place(shown, "Chorus 1", "Pad")
    before = shown.shares
    for holder, words in (("Ann", "A"), ("Ben", "B"), ("nobody", "")):
        send(shown, "next", **at)
        assert cell(shown, "Chorus 1", "Pad")[1:3] == [words, f"Pad, Chorus 1: {holder}"]
    send(shown, "give", player=2, **at)
    assert cell(shown, "Chorus 1", "Pad")[1] == "B"
    assert "it differs in Chorus 1" in part(shown, "totals")
    assert part(shown, "section").startswith(" Chorus 1, bars 21 to 28")
    given = shown.shares
    for _ in range(4):
        send(shown, "undo")
    assert shown.shares == before
    for _ in range(5):
        send(shown, "redo")
    assert shown.shares == given
    clock.run()
    assert shown._file.path.name == "last-bell.layers.txt"
    assert "has,Chorus 1,Ben,Pad + Rhythm" in shown._file.path.read_text()


def test_what_is_said_of_shares_by_hand(shown):
    """What somebody left out by hand is worth more than what there is, and nothing else is said."""
    hook = place(shown, "Chorus 2", "Hook")
    send(shown, "give", player=0, **hook)
    said = part(shown, "section")
    assert "Ann: nothing" in said
    assert "Hook would add" in said
    assert "less than the changes" not in said
    send(shown, "give", player=0, **place(shown, "Chorus 2", "Rhythm"))
    send(shown, "give", player=2, **hook)
    shown._settle(shown._turn)
    assert "Hook here, which Ann had in" in part(shown, "section")
    assert "because" not in part(shown, "section")


def test_two_layers_are_the_most(shown):
    """A third layer is refused in words; a press passes over a player who has two."""
    send(shown, "give", player=1, **place(shown, "Verse 1", "Pulse"))
    assert "Ann has Echo + Fills there, and two layers are the most" in part(shown, "words")
    send(shown, "next", **place(shown, "Verse 1", "Pulse"))
    assert cell(shown, "Verse 1", "Pulse")[1] == "B"
    send(shown, "next", **place(shown, "Verse 1", "Rhythm double"))
    assert "Everybody has two layers in Verse 1" in part(shown, "words")


def test_nothing_pressed_meanwhile_is_lost(shown, monkeypatch):
    """A press while the best is looked for counts; a second one on recording does not."""
    waiting = []
    monkeypatch.setattr(shown._aside, "do", lambda work, then: waiting.append((work, then)))

    def finish():
        work, then = waiting.pop(0)
        then(work())

    send(shown, "give", player=0, **place(shown, "Intro", "Hook"))
    send(shown, "search")
    send(shown, "give", player=0, **place(shown, "Verse 1", "Fills"))
    mine = shown.shares
    finish()
    assert "Something was changed while the best was looked for" in part(shown, "words")
    assert shown.shares == mine
    send(shown, "record")
    send(shown, "record")
    send(shown, "next", **place(shown, "Chorus 1", "Pad"))
    later = shown.shares
    finish()
    assert waiting == []
    assert "Recorded" in part(shown, "words")
    send(shown, "undo")
    assert shown.shares == later
    assert [each.status for each in ar.read_decisions(shown.log).decisions] == ["dropped"]
    send(shown, "redo")
    assert [each.status for each in ar.read_decisions(shown.log).decisions] == ["agreed"]


def test_a_layer_that_the_search_leaves_out_can_be_given(monkeypatch, tmp_path, clock):
    """It is kept through a search too, which says that it does not weigh all layers."""
    for name in ("MOST_LAYERS", "MOST_KEPT"):
        monkeypatch.setattr(kept_layers, name, 3)
    monkeypatch.setattr(kept_layers, "_NEIGHBOURS", 1)
    song = made_up(2, 8, (("Verse", 1), ("Chorus", 2), ("Bridge", 3)))
    results = LayersResults(ar.condense(song, 2))
    view = LayersView(song, tmp_path / "song.decisions.txt", lambda _: results, clock.later)
    worth = results.problem.worths[1]
    least = next(each for each in worth.layers if each not in worth.kept)
    assert "those that matter most: 3 of 5 in Verse, 3 of 6 in Chorus" in part(view, "totals")
    for layer in view.shares.taken[1][0]:
        send(view, "give", player=0, section=1, layer=layer)
    send(view, "give", player=1, section=1, layer=least)
    send(view, "keep", player=0)
    assert view.shares.taken[1][0] == (least,)
    send(view, "search", fields={"scope": "all"})
    assert view.shares.taken[1][0] == (least,)
    assert "Found" in part(view, "words") or "Nothing better" in part(view, "words")
    clock.run()
    send(view, "best")
    assert "This is the best." in part(view, "totals")


def test_the_same_twice_is_not_given(shown):
    """Nothing happens on a layer that does not play, or with a number that is no player."""
    before = shown.shares
    send(shown, "next", **place(shown, "Intro", "Lead"))
    send(shown, "give", player=7, **place(shown, "Intro", "Hook"))
    assert shown.shares == before


def test_what_no_hand_can_hold(shown, clock):
    """It is said at once, with what would do a moment later, and is not recorded."""
    send(shown, "give", player=2, **place(shown, "Pre-chorus 1", "Pulse"))
    section = place(shown, "Pre-chorus 1", "Pulse")["section"]
    assert "Ben has Pulse + Rhythm in Pre-chorus 1: no hand" in part(shown, "troubles")
    assert part(shown, f"hands-{section}") == " cannot "
    clock.run()
    assert "A pick cannot strike Pulse + Rhythm; with the fingers it would do" in part(
        shown, "section"
    )
    send(shown, "record")
    assert "Not recorded: Ben has Pulse + Rhythm" in part(shown, "words")
    assert not shown.log.exists()


def test_the_best_from_here(shown):
    """What is kept and forbidden stays; all else becomes as good as it can be."""
    verse = place(shown, "Verse 1", "Fills")
    send(shown, "give", player=0, **verse)
    send(shown, "keep", player=0)
    send(shown, "go", **place(shown, "Verse 1", "Rhythm"))
    send(shown, "forbid", player=1)
    assert cell(shown, "Verse 1", "Echo")[2] == "Echo, Verse 1: Ann, kept"
    assert "not for Ben" in cell(shown, "Verse 1", "Rhythm")[2]
    send(shown, "search", fields={"scope": "section"})
    assert "against what there was" in part(shown, "words")
    assert cell(shown, "Verse 1", "Echo")[2] == "Echo, Verse 1: Ann, kept"
    assert "Rhythm, Verse 1: nobody" in cell(shown, "Verse 1", "Rhythm")[2]
    changed = {section for section, _ in shown.shares.differing(shown.results.optimum)}
    assert changed == {verse["section"]}
    send(shown, "compare")
    assert cell(shown, "Verse 1", "Rhythm")[2].endswith("; the best: Ben")
    send(shown, "best")
    assert "This is the best." in part(shown, "totals")


def test_why_nothing_is_left(shown):
    """What a search must not change, and what is forbidden, is said in the words of the view."""
    send(shown, "give", player=2, **place(shown, "Pre-chorus 1", "Pulse"))
    send(shown, "search", fields={"scope": "0"})
    said = part(shown, "words")
    assert "Ben has Pulse + Rhythm in Pre-chorus 1" in said
    assert "and it is not to be changed: take a layer away there" in said
    send(shown, "undo")
    send(shown, "go", **place(shown, "Instrumental", "Lead"))
    for player in (0, 1):
        send(shown, "forbid", player=player)
    send(shown, "search", fields={"scope": "all"})
    assert "Lead is the lead in Instrumental and has to be played" in part(shown, "words")


def test_a_decision_is_recorded_superseded_and_taken_back(shown, results):
    """The song is built again from it; the next one takes its place, also for somebody else."""
    song = results.problem.recorded.song
    other = ar.Decision("the drummer counts in", "we start together")
    ar.record_decision(shown.log, other)
    send(shown, "record", fields={"why": "it keeps the hook"})
    assert "Somebody else has written in the log since" in part(shown, "words")
    assert len(ar.read_decisions(shown.log).decisions) == 1
    send(shown, "record")
    first = ar.read_decisions(shown.log).decisions[1]
    assert (first.why, first.after) == (
        "it keeps the hook",
        f"this: 548.5 s (77%): {shares_words(results.problem, shown.shares)}",
    )
    assert "then arrange handout arranged.musicxml --decisions" in part(shown, "words")
    assert {"Ann", "Ben"} <= set(ar.rebuild(song, ar.read_decisions(shown.log)).song.parts["part"])
    again = LayersView(song, shown.log, lambda _: results, Clock().later)
    send(again, "record")
    _, one, second = ar.read_decisions(shown.log).decisions
    assert (one.status, second.supersedes) == ("superseded", first.id)
    assert "Somebody else" not in part(again, "words")  # what it supersedes is not another's doing
    for _ in range(2):  # the first one reads the log again
        send(shown, "undo")
    assert "That decision has been changed since" in part(shown, "words")
    assert [each.status for each in ar.read_decisions(shown.log).decisions][1:] == [
        "superseded", "agreed",
    ]  # fmt: skip
    send(again, "undo")
    assert ar.read_decisions(shown.log).decisions[2].status == "dropped"
    assert "The decision is taken back." in part(again, "words")
    for view, do in ((shown, "record"), (again, "redo")):  # each reads the log again first
        send(view, do)
        send(view, do)
    assert "Another decision shares out the layers by now" in part(again, "words")
    assert [each.status for each in ar.read_decisions(shown.log).decisions][2:] == [
        "dropped", "agreed",
    ]  # fmt: skip


@pytest.mark.long
def test_two_views_never_write_or_show_a_false_figure(tmp_path):
    """Two people share out, record, undo and redo on one log in any order.

    Two decisions never share out at once. Each holds the shares and the worth that its view shows;
    a view that is opened anew, as after a kernel died, knows every decision that was acknowledged,
    and the shares that were kept.
    """
    bars = (0.0, 4.0)
    song = song_of(
        *(("Low", "E2 B2 E3", at, 4) for at in bars),
        *(("High", note, at + beat, 1) for at in bars for beat, note in enumerate(["E5", "G5"])),
        *(("Middle", "G3 B3", at + 2, 2) for at in bars), sections=[("A", 1), ("B", 2)],
    )  # fmt: skip
    log, known = tmp_path / "song.decisions.txt", ar.condense(song, 2)
    results, chance, recorded = LayersResults(known), random.Random(5), 0

    def opened():
        return LayersView(song, log, lambda _: results, Clock().later)

    logs = {b"": ar.DecisionLog()}

    def stands():
        data = log.read_bytes() if log.exists() else b""
        if data not in logs:
            logs[data] = ar.read_decisions(log)
        return logs[data]

    views = [opened(), opened()]
    for step in range(100):
        at, before = chance.randrange(2), stands()
        shown = views[at]
        do = chance.choice(["give", "give", "give", "record", "record", "undo", "redo"])
        send(shown, do, section=chance.randrange(2), layer=chance.randrange(3),
             player=chance.randrange(3))  # fmt: skip
        said, shares, now = shown._words, shown.shares, stands()
        assert "Something went wrong" not in said, (step, said)
        figures = results.figures(shares)
        assert f"Worth {figures.plan.value:.1f} s, {figures.share:.0%}" in part(shown, "totals")
        recorded += said.startswith("Recorded")
        assert len(now.decisions) == recorded
        assert sum(each.status == "agreed" for each in now.decisions) <= 1  # never two at once
        if len(now.decisions) > len(before.decisions):
            assert now.decisions[-1].after == (
                f"this: {figures.plan.value:.1f} s ({figures.share:.0%}): "
                f"{shares_words(results.problem, shares)}"
            )
        elif now != before:
            assert said.startswith(("The decision is taken back", "The decision is agreed again"))
        if step % 10 == 9:  # its kernel is gone, and it is opened again
            kept = "other shares" in shown._file.keep(results.problem, shares)
            views[at] = opened()
            assert views[at]._stand.decided.log == now
            assert kept or views[at].shares == shares
    assert recorded > 2


def test_the_shares_of_another_view_are_not_written_over_unsaid(shown, results, clock):
    """What another view kept meanwhile stays until something is changed once more."""
    clock.run()
    beside = LayersView(results.problem.recorded.song, shown.log, lambda _: results, clock.later)
    send(beside, "next", **place(shown, "Chorus 1", "Pad"))
    clock.run()
    theirs = shown._file.path.read_text()
    assert "has,Chorus 1,Ann,Hook + Pad" in theirs
    send(shown, "go", **place(shown, "Verse 1", "Echo"))  # nothing of its own to keep
    clock.run()
    assert (shown._file.path.read_text(), part(shown, "words")) == (theirs, "")
    for player, text in ((0, theirs), (1, None)):
        send(shown, "give", player=player, **place(shown, "Verse 1", "Echo"))
        clock.run()
        is_reported = "Another view of this song has kept other shares" in part(shown, "words")
        assert is_reported == (text is not None)
        assert (shown._file.path.read_text() == theirs) == is_reported


def test_sheets_of_the_recording_say_so(shown, results, monkeypatch, capsys):
    """Where the log shares out the layers of a song, its sheets are not those of the players."""
    send(shown, "record")
    song = results.problem.recorded.song
    monkeypatch.setattr("arrange.commands.handing_out.read", lambda _: song)
    monkeypatch.setattr("arrange.handouts.write_handout", lambda *_, **__: [])
    asked = ["handout", str(shown.log.with_name("last-bell.musicxml")), "-o", "sheets"]
    assert main(asked) == 0
    assert "these are sheets of the layers as recorded" in " ".join(capsys.readouterr().out.split())


def test_hands_are_tried_one_after_another(layers, tmp_path, clock):
    """What has not been tried is said to be so, and becomes known while nothing is pressed."""
    song, log = layers.known.problem.recorded.song, tmp_path / "last-bell.decisions.txt"
    shown = LayersView(song, log, lambda _: LayersResults(layers), clock.later)
    send(shown, "next", **place(shown, "Chorus 1", "Pad"))
    section = place(shown, "Chorus 1", "Pad")["section"]
    assert part(shown, f"hands-{section}") == "trying"
    clock.run()
    assert "Trying what hands can hold" in shown.grid.progress
    assert part(shown, f"hands-{section}") in ("can", " cannot ")


def test_it_is_heard(shown):
    sent = []
    shown.grid.send = lambda content, buffers: sent.append((content, bytes(buffers[0][:4])))
    send(shown, "recording", **place(shown, "Intro", "Hook"))
    send(shown, "optimum")
    assert sent == [({"sound": "recording"}, b"RIFF"), ({"sound": "optimum"}, b"RIFF")]


def test_faults_are_shown(shown, monkeypatch):
    monkeypatch.setattr(LayersResults, "best_from", lambda *_: 1 / 0)
    send(shown, "search")
    assert "Something went wrong that should not (ZeroDivisionError" in part(shown, "words")


def test_shares_come_back_from_their_file(layers, tmp_path):
    """All of them, and what does not fit any more is left out and said."""
    problem, optimum = layers.known.problem, taken_by(layers.known.problem, layers.plan)
    shares = replace(
        Shares(optimum).given(1, 9, NOBODY),
        kept=frozenset({(1, 0)}),
        forbidden=frozenset({(2, 1, 0)}),
    )
    text = format_shares(problem, shares)
    assert parse_shares(text, problem, optimum) == (shares, "")
    strange = text + "has,Coda,Ann,Hook\n"
    assert parse_shares(strange, problem, optimum)[1].startswith("1 lines of the shares")
    path = tmp_path / "song.layers.txt"
    assert read_shares(path, problem, optimum) == (Shares(optimum), "")
    for bad in (b"\xff\xfe", b"what,section\n", b"has,Verse 1,Ann\n"):
        path.write_bytes(bad)
        found, words = read_shares(path, problem, optimum)
        assert found == Shares(optimum)
        assert "cannot be used" in words


def test_a_page_and_a_notebook_hold_the_view(tmp_path, monkeypatch, capsys):
    """`--layers` asks for this view in place of that of the parts."""
    song = Path(__file__).parent.parent / "datasets" / "tarrow-weir.txt"
    page = write_page(song, tmp_path / "page.ipynb", layers=True)
    assert "ar.explore_layers(" in page.read_text()
    write_page(song, page, layers=True, players=["Ann: acoustic; capo 2", "Ben"])
    assert "['Ann: acoustic; capo 2', 'Ben'])" in page.read_text()
    asked = []
    for name in ("serve_page", "open_lab"):
        monkeypatch.setattr(
            serving, name, lambda *_, layers, players, **__: asked.append((layers, players))
        )
    ann = ["--player", "Ann: acoustic"]
    for command in ("page", "lab"):
        assert main([command, str(song), "--layers", *ann]) == 0
        assert main([command, str(song)]) == 0
        assert main([command, str(song), *ann]) == 2
        assert main([command, str(song), "--layers", "--player", "Ann: kazoo"]) == 2
    assert asked == [(True, ["Ann: acoustic"]), (False, [])] * 2
    said = capsys.readouterr().err
    assert "--player says who shares out the layers: give --layers too" in said
    assert "--player: player Ann:" in said
    monkeypatch.undo()
    (tmp_path / "song.layers.ipynb").write_text("{}")
    with pytest.raises(ar.ArrangeError, match="is there already and names its players"):
        serving.open_lab(tmp_path / "song.txt", layers=True, players=["Ann"], run=print)


@pytest.mark.parametrize(
    ("names", "signs"),
    [
        (["Ann", "Ben"], ["A", "B"]),
        (["Player 1", "Player 2"], ["P1", "P2"]),
        (["Ann", "Abe"], ["1", "2"]),
    ],
)
def test_players_have_signs_of_their_own(names, signs):
    assert letters(names) == signs
