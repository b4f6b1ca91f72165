"""Each public function says in a sentence what is no song where it takes one."""

import inspect

import pandas as pd
import pytest

import arrange as ar
from arrange.given_songs import with_songs_checked

TAKING = [
    (name, parameter)
    for name in ar.__all__
    if inspect.isfunction(getattr(ar, name))
    for parameter, own in inspect.signature(getattr(ar, name)).parameters.items()
    if "Song" in str(own.annotation)
]


@pytest.mark.parametrize("wrong", ["x", 3, pd.DataFrame(), ["x"]])
def test_what_is_no_song(wrong):
    """Whatever else is missing; a path is a song where one is read."""
    for name, parameter in TAKING:
        if "str" in str(inspect.signature(getattr(ar, name)).parameters[parameter].annotation):
            continue
        if name == "plot_overlap" and isinstance(wrong, pd.DataFrame):
            continue  # it takes a table too
        with pytest.raises(ar.ArrangeError, match=f"^{name} was given .*: give a song"):
            getattr(ar, name)(**{parameter: wrong})
    assert len(TAKING) > 35


def test_the_song_of_what_is_given(demo):
    study = ar.study("datasets/tarrow-weir.txt")
    with pytest.raises(ar.ArrangeError, match=r"condense was given Study: .*; its song is \.song"):
        ar.condense(study)
    with pytest.raises(ar.ArrangeError, match="songbook_table was given Song: give a songbook"):
        ar.songbook_table(demo)
    with pytest.raises(TypeError, match="missing 1 required positional argument: 'song'"):
        ar.condense()
    assert with_songs_checked(ar.Song) is ar.Song
    assert ar.guitar_parts(song=demo) == ar.guitar_parts(demo)
