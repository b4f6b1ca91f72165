"""Players and their gear: reading gear from a line, and condensing within it."""

import re
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
from songs import parts_of, song

import arrange as ar
from arrange.__main__ import main
from arrange.condensing import Weights
from arrange.condensing.plan_by_hand import every_untried, plan_by_hand, with_tried
from arrange.condensing.returns import Returns
from arrange.guitar.players import format_player, nearest_drive, read_player

DATASETS = Path(__file__).parent.parent / "datasets"


@pytest.mark.parametrize(
    ("line", "capos", "sounds", "echo"),
    [
        ("Ann", None, ("clean", "edge", "overdriven", "distorted"), True),
        ("Ann: electric; capo none or 4; clean, overdriven; echo", (0, 4), ("clean", "overdriven"),
         True),
        ("Ann: acoustic guitar; capo 2", (2,), ("clean",), False),
        ("Ann: distorted, clean; no echo", None, ("clean", "distorted"), False),
        ("Ann; acoustic; capo none or 2", (0, 2), ("clean",), False),
        ("Ann: capo 0, 2 or 5", (0, 2, 5), ("clean", "edge", "overdriven", "distorted"), True),
    ],
)  # fmt: skip
def test_a_player_is_read(line, capos, sounds, echo):
    """A property that is not stated is that of the instrument: an acoustic guitar is clean (common
    practice).
    """
    player = read_player(line)
    assert (player.name, player.capos, player.sounds, player.echo) == ("Ann", capos, sounds, echo)


def test_a_tuning_is_read_by_name_and_by_notes():
    """Standard tuning with the lowest string a tone down is drop D (common practice)."""
    by_name = read_player("Ann: drop D tuning").neck
    assert by_name == read_player("Ann: tuning D2 A2 D3 G3 B3 E4").neck == ar.Neck("drop D")


def test_a_name_may_hold_any_sign():
    """A name in double quotes may hold any character, as labels may elsewhere."""
    player = read_player('"Ann: the second; left": clean')
    assert (player.name, player.sounds) == ("Ann: the second; left", ("clean",))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("Ann: elctric", "'elctric' is not understood; did you mean 'electric'"),
        ("Ann: capo x", "'capo x': write 'capo none'"),
        ("Ann: capo none or", "'capo none or': write 'capo none', 'capo 2' or 'capo none, 2 or 4'"),
        ("Ann; capo or 2", "'capo or 2': write 'capo none'"),
        ("Ann; capo 2 or or 4", "'capo 2 or or 4': write 'capo none'"),
        ("Ann; capo", "'capo': write 'capo none'"),
        ("Ann; open q tuning", "'open q'"),
        ("Ann; opn a tuning", "did you mean 'open A'"),
        ("Ann; loud", "write what they have, 'electric; standard tuning; capo none or 4"),
        ("Ann: capo 40", "a capo at 40; a capo is none (0) or from 1 to 24"),
        ("Ann: Ben: clean", "'Ben' is not understood; write what they have, 'electric"),
        ("Ann; Ben; clean", "a name that holds : or ; in double quotes"),
        ("Ann; clean; edge", "'edge' says anew what stands before it; leave one out"),
        (": clean", "a player has no name"),
        ("Ann: drop Q tuning", "drop Q"),
    ],
)
def test_what_is_not_understood_is_named(line, said):
    """The error is one sentence that says what would be right."""
    with pytest.raises(ar.ArrangeError, match=re.escape(said)):
        read_player(line)


@pytest.mark.parametrize(
    ("line", "place"),
    [("; clean", 0), ("Ann; loud", 5), ("Ann;clean;  capo 40", 12), ("Ann: clean; capo x", 12)],
)
def test_what_is_not_understood_has_its_place(line, place):
    """Counted from 0 in the line."""
    with pytest.raises(ar.PlayerError) as caught:
        read_player(line)
    assert caught.value.offset == place


