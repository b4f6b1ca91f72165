"""Elements put together: children, and texts and numbers as XML wants them."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from lxml import etree

# Characters that XML 1.0 cannot hold, not even escaped (XML 1.0, production Char).
_NO_CHARACTERS = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def add(
    parent: Any, tag: str, text: str | int = "", attributes: dict[str, str] | None = None
) -> Any:
    """Add a child with a text and attributes to an element, and return the child."""
    element = etree.SubElement(parent, tag, attributes)
    if text != "":
        element.text = str(text)
    return element


def plain_text(text: object) -> str:
    """A text as XML can hold it, white space folded; nothing for a missing value."""
    return " ".join(_NO_CHARACTERS.sub("", text).split()) if isinstance(text, str) else ""


def decimal(value: float) -> str:
    """A number as an XSD decimal, with all its digits and without an exponent."""
    text = format(Decimal(repr(float(value))), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
