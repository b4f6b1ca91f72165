"""Bad input gives an error that says where and what to do, or a repair with a notice.

Sources: the MusicXML 4.0 schema and documentation (what a score must hold), its description of
compressed files (``META-INF/container.xml``), XML 1.0 (well-formedness, entities). What each
message says is this project's own promise.
"""

from __future__ import annotations

import io
import os
import random
import re
import time
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from corpus import SUITE
from lxml import etree
from scores import (
    DOCTYPE,
    WHOLE_BAR,
    attributes,
    backup,
    barline,
    note,
    read_text,
    score,
    timewise,
)

import arrange as ar

DEMO = Path(__file__).parents[1] / "datasets" / "low-water.musicxml"
CONTAINER = '<container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'


def refused(tmp_path, content, says, name="song.musicxml", within=5.0, **options):
    """Check that a file is refused, within seconds, with a message that begins with its name."""
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    begun = time.process_time()
    with pytest.raises(ar.ReadError, match=says) as caught:
        ar.read(path, **options)
    assert time.process_time() - begun < within
    assert str(caught.value).startswith(str(path)), "the message begins with the file's name"
    assert "\n" not in str(caught.value), "one line"
    return caught.value


def repaired(tmp_path, content, notice, within=5.0, **options):
    """Read a score and check that a notice reports the repair; return the Song."""
    begun = time.process_time()
    song = read_text(tmp_path, content, valid=False, **options)
    assert time.process_time() - begun < within
    assert any(re.search(notice, given) for given in song.notices), song.notices
    return song


def packed(members, compression=zipfile.ZIP_DEFLATED):
    """Return a zip file of the members, a mapping of name to content."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", compression) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return stream.getvalue()


# Files


def test_missing_file(tmp_path):
    """For a missing file the error gives the path and the most likely cause."""
    with pytest.raises(ar.ReadError, match=r"gone\.mxl: there is no such file; look for a typing"):
        ar.read(tmp_path / "gone.mxl")


def test_path_through_a_file(tmp_path):
    """A path that continues below a file leads nowhere."""
    (tmp_path / "a").write_text("x")
    with pytest.raises(ar.ReadError, match="there is no such file"):
        ar.read(tmp_path / "a" / "b.mxl")


def test_path_too_long(tmp_path):
    """A name longer than the file system allows is refused like any other impossible name."""
    with pytest.raises(ar.ReadError, match="the file cannot be read: File name too long"):
        ar.read(tmp_path / ("a" * 5000))


def test_folder(tmp_path):
    """A folder is no song."""
    with pytest.raises(ar.ReadError, match="this is a folder; name a file in it"):
        ar.read(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    """A named pipe that no process writes to must not block the reader for ever."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(ar.ReadError, match="this is no plain file; save the song as one"):
        ar.read(tmp_path / "pipe")


@pytest.mark.parametrize("content", ["", "  \n\t "])
def test_empty_file(tmp_path, content):
    """A file with nothing in it, or only blanks, is refused."""
    refused(tmp_path, content, "the file is empty; export it again")
    refused(tmp_path, content, "the chart is empty; type a section and its bars", "song.txt")


def test_values_of_the_wrong_type(tmp_path):
    """Where a path, a song, a decision or an exercise belongs, a sentence says so."""
    log = tmp_path / "x.txt"
    for do, says in (
        (lambda: ar.read(7), "^7: read takes the path of a song"),
        (lambda: ar.explore_parts(""), "^'': read takes the path of a song"),
        (lambda: ar.record_decision(log, "louder"), "^'louder': record a decision"),
        (lambda: ar.exercise_sound(1), "^1: give an exercise"),
        (lambda: ar.show(pd.DataFrame(), "song"), "^show was given 'song': give a song"),
    ):
        with pytest.raises(ar.ArrangeError, match=says):
            do()
    assert not log.exists()


def test_text_file(tmp_path):
    """A shopping list is no MusicXML, whatever its file name."""
    refused(
        tmp_path, "| Am | F |\n", r"this is no MusicXML.*export the song as \.musicxml or \.mxl"
    )


