"""How fast the package starts: help and arguments load nothing that reads, measures or draws."""

import subprocess
import sys
import time

import pytest
from test_command_line import NAMES

SLOW = {
    "ipywidgets", "jinja2", "lxml", "matplotlib", "music21", "nbformat", "numpy", "pandas",
    "pyarrow", "scipy", "soundfile", "typst", "verovio",
}  # fmt: skip
RUNS = 3  # runs of each, in turn; the best counts, since the machine may be busy

LOADED = """
import contextlib, io, sys
from arrange.__main__ import main
for words in {words}:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        with contextlib.suppress(SystemExit):
            main(words)
print(*{{name.split(".")[0] for name in sys.modules}})
"""


@pytest.mark.parametrize(
    "words",
    [
        [["--help"], *([name, "--help"] for name in NAMES)],
        [[], ["studdy"], *([name, "--no-such-option"] for name in NAMES)],
    ],
    ids=["help", "wrong arguments"],
)
def test_help_and_wrong_arguments_load_nothing_slow(words):
    asked = [sys.executable, "-c", LOADED.format(words=words)]
    ran = subprocess.run(asked, capture_output=True, text=True, check=True)
    assert "argparse" in ran.stdout.split()
    assert not SLOW & set(ran.stdout.split())


def seconds(*words):
    """Return how long a process of Python takes."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *words], check=True, capture_output=True)
    return time.perf_counter() - start


def test_it_starts_sooner_than_pandas():
    """It is compared, in the same run, with pandas, which nearly every user waits for anyway."""
    asked = (["-m", "arrange", "--help"], ["-c", "import arrange"], ["-c", "import pandas"])
    rounds = [[seconds(*words) for words in asked] for _ in range(RUNS)]
    shown, imported, pandas = (min(times) for times in zip(*rounds, strict=True))
    assert shown <= pandas / 4
    assert imported <= 1.3 * pandas
