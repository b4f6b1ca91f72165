"""Words to the players: ``remark: wait for the singer`` above the section that they are for.

Those for all the song stand in a ``miscellaneous-field``.
"""

from __future__ import annotations

from arrange.errors import cut_text
from arrange.formats.musicxml.events import Events
from arrange.formats.musicxml.timing import Timing
from arrange.formats.musicxml.writing_elements import plain_text
from arrange.song_size import MOST_REMARK, MOST_REMARKS
from arrange.tables.song import Song

_REMARK = "remark: "
_FIELD = "remark"  # the name of a miscellaneous field


def is_remark(text: str) -> bool:
    """Return whether words stand there for the players alone, whatever they say."""
    return text.startswith(_REMARK)


def remark_fields(song: Song) -> list[tuple[str, str]]:
    """Return the miscellaneous fields of the remarks that are for all the song."""
    return [(_FIELD, each.text) for each in song.remarks if not each.sections]


def remark_words(song: Song) -> dict[int, list[str]]:
    """Return bar -> the words above it: the remarks for the section that begins there."""
    firsts = zip(song.sections["section"], song.sections["first_measure"] - 1, strict=True)
    return {
        bar: [_REMARK + plain_text(each.text) for each in song.remarks if label in each.sections]
        for label, bar in firsts
    }


def read_remarks(events: Events, timing: Timing, notices: list[str]) -> list[tuple[int, str]]:
    """Return (bar, text) of each remark; those for all the song come first, at bar -1."""
    fields = events.root.iterfind("identification/miscellaneous/miscellaneous-field")
    said = [(-1, field.text or "") for field in fields if field.get("name") == _FIELD]
    for event in events.at("words").tolist():
        text = events.texts[events.values[event]]
        if is_remark(text):
            said.append((int(timing.bar[event]), text.removeprefix(_REMARK)))
    said = [(bar, folded) for bar, text in said if (folded := " ".join(text.split()))]
    remarks = [(bar, cut_text(text, MOST_REMARK)) for bar, text in said]
    if remarks != said:
        cut = sum(len(text) > MOST_REMARK for _, text in said)
        notices.append(f"remarks are cut to {MOST_REMARK} characters: {cut:,}")
    known = list(dict.fromkeys(text for _, text in remarks))
    if len(known) > MOST_REMARKS:
        notices.append(
            f"a song has {MOST_REMARKS:,} remarks at most; further ones are left out: "
            f"{len(known) - MOST_REMARKS:,}"
        )
        kept = set(known[:MOST_REMARKS])
        remarks = [(bar, text) for bar, text in remarks if text in kept]
    return remarks