def test_binary_file(tmp_path):
    """Random bytes are no MusicXML."""
    refused(tmp_path, random.Random(1).randbytes(5000), "this is no MusicXML")


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read any file"
)
def test_file_without_permission(tmp_path):
    """The system's own reason is passed on."""
    path = tmp_path / "locked.musicxml"
    path.write_text(score([WHOLE_BAR]))
    path.chmod(0)
    with pytest.raises(ar.ReadError, match="the file cannot be read: Permission denied"):
        ar.read(path)


# Compressed files


def test_truncated_zip(tmp_path):
    """In half a download the directory at the end of the zip is missing."""
    whole = packed(
        {"META-INF/container.xml": CONTAINER.format("song.xml"), "song.xml": score([WHOLE_BAR])}
    )
    refused(tmp_path, whole[: len(whole) // 2], "the compressed file is damaged", "song.mxl")


def test_zip_with_damaged_content(tmp_path):
    """If bytes inside have changed, the check sum or the unpacking fails."""
    whole = bytearray(packed({"META-INF/container.xml": CONTAINER.format("song.xml") * 20}))
    whole[60:70] = b"\xff" * 10
    refused(tmp_path, bytes(whole), "the compressed file is damaged.*export it again", "song.mxl")


def test_zip_without_container(tmp_path):
    """A compressed MusicXML file must have META-INF/container.xml (MusicXML 4.0, .mxl files)."""
    refused(
        tmp_path,
        packed({"photo.txt": "hello"}),
        r"has no META-INF/container\.xml; it holds photo\.txt",
        "song.mxl",
    )


def test_empty_zip(tmp_path):
    """An empty zip is refused."""
    refused(tmp_path, packed({}), r"no META-INF/container\.xml; it holds nothing", "song.mxl")


@pytest.mark.parametrize("path", ["../../etc/passwd", "/etc/passwd", "a/../../b.xml", "..\\b.xml"])
def test_container_that_points_outside(tmp_path, path):
    """The score must be inside the zip; a path that leads out of it is never followed."""
    refused(
        tmp_path,
        packed({"META-INF/container.xml": CONTAINER.format(path)}),
        r"META-INF/container\.xml points outside the file",
        "song.mxl",
    )


def test_container_that_points_nowhere(tmp_path):
    """A container that names a file outside the zip's list is refused."""
    refused(
        tmp_path,
        packed({"META-INF/container.xml": CONTAINER.format("other.xml")}),
        r"has no other\.xml; it holds META-INF/container\.xml",
        "song.mxl",
    )


def test_container_that_names_nothing(tmp_path):
    """A container without a rootfile is refused."""
    refused(
        tmp_path,
        packed({"META-INF/container.xml": "<container/>"}),
        r"META-INF/container\.xml names no score; export it again",
        "song.mxl",
    )


def test_container_that_is_no_xml(tmp_path):
    """A damaged container is refused."""
    refused(
        tmp_path,
        packed({"META-INF/container.xml": "<container"}),
        r"META-INF/container\.xml is damaged",
        "song.mxl",
    )


def test_zip_bomb(tmp_path):
    """300 MB of zeros packed in 300 kB: unpacking stops at the limit."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", CONTAINER.format("song.xml"))
        with archive.open("song.xml", "w") as member:
            for _ in range(300):
                member.write(bytes(2**20))
    bomb = stream.getvalue()
    assert len(bomb) < 400_000
    says = r"song\.xml unpacks to more than 29\.\d MB; no score is packed so tightly"
    refused(tmp_path, bomb, says, "song.mxl", within=1)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_other_packing_than_deflate_is_refused_unopened(tmp_path, method):
    """MusicXML 4.0 asks for DEFLATE; damaged files in other methods may request any memory."""
    whole = packed(
        {"META-INF/container.xml": CONTAINER.format("song.xml"), "song.xml": "<a/>"}, method
    )
    refused(tmp_path, whole, "packed by another method than DEFLATE", "song.mxl", within=1)


def test_a_zip_of_a_thousand_files_is_refused(tmp_path):
    """A score may contain a picture or two, but not a thousand files."""
    members = {str(number): "" for number in range(1001)}
    refused(tmp_path, packed(members), "holds more than 1,000 files", "song.mxl", within=1)


def test_a_zip_inside_is_no_score(tmp_path):
    """A zip inside a zip is refused: the container must point at XML."""
    refused(
        tmp_path,
        packed({"META-INF/container.xml": CONTAINER.format("in.mxl"), "in.mxl": packed({})}),
        "not well-formed XML",
        "song.mxl",
    )


# XML


def test_xml_that_is_no_musicxml(tmp_path):
    """For another XML language the error names its first element and the line."""
    error = refused(
        tmp_path,
        "<?xml version='1.0'?>\n<html><body/></html>",
        r"first element is <html>, not <score-partwise> or <score-timewise>; export",
    )
    assert error.line == 2


def test_malformed_xml_is_reported_with_line_and_column(tmp_path):
    """An end tag on line 3 that fits no start tag is reported (XML 1.0, 3: element type match)."""
    text = "<score-partwise>\n<part-list>\n</partlist>\n</score-partwise>"
    error = refused(tmp_path, text, r", line 3, column \d+: not well-formed XML: .*export the file")
    assert error.line == 3
    assert error.column == 12  # after the tag, as lxml counts


def test_xml_cut_off(tmp_path):
    """A file that ends in the middle is refused."""
    error = refused(tmp_path, score([WHOLE_BAR])[:-60], "line 1, column .*not well-formed XML")
    assert error.line == 1


def test_external_entity_is_not_fetched(tmp_path):
    """An entity that would pull in another file is refused by name; nothing of it is read."""
    secret = tmp_path / "secret.txt"
    secret.write_text("the hidden words")
    text = f'<!DOCTYPE score-partwise [<!ENTITY secret SYSTEM "{secret.as_uri()}">]>' + score(
        [WHOLE_BAR], title="&secret;"
    )
    error = refused(tmp_path, text, "uses the XML entity 'secret', which is not read, for safety")
    assert "hidden" not in str(error)


def test_entity_bomb(tmp_path):
    """Nine levels of ten entities each would expand to a thousand million words."""
    entities = '<!ENTITY a0 "ha">' + "".join(
        f'<!ENTITY a{level} "{f"&a{level - 1};" * 10}">' for level in range(1, 10)
    )
    text = f"<!DOCTYPE score-partwise [{entities}]>" + score([WHOLE_BAR], title="&a9;")
    refused(tmp_path, text, "uses XML entities that multiply, which are not read, for safety")


def test_entity_bomb_in_an_attribute(tmp_path):
    """The same attack is refused in an attribute value, where XML expands entities by itself."""
    entities = '<!ENTITY a0 "ha">' + "".join(
        f'<!ENTITY a{level} "{f"&a{level - 1};" * 10}">' for level in range(1, 10)
    )
    text = f"<!DOCTYPE score-partwise [{entities}]>" + score([WHOLE_BAR], numbers=["&a9;"])
    refused(tmp_path, text, "uses XML entities that multiply, which are not read, for safety")


def test_external_dtd_is_not_fetched(tmp_path):
    """A DTD that does not exist is no obstacle, since DTDs are never fetched."""
    text = score([WHOLE_BAR], doctype=DOCTYPE.replace("www.musicxml.org", "nowhere.invalid"))
    assert len(read_text(tmp_path, text).notes) == 1


def test_deep_nesting(tmp_path):
    """A hundred thousand nested elements exceed the parser's limit."""
    deep = "<a>" * 100_000 + "</a>" * 100_000
    refused(tmp_path, score([deep]), "line 1, column .*absurdly deep or long")


def test_unknown_encoding(tmp_path):
    """An unknown encoding is refused."""
    refused(tmp_path, score([WHOLE_BAR], encoding="klingon-8"), "not well-formed XML|no XML can be")


def test_wrong_bytes_for_the_encoding(tmp_path):
    """Latin-1 bytes in a file that declares UTF-8 are refused."""
    text = score([WHOLE_BAR], title="Caf\xe9", encoding="UTF-8").encode("latin-1")
    refused(tmp_path, text, "line 1, column .*not well-formed XML")


# Scores


def test_score_without_parts(tmp_path):
    """A score with neither a part list nor parts is refused."""
    refused(
        tmp_path, '<score-partwise version="4.0"/>', "there are no parts in it; export the song"
    )


def test_part_list_without_parts(tmp_path):
    """A part list without any part is refused."""
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Guitar</part-name>'
        "</score-part></part-list></score-partwise>"
    )
    refused(tmp_path, text, "there are no parts in it")


def test_parts_without_a_part_list(tmp_path):
    """Without a part list the music is read, and the parts are named by their ids."""
    text = re.sub("<part-list>.*</part-list>", "", score([WHOLE_BAR]))
    song = read_text(tmp_path, text, valid=False)
    assert song.parts["part"].tolist() == ["P1"]
    assert song.notes["pitch"].tolist() == [60]


def test_too_many_parts(tmp_path):
    """Ten thousand parts are refused."""
    refused(tmp_path, score(*[[WHOLE_BAR]] * 10_000), "it has 10,000 parts; 200 is the most")


def test_part_inside_a_part(tmp_path):
    """A part inside a part is refused, since parts stand side by side."""
    text = score([WHOLE_BAR]).replace("</measure>", "</measure><part id='P2'/>")
    refused(tmp_path, text, "there is a part inside a part; export the song again")


def test_only_part_without_measures(tmp_path):
    """A score whose only part has no measures is refused."""
    refused(tmp_path, score([]), "part P1: there are no measures in it")


def test_one_part_without_measures(tmp_path):
    """The other part is read; the empty one stays in the table, with a notice."""
    song = repaired(tmp_path, score([WHOLE_BAR], []), "1 of 2 parts have fewer measures")
    assert song.parts["part"].tolist() == ["Part 1", "Part 2"]
    assert song.notes["part"].tolist() == ["Part 1"]


def test_measures_without_any_note(tmp_path):
    """A bar with nothing in it is a silent bar."""
    song = read_text(tmp_path, score(["", ""]))
    assert len(song.notes) == 0
    assert song.measures["duration"].tolist() == [4, 4]


@pytest.mark.parametrize("text", ["0", "-4", "four", "", "NaN", "INF", "1/2", "1e999999999"])
def test_divisions_that_are_no_positive_number(tmp_path, text):
    """positive-divisions of the schema: a decimal above 0; the error names part and measure."""
    error = refused(
        tmp_path,
        score([attributes(4) + WHOLE_BAR.replace("16", "4"), f"<attributes><divisions>{text}"
               "</divisions></attributes>" + WHOLE_BAR]),
        r"line 1, part P1, measure 2: <divisions> cannot be understood: it is .*must be a number "
        "above 0",
    )  # fmt: skip
    assert (error.part, error.measure) == ("P1", "2")


def test_huge_divisions(tmp_path):
    """A thousand million divisions of a quarter note are refused."""
    refused(tmp_path, score([attributes(10**9) + WHOLE_BAR]), "at most 1,000,000, that says how")


def test_divisions_without_a_common_grid(tmp_path):
    """Divisions that are different primes have no common number of ticks small enough."""
    primes = (999983, 999979, 999961)
    measures = [attributes(prime) + note("C4", prime) for prime in primes]
    refused(tmp_path, score(measures), "no common grid below 100,000,000 to a quarter note")


def test_meter_of_a_huge_denominator(tmp_path):
    """A beat that is a ten-millionth of a whole note, in steps of a prime, is refused."""
    refused(
        tmp_path,
        score([attributes(4, "3/999999937") + WHOLE_BAR]),
        "no common grid below 100,000,000",
    )


@pytest.mark.parametrize("text", ["-4", "one", "NaN", "INF", "1e300"])
def test_durations_that_are_no_number_from_zero_up(tmp_path, text):
    """A duration must be a positive decimal (positive-divisions of the schema)."""
    refused(
        tmp_path,
        score([WHOLE_BAR, note("C4", text)]),
        rf"part P1, measure 2: a <duration> of '{text}'; it must be a number, not negative",
    )


def test_a_note_without_a_duration(tmp_path):
    """It is kept as a grace note, the only kind without a length, and reported."""
    song = repaired(
        tmp_path, score([note("C4", "") + WHOLE_BAR]), "1 notes have no duration: read as grace"
    )
    assert song.notes["duration"].tolist() == [0, 4]
    assert song.notes["grace"].tolist() == [True, False]


def test_backup_before_the_measure(tmp_path):
    """A backup beyond the start of the measure goes back to the start."""
    text = score([note("C4", 4) + backup(400) + note("E4", 16)])
    song = repaired(
        tmp_path,
        text,
        r"measure 1: a backup goes back beyond the start of the measure; read as going back to its",
    )
    assert song.notes["onset"].tolist() == [0, 0]
    assert song.measures["duration"].tolist() == [4]


def test_many_backups_before_the_measure_are_reported_once(tmp_path):
    """A thousand such measures give one notice and are read quickly."""
    text = score([note("C4", 4) + backup(400) + note("E4", 16)] * 1000)
    song = repaired(tmp_path, text, "read as going back to its start; so in 999 more measures")
    assert len(song.notices) < 5


def test_a_tie_that_never_ends(tmp_path):
    """The note keeps its own length; no note is lost, and the place is reported."""
    other = note("G4", 8, ties="start") + note("G4", 8, ties="stop")
    text = score([note("C4", 16, ties="start"), note("D4", 16), other])
    song = repaired(tmp_path, text, "a tie ends nowhere and was taken as none: Part 1 measure 1")
    assert song.notes["pitch"].tolist() == [60, 62, 67]
    assert song.notes["duration"].tolist() == [4, 4, 4]


def test_a_tie_that_never_begins(tmp_path):
    """A note whose tie never began becomes a note of its own."""
    other = note("G4", 8, ties="start") + note("G4", 8, ties="stop")
    song = read_text(tmp_path, score([note("C4", 16), note("C4", 16, ties="stop"), other]))
    assert song.notes["duration"].tolist() == [4, 4, 4]


def test_ties_that_only_begin(tmp_path):
    """Some exports never write where a tie ends: the tie then goes to the note that follows at
    once.

    By the schema each tied note says ``start`` or ``stop``; where a whole score has no ``stop``
    the exporter left them out, and the repair is reported.
    """
    measures = [note("C4", 16, ties="start"), note("C4", 8) + note("C4", 8)]
    song = repaired(tmp_path, score(measures), "its ties are marked only where they begin")
    assert song.notes["duration"].tolist() == [6, 2]


@pytest.mark.parametrize("name", ["C12", "C-3"])
def test_a_pitch_off_the_midi_range(tmp_path, name):
    """MIDI numbers run from 0 to 127 (Standard MIDI, note numbers)."""
    text = score([WHOLE_BAR, WHOLE_BAR.replace("<octave>4", f"<octave>{name[1:]}")])
    refused(tmp_path, text, r"measure 2: a note sounds at MIDI number .*off the range 0 to 127")


@pytest.mark.parametrize(
    ("pitch", "says"),
    [
        ("<pitch><octave>4</octave></pitch>", "a pitch of step '', alter '', octave '4'"),
        ("<pitch><step>C</step></pitch>", "a pitch of step 'C', alter '', octave ''"),
        ("<pitch><step>H</step><octave>4</octave></pitch>", "a pitch of step 'H'"),
        ("<pitch><step>C</step><octave>four</octave></pitch>", "octave 'four'"),
        ("<pitch><step>C</step><octave>INF</octave></pitch>", "octave 'INF'"),
        (
            "<pitch><step>C</step><alter>sharp</alter><octave>4</octave></pitch>",
            "alter 'sharp', octave '4'; a step is a letter A to G",
        ),
    ],
)
def test_a_pitch_that_is_none(tmp_path, pitch, says):
    """A pitch has a step A to G and an octave 0 to 9; alter is a decimal (schema)."""
    refused(tmp_path, score([WHOLE_BAR, note(pitch, 16)]), rf"measure 2: .*{says}")


def test_a_note_that_is_neither_pitch_nor_rest(tmp_path):
    """The schema wants pitch, unpitched or rest; a note without them is silence, with a notice."""
    text = score([note("<pitch/>", 8) + note("E4", 8)])
    song = repaired(tmp_path, text, "1 notes have no pitch and are no rests: taken as rests")
    assert song.notes["onset"].tolist() == [2]


def test_a_chord_note_without_a_first_note(tmp_path):
    """A chord note that begins a measure belongs to no chord: it is kept and reported."""
    text = score([WHOLE_BAR, note("E4", 16, first="<chord/>") + note("G4", 16)])
    song = repaired(tmp_path, text, "1 chord notes have no first note before them: kept alone")
    assert song.notes["onset"].tolist() == [0, 4, 4]


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("<key><fifths>many</fifths></key>", "<key> cannot be understood"),
        ("<time><beats>4</beats><beat-type>0</beat-type></time>", "<time> cannot be understood"),
        ("<time><beats>-4</beats><beat-type>4</beat-type></time>", "a bar of -4/4, which is not"),
        ("<time><beats>4</beats></time>", "<time> cannot be understood"),
        ("<time><beats>999999</beats><beat-type>4</beat-type></time>", "at most 1024 quarter"),
        ("<transpose><chromatic>x</chromatic></transpose>", "<transpose> cannot be understood"),
        ("<transpose><chromatic>INF</chromatic></transpose>", "<transpose> cannot be understood"),
        ("<staff-details><capo>-2</capo></staff-details>", "a capo at fret -2; it lies at 0 to"),
        (
            "<staff-details><staff-tuning line='1'/></staff-details>",
            "<staff-details> cannot be understood",
        ),
    ],
)
def test_attributes_without_sense(tmp_path, statement, says):
    """Each statement that makes no sense is reported with its measure (schema types)."""
    text = score([WHOLE_BAR, f"<attributes>{statement}</attributes>" + WHOLE_BAR])
    refused(tmp_path, text, f"part P1, measure 2: .*{says}.*")


