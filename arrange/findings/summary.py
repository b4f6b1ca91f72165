"""Findings in a few words: how many, of which kinds, how strong."""

from __future__ import annotations

import pandas as pd

from arrange.clashes import KINDS
from arrange.text.part_lists import split_parts
from arrange.text.words import counted, first_up, listed

_MOST_PAIRS = 3  # that are named beside the first


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


def trait_sentences(groups: pd.DataFrame) -> list[str]:
    """Return what a song does throughout, a sentence for each kind.

    Parameters
    ----------
    groups : DataFrame
        As ``group_findings`` gives them.
    """
    sentences = []
    traits = groups[groups["trait"]]
    for kind, own in traits.groupby("kind", sort=False):
        first, *others = own["parts"].unique().tolist()
        clause = KINDS[str(kind)].trait.format(parts=listed(split_parts(first)))
        named, more = others[:_MOST_PAIRS], len(others) - _MOST_PAIRS
        same = listed([*named, *([f"{more} more"] if more > 0 else [])])
        beside = f"; the same goes for {same}" if same else ""
        sentences.append(first_up(f"{clause} for most of the time that they play{beside}."))
    return sentences