@pytest.mark.parametrize(
    ("player", "line"),
    [
        (ar.Player("Ann"), "Ann"),
        (ar.Player("A: b", capos=(0, 4), echo=False), '"A: b"; capo none or 4; no echo'),
        (ar.Player("Ann", ar.Neck("drop D"), sounds=("clean", "edge")),
         "Ann; drop D tuning; clean, edge"),
        (ar.Player("Ann", sounds=("clean",), echo=False, instrument="acoustic guitar"),
         "Ann; acoustic guitar"),
        (ar.Player("Ann", sounds=("clean", "edge"), instrument="classical guitar"),
         "Ann; classical guitar; clean, edge; echo; pick"),
        (ar.Player("Ann", ar.Neck("D2 A2 C3 G3"), capos=(1, 2, 5)),
         "Ann; tuning D2 A2 C3 G3; capo 1, 2 or 5"),
    ],
)  # fmt: skip
def test_a_player_is_written_and_read_again(player, line):
    """What a line holds comes back as it was."""
    assert format_player(player) == line
    assert read_player(line) == player


def test_a_capo_that_stays_on_is_written():
    """A neck with its capo is a player who uses that one."""
    line = format_player(ar.Player("Ann", ar.Neck(capo=3)))
    assert line == "Ann; standard tuning; capo 3"


def test_a_song_names_its_players():
    """Each once."""
    named = replace(song(("G", "C4", 0, 4)), players=("Ann; acoustic", "Ben: clean; no echo"))
    assert [(each.name, each.sounds) for each in ar.song_players(named)] == [
        ("Ann", ("clean",)),
        ("Ben", ("clean",)),
    ]
    with pytest.raises(ar.ArrangeError, match="a player is called 'Ann' already"):
        ar.song_players(replace(named, players=("Ann", "Ann: clean")))


@pytest.mark.parametrize(
    ("sounds", "drive", "nearest"),
    [
        (("clean", "distorted"), "edge", "clean"),
        (("clean", "distorted"), "overdriven", "distorted"),
        (("edge",), "distorted", "edge"),
        (("clean", "overdriven"), "edge", "clean"),  # of two equally near, the weaker
    ],
)
def test_the_nearest_drive(sounds, drive, nearest):
    """By the order clean, edge, overdriven, distorted (common practice)."""
    assert nearest_drive(sounds, drive) == nearest


def two_layers():
    """Return a driven line with an echo over clean chords: a section each, then both."""
    line = [("Line", 76 + step, bar * 4 + beat, 1.0) for bar in (0, 2) for beat, step in
            enumerate((0, 3, 5, 7))]  # fmt: skip
    chords = [("Chords", "E3 B3 E4", bar * 4.0, 4.0) for bar in (1, 2)]
    parts = parts_of("Line", "Chords", drive=["distorted", "clean"], echo=["eighth", None])
    return song(
        *line, *chords, parts=parts, bars=3, sections=[("Solo", 1), ("Verse", 2), ("Both", 3)]
    )


def test_nothing_is_asked_that_a_player_does_not_have():
    """Sounds, echo and capo of the result are the players' own, and what is missing is reported."""
    ann = ar.Player("Ann", capos=(2,), sounds=("clean", "edge"), echo=False)
    ben = ar.Player("Ben", capos=(0,), sounds=("clean",))
    found = ar.condense(two_layers(), [ann, ben])
    rows = found.choices[found.choices["layers"] != ()]
    for row in rows.itertuples():
        player = {"Ann": ann, "Ben": ben}[row.player]
        assert row.drive in player.sounds
        assert row.capo in player.capos
        assert player.echo or row.echo is None or row.echo != row.echo
    parts = found.song.parts.set_index("part")
    assert parts["capo"].loc[["Ann", "Ben"]].tolist() == [2, 0]
    played = rows[["Line" in layers for layers in rows["layers"]]]
    assert played["reason"].str.contains("recorded distorted, played ").all()
    without = played[played["player"] == "Ann"]
    assert without["reason"].str.contains("without its echo, which Ann does not have").all()


def test_a_layer_goes_to_the_player_who_has_its_sound():
    """Of two layers that differ only in sound, the driven one goes to the player who has a
    drive.
    """
    clean = ar.Player("Clean", sounds=("clean",), echo=False)
    driven = ar.Player("Driven", sounds=("distorted",), echo=True)
    for players in ([clean, driven], [driven, clean]):
        choices = ar.condense(two_layers(), players).choices
        both = choices[choices["section"] == "Both"].set_index("player")["layers"]
        assert both.to_dict() == {"Clean": ("Chords",), "Driven": ("Line",)}


