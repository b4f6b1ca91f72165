"""Damage to a MusicXML file: elements, attributes and the head of the file."""

from __future__ import annotations

import copy
from random import Random

from lxml import etree
from mutants.text import ODD_LABELS, ODD_NUMBERS

MOST_COPIED = 3000  # elements; a larger one is copied only once
FRAGMENTS = (
    "<divisions>{}</divisions>", "<duration>{}</duration>",
    "<backup><duration>{}</duration></backup>", "<forward><duration>{}</duration></forward>",
    "<time><beats>{}</beats><beat-type>{}</beat-type></time>", "<time><senza-misura/></time>",
    "<time><beats>7</beats><beat-type>8</beat-type><beats>3</beats><beat-type>4</beat-type></time>",
    "<key><fifths>{}</fifths><mode>{}</mode></key>", "<staves>{}</staves>",
    "<transpose><chromatic>{}</chromatic><octave-change>{}</octave-change></transpose>",
    "<clef><sign>TAB</sign><line>{}</line><clef-octave-change>{}</clef-octave-change></clef>",
    "<staff-details><staff-lines>{}</staff-lines><staff-tuning line='{}'><tuning-step>E"
    "</tuning-step><tuning-octave>{}</tuning-octave></staff-tuning><capo>{}</capo></staff-details>",
    "<capo>{}</capo>", "<staff>{}</staff>", "<voice>{}</voice>", "<octave>{}</octave>",
    "<alter>{}</alter>", "<chord/>", "<grace/>", "<cue/>", "<rest/>", "<unpitched/>",
    "<tie type='start'/>", "<tie type='stop'/>", "<tie type='{}'/>",
    "<notations><technical><string>{}</string><fret>{}</fret></technical></notations>",
    "<notations><technical><bend><bend-alter>{}</bend-alter></bend><hammer-on type='stop'/>"
    "</technical></notations>",
    "<barline location='right'><repeat direction='backward' times='{}'/></barline>",
    "<barline location='left'><repeat direction='forward'/></barline>",
    "<barline><ending number='{}' type='start'/></barline>",
    "<barline location='right'><ending number='{}' type='stop'/></barline>",
    "<sound tempo='{}'/>", "<sound dacapo='yes'/>", "<sound dalsegno='{}'/>", "<sound segno='{}'/>",
    "<sound tocoda='{}'/>", "<sound coda='{}'/>", "<sound fine='{}'/>",
    "<sound forward-repeat='{}'/>",
    "<direction><direction-type><words>D.S. al Coda</words></direction-type></direction>",
    "<direction><direction-type><words>{}</words></direction-type></direction>",
    "<direction><direction-type><rehearsal>{}</rehearsal></direction-type></direction>",
    "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{}</per-minute>"
    "</metronome></direction-type><offset>{}</offset></direction>",
    "<harmony><root><root-step>C</root-step><root-alter>{}</root-alter></root><kind>{}</kind>"
    "<degree><degree-value>{}</degree-value><degree-alter>{}</degree-alter><degree-type>add"
    "</degree-type></degree></harmony>",
    "<note><pitch><step>{}</step><octave>{}</octave></pitch><duration>{}</duration></note>",
    "<note><grace/><pitch><step>C</step><octave>4</octave></pitch></note>",
    "<note><unpitched/><duration>{}</duration></note>",
    "<measure number='{}'/>", "<part id='{}'/>", "<measure-repeat type='start'>{}</measure-repeat>",
    "<multiple-rest>{}</multiple-rest>", "<part-name>{}</part-name>",
    "<midi-instrument id='I'><midi-program>{}</midi-program></midi-instrument>",
    "<score-part id='{}'><part-name>{}</part-name></score-part>", "<!-- {} -->", "<?odd {}?>",
)  # fmt: skip
# Where a fragment may stand; inside a note unless stated otherwise.
HOMES = {
    "measure": ("note", "direction", "barline", "sound", "harmony", "backup", "forward"),
    "attributes": ("time", "key", "divisions", "staves", "transpose", "clef", "staff-details"),
    "part": ("measure",), "part-list": ("score-part",), "score-partwise": ("part",),
}  # fmt: skip


def change_elements(data: bytes, rng: Random) -> bytes:
    """Remove, double, move, nest, swap, rename, fill or empty an element, or insert an odd one."""
    root = etree.fromstring(data)
    elements = list(root.iter("*"))
    one, other = rng.choice(elements), rng.choice(elements)
    change = rng.choice(
        (_remove, _double, _move, _nest, _swap, _rename, _set_text, _set_text, _empty,
         _set_attribute, _drop_attribute, _insert, _insert, _insert)
    )  # fmt: skip
    change(one, other, rng)
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True)


