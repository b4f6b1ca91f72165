"""The song's form as a line of buttons, each as wide as its section is long."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from arrange.live.pane import press
from arrange.text.markup import escape_html
from arrange.text.words import counted


class FormSection(NamedTuple):
    """A section in the line.

    Parameters
    ----------
    label : str
    length : float
        Quarter notes.
    findings, waived : int
        Findings as written, and how many more are waived.
    """

    label: str
    length: float
    findings: int
    waived: int

    def name(self, how: str = "") -> str:
        """Return what it is called, as text; `how` follows the number of findings."""
        waived = f", {self.waived} waived" if self.waived else ""
        return f"{self.label}, {counted(self.findings, 'finding')}{how}{waived}"

    @property
    def words(self) -> str:
        """What stands in the line, as HTML."""
        count = f"▲{self.findings}" if self.findings else "–"
        return f"{escape_html(self.label)} <small>{count}</small>"


Form = tuple[FormSection, ...]


def section_line(form: Form, section: str) -> str:
    """Return the line as HTML; what is pressed is the section's place in the form."""
    return (
        '<div class="form" role="group" aria-label="Sections of the song">'
        f"{''.join(_buttons(form, section))}</div>"
    )


def _buttons(form: Form, section: str) -> Iterator[str]:
    for number, each in enumerate(form):
        name = escape_html(each.name(" as written"))
        more = f' style="flex-grow:{each.length:g}" aria-label="{name}" title="{name}"'
        yield press("section", str(number), each.words, is_on=each.label == section, more=more)