# Absurd claims


def test_a_repeat_a_thousand_million_times(tmp_path):
    """``times`` of ``repeat``: the played order stops at its limit; the page order still works."""
    text = score([WHOLE_BAR + barline("right", 'direction="backward" times="1000000000"')])
    refused(tmp_path, text, "measure 1: .* more than 20000 bars; mend its 'times', or read")
    assert len(read_text(tmp_path, text, played=False).measures) == 1


def test_nested_repeats_that_multiply(tmp_path):
    """Nested repeats of a hundred times each ask for a million bars."""
    begins = barline("left", 'direction="forward"')
    ends = barline("right", 'direction="backward" times="100"')
    text = score([begins + WHOLE_BAR, begins + WHOLE_BAR, begins + WHOLE_BAR + ends,
                  WHOLE_BAR + ends, WHOLE_BAR + ends])  # fmt: skip
    refused(tmp_path, text, "more than 20000 bars")


def test_a_full_bar_repeated_into_millions_of_notes(tmp_path):
    """2,000 notes in one bar, played 15,000 times, would be thirty million notes in memory."""
    text = score(
        [
            attributes(500)
            + note("C4", 1) * 2000
            + barline("right", 'direction="backward" times="15000"')
        ]
    )
    refused(tmp_path, text, "ask for 30,000,000 notes, more than 500,000; repeat less often")


