"""Text for people: words, labels, markup, letters that can be written, the bibliography."""
