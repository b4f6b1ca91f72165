"""Octaves and power chords on a sheet: the line of frets, read back, gives the notes.

Shapes and fingers are common practice: an octave with the first finger and the fourth or third, two
strings higher; a power chord with the first, third and fourth.
"""

from __future__ import annotations

import re

import pypdf
import pytest

import arrange as ar
from arrange.explaining.movable_shapes import movable_shapes
from arrange.formats.chart import read_chart
from arrange.guitar.players import Player
from arrange.handouts.sheets import part_sheet

# Octaves that move within bars; power chords on two strings, one place a bar; two kinds in turn.
CHART = """\
key: D minor
part: Guitar; electric guitar; standard tuning; capo 2; frets from the capo
section: Octaves
chords | Dm | Bb C | Dm | Gm |
Guitar | {} |
section: Power
chords | Dm | ~ | F | Bb |
Guitar | x577xx ~ / . . . / / | x577xx ~ / . . . / / | 133xxx ~ / . . . / / | 688xxx ~ / . . . / / |
""".format(
    "x3x5xx ~ ~ x5x7xx x7x9xx ~ . . | x1x3xx ~ ~ ~ x3x5xx ~ ~ x0x2xx | x5x7xx | 3x5xxx ~ . 5x7xxx"
)
CIRCLED = "①②③④⑤⑥"
APART, RIGHT, TOP, ROW = 13.2, 92.0, 56.0, 20.0  # where strings and frets lie in a picture of six


def drawn_shape(svg):
    """Return the title of a picture and {string: frets above the lowest string}, from its marks."""
    places = {}

    def string(x):
        return round((RIGHT - float(x)) / APART) + 1

    for x, y in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="[\d.]+"/>', svg):
        places[string(x)] = round((float(y) - TOP) / ROW)
    for x, y, end in re.findall(r'x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)"[^>]*"round"', svg):
        places |= dict.fromkeys(range(string(end), string(x) + 1), round((float(y) - TOP) / ROW))
    (triangle,) = re.findall(r'class="moves" d="M[\d.]+ [\d.]+ L[\d.]+ ([\d.]+)', svg)
    lowest = places[max(places)]
    assert round((float(triangle) - TOP) / ROW) == lowest
    above = {string: fret - lowest for string, fret in places.items()}
    return re.search(r'y="19.0"[^>]*>([^<]+)<', svg)[1], above


def marks_of(html):
    """Return the marks over the counts of a bar or a pattern."""
    return re.findall(r"<b>([^<]*)</b>", html)


