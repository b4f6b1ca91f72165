"""What is odd in the sounds of a chart: read as it stands, and reported with its line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import arrange as ar
from arrange.formats.chart.reading import read_chart

DATASETS = Path(__file__).parent.parent / "datasets"
CHART = """part: Guitar 1; {part}
part: Guitar 2
section: Verse
sound: Guitar 1; {sound}
Guitar 1 | x32010 |

section: Chorus; as Verse
sound: Guitar 1; plays Hook + Lead 2

section: Tag; as Verse
sound: Guitar 1; plays Hook
"""


def read_sounds(sound: str, part: str = "clean") -> ar.Song:
    """Return the chart with a sound in its verse and on the line of its part."""
    return read_chart(CHART.format(sound=sound, part=part).encode())


def test_an_echo_that_is_no_note_value_is_reported_and_kept():
    """Nobody hears it, but it is the user's word; on a part's line as well."""
    song = read_sounds("echo sometimes", "echo slap")
    right = "is no note value, so that the echo repeats nothing; write 'echo dotted eighth', 'echo"
    (first, second) = song.notices
    assert first.startswith(f"line 1: 'slap' {right}")
    assert second.startswith(f"line 4: 'sometimes' {right}")
    assert (song.parts["echo"][0], song.setups["echo"][0]) == ("slap", "sometimes")


@pytest.mark.parametrize("echo", ["quarter", "dotted eighth", "eighth triplet", "half note"])
def test_an_echo_that_is_a_note_value_is_not_reported(echo):
    assert read_sounds(f"echo {echo}", f"echo {echo}").notices == ()


@pytest.mark.parametrize(
    ("sound", "says"),
    [
        ("plays Hook +", "in 'Hook +' a '+' joins nothing; write 'plays Hook + Pulse'"),
        ("plays Hook + + Lead 2", "in 'Hook + + Lead 2' a '+' joins nothing"),
        ("plays Hook + Hook", "'Hook + Hook' names a layer twice; leave one out"),
        ("plays Hok", "only here is a layer called 'Hok'; did you mean 'Hook'?"),
        ("plays hook", "only here is a layer called 'hook'; did you mean 'Hook'?"),
        ("plays Gutar 2", "only here is a layer called 'Gutar 2'; did you mean 'Guitar 2'?"),
    ],
)
def test_layers_that_are_probably_not_what_was_meant(sound, says):
    (notice,) = read_sounds(sound).notices
    assert notice.startswith(f"line 4: {says}")


@pytest.mark.parametrize(
    "layers", ["Pulse", "Lead 3", "Guitar 2", '"Clean + Chorus" + Hook', "Guitar 9"]
)
def test_a_layer_of_another_song_is_not_odd(layers):
    """In a duo the layers are those of the song that was condensed; numbers tell them apart."""
    assert read_sounds(f"plays {layers}").notices == ()


def test_a_condensed_song_names_no_odd_layer(tmp_path):
    """ "Wash" and "Wall", "Lead" and "Pad" are layers of their own."""
    result = ar.condense(ar.read(DATASETS / "kiln-yard.txt"))
    ar.write_chart(result.song, tmp_path / "duo.txt")
    again = ar.read(tmp_path / "duo.txt")
    assert again.setups["layers"].notna().any()
    assert again.notices == ()


@pytest.mark.parametrize(
    ("sound", "says"),
    [
        ("plays", "say which recorded layers are in it: 'plays Hook + Pulse'"),
        ("echo", "an echo needs a note value; write 'echo dotted eighth'"),
    ],
)
def test_a_word_without_its_value(sound, says):
    """The line, the column, and what would be right."""
    with pytest.raises(ar.ChartError, match=re.escape(f"line 4, column 18: {says}")):
        read_sounds(sound)
