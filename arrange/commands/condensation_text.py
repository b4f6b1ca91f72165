"""A condensation as text for a terminal: section by section who plays what, and what it costs."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterator
from typing import Any

from arrange.condensing import Condensation
from arrange.guitar.necks import capo_words
from arrange.text.part_lists import join_parts
from arrange.text.words import listed

WIDTH = 100  # columns of a line at most
_NARROWEST = 40
_NOTHING = 0.005  # seconds of worth, below which nothing is lost
_DEEPER = "      "


def wrapped(text: str, indent: str = "") -> str:
    """Return a text in lines that fit the terminal, of at most ``WIDTH`` columns, all but the first
    indented further.
    """
    columns = min(WIDTH, max(shutil.get_terminal_size((WIDTH, 24)).columns, _NARROWEST))
    return textwrap.fill(
        text, columns, initial_indent=indent, subsequent_indent=indent + _DEEPER[len(indent) :],
        break_on_hyphens=False,
    )  # fmt: skip


def condensation_text(result: Condensation) -> Iterator[str]:
    """Yield each section with how full it is, who plays what and why, what is lost and where to
    hear it, and the next best choice with what it would cost; then where the players fall behind.
    """
    yield wrapped(
        "How much a layer adds is given in seconds: how long something of it is heard that nothing "
        "else brings, by its weight."
    )
    lost = dict(iter(result.lost.groupby("section")))
    others = dict(iter(result.alternatives.groupby("section")))
    growth = result.growth.set_index("section")
    for section, rows in result.choices.groupby("section", sort=False):
        recorded, played = growth.loc[section, ["recorded", "played"]]
        yield wrapped(f"{section} ({_fullness_words(recorded, played)})")
        for row in rows.itertuples():
            taken = f"{row.player} {row.action} {join_parts(row.layers)}".rstrip()
            sound = f" ({_sound_words(row)})" if row.layers else ""
            yield wrapped(f"{taken}{sound}: {row.reason}", "  ")
        for change in result.capo_changes.query("section == @section").itertuples():
            yield wrapped(_capo_line(change), "  ")
        yield from _lost_lines(lost.get(section))
        yield _next_best(others.get(section))
    behind = growth.loc[growth["behind"], "why"].tolist()
    yield wrapped(
        "Growth: "
        + ("; ".join(behind) or "no section returns thinner where the recording does not")
        + "."
    )


def _fullness_words(recorded: float, played: float) -> str:
    return f"recording at {recorded:.0%} of its fullest section, players at {played:.0%} of theirs"


def _sound_words(row: Any) -> str:
    """The sound and capo of a part: ``"clean, echo eighth, capo 2"``."""
    echo = [f"echo {row.echo}"] if isinstance(row.echo, str) else []
    return ", ".join([row.drive, *echo, capo_words(row.capo)])


def _capo_line(change: Any) -> str:
    """A move of the capo, its place, and the time that there is for it."""
    return (
        f"capo: {change.player} goes from {capo_words(change.before)} to "
        f"{capo_words(change.after)}: {change.seconds:.0f} s of silence from measure "
        f"{change.last_measure} to measure {change.measure}"
    )


def _lost_lines(rows: Any) -> Iterator[str]:
    """What is lost, most of it first; layers that are heard in others share one line."""
    if rows is None:
        yield "  lost: nothing"
        return
    is_felt = ~(rows["value"] <= _NOTHING)  # single notes left out have no value
    for row in rows[is_felt].sort_values("value", ascending=False, kind="stable").itertuples():
        several = "" if str(row.measures).isdecimal() else "s"
        where = f", measure{several} {row.measures}" if row.measures else ""
        share = f"{row.share:.0%}" if row.share >= 0.01 else "under 1%"
        much = "" if row.value != row.value else f" ({row.value:.1f} s, {share} of all)"
        yield wrapped(f"lost: {row.layer}{where}: {row.what}{much}; {row.why}", "  ")
    heard = rows.loc[~is_felt, "layer"].tolist()
    if heard:
        yield wrapped(f"not missed, heard in what is played: {listed(heard)}", "  ")


def _next_best(rows: Any) -> str:
    if rows is None:
        return "  next best: there is no other choice"
    row = rows.iloc[0]
    return wrapped(f"next best: {row['choice']}; it would cost {row['costs']:.1f} s", "  ")
