"""The reply to an answer."""

from __future__ import annotations

from dataclasses import dataclass

from arrange.text.markup import NO_FORMULAS, escape_html


@dataclass(frozen=True)
class Reply:
    """The reply to an answer: whether it is right, and a sentence or two that teach."""

    right: bool
    text: str
    head: str = ""  # instead of the verdict

    def __str__(self) -> str:
        return self.text

    @property
    def verdict(self) -> str:
        """The verdict in words."""
        return self.head or ("Right" if self.right else "Not yet")

    def _repr_html_(self) -> str:
        kind = "right" if self.right else "wrong"
        words = f"<strong>{self.verdict}.</strong> {escape_html(self.text)}"
        return f'<p class="{kind} {NO_FORMULAS}">{words}</p>'
