"""Run notebooks by a kernel alone; what they show is kept in them, as if JupyterLab had run them.

Usage: python run_lessons.py FILE...
"""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbformat.sign import NotebookNotary

for path in map(Path, sys.argv[1:]):
    notebook = nbformat.read(path, as_version=4)
    where = {"metadata": {"path": str(path.parent)}}
    NotebookClient(notebook, timeout=300, allow_errors=True, resources=where).execute()
    nbformat.write(notebook, path)
    NotebookNotary().sign(notebook)  # else JupyterLab shows no widgets
