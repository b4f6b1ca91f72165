"""One decision: what is decided, where and why, and what recording it adds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from arrange.decisions.note_changes import Change, Span
from arrange.errors import ArrangeError, shown
from arrange.text.words import measures_words

STATUSES = ("proposed", "agreed", "dropped", "superseded")


@dataclass(frozen=True)
class Decision:
    """What is decided, where and why.

    The fields from `id` on are empty until the decision is recorded. The figures `before` and
    `after` are counted then too, where none are given and there is an arrangement.

    Parameters
    ----------
    what, why : str
    section : str
        Where it holds; empty for no section in particular.
    measures : (int, int), optional
        First and last, as played.
    parts : sequence of str
        Kept as a tuple.
    status : str
        proposed, agreed, dropped or superseded.
    waives : str
        The kind of finding that is meant to be so; empty if the decision waives none.
    before, after : str
        The figures.
    alternatives : sequence of str
        What else was considered; kept as a tuple.
    supersedes : str
        Id of the decision that this one replaces, or empty.
    date : str
        Day of the decision, such as 2031-06-30; the day of recording if none is given.
    id : str
    passage : str
        Fingerprint of the passage when it was decided, or empty.
    spans : tuple of (part, first measure, last measure)
        The passage.
    change : Change, optional
        The notes that it puts there.

    Raises
    ------
    ArrangeError
        If what or why is blank, the status is unknown, the measures are not in order, or parts or
        alternatives are one text in place of several.

    Examples
    --------
    >>> import arrange as ar
    >>> print(ar.Decision("Guitar 2 lays out", "the voice is alone", section="Verse 1"))
    (agreed, Verse 1): Guitar 2 lays out
    >>> ar.Decision("Guitar 2 lays out", "")
    Traceback (most recent call last):
    arrange.errors.ArrangeError: a decision: say what is decided and why; ...
    """

    what: str
    why: str
    section: str = ""
    measures: tuple[int, int] | None = None
    parts: Sequence[str] = ()
    status: str = "agreed"
    waives: str = ""
    before: str = ""
    after: str = ""
    alternatives: Sequence[str] = ()
    supersedes: str = ""
    date: str = ""
    id: str = ""
    passage: str = ""
    spans: tuple[Span, ...] = ()
    change: Change | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        name = f"decision {self.id}" if self.id else "a decision"
        for several in ("parts", "alternatives"):
            given = getattr(self, several)
            if isinstance(given, str):
                raise ArrangeError(f"{name}: {several} {shown(given)}: write [{shown(given)}]")
            object.__setattr__(self, several, tuple(given))
        if not self.what.strip() or not self.why.strip():
            raise ArrangeError(
                f"{name}: say what is decided and why; without a reason nobody knows next year "
                "whether it still holds"
            )
        if self.status not in STATUSES:
            raise ArrangeError(
                f"{name}: status {self.status!r}; it is one of {', '.join(STATUSES)}"
            )
        if self.measures and not 1 <= self.measures[0] <= self.measures[1]:
            raise ArrangeError(
                f"{name}: measures {self.measures}: the first, then the last, from 1"
            )

    @property
    def removed(self) -> tuple[str, ...]:
        """The parts in whose place others are put, as where layers are shared out."""
        return self.change.removed if self.change else ()

    def __str__(self) -> str:
        where = self.section or (measures_words(*self.measures) if self.measures else "")
        about = ", ".join(filter(None, [self.status, where]))
        return f"{self.id} ({about}): {self.what}".lstrip()
