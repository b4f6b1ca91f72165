"""Imports go down only, libraries stay behind their walls, the front door is complete."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import arrange

PACKAGE = Path(arrange.__file__).parent

# Bottom up. A module may import from the lines below its own, and inside its own folder; code
# that two modules of one line share belongs on a line below.
LEVELS = (
    ("errors", "song_size"),
    ("best_path", "given_songs", "text"),
    ("theory",),
    ("hearing", "tables"),
    ("guitar",),
    ("formats",),
    ("quantities",),
    ("clashes", "recording"),
    ("findings",),
    ("condensing", "revoicing"),
    ("decisions", "sound"),
    ("plots",),
    ("explaining",),
    ("handouts", "live", "report"),
    ("sending",),
    ("songbook",),
    ("exercises",),
    ("showing",),
    ("commands",),
    ("__main__", "__init__"),
)
LEVEL = {name: number for number, names in enumerate(LEVELS) for name in names}

# The only places that may import a library.
WALLS = {
    "anywidget": ("live/",),
    "html": ("text/markup.py",),
    "markupsafe": ("report/pieces.py",),
    "matplotlib": ("plots/",),
    "lxml": ("formats/musicxml/",),
    "jinja2": ("report/pieces.py", "handouts/"),
    "midirenderer": ("sound/",),
    "onnxruntime": ("recording/",),
    "soundfile": ("sound/", "recording/"),
    "soxr": ("recording/",),
    "ipywidgets": ("live/", "exercises/asking.py"),
    "music21": (),
    "nbformat": (),
    "typst": ("handouts/",),
    "verovio": ("handouts/",),
    "voila": ("live/",),
}

MODULES = {
    path.relative_to(PACKAGE).as_posix(): path.read_text(encoding="utf-8")
    for path in sorted(PACKAGE.rglob("*.py"))
}


@pytest.fixture(scope="module")
def trees():
    """Return the code of each module."""
    return {module: ast.parse(text) for module, text in MODULES.items()}


def imports(tree: ast.AST) -> set[str]:
    """Return the full names of everything that a piece of code imports."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, "imports are written in full"
            is_front_door = node.module == "arrange"
            names |= {f"arrange.{a.name}" for a in node.names} if is_front_door else {node.module}
    return names


def test_imports_go_down(trees):
    """A module imports only modules below it; a new module needs a level."""
    for module, tree in trees.items():
        own = module.removesuffix(".py").split("/")[0]
        assert own in LEVEL, f"give {own} a level in LEVELS"
        for name in imports(tree):
            if name.startswith("arrange."):
                other = name.split(".")[1]
                assert other in LEVEL, f"{module} imports {name}: the front door is not for us"
                is_down = LEVEL[other] < LEVEL[own] or (other == own and module.count("/"))
                assert is_down, f"{module} imports {name}, which is not below it"


def test_libraries_stay_behind_their_walls(trees):
    """Reading, measuring and drawing work without music21, which is for theory and tests."""
    for module, tree in trees.items():
        for library in {name.split(".")[0] for name in imports(tree)} & set(WALLS):
            assert module.startswith(WALLS[library] or "no module"), f"{module} imports {library}"


@pytest.mark.parametrize("folder", ["text", "theory", "hearing"])
def test_no_tables_below_the_tables(trees, folder):
    """The packages of words, theory and hearing work on numbers and arrays."""
    for module in (name for name in trees if name.startswith(f"{folder}/")):
        names = imports(trees[module])
        assert "pandas" not in {name.split(".")[0] for name in names}, module


def functions(trees):
    """Return each function with its module."""
    return [(module, node) for module, tree in trees.items() for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef)]  # fmt: skip


def test_no_function_takes_more_than_seven(trees):
    """Parameters that belong together become one value, named as in the field."""
    for module, node in functions(trees):
        taken = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
        own = [each.arg for each in taken if each.arg not in ("self", "cls")]
        assert len(own) <= 7, f"{module}, {node.name}: {own}"


def test_no_function_imports_the_package(trees):
    """No function imports the package, since that would hide an import that goes up."""
    for module, node in functions(trees):
        own = {name for name in imports(node) if name.split(".")[0] == "arrange"}
        assert not own, f"{module}, {node.name}: imports {own}"


def test_labels_are_joined_and_split_in_one_place():
    """Labels may contain the joining sign, so that only ``part_lists`` joins and splits them.

    Additive meters are no labels.
    """
    by_hand = re.compile(r"""split\(["'] \+ ["']|["'] \+ ["']\.join|\} \+ \{""")
    meters = {"theory/meters.py", "formats/musicxml/attributes.py"}
    for module in MODULES.keys() - meters - {"text/part_lists.py"}:
        assert not by_hand.search(MODULES[module]), module


def test_the_front_door_is_complete(trees):
    """`__all__` is sorted and holds all names that the front door imports, and each exists."""
    tree = next(node for node in trees["__init__.py"].body if isinstance(node, ast.If))
    given = {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module.startswith("arrange.")
        for alias in node.names
    }
    assert sorted(given) == arrange.__all__, "arrange/__init__.py: the imports are not __all__"
    homes = {
        alias.name: node.module.removeprefix("arrange.")
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module.startswith("arrange.")
        for alias in node.names
    }
    assert homes == arrange._HOMES, "arrange/__init__.py: the imports are not _HOMES"
    for name in arrange.__all__:
        assert getattr(arrange, name).__doc__, name
    with pytest.raises(AttributeError, match="no attribute 'plot_nothing'"):
        arrange.plot_nothing  # noqa: B018


def test_nothing_is_loaded_before_it_is_used():
    """Libraries for drawing and theory, which load slowly, are not loaded with the package."""
    code = "import sys, arrange; print(*{name.split('.')[0] for name in sys.modules})"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    slow = {"matplotlib", "music21", "ipywidgets", "scipy", "soundfile", "typst", "verovio"}
    assert not slow & set(loaded.stdout.split())
    assert not {"pandas", "numpy", "pyarrow"} & set(loaded.stdout.split())


def test_a_folder_of_its_name_does_not_hide_it(tmp_path):
    """Python finds the package when it runs in the folder above a clone named arrange."""
    (tmp_path / "arrange").mkdir()
    asked = [sys.executable, "-c", "import arrange; arrange.read"]
    process = subprocess.run(asked, cwd=tmp_path, capture_output=True, text=True)
    assert process.returncode == 0, process.stderr
