"""Numbers with their words."""


def many(count: int, word: str, words: str = "") -> str:
    """A number with its word: `1 pixel`, `2 pixels`; `words` is the plural where it is not the word with an s."""
    return f"{count} {word if count == 1 else words or word + 's'}"
