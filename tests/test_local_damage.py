"""The local damages do what they say, and rows that point at them are counted right."""

import numpy as np
import pandas as pd
import pytest
from benchmarks.damage import PHRASE
from benchmarks.local_damage import DAMAGES, points_at, twin
from songs import song

HIGH_TO_LOW = {"Guitar 1": 76, "Guitar 2": 67, "Guitar 3": 60, "Guitar 4": 48}
SEEDS = ("Harbour Lights", "Slow Tram", "Kettle Lane")


def four_parts():
    """Return four parts in C major, in quarter notes through sixteen bars."""
    scale = (0, 2, 4, 5, 7)
    return song(
        *[
            (name, pitch + scale[beat % 5] - 3 * (name == "Guitar 2"), beat, 1)
            for name, pitch in HIGH_TO_LOW.items()
            for beat in range(64)
        ]
    )


@pytest.mark.sampled
@pytest.mark.parametrize("damage", DAMAGES)
def test_four_bars_of_one_part_change(damage):
    """All else stays; the twin depends on the piece's name alone."""
    whole = four_parts()
    for seed in SEEDS:
        worse, part, span = twin(whole, damage, seed)
        again = twin(whole, damage, seed)
        pd.testing.assert_frame_equal(worse.notes, again.song.notes)
        assert span[0] % 4 == 0
        assert span[1] - span[0] == PHRASE
        inside = whole.notes["onset"].between(*span, inclusive="left")
        own = inside & (whole.notes["part"] == part)
        kept = whole.notes[~own]["source_id"]
        columns = ["part", "onset", "pitch"]
        stays = worse.notes[worse.notes["source_id"].isin(kept)]
        left, right = (
            frame[columns].sort_values(columns, ignore_index=True)
            for frame in (stays, whole.notes[~own])
        )
        pd.testing.assert_frame_equal(left, right)
        changed = worse.notes[~worse.notes["source_id"].isin(kept)]
        before = whole.notes[own].set_index("source_id")
        check(damage, part, before.loc[changed["source_id"]].reset_index(), changed)


def check(damage, part, before, after):
    """Check the changed notes against those before, row by row."""
    steps = after["pitch"].to_numpy() - before["pitch"].to_numpy()
    delays = after["onset"].to_numpy() - before["onset"].to_numpy()
    if damage == "a semitone off":
        assert set(steps) in ({1.0}, {-1.0})
    elif damage == "an octave up":
        assert set(steps) == {12.0}
    elif damage == "an octave down":
        assert set(steps) == {-12.0}
    elif damage == "a foreign chord":
        assert np.abs(steps).max() <= 2  # a triad's tone is never farther than two from the nearest
        assert len(set(after["pitch"] % 12)) <= 3
    elif damage == "thirds low down":
        assert part == "Guitar 4"
        assert len(after) == 2 * len(set(after["onset"]))
        low = after.groupby("onset")["pitch"].agg(["min", "max"])
        assert set(low["max"] - low["min"]) <= {3.0, 4.0}
        assert low["min"].mean() <= 48
    elif damage == "on the tune":
        tune = 76 + np.array([0, 2, 4, 5, 7])[(after["onset"] % 5).astype(int)]
        assert part != "Guitar 1"
        assert np.abs(after["pitch"] - tune).max() <= 6
    late = damage == "a sixteenth late"
    assert set(delays) == {0.25 if late else 0.0}
    assert not late or set(steps) == {0.0}


def test_which_rows_point_at_it():
    """The part must be named, and half of the finding lie in the bars."""
    rows = pd.DataFrame(
        {"parts": ["Guitar 1", "Guitar 2", "Guitar 1 + Bass", "Guitar 1", "Guitar 1"],
         "onset": [16.0, 16.0, 12.0, 8.0, 32.0], "duration": [16.0, 16.0, 8.0, 12.0, 4.0]}
    )  # fmt: skip
    assert points_at(rows, "Guitar 1", (16.0, 32.0)).tolist() == [True, False, True, False, False]
