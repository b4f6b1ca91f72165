"""A chart read line by line into a Song."""

from __future__ import annotations

from dataclasses import replace

from arrange.errors import ChartError, PlayerError, cut_text, shown
from arrange.formats.chart.building import build_score
from arrange.formats.chart.header import SETTINGS, Part, read_part
from arrange.formats.chart.lines import Faults, Piece, bare_line, decode, split_lines
from arrange.formats.chart.rows import Row, read_row
from arrange.formats.chart.score_columns import written_score
from arrange.formats.chart.sections import (
    Section,
    Setting,
    add_block,
    finish_section,
    read_heading,
)
from arrange.formats.chart.sounds import Sound, read_sound, report_odd_layers
from arrange.formats.chart.tablature import is_string, is_tab_heading, read_tab
from arrange.formats.song_making import song_reader
from arrange.formats.written import Written
from arrange.guitar.players import read_player, same_name
from arrange.song_size import (
    MOST_MEASURES,
    MOST_PARTS,
    MOST_REMARK,
    MOST_REMARKS,
    MOST_STRINGS,
    MOST_TEXT,
)
from arrange.tables.song import Song

_MOST_ROWS = 1_000  # that sound together
_MOST_LINE = 200_000  # characters; a row of 500 bars, 40 to each, has 20,000
_MOST_LINES = 200_000  # 20,000 bars, four to a row, of forty parts


@song_reader
def read_chart(data: bytes, name: str) -> Written:
    """Return the Song in a text chart, UTF-8; `song_reader` has the parameters.

    Raises
    ------
    ChartError
        If anything in the chart cannot be understood; it lists every fault with its line.
    """
    if max(data.count(b"\n"), data.count(b"\r")) > _MOST_LINES:
        raise ChartError(f"it has more than {_MOST_LINES:,} lines, as no chart has", file=name)
    lines = split_lines(decode(data, name))
    faults = Faults(name, lines)
    _check_lines(lines, faults)
    chart = _Chart(faults)
    chart.read(lines)
    score = build_score(chart.settings, chart.parts, chart.sections, faults, faults.notices)
    faults.raise_if_any()
    score.remarks[:0] = [(-1, text) for text in chart.remarks]
    written = written_score(score, list(chart.parts.values()))
    return replace(
        written,
        title=chart.title,
        notices=faults.notices,
        players=list(chart.players.values()),
    )


def read_typed(text: str) -> Song:
    """Return the song that a text chart makes, typed in a program and not in a file.

    Raises
    ------
    ChartError
        As ``read_chart``.

    Examples
    --------
    >>> import arrange as ar
    >>> rows = ["part: Guitar 1; electric guitar", "section: Verse", "Guitar 1 | x32010 |"]
    >>> len(ar.read_typed("\\n".join(rows)).notes)
    5
    """
    return read_chart(text.encode(), "the typed chart")


def _check_lines(lines: list[str], faults: Faults) -> None:
    """Refuse a line of megabytes before it is cut into words."""
    for number, line in enumerate(lines, 1):
        if len(line) > _MOST_LINE:
            faults.add(Piece(line, number, 1), f"a line of {len(line):,} characters; "
                       f"{_MOST_LINE:,} is the most: go on in lines below it")  # fmt: skip
            faults.raise_if_any()


