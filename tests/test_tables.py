"""The six tables, their checks, and the Song that holds them."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from songs import notes_of, parts_of, song

from arrange.clashes import find_clashes
from arrange.errors import ArrangeError, TableError
from arrange.formats.reading import read
from arrange.quantities.register import part_ranges, register_overlap
from arrange.tables.schema_check import check_table
from arrange.tables.schemas import DRIVES, FAMILIES, FINDINGS, NOTES, PARTS, SONG_TABLES, describe
from arrange.tables.song import Song
from arrange.tables.sounding import cut_notes

# What the package promises to those who use its tables: names, order and dtypes.
PROMISED = {
    "parts": "part:str instrument:str family:str tuning:object capo:int64 transpose:int64 "
    "drive:str echo:str level:float64 program:Int64 player:str frets_from:str ring:str",
    "sections": "section:str kind:str pass:int64 first_measure:int64 last_measure:int64 "
    "onset:float64 duration:float64",
    "measures": "measure:int64 written:str section:str onset:float64 duration:float64 meter:str "
    "key:str tempo:float64",
    "chords": "onset:float64 duration:float64 measure:int64 section:str symbol:str root:Int64 "
    "bass:Int64 kind:str pitch_classes:object degree:str",
    "notes": "part:str onset:float64 duration:float64 measure:int64 section:str pitch:float64 "
    "voice:str string:Int64 fret:Int64 technique:str grace:bool source_id:str "
    "sounds:float64",
    "setups": "part:str section:str drive:str echo:str capo:int64 layers:str",
    "findings": "section:str measure:int64 beat:float64 onset:float64 duration:float64 kind:str "
    "parts:str pitches:str value:float64 limit:float64 unit:str severity:float64 why:str "
    "source:str notes:object waived:str",
}


def duet(**about) -> Song:
    """Return two guitars and a chord, three bars."""
    return song(
        ("Guitar 1", "C4 E4", 0, 4), ("Guitar 2", "C#4", 2, 8), chords=[(0, 0, "major", None)],
        **about,
    )  # fmt: skip


def promise(name: str) -> dict[str, str]:
    """Return a dict of column to dtype."""
    return dict(column.split(":") for column in PROMISED[name].split())


@pytest.mark.parametrize("name", list(PROMISED))
def test_promised_columns(name):
    """The schema holds the promised columns in the promised order, each with a meaning."""
    schema = describe(name)
    assert dict(zip(schema["column"], schema["dtype"], strict=True)) == promise(name)
    assert schema["column"].tolist() == list(promise(name))
    assert schema["meaning"].str.len().min() > 3
    assert (schema["table"] == name).all()


def test_frames_have_the_promised_dtypes(tmp_path):
    """A Song made by hand, one read from a file and a table of findings all keep the promise."""
    made = duet()
    path = tmp_path / "song.musicxml"
    path.write_text(TEMPO_CHANGE)
    for frames in (made, read(path)):
        for table in SONG_TABLES:
            frame = getattr(frames, table.name)
            assert {name: str(frame[name].dtype) for name in frame} == promise(table.name)
            assert isinstance(frame.index, pd.RangeIndex)
    found = find_clashes(made)
    assert len(found)
    assert {name: str(found[name].dtype) for name in found} == promise("findings")


def test_describe_all_tables():
    """Without a name every table is described; with a wrong one, all right ones are listed."""
    assert describe()["table"].drop_duplicates().tolist() == list(PROMISED)
    with pytest.raises(
        TableError,
        match="no table is called 'bars'; there are parts, sections, measures, chords, notes, "
        "setups, findings",
    ):
        describe("bars")


def test_columns_are_put_in_order_and_cast():
    """Whole numbers may come as floats, text as objects; order does not matter."""
    frame = parts_of("Guitar 1")
    loose = frame[frame.columns[::-1]].astype({"capo": "float64", "part": "object"})
    pd.testing.assert_frame_equal(check_table(loose, PARTS), frame)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda t: t.drop(columns=["pitch", "onset"]), r"table 'notes' lacks \['onset', 'pitch'\]"),
        (
            lambda t: t.assign(finger=1),
            r"table 'notes' has no column \['finger'\]; it has \['part'",
        ),
        (lambda t: t.assign(pitch="C4"), "table 'notes', column 'pitch': could not convert"),
        (lambda t: t.assign(measure=1.5), "column 'measure', row 0: 1.5; its values are int64"),
        (lambda t: t.assign(measure=np.nan), "column 'measure': .*; its values are int64"),
        (lambda t: t.assign(measure="one"), "column 'measure': .*; its values are int64"),
        (lambda t: t.assign(string=2.5), "column 'string': .*; its values are Int64"),
        (
            lambda t: t.assign(grace=[True, None]),
            "column 'grace', row 1: None; its values are bool",
        ),
        (lambda t: t.assign(grace="no"), "column 'grace', row 0: 'no'; its values are bool"),
        (lambda t: t.assign(onset=[0, np.nan]), "column 'onset', row 1: nan; a value is needed"),
        (lambda t: t.assign(onset=np.inf), "column 'onset', row 0: inf; a value is needed here"),
        (lambda t: t.assign(duration=[1, -1]), "column 'duration', row 1: -1.0; a value is needed"),
        (
            lambda t: t.assign(pitch=[60, 128]),
            "column 'pitch', row 1: 128.0; it lies between 0 and",
        ),
        (lambda t: t.assign(pitch=-1), "column 'pitch', row 0: -1.0; it lies between 0 and 127"),
        (lambda t: t.assign(part=[None, "G"]), r"column 'part', row 0: nan; .*label of its part"),
    ],
)
def test_a_bad_column_is_named(change, message):
    """The message says which table, column and row, what stands there and what would be right."""
    notes = notes_of(("Guitar 1", "C4", 0, 1), ("Guitar 1", "E4", 1, 1))
    with pytest.raises(TableError, match=message):
        check_table(change(notes), NOTES)


def test_missing_values_are_allowed_where_the_schema_says_so():
    """A drum stroke has no pitch, a piano note no string: no error."""
    notes = notes_of(("Drums", "C4", 0, 1)).assign(pitch=np.nan)
    assert check_table(notes, NOTES)["string"].isna().all()


def test_rows_that_must_differ():
    """A part's label is its key; a second row with that label is reported."""
    with pytest.raises(TableError, match="table 'parts', row 1: a second row has part 'Guitar'; "):
        parts_of("Guitar", "Guitar")


