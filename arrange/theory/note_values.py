"""Note values in words, as a part's echo names them: "dotted eighth", "quarter note"."""

from __future__ import annotations

# In quarter notes; "dotted" or "triplet" may stand before or behind.
_NOTE_VALUES = {
    "whole": 4.0,
    "half": 2.0,
    "quarter": 1.0,
    "eighth": 0.5,
    "sixteenth": 0.25,
    "thirty-second": 0.125,
}
_ALTERED = {"dotted": 3 / 2, "triplet": 2 / 3}


def named_quarters(text: str) -> float | None:
    """Return the quarter notes of a note value such as "dotted eighth"; None for other words."""
    words = text.lower().removesuffix(" note").split()
    factors = [_ALTERED[word] for word in words if word in _ALTERED]
    values = [_NOTE_VALUES[word] for word in words if word in _NOTE_VALUES]
    if len(values) != 1 or len(factors) > 1 or len(words) > 1 + len(factors):
        return None
    return values[0] * (factors[0] if factors else 1.0)
