"""Songs that are valid and yet unusual, as a score, a chart or a MIDI file may well be."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from xml.sax.saxutils import escape

import mido
from mutants.seeds import midi_file, midi_head, midi_line
from mutants.text import ODD_LABELS
from scores import (
    WHOLE_BAR,
    attributes,
    backup,
    barline,
    direction,
    harmony,
    note,
    rehearsal,
    score,
    technical,
    words,
)

OddSong = tuple[str, str, bytes]  # what is odd, suffix, content
GUITARS = ("Guitar 1", "Guitar 2")
QUARTERS = note("E3", 4) + note("B3", 4) + note("E4", 4) + note("G4", 4)


@functools.cache
def odd_songs() -> tuple[OddSong, ...]:
    """Return all odd songs, always in this order."""
    scores = {**_notes(), **_bars(), **_parts(), **_signs(), **_labels()}
    return (
        *((name, ".musicxml", text.encode()) for name, text in scores.items()),
        *((name, ".txt", text.encode()) for name, text in _charts().items()),
        *((name, ".mid", data) for name, data in _midi().items()),
    )


def _two(first: Sequence[str], second: Sequence[str] = (), **more: object) -> str:
    return score(first, second or [QUARTERS] * len(first), **{"names": GUITARS, **more})


def _notes() -> dict[str, str]:
    """Return songs with odd notes."""
    rest, lowest, highest = note("rest", 16), note("C-1", 8), note("G9", 8)
    graces = note("C4", "", first="<grace/>") * 3
    pitch = "<pitch><step>C</step><alter>{}</alter><octave>4</octave></pitch>"
    high_fret = technical("<string>1</string><fret>36</fret>")
    twelfth = technical("<string>12</string><fret>3</fret>")
    return {
        "no notes": score(["", ""], ["", ""], names=GUITARS),
        "all rests": score([rest] * 4, [rest] * 4, names=GUITARS),
        "one note": score([note("C4", 4)]),
        "one note in each of two parts": score([note("C4", 4)], [note("C4", 4)], names=GUITARS),
        "grace notes only": score([graces + rest], [graces + rest], names=GUITARS),
        "unpitched only": score([note("<unpitched/>", 4) * 4] * 2, names=["Drums"]),
        "unpitched guitars": _two([note("<unpitched/>", 4) * 4] * 2),
        "pitches 0 and 127": _two([lowest + highest] * 4),
        "pitch 0 only": score([note("C-1", 16)] * 2, names=["Guitar"]),
        "quarter tones": _two([note(pitch.format(0.5), 16), note(pitch.format(-1.5), 16)]),
        "six sharps": _two([note(pitch.format(6), 16)]),
        "very long note": _two([note("C4", 16, ties="start")]
                               + [note("C4", 16, ties="stop start")] * 98
                               + [note("C4", 16, ties="stop")]),
        "longer than its bar": _two([note("C4", 4000), QUARTERS]),
        "two thousand in a bar": _two([attributes(500) + note("C4", 1) * 2000]),
        "a thousand twenty-fourth": _two([attributes(256) + note("C4", 1) + note("rest", 1023)]),
        "chord of twenty": _two([note("C3", 16) + "".join(
            note(f"{step}{octave}", 16, first="<chord/>") for octave in (3, 4, 5)
            for step in "DEFGAB")]),
        "ten voices": _two(["".join(note(f"C{n}", 16, voice=str(n)) + backup(16)
                                    for n in range(1, 9))]),
        "never ended tie": _two([note("C4", 16, ties="start"), QUARTERS]),
        "fret 36, string 12": _two([note("E4", 8, notations=high_fret)
                                    + note("E4", 8, notations=twelfth)] * 2),
        "7 in 11": _two([attributes(77) + note("C4", 44) * 7]),
        "all in unison": score(*[[QUARTERS] * 2] * 4, names=["Guitar 1", "Guitar 2", "G3", "G4"]),
        "chords only": score([harmony("C") + rest, harmony("F#", "dominant") + rest] * 2),
        "cue notes only": _two([note("C4", 16, first="<cue/>")] * 2),
    }  # fmt: skip


def _bars() -> dict[str, str]:
    """Return songs with odd meters, tempos, lengths or playing order."""
    mixed = attributes(4, "") .replace("</attributes>", "<time><beats>7</beats><beat-type>8"
        "</beat-type><beats>3</beats><beat-type>4</beat-type></time></attributes>")  # fmt: skip
    free = attributes(4, "", more="<time><senza-misura/></time>")

    def tempo(value: float) -> str:
        return direction("<words>Tempo</words>", sound=f'tempo="{value}"')

    def meter(text: str, length: float) -> str:
        return attributes(16, text) + note("E3", length)

    changing = ["5/8", "2/2", "4/4", "11/16", "3/4", "1/8"]
    lengths = [40, 64, 64, 44, 48, 8]
    return {
        "7/8 + 3/4": _two([mixed + note("C4", 26)] * 4, [mixed + note("G3", 26)] * 4),
        "1/64": score([meter("1/64", 1)] * 64, [meter("1/64", 1)] * 64, names=GUITARS),
        "64/1": score([meter("64/1", 4096)], [meter("64/1", 64)], names=GUITARS),
        "every bar another meter": score(
            *[[meter(*each) for each in zip(changing, lengths, strict=True)] * 3] * 2,
            names=GUITARS),
        "no meter": _two([free + note("C4", 30), note("C4", 3)], [free + QUARTERS, QUARTERS]),
        "tempo 5": _two([tempo(5) + QUARTERS, QUARTERS]),
        "tempo 999": _two([tempo(999) + QUARTERS, QUARTERS]),
        "tempo 0.1": _two([tempo(0.1) + QUARTERS]),
        "tempo 100000": _two([tempo(100_000) + QUARTERS]),
        "tempo at every note": _two([(tempo(60) + note("C4", 4) + tempo(190) + note("D4", 4)) * 2]),
        "one bar": _two([QUARTERS]),
        "one short bar": _two([note("C4", 1)], [note("C4", 1)]),
        "empty bars": _two([""] * 8, [QUARTERS] + [""] * 7),
        "a thousand bars": _two([QUARTERS] * 1000),
        "300 sections": _two([rehearsal(f"Part {n}") + QUARTERS for n in range(300)]),
        "300 sections of one name": _two([rehearsal("A") + QUARTERS for _ in range(300)]),
        "repeated 50 times": _two([QUARTERS + barline(
            repeat='direction="backward" times="50"')]),
        "endings 1 to 9": _two(
            [QUARTERS] + [barline("left", ending=f"{n} start") + WHOLE_BAR + barline(
                repeat='direction="backward"', ending=f"{n} stop") for n in range(1, 10)]),
        "D.C. without Fine": _two([QUARTERS, direction("<words>D.C.</words>", sound='dacapo="yes"')
                                   + QUARTERS]),
        "D.S. without Segno": _two([QUARTERS, QUARTERS + words("D.S. al Coda")]),
        "numbers of bars": _two([QUARTERS] * 4, numbers=["X1", "", "-3", "007"]),
    }  # fmt: skip


def _parts() -> dict[str, str]:
    """Return songs with odd parts."""
    line = [QUARTERS] * 2

    def tuned(*names: str) -> str:
        rows = "".join(
            f'<staff-tuning line="{line}"><tuning-step>{name[0]}</tuning-step><tuning-octave>'
            f"{name[1:]}</tuning-octave></staff-tuning>"
            for line, name in enumerate(names, start=1)
        )
        lines = f"<staff-lines>{len(names)}</staff-lines>"
        return attributes(4, more=f"<staff-details>{lines}{rows}<capo>12</capo></staff-details>")

    def moved(octaves: int) -> str:
        return attributes(more=f"<transpose><chromatic>0</chromatic><octave-change>{octaves}"
                          "</octave-change></transpose>")  # fmt: skip

    twelve = [f"{step}{octave}" for octave in (2, 3) for step in "CDEFGA"]
    many = [f"Guitar {number}" for number in range(1, 41)]
    return {
        "one part": score(line, names=["Guitar 1"]),
        "40 parts": score(*[line] * 40, names=many),
        "no guitars": score(line, line, names=["Voice", "Piano"]),
        "voice only": score(line, names=["Voice"]),
        "bass only": score(line, names=["Bass"]),
        "two parts of one name": score(line, line, names=["Guitar", "Guitar"]),
        "three without a name": score(line, line, line, names=["", "", ""]),
        "a silent part": _two(line, [note("rest", 16)] * 2),
        "one string, capo 12": _two([tuned("E3") + QUARTERS]),
        "seven strings": _two([tuned("B1", "E2", "A2", "D3", "G3", "B3", "E4") + QUARTERS]),
        "twelve strings": _two([tuned(*twelve) + QUARTERS]),
        "strings all alike": _two([tuned(*["E3"] * 6) + QUARTERS]),
        "strings upside down": _two([tuned("E4", "B3", "G3", "D3", "A2", "E2") + QUARTERS]),
        "octaves down": _two([moved(-4) + QUARTERS], [moved(5) + QUARTERS]),
    }


def _signs() -> dict[str, str]:
    """Return songs with odd chords and keys."""
    degree = (
        "<degree><degree-value>{}</degree-value><degree-alter>{}</degree-alter>"
        "<degree-type>add</degree-type></degree>"
    )
    kinds = ("none", "other", "pedal", "Neapolitan", "power", "Tristan", "suspended-fourth")
    keys = [attributes(4, key=f"<key><fifths>{fifths}</fifths></key>") + QUARTERS
            for fifths in (-7, 7, -11, 14, 0)]  # fmt: skip
    tower = "".join(degree.format(value, alter) for value in (2, 4, 6, 9, 11, 13, 15, 40)
                    for alter in (-1, 1))  # fmt: skip
    return {
        "a chord an eighth": _two([(harmony("C") + note("C4", 2) + harmony("A", "minor")
                                    + note("E4", 2)) * 4] * 4),
        "odd kinds": _two([harmony("C", kind) + QUARTERS for kind in kinds]),
        "a tower of degrees": _two([harmony("C", "major", tower) + QUARTERS]),
        "root of five sharps": _two([harmony("C#####") + QUARTERS]),
        "odd keys": _two(keys),
        "chord that nobody plays": _two([harmony("Eb", "dominant") + note("rest", 16)] * 4,
                                        [note("rest", 16)] * 4),
    }  # fmt: skip


def _labels() -> dict[str, str]:
    """Return the same song with hostile names of parts and sections, and a hostile title."""
    found = {}
    for label in ODD_LABELS:
        escaped = escape(label, {"\n": "&#10;"})
        marks = [rehearsal(escaped) + harmony("C") + QUARTERS, words(escaped) + QUARTERS]
        found[f"called {label[:20]!r}"] = _two(
            marks, names=[escaped, f"{escaped} 2"], title=escaped
        )
        found[f"section {label[:20]!r}"] = _two(marks)
    return found


def _charts() -> dict[str, str]:
    """Return odd charts."""
    head = "part: Guitar 1\npart: Guitar 2; capo 12; frets from the capo\n"
    bars = "Guitar 1 | x32010 | 320003 |\nGuitar 2 | 320003 eighths | x32010 muted |\n"
    capos = "".join(f"part: Guitar {fret}; capo {fret}\n" for fret in range(1, 12))
    shapes = "".join(f"Guitar {fret} | E3,B3,G4 |\n" for fret in range(1, 12))
    return {
        "capo 12": f"{head}section: A\n{bars}",
        "seven-string tuning": "part: G; seven-string tuning\nsection: A\nG | 0x32010 xxxxxx0 |\n",
        "banjo": "part: Banjo; banjo tuning\nsection: A\nBanjo | 00000 eighths | 02012 |\n",
        "chords only, chart": "part: Guitar 1\nsection: A\n"
        "chords | C | Am | N.C. | G7/B |\n",
        "played 32 times": f"{head}section: A; played 32 times\n{bars}",
        "every capo": f"{capos}section: A\n{shapes}",
        "free meter": f"meter: free\n{head}section: A\nlength: 7 beats\n{bars}",
        "one eighth": f"{head}section: A\nlength: 1 eighth\n{bars}",
        "tempo 999, sixteenths": f"tempo: 999\n{head}section: A\n"
        "Guitar 1 | 000000 sixteenths | 12-12-12-12-12-12 sixteenths |\n",
        "five players": "".join(f"part: G{n}; player {name}\n" for n, name in enumerate(
            ("Ann", "Ann", "../x", "<b>", "x" * 99))) + "section: A\nG0 | C4 |\nG4 | C4 |\n",
        "drums alone": "part: Drums\nsection: A\nDrums | hit eighths | hit sixteenths |\n",
        "modal": f"key: F# locrian\n{head}section: A\nchords | 1 | 57 |\n{bars}",
        "silence": f"{head}section: A\nGuitar 1 | . | . |\n",
        "echo": "tempo: 30\n"
        "part: Guitar 1; distorted; echo whole\nsection: A\nGuitar 1 | x32010 |\n",
        "levels": "part: Guitar 1; level -120 dB\npart: Guitar 2; level 120 dB\n"
        f"section: A\n{bars}",
    }  # fmt: skip


def _midi() -> dict[str, bytes]:
    """Return odd MIDI files."""
    line = midi_line(0, (52, 55, 59, 64))
    guitar = [mido.Message("program_change", program=27), *line]
    bent = [mido.Message("pitchwheel", pitch=8191), *line]
    every = [message for channel in range(16) for message in midi_line(channel, (60,), 120)]
    held = [mido.Message("note_on", note=40, velocity=1)]
    quick = [mido.MetaMessage("set_tempo", tempo=1), *guitar]
    return {
        "no meta": midi_file(guitar, ticks=1),
        "pitches 0 and 127, MIDI": midi_file(midi_head(), midi_line(0, (0, 127, 0, 127))),
        "sixteen channels": midi_file([*midi_head(), *every], kind=0),
        "bent": midi_file(midi_head(), bent, guitar),
        "never let go": midi_file(midi_head(), [*held, *line]),
        "a tempo of a microsecond": midi_file(quick, guitar),
        "tempo 4": midi_file(midi_head(tempo=4), guitar),
        "no notes, MIDI": midi_file(midi_head(), [mido.Message("program_change", program=1)]),
        "no length": midi_file(midi_head(), midi_line(0, (60, 62), 0)),
        "far out": midi_file(midi_head(), [mido.Message("note_on", note=60, time=500_000), *line]),
        "thousands at once": midi_file(midi_head(), midi_line(0, range(128), 1) * 30),
        "32767 ticks": midi_file(midi_head((1, 32)), guitar, ticks=32_767),
        "drums alone, MIDI": midi_file(midi_head(), midi_line(9, (35, 36, 38, 127), 60)),
    }
