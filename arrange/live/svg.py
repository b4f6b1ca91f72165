"""Pieces of SVG text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from arrange.text.markup import escape_html


@dataclass(frozen=True)
class Box:
    """A place in the picture."""

    x: float
    y: float
    width: float
    height: float


def text(x: float, y: float, words: str, kind: str) -> str:
    """Return a line of text; `kind` is its CSS classes."""
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}">{escape_html(words)}</text>'


def boxes(corners: Iterable[tuple[float, float, float, float]]) -> str:
    """Return one path of many boxes, each given by left, top, width and bottom."""
    return "".join(
        f"M{left:.1f} {top:.1f}h{width:.1f}V{bottom:.1f}h{-width:.1f}z"
        for left, top, width, bottom in corners
    )


def circle(x: float, y: float, size: float) -> str:
    """Return a circle as a piece of a path."""
    wide = 2 * size
    return f"M{x - size:.1f} {y:.1f}a{size} {size} 0 1 0 {wide} 0a{size} {size} 0 1 0 {-wide} 0"