def test_a_rest_of_a_thousand_million_measures(tmp_path):
    """``multiple-rest`` says how rests look on the page; the file still holds every bar."""
    style = "<attributes><measure-style><multiple-rest>1000000000</multiple-rest></measure-style>"
    song = read_text(tmp_path, score([WHOLE_BAR, style + "</attributes>" + WHOLE_BAR]))
    assert len(song.measures) == 2


def test_a_bar_of_absurd_length(tmp_path):
    """A note that lasts a thousand million quarters is refused."""
    refused(
        tmp_path,
        score([note("C4", 10**10)]),
        "measure 1: a <duration> of '10000000000'; .*of at most 1024 quarter notes",
    )


def test_many_statements_stay_quick(tmp_path):
    """With thousands of meters, keys, transpositions and sections, time grows only with size."""
    statement = (
        "<attributes><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type>"
        "</time><transpose><chromatic>0</chromatic></transpose></attributes>"
        "<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>"
        "<direction><direction-type><words>x</words></direction-type>"
        '<sound tempo="90"/></direction>'
    )
    text = score([attributes() + WHOLE_BAR, *[statement + WHOLE_BAR] * 5000])
    begun = time.process_time()
    song = repaired(tmp_path, text, "5,001 sections are too many to name", within=20)
    assert time.process_time() - begun < 20
    assert len(song.measures) == 5001
    assert song.sections["section"].tolist() == ["Song"]


