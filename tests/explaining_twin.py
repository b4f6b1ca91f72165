"""A part's words read again, sentence by sentence, against the tables: slow and obvious.

``wrong_statements`` returns what the tables do not bear out, and what it does not understand. It
reads the raw tables with plain loops and shares no code with ``arrange.explaining``.
"""

from __future__ import annotations

import re
import statistics
from collections import Counter
from typing import NamedTuple

import pandas as pd

import arrange as ar

NEAR = 1e-4
WITHIN = "|".join((
    "harmonics", "muted pulse", "octaves", "power chords", "drone over a moving line",
    "double stops", "triads", "held chords", "strummed chords", "picked chords", "held notes",
    "line", "single notes and chords in turn",
))  # fmt: skip
SOUNDS = {"clean": "clean", "edge (just breaking up)": "edge", "overdriven": "overdriven",
          "distorted": "distorted"}  # fmt: skip
OCTAVES = {"in unison": 0, "an octave lower": -12, "an octave higher": 12,
           "two octaves lower": -24, "two octaves higher": 24}  # fmt: skip
COUNTS = {None: 0, "&": 1 / 2, "e": 1 / 4, "a": 3 / 4, "trip": 1 / 3, "let": 2 / 3}


def wrong_statements(song, part, explanation, player=None, frets=None):
    """Return (section, sentence) of each statement that the tables do not bear out."""
    reading = Reading(song, part, player, frets)
    wrong = []
    for words in explanation.sections:
        shapes = {}
        said = [*words.steps, *re.findall(r"Struck on .+?\.(?= |$)", words.paragraph)]
        for sentence in said:
            named = re.fullmatch(r"(.+) is ([\dx-]+)(?:, fingers ([\dT-]+))?\.", sentence)
            if named:
                shapes[named[1]] = reading.places(named[2], words.section)
            moving = movable(sentence)
            if moving:
                shapes[moving.string] = moving.above
        every = re.search(r"(?<!mostly )struck on ([^;]+)()\.$", words.line)
        if every and not check_counts(reading, every, words.section, shapes):
            wrong.append((words.section, words.line))
        for sentence in said:
            if not reading.bears_out(sentence, words.section, shapes):
                wrong.append((words.section, sentence))
    return wrong


class Movable(NamedTuple):
    """A shape that moves, as words have it: by how many frets each string is above the lowest."""

    kind: str
    string: int
    above: dict[int, int]
    is_constant: bool
    fingers: list[int]


def movable(sentence):
    """Return the shape that a sentence describes, or None."""
    found = re.fullmatch(
        r"The (octave|power chord): string (\d+) at the fret named, ([^;]+)"
        r"(?:; (mostly )?fingers? ([\dT, and]+))?\.", sentence
    )  # fmt: skip
    if not found:
        return None
    above = {int(found[2]): 0}
    for other in re.split(r"(?:, | and )(?=the same|\d+ frets?)", found[3]):
        frets, way, strings = re.fullmatch(
            r"(?:the same fret|(\d+) frets? (higher|lower)) on strings? (.+)", other
        ).groups()
        step = int(frets or 0) * (-1 if way == "lower" else 1)
        above |= {int(string): step for string in re.findall(r"\d+", strings)}
    fingers = ["-1234T".index(sign) for sign in re.findall(r"[\dT]", found[5] or "")]
    return Movable(found[1], int(found[2]), above, not found[4], fingers)


def moved(body, shapes, fret):
    """{string: fret} of a shape that moves where it is said to be put, or None.

    `shapes` has those that move by their lowest string; `fret` turns a number in words, 0 for open,
    into one from the nut.
    """
    own = {string: above for string, above in shapes.items() if isinstance(string, int)}
    found = re.fullmatch(r"(?:string (\d+) )?(open|fret (\d+))", body)
    if not own or not found or bool(found[1]) == (len(own) == 1):
        return None
    string = int(found[1] or next(iter(own)))
    lowest = fret(int(found[3] or 0))
    return {each: lowest + above for each, above in own[string].items()}


