"""Several labels in one text: the parts of a finding, of a decision, of a waiver.

Labels stand between " + ". One that could be taken for a list (it holds the joint, begins
with a quotation mark, or has blanks at an end) stands in double quotes, its own quotation marks
doubled; all others stand as they are::

    Guitar 1 + Guitar 2
    "Clean + Chorus" + Guitar 1
"""

from __future__ import annotations

import re
from collections.abc import Iterable

_JOINT = " + "
_QUOTED = r'"(?:[^"]|"")*+"'
_JOINTS = re.compile(rf"(?:^|(?<= \+ )){_QUOTED}(?=\s*(?: \+ |\Z))|( \+ )")


def join_parts(labels: Iterable[str], signs: str = "") -> str:
    """Return labels as one text, which ``split_parts`` takes apart again.

    Parameters
    ----------
    labels : iterable of str
    signs : str
        What the text around it uses for itself; a label that holds one is quoted too.
    """
    return _JOINT.join(quoted(label, signs) for label in labels)


def split_parts(text: str) -> list[str]:
    """Return the labels in a text such as a finding's ``parts``: ``"Guitar 1 + Bass"``.

    Examples
    --------
    >>> import arrange as ar
    >>> ar.split_parts("Guitar 1 + Bass")
    ['Guitar 1', 'Bass']
    >>> ar.split_parts('"Clean + Chorus" + Bass')
    ['Clean + Chorus', 'Bass']
    """
    pieces = _pieces(_JOINTS, text) if '"' in text else text.split(_JOINT)
    return [unquoted(piece) for piece in map(str.strip, pieces) if piece]


def quoted(label: str, signs: str = "") -> str:
    """Return a label as it stands in a list: in double quotes where it needs them."""
    is_plain = label and not label.startswith('"') and label == label.strip()
    if is_plain and _JOINT not in f" {label} " and not set(signs) & set(label):
        return label
    return '"' + label.replace('"', '""') + '"'


def unquoted(text: str) -> str:
    """Return a text without the double quotes around it, if it stands in them as a whole."""
    return text[1:-1].replace('""', '"') if re.fullmatch(_QUOTED, text) else text


def split_fields(text: str, signs: str) -> list[str]:
    """Return what stands between signs such as ``";"``, blanks at the ends left out.

    A value, or a label in a list of labels, that stands in double quotes may hold the signs.
    """
    return [field for _, field in placed_fields(text, signs)]


def placed_fields(text: str, signs: str) -> list[tuple[int, str]]:
    """Return the fields of ``split_fields``, each with its place in the text, from 0."""
    begins = rf"(?:^|(?<=[={signs}])|(?<=[={signs}]\s)|(?<=\s\+\s))"
    fields = re.compile(rf"{begins}{_QUOTED}(?=\s*(?:[{signs}]|\+\s|\Z))|([{signs}])")
    placed, at = [], 0
    for piece in _pieces(fields, text):
        placed.append((at + len(piece) - len(piece.lstrip()), piece.strip()))
        at += len(piece) + 1
    return placed


def _pieces(marks: re.Pattern[str], text: str) -> list[str]:
    """The stretches between marks; a match without a mark is quoted and stays whole."""
    ends = [found.span(1) for found in marks.finditer(text) if found[1]]
    begins = [0, *(end for _, end in ends)]
    return [
        text[begin:end]
        for begin, end in zip(begins, [*(at for at, _ in ends), len(text)], strict=True)
    ]
