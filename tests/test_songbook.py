"""A songbook: reading on, the table against other counts, changes by hand, the order by all orders.

Sources: music21's own reading of files of its corpus; datasets/README.md; small sets worked by
hand; every permutation of small sets for the order.
"""

from __future__ import annotations

import functools
import random
import re
import shutil
import statistics
import warnings
from collections import Counter
from dataclasses import replace
from itertools import pairwise, permutations
from pathlib import Path

import matplotlib as mpl
import music21
import pandas as pd
import pytest
from corpus import CORPUS
from matplotlib.figure import Figure
from pictures import drawn, written
from songs import parts_of, with_setup
from songs import song as song_of

import arrange as ar
from arrange.__main__ import main
from arrange.clashes import GROUPS, KINDS
from arrange.guitar.necks import TUNINGS, parse_tuning, tuning_name
from arrange.plots import render_picture
from arrange.plots import songbook as picture
from arrange.report.studying import Study
from arrange.songbook import Songbook, book_findings, player_setups, write_songbook
from arrange.songbook.order import MOST_SETUPS
from arrange.theory.pitch import key_fifths

DATASETS = Path(__file__).parent.parent / "datasets"
HARBOUR = DATASETS / "harbour-set"
SET = [HARBOUR, DATASETS / "low-water.musicxml", DATASETS / "tarrow-weir.txt"]
PLAYERS = {"Guitar 1": "Corrie", "Guitar 2": "Tam", "Bass": "Isla"}
CHART = "title: {}\npart: Guitar 1\nsection: A\nGuitar 1 | 320003 |\n"


@pytest.fixture(scope="module")
def festival():
    """Return the demo set: four charts of a folder, then two songs."""
    return ar.read_songbook(SET, players=PLAYERS)


def with_setups(*songs, **more):
    """Return a book of songs a, b, ...; each a dict of player to (tuning, capo) or (..., drive)."""
    studies = {}
    for name, own in zip("abcdefghijklmnopqrstuvwxyz", songs, strict=False):
        setups = [(parse_tuning(tuning), *others) for tuning, *others in own.values()]
        parts = parts_of(
            *own,
            tuning=[each[0] for each in setups],
            capo=[each[1] for each in setups],
            drive=[each[2] if len(each) > 2 else "clean" for each in setups],
            **more,
        )
        studies[name] = Study(song_of(*((part, "C4", 0, 4) for part in own), parts=parts))
    return Songbook(studies)


# Reading -------------------------------------------------------------------------------------


def test_a_folder_is_read_in_the_order_of_its_names(tmp_path):
    """2 before 10; logs of decisions, hidden files, folders and other suffixes are no songs."""
    for name in ("10 last.txt", "2 second.txt", "1 first.txt"):
        (tmp_path / name).write_text(CHART.format(name[:-4]))
    (tmp_path / "1 first.decisions.txt").write_text("# nothing yet\n")
    (tmp_path / ".3 hidden.txt").write_text("no chart")
    (tmp_path / "cover.png").write_bytes(b"\x89PNG")
    (tmp_path / "old.txt").mkdir()
    book = ar.read_songbook(tmp_path)
    assert list(book.songs) == ["1 first", "2 second", "10 last"]
    assert book.faults.empty
    assert repr(book) == "<Songbook: 3 songs>"


def test_files_and_folders_keep_the_order_given(festival):
    assert list(festival.songs) == [
        "Rope and Lantern",
        "Salt on the Step",
        "Gulls over the Roofs",
        "Slack Tide",
        "Low Water at Ferrystone",
        "Down to Tarrow Weir",
    ]


def test_a_file_that_cannot_be_read_does_not_stop_the_others(tmp_path):
    """A row for each fault, with its place, what is wrong and what to do."""
    (tmp_path / "a.txt").write_text(
        "part: Guitar 1\nsection: A\nGuitar 1 | x32010 | 022000 mutd |\nGuitar 2 | x |\n"
    )
    (tmp_path / "b.txt").write_text(CHART.format("Good"))
    (tmp_path / "c.mid").write_bytes(b"MThd\0\0\0\6\0")
    (tmp_path / "d.musicxml").write_bytes(b"")
    (tmp_path / "e.xml").write_text("<html></html>")
    book = ar.read_songbook(tmp_path)
    assert list(book.songs) == ["Good"]
    assert set(book.faults["file"]) == {"a.txt", "c.mid", "d.musicxml", "e.xml"}
    first = book.faults.iloc[0]
    assert first["where"] == "line 3, column 28"
    assert first["what"].startswith("'mutd' is neither")
    assert first["to_do"] == "did you mean 'muted'?"
    empty = book.faults.set_index("file").loc["d.musicxml"]
    assert (empty["what"], empty["to_do"]) == ("the file is empty", "export it again")
    assert book.faults.ne("").drop(columns="where").all(axis=None)


