"""Small MusicXML scores for tests, put together from the MusicXML 4.0 specification.

A score is written as text: ``score([measure, measure], [measure, measure])`` takes a list of
measures for each part, each the content of a ``measure`` element; ``note``, ``barline``,
``direction`` and ``attributes`` write what stands in them.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from pathlib import Path

from lxml import etree

import arrange as ar

DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)


def attributes(divisions: int | str = 4, meter: str = "4/4", more: str = "", key: str = "") -> str:
    """Return an ``attributes`` element; `key` stands before the meter, `more` after it."""
    beats, _, unit = meter.partition("/")
    time = f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>" if meter else ""
    return (
        f"<attributes><divisions>{divisions}</divisions>{key}{time}{more}</attributes>"
        if divisions
        else f"<attributes>{key}{time}{more}</attributes>"
    )


def pitch(name: str) -> str:
    """Return a ``pitch`` element from a note name: C4, F#3, Bb2."""
    alter = name.count("#") - name[1:].count("b")
    octave = name.lstrip("ABCDEFG").lstrip("#b")
    altered = f"<alter>{alter}</alter>" if alter else ""
    return f"<pitch><step>{name[0]}</step>{altered}<octave>{octave}</octave></pitch>"


def note(
    name: str = "C4",
    duration: int | float | str = 4,
    *,
    first: str = "",
    ties: str = "",
    voice: str = "",
    staff: str = "",
    notations: str = "",
    notehead: str = "",
    head: str = "",
) -> str:
    """Return a ``note`` element.

    `name` is a note name, "rest", or an element of its own such as ``<unpitched/>``; `first`
    holds what stands before it (``<chord/>``, ``<grace/>``, ``<cue/>``), `ties` the types of
    its ties, "stop start"; `head` the note's own XML attributes.
    """
    what = name if name.startswith("<") else "<rest/>" if name == "rest" else pitch(name)
    length = "" if duration == "" else f"<duration>{duration}</duration>"
    sounds = "".join(f'<tie type="{kind}"/>' for kind in ties.split())
    notations += "".join(f'<tied type="{kind}"/>' for kind in ties.split())
    return (
        f"<note{' ' + head if head else ''}>{first}{what}{length}{sounds}"
        + (f"<voice>{voice}</voice>" if voice else "")
        + (f"<notehead>{notehead}</notehead>" if notehead else "")
        + (f"<staff>{staff}</staff>" if staff else "")
        + (f"<notations>{notations}</notations>" if notations else "")
        + "</note>"
    )


def technical(content: str) -> str:
    """Return notations for string, fret, hammer-on and so on."""
    return f"<technical>{content}</technical>"


def backup(duration: int | float | str) -> str:
    """Return an element that goes back in the measure."""
    return f"<backup><duration>{duration}</duration></backup>"


def forward(duration: int | float | str) -> str:
    """Return an element that goes forward in the measure."""
    return f"<forward><duration>{duration}</duration></forward>"


def direction(*types: str, sound: str = "", offset: str = "") -> str:
    """Return a ``direction``; a type is such as ``<words>Fine</words>``, `sound` its attributes."""
    return (
        "<direction>"
        + "".join(f"<direction-type>{kind}</direction-type>" for kind in types)
        + offset
        + (f"<sound {sound}/>" if sound else "")
        + "</direction>"
    )


def words(text: str) -> str:
    """Return a direction of words alone, without a ``sound``."""
    return direction(f"<words>{text}</words>")


def rehearsal(text: str) -> str:
    """Return a rehearsal mark."""
    return direction(f"<rehearsal>{text}</rehearsal>")


def barline(location: str = "right", repeat: str = "", ending: str = "", style: str = "") -> str:
    """Return a ``barline``: `repeat` holds its attributes, `ending` is "1 start" or "1,2 stop"."""
    number, _, kind = ending.partition(" ")
    return (
        f'<barline location="{location}">'
        + (f"<bar-style>{style}</bar-style>" if style else "")
        + (f'<ending number="{number}" type="{kind}"/>' if ending else "")
        + (f"<repeat {repeat}/>" if repeat else "")
        + "</barline>"
    )


