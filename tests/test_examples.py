"""Every public name has a short example in its docstring, and the example is correct."""

import doctest
from pathlib import Path

import pytest

import arrange as ar

ROOT = Path(__file__).parent.parent
LINES = range(1, 7)  # besides what is imported


@pytest.mark.parametrize("name", ar.__all__)
def test_example(name, monkeypatch):
    """The example runs where the README's commands run, with nothing defined before."""
    monkeypatch.chdir(ROOT)
    value = getattr(ar, name)
    [example] = doctest.DocTestFinder(recurse=False).find(value, name, globs={})
    lines = [line for each in example.examples for line in each.source.splitlines()]
    assert any(line.startswith("import arrange as ar") for line in lines), f"{name} has no example"
    own = [line for line in lines if not line.startswith(("import ", "from "))]
    assert len(own) in LINES, f"the example of {name} has {len(own)} lines"
    said: list[str] = []
    options = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
    result = doctest.DocTestRunner(optionflags=options).run(example, out=said.append)
    assert not result.failed, "".join(said)