def test_an_error_of_a_table_is_a_fault_too(monkeypatch):
    """All errors that the readers raise on purpose are faults; this one names no place."""

    def fail(_):
        raise ar.TableError("table 'notes', row 3: it begins before the row above it; sort it")

    monkeypatch.setattr("arrange.songbook.book.read", fail)
    book = ar.read_songbook(HARBOUR)
    assert not book.songs
    assert len(book.faults) == 4
    assert book.faults.iloc[0].tolist() == [
        "1-rope-and-lantern.txt", "", "table 'notes', row 3: it begins before the row above it",
        "sort it",
    ]  # fmt: skip


def test_many_faults_say_that_there_are_more(tmp_path):
    (tmp_path / "a.txt").write_text("part: Guitar 1\nsection: A\n" + "Guitar 1 | qq |\n\n" * 300)
    faults = ar.read_songbook(tmp_path).faults
    assert len(faults) > 1
    assert faults["what"].iloc[-1].startswith("...")


def test_a_missing_file_of_several_is_a_fault_and_a_missing_folder_an_error(tmp_path):
    book = ar.read_songbook([HARBOUR / "4-slack-tide.txt", tmp_path / "no.txt"])
    assert book.faults[["file", "what"]].to_numpy().tolist() == [
        ["no.txt", "there is no such file"]
    ]
    assert len(book.songs) == 1
    with pytest.raises(ar.ReadError, match="there is no such folder"):
        ar.read_songbook(tmp_path / "no")
    with pytest.raises(ar.ReadError, match="no song is in this folder; put files there"):
        ar.read_songbook(tmp_path)


def test_songs_of_one_title_get_different_names(tmp_path):
    for folder in ("x", "y", "z"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "a.txt").write_text(CHART.format("Reel"))
    book = ar.read_songbook([tmp_path / "x", tmp_path / "y", tmp_path / "z"])
    assert list(book.songs) == ["Reel", "Reel (a.txt)", "Reel (a.txt) 2"]


def test_players_are_named_where_the_file_does_not(festival):
    """Low Water names nobody; the charts name Corrie, Tam and Isla themselves."""
    assert festival.songs["Low Water at Ferrystone"].parts["player"].tolist()[1:] == [
        "Corrie", "Tam", "Isla",
    ]  # fmt: skip
    assert pd.isna(festival.songs["Low Water at Ferrystone"].parts["player"].iloc[0])
    other = ar.read_songbook(HARBOUR, players={"Guitar 1": "Nobody"})
    assert other.songs["Slack Tide"].parts["player"].tolist()[1] == "Corrie"


def test_the_log_beside_a_song_waives(tmp_path):
    path = tmp_path / "song.txt"
    shutil.copy(HARBOUR / "2-salt-on-the-step.txt", path)
    before = ar.songbook_table(ar.read_songbook(tmp_path)).iloc[0]
    crowded = int((ar.find_clashes(ar.read(path))["kind"] == "crowding").sum())
    meant = ar.Decision("crowded, and meant", "one wide guitar", waives="crowding")
    ar.record_decision(ar.decisions_path(path), meant, song=ar.read(path))
    book = ar.read_songbook(tmp_path)
    after = ar.songbook_table(book).iloc[0]
    assert crowded == 4
    assert before["findings"] - after["findings"] == crowded
    assert after["strongest"] == "voice"
    assert int(book_findings(book, grouped=False)["waived"].notna().sum()) == crowded
    log = ar.decisions_path(path)
    log.write_text(log.read_text().replace("why:", "because:", 1))
    again = ar.read_songbook(tmp_path)
    assert again.faults["file"].tolist() == ["song.decisions.txt"]
    assert ar.songbook_table(again).iloc[0]["findings"] == before["findings"]


# The table ----------------------------------------------------------------------------------