def harmony(root: str = "C", kind: str = "major", more: str = "") -> str:
    """Return a chord symbol; `more` stands after the kind (inversion, bass, degrees)."""
    alter = root.count("#") - root[1:].count("b")
    altered = f"<root-alter>{alter}</root-alter>" if alter else ""
    return (
        f"<harmony><root><root-step>{root[0]}</root-step>{altered}</root><kind>{kind}</kind>{more}"
        "</harmony>"
    )


WHOLE_BAR = note("C4", 16)


def score(
    *parts: Sequence[str],
    names: Sequence[str] = (),
    entries: Sequence[str] = (),
    numbers: Sequence[str] = (),
    title: str = "",
    doctype: str = "",
    encoding: str = "",
) -> str:
    """Return a partwise score.

    Parameters
    ----------
    *parts : sequence of str
        The measures' content, part by part. The first measure gets 4/4 with 4 divisions unless
        it has ``attributes`` of its own.
    names, entries : sequence of str
        Part names, and what their ``score-part`` elements hold after the name.
    numbers : sequence of str
        Measure numbers; by default 1, 2, 3 ...
    title : str
        An escaped work title.
    """
    listed, bodies = [], []
    for index, measures in enumerate(parts):
        name = names[index] if index < len(names) else f"Part {index + 1}"
        entry = entries[index] if index < len(entries) else ""
        listed.append(
            f'<score-part id="P{index + 1}"><part-name>{name}</part-name>{entry}</score-part>'
        )
        content = []
        for place, measure in enumerate(measures):
            number = numbers[place] if place < len(numbers) else place + 1
            begins = place == 0 and "<divisions>" not in measure
            content.append(
                f'<measure number="{number}">{attributes() if begins else ""}{measure}</measure>'
            )
        bodies.append(f'<part id="P{index + 1}">{"".join(content)}</part>')
    return (
        (f'<?xml version="1.0" encoding="{encoding}"?>' if encoding else "")
        + doctype
        + '<score-partwise version="4.0">'
        + (f"<work><work-title>{title}</work-title></work>" if title else "")
        + f"<part-list>{''.join(listed)}</part-list>{''.join(bodies)}</score-partwise>"
    )


def timewise(text: str) -> str:
    """Return the same score with the parts inside the measures."""
    root = etree.fromstring(text)
    turned = etree.Element("score-timewise", version="4.0")
    parts = root.findall("part")
    for child in root:
        if child.tag != "part":
            turned.append(child)
    for measures in zip(*(part.findall("measure") for part in parts), strict=True):
        measure = etree.SubElement(turned, "measure", dict(measures[0].attrib))
        for part, content in zip(parts, measures, strict=True):
            etree.SubElement(measure, "part", id=part.get("id")).extend(list(content))
    return etree.tostring(turned, encoding="unicode")


def schema_errors(text: str | bytes) -> list[str]:
    """Return what the MusicXML 4.0 schema finds wrong in a score.

    The schema is the W3C's, as the package ``musicxml`` carries it; imports of other schemas
    (``xml:lang``, ``xlink:href``) are left out, so that nothing is fetched.
    """
    schema = _schema()
    document = etree.fromstring(text)
    return [] if schema.validate(document) else [str(error) for error in schema.error_log]


def _schema() -> etree.XMLSchema:
    (package,) = importlib.util.find_spec("musicxml").submodule_search_locations
    document = etree.parse(Path(package) / "generate_classes" / "musicxml_4_0.xsd")
    space = "{http://www.w3.org/2001/XMLSchema}"
    for element in list(document.iter(f"{space}import", f"{space}attribute")):
        if element.tag == f"{space}import" or ":" in element.get("ref", ""):
            element.getparent().remove(element)
    return etree.XMLSchema(etree.fromstring(etree.tostring(document)))


def read_text(
    folder: Path, text: str | bytes, *, name: str = "song.musicxml", valid: bool = True, **options
) -> ar.Song:
    """Write a score to a file and read it; if `valid`, it must be valid MusicXML 4.0."""
    if valid:
        assert schema_errors(text) == []
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return ar.read(path, **options)
