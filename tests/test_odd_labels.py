"""A song whose labels contain characters that lists and tables use gives the same as plain labels.

The same notes under plain labels are the comparison: results are equal after renaming.
"""

from __future__ import annotations

import html
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from songs import many_guitars

import arrange as ar
from arrange.__main__ import main
from arrange.decisions.log_text import format_decision, parse_decisions
from arrange.exercises.making import KINDS
from arrange.findings import parse_waiver
from arrange.live.results_cache import first_place
from arrange.text.part_lists import join_parts, quoted

# Kinds that the small song below may give no exercise of.
NOT_ASKED = {"fix it on the neck", "which capo"}
ODD = {  # in the order of the plain labels, which decides between equal results
    "Guitar 1": '"Ann" and I',
    "Guitar 2": "A+B",
    "Guitar 3": "Clean + Chorus",
    "Guitar 5": 'Say "when"',
}
VERY_ODD = ("a, b", "a; b", "a: b", "a = b", "a | b", "spans: a, 1-2", "a\\new", "a\\p", "end: a",
            "# a", "Gitarre ½ — ‘é’ \u2028 b", "\u202eabc", "🎸")  # fmt: skip


def relabelled(song, labels):
    """Return the song with other labels."""
    tables = {
        name: table.assign(part=table["part"].replace(labels).astype(table["part"].dtype))
        for name, table in (("parts", song.parts), ("notes", song.notes))
    }
    return replace(song, **tables)


def plain(value):
    """Return a result with the plain labels instead of the odd ones; for a table, its rows in
    order.
    """
    if isinstance(value, pd.DataFrame):
        return sorted(repr([plain(each) for each in row]) for row in value.itertuples(index=False))
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, str):
        for label, odd in ODD.items():
            value = value.replace(quoted(odd), label).replace(odd, label)
    return value


@pytest.fixture(scope="module")
def songs():
    """Return the song with plain labels, and with odd ones."""
    usual = many_guitars(5, 12)
    return usual, relabelled(usual, ODD)


@pytest.fixture(scope="module")
def found(songs):
    """Return the findings of both songs."""
    return [ar.find_clashes(song) for song in songs]


@pytest.fixture(scope="module")
def odd_file(songs, tmp_path_factory):
    """Write the song with odd labels to a file in a folder of its own; return its name."""
    path = tmp_path_factory.mktemp("odd") / "odd.musicxml"
    ar.write_musicxml(songs[1], path)
    return path


def test_findings_and_what_one_does_with_them(songs, found):
    usual, odd = found
    assert len(usual) > 15
    assert plain(odd) == plain(usual)
    assert {*ODD.values(), "Guitar 4"} == {each for own in odd["parts"].map(ar.split_parts)
                                           for each in own}  # fmt: skip
    assert plain(ar.group_findings(odd, songs[1])) == plain(ar.group_findings(usual, songs[0]))
    for label in usual.index:
        notes = [
            ar.finding_notes(song, table.loc[label])
            for song, table in zip(songs, found, strict=True)
        ]
        assert plain(notes[1]) == plain(notes[0])
    for label in usual.index[::40]:
        moves = [
            ar.smallest_moves(song, table.loc[label])
            for song, table in zip(songs, found, strict=True)
        ]
        assert plain(moves[1]) == plain(moves[0])


@pytest.mark.long
def test_proposals(songs):
    parts = ("Guitar 3", "Guitar 1"), ("Clean + Chorus", '"Ann" and I')
    texts = []
    for song, (first, second) in zip(songs, parts, strict=True):
        ideas = ar.revoice(song, first, measures=(1, 4))
        assert ideas
        ideas += ar.revoice_pair(song, (first, second), measures=(1, 4))
        assert len(ideas) > 1
        texts.append([plain([each.idea, each.why, each.cost, each.ended, each.brought])
                     for each in ideas])  # fmt: skip
    assert texts[1] == texts[0]


def test_condensing(songs):
    usual, odd = (ar.condense(song, ["Cora", "Dan"]) for song in songs)
    for name in ("choices", "lost", "alternatives", "roles"):
        assert plain(getattr(odd, name)) == plain(getattr(usual, name)), name
    assert odd.value == usual.value


def test_waivers_by_call_and_in_words(found):
    row = next(row for row in found[1].itertuples() if row.parts.startswith('"Clean + Chorus" + '))
    waiver = ar.Waiver("W1", "meant", kind=row.kind, parts=tuple(ar.split_parts(row.parts)))
    waived = ar.waive(found[1], [waiver])["waived"].notna()
    same = (found[1]["parts"] == row.parts) & (found[1]["kind"] == row.kind)
    assert waived.tolist() == same.tolist()
    assert parse_waiver(f"{waiver}; reason=meant", "W1") == waiver
    with pytest.raises(ar.ArrangeError, match="covers no finding"):
        ar.waive(found[1], [ar.Waiver("W1", "Chorus is no part", parts=("Chorus",))])