def test_a_title_with_markup_is_plain_text(tmp_path):
    """``&lt;b&gt;`` in XML is the text <b>: it is kept as text and escaped where it is shown."""
    song = read_text(
        tmp_path, score([WHOLE_BAR], title="&lt;script&gt;alert(1)&lt;/script&gt; &amp; more")
    )
    assert song.title == "<script>alert(1)</script> & more"


def test_chords_without_sense_are_left_out_and_reported(tmp_path):
    """If a kind, degree or root is unknown to MusicXML, only that chord symbol is left out."""
    harmonies = (
        "<harmony><root><root-step>C</root-step></root><kind>spicy</kind></harmony>",
        "<harmony><root><root-step>X</root-step></root><kind>major</kind></harmony>",
        "<harmony><root><root-step>C</root-step><root-alter>INF</root-alter></root>"
        "<kind>major</kind></harmony>",
        "<harmony><root><root-step>C</root-step></root><kind>major</kind><degree><degree-value>99"
        "</degree-value></degree></harmony>",
        "<harmony/>",
    )
    song = read_text(tmp_path, score(["".join(harmonies) + WHOLE_BAR]), valid=False)
    assert len(song.chords) == 0
    assert "1 chord symbols were left out: 'spicy' is no kind of MusicXML 4.0" in song.notices
    assert "3 chord symbols were left out: they name no root by letter" in song.notices
    assert "1 chord symbols were left out: a degree of '99'" in song.notices


