"""Numbers with their words."""


def many(count: int, word: str) -> str:
    """A number with its word: `1 pixel`, `2 pixels`."""
    return f"{count} {word}{'' if count == 1 else 's'}"