class Reading:
    """The tables of a part as plain lists of rows."""

    def __init__(self, song, part, player, frets):
        self.song, self.part = song, part
        own_neck, hand = (player.neck, player.hand) if player else (None, None)
        fingered = ar.finger_part(song, part, neck=own_neck, hand=hand)
        self.rows = [row for row in fingered.to_dict("records")
                     if not row["grace"]
                     and not any(pd.isna(row[name]) for name in ("fret", "string", "pitch"))
                     and "cue" not in str(row["technique"])]  # fmt: skip
        for row in self.rows:
            row["finger"] = -1 if pd.isna(row["finger"]) else row["finger"]
        self.notes = [row for row in song.notes.to_dict("records")
                      if "cue" not in str(row["technique"])]  # fmt: skip
        self.own = [row for row in self.notes if row["part"] == part]
        self.bars = {row["measure"]: row for row in song.measures.to_dict("records")}
        self.sections = {row["section"]: row for row in song.sections.to_dict("records")}
        self.setups = {row["section"]: row for row in ar.part_setups(song).to_dict("records")
                       if row["part"] == part}  # fmt: skip
        about = song.parts.set_index("part").loc[part]
        self.frets = frets or about["frets_from"]
        self.neck = own_neck
        self.tuning = own_neck.tuning if own_neck else about["tuning"]

    def capo(self, section):
        return self.neck.capo if self.neck else self.setups[section]["capo"]

    def fret(self, number, section):
        """The fret from the nut of a number in words, 0 for open."""
        capo = self.capo(section)
        if number == 0:
            return capo
        return number + capo if self.frets == "capo" else number

    def places(self, text, section):
        """{string: fret} of a shape in words."""
        signs = text.split("-") if re.search(r"-", text) else list(text)
        return {string: self.fret(int(sign), section)
                for string, sign in enumerate(reversed(signs), 1) if sign != "x"}  # fmt: skip

    def inside(self, section):
        return [row for row in self.rows if row["section"] == section]

    def attacks(self, rows):
        """[(onset, rows)] of what is struck together."""
        found = {}
        for row in rows:
            found.setdefault(round(row["onset"], 4), []).append(row)
        return sorted(found.items())

    def bears_out(self, sentence, section, shapes):
        text = sentence.removesuffix(".")
        for pattern, check in CHECKS:
            found = re.fullmatch(pattern, text, re.IGNORECASE)
            if found:
                result = check(self, found, section, shapes)
                if result is not None:
                    return result
        return False

    def chords_near(self, label, row):
        """Whether a chord holds at a note or within a beat and a half behind it."""
        base = re.sub(r" \(\d+\)$", "", label)
        for chord in self.song.chords.to_dict("records"):
            end = chord["onset"] + chord["duration"]
            if chord["symbol"] == base and chord["onset"] <= row["onset"] + 1.5 + NEAR < end + 1.5:
                return True
        holds = any(chord["onset"] <= row["onset"] + NEAR < chord["onset"] + chord["duration"]
                    for chord in self.song.chords.to_dict("records"))  # fmt: skip
        return not holds

    def bar_of(self, onset):
        return max(bar for bar, row in self.bars.items() if row["onset"] <= onset + NEAR)


def numbers(text):
    """The bars of '19–20, 25'."""
    found = set()
    for run in text.split(", "):
        first, last = (run.split("–") * 2)[:2]
        found |= set(range(int(first), int(last) + 1))
    return found


def check_what(reading, found, section, _shapes):
    kind, place, strings = found[1].lower(), found[2].lower(), found[3]
    rows = reading.inside(section)
    capo = reading.capo(section) if reading.frets == "capo" else 0
    touched = place.startswith("touched over")
    if touched:
        frets = {reading.fret(int(fret), section) for fret in re.findall(r"\d+", place)}
        return frets == {row["fret"] for row in rows} and all(
            is_natural(reading, row, section) for row in rows
        )
    at = [row["position"] - capo for row in rows if row["finger"] > 0]
    wanted = "open strings alone"
    if at and min(at) == max(at):
        wanted = f"first finger at fret {min(at)}"
    elif at:
        wanted = f"first finger from fret {min(at)} to {max(at)}"
    known = set()
    for run in re.split(r", | and ", re.sub(r"^strings? ", "", strings)):
        high, low = (run.split(" to ") * 2)[:2]
        known |= set(range(int(low), int(high) + 1))
    fits = place == wanted and known == {row["string"] for row in rows}
    return fits and check_kind(kind, reading.attacks(rows))


