"""What every test shares: the demo song, no window, no figure left open."""

from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib import pyplot as plt

import arrange as ar

mpl.use("Agg")


@pytest.fixture(autouse=True)
def _leave_no_figure_open():
    yield
    plt.close("all")


@pytest.fixture(scope="session")
def demo():
    """Return the first demo song; tests may share it since nothing changes a Song."""
    return ar.read(Path(__file__).parent.parent / "datasets" / "low-water.musicxml")


@pytest.fixture(scope="session")
def layers():
    """Return the song of fourteen layers, condensed to two players."""
    song = ar.read(Path(__file__).parent.parent / "datasets" / "last-bell.musicxml")
    return ar.condense(song, ["Ann", "Ben"])
