"""The keys that lead to a command, as a person presses them."""

from __future__ import annotations

from probe.task.command import Means, MenuGroup
from probe.ui.keys import all_keys


def to(name: str) -> tuple[str, ...]:
    """Keys to the command with that id on a screen that has it: its own, or through its picker or the menu."""
    (row,) = [row for row in all_keys() if row.id == name]
    if row.in_picker:
        return (row.means.keys[0], row.letter)
    if row.keys:
        return (row.keys[0],)
    assert row.means in (Means.IN_MENU, Means.PALETTE), name
    return ("f10", str([*MenuGroup].index(row.group) + 1), row.letter)