@pytest.mark.parametrize("label", [*VERY_ODD, *ODD.values(), 'a; "b"', '="'])
def test_a_waiver_and_a_decision_survive_any_label(label):
    waiver = ar.Waiver("W1", "meant", parts=(label, "Bass"), section=label)
    assert parse_waiver(f"{waiver}; reason=meant", "W1") == waiver
    decision = ar.Decision("up", "air", id="d1", parts=(label, "Guitar 2"),
                           spans=((label, 1, 4),))  # fmt: skip
    assert parse_decisions(format_decision(decision)) == ([decision], [], [])


@pytest.mark.sampled
@pytest.mark.parametrize("label", [*VERY_ODD, *ODD.values()])
def test_a_log_builds_the_arrangement_again_whatever_the_label(label, tmp_path):
    song = relabelled(many_guitars(2, 4), {"Guitar 1": label})
    own = song.notes["part"] == label
    louder = song.parts.assign(level=song.parts["level"] - (song.parts["part"] == label))
    higher = song.notes.assign(pitch=song.notes["pitch"] + 12.0 * own)
    arranged = replace(song, parts=louder, notes=higher)
    log = tmp_path / "song.decisions.txt"
    up = ar.Decision("up", "air", parts=[label])
    ar.record_decision(log, up, song=song, arrangement=arranged)
    (decision,) = ar.read_decisions(log).decisions
    assert decision.parts == (label,)
    built = ar.rebuild(song, ar.read_decisions(log))
    assert not built.stale
    assert plain(built.song.notes) == plain(arranged.notes)
    assert plain(built.song.parts) == plain(arranged.parts)
    gone = replace(song, parts=song.parts[song.parts["part"] != label], notes=song.notes[~own])
    ar.record_decision(log, ar.Decision("out", "space"), song=song, arrangement=gone)
    assert ar.read_decisions(log).decisions[1].change.removed == (label,)


@pytest.mark.long
def test_exercises(songs):
    usual, odd = (ar.make_exercises(song, 1, "middle") for song in songs)
    assert [each.kind for each in odd] == [each.kind for each in usual]
    missing = {*KINDS} - {each.kind for each in usual}
    assert missing <= NOT_ASKED, "make it of this song too, or name it in NOT_ASKED"
    for one, other in zip(usual, odd, strict=True):
        assert plain(other.question) == one.question
        assert plain(list(other.choices)) == list(one.choices)
        assert plain(other.hints) == [*one.hints]
        reply = ar.check_answer(other, other.answer)
        assert reply.right
        assert plain(reply.text) == ar.check_answer(one, one.answer).text
        for answer in (f"“{other.answer}”", other.answer.lower(), f" '{other.answer}' "):
            assert ar.check_answer(other, answer).right, (other.question, answer)
        wrong = ar.check_answer(other, "busy"), ar.check_answer(one, "busy")
        assert plain(wrong[0].text) == wrong[1].text


def test_an_answer_that_is_a_choice_is_no_letter():
    """A layer named B among three with other names is the layer, not the letter of a choice."""
    song = relabelled(many_guitars(5, 16), {f"Guitar {n}": "EDCBA"[n - 1] for n in range(1, 6)})
    for seed in range(1, 4):
        (exercise,) = ar.make_exercises(song, seed, "small", ["which layer can go"])
        assert ar.check_answer(exercise, exercise.answer).right


def written_in(ax):
    """Return all texts of a picture."""
    figure = ax.figure if hasattr(ax, "figure") else ax
    return [text.get_text() for each in figure.axes
            for text in [*each.texts, *each.get_yticklabels()]]  # fmt: skip


@pytest.mark.long
def test_pictures(songs, found):
    onset, parts = next((row.onset, row.parts) for row in found[1].itertuples()
                        if '"Clean + Chorus"' in row.parts)  # fmt: skip
    texts = []
    for song, own in zip(songs, (plain(parts), parts), strict=True):
        axes = [
            ar.plot_overlap(song),
            ar.plot_sonority(song),
            ar.plot_hearing(song, onset, ar.split_parts(own)),
            ar.plot_layers(song, ar.condense(song, 2).choices),
        ]
        texts.append(sorted(plain(text) for ax in axes for text in written_in(ax)))
    assert texts[1] == texts[0]
    assert any("Guitar 3" in text for text in texts[0])


def test_the_picture_of_findings_names_parts(songs, found):
    """Which bars are labelled depends on the space; the labels are those of parts."""
    texts = written_in(ar.plot_clashes(found[1], songs[1]))
    named = {each for text in texts for each in ar.split_parts(re.sub(r" and \d+ more$", "", text))}
    assert named & {*ODD.values()}
    assert not named & {"Clean", '"Clean', "Chorus", 'Chorus"'}


