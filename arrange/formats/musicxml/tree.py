"""From bytes to a partwise tree, safely: nothing fetched, nothing expanded, nothing endless."""

from __future__ import annotations

import re
from typing import Any

from lxml import etree

from arrange.errors import ReadError, cut_text, shown
from arrange.formats.musicxml.unpacking import PARSER_OPTIONS, unpack

# Tags (two or three to an element) and attributes, each some 240 bytes in memory at most: so many
# take 1.9 GB. The largest orchestral scores, of some 60 MB, have five to six million.
_MOST_NODES = 8_000_000
# Bytes to each of them: in the corpus that the tests read, files of more than 100,000 have 9.2 or
# more, and notes in as few signs as there can be have 8.4.
_LEAST_BYTES = 7
# Of them, to a byte of a compressed file: in the same corpus, files of more than 50 kB have up to
# 2.9; smaller ones, which may be of many silent bars, have up to 5.5.
_PACKED_NODES = 6
_ANY_NODES = 500_000  # in a file of any size
_MOST_ENTITIES = 100  # declared; each is kept, and no score needs one
_MOST_SHOWN = 120  # characters of what the parser says


def parse_score(data: bytes, name: str) -> Any:
    """Return the root of a MusicXML score, partwise, from plain or compressed bytes.

    Raises
    ------
    ReadError
        If the bytes are no MusicXML, or damaged (with line and column), or define entities.
    """
    if data.startswith(b"PK"):
        packed, data = len(data), unpack(data, name)
        most = min(_PACKED_NODES * packed, len(data) // _LEAST_BYTES)
    else:
        most = len(data) // _LEAST_BYTES
    _check_size(data, min(max(most, _ANY_NODES), _MOST_NODES), name)
    parser = etree.XMLParser(**PARSER_OPTIONS)
    try:
        root: Any = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        line, column = error.position
        raise ReadError(
            _plain_message(" ".join(error.msg.split(", line")[0].split())),
            file=name,
            line=line,
            column=column,
        ) from None
    except (ValueError, LookupError) as error:
        raise ReadError(
            f"no XML can be read from it: {cut_text(str(error), _MOST_SHOWN)}", file=name
        ) from None
    _refuse_entities(root, name)
    if root.tag == "score-timewise":
        return _partwise(root)
    if root.tag != "score-partwise":
        raise ReadError(
            f"this is XML, but its first element is <{cut_text(root.tag, 40)}>, not "
            "<score-partwise> or "
            "<score-timewise>; export the song as MusicXML",
            file=name,
            line=root.sourceline,
        )
    return root


def first_children(element: Any) -> dict[str, Any]:
    """Return an element's children by tag, the first of each: one pass instead of many finds."""
    return {child.tag: child for child in reversed(element)}


def first_texts(element: Any) -> dict[str, str]:
    """Return the texts of an element's children by tag, the first of each; empty if it has none."""
    return {child.tag: child.text or "" for child in reversed(element)}


def _check_size(data: bytes, most: int, name: str) -> None:
    """Refuse what would take seconds and gigabytes to parse, before it is parsed."""
    if data.count(b"<") + data.count(b"=") > most:
        raise ReadError(
            f"it has more than {most:,} tags and attributes, as no score of its size has; "
            "export it again",
            file=name,
        )
    if data.count(b"<!ENTITY") > _MOST_ENTITIES:
        raise ReadError(
            f"it declares more than {_MOST_ENTITIES} XML entities, which are not read, for safety; "
            "export the song again without them",
            file=name,
        )


def _plain_message(message: str) -> str:
    """What to say of the parser's message: its limits against attacks in plain words."""
    if re.search("amplification|reference loop", message, re.I):
        return (
            "it uses XML entities that multiply, which are not read, for safety; "
            "export the song again without them"
        )
    if re.search("excessive depth|huge text|resource limit|too long", message, re.I):
        return "an element in it is absurdly deep or long; export the song again"
    return f"not well-formed XML: {cut_text(message, _MOST_SHOWN)}; export the file again"


def _refuse_entities(root: Any, name: str) -> None:
    """Entities can pull in other files or blow up; no score needs them."""
    document = root.getroottree().docinfo
    if not document.doctype:
        return
    subset = document.internalDTD
    declared = [] if subset is None else [entity.name for entity in subset.iterentities()]
    used: Any = next(root.iter(etree.Entity), None)
    if declared or used is not None:
        entity = declared[0] if declared else used.name
        raise ReadError(
            f"it uses the XML entity {shown(entity)}, which is not read, for safety; "
            "export the song again without it",
            file=name,
            line=None if used is None else used.sourceline,
        )


def _partwise(root: Any) -> Any:
    """The same score with the measures inside the parts."""
    parts: dict[str, Any] = {}
    for measure in root.iterchildren("measure"):
        root.remove(measure)
        for part in list(measure):
            name = part.get("id")
            if name not in parts:
                parts[name] = etree.SubElement(root, "part", id=name or "")
            part.tag = "measure"
            part.attrib.clear()
            part.attrib.update(measure.attrib)
            parts[name].append(part)
    root.tag = "score-partwise"
    return root
