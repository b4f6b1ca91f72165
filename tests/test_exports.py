"""Every export once more, on songs that were condensed and re-voiced."""

from pathlib import Path

import pytest
import verovio

import arrange as ar

DATASETS = Path(__file__).parent.parent / "datasets"


@pytest.fixture(scope="module", params=["condensed", "revoiced"])
def arranged(request):
    if request.param == "condensed":
        return ar.condense(ar.read(DATASETS / "last-bell.musicxml"), 2).song
    song = ar.read(DATASETS / "low-water.musicxml")
    return ar.revoice(song, "Guitar 1", section="Chorus 1")[0].song


def heard(song, *, also=()):
    """What sounds, in an order that does not depend on the table's; thirds of a beat rounded."""
    notes = song.notes[~song.notes["grace"] & song.notes["pitch"].notna()]
    notes = notes[["part", "onset", "duration", "pitch", *also]].round({"onset": 3, "duration": 3})
    rows = notes.astype(object).where(notes.notna(), None).to_numpy().tolist()
    return sorted(rows, key=lambda row: tuple(map(str, row)))


def test_musicxml_keeps_notes_strings_and_frets(arranged, tmp_path):
    ar.write_musicxml(arranged, tmp_path / "song.musicxml")
    again = ar.read(tmp_path / "song.musicxml")
    assert heard(again, also=("string", "fret")) == heard(arranged, also=("string", "fret"))
    assert again.parts[["part", "capo"]].equals(arranged.parts[["part", "capo"]])


def test_midi_keeps_pitches_and_onsets(arranged, tmp_path):
    ar.write_midi(arranged, tmp_path / "song.mid")
    again = ar.read(tmp_path / "song.mid")
    for part in arranged.parts.loc[arranged.parts["family"] == "guitar", "part"]:
        told, kept = ({(row[1], row[3]) for row in heard(each) if row[0] == part}
                      for each in (again, arranged))  # fmt: skip
        assert told == kept, part


def test_a_chart_keeps_pitches_and_onsets(arranged, tmp_path):
    ar.write_chart(arranged, tmp_path / "song.txt")
    again = ar.read(tmp_path / "song.txt")
    for part in arranged.parts.loc[arranged.parts["family"] == "guitar", "part"]:
        told, kept = ({(row[1], row[3]) for row in heard(each) if row[0] == part}
                      for each in (again, arranged))  # fmt: skip
        assert told == kept, part


def test_every_page_is_engraved(arranged, tmp_path):
    """By verovio, which reads our MusicXML as a stranger does."""
    path = tmp_path / "song.musicxml"
    ar.write_musicxml(arranged, path)
    toolkit = verovio.toolkit()
    assert toolkit.loadFile(str(path))
    pages = [toolkit.renderToSVG(page + 1) for page in range(toolkit.getPageCount())]
    assert pages
    assert all('class="note"' in page for page in pages)
