"""The song's form as a line of buttons, each as wide as its section is long."""

from __future__ import annotations

from collections.abc import Iterator

from arrange.live.pane import press
from arrange.text.markup import escape_html
from arrange.text.words import counted

Form = tuple[tuple[str, float, int], ...]  # label, quarter notes, findings as written


def section_line(form: Form, section: str) -> str:
    """Return the line as HTML; what is pressed is the section's place in the form."""
    return (
        '<div class="form" role="group" aria-label="Sections of the song">'
        f"{''.join(_buttons(form, section))}</div>"
    )


def _buttons(form: Form, section: str) -> Iterator[str]:
    for number, (label, length, count) in enumerate(form):
        words = f"{escape_html(label)} <small>{f'▲{count}' if count else '–'}</small>"
        name = escape_html(f"{label}, {counted(count, 'finding')} as written")
        more = f' style="flex-grow:{length:g}" aria-label="{name}"'
        yield press("section", str(number), words, is_on=label == section, more=more)
