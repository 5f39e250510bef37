"""The footer by state: at most six keys, those that matter now, the way back last; nothing is cut."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from probe.task.command import Command, Means
from probe.ui.keys import OF_PROGRAM, key_name, keys_of

MOST = 6
MOST_OF_TASK = 4
"""Commands of the task; the menu, help where there is room, and the way back stand there too."""
GAP = 2
FOLLOWS, FOLLOWS_ASCII = " …", " >"
"""Behind a key that opens a list to pick from."""
SHORT = {"app.help": "Help", "app.menu": "Menu"}


@dataclass(frozen=True)
class KeyHint:
    """A key, what it does here, and the action that does it."""

    key: str
    words: str
    action: str

    @property
    def cells(self) -> int:
        """How wide it stands in the line."""
        return len(self.key) + 1 + len(self.words)


def hints_for(commands: Iterable[Command], state: object, changed: Mapping[str, str]) -> list[KeyHint]:
    """The footer of a task in a state: its own commands, the menu, help, the way back. `state` None: whatever it is."""
    hints: list[KeyHint] = []
    pickers: set[Means] = set()
    back = KeyHint(key_name("escape"), "Back", "app.program('app.leave')")
    for row in commands:
        if row.means is Means.BACK:
            back = KeyHint(key_name("escape"), row.short_words(state), f"command('{row.id}')")
        elif not _is_shown(row, state):
            continue
        elif not row.in_picker:
            hints.append(KeyHint(key_name(keys_of(row, changed)[0]), row.short_words(state), f"command('{row.id}')"))
        elif row.means not in pickers:
            pickers.add(row.means)
            hints.append(
                KeyHint(
                    key_name(row.means.keys[0]), f"{row.short_words(state)}{FOLLOWS}", f"picker('{row.means.name}')"
                )
            )
    del hints[MOST_OF_TASK:]
    for row in OF_PROGRAM:
        if row.shown and row.means is not Means.BACK:
            hints.append(KeyHint(key_name(row.means.keys[0]), SHORT[row.id], f"app.program('{row.id}')"))
    return [*hints, back]


def _is_shown(command: Command, state: Any) -> bool:
    if command.when is not None and state is not None and not command.when(state):
        return False
    if callable(command.shown):
        return state is None or command.shown(state)
    return command.shown


def fitted(hints: list[KeyHint], width: int) -> list[KeyHint]:
    """At most six that fit into the width; the way back is last and always there, what stands earlier stays longer."""
    back = [hint for hint in hints if hint.key == key_name("escape")][:1]
    chosen = [hint for hint in hints if hint.key != key_name("escape")][: MOST - len(back)]
    while len(chosen) > 1 and sum(hint.cells + GAP for hint in [*chosen, *back]) - GAP > width:
        chosen.pop()
    return [*chosen, *back]
