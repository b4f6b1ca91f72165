"""What every test shares: the demo song, no window, no figure left open."""

from collections import Counter
from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib import pyplot as plt

import arrange as ar

mpl.use("Agg")
STEP = 3  # of the cases of a sampled test, one in so many is run


def pytest_addoption(parser):
    parser.addoption(
        "--every",
        action="store_true",
        help="run every case of the tests that are sampled, and the long ones",
    )


def pytest_collection_modifyitems(config, items):
    """Leave out the long tests, and all but one in three cases of each sampled test."""
    if config.getoption("every"):
        return
    cases = Counter()
    kept, left_out = [], []
    for item in items:
        runs = not item.get_closest_marker("long")
        if item.get_closest_marker("sampled") and hasattr(item, "callspec"):
            test = item.nodeid.partition("[")[0]
            runs = runs and cases[test] % STEP == 0
            cases[test] += 1
        (kept if runs else left_out).append(item)
    config.hook.pytest_deselected(items=left_out)
    items[:] = kept


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