def test_an_octave_shift_for_a_part_that_is_not_there(tmp_path):
    """`octaves` names a part; for an unknown name the error lists the right ones."""
    refused(
        tmp_path,
        score([WHOLE_BAR], names=["Guitar"]),
        "no part is called 'Gitarre', to be moved by an octave; there are Guitar",
        octaves={"Gitarre": -1},
    )


# Files damaged at random


def mutated(data: bytes, dice: random.Random) -> bytes:
    """Return the bytes with one fault: cut, flipped, doubled, shuffled, or a number replaced."""
    size = len(data)
    first, second = sorted((dice.randrange(size), dice.randrange(size)))
    second = min(second, first + 4000)
    accident = dice.randrange(7)
    if accident == 0:
        return data[:first] or b" "
    if accident == 1:
        return data[:first] + data[second:]
    if accident == 2:
        return data[:first] + bytes([data[first] ^ (1 << dice.randrange(8))]) + data[first + 1 :]
    if accident == 3:
        return data[:first] + data[first:second] * 2 + data[second:]
    numbers = list(re.finditer(rb"(?<=>)-?\d+(?=<)", data))
    tags = list(re.finditer(rb"<(\w[\w-]*)[^<>]*/>|<(\w[\w-]*)>[^<>]*</\2>", data))
    absurd = (b"-1", b"0", b"999999999999", b"x", b"", b"0.3333", b"1e308", b"nan", b"\xd9\xa3")
    if accident == 4 and numbers:
        place = dice.choice(numbers)
        return data[: place.start()] + dice.choice(absurd) + data[place.end() :]
    if accident == 5 and tags:
        place = dice.choice(tags)
        return data[: place.start()] + data[place.end() :]
    if accident == 6 and len(tags) > 1:
        place, other = dice.choice(tags), dice.choice(tags)
        return data[: place.start()] + other[0] + data[place.end() :]
    return data[first:]


