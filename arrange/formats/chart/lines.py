"""The lines of a chart, and the faults found in them: all at once, each with its place."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from arrange.errors import ArrangeError, ChartError
from arrange.text.words import first_few

MOST_SHOWN = 50  # faults shown one by one
MOST_FAULTS = 500  # then reading stops: what has so many is no chart
_LINE_END = re.compile(r"\r\n|\r|\n")
_COMMENT = re.compile(r"(?:^|(?<=\s))#(?:\s.*|)$|^\s*#.*$")


class Piece(NamedTuple):
    """A stretch of text with its place: line and column, counted from 1."""

    text: str
    line: int
    column: int

    def part(self, start: int, end: int | None = None) -> Piece:
        """The piece between two places in it, blanks at its ends left out."""
        text = self.text[start:end]
        stripped = text.lstrip()
        return Piece(stripped.rstrip(), self.line, self.column + start + len(text) - len(stripped))

    def split(self, mark: str) -> list[Piece]:
        """The pieces between the marks."""
        pieces, start = [], 0
        for text in self.text.split(mark):
            pieces.append(self.part(start, start + len(text)))
            start += len(text) + len(mark)
        return pieces

    def word(self, number: int) -> Piece:
        """One of its words, counted from 0."""
        start, end = _words(self.text)[number]
        return Piece(self.text[start:end], self.line, self.column + start)


@lru_cache(maxsize=16)
def _words(text: str) -> list[tuple[int, int]]:
    """Where the words of a text begin and end."""
    return [found.span() for found in re.finditer(r"\S+", text)]


class Fault(NamedTuple):
    """One thing that is wrong; the word that is wrong and what it could be, for a hint."""

    where: Piece
    problem: str | ArrangeError
    word: str
    known: tuple[str, ...]


@dataclass
class Faults:
    """What is wrong with a chart, collected while it is read, and what is odd in it."""

    name: str
    lines: list[str]
    found: dict[tuple[int, int, str], Fault] = field(default_factory=dict)
    count: int = 0  # of those that were noted, the same ones again among them
    notices: list[str] = field(default_factory=list)

    def notice(self, where: Piece, what: str) -> None:
        """Note what is read as it stands, but is probably not what was meant."""
        self.notices.append(f"line {where.line}: {what}")

    def add(
        self,
        where: Piece,
        problem: str | ArrangeError,
        word: str = "",
        known: Iterable[str] = (),
    ) -> None:
        """Note a fault at the start of a piece, and the known word nearest to `word`."""
        self.count += 1
        same = (where.line, where.column, problem if isinstance(problem, str) else "")
        if same not in self.found:  # a section that is as another is looked at twice
            self.found[same] = Fault(where, problem, word, tuple(known))

    @property
    def too_many(self) -> bool:
        """Whether there are so many that reading on helps nobody."""
        return len(self.found) >= MOST_FAULTS

    def raise_if_any(self) -> None:
        """Raise all faults as one error, in the order of their places.

        Raises
        ------
        ChartError
        """
        if self.found:
            in_order = sorted(self.found.values(), key=lambda fault: fault.where[1:])
            errors = [self._error(fault) for fault in in_order[:MOST_SHOWN]]
            raise ChartError.of_all(errors, len(self.found), more_follow=self.too_many)

    def _error(self, fault: Fault) -> ChartError:
        _, line, column = fault.where
        hint = f": {nearest(fault.word, fault.known)}" if fault.known else ""
        text = self.lines[line - 1] if line <= len(self.lines) else ""
        return ChartError(
            f"{fault.problem}{hint}", file=self.name, line=line, column=column, text=text
        )  # fmt: skip


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint at the known word that is most like a wrong one, or at all of them."""
    known = list(known)
    folded = {name.lower(): name for name in known}
    close = difflib.get_close_matches(word[:40].lower(), folded, n=1, cutoff=0.6)
    if close:
        return f"did you mean {folded[close[0]]!r}?"
    return f"there {'is' if len(known) == 1 else 'are'} {first_few(known, 20)}"


def nearly(word: str, known: Iterable[str]) -> bool:
    """Whether a word is a known one with a letter or two amiss."""
    return bool(difflib.get_close_matches(word[:40], list(known), n=1, cutoff=0.8))


def decode(data: bytes, name: str) -> str:
    """Return the text of a chart: UTF-8, with or without a byte-order mark.

    Raises
    ------
    ChartError
        With the line and column of the first byte that is no UTF-8.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig", errors="replace")
        lines = _LINE_END.split(before)
        rest = data[error.start : error.start + 200].decode("utf-8", errors="replace")
        raise ChartError(
            f"byte {data[error.start]:#04x} is no UTF-8 text; save the chart as UTF-8",
            file=name,
            line=len(lines),
            column=len(lines[-1]) + 1,
            text=lines[-1] + _LINE_END.split(rest)[0],
        ) from None


def split_lines(text: str) -> list[str]:
    """Return the lines of a text, whichever system ended them."""
    return _LINE_END.split(text)


def bare_line(line: str, number: int) -> Piece:
    """Return a line without its comment; a tab counts as one blank.

    A comment begins with ``#`` at the start of a line, or behind a blank if a blank follows.
    """
    text = line.replace("\t", " ")
    if "#" in text:
        text = _COMMENT.sub("", text)
    return Piece(text, number, 1).part(0)