def test_the_demo_set_by_hand(festival):
    """Low Water as datasets/README.md describes it. Rope and Lantern: 35 bars of 4 at 112, 75 s.

    Salt: 28 bars of 4 at 76, 88.4 s. Gulls: 32 bars of 3 at 138, 41.7 s. Slack Tide: 20 bars of
    two at 58, 41.4 s.
    """
    table = ar.songbook_table(festival).set_index("song")
    low = table.loc["Low Water at Ferrystone"]
    assert low[["file", "duration", "keys", "meters", "tempos", "tunings", "capos"]].tolist() == [
        "low-water.musicxml", "3:30", "Bb major", "4/4, 6/8", "102, 96",
        "Corrie standard; Tam standard", "Corrie 0; Tam 3",
    ]  # fmt: skip
    assert low[["parts", "guitars", "sections", "findings"]].tolist() == [4, 2, 14, 23]
    seconds = [35 * 4 * 60 / 112, 28 * 4 * 60 / 76, 32 * 3 * 60 / 138, 20 * 2 * 60 / 58]
    assert table["seconds"].tolist()[:4] == pytest.approx(seconds)
    assert table["duration"].tolist()[:4] == ["1:15", "1:28", "0:41", "0:41"]
    assert table["tunings"].iloc[2] == "Corrie open G; Tam standard"
    assert table["capos"].iloc[3] == "Corrie 2; Tam 0"
    assert table["tempos"].iloc[3] == "87"
    assert table["keys"].iloc[5] == "D major, G major"


def test_findings_a_minute_are_those_of_each_song(festival):
    """Each song is asked separately, and findings are counted kind by kind."""
    for row in ar.songbook_table(festival).itertuples():
        song = festival.songs[row.song]
        found = ar.find_clashes(song)
        minutes = (song.measures["duration"] / song.measures["tempo"]).sum()
        counts = Counter(found["kind"])
        assert row.findings == len(found)
        assert row.findings_a_minute == pytest.approx(len(found) / minutes)
        for group in GROUPS:
            kinds = [name for name, kind in KINDS.items() if kind.group == group]
            own = getattr(row, f"{group}_a_minute")
            assert own == pytest.approx(sum(counts[kind] for kind in kinds) / minutes)
        worst = found.loc[found["severity"].idxmax()]
        assert (row.strongest, row.severity) == (worst["kind"], worst["severity"])


def test_the_table_of_songs_that_say_little():
    """The songs have no findings, no key, five tempos, or no guitar."""
    quiet = song_of(("Voice", "C4", 0, 4), tempo=[60.0, 90.0, 61.0, 62.0, 63.0], bars=5)
    row = ar.songbook_table(Songbook({"Quiet": Study(quiet)})).iloc[0]
    assert row[["keys", "tempos", "tunings", "capos", "strongest"]].tolist() == [
        "", "60 to 90", "", "", "",
    ]  # fmt: skip
    assert (row["findings"], row["findings_a_minute"], row["guitars"]) == (0, 0, 0)
    assert pd.isna(row["severity"])


def test_a_tempo_that_is_assumed_says_so():
    song = song_of(("Guitar", "C4", 0, 4), tempo=120.0, notices=("no tempo is given: 120 ...",))
    assert ar.songbook_table(Songbook({"a": Study(song)}))["tempos"].tolist() == ["120 assumed"]


def test_an_empty_book_has_empty_tables():
    book = Songbook({})
    tables = [ar.songbook_table(book), book_findings(book), ar.changes_between(book),
              player_setups(book)]  # fmt: skip
    assert all(table.empty and len(table.columns) for table in tables)
    assert ar.order_by_changes(book) is book


# Lengths that music21 gives otherwise than we, in quarter notes: both end in a bar that lacks the
# beat of the pickup, which we fill.
OTHERWISE = {"bwv111.6.mxl": 1.0, "bwv112.5.mxl": 1.0}


@pytest.mark.long
def test_chorales_and_quartets_against_music21():
    """Five files: how long, how many parts, which key signatures, meters and tempos.

    music21's parts may differ in length where a bar is short of a note; most of them count.
    """
    quartets = (
        "haydn/opus1no1/movement3",
        "mozart/k156/movement4",
    )
    files = [
        *sorted((CORPUS / "bach").glob("bwv1*.mxl"))[:3],
        *(CORPUS / f"{name}.mxl" for name in quartets),
    ]
    book = ar.read_songbook(files)
    table = ar.songbook_table(book)
    assert (len(table), len(book.faults)) == (5, 0)
    for path, row in zip(files, table.itertuples(), strict=True):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            score = music21.converter.parse(path, format="musicxml", forceSource=True)
            played = [part.expandRepeats() for part in score.parts]
        lengths = [float(part.duration.quarterLength) for part in played]
        marks = score.recurse().getElementsByClass("MetronomeMark")
        tempos = {mark.getQuarterBPM() for mark in marks} or {120.0}
        assert len(tempos) == 1
        quarters = statistics.mode(lengths) + OTHERWISE.get(path.name, 0.0)
        assert row.seconds == pytest.approx(quarters * 60 / tempos.pop()), path
        assert row.parts == len(score.parts)
        signs = played[0].recurse().getElementsByClass("KeySignature")
        assert list(dict.fromkeys(key_fifths(key) for key in row.keys.split(", "))) == list(
            dict.fromkeys(sign.sharps for sign in signs)
        )
        meters = played[0].recurse().getElementsByClass("TimeSignature")
        assert row.meters == ", ".join(dict.fromkeys(meter.ratioString for meter in meters))
        assert ("assumed" in row.tempos) == (len(marks) == 0)


