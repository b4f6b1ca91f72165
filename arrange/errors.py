"""Everything that can go wrong, as a small family of errors.

Every error that the package raises on purpose is one of these::

    ArrangeError(ValueError)
    ├── ReadError     a file that cannot be read: which file, and where in it
    │   └── ChartError    a text chart with faults: all of them, each under its line
    ├── ChordError    a chord symbol or number that means no chord: where, and what was meant
    ├── PlayerError   a line that describes no player: where in it
    ├── TableError    a table that does not hold what its schema promises
    └── LogChangedError    a log in which somebody else has written since it was read

A message says where, what was found, and what to do about it. A notebook shows the message alone;
``%tb`` in the next cell shows the whole traceback.
"""

from __future__ import annotations

import linecache
import os
import sys
import traceback
from collections.abc import Callable, Sequence, Sized
from functools import cached_property
from typing import Any, TypeVar

_LONGEST_PATH = 120  # characters of a path in a message
_MOST_SHOWN = 40  # characters of a value in a message
_MOST_CODE = 100  # characters of a line of code
_BOLD, _PLAIN = "\x1b[1m", "\x1b[0m"  # a cell's error has a colour of its own in every theme

Found = TypeVar("Found", bound=Sized)


def shortened(text: object, most: int = _LONGEST_PATH) -> str:
    """Return a value as a message shows it: of a long one the beginning and the end."""
    whole = str(text)
    if len(whole) <= most:
        return whole
    return f"{whole[: most // 2]}...{whole[-(most // 2 - 3) :]}"


def cut_text(text: str, most: int) -> str:
    """Return a text of at most so many characters: a longer one ends in dots where it is cut."""
    return text if len(text) <= most else f"{text[: most - 3]}..."


def shown(value: object) -> str:
    """Return a value as a message quotes it, cut where it is very long."""
    if isinstance(value, str):
        return repr(value if len(value) <= _MOST_SHOWN else value[:_MOST_SHOWN] + "...")
    text = repr(value)
    return text if len(text) <= _MOST_SHOWN else text[:_MOST_SHOWN] + "..."


class ArrangeError(ValueError):
    """Any error raised on purpose by this package.

    Examples
    --------
    >>> import arrange as ar
    >>> try:
    ...     ar.read("missing.txt")
    ... except ar.ArrangeError as error:
    ...     print(error)
    missing.txt: there is no such file; look for a typing error in the path
    """

    def _render_traceback_(self) -> list[str]:
        """Return the lines that IPython shows in place of a traceback.

        When it asks again for the same error, as ``%tb`` does, they are the whole traceback. A
        program that runs a notebook gets the error as any other.
        """
        if getattr(self, "_is_shown", False):
            return traceback.format_exception(self)
        self._is_shown = True
        sentence = f"{_BOLD}{type(self).__name__}{_PLAIN}: {self}"
        if os.environ.get("SERVER_SOFTWARE", "").startswith("voila"):  # a page without cells
            return [sentence]
        places = filter(None, [_cell_line(self)])
        return [sentence, *places, "(%tb in a new cell shows the whole traceback)"]


def running_shell() -> Any:
    """Return the shell of IPython in which this runs, a notebook's too; None if there is none."""
    return getattr(sys.modules.get("IPython"), "get_ipython", lambda: None)()


def _cell_line(error: BaseException) -> str:
    """The line of the cell that runs, the last in a notebook's own code; empty if there is none."""
    space = getattr(running_shell(), "user_ns", None)
    found = ""
    for frame, line in traceback.walk_tb(error.__traceback__):
        if space is not None and frame.f_globals is space:
            code = linecache.getline(frame.f_code.co_filename, line).strip()
            found = f"in line {line} of the cell: {cut_text(code, _MOST_CODE)}"
    return found


def require(found: Found, sentence: str) -> Found:
    """Return what was found, a list or a table, or raise the sentence if nothing was.

    Raises
    ------
    ArrangeError
        If `found` is empty. The sentence says what is not there, and what to do.

    Examples
    --------
    >>> import arrange as ar
    >>> loud = [name for name in ["Ann", "Ben"] if name.isupper()]
    >>> ar.require(loud, "nobody here is loud; choose another song")
    Traceback (most recent call last):
    arrange.errors.ArrangeError: nobody here is loud; choose another song
    """
    if not len(found):
        raise ArrangeError(sentence)
    return found


class TableError(ArrangeError):
    """A table lacks a column, or holds a value that its schema forbids.

    Examples
    --------
    >>> import arrange as ar
    >>> try:
    ...     ar.describe("tracks")
    ... except ar.TableError as error:
    ...     print(error)
    no table is called 'tracks'; there are parts, sections, measures, chords, notes, ...
    """


class LogChangedError(ArrangeError):
    """A log of decisions is not as it was read: somebody else has written in it since.

    Examples
    --------
    >>> import arrange as ar
    >>> issubclass(ar.LogChangedError, ar.ArrangeError)
    True
    """


