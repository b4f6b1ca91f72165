"""Study and arrange guitar parts for bands.

The way data flows::

    a file --read--> Song (five tables) --measure--> numbers --find--> findings --> pictures, report
"""

from arrange.errors import ArrangeError, ReadError, TableError
from arrange.reading import read
from arrange.tables import Song, describe

__all__ = ["ArrangeError", "ReadError", "Song", "TableError", "describe", "read"]