def test_findings_of_all_songs_are_those_of_each(festival):
    every = book_findings(festival, grouped=False)
    assert every["severity"].is_monotonic_decreasing
    counts = every["song"].value_counts()
    for name, song in festival.songs.items():
        assert counts[name] == len(ar.find_clashes(song))
    rows = book_findings(festival)
    assert rows.columns[0] == "song"
    assert rows.groupby("song")["times"].sum().to_dict() == counts.to_dict()
    # The wrong third at the ninth fret of open G, against the whistle's G and the other guitar's,
    # in Second part and its repeat: with all that it does there, one row.
    third = rows[(rows["song"] == "Gulls over the Roofs") & (rows["kind"] == "third")]
    assert list(zip(third["parts"], third["times"], strict=True)) == [("Guitar 1 + Guitar 2", 8)]


# From song to song --------------------------------------------------------------------------


def test_changes_of_the_demo_set_by_hand(festival):
    """Drop D to standard: a string, two semitones. Standard to D G D G B D: three strings, to
    D A D G A D from there two, and so on; the capo beside it.
    """
    table = ar.changes_between(festival)
    steps = table[table["changes"] > 0]
    columns = ["song", "player", "strings_retuned", "semitones", "capo_moves"]
    assert [tuple(row) for row in steps[columns].itertuples(index=False)] == [
        ("Salt on the Step", "Corrie", 1, 2, 0),
        ("Salt on the Step", "Tam", 0, 0, 1),
        ("Gulls over the Roofs", "Corrie", 3, 6, 0),
        ("Gulls over the Roofs", "Tam", 0, 0, 1),
        ("Slack Tide", "Corrie", 2, 4, 1),
        ("Low Water at Ferrystone", "Corrie", 3, 6, 1),
        ("Low Water at Ferrystone", "Tam", 0, 0, 1),
        ("Down to Tarrow Weir", "Corrie", 3, 6, 0),
        ("Down to Tarrow Weir", "Tam", 0, 0, 1),
    ]
    assert table["changes"].sum() == 18
    what = steps.set_index(["song", "player"])["what"]
    assert what["Salt on the Step", "Corrie"] == "string 6 up 2, D2 to E2; edge to clean"
    assert what["Slack Tide", "Corrie"] == (
        "string 5 up 2, G2 to A2; string 2 down 2, B3 to A3; capo on at 2"
    )
    assert what["Gulls over the Roofs", "Tam"] == "capo off from 3"
    nothing = table[(table["changes"] == 0) & (table["drive_changes"] == 0)]
    assert set(nothing["what"]) == {"nothing"}


def test_who_lays_out_keeps_the_tuning():
    """Ann plays a and c: her change is listed before c, compared with a."""
    book = with_setups(
        {"Ann": ("standard", 0), "Ben": ("standard", 0)},
        {"Ben": ("standard", 2)},
        {"Ann": ("drop D", 0), "Ben": ("standard", 2)},
    )
    table = ar.changes_between(book)
    assert table[["before", "song", "player", "since", "changes"]].to_numpy().tolist() == [
        ["a", "b", "Ben", "a", 1],
        ["b", "c", "Ann", "a", 1],
        ["b", "c", "Ben", "b", 0],
    ]


def test_a_guitar_with_other_strings_is_another_neck():
    """Seven strings in b: nothing is retuned, and the six-string is still in drop D for c."""
    book = with_setups(
        {"Ann": ("drop D", 0)}, {"Ann": ("seven-string", 0)}, {"Ann": ("drop D", 2)}
    )  # fmt: skip
    table = ar.changes_between(book)
    assert table[["song", "since", "strings_retuned", "capo_moves"]].to_numpy().tolist() == [
        ["c", "a", 0, 1]
    ]