class ChordError(ArrangeError):
    """A chord symbol, or a number in the key, that means no chord.

    Parameters
    ----------
    text : str
        As found.
    offset : int
        Where in `text` it stopped making sense, from 0; its length if something is missing.
    remedy : str
        What to write, shown where no chord is near.
    what : str
        What should have stood there.
    suggest : callable
        Gives the nearest chord that makes sense, or None; asked only when someone looks, since
        a file may hold many errors and show few.
    """

    def __init__(
        self,
        text: str,
        offset: int,
        remedy: str,
        *,
        what: str = "chord",
        suggest: Callable[[], str | None] = lambda: None,
    ) -> None:
        super().__init__(text)
        self.text, self.offset, self.remedy, self.what = text, offset, remedy, what
        self._suggest = suggest

    @cached_property
    def suggestion(self) -> str | None:
        """The nearest chord that makes sense, if one is near."""
        return self._suggest()

    def __str__(self) -> str:
        way_out = f"did you mean {self.suggestion!r}?" if self.suggestion else self.remedy
        return f"no {self.what} {shown(self.text)}; {way_out}"


class PlayerError(ArrangeError):
    """A line that describes a player holds something that is not understood.

    Parameters
    ----------
    problem : str
        What was found, and what would be right.
    offset : int
        Where in the line, from 0.

    Examples
    --------
    >>> import arrange as ar
    >>> error = ar.PlayerError("player Ann: 'loud' is not understood", 5)
    >>> error.offset
    5
    """

    def __init__(self, problem: str, offset: int = 0) -> None:
        super().__init__(problem)
        self.offset = offset


class ReadError(ArrangeError):
    """A file cannot be read into a Song.

    Parameters
    ----------
    problem : str
        What was found, and what would be right.
    file : str
        Name of the file as the user gave it.
    line, column : int, optional
        Place in the file, both counted from 1.
    part, measure : str, optional
        The part's label and the printed measure number.

    Examples
    --------
    >>> import arrange as ar
    >>> error = ar.ReadError("a bar of no length", file="song.musicxml", part="P1", measure="4")
    >>> print(error)
    song.musicxml, part P1, measure 4: a bar of no length
    >>> error.measure
    '4'
    """

    def __init__(
        self,
        problem: str,
        *,
        file: str = "",
        line: int | None = None,
        column: int | None = None,
        part: str | None = None,
        measure: str | None = None,
    ) -> None:
        self.problem = problem
        self.file, self.line, self.column = file, line, column
        self.part, self.measure = part, measure
        places = [
            shortened(file),
            None if line is None else f"line {line}",
            None if column is None else f"column {column}",
            None if part is None else f"part {part}",
            None if measure is None else f"measure {measure}",
        ]
        where = ", ".join(place for place in places if place)
        super().__init__(f"{where}: {problem}" if where else problem)


class ChartError(ReadError):
    """A text chart with faults.

    Parameters
    ----------
    problem : str
        What was found, and what would be right.
    text : str
        The line of the chart; the message shows it with a caret under the column.
    **place
        file, line and column, as for ``ReadError``.

    Attributes
    ----------
    errors : tuple of ChartError
        The single faults, where this error holds several.

    Examples
    --------
    >>> import arrange as ar
    >>> print(ar.ChartError("no chord 'Hm7'", file="a.txt", line=3, column=3, text="| Hm7 |"))
    a.txt, line 3, column 3: no chord 'Hm7'
        | Hm7 |
          ^
    """

    def __init__(self, problem: str, *, text: str = "", **place: Any) -> None:
        super().__init__(problem, **place)
        self.text = text
        self.errors: tuple[ChartError, ...] = ()

    def __str__(self) -> str:
        if self.errors:
            return self.problem
        message = super().__str__()
        if not self.text or not self.column:
            return message
        start = max(self.column - 60, 0)  # a very long line is shown around its fault
        shown = "".join(sign if sign.isprintable() else " " for sign in self.text[start:][:100])
        return f"{message}\n    {shown}\n    {' ' * (self.column - 1 - start)}^"

    @classmethod
    def of_all(
        cls, errors: Sequence[ChartError], count: int, *, more_follow: bool = False
    ) -> ChartError:
        """Return one error that lists all of them, and how many more there are.

        Parameters
        ----------
        errors : sequence of ChartError
            Those to be shown, in order.
        count : int
            How many were found.
        more_follow : bool
            Reading stopped there.
        """
        if len(errors) == 1 == count:
            return errors[0]
        messages = [str(error) for error in errors]
        if more_follow:
            messages.append(f"... and so on; reading stopped after {count} faults")
        elif count > len(errors):
            messages.append(f"... and {count - len(errors)} more")
        first = errors[0]
        every = cls("\n".join(messages), file=first.file, line=first.line, column=first.column)
        every.errors = tuple(errors)
        return every
