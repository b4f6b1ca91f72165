"""A whole songbook: a band's set list or a teacher's shelf of songs as one table.

``read_songbook``
    many files -> a Songbook; a file that cannot be read is reported, and the others are read
``songbook_table``, ``book_findings``
    a row for each song; the findings of all songs
``player_setups``, ``changes_between``
    what each player has in hand in each song, and what they change from song to song
``order_by_changes``
    the order of the songs with the fewest changes
``write_songbook``
    one page, and the tables beside it
"""

from arrange.songbook.book import Songbook, read_songbook
from arrange.songbook.order import order_by_changes
from arrange.songbook.overview import book_findings, songbook_table
from arrange.songbook.page import write_songbook
from arrange.songbook.setup_changes import changes_between, player_setups

__all__ = [
    "Songbook",
    "book_findings",
    "changes_between",
    "order_by_changes",
    "player_setups",
    "read_songbook",
    "songbook_table",
    "write_songbook",
]
