"""Damage to any file by bytes, and to text by numbers, words, lines, bars and fields."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from random import Random

ODD_NUMBERS = (
    "", "0", "-0", "-1", "1", "0.5", "1/3", "1/0", "127", "128", "255", "65536", "2147483648",
    "-2147483649", "9223372036854775808", "1" + "0" * 30, "1e30", "-1e30", "1e-30", "1e999", "nan",
    "inf", "-inf", "½", "١٢", "１２", "0x10", "1_000", " 7 ", "7,5", "999999937",
)  # fmt: skip
ODD_LABELS = (
    "<script>alert(1)</script>", "</svg><b>&amp;\"'", 'say "so" \'now\'', "two\nlines",
    "tab\there", "Ann + Ben", " + ", "🎸🔥 👩‍🎤", "שלום \u202eabc", "a\u0301\u0327\u200b\u200d",
    "x" * 300, "no blank " * 40, "../../up", "/etc/up", "a/b\\c", ".hidden", "-o", "--help", "CON",
    "%s %d {0} {x}", "=1+1", "#let x = 1 $y$ *b* _i_ `c` @d <e>", "\\input{x} ^~", "; , | :",
    "none", "nan", " ", "\u00a0", "0", "Guitar 1", "{{ x }} {% y %}",
)  # fmt: skip
ODD_CELLS = (
    "%", "~", "/", ".", "~ ~ ~ ~", "x-x-99-99-99-x", "999999", "C99", "C-1", "G9", "C4,C4,C4",
    "hit",
    "1: . 2&: E4", "9: C4", "1+1/0: C4", "1+1/999999937: C4", "1: C4 1: D4", "2: C4 1: D4",
    "x32010 pushed", "pushed", "grace", "C4 grace", "C4 sixteenths", "N.C.", "5/7", "99/99", "1m",
    "Cmaj7#11b9", "C/H", "C4+", "D4 " * 400, "x32010 picked-up", "0-0-0-0-0-0-0", "x",
)  # fmt: skip
ODD_SETTINGS = (
    "meter: 0/4", "meter: 4/0", "meter: 1/64", "meter: 1/999999937", "meter: 999999/4",
    "meter: 3+2+/8", "meter: free", "meter: 6/8 in five", "tempo: 0", "tempo: 1e300", "tempo: 5",
    "tempo: 999", "tempo: nan", "tempo: 3 dotted halves", "key: H major", "key: none",
    "length: 1/3 beat", "length: 1000000 beats", "length: 0 beats", "length: full",
    "section:", "section: Verse; played 1000000 times", "section: Verse; played 0 times",
    "section: Again; as Again", "section: Verse; as Verse; played 99 times",
    "section: V; numbered 5-1", "section: V; numbered 1-99999999999", "section: V; pass -1",
    "part:", "part: Guitar 1", "part: G; capo 99", "part: G; capo 12; frets from the capo",
    "part: G; tuning C99 C0", "part: G; tuning E2", "part: G; level 1e30 dB",
    "part: G; program 999",
    "part: G; echo dotted none", "part: G; transpose 99", "title: " + "x" * 5000, "remark:",
    "sound:", "sound: G", "sound: Guitar 1; capo 24",
    "sound: Guitar 1; capo 12; plays " + "x" * 990,
    "sound: Guitar 1; distorted; echo dotted none", "player:", "player: ;;", "player: Ann; capo 24",
    'player: "Ann', "player: A; tuning C99", "player: " + "x" * 600,
    "|: C :|x999999", "chords |: C :|x3", "chords |1. C :|2. D |", "Guitar 1, tab in eighths",
)  # fmt: skip

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_WORD = re.compile(r"[^\W\d_]{2,}")


def change_bytes(data: bytes, rng: Random) -> bytes:
    """Flip, set, insert, delete, cut off, double or swap bytes at a random place."""
    at = rng.randrange(len(data) + 1)
    to = min(at + 1 + int(rng.expovariate(1 / 12)), len(data))
    block = data[at:to]
    way = rng.randrange(9)
    if way == 0 and block:
        return data[:at] + bytes([block[0] ^ 1 << rng.randrange(8)]) + data[at + 1 :]
    if way == 1 and block:
        odd = rng.choice((0, 9, 10, 32, 127, 128, 255, rng.randrange(256)))
        return data[:at] + bytes([odd]) * len(block) + data[to:]
    if way == 2:
        return data[:at] + rng.randbytes(rng.randint(1, 8)) + data[at:]
    if way == 3:
        return data[:at] + data[to:]
    if way == 4:
        return data[:at]
    if way == 5:
        return data[:to] + block * rng.choice((1, 2, 100)) + data[to:]
    if way == 6:
        other = rng.randrange(len(data) + 1)
        return data[:other] + block + data[other:]
    if way == 7:
        return data[at:] + data[:at]
    wide = data[at : at + rng.randrange(2000)]
    return data[: at + len(wide)] + wide + data[at + len(wide) :]


def change_token(text: str, rng: Random) -> str:
    """Replace, swap, drop or repeat a number or a word."""
    pattern = rng.choice((_NUMBER, _WORD))
    one = _somewhere(pattern, text, rng)
    if one is None:
        return text + rng.choice(ODD_NUMBERS)
    begin, end = one
    way = rng.randrange(6)
    if way == 0:
        new = ""
    elif way == 1:
        new = text[begin:end] + text[begin:end] * rng.choice((1, 3, 500))
    elif way == 2:
        other = _somewhere(pattern, text, rng) or one
        new = text[slice(*other)]
    elif way == 3:
        other = _somewhere(pattern, text, rng) or one
        return _swapped(text, one, other)
    else:
        new = rng.choice(ODD_NUMBERS if pattern is _NUMBER else ODD_LABELS)
    return text[:begin] + new + text[end:]


def change_lines(text: str, rng: Random) -> str:
    """Swap, drop, double, move, join, cut or indent lines, or insert an odd one."""
    lines = text.split("\n")
    at, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    way = rng.randrange(9)
    if way == 0:
        lines[at], lines[other] = lines[other], lines[at]
    elif way == 1:
        del lines[at : at + rng.choice((1, 1, 1, 5))]
    elif way == 2:
        lines[at:at] = [lines[at]] * rng.choice((1, 1, 2, 300))
    elif way == 3:
        lines.insert(other, lines.pop(at))
    elif way == 4:
        lines[at : at + 2] = [" ".join(lines[at : at + 2])]
    elif way == 5:
        lines[at] = lines[at][: rng.randrange(len(lines[at]) + 1)]
    elif way == 6:
        lines[at] = rng.choice(("  ", "\t", "# ", "|", ":")) + lines[at]
    elif way == 7:
        lines.insert(at, "")
    else:
        lines.insert(at, rng.choice(ODD_SETTINGS))
    return "\n".join(lines)


def change_bars(text: str, rng: Random) -> str:
    """Swap, drop, double or empty cells between bars ``|``, or insert an odd one."""
    return _within(text, "|", rng, ODD_CELLS)


def change_fields(text: str, rng: Random) -> str:
    """Do the same with the fields of a line, separated by ``:``, ``;`` or ``,``."""
    return _within(text, rng.choice(":;,"), rng, (*ODD_NUMBERS, *ODD_LABELS))


def _within(text: str, mark: str, rng: Random, odd: Sequence[str]) -> str:
    lines = text.split("\n")
    which = [number for number, line in enumerate(lines) if mark in line]
    if not which:
        return change_lines(text, rng)
    row, other_row = rng.choice(which), rng.choice(which)
    cells, others = lines[row].split(mark), lines[other_row].split(mark)
    at, other = rng.randrange(len(cells)), rng.randrange(len(cells))
    way = rng.randrange(6)
    if way == 0:
        cells[at], cells[other] = cells[other], cells[at]
    elif way == 1:
        del cells[at]
    elif way == 2:
        cells[at:at] = [cells[at]] * rng.choice((1, 1, 2, 200))
    elif way == 3:
        cells[at] = rng.choice(others)
    elif way == 4:
        cells[at] = f" {rng.choice(odd)} "
    else:
        cells[at] = change_token(cells[at], rng)
    lines[row] = mark.join(cells)
    return "\n".join(lines)


def _somewhere(pattern: re.Pattern[str], text: str, rng: Random) -> tuple[int, int] | None:
    """Return the place of the first match after a random place."""
    match = pattern.search(text, rng.randrange(len(text) + 1)) or pattern.search(text)
    return match and match.span()


def _swapped(text: str, one: tuple[int, int], other: tuple[int, int]) -> str:
    (begin, end), (second, last) = sorted((one, other))
    if second < end:
        return text
    return text[:begin] + text[second:last] + text[end:second] + text[begin:end] + text[last:]


def in_text(change: Callable[[str, Random], str], data: bytes, rng: Random) -> bytes:
    """Apply a change of text to bytes; bytes that are not UTF-8 stay as they are."""
    text = data.decode("utf-8", "surrogateescape")
    return change(text, rng).encode("utf-8", "surrogateescape")