@pytest.mark.parametrize(("column", "wrong"), [("family", "banjo"), ("drive", "crunchy")])
def test_a_word_outside_the_list_is_reported_with_the_list(column, wrong):
    """Families and drives are words of a short list; the message gives the whole list."""
    allowed = {"family": FAMILIES, "drive": DRIVES}[column]
    with pytest.raises(
        TableError, match=f"{column}': '{wrong}'; it is one of {', '.join(allowed)}"
    ):
        parts_of("Guitar", **{column: wrong})


@pytest.mark.parametrize(
    ("table", "change", "message"),
    [
        ("notes", {"part": "Guitar 3"}, "table 'notes': there is no part 'Guitar 3'; there are"),
        ("notes", {"measure": 9}, r"table 'notes': there is no measure 9; there are \[1, 2, 3\]"),
        ("notes", {"section": "Tag"}, r"'notes': there is no section 'Tag'; there are \['Song'\]"),
        ("chords", {"measure": 9}, "table 'chords': there is no measure 9"),
        ("measures", {"section": "Tag"}, "table 'measures': there is no section 'Tag'"),
        ("measures", {"tempo": 0.0}, "column 'tempo', row 0: 0.0; a value is needed here"),
        ("measures", {"measure": [2, 3, 4]}, r"its measures are \[2, 3, 4\]; they count 1, 2, 3"),
        ("measures", {"onset": [0, 8, 4]}, "table 'measures', row 2: it begins before the row"),
    ],
)
def test_a_song_checks_what_crosses_tables(table, change, message):
    """Every note's part, measure and section exist, and bars stand in order; `replace` checks
    again, so that no unsound Song can be made.
    """
    made = duet()
    with pytest.raises(TableError, match=message):
        dataclasses.replace(made, **{table: getattr(made, table).assign(**change)})


def test_a_song_without_measures_is_refused():
    """Nothing can be placed in it."""
    made = duet()
    empty = {name: getattr(made, name)[:0] for name in ("notes", "chords", "measures")}
    with pytest.raises(TableError, match=r"its measures are \[\]; they count 1, 2, 3"):
        dataclasses.replace(made, **empty)


def test_from_columns_is_checked_too():
    """The readers' quick way makes the same Song and refuses the same mistakes."""
    made = duet(title="Duet", notices=("a notice",))
    columns = {
        table.name: {name: getattr(made, table.name)[name].array for name in table.names}
        for table in SONG_TABLES
    }
    quick = Song.from_columns(columns, title="Duet", notices=("a notice",))
    for table in SONG_TABLES:
        pd.testing.assert_frame_equal(getattr(quick, table.name), getattr(made, table.name))
    assert (quick.title, quick.source, quick.notices) == ("Duet", "", ("a notice",))
    columns["notes"]["part"] = pd.array(["Nobody"] * 3, dtype="str")
    with pytest.raises(TableError, match="there is no part 'Nobody'"):
        Song.from_columns(columns)


