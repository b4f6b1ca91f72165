"""Who plays: a person with an instrument, its sounds, and a hand of their own."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from arrange.errors import ArrangeError, shown
from arrange.guitar.hands import Hand
from arrange.guitar.necks import TUNINGS, Neck, parse_tuning
from arrange.guitar.picking import PICKS, usual_picks
from arrange.song_size import MOST_CAPO
from arrange.tables.schemas import DRIVES
from arrange.text.part_lists import split_fields, unquoted
from arrange.text.words import listed
from arrange.theory.spelling import nearest_spelling

# Which drives an instrument has where nothing is said (common practice).
_INSTRUMENTS = {
    "electric guitar": DRIVES,
    "acoustic guitar": ("clean",),
    "classical guitar": ("clean",),
}
_EXAMPLE = "'Ann: electric; standard tuning; capo none or 4; clean, overdriven; echo'"


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

    Raises
    ------
    ArrangeError
        If the name is empty, there is no sound, a sound is unknown, a capo is beyond the neck, or
        `picks` is neither of the two.

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
        if self.capos is not None:
            self._check_capos(self.capos)

    def _check_capos(self, capos: tuple[int, ...]) -> None:
        most = MOST_CAPO if self.neck is None else self.neck.frets - 1
        wrong = next((capo for capo in capos if not 0 <= capo <= most), None)
        if wrong is not None or not capos:
            said = "no capo, not even none" if wrong is None else f"a capo at {wrong}"
            raise ArrangeError(f"{self.name}: {said}; a capo is none (0) or from 1 to {most}")


def nearest_drive(sounds: Iterable[str], drive: str) -> str:
    """Return the one of some drives that is nearest to one; of two, the weaker."""
    wanted = DRIVES.index(drive)
    return min(sounds, key=lambda own: (abs(DRIVES.index(own) - wanted), DRIVES.index(own)))


def read_player(text: str) -> Player:
    """Return the player that a line describes.

    The line is a name and a colon, then in any order, each behind a ``;``: an instrument; a tuning;
    the capos that the player is willing to use; drives; ``echo`` or ``no echo``; ``pick`` or
    ``fingers``. A name alone is a player who has a pick and whatever serves best.

    Raises
    ------
    ArrangeError
        If something is not understood; the message says what, and shows an example.
    """
    name, *described = split_fields(text, ":")
    if len(described) > 1 or len(split_fields(name, ";")) > 1:
        raise ArrangeError(
            f"player {shown(text)}: write {_EXAMPLE}; a name that holds : or ; stands in double "
            "quotes"
        )
    fields: dict[str, Any] = {}
    for each in split_fields(described[0], ";") if described else ():
        if each.strip():
            _read_field(unquoted(name), " ".join(each.split()), fields)
    drives = _INSTRUMENTS.get(fields.pop("instrument", "electric guitar"), DRIVES)
    fields.setdefault("sounds", drives)
    fields.setdefault("picks", fields.pop("usual picks", "pick"))
    # An echo is an electric guitar's where nothing is said (common practice).
    fields.setdefault("echo", drives == DRIVES)
    return Player(unquoted(name), **fields)


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
        fields["usual picks"] = usual_picks(instrument)
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
        hint = f"; did you mean {meant!r}?" if meant else f"; write {_EXAMPLE}"
        raise ArrangeError(f"player {name}: {shown(text)} is not understood{hint}")


def _read_capos(name: str, text: str) -> tuple[int, ...]:
    """The frets of ``capo none or 4``, ``capo 2``, ``capo 0, 2 or 5``."""
    words = [word for word in re.split(r"[\s,]+", text.lower())[1:] if word != "or"]
    if not words or not all(re.fullmatch("none|[0-9]{1,3}", word) for word in words):
        raise ArrangeError(f"player {name}: {shown(text)}: write 'capo none', 'capo none or 4'")
    return tuple(sorted({0 if word == "none" else int(word) for word in words}))
