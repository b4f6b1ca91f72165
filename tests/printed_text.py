"""What was printed, cut at words that must come in order."""


def in_order(text: str, words: list[str]) -> list[str]:
    """Return the text from each word to the next; the words must come in this order."""
    if not words:
        return []
    places, at = [], 0
    for word in words:
        at = text.find(word, at)
        assert at >= 0, f"{word!r} is not there, or not in its place"
        places.append(at)
        at += len(word)
    return [text[a:b] for a, b in zip(places, [*places[1:], len(text)], strict=True)]