def test_replace_gives_a_new_song():
    """The changed copy is changed, the Song it came from is not."""
    made = duet(title="Duet")
    higher = dataclasses.replace(made, notes=made.notes.assign(pitch=made.notes["pitch"] + 12))
    assert higher.title == "Duet"
    assert higher.notes["pitch"].tolist() == [72, 76, 73]
    assert made.notes["pitch"].tolist() == [60, 64, 61]
    assert repr(made) == "<Song 'Duet': 2 parts, 1 sections, 3 measures, 1 chords, 3 notes>"
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.title = "Trio"


def test_nothing_is_changed_in_place():
    """Every step takes tables and leaves them as they were, and a Song does not hang on the
    frames it was made from.
    """
    made = duet()
    before = {table.name: getattr(made, table.name).copy() for table in SONG_TABLES}
    find_clashes(made)
    cut_notes(made.notes, made.measures, "measure")
    for by in ("song", "section", "measure"):
        part_ranges(made.notes, by, made.parts)
        register_overlap(made.notes, by)
    made.seconds(made.notes["onset"].to_numpy())
    notes = before["notes"].copy()
    other = dataclasses.replace(made, notes=notes)
    notes.loc[0, "pitch"] = 20.0
    for name, frame in before.items():
        pd.testing.assert_frame_equal(getattr(made, name), frame)
        pd.testing.assert_frame_equal(getattr(other, name), frame)


def test_seconds_by_a_worked_tempo_map():
    """Bar 1 at 60: 4 s. Bar 2, two beats at 60 and two at 120: 2 + 1 = 3 s, a mean of 4 beats
    in 3 s, 80 a minute. Bar 3 at 120: 2 s. So bar lines at 0, 4, 7 and 9 s. Inside a bar time
    runs evenly; behind the last bar line the last tempo goes on.
    """
    made = song(("Guitar 1", "C4", 0, 12), tempo=[60, 80, 120])
    assert made.duration == 12
    assert made.seconds(np.array([0, 4, 8, 12])).tolist() == pytest.approx([0, 4, 7, 9])
    assert made.seconds(6) == pytest.approx(5.5)
    assert made.seconds(10) == pytest.approx(8)
    assert made.seconds(14) == pytest.approx(10)
    assert isinstance(made.seconds(1), float)


TEMPO_CHANGE = """<score-partwise version="4.0"><part-list><score-part id="P1">
<part-name>Guitar</part-name></score-part></part-list><part id="P1">
<measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats>
<beat-type>4</beat-type></time></attributes><sound tempo="60"/>
<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note></measure>
<measure number="2"><note><pitch><step>D</step><octave>4</octave></pitch><duration>2</duration>
</note><sound tempo="120"/><note><pitch><step>E</step><octave>4</octave></pitch>
<duration>2</duration></note></measure>
<measure number="3"><note><pitch><step>F</step><octave>4</octave></pitch><duration>4</duration>
</note></measure></part></score-partwise>"""


def test_seconds_of_a_file_whose_tempo_changes_in_a_bar(tmp_path):
    """The same song as a file: MusicXML's sound/@tempo counts quarter notes a minute and holds
    until the next.
    """
    path = tmp_path / "song.musicxml"
    path.write_text(TEMPO_CHANGE)
    made = read(path)
    assert made.measures["tempo"].tolist() == pytest.approx([60, 80, 120])
    assert made.seconds(np.array([4, 8, 12])).tolist() == pytest.approx([4, 7, 9])


@pytest.mark.parametrize(
    ("meter", "onset", "measure", "beat"),
    [
        ("4/4", 0, 1, 1),
        ("4/4", 2.5, 1, 3.5),
        ("4/4", 7, 2, 4),
        ("6/8", 1.5, 1, 4),
        ("6/8", 3.5, 2, 2),
        ("2/2", 2, 1, 2),
        ("3/4", 5.5, 2, 3.5),
    ],
)
def test_beat_in_the_meters_note_value(meter, onset, measure, beat):
    """Beats are counted in the lower number of the time signature, from 1: the second half of a
    bar of 6/8 begins on its fourth eighth, a quarter and a half in.
    """
    made = song(("Guitar 1", "C4", 0, 9), meter=meter)
    assert made.beat(onset, measure) == pytest.approx(beat)
    both = made.beat(np.array([onset, onset]), np.array([measure, measure]))
    assert both.tolist() == pytest.approx([beat, beat])


def test_errors_are_one_family():
    """A TableError is caught as an ArrangeError and as a ValueError."""
    assert issubclass(TableError, ArrangeError)
    assert issubclass(ArrangeError, ValueError)
    assert FINDINGS.names[:3] == ["section", "measure", "beat"]