def test_a_change_within_a_song_stays_behind():
    """One player, two parts in a: standard first, drop D last; b in drop D asks for nothing."""
    parts = parts_of("One", "Two", tuning=[parse_tuning("standard"), parse_tuning("drop D")],
                     player=["Ann", "Ann"])  # fmt: skip
    a = song_of(("One", "C4", 0, 4), ("Two", "C4", 4, 4), parts=parts)
    b = song_of(("One", "C4", 0, 4), parts=parts.iloc[[1]].assign(part="One"))
    for songs, strings in (({"a": a, "b": b}, 0), ({"b": b, "a": a}, 1)):
        book = Songbook({name: Study(song) for name, song in songs.items()})
        assert ar.changes_between(book)["strings_retuned"].tolist() == [strings]


def test_only_what_sounds_and_has_strings_has_a_setup(festival):
    """Nobody plays a silent part; a guitar without a given tuning has the usual one."""
    parts = parts_of("Guitar", "Silent guitar", "Voice", "Bass")
    song = song_of(("Guitar", "C4", 0, 4), ("Voice", "C4", 0, 4), ("Bass", "C2", 0, 4), parts=parts)
    setups = player_setups(Songbook({"a": Study(song)}))
    assert setups[["part", "tuning"]].to_numpy().tolist() == [
        ["Guitar", parse_tuning("standard")], ["Bass", parse_tuning("bass")],
    ]  # fmt: skip
    own = player_setups(festival).query("song == 'Slack Tide' and part == 'Guitar 2'").iloc[0]
    assert (own["drive"], own["onset"]) == ("overdriven", 12.0)  # four bars of 3 quarters


def changing_inside(*sections):
    """A song of sections, one bar each, each with (capo, drive) of its one guitar."""
    labels = [(f"Part {number}", number) for number in range(1, len(sections) + 1)]
    made = song_of(("Ann", "C4", 0, 4 * len(sections)), sections=labels)
    made = replace(made, notes=song_of(
        *(("Ann", "C4", 4 * bar, 4) for bar in range(len(sections))), sections=labels
    ).notes)  # fmt: skip
    for (label, _), (capo, drive) in zip(labels, sections, strict=True):
        made = with_setup(made, "Ann", label, capo=capo, drive=drive)
    return made


@pytest.mark.long
def test_a_capo_that_moves_inside_a_song():
    """A song is begun with what its first section has and left with what its last one has."""
    calm, loud = "clean", "overdriven"
    songs = [
        changing_inside((0, calm)),
        changing_inside((0, calm), (2, calm), (2, loud), (4, calm)),
        changing_inside((4, calm), (0, loud), (4, calm)),
        changing_inside((0, calm)),
    ]
    book = Songbook({name: Study(each) for name, each in zip("abcd", songs, strict=True)})
    table = ar.changes_between(book)
    assert table["capo_moves"].tolist() == [0, 0, 1]
    assert table["drive_changes"].tolist() == [0, 0, 0]
    assert table["what"].tolist() == [
        "in the song: capo 2 before Part 2; overdriven before Part 3; capo 4 and clean before "
        "Part 4",
        "in the song: no capo and overdriven before Part 2; capo 4 and clean before Part 3",
        "capo off from 4",
    ]
    setups = player_setups(book)
    assert setups["capo"].tolist() == [0, 0, 4, 0]
    assert setups["inside"].tolist()[2] == (("Part 2", 0, loud), ("Part 3", 4, calm))
    assert ar.songbook_table(book)["capos"].tolist()[1:3] == ["Ann 0; Ann 2; Ann 4", "Ann 4; Ann 0"]
    # As given, the capo comes off behind c; played before b, d costs nothing.
    ordered = ar.order_by_changes(book)
    least = min(
        int(ar.changes_between(book.in_order(order))["changes"].sum())
        for order in permutations("abcd")
    )
    assert int(ar.changes_between(ordered)["changes"].sum()) == least == 0


def test_tunings_are_called_as_players_do():
    assert tuning_name(parse_tuning("drop D")) == "drop D"
    assert tuning_name(parse_tuning("half step down")) == "half step down"
    assert tuning_name(parse_tuning("E2 A2 D3 G3 B3 D4")) == "E2 A2 D3 G3 B3 D4"
    assert all(parse_tuning(tuning_name(parse_tuning(name))) == parse_tuning(name)
               for name in TUNINGS)  # fmt: skip


# The order ----------------------------------------------------------------------------------


strings = functools.cache(parse_tuning)


@functools.cache
def turns(tuning, other):
    """Return by how many semitones each string is turned."""
    return [abs(a - b) for a, b in zip(strings(tuning), strings(other), strict=True)]


