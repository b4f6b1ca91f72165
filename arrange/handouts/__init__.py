"""The pages that players take home: a part sheet for each, and a band sheet for all.

Made for a music stand at arm's length in poor light: large type, black on white, nothing shown by
colour alone. Measures are counted as played; frets as each part says. The same song gives the same
bytes.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from arrange.decisions import DecisionLog
from arrange.errors import ArrangeError
from arrange.formats.files import check_folder, whole_files
from arrange.guitar.fret_counting import check_frets_from, with_frets_from
from arrange.guitar.players import Player
from arrange.handouts.band import band_sheet
from arrange.handouts.band_pages import band_html, print_band
from arrange.handouts.printing import print_part
from arrange.handouts.sheet_sound import song_sound
from arrange.handouts.sheets import STYLES, part_sheet
from arrange.handouts.typesetting import PAPERS, page_picture
from arrange.handouts.web import part_html
from arrange.tables.song import Song, played_parts
from arrange.text.letters import check_text
from arrange.theory.spelling import unknown_name

__all__ = ["PAPERS", "STYLES", "Layout", "page_picture", "write_handout"]


@dataclass(frozen=True)
class Layout:
    """How sheets are laid out.

    Parameters
    ----------
    paper : str
        ``"A4"`` or ``"letter"``.
    style : str
        ``"notation"`` for notes with tablature, ``"shapes"`` for fret pictures with a rhythm line
        wherever a section is made of shapes.
    frets : str, optional
        How frets are counted on the sheets: from the ``"nut"`` or from the ``"capo"``; else as
        each part says.
    words : bool
        Whether pages in a teacher's words, step by step, follow the music.

    Raises
    ------
    ArrangeError
        If there is no such paper or style, or frets are counted from elsewhere.

    Examples
    --------
    >>> import arrange as ar
    >>> ar.Layout(style="shapes")
    Layout(paper='A4', style='shapes', frets=None, words=False)
    >>> ar.Layout("A5")
    Traceback (most recent call last):
    arrange.errors.ArrangeError: paper='A5'; it is one of 'A4', 'letter'
    """

    paper: str = "A4"
    style: str = "notation"
    frets: str | None = None
    words: bool = False

    def __post_init__(self) -> None:
        _check_word("paper", self.paper, tuple(PAPERS))
        _check_word("style", self.style, STYLES)
        if self.frets is not None:
            check_frets_from(self.frets)


def _in_silence(_step: str) -> None:
    """Report no step."""


def write_handout(
    song: Song,
    folder: str | os.PathLike[str],
    *,
    player: str | Player | Sequence[str | Player] | None = None,
    layout: Layout | None = None,
    decisions: DecisionLog | None = None,
    roles: Mapping[str, str] | None = None,
    progress: Callable[[str], None] = _in_silence,
) -> tuple[Path, ...]:
    """Write a part sheet for each player, and a band sheet, as PDF and HTML.

    A part sheet is printed on two facing pages where a legible type allows it; its HTML plays the
    song. A band sheet has a second page, the chords in numbers, where the song has a key.

    Parameters
    ----------
    song : Song
    folder : path
        Made if it is not there; other files in it stay.
    player : str or Player, or a sequence of them, optional
        Labels of parts, or names of players; else every guitar. A ``Player``'s hand counts where
        strings and stretches are worked out; a neck replaces the part's own tuning and capo.
    layout : Layout, optional
        Paper, style, how frets are counted, and words; else A4, notation, as each part says, and
        no words.
    decisions : DecisionLog, optional
        Printed in short on the band sheet, and on the sheets of the parts that they are for.
    roles : mapping of part to str, optional
        What each part is for, printed on the band sheet.
    progress : callable
        Called with each step, in a few words, before it is made.

    Returns
    -------
    tuple of Path
        The files: part by part, PDF and HTML, then those of the band sheet.

    Raises
    ------
    ArrangeError
        If there is no such player, the song has no part, a role is for no part, or the folder
        cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     paths = ar.write_handout(song, folder, player="Tam", layout=ar.Layout(style="shapes"))
    >>> [path.name for path in paths[::2]]
    ['down-to-tarrow-weir-guitar-2.pdf', 'down-to-tarrow-weir-band.pdf']
    """
    folder, roles, layout = Path(folder), dict(roles or {}), layout or Layout()
    check_folder(folder)
    _check_parts(song, roles)
    check_text("the song's title", song.title)
    players = _asked_for(song, player)
    song = with_frets_from(song, layout.frets)
    files: dict[str, bytes] = {}
    names = _names(song, [each.name for each in players])
    paper, sound = layout.paper, song_sound(song)
    for each in players:
        progress(f"the sheet of {each.name}")
        sheet = part_sheet(song, each, layout.style, decisions, has_lessons=layout.words)
        name = next(names)
        printed = print_part(sheet, song, paper)
        files[f"{name}.pdf"] = printed.pdf()
        files[f"{name}.html"] = part_html(sheet, sound, printed.drawings(), paper).encode()
    progress("the band sheet")
    band, name = band_sheet(song, decisions, roles), next(names)
    printed = print_band(band, paper)
    files[f"{name}.pdf"] = printed.pdf()
    files[f"{name}.html"] = band_html(band, sound, printed.drawings(), paper).encode()
    with whole_files(folder) as draft:
        for name, data in files.items():
            (draft / name).write_bytes(data)
    return tuple(folder / name for name in files)


def _check_word(what: str, word: str, known: Sequence[str]) -> None:
    if word not in known:
        raise ArrangeError(f"{what}={word!r}; it is one of {', '.join(map(repr, known))}")


def _check_parts(song: Song, roles: Mapping[str, str]) -> None:
    labels = song.parts["part"].tolist()
    if not labels:
        raise ArrangeError("this song has no part; there is nothing to hand out")
    for part in roles:
        if part not in labels:
            raise ArrangeError(f"roles: {unknown_name('part', part, labels)}")


def _asked_for(song: Song, player: str | Player | Sequence[str | Player] | None) -> list[Player]:
    """Those that get a sheet, each named as the part."""
    table = song.parts
    if player is None:
        found = [Player(part) for part in table["part"][table["family"] == "guitar"]]
        if found:
            return found
        raise ArrangeError(
            f"this song has no guitar; name a player, one of {', '.join(table['part'])}"
        )
    players: dict[str, Player] = {}
    for each in [player] if isinstance(player, str | Player) else player:
        asked = each if isinstance(each, Player) else Player(each)
        own = played_parts(song, asked.name)
        players |= {part: replace(asked, name=part) for part in own if part not in players}
    if not players:
        raise ArrangeError("no player is named; leave it out for every guitar")
    return list(players.values())


def _names(song: Song, parts: Sequence[str]) -> Iterator[str]:
    """File names without their endings: one for each part, then one for the band."""
    title = _plain(song.title) or "song"
    taken: set[str] = set()
    for word in [*(_plain(part) or "part" for part in parts), "band"]:
        name, number = f"{title}-{word}", 1
        while name in taken:
            number += 1
            name = f"{title}-{word}-{number}"
        taken.add(name)
        yield name


def _plain(words: str) -> str:
    """Words as every file system takes them."""
    letters = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:60].strip("-")