def is_natural(reading, row, section):
    """Whether a string that is touched at a fret sounds that pitch (common practice)."""
    capo = reading.capo(section)
    opened = reading.tuning[row["string"] - 1] + capo
    partial = {12: 2, 7: 3, 19: 3, 5: 4, 24: 4, 4: 5, 9: 5, 16: 5}.get(row["fret"] - capo)
    above = {2: 12, 3: 19, 4: 24, 5: 28}.get(partial)
    return "harmonic" in str(row["technique"]) and above == row["pitch"] - opened


def check_kind(kind, attacks):
    """What most attacks of each kind have (common practice)."""
    sizes = [len(rows) for _, rows in attacks]
    apart = [sorted(row["pitch"] for row in rows) for _, rows in attacks]
    tests = {
        "line": lambda n: sizes[n] == 1, "held notes": lambda n: sizes[n] == 1,
        "double stops": lambda n: sizes[n] == 2, "triads": lambda n: sizes[n] == 3,
        "strummed chords": lambda n: sizes[n] >= 3, "held chords": lambda n: sizes[n] >= 3,
        "octaves": lambda n: apart[n][-1] - apart[n][0] == 12,
        "power chords": lambda n: {(p - apart[n][0]) % 12 for p in apart[n]} == {0, 7},
        "harmonics": lambda n: all("harmonic" in str(row["technique"]) for row in attacks[n][1]),
        "muted pulse": lambda n: all("mute" in str(row["technique"]) for row in attacks[n][1]),
        "drone over a moving line": lambda n: sizes[n] == 2,
    }  # fmt: skip
    test = tests.get(kind, lambda _: True)
    return sum(map(test, range(len(attacks)))) >= 0.75 * len(attacks)


def check_shape(reading, found, section, _shapes):
    label, shape, fingers = found[1], reading.places(found[2], section), found[3]
    of_string = dict(enumerate(reversed(fingers or ""), 1))
    for string, fret in shape.items():
        struck = [row for row in reading.inside(section)
                  if (row["string"], row["fret"]) == (string, fret)
                  and reading.chords_near(label, row)]  # fmt: skip
        sign = of_string.get(string)
        digit = {"-": 0, "T": 5}.get(sign, int(sign) if sign and sign.isdigit() else None)
        if not any(digit in (None, row["finger"]) for row in struck):
            return False
    return all(sign == "-" for string, sign in of_string.items() if string not in shape)


def check_movable(reading, found, section, _shapes):
    said = movable(found[0] + ".")
    every = [rows for _, rows in reading.attacks(reading.inside(section))
             if max(row["string"] for row in rows) == said.string]  # fmt: skip
    fingers = Counter()
    for rows in every:
        of_string = {row["string"]: row for row in rows}
        lowest = of_string[said.string]
        above = {string: row["fret"] - lowest["fret"] for string, row in of_string.items()}
        pitches = {row["pitch"] - lowest["pitch"] for row in rows}
        fits = pitches == {0, 12} if said.kind == "octave" else {p % 12 for p in pitches} == {0, 7}
        if above != said.above or not fits:
            return False
        low_first = sorted(of_string, reverse=True)
        if all(row["fret"] > reading.capo(section) for row in rows):
            fingers[tuple(of_string[string]["finger"] for string in low_first)] += 1
    often = {tuple(dict.fromkeys(own)) for own, times in fingers.items()
             if times == max(fingers.values())}  # fmt: skip
    return bool(every) and said.is_constant == (len(fingers) < 2) and (
        tuple(said.fingers) in often or not fingers
    )  # fmt: skip


