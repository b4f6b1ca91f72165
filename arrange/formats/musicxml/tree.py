"""From bytes to a partwise tree, safely: nothing fetched, nothing expanded, nothing endless."""

from __future__ import annotations

import io
import lzma
import re
import zipfile
import zlib
from pathlib import PurePosixPath
from typing import Any

from lxml import etree

from arrange.errors import ReadError
from arrange.formats.files import MOST_BYTES

_PARSER_OPTIONS: dict[str, Any] = {
    "resolve_entities": False,
    "no_network": True,
    "load_dtd": False,
    "huge_tree": False,
    "remove_blank_text": True,
    "remove_comments": True,
    "remove_pis": True,
}


def parse_score(data: bytes, name: str) -> Any:
    """Return the root of a MusicXML score, partwise, from plain or compressed bytes.

    Raises
    ------
    ReadError
        If the bytes are no MusicXML, or damaged (with line and column), or define entities.
    """
    if data.startswith(b"PK"):
        data = _unzip(data, name)
    parser = etree.XMLParser(**_PARSER_OPTIONS)
    try:
        root: Any = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        line, column = error.position
        raise ReadError(
            _told(" ".join(error.msg.split(", line")[0].split())),
            file=name,
            line=line,
            column=column,
        ) from None
    except (ValueError, LookupError) as error:
        raise ReadError(f"no XML can be read from it: {error}", file=name) from None
    _refuse_entities(root, name)
    if root.tag == "score-timewise":
        return _partwise(root)
    if root.tag != "score-partwise":
        raise ReadError(
            f"this is XML, but its first element is <{root.tag}>, not <score-partwise> or "
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


def _told(message: str) -> str:
    """What to say of the parser's message: its limits against attacks in plain words."""
    if re.search("amplification|reference loop", message, re.I):
        return (
            "it uses XML entities that multiply, which are not read, for safety; "
            "export the song again without them"
        )
    if re.search("excessive depth|huge text|resource limit|too long", message, re.I):
        return "an element in it is absurdly deep or long; export the song again"
    return f"not well-formed XML: {message}; export the file again"


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
            f"it uses the XML entity {entity!r}, which is not read, for safety; "
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


# What unpacking a damaged file raises; ValueError where a name in it is no UTF-8.
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, OSError, RuntimeError, ValueError,
)  # fmt: skip


def _unzip(data: bytes, name: str) -> bytes:
    """The score inside a compressed file: where META-INF/container.xml says it lies."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            container = _member(archive, "META-INF/container.xml", name)
            return _member(archive, _root_file(container, name), name)
    except ReadError:
        raise
    except _DAMAGED as error:
        raise ReadError(
            f"the compressed file is damaged ({error}); export it again", file=name
        ) from None


def _member(archive: zipfile.ZipFile, member: str, name: str) -> bytes:
    if member not in archive.namelist():
        held = ", ".join(archive.namelist()[:5]) or "nothing"
        raise ReadError(
            f"the compressed file has no {member}; it holds {held}. Export it again as MusicXML",
            file=name,
        )
    claimed = archive.getinfo(member).file_size  # which may be a lie: reading stops there too
    with archive.open(member) as stream:
        content = b"" if claimed > MOST_BYTES else stream.read(MOST_BYTES + 1)
    if max(claimed, len(content)) > MOST_BYTES:
        raise ReadError(f"{member} unpacks to more than {MOST_BYTES >> 20} MB", file=name)
    return content


def _root_file(container: bytes, name: str) -> str:
    try:
        root = etree.fromstring(container, etree.XMLParser(**_PARSER_OPTIONS))
    except etree.XMLSyntaxError as error:
        raise ReadError(f"META-INF/container.xml is damaged: {error.msg}", file=name) from None
    path = next((element.get("full-path") for element in root.iter("{*}rootfile")), None)
    if not path:
        raise ReadError("META-INF/container.xml names no score; export it again", file=name)
    inner = PurePosixPath(path)
    if inner.is_absolute() or ".." in inner.parts or "\\" in path:
        raise ReadError(f"META-INF/container.xml points outside the file, to {path!r}", file=name)
    return str(inner)