def test_sound_and_where_the_live_view_begins(songs, found):
    label = next(row.Index for row in found[1].itertuples() if '"Clean + Chorus"' in row.parts)
    usual, odd = (
        ar.finding_sound(song, table.loc[label]) for song, table in zip(songs, found, strict=True)
    )
    assert np.array_equal(usual.samples, odd.samples)
    places = [
        first_place(song, table, None, None) for song, table in zip(songs, found, strict=True)
    ]
    assert plain(places[1]) == [*places[0]]


@pytest.mark.parametrize("suffix", [".musicxml", ".mid", ".txt"])
def test_labels_survive_every_format(songs, tmp_path, suffix):
    path = tmp_path / f"odd{suffix}"
    {".musicxml": ar.write_musicxml, ".mid": ar.write_midi, ".txt": ar.write_chart}[suffix](
        songs[1], path
    )
    assert set(ar.read(path).parts["part"]) == {*ODD.values(), "Guitar 4"}


@pytest.mark.parametrize("label", VERY_ODD)
def test_a_chart_keeps_a_label_or_refuses_it_in_a_sentence(label, tmp_path):
    song = relabelled(many_guitars(2, 4), {"Guitar 1": label})
    path = tmp_path / "odd.txt"
    try:
        ar.write_chart(song, path)
    except ar.ArrangeError as error:
        assert "rename the part" in str(error)  # noqa: PT017
        assert not path.exists()
    else:
        assert ar.read(path).parts["part"].tolist() == [label, "Guitar 2"]


def test_study_shows_the_labels(odd_file, found, tmp_path, capsys):
    parts = next(own for own in found[1]["parts"] if own.startswith('"Clean + Chorus" + '))
    waiver = f"parts={parts}; reason=two as one"
    arguments = ["study", str(odd_file), "-o", str(tmp_path), "--octave", "A+B=-1"]
    assert main([*arguments, "--waive", waiver]) == 0
    page = html.unescape((tmp_path / "report.html").read_text(encoding="utf-8"))
    for label in ODD.values():
        assert label in page
    assert "of them waived" in capsys.readouterr().out
    waivers = ar.read_waivers(tmp_path / "tables" / "waivers.csv")
    assert waivers[0].parts == tuple(ar.split_parts(parts))


def test_a_report_marks_what_a_decision_is_about(songs, tmp_path):
    """A decision for one part of a finding stands beside it."""
    log = tmp_path / "log.txt"
    thinner = ar.Decision("thin out", "air", parts=["Clean + Chorus"])
    decision = ar.record_decision(log, thinner, song=songs[1])
    page = ar.Study(songs[1], log=ar.read_decisions(log))._repr_html_()
    assert page.count(decision.id) > 1


@pytest.mark.long
def test_commands(odd_file, tmp_path, capsys):
    odd = str(odd_file)
    assert main(["revoice", odd, "--part", "Clean + Chorus", "--section", "Verse 1"]) == 0
    assert "1. " in capsys.readouterr().out
    pins = ["--pin", 'Ann; Verse 1; "Clean + Chorus" + A+B', "--forbid", 'any; any; "Say ""when"""']
    target = str(tmp_path / "two.musicxml")
    people = ["--player", "Ann: fingers", "--player", '"Ben, too"']
    assert main(["condense", odd, *people, *pins, "-o", target]) == 0
    assert "Ben, too" in capsys.readouterr().out
    choices = pd.read_csv(tmp_path / "two.choices.csv").fillna("")
    first = choices[(choices["player"] == "Ann") & (choices["section"] == "Verse 1")]
    assert sorted(ar.split_parts(first["layers"].iloc[0])) == ["A+B", "Clean + Chorus"]
    assert not any('Say "when"' in ar.split_parts(each) for each in choices["layers"])
    sheets = ["--player", "Clean + Chorus", "--player", '"Ann" and I', "-o", str(tmp_path / "s")]
    assert main(["handout", odd, *sheets]) == 0
    sound = ["--part", "A+B", "--part", "Clean + Chorus", "--measures", "1", "-o"]
    assert main(["listen", odd, *sound, str(tmp_path / "a.wav")]) == 0
    book = ["--player", "Clean + Chorus=Ann", "--player", "A+B=Ben", "-o", str(tmp_path / "b")]
    assert main(["songbook", odd, *book]) == 0
    assert main(["workshop", odd, "-o", str(tmp_path / "w")]) == 0
    target = str(tmp_path / "again.musicxml")
    log = tmp_path / "log.txt"
    song = ar.read(odd_file)
    up = ar.Decision("up", "air", parts=["Clean + Chorus", "A+B"])
    ar.record_decision(log, up, song=song)
    assert main(["rebuild", odd, "--decisions", str(log), "-o", target]) == 0
    assert ar.read(target).parts["part"].tolist() == song.parts["part"].tolist()


def test_joined_labels_in_tables_are_split_by_the_public_name():
    assert ar.split_parts(join_parts(ODD.values())) == [*ODD.values()]