def check_move(reading, found, section, shapes):
    if found[1] not in shapes or found[2] not in shapes:
        return None
    before, after, bar = shapes[found[1]], shapes[found[2]], int(found[3])
    rows = reading.inside(section)
    attacks = reading.attacks(rows)
    pairs = [(attacks[n - 1][1], attacks[n][1]) for n in range(1, len(attacks))
             if attacks[n][1][0]["measure"] == bar]  # fmt: skip

    def held(finger, string, fret):
        return any((row["finger"], row["string"], row["fret"]) == (finger, string, fret)
                   for row in rows)  # fmt: skip

    clause = (
        r"(?:finger (\d)|the thumb) stays on strings? ([\d, and]+?)(?= and (?:finger|the)|,? the|"
        r", finger|, \d|$)"
    )
    text = found[4]
    for finger, strings in re.findall(clause, text):
        for string in map(int, re.findall(r"\d", strings)):
            same = before.get(string) == after.get(string) is not None
            if not same or not held(int(finger or 5), string, after[string]):
                return False
    for finger, way, string, frets in re.findall(
        r"(?:finger (\d)|the thumb) slides (up|down) string (\d) by (\d+)", text
    ):
        step = int(frets) * (1 if way == "up" else -1)
        string = int(string)
        if after[string] - before[string] != step or not (
            held(int(finger or 5), string, after[string])
            and held(int(finger or 5), string, before[string])
        ):
            return False
    for way, frets in re.findall(r"the hand goes (up|down) (\d+)", text):
        step = int(frets) * (1 if way == "up" else -1)
        if not any(max(r["position"] for r in b) - max(r["position"] for r in a) == step
                   for a, b in pairs):  # fmt: skip
            return False
    for seconds in re.findall(r"([\d.]+) s for it", text):
        if not any(r["jump"] and f"{r['move_seconds']:.1f}" == seconds
                   for _, b in pairs for r in b):  # fmt: skip
            return False
    return True