def read_back(html):
    """Return {(bar, place among its counts): {string: fret}} of a section of the web page, frets as
    printed.
    """
    shapes = dict(map(drawn_shape, re.findall(r"<svg.*?</svg>", html)))
    patterns = dict(re.findall(r'<div class="pattern"><i>(\w?)</i>(.*?)</div></div>', html, re.S))
    found = {}
    for first, last, bar in re.findall(
        r'<div class="bar" data-bars="(\d+) (\d+)">(.*?)</div>(?=\s*<div class="bar"|\s*</div>)',
        html, re.S,
    ):  # fmt: skip
        letter = re.search(r"<i>(\w)</i>", bar)
        marks = marks_of(bar) or marks_of(patterns[letter[1] if letter else ""])
        small = re.search(r'class="held">(?:(.) )?(?:fret (\d+)|open)<', bar)
        circle = ""
        for place, mark in enumerate(marks):
            over = re.fullmatch(r"(?:(.)/)?(\d+)", mark)
            if over:
                circle, fret = over[1] or circle, int(over[2])
            elif mark in "↓↑":
                circle, fret = small[1] or "", int(small[2] or 0)
            else:
                continue
            (above,) = [own for title, own in shapes.items() if title.endswith(circle)]
            for number in range(int(first), int(last) + 1):
                found[number, place] = {string: fret + step for string, step in above.items()}
    return found


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Return the song, and the paths of the sheet in both formats."""
    own = read_chart(CHART.encode())
    layout = ar.Layout(style="shapes")
    return own, ar.write_handout(own, tmp_path_factory.mktemp("sheets"), layout=layout)


def test_the_line_of_frets_gives_the_notes(written):
    """From the page alone: strings and steps from the picture, frets from the line."""
    own, (_, page, *_) = written
    sections = page.read_text(encoding="utf-8").split("<section ")[1:]
    found = {}
    for section in sections:
        found |= read_back(section.split("</section>")[0])
    starts = own.measures["onset"].tolist()
    wanted = {}
    for row in own.notes.itertuples():
        place = round((row.onset - starts[row.measure - 1]) * 2)
        wanted.setdefault((row.measure, place), {})[row.string] = row.fret - 2
    eighths = {(bar, place): frets for (bar, place), frets in found.items() if bar not in (3,)}
    assert eighths == {at: frets for at, frets in wanted.items() if at[0] not in (3,)}
    assert [frets for (bar, _), frets in found.items() if bar == 3] == [wanted[3, 0]]


def test_the_sheet_prints_them_under_the_chords(written):
    """Frets of bar 1 over their counts; of the power chords behind the chord, with the string."""
    _, (pdf, *_) = written
    text = " ".join(" ".join(each.extract_text() for each in pypdf.PdfReader(pdf).pages).split())
    for words in ("1 Dm ⑤ 3 – – 5 7 – · · 1 & 2", "⑤ fret 5", "⑥ fret 1", "⑥ fret 6", "power ⑤"):
        assert words in text
    assert "struck on" not in text, "the counts are drawn"


def test_notation_has_the_same_line_of_frets(written, tmp_path):
    """Below tablature, where a bar begins and where the place changes; each shape is drawn once,
    beside the form, and the fingers that its picture has are not below the tablature.
    """
    own, _ = written
    page = ar.write_handout(own, tmp_path)[1].read_text(encoding="utf-8").split("</main>")[0]
    shapes = [drawn_shape(svg) for svg in re.findall(r"<svg.*?</svg>", page) if "moves" in svg]
    assert shapes == [("octaves ⑥", {6: 0, 4: 2}), ("octaves ⑤", {5: 0, 3: 2}),
                      ("power ⑥", {6: 0, 5: 2, 4: 2}), ("power ⑤", {5: 0, 4: 2, 3: 2})]  # fmt: skip
    wanted, before = [], (0, 0, 0)
    for _, attack in own.notes.groupby("onset"):
        lowest = attack.sort_values("string").iloc[-1]
        bar, string, fret = (int(lowest[name]) for name in ("measure", "string", "fret"))
        circle = CIRCLED[string - 1] if (bar, string) != before[:2] else ""
        sign = "▸" if bar != before[0] else ""
        if (bar, string, fret) != before:
            wanted.append(f"{circle}{sign}{fret - 2}")
        before = bar, string, fret
    found = []
    for line in page.split('<div class="system wide"')[1:]:
        texts = re.findall(
            r'class="place-tab" (?:x="|transform="translate\()(\d+)[^>]*>([^<]+)', line
        )
        found += [text for _, text in sorted(texts, key=lambda each: int(each[0]))]
    assert found == wanted
    assert "At tablature: ▸ the fret of the shape with ▸" in page
    assert not re.findall(r'class="finger-tab"[^>]*>1<', page)


def test_words_and_pictures_hold_the_same_fingers(written):
    """Also the title over the picture and the kind that words name."""
    own, _ = written
    sheet = part_sheet(own, Player("Guitar"), "shapes", has_lessons=True)
    _, ((_, octaves), (_, power)) = sheet, sheet.lessons
    fingers = [re.findall(r'font-size="14"[^>]*>([1-4])<', svg)
               for stretch in sheet.stretches for svg in stretch.shapes]  # fmt: skip
    said = [re.findall(r"\d", step.rpartition("finger")[2]) for step in (*octaves, *power)
            if "at the fret named" in step]  # fmt: skip
    assert [each[::-1] for each in fingers] == said  # a picture's are written from string 1
    assert len(said) == 4


def moving(*shapes, fingers=(1, 3, 4)):
    """Return how these power chords and octaves are read, each low string first."""
    attacks = [{s: (f, fingers[n]) for n, (s, f) in enumerate(shape)} for shape in shapes]
    return [(each.string, each.kind) for each in movable_shapes(attacks, ar.Neck())]


def test_what_moves_and_what_does_not():
    """One place, a fourth, and two shapes on one string do not; a string of its own does."""
    fifth = ([(6, 3), (5, 5)], [(6, 5), (5, 7)])
    assert moving(*fifth) == [(6, "power chords")]
    assert moving(*fifth, [(5, 3), (3, 5)]) == [(6, "power chords"), (5, "octaves")]
    assert moving(fifth[0], fifth[0]) == []
    assert moving(*fifth, [(6, 3), (5, 3)]) == []
    assert moving(*fifth, [(6, 3), (5, 5), (4, 5)]) == []
    assert moving(*fifth, [(6, 3)]) == []


def test_the_first_shape_drawn_of_a_chord_has_no_number():
    """The line of the first section holds another Dm, which no sheet draws; words number it so."""
    own = read_chart(b"""key: D minor
part: Guitar
section: Line
chords | Dm |
Guitar | x57765 x57765 A4 F4 |
section: Strum
chords | Dm | Dm |
Guitar | xx0231 / / / | x57765 / xx0231 / |
""")
    sheet = part_sheet(own, Player("Guitar"), "shapes", has_lessons=True)
    titles = [re.search(r'y="19.0"[^>]*>([^<]*)<', svg)[1]
              for stretch in sheet.stretches for svg in stretch.shapes]  # fmt: skip
    assert titles == ["Dm", "Dm (2)"]
    steps = " ".join(step for _, each in sheet.lessons for step in each)
    assert "Dm is xx0231" in steps
    assert "Dm (2) is x57765" in steps
