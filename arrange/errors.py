"""What can go wrong, as a small family.

Every error that the package raises on purpose is one of these::

    ArrangeError(ValueError)
    ├── ReadError     a file that cannot be read: which file, and where in it
    └── TableError    a table that does not hold what its schema promises

A message says where, what was found, and what to do about it.
"""

from __future__ import annotations


class ArrangeError(ValueError):
    """Any error raised on purpose by this package."""


class TableError(ArrangeError):
    """A table lacks a column, or holds a value that its schema forbids."""


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
            file,
            None if line is None else f"line {line}",
            None if column is None else f"column {column}",
            None if part is None else f"part {part}",
            None if measure is None else f"measure {measure}",
        ]
        where = ", ".join(place for place in places if place)
        super().__init__(f"{where}: {problem}" if where else problem)
