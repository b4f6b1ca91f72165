"""A song as one file to send, which shows and plays it without a server.

``write_song_page``
    the page
"""

from arrange.sending.song_page import write_song_page

__all__ = ["write_song_page"]
