"""Findings in a few words: how many, of which kinds, how strong."""

from __future__ import annotations

import pandas as pd

from arrange.text.words import counted


def count_kinds(findings: pd.DataFrame) -> str:
    """Return the kinds of findings in words, the most frequent first: ``"2 rub, crowding"``."""
    counts = findings["kind"].value_counts(sort=True)
    return ", ".join(f"{count} {kind}" if count > 1 else kind for kind, count in counts.items())


def findings_figures(findings: pd.DataFrame) -> str:
    """Return how many findings there are, of which kinds, and the strongest, in words."""
    if findings.empty:
        return "no findings"
    kinds = ", ".join(f"{count} {kind}" for kind, count in findings["kind"].value_counts().items())
    strongest = findings["severity"].max()
    return f"{counted(len(findings), 'finding')} ({kinds}), severity up to {strongest:.2f}"
