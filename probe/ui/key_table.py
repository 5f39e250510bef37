"""The guide's page of keys, made from the commands: `python -m probe.ui.key_table > probe/guide/keys.md`; a test compares."""

from __future__ import annotations

from collections.abc import Iterator

from probe.task.command import Command, Means, MenuGroup
from probe.ui.keys import all_keys, key_name, keys_words
from probe.ui.menu import SCREENS


def key_table() -> str:
    """The page, as Markdown."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    yield "# Keys: one meaning each, on every screen"
    yield ""
    yield "Letters, digits, Space, Delete and ← → act only while nothing is typed. The menu (F10) and the list of commands (Ctrl+P)"
    yield "hold everything that can be done, also what has no key. Everything that is listed can be clicked; the wheel scrolls."
    yield ""
    yield "| key | means |"
    yield "|---|---|"
    for means in Means:
        if means.keys:
            yield f"| {' '.join(key_name(key) for key in means.keys)} | {means.words} |"
    yield f"| a letter, a digit | {Means.BY_LETTER.words.partition(': ')[2]} |"
    yield ""
    yield "## The menu"
    yield ""
    yield "Digits, or ← and →, open a group; a letter does its row; what cannot be done now says why. “Here” holds what the screen"
    yield "below can do."
    for group in MenuGroup:
        rows = [row for row in all_keys() if row.group is group]
        if group is not MenuGroup.HERE:
            yield ""
            yield f"**{[*MenuGroup].index(group) + 1} {group.value}**"
            yield ""
            for row in rows:
                keys = keys_words(row)
                yield f"- {key_name(row.letter)}: {row.words}" + (f" ({keys})" if keys else "")
    yield ""
    yield "## Screen by screen"
    for scope in dict.fromkeys(row.scope for row in all_keys() if row.scope != "app"):
        yield ""
        yield f"**{SCREENS[scope].capitalize()}**"
        yield ""
        yield "| key | does |"
        yield "|---|---|"
        for row in all_keys():
            if row.scope == scope and (row.group is MenuGroup.HERE):
                yield f"| {_keys(row)} | {row.words} |"


def _keys(row: Command) -> str:
    return keys_words(row).replace("  ", " ")


if __name__ == "__main__":
    import sys

    sys.stdout.write(key_table())