class _Chart:
    """What has been read of a chart so far."""

    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.title = ""
        self.settings: list[Setting] = []
        self.remarks: list[str] = []  # for all the song
        self.parts: dict[str, Part] = {}
        self.players: dict[str, str] = {}  # the line of each
        self.sections: list[Section] = []
        self._open: tuple[Section, Section | None] | None = None
        self._before = 0  # faults before the open section
        self._done: dict[str, Section] = {}
        self._sounds: list[Sound] = []
        self._bars = 0
        self._remarks = 0
        self._is_over = False  # it holds more than a chart can
        self._rows: list[Row] = []  # that stand directly below each other

    def read(self, lines: list[str]) -> None:
        """Read all lines; a chart needs at least one section, and a part."""
        at = 0
        while at < len(lines) and not self.faults.too_many and not self._is_over:
            at = self._take(lines, at)
        self._close()
        report_odd_layers(self._sounds, self.parts, self.faults)
        start = Piece("", 1, 1)
        if not self.sections and not self.faults.count:
            self.faults.add(start, "there is no section in it; write 'section: Verse', and rows "
                            "of bars below it")  # fmt: skip
        if not self.parts and not self.faults.count:
            self.faults.add(start, "there is no part in it; write 'part: Guitar 1; standard "
                            "tuning' on top")  # fmt: skip

    def _take(self, lines: list[str], at: int) -> int:
        """Read one line, or one block of tablature; return the number of the next."""
        line = bare_line(lines[at], at + 1)
        name, colon, _ = line.text.partition(":")
        setting = name.strip().lower() if colon and "|" not in name else ""
        if not line.text:
            self._flush()
        elif setting == "remark":
            self._remark(line.part(len(name) + 1))
        elif setting == "sound":
            self._sound(line.part(len(name) + 1))
        elif setting in SETTINGS:
            self._flush()
            self._set(setting, line.part(len(name) + 1))
        elif is_tab_heading(line):
            strings = []
            for number, text in enumerate(lines[at + 1 : at + 2 + MOST_STRINGS], at + 2):
                string = bare_line(text, number)
                if not is_string(string):
                    break
                strings.append(string)
            self._add(read_tab(line, strings, self.parts, self.faults))
            return at + 1 + len(strings)
        elif "|" in line.text:
            self._add(read_row(line, self.parts, self.faults))
        elif setting:
            self.faults.add(line, f"no setting is called {shown(name.strip())}", name, SETTINGS)
        else:
            self.faults.add(line, "this line is neither a setting ('key: Bb major') nor a row "
                            "('Guitar 1 | x32010 |'); a comment begins with '# '")  # fmt: skip
        return at + 1

    def _add(self, row: Row | None) -> None:
        if row is not None and self._open is None:
            self.faults.add(row.where, "a row stands before the first section; write 'section: "
                            "Verse' above it")  # fmt: skip
        elif row is not None and row.cells:
            self._rows.append(row)
            if len(self._rows) > _MOST_ROWS:
                self.faults.add(row.where, f"more than {_MOST_ROWS} rows stand below each other; a "
                                "blank line begins the next bars")  # fmt: skip
                self._is_over = True

    def _count(self, where: Piece, bars: int) -> None:
        self._bars += bars
        if self._bars > MOST_MEASURES:
            self.faults.add(where, f"a chart has {MOST_MEASURES} bars at most, as written")
            self._is_over = True

    def _flush(self) -> None:
        if self._rows and self._open is not None:
            add_block(self._open[0], self._rows, self.faults)
            self._count(self._rows[0].where, len(self._rows[0].cells))
        self._rows = []

    def _is_too_long(self, value: Piece) -> bool:
        """Whether a name in a setting is longer than a song's may be, which is a fault."""
        for piece in value.split(";"):
            if len(piece.text) > MOST_TEXT and not piece.text.startswith("numbered "):
                self.faults.add(piece, f"{shown(piece.text)} has {len(piece.text):,} characters; "
                                f"{MOST_TEXT} is the most")  # fmt: skip
                return True
        return False

    def _set(self, name: str, value: Piece) -> None:
        if name in ("part", "section") and self._is_too_long(value):
            return
        if name == "section":
            self._close()
            self._before = self.faults.count
            self._open = read_heading(value, self._done, self.faults)
        elif name == "title":
            self.title = cut_text(value.text, MOST_TEXT)
            if self.title != value.text:
                self.faults.notices.append(f"the title is cut to {MOST_TEXT} characters")
        elif name == "part":
            part = read_part(value, self.faults)
            if part is not None and part.label in self.parts:
                self.faults.add(value, f"a part is called {shown(part.label)} already; give each "
                                "a label of its own")  # fmt: skip
            elif part is not None:
                self.parts[part.label] = part
                self._is_over = len(self.parts) > MOST_PARTS
                if self._is_over:
                    self.faults.add(value, f"a chart has {MOST_PARTS} parts at most")
        elif name == "player":
            self._player(value)
        elif self._open is None:
            self.settings.append(Setting(0, name, value))
        else:
            section = self._open[0]
            section.settings.append(Setting(len(section.bars), name, value))

    def _player(self, value: Piece) -> None:
        if len(value.text) > MOST_REMARK or len(self.players) == MOST_PARTS:
            self.faults.add(value, f"a chart has {MOST_PARTS} players at most, each described in "
                            f"{MOST_REMARK} characters at most")  # fmt: skip
            return
        try:
            player = read_player(value.text)
        except PlayerError as error:
            self.faults.add(value.part(error.offset), error)
            return
        if player.name in self.players:
            self.faults.add(value, same_name(player.name))
        self.players[player.name] = " ".join(value.text.split())

    def _sound(self, value: Piece) -> None:
        if self._open is None:
            self.faults.add(value, "a sound line says what a part has in one section; write it "
                            "below 'section: Verse', or what it has in all the song on its 'part:' "
                            "line")  # fmt: skip
            return
        sound = None if self._is_too_long(value) else read_sound(value, self.parts, self.faults)
        if sound is None:
            return
        sounds = self._open[0].sounds
        if sound.part in sounds:
            self.faults.add(value, f"{sound.part} has a sound line in this section already; write "
                            "all of it in one line")  # fmt: skip
        sounds[sound.part] = sound
        self._sounds.append(sound)

    def _remark(self, value: Piece) -> None:
        own = self.remarks if self._open is None else self._open[0].remarks
        if not value.text:
            return
        own.append(cut_text(value.text, MOST_REMARK))
        if own[-1] != value.text:
            self.faults.notice(value, f"the remark is cut to {MOST_REMARK} characters")
        self._remarks += 1
        if self._remarks > MOST_REMARKS:
            self.faults.add(value, f"a chart has {MOST_REMARKS:,} remarks at most")
            self._is_over = True

    def _close(self) -> None:
        self._flush()
        if self._open is not None:
            is_whole = self.faults.count == self._before
            section = finish_section(*self._open, self.faults, is_whole=is_whole)
            self.sections.append(section)
            self._done[section.label] = section
            if self._open[1] is not None:
                self._count(section.where, len(section.bars))
            self._open = None