def effort(songs):
    """Return changes and semitones of an order, slowly; songs are dicts of player to (tuning,
    capo).
    """
    changes = semitones = 0
    for player in {player for own in songs for player in own}:
        for (tuning, capo), (other, at) in pairwise(own[player] for own in songs if player in own):
            ways = turns(tuning, other)
            changes += sum(way > 0 for way in ways) + (capo != at)
            semitones += sum(ways)
    return changes, semitones


def random_set(seed, count=6):
    """Draw songs of up to three players who may rest, in a few tunings and capos."""
    chance = random.Random(seed)
    tunings = ["standard", "drop D", "modal D", "open G", "half step down"]
    return [
        {
            player: (chance.choice(tunings), chance.choice([0, 0, 2, 3]))
            for player in ("Ann", "Ben", "Cat")
            if chance.random() < 0.8
        }
        or {"Ann": ("standard", 0)}
        for _ in range(count)
    ]


@pytest.mark.sampled
@pytest.mark.parametrize("seed", range(3))
def test_no_order_has_fewer_changes(seed):
    """Against all 720 orders of six songs, free and with the ends held."""
    songs = random_set(seed)
    book = with_setups(*songs)
    by_name = dict(zip("abcdef", songs, strict=True))
    for first, last in ((None, None), ("c", None), (None, "b"), ("e", "a")):
        best = min(
            effort([by_name[name] for name in order])
            for order in permutations("abcdef")
            if first in (None, order[0]) and last in (None, order[-1])
        )
        found = ar.order_by_changes(book, first=first, last=last)
        order = list(found.songs)
        assert sorted(order) == list("abcdef")
        assert first in (None, order[0])
        assert last in (None, order[-1])
        table = ar.changes_between(found)
        assert (table["changes"].sum(), table["semitones"].sum()) == best
        assert effort([by_name[name] for name in order]) == best


@pytest.mark.long
def test_songs_of_few_setups_may_be_many():
    """By hand: 26 songs, by turns in standard, drop D and a capo at 2. Two changes are the least,
    since there are three setups; songs of one setup keep their order.
    """
    kinds = [("standard", 0), ("drop D", 0), ("standard", 2)]
    book = with_setups(*({"Ann": kinds[n % 3]} for n in range(26)))
    assert ar.changes_between(book)["changes"].sum() > 25
    found = ar.order_by_changes(book)
    assert ar.changes_between(found)["changes"].sum() == 2
    order = list(found.songs)
    for own in ("adgjmpsvy", "behknqtwz", "cfilorux"):
        start = order.index(own[0])
        assert "".join(order[start : start + len(own)]) == own


def test_an_order_as_good_as_any_stays():
    """b and d need the same setup; between them nobody changes anything in either order."""
    book = with_setups(
        {"Ann": ("standard", 0)}, {"Ben": ("standard", 2)}, {"Ann": ("standard", 0)}
    )  # fmt: skip
    assert ar.order_by_changes(book) is book
    assert list(ar.order_by_changes(book, last="a").songs)[-1] == "a"


def test_too_many_setups_are_refused_with_a_way_out():
    capos = [{"Ann": ("standard", capo)} for capo in range(MOST_SETUPS + 1)]
    with pytest.raises(ar.ArrangeError, match=r"ask for 13 different setups.*book\.in_order"):
        ar.order_by_changes(with_setups(*capos))
    assert len(ar.order_by_changes(with_setups(*capos[:-1])).songs) == MOST_SETUPS


def test_names_that_are_not_there_are_refused():
    book = with_setups({"Ann": ("standard", 0)}, {"Ann": ("standard", 2)})
    with pytest.raises(ar.ArrangeError, match="no song is called 'z'; there are a, b"):
        ar.order_by_changes(book, first="z")
    with pytest.raises(ar.ArrangeError, match="'a' cannot be first and last"):
        ar.order_by_changes(book, first="a", last="a")
    with pytest.raises(ar.ArrangeError, match="'a' stands twice"):
        book.in_order(["a", "b", "a"])
    assert list(book.in_order(["b"]).songs) == ["b"]


def test_an_order_keeps_what_was_measured(festival):
    """The studies stay with their songs, so that nothing is computed twice."""
    found = ar.order_by_changes(festival, last="Low Water at Ferrystone")
    assert list(found.songs)[-1] == "Low Water at Ferrystone"
    assert ar.changes_between(found)["changes"].sum() == 9
    assert all(found.studies[name] is study for name, study in festival.studies.items())