def test_the_result_with_gear_is_the_best_of_all():
    """No way of sharing the layers, put in by hand, has a higher value."""
    players = [
        ar.Player("A", capos=(0, 3), sounds=("clean",), echo=False),
        ar.Player("B", capos=(0,), sounds=("overdriven", "distorted")),
    ]
    whole = two_layers()
    found = ar.condense(whole, players)
    assert found.is_proven
    options = [(), ("Line",), ("Chords",), ("Line", "Chords")]
    alone = {"Solo": ("Line",), "Verse": ("Chords",)}  # somebody has to play it
    known = with_tried(found.known, every_untried(found.known))
    names = known.problem.recorded.names
    values = []
    for ways in product(options, repeat=6):
        pins = [
            (name, section, taken)
            for (section, name), taken in zip(
                product(("Solo", "Verse", "Both"), ("A", "B")), ways, strict=True
            )
        ]
        taken_by = {section: {a[2] for a in pins if a[1] == section} for section in alone}
        if any(taken_by[section] != {(), own} for section, own in alone.items()):
            continue
        silent = {"Solo": "Chords", "Verse": "Line"}
        if any(silent.get(section) in taken for _, section, taken in pins):
            continue
        twice = [set(a[2]) & set(b[2]) for a, b in zip(pins[::2], pins[1::2], strict=True)]
        if any(twice):
            continue
        plan = tuple(
            tuple(tuple(sorted(map(names.index, taken))) for _, _, taken in pins[at : at + 2])
            for at in (0, 2, 4)
        )
        by_hand = plan_by_hand(known.problem, Returns(known.problem, 2), plan)
        if not by_hand.troubles:  # the lead is left out, or no hand can hold it
            values.append(by_hand.plan.value)
    assert max(values) == pytest.approx(found.value)
    assert len(values) > 5


def test_all_sounds_cost_what_no_gear_costs():
    """A player who has everything costs the same as a player without stated gear."""
    made = two_layers()
    plain = ar.condense(made, ["Ann", "Ben"])
    given = ar.condense(made, [read_player("Ann"), read_player("Ben: electric guitar")])
    assert plain.value == given.value
    assert plain.choices.equals(given.choices)
    free = Weights(other_sound=0.0, lost_echo=0.0)
    poor = [ar.Player(name, sounds=("clean",), echo=False) for name in ("Ann", "Ben")]
    assert ar.condense(made, poor).value < ar.condense(made, poor, weights=free).value


def test_a_capo_that_is_not_the_recordings_is_said():
    """If the recording's capo is not kept, the result says so."""
    last_bell = ar.read(DATASETS / "last-bell.musicxml")
    players = [ar.Player("Ann", capos=(0,)), ar.Player("Ben", capos=(0,))]
    choices = ar.condense(last_bell, players).choices
    rhythm = choices[[layers == ("Rhythm",) for layers in choices["layers"]]]
    assert len(rhythm)
    assert rhythm["reason"].str.contains("recorded with capo 2, played with no capo").all()


@pytest.mark.parametrize(
    ("line", "capos"),
    [
        ("Ann; capo none or 4", (0, 4)),
        ("Ann; capo 5, 2 or 0", (0, 2, 5)),
        ("Ann; capo 2, or 5", (2, 5)),
        ("Ann; Capo 3 ,  none", (0, 3)),
    ],
)
def test_capos_are_listed_as_people_list_them(line, capos):
    assert read_player(line).capos == capos


@pytest.mark.parametrize(
    "command",
    [["condense", "last-bell.musicxml"], ["change-key", "last-bell.musicxml", "--by", "-2"]],
)
def test_a_player_on_the_command_line_is_named_by_the_option(command, tmp_path, capsys):
    """One sentence that holds for the form that was typed, and nothing is written."""
    name, song, *more = command
    target = tmp_path / "out.txt"
    player = ["--player", "Ann: acoustic; capo none or", "-o", str(target)]
    assert main([name, str(DATASETS / song), *more, *player]) == 2
    said = "arrange: --player: player Ann: 'capo none or': write 'capo none', 'capo 2' or"
    assert capsys.readouterr().err.startswith(said)
    assert not target.exists()