def change_head(data: bytes, rng: Random) -> bytes:
    """Change the encoding (declared or real), the byte order mark, entities or text around it."""
    body = data.partition(b"?>")[2] if data.startswith(b"<?xml") else data
    text = body.decode("utf-8", "replace")
    entity = '<!DOCTYPE score-partwise [<!ENTITY a "{}"><!ENTITY b "&a;&a;&a;">]>'
    way = rng.randrange(8)
    if way == 0:
        name = rng.choice(("UTF-16", "latin-1", "UTF-7", "EBCDIC", "", "klingon", "UTF-8\x00"))
        return f'<?xml version="1.0" encoding="{name}"?>'.encode() + body
    if way == 1:
        return text.encode(rng.choice(("utf-16", "utf-16-le", "utf-32", "utf-8-sig", "utf-7")))
    if way == 2:
        return rng.choice((b"\xef\xbb\xbf", b"\xff\xfe", b"\x00", b"Lo", b"PK", b" \n")) + data
    if way == 3:
        name = rng.choice(("part-name", "fifths", "beats", "words", "duration"))
        changed = text.replace(f"<{name}>", f"<{name}>&b;", 1)
        return (entity.format(rng.choice(("1", "x" * 9999))) + changed).encode()
    if way == 4:
        return rng.choice((b'<?xml version="9.9"?>', b"<!-- x -->" * 99, b"<!DOCTYPE x>")) + body
    if way == 5:
        return data + rng.choice((b"<a/>", b"text", b"\x00", b"<!-- -- -->", b" " * 99_999))
    if way == 6:
        return body.replace(b"score-partwise", rng.choice((b"score-timewise", b"opus", b"x:y")))
    return body.replace(b"<score-partwise", b'<score-partwise xmlns="urn:odd"', 1)


def _holds(one: etree._Element, other: etree._Element) -> bool:
    """Return whether one element is the other or contains it."""
    return one is other or any(above is one for above in other.iterancestors())


def _remove(one: etree._Element, _: etree._Element, __: Random) -> None:
    if one.getparent() is not None:
        one.getparent().remove(one)


def _double(one: etree._Element, _: etree._Element, rng: Random) -> None:
    parent = one.getparent()
    if parent is None:
        return
    is_small = sum(1 for _ in one.iter()) * 40 < MOST_COPIED
    for _ in range(rng.choice((1, 1, 1, 2, 40)) if is_small else 1):
        parent.insert(parent.index(one), copy.deepcopy(one))


def _move(one: etree._Element, other: etree._Element, rng: Random) -> None:
    if not _holds(one, other):
        other.insert(rng.randrange(len(other) + 1), one)


def _nest(one: etree._Element, _: etree._Element, rng: Random) -> None:
    if sum(1 for _ in one.iter()) * 10 < MOST_COPIED:
        for _ in range(rng.choice((1, 1, 3))):
            one.insert(rng.randrange(len(one) + 1), copy.deepcopy(one))


def _swap(one: etree._Element, other: etree._Element, _: Random) -> None:
    if _holds(one, other) or _holds(other, one):
        return
    place = etree.Element("place")
    one.getparent().replace(one, place)
    other.getparent().replace(other, one)
    place.getparent().replace(place, other)


def _rename(one: etree._Element, other: etree._Element, _: Random) -> None:
    one.tag = other.tag


def _set_text(one: etree._Element, other: etree._Element, rng: Random) -> None:
    one.text = rng.choice((rng.choice(ODD_NUMBERS), rng.choice(ODD_LABELS), other.text))


def _empty(one: etree._Element, _: etree._Element, __: Random) -> None:
    del one[:]
    one.text = None


def _set_attribute(one: etree._Element, other: etree._Element, rng: Random) -> None:
    name = rng.choice([*one.attrib, *one.attrib, *other.attrib, "number", "type", "id", "times"])
    one.set(name, rng.choice((*ODD_NUMBERS, *ODD_LABELS)))


def _drop_attribute(one: etree._Element, other: etree._Element, rng: Random) -> None:
    holder = one if one.attrib else other
    if holder.attrib:
        del holder.attrib[rng.choice(list(holder.attrib))]


def _insert(one: etree._Element, _: etree._Element, rng: Random) -> None:
    """Insert a fragment filled with odd or usual numbers, mostly where its kind may stand."""
    text = rng.choice(FRAGMENTS)
    for _ in range(text.count("{}")):
        usual = str(rng.randint(0, 12))
        text = text.replace("{}", usual if rng.random() < 0.5 else rng.choice(ODD_NUMBERS), 1)
    new = etree.fromstring(f"<x>{text}</x>")[0]
    if rng.random() < 0.7:
        home = next((home for home, tags in HOMES.items() if new.tag in tags), "note")
        found = one.getroottree().getroot().findall(f".//{home}")
        one = rng.choice(found) if found else one
    one.insert(rng.randrange(len(one) + 1), new)