# The picture --------------------------------------------------------------------------------


def test_bars_are_the_findings_a_minute(festival):
    table = ar.songbook_table(festival)
    ax = ar.plot_songbook(table, ar.changes_between(festival))
    ends = dict.fromkeys(range(len(table)), 0.0)
    for group in GROUPS:
        (bars,) = drawn(ax, f"{group}_a_minute")
        for path in bars.get_paths():
            (left, right), (low, high) = ((v.min(), v.max()) for v in path.vertices.T)
            lane = int((low + high) / 2)
            assert left == pytest.approx(ends[lane])
            assert right - left == pytest.approx(table[f"{group}_a_minute"].iloc[lane])
            ends[lane] = right
    assert list(ends.values()) == pytest.approx(table["findings_a_minute"].tolist())
    assert written(ax, "song name") == table["song"].tolist()
    assert written(ax, "findings number")[4] == "6.5 register"
    assert written(ax, "song facts")[4] == "3:30 · Bb major · 102, 96"


def test_heavy_lines_lie_where_something_changes(festival):
    book = ar.order_by_changes(festival)
    ax = ar.plot_songbook(ar.songbook_table(book), ar.changes_between(book))
    assert [line.get_ydata()[0] for line in drawn(ax, "no change")] == [1]
    assert [line.get_ydata()[0] for line in drawn(ax, "change")] == [2, 3, 4, 5]
    assert written(ax, "change text")[0] == "Corrie 1 string; Tam capo"
    said = " ".join(text.get_text() for text in ax.texts)
    assert "in all 5 strings retuned and 4 capo moves" in said
    bare = ar.plot_songbook(ar.songbook_table(book))
    assert not drawn(bare, "change")


@pytest.mark.sampled
@pytest.mark.parametrize("count", [1, 3, 25])
def test_nothing_is_clipped(count, festival):
    """Long names with signs of their own, many songs, eight players."""
    row = ar.songbook_table(festival).iloc[[5]]
    table = pd.concat([row] * count, ignore_index=True)
    table["song"] = [f"The $x_1$ Reel of the Long Harbour Wall {n}" for n in range(count)]
    changes = pd.concat(
        [
            pd.DataFrame({"song": table["song"], "player": f"Somebody with a name {n}",
                          "strings_retuned": 3, "capo_moves": 1, "changes": 4})
            for n in range(8)
        ]
    )  # fmt: skip
    ax = ar.plot_songbook(table, changes)
    figure = ax.get_figure()
    figure.canvas.draw()
    box, (wide, high) = figure.get_tightbbox(), figure.get_size_inches()
    assert max(-box.x0, -box.y0, box.x1 - wide, box.y1 - high) < 0.01
    assert set(written(ax, "change text")) <= {"8 players: 24 strings, 8 capos"}
    boxes = [text.get_window_extent() for text in drawn(ax, "song name") + drawn(ax, "song facts")]
    ordered = sorted(boxes, key=lambda box: box.y0)
    assert all(below.y1 <= above.y0 + 1 for below, above in pairwise(ordered))
    assert b"<svg" in render_picture(ax)


def test_a_picture_of_nothing_says_so_and_of_something_else_is_refused(festival):
    ax = ar.plot_songbook(ar.songbook_table(Songbook({})))
    assert "No songs here." in [text.get_text() for text in ax.texts]
    quiet = Songbook({"a": Study(song_of(("Voice", "C4", 0, 4)))})
    assert written(ar.plot_songbook(ar.songbook_table(quiet)), "findings number") == ["0.0"]
    with pytest.raises(ar.TableError, match="a songbook's table lacks"):
        ar.plot_songbook(book_findings(festival))
    own = Figure(figsize=(8, 5)).subplots()
    assert ar.plot_songbook(ar.songbook_table(festival), ax=own) is own


def test_looks_differ_in_grey():
    """Lightness of the faces, ITU-R BT.601 weights: apart by a tenth or more, one has a pattern."""

    def light(color):
        red, green, blue = mpl.colors.to_rgb(color)
        return 0.299 * red + 0.587 * green + 0.114 * blue

    faces = sorted(light(face) for _, _, face, _ in picture._GROUPS)
    assert all(b - a > 0.1 for a, b in pairwise(faces))
    assert [bool(hatch) for *_, hatch in picture._GROUPS] == [False, False, True]


# The page and the command -------------------------------------------------------------------


