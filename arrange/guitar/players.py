"""Who plays: a person with an instrument, its sounds, and a hand of their own."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from arrange.errors import ArrangeError, PlayerError, shown
from arrange.guitar.hands import Hand
from arrange.guitar.necks import TUNINGS, Neck, parse_tuning, tuning_name
from arrange.guitar.picking import PICKS, usual_picks
from arrange.song_size import MOST_CAPO
from arrange.tables.schemas import DRIVES
from arrange.tables.song import Song
from arrange.text.part_lists import placed_fields, quoted, unquoted
from arrange.text.words import listed
from arrange.theory.spelling import nearest_spelling

# Which drives an instrument has where nothing is said (common practice).
_INSTRUMENTS = {
    "electric guitar": DRIVES,
    "acoustic guitar": ("clean",),
    "classical guitar": ("clean",),
}
_EXAMPLE = "electric; standard tuning; capo none or 4; clean, overdriven; echo"
_CAPO = "none|[0-9]{1,3}"
_CAPOS = re.compile(rf"capos? ({_CAPO})(?:(?: ?, ?or | ?, ?| or | )({_CAPO}))*")


@dataclass(frozen=True)
class Player:
    """A person who plays one part. What this player does not have is never asked of them.

    Parameters
    ----------
    name : str
        The label of this player's part.
    neck : Neck, optional
        Tuning, capo and frets of the instrument; else that of the part, or what serves best.
    capos : tuple of int, optional
        The frets at which this player is willing to put a capo, 0 for none; else that of the neck,
        or what serves best.
    sounds : tuple of str
        The drives at hand: clean, edge, overdriven, distorted.
    echo : bool
        Whether this player has an echo.
    picks : str
        ``"pick"`` or ``"fingers"``: what strikes the strings.
    hand : Hand
        What this hand can hold.
    instrument : str
        ``"electric guitar"``, ``"acoustic guitar"`` or ``"classical guitar"``, as sheets name it;
        empty for that of the part.

    Raises
    ------
    ArrangeError
        If the name is empty, there is no sound, a sound or the instrument is unknown, a capo is
        beyond the neck, or `picks` is neither of the two.

    Examples
    --------
    >>> import arrange as ar
    >>> ann = ar.Player("Ann", ar.Neck("drop D"), sounds=("clean", "edge"), echo=False)
    >>> ann.neck.tuning[-1], ann.sounds, ann.echo
    (38, ('clean', 'edge'), False)
    """

    name: str
    neck: Neck | None = None
    capos: tuple[int, ...] | None = None
    sounds: tuple[str, ...] = DRIVES
    echo: bool = True
    picks: str = "pick"
    hand: Hand = field(default_factory=Hand)
    instrument: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ArrangeError("a player has no name; write the name that stands on their part")
        wrong = next((sound for sound in self.sounds if sound not in DRIVES), None)
        if wrong is not None or not self.sounds:
            said = "has no sound" if wrong is None else f"has the sound {shown(wrong)}"
            raise ArrangeError(f"{self.name} {said}; a sound is one of {listed(DRIVES, 'or')}")
        if self.picks not in PICKS:
            raise ArrangeError(
                f"{self.name} plays with {shown(self.picks)}; write one of {listed(PICKS, 'or')}"
            )
        if self.instrument and self.instrument not in _INSTRUMENTS:
            raise ArrangeError(
                f"{self.name} plays {shown(self.instrument)}; write one of "
                f"{listed(_INSTRUMENTS, 'or')}"
            )
        if self.capos is not None:
            self._check_capos(self.capos)

    def _check_capos(self, capos: tuple[int, ...]) -> None:
        most = MOST_CAPO if self.neck is None else self.neck.frets - 1
        wrong = next((capo for capo in capos if not 0 <= capo <= most), None)
        if wrong is not None or not capos:
            said = "no capo, not even none" if wrong is None else f"a capo at {wrong}"
            raise ArrangeError(f"{self.name}: {said}; a capo is none (0) or from 1 to {most}")


def instrument_with(drives: Iterable[str], instrument: str | None) -> str | None:
    """Return an instrument that has some drives: the one that is named, or else an electric guitar.

    Examples
    --------
    >>> instrument_with(["clean"], "Acoustic guitar"), instrument_with(["edge"], "Acoustic guitar")
    ('Acoustic guitar', 'electric guitar')
    """
    named = (instrument or "").lower()
    own = next((own for known, own in _INSTRUMENTS.items() if named.startswith(known)), DRIVES)
    return instrument if {*drives} <= {*own} else "electric guitar"


def nearest_drive(sounds: Iterable[str], drive: str) -> str:
    """Return the one of some drives that is nearest to one; of two, the weaker."""
    wanted = DRIVES.index(drive)
    return min(sounds, key=lambda own: (abs(DRIVES.index(own) - wanted), DRIVES.index(own)))


def song_players(song: Song) -> tuple[Player, ...]:
    """Return the players that a song names, as ``condense`` takes them; empty where it names none.

    Raises
    ------
    ArrangeError
        If a line describes no player, or two have one name.

    Examples
    --------
    >>> from dataclasses import replace
    >>> import arrange as ar
    >>> song = ar.read("datasets/last-bell.musicxml")
    >>> song = replace(song, players=("Ann; electric guitar; capo none or 4", "Ben; acoustic"))
    >>> [(player.name, player.capos, player.echo) for player in ar.song_players(song)]
    [('Ann', (0, 4), True), ('Ben', None, False)]
    """
    players: dict[str, Player] = {}
    for line in song.players:
        player = read_player(line)
        if player.name in players:
            raise ArrangeError(same_name(player.name))
        players[player.name] = player
    return tuple(players.values())


def same_name(name: str) -> str:
    """Return what is said of two players of one name."""
    return f"a player is called {shown(name)} already; give each a name of their own"


def read_player(text: str) -> Player:
    """Return the player that a line describes.

    The line is a name and then in any order, each behind a ``;``: an instrument; a tuning; the
    capos that the player is willing to use; drives; ``echo`` or ``no echo``. Behind the name a
    colon does as well. A name alone is a player who has whatever serves best.

    Raises
    ------
    PlayerError
        If something is not understood; the message says what, and shows an example.
    """
    (start, name), *described = placed_fields(text, ":;")
    name = unquoted(name)
    fields: dict[str, Any] = {}
    at: dict[str, int] = {}  # where what is known of the player stands
    for offset, each in described:
        if each:
            _add_field(name, offset, each, fields)
            at |= {field: offset for field in fields if field not in at}
    try:
        return Player(name, **(_usual(fields.get("instrument", "")) | fields))
    except ArrangeError as error:
        raise PlayerError(str(error), at.get("capos", start) if name else start) from None


def _usual(instrument: str) -> dict[str, Any]:
    """What a player has of whom nothing but the instrument is said; empty for no instrument."""
    drives = _INSTRUMENTS.get(instrument, DRIVES)
    # An echo is an electric guitar's where nothing is said (common practice).
    return {"sounds": drives, "echo": drives == DRIVES, "picks": usual_picks(instrument)}


def format_player(player: Player) -> str:
    """Return a player as the line that ``read_player`` reads.

    It holds the tuning of the neck and the frets of the capo; not its other measures, nor the hand.
    """
    fields = [quoted(player.name, ":;")]
    capos, usual = player.capos, _usual(player.instrument)
    if player.instrument:
        fields.append(player.instrument)
    if player.neck is not None:
        tuning = tuning_name(player.neck.tuning)
        is_named = tuning in TUNINGS
        fields.append(f"{tuning} tuning" if is_named else f"tuning {tuning}")
        capos = (player.neck.capo,) if capos is None and player.neck.capo else capos
    if capos is not None:
        fields.append(f"capo {listed([str(capo or 'none') for capo in capos], 'or')}")
    if player.sounds != usual["sounds"]:
        fields.append(", ".join(player.sounds))
    if player.echo != usual["echo"]:
        fields.append("echo" if player.echo else "no echo")
    if player.picks != usual["picks"]:
        fields.append(player.picks)
    return "; ".join(fields)


def _add_field(name: str, offset: int, text: str, fields: dict[str, Any]) -> None:
    known = len(fields)
    try:
        _read_field(name, " ".join(text.split()), fields)
    except ArrangeError as error:
        raise PlayerError(str(error), offset) from None
    if len(fields) == known:
        problem = f"player {name}: {shown(text)} says anew what stands before it; leave one out"
        raise PlayerError(problem, offset)


def _read_field(name: str, text: str, fields: dict[str, Any]) -> None:
    low = text.lower()
    words = [word.strip() for word in low.split(",")]
    instrument = low if low.endswith(" guitar") else f"{low} guitar"
    if low in ("echo", "no echo"):
        fields["echo"] = low == "echo"
    elif low in PICKS:
        fields["picks"] = low
    elif low.startswith("capo"):
        fields["capos"] = _read_capos(name, text)
    elif low.endswith(" tuning") or low.startswith("tuning "):
        fields["neck"] = Neck(parse_tuning(text.removesuffix(" tuning").removeprefix("tuning ")))
    elif instrument in _INSTRUMENTS:
        fields["instrument"] = instrument
    elif all(word in DRIVES for word in words):
        fields["sounds"] = tuple(sorted(set(words), key=DRIVES.index))
    else:
        short = (name.removesuffix(" guitar") for name in _INSTRUMENTS)
        known = (
            *short,
            *_INSTRUMENTS,
            *DRIVES,
            "echo",
            *PICKS,
            "capo",
            *(f"{each} tuning" for each in TUNINGS),
        )
        meant = nearest_spelling(low, known)
        hint = f"; did you mean {meant!r}?" if meant else (
            f"; write what they have, {_EXAMPLE!r}, behind the name, and a name that holds : or ; "
            "in double quotes"
        )  # fmt: skip
        raise ArrangeError(f"player {name}: {shown(text)} is not understood{hint}")


def _read_capos(name: str, text: str) -> tuple[int, ...]:
    """The frets of ``capo none or 4``, ``capo 2``, ``capo 0, 2 or 5``."""
    if not _CAPOS.fullmatch(text.lower()):
        raise ArrangeError(
            f"player {name}: {shown(text)}: write 'capo none', 'capo 2' or 'capo none, 2 or 4'"
        )
    words = re.findall(_CAPO, text.lower())
    return tuple(sorted({0 if word == "none" else int(word) for word in words}))