def offsets(reading, bar, counts):
    """Where in a bar its counts are, in quarter notes; None for 'after 2'."""
    row = reading.bars[bar]
    terms = [[sum(map(int, over.split("+"))), int(under)]
             for over, under in re.findall(r"([\d+]+)/(\d+)", row["meter"])]  # fmt: skip
    under = max(lower for _, lower in terms)
    over = sum(count * under // lower for count, lower in terms)
    unit = 4 / under
    if any(count.startswith("after") for count in counts):
        unit *= 3 if over % 3 == 0 and over > 3 else 1
        pickup = 0.0
    else:
        pickup = max(over * 4 / under - row["duration"], 0.0)
    found = []
    for count in counts:
        if count.startswith("after"):
            found.append(None)
            continue
        number, sign = re.fullmatch(r"(\d+)(&|e|a|trip|let)?", count).groups()
        found.append((int(number) - 1 + COUNTS[sign]) * unit - pickup)
    return found


def split_counts(text):
    return re.findall(r"after \d+|\S+", text)


def check_bars(reading, found, section, shapes):
    events = []
    for event in found[2].split("; "):
        body, counts = event.rsplit(" on ", 1)
        named = re.search(r" \(([a-z][a-z ,-]+)\)$", body)
        body = body[: named.start()] if named else body
        single = re.findall(r"string (\d+) (open|fret \d+)", body)
        places = shapes.get(body)
        if places is None:
            places = moved(body, shapes, lambda number: reading.fret(number, section))
        touching = re.findall(r"strings? ([\d, and]+) touched over fret (\d+)", body)
        if touching:
            places = {int(string): reading.fret(int(fret), section)
                      for strings, fret in touching
                      for string in re.findall(r"\d+", strings)}  # fmt: skip
        if places is None and single:
            places = {int(s): reading.fret(0 if f == "open" else int(f[5:]), section)
                      for s, f in single}  # fmt: skip
        if places is None:
            places = reading.places(body, section)
        events += [(count, places, named[1].split(", ") if named else [])
                   for count in split_counts(counts)]  # fmt: skip
    for bar in numbers(found[1]):
        struck = reading.attacks([row for row in reading.rows if row["measure"] == bar])
        if len(struck) != len(events):
            return False
        times = offsets(reading, bar, [count for count, _, _ in events])
        for (onset, rows), (_, places, names), time in zip(struck, events, times, strict=True):
            here = onset - reading.bars[bar]["onset"]
            if {row["string"]: row["fret"] for row in rows} != places:
                return False
            if touching and not all(is_natural(reading, row, section) for row in rows):
                return False
            if time is not None and abs(here - time) > 1e-3:
                return False
            if not all(name in str(row["technique"]) for name in names for row in rows):
                return False
    return True


def check_counts(reading, found, section, _shapes):
    other = numbers(found[2]) if found[2] else set()
    in_bar = {}
    for onset, rows in reading.attacks(reading.inside(section)):
        in_bar.setdefault(rows[0]["measure"], []).append(onset)
    counts = split_counts(found[1])
    for bar, struck in in_bar.items():
        times = offsets(reading, bar, counts)
        here = [onset - reading.bars[bar]["onset"] for onset in struck]
        fits = len(times) == len(here) and all(
            time is None or abs(time - at) <= 1e-3 for time, at in zip(times, here, strict=True)
        )
        if fits == (bar in other):
            return False
    return True


def content(reading, bar):
    """What sounds in a bar, to be compared."""
    start = reading.bars[bar]["onset"]
    end = start + reading.bars[bar]["duration"]
    found = []
    for row in reading.own:
        until = row["onset"] + row["duration"]
        begins_here = row["measure"] == bar
        if begins_here or (row["onset"] < start and until > start + NEAR and row["measure"] < bar):
            at = round(row["onset"] - start, 4) if begins_here else -1.0
            columns = [row[name] for name in ("pitch", "string", "fret", "technique", "grace")]
            found.append(str((at, round(min(until, end) - start, 4), *columns)))
    return [reading.bars[bar]["meter"], reading.bars[bar]["duration"], *sorted(found)]


def check_as(reading, found, section, _shapes):
    other = found[1]
    if other not in reading.sections:
        return None
    here, there = reading.sections[section], reading.sections[other]
    different = {
        here["first_measure"] + n
        for n in range(here["last_measure"] - here["first_measure"] + 1)
        if content(reading, here["first_measure"] + n)
        != content(reading, there["first_measure"] + n)
    }
    bars = range(here["first_measure"], here["last_measure"] + 1)
    alike = {bar for bar in bars if len(content(reading, bar)) > 2} - different  # more than meters
    return different == (numbers(found[2]) if found[2] else set()) and len(different) <= len(alike)


def check_silent(reading, found, _section, _shapes):
    return numbers(found[1]).isdisjoint(row["measure"] for row in reading.own)


def next_entry(reading, section):
    """The section and onset of the next note of the part behind a section's start; or None."""
    start = reading.sections[section]["onset"]
    later = [row for row in reading.own if row["onset"] >= start - NEAR]
    return min(later, key=lambda row: row["onset"]) if later else None


def held_bars(reading, section, before):
    """The bars of a section, up to one, in which notes from before it sound."""
    start = reading.sections[section]["onset"]
    ends = [row["onset"] + row["duration"] for row in reading.own if row["onset"] < start - NEAR]
    return [
        bar
        for bar, row in reading.bars.items()
        if bar < before
        and row["onset"] >= start - NEAR
        and max(ends, default=0) > row["onset"] + NEAR
    ]


def check_out(reading, found, section, _shapes):
    held, count, back, bar = found.groups()
    entry = next_entry(reading, section)
    first = reading.sections[section]["first_measure"]
    end = reading.sections[back]["first_measure"] if back else max(reading.bars) + 1
    waits = held_bars(reading, section, end)
    is_right = bool(held) == bool(waits) and end - first == len(waits) + int(count or 0)
    if entry is None or back is None:
        return is_right and entry is None and back is None
    return (is_right and entry["section"] == back
            and reading.bar_of(entry["onset"]) == int(bar))  # fmt: skip


def check_rest(reading, found, section, _shapes):
    held, rest, bar = found.groups()
    first = min(row["onset"] for row in reading.own if row["section"] == section)
    waits = held_bars(reading, section, reading.bar_of(first))
    out = reading.bar_of(first) - reading.sections[section]["first_measure"] - len(waits)
    return (bool(waits), out, reading.bar_of(first)) == (bool(held), int(rest or 0), int(bar))


def check_off(reading, found, section, _shapes):
    end = max(row["onset"] + row["duration"] for row in reading.own if row["section"] == section)
    return reading.bar_of(end - 2 * NEAR) + 1 == int(found[1])


def parts_named(reading, text):
    """The parts of 'Voice, Bass and Keys', or all others of '4 others', with how many are meant."""
    others = [name for name in reading.song.parts["part"] if name != reading.part]
    many = re.fullmatch(r"(\d+) others", text)
    said = re.split(r", | and ", text)
    names = [name for name in others if name in said]
    return (others, int(many[1])) if many else (names, len(said))


def check_listen(reading, found, _section, _shapes):
    names, count = parts_named(reading, found[1])
    bar = int(found[2])
    bars = [{reading.bar_of(row["onset"]) for row in reading.notes if row["part"] == name}
            for name in names]  # fmt: skip
    return count <= sum(bar in own and bar - 1 not in own for own in bars)


def check_together(reading, found, section, _shapes):
    entry = next_entry(reading, section)["onset"]
    names, count = parts_named(reading, found[1])
    begin = {row["part"] for row in reading.notes if abs(row["onset"] - entry) < NEAR}
    return count <= len(begin.intersection(names))


def check_last_chord(reading, found, section, _shapes):
    entry = next_entry(reading, section)["onset"]
    before = [row["symbol"] for row in reading.song.chords.to_dict("records")
              if row["onset"] < entry - NEAR]  # fmt: skip
    return before[-1] == found[1]


def others_in(reading, section):
    """The notes of the other parts that sound in a section, drums too."""
    return [row for row in reading.notes
            if row["section"] == section and row["part"] != reading.part]  # fmt: skip


def is_pitched(row):
    return row["pitch"] == row["pitch"] and not row["grace"]


def check_alone(reading, found, section, _shapes):
    names = {row["part"] for row in others_in(reading, section)}
    return names == ({found[1]} if found.re.groups else set())


def check_doubles(reading, found, section, _shapes):
    apart = OCTAVES[found[2].lower()]
    own = {(round(row["onset"], 3), row["pitch"] - apart) for row in reading.own
           if row["section"] == section and is_pitched(row)}  # fmt: skip
    other = {(round(row["onset"], 3), row["pitch"]) for row in others_in(reading, section)
             if row["part"] == found[1] and is_pitched(row)}  # fmt: skip
    return len(own & other) >= 0.9 * max(len(own), len(other))


def check_technique(reading, found, section, _shapes):
    name = found[1].lower()
    rows = [row for row in reading.own if row["section"] == section]
    has = [row["measure"] for row in rows if name in str(row["technique"]).split(", ")]
    if found.re.groups == 1:
        return len(has) >= 0.9 * len(rows)
    return numbers(found[2]) == set(has)


def check_hold(reading, found, section, _shapes):
    here = reading.sections[section]
    end = here["onset"] + here["duration"]
    names = list(reading.sections)
    later = names[names.index(section) + 1]
    return later == found[1] and any(
        row["onset"] + row["duration"] > end + NEAR for row in reading.own
        if row["section"] == section
    )  # fmt: skip


def check_other(reading, found, section, _shapes):
    name, what, where, when = found.groups()
    rows = [row for row in others_in(reading, section) if row["part"] == name and is_pitched(row)]
    if not rows:
        return None
    attacks = reading.attacks(rows)
    sizes = [len(own) for _, own in attacks]
    shares = {
        "chords": sum(size >= 3 for size in sizes) / len(sizes),
        "single notes": sum(size == 1 for size in sizes) / len(sizes),
        "two notes at once": sum(size == 2 for size in sizes) / len(sizes),
    }
    usual = [kind for kind, share in shares.items() if share >= 0.75]
    own = [row for row in reading.own if row["section"] == section and not row["grace"]]
    higher, together = 0, 0.5
    if own:
        higher = statistics.median(row["pitch"] for row in rows) - statistics.median(
            row["pitch"] for row in own
        )
        mine = {round(row["onset"], 4) for row in own}
        together = sum(onset in mine for onset, _ in attacks) / len(attacks)
    side = "above you" if higher >= 5 else "below you" if higher <= -5 else None
    pace = "struck with you" if together >= 0.75 else (
        "struck between yours" if together <= 0.25 else None
    )  # fmt: skip
    return (what, where, when) == (*(usual or ["single notes and chords"]), side, pace)


def check_lays_out(reading, found, section, _shapes):
    names, count = parts_named(reading, found[1])
    here = {row["part"] for row in others_in(reading, section)}
    return count == len(names) and here.isdisjoint(names) and {
        row["part"] for row in reading.notes
    }.issuperset(names)  # fmt: skip


def check_sound(reading, found, section, _shapes):
    return reading.setups[section]["drive"] == SOUNDS[found[1].lower()]


def check_echo(reading, found, section, _shapes):
    echo = reading.setups[section]["echo"]
    return echo == found[1] if isinstance(echo, str) else found[1] is None


def check_capo(reading, found, section, _shapes):
    names = list(reading.sections)
    later = names[names.index(section) + 1 :] if found[0].lower().startswith("then") else [section]
    played = [name for name in later if any(row["section"] == name for row in reading.own)]
    return reading.setups[played[0]]["capo"] == int(found[1] or 0)


def check_layers(reading, found, section, _shapes):
    layers = reading.setups[section]["layers"]
    return isinstance(layers, str) and re.split(r", | and ", found[1]) == layers.split(" + ")


def is_true(_reading, _found, _section, _shapes):
    return True


CHECKS = (
    (rf"({WITHIN}), (first finger at fret \d+|first finger from fret \d+ to \d+|open strings alone"
     r"|touched over (?:(?:fret \d+)(?:, | and )?)+)"
     r", (strings? [\d, toand]+)", check_what),
    (r"(.+) is ([\dx-]+)(?:, fingers ([\dT-]+))?", check_shape),
    (r"the (?:octave|power chord): string .+", check_movable),
    (r"bars? ([\d, –]+): no open string has these harmonics, play plain notes",
     lambda reading, found, section, _s: numbers(found[1]) == {
         row["measure"] for row in reading.inside(section)
         if not is_natural(reading, row, section)}),
    (r"bars? ([\d, –]+): (.+)", check_bars),
    (r"struck on ([^;]+?)(?:; otherwise in bars? ([\d, –]+))?", check_counts),
    (r"(.+) to (.+), bar (\d+): (.+)", check_move),
    (r"as (.+?)(?: but for bars? ([\d, –]+))?", check_as),
    (r"(held on from before)?(?:, then )?(?:(?:lay out|still out,) (\d+) (?:more )?bars?)?"
     r"(?:, to the end|; in at (.+), bar (\d+))", check_out),
    (r"(held on from before)?(?:, then )?(?:(\d+) bars? rest)?, in at bar (\d+)", check_rest),
    (r"out from bar (\d+)", check_off),
    (r"listen: (.+) in at bar (\d+)", check_listen), (r"together with (.+)", check_together),
    (r"last chord before you: (.+)", check_last_chord), (r"alone", check_alone),
    (r"with (.+) only", check_alone),
    (rf"doubles (.+) ({'|'.join(OCTAVES)})", check_doubles),
    (r"(.+) throughout", check_technique), (r"([a-z -]+): bars? ([\d, –]+)", check_technique),
    (r"hold the last notes on into (.+)", check_hold),
    (r"(.+): (chords|two notes at once|single notes and chords|single notes)"
     r"(?: (above you|below you))?(?:, (struck with you|struck between yours))?", check_other),
    (r"(.+) lays? out", check_lays_out),
    (r"(clean|edge \(just breaking up\)|overdriven|distorted)", check_sound),
    (r"(?:echo (.+)|no echo)", check_echo),
    (r"(?:then )?(?:capo (\d+)|no capo)(?:, (?:\d+ s for|with no rest to move) it)?", check_capo),
    (r"nothing is struck in bars? ([\d, –]+)", check_silent), (r"from (.+)", check_layers),
    (r"go on as in the tablature", is_true), (r"nothing that lies on this neck", is_true),
)  # fmt: skip
