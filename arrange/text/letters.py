"""Check whether text can be written: all our files are UTF-8, which has no code for half a letter.

Python reads a byte of a file name or an option that is not UTF-8 as a *lone surrogate*, half of
a letter of two. It is a string like any other until it is written.
"""

from __future__ import annotations

import re

from arrange.errors import ArrangeError, shown

_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


def check_text(what: str, text: str) -> str:
    """Return the text, which can be written as UTF-8.

    Parameters
    ----------
    what : str
        What the text is, for the message: ``"why"``.
    text : str

    Raises
    ------
    ArrangeError
        If a letter in it is a lone surrogate.
    """
    found = _LONE_SURROGATE.search(text)
    if found:
        raise ArrangeError(
            f"{what} {shown(text)}: letter {found.start() + 1} is half a letter "
            f"(U+{ord(found[0]):04X}), which no file can hold; type it again"
        )
    return text


def readable(text: str) -> str:
    """Return the text with a mark in place of each lone surrogate: a file's name, for people."""
    return _LONE_SURROGATE.sub("\ufffd", text)


def is_text(text: str) -> bool:
    """Return whether the text can be written as UTF-8."""
    return _LONE_SURROGATE.search(text) is None