def test_players_are_given_in_one_way(tmp_path, capsys):
    """Giving both options is an error, and nothing is written."""
    target = tmp_path / "two.txt"
    both = ["--players", "2", "--player", "Ann: clean", "-o", str(target)]
    assert main(["condense", str(DATASETS / "last-bell.musicxml"), *both]) == 2
    assert "give one of them" in capsys.readouterr().err
    assert not target.exists()


def capoed_song():
    """A strum recorded with a capo at 2, so that its open strings are wide shapes without."""
    shape = ("Strum", "D3 F#3 A3 D4", 0, 1)  # with the capo: frets 5 4 2 3, the 2 is open
    rows = [(*shape[:2], onset, 1) for onset in range(16)]
    made = song(*rows, ("Bass", "D2", 0, 16), parts=parts_of("Strum", "Bass", capo=[2, 0]),
                bars=4)  # fmt: skip
    return replace(made, parts=made.parts.assign(family=["guitar", "bass"]))


def test_a_hand_is_asked_what_it_pays_without_the_capo():
    """Frets 2 to 5 are 92 mm on a scale of 648 mm (648 * (2 ** (-2 / 12) - 2 ** (-5 / 12))), beyond
    what is comfortable; behind a capo at 2 only frets 3 to 5 are held.
    """
    made = capoed_song()
    ann = ar.Player("Ann", capos=(0, 2))
    costly = ar.condense(made, [ann], weights=Weights(other_neck=0.0, stretch=0.5))
    free = ar.condense(
        made, [ar.Player("Ann", capos=(0,))], weights=Weights(other_neck=0.0, stretch=0.0)
    )
    assert set(costly.choices["capo"]) == {2}
    stretched = ar.finger_part(free.song, "Ann")["reach_mm"] > ar.Hand().comfortable_mm
    assert stretched.all()
    assert not (ar.finger_part(costly.song, "Ann")["reach_mm"] > ar.Hand().comfortable_mm).any()
    without = ar.condense(made, [ar.Player("Ann", capos=(0,))],
                       weights=Weights(other_neck=0.0, stretch=0.5))  # fmt: skip
    assert free.value - without.value == pytest.approx(0.5 * 16, abs=0.01)


def test_a_pinned_layer_says_what_its_player_lacks(tmp_path, capsys):
    """A pin is no excuse for silence; none lays out."""
    made = capoed_song()
    pins = [("Ann", None, "Strum")]
    found = ar.condense(made, [ar.Player("Ann", capos=(0,))], pins=pins)
    assert found.choices["reason"].tolist() == [
        "pinned to Strum; recorded with capo 2, played with no capo"
    ]
    ar.write_chart(made, tmp_path / "song.txt")
    arguments = [str(tmp_path / "song.txt"), "-o", str(tmp_path / "out.txt"), "--players", "Ann"]
    assert main(["condense", *arguments, "--pin", "Ann; Song; none"]) == 0
    assert "Ann lays out: pinned to nothing" in capsys.readouterr().out


@pytest.mark.parametrize("others", [[], [ar.Player("Ben", picks="fingers")]])
def test_a_pin_that_only_the_pick_refuses_says_so(others):
    """A low E and a G more than three octaves above: four strings lie between.

    The lowest string and the first fret at which the highest has that G: the fretting hand holds
    one note alone, so that fingers can do it (common practice: it is pinched). Another player's
    fingers do not help the one who is pinned.
    """
    rows = [(layer, pitch, beat, 1) for layer, pitch in (("Pulse", "E2"), ("Bell", "G5"))
            for beat in range(4)]  # fmt: skip
    made = song(*rows, parts=parts_of("Pulse", "Bell", family="guitar"))
    pins = [("Ann", "Song", ("Bell", "Pulse"))]
    with pytest.raises(ar.ArrangeError) as raised:
        ar.condense(made, [ar.Player("Ann"), *others], pins=pins)
    assert str(raised.value) == (
        "'Ann' is pinned to Bell + Pulse in 'Song', which a pick cannot strike: every part must "
        "be playable; with the fingers it would do"
    )
    able = ar.condense(made, [ar.Player("Ann", picks="fingers"), *others], pins=pins)
    played = able.song.notes[able.song.notes["part"] == "Ann"]
    assert set(zip(played["string"], played["fret"], strict=True)) == {(6, 0), (1, 15)}