def test_the_command_writes_page_and_tables(tmp_path, capsys):
    folder = tmp_path / "book"
    arguments = [*map(str, SET), "--player", "Guitar 1=Corrie", "--player", "Guitar 2 = Tam"]
    assert main(["songbook", *arguments, "-o", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith("6 songs, 18 changes of strings and capos.\n")
    names = [f"{name}.{kind}" for name in ("songbook", "findings", "changes", "setups", "faults")
             for kind in ("csv", "parquet")]  # fmt: skip
    assert sorted(path.name for path in folder.rglob("*.*")) == sorted(["report.html", *names])
    table = pd.read_csv(folder / "tables" / "songbook.csv")
    assert table["findings"].tolist() == [33, 8, 32, 4, 23, 15]
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "9 instead of 18" in " ".join(page.split())
    bare = re.sub(r'(?s)<metadata>.*?</metadata>|\sxmlns(:\w+)?="[^"]*"', "", page)
    assert "://" not in bare
    assert "<script" not in page
    assert page.count("<html") == page.count("</html>") == 1


def test_the_command_reports_faults_and_goes_on(tmp_path, capsys):
    (tmp_path / "a.txt").write_text("part: Guitar 1\nsection: A\nGuitar 1 | 9 9 |\n")
    (tmp_path / "b.txt").write_text(CHART.format("<b>Good & plain</b>"))
    out = tmp_path / "out"
    assert main(["songbook", str(tmp_path), "-o", str(out)]) == 0
    printed, err = capsys.readouterr()
    assert err.startswith("not read: a.txt, line ")
    assert printed.startswith("1 song, 0 changes")
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "What could not be read" in page
    assert "&lt;b&gt;Good &amp; plain&lt;/b&gt;" in page
    assert "Nobody changes anything" in page


def test_the_command_stops_where_there_is_nothing(tmp_path, capsys):
    (tmp_path / "a.txt").write_text("no chart")
    out = tmp_path / "out"
    assert main(["songbook", str(tmp_path), "-o", str(out)]) == 2
    assert "no song could be read, so nothing was written" in capsys.readouterr().err
    assert not out.exists()
    assert main(["songbook", str(HARBOUR), "--player", "Corrie", "-o", str(out)]) == 2
    assert "write PART=NAME" in capsys.readouterr().err
    (tmp_path / "file").write_text("")
    assert main(["songbook", str(HARBOUR), "-o", str(tmp_path / "file")]) == 2
    assert "is a file" in capsys.readouterr().err


@pytest.mark.long
def test_a_page_of_too_many_setups_says_so(tmp_path):
    capos = [{"Ann": ("standard", capo)} for capo in range(MOST_SETUPS + 1)]
    page = write_songbook(with_setups(*capos), tmp_path / "book")
    assert "too many different setups" in page.read_text(encoding="utf-8")


# The demo set -------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted(HARBOUR.glob("*.txt")), ids=lambda path: path.stem)
def test_the_charts_come_back_and_can_be_played(path, tmp_path):
    song = ar.read(path)
    assert song.notices == ()
    ar.write_chart(song, tmp_path / path.name)
    again = ar.read(tmp_path / path.name)
    columns = ["part", "onset", "duration", "pitch", "string", "fret"]
    for name in ("parts", "measures", "chords"):
        pd.testing.assert_frame_equal(getattr(song, name), getattr(again, name))
    pd.testing.assert_frame_equal(song.notes[columns], again.notes[columns])
    for part in ("Guitar 1", "Guitar 2"):
        assert ar.finger_part(song, part)["problem"].isna().all()


def test_chords_hold_what_their_symbols_say():
    """Each guitar's notes belong to the current chord, except for one mistake made on purpose: in
    Gulls over the Roofs the ninth fret of open G is E major against an Em.
    """
    strange = set()
    for path in sorted(HARBOUR.glob("*.txt")):
        song = ar.read(path)
        guitars = song.notes[song.notes["part"].str.startswith("Guitar")]
        place = song.chords["onset"].searchsorted(guitars["onset"], side="right") - 1
        for note, row in zip(guitars.itertuples(), place, strict=True):
            chord = song.chords.iloc[row]
            if int(note.pitch) % 12 not in chord["pitch_classes"]:
                strange.add((song.title, note.part, chord["symbol"], int(note.pitch) % 12))
    assert strange == {("Gulls over the Roofs", "Guitar 1", "Em", 8)}


def test_replace_keeps_a_book_whole(festival):
    """Faults stay with the book in another order."""
    book = replace(festival, faults=pd.DataFrame({"file": ["x"]}))
    assert ar.order_by_changes(book).faults["file"].tolist() == ["x"]