def plant(root, dice: random.Random) -> None:
    """Copy one element of a score into another: the result is well-formed nonsense."""
    elements = [element for element in root.iter("*") if element.getparent() is not None]
    copied = etree.fromstring(etree.tostring(dice.choice(elements)))
    dice.choice(elements).insert(0, copied)


def is_read_or_refused(path: Path, content: bytes) -> bool:
    """Read the content; return whether it made a Song. No error but ArrangeError may be raised."""
    path.write_bytes(content)
    begun = time.process_time()
    song, message = None, ""
    try:
        song = ar.read(path)
    except ar.ArrangeError as error:
        message = str(error)
    assert time.process_time() - begun < 6
    assert "\n" not in message
    assert song is None or is_in_order(song)
    return song is not None


def is_in_order(song: ar.Song) -> bool:
    """Return whether the tables are valid: finite times within the song, in order."""
    notes = song.notes
    return bool(
        (notes["onset"] >= 0).all()
        and (notes["duration"] >= 0).all()
        and notes["onset"].is_monotonic_increasing
        and (song.measures["duration"] > 0).all()
    )


SEEDS = sorted(SUITE.glob("*.xml"))[::6]


@pytest.mark.sampled
@pytest.mark.parametrize("path", SEEDS, ids=[path.stem for path in SEEDS])
def test_damaged_suite_files_are_read_or_refused(tmp_path, path):
    """Twenty random faults in each of some suite files (fixed seed) raise no other error."""
    dice = random.Random(path.name)
    data = path.read_bytes()
    were_read = [
        is_read_or_refused(tmp_path / "m.musicxml", mutated(data, dice)) for _ in range(20)
    ]
    assert len(were_read) == 20


def test_planted_elements_are_read_or_refused(tmp_path):
    """Elements copied to wrong places in many suite files (fixed seed) raise no other error."""
    dice = random.Random(2)
    for path in sorted(SUITE.glob("*.xml")):
        root = etree.parse(path).getroot()
        for _ in range(3):
            plant(root, dice)
        is_read_or_refused(tmp_path / "m.musicxml", etree.tostring(root))


@pytest.mark.long
def test_damaged_demo_songs_are_read_or_refused(tmp_path):
    """Sixty random faults in the demo song, partwise and compressed (fixed seed), are handled."""
    dice = random.Random(3)
    data = DEMO.read_bytes()
    whole = packed({"META-INF/container.xml": CONTAINER.format("song.xml"), "song.xml": data})
    were_read = [
        is_read_or_refused(tmp_path / "m.musicxml", mutated(data, dice)) for _ in range(40)
    ]
    were_read += [is_read_or_refused(tmp_path / "m.mxl", mutated(whole, dice)) for _ in range(20)]
    assert any(were_read)
    assert not all(were_read)


def test_damaged_timewise_scores_are_read_or_refused(tmp_path):
    """The timewise form of the same elements takes another path through the reader."""
    dice = random.Random(4)
    text = timewise(score([WHOLE_BAR] * 4, [note("E4", 8) + note("G4", 8)] * 4))
    for _ in range(100):
        is_read_or_refused(tmp_path / "m.musicxml", mutated(text.encode(), dice))


BAR = (
    '<measure number="1">{}<attributes><divisions>1</divisions></attributes><note><pitch><step>C'
    "</step><octave>4</octave></pitch><duration>4</duration></note></measure>"
)
LIST = '<part-list><score-part id="P1"><part-name>Guitar</part-name></score-part></part-list>'


def test_a_measure_outside_of_any_part(tmp_path):
    """The element around the measure has a foreign name, as in a damaged file."""
    text = (
        f'<score-partwise>{LIST}<beats id="P0">{BAR.format("")}</beats>'
        f'<part id="P1">{BAR.format("")}</part></score-partwise>'
    )
    refused(tmp_path, text, "a measure outside of any part")


def test_a_note_outside_of_any_part(tmp_path):
    """The same holds for a note in a measure whose own element is damaged too."""
    bar = BAR.format("").replace("measure", "beats")
    text = f'<score-partwise>{LIST}{bar}<part id="P1">{BAR.format("")}</part></score-partwise>'
    refused(tmp_path, text, "a note outside of any part")


def test_endings_that_lead_past_everything(tmp_path):
    """The only measure belongs to the second time, and there is no first time."""
    sign = '<barline location="left"><ending number="2" type="start"/></barline>'
    text = f'<score-partwise>{LIST}<part id="P1">{BAR.format(sign)}</part></score-partwise>'
    refused(tmp_path, text, "no measure is ever played")
