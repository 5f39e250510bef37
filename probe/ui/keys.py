"""Every key of the program, in one table: action, default keys, what it says, whether the footer shows it.

Keys are Textual's names. `empty_only` keys act only while the entry line is empty; otherwise they type. Settings may
map any action to other keys. Nothing here needs Ctrl with punctuation or keys that tmux and terminals keep for themselves.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from textual.binding import Binding

from probe.frozen import frozen
from probe.task.command import Command


@frozen
class KeyRow:
    """One action. `scope` is the screen it belongs to; `shown` puts it in the footer (six at most for a screen)."""

    action: str
    scope: str
    keys: tuple[str, ...]
    words: str
    shown: bool = False
    empty_only: bool = False
    name: str = ""

    @property
    def id(self) -> str:
        """The name that settings use to map it to other keys."""
        if self.name:
            return self.name
        return f"{self.scope}.{self.action.split('(')[0]}" + (
            "." + self.action.split("(")[1].strip("')").replace("', '", "-") if "(" in self.action else ""
        )


def _of(commands: tuple[Command, ...]) -> tuple[KeyRow, ...]:
    """The commands of a task as rows of the one table."""
    return tuple(KeyRow(f"command('{c.id}')", c.scope, c.keys, c.words, c.shown, c.empty, name=c.id) for c in commands)


OF_PROGRAM: tuple[KeyRow, ...] = (
    KeyRow("help", "app", ("f1",), "Help", shown=True),
    KeyRow("leave", "app", ("escape",), "Back"),
    KeyRow("quit", "app", ("ctrl+q",), "Quit"),
    KeyRow("settings", "app", (), "Settings: colours, drawing, brightness, steady light, bell"),
    KeyRow("guide", "app", (), "Guide: how each part of the work goes"),
    KeyRow("save_picture", "app", ("ctrl+x",), "Save this screen as a picture (SVG)"),
)
"""The program's own, which every screen has."""


@cache
def all_keys() -> tuple[KeyRow, ...]:
    """The whole table. The first call imports every room's commands: no screen needs more than its own."""
    from probe.faults.commands import COMMANDS as FAULTS
    from probe.game.keys import COMMANDS as GAME
    from probe.harness.planning_keys import BATCH, HARNESS, JOINT, POWER
    from probe.lighting.even_keys import COMMANDS as EVENNESS
    from probe.lighting.picture_keys import COMMANDS as PICTURE
    from probe.lighting.shapes import COMMANDS as SHAPES
    from probe.mapping.history import COMMANDS as REVISIONS
    from probe.mapping.new_map import COMMANDS as SETUP
    from probe.mapping.table import COMMANDS as TABLE
    from probe.mapping.walk_view import COMMANDS as WALK
    from probe.program.guide import COMMANDS as GUIDE
    from probe.program.settings import COMMANDS as SETTINGS
    from probe.recheck.keys import FIND, RECHECK

    rooms = (
        WALK,
        SETUP,
        TABLE,
        RECHECK,
        FIND,
        REVISIONS,
        POWER,
        HARNESS,
        JOINT,
        BATCH,
        FAULTS,
        GAME,
        PICTURE,
        SHAPES,
        SETTINGS,
        GUIDE,
        EVENNESS,
    )
    return (*OF_PROGRAM, *(row for commands in rooms for row in _of(commands)))


def keys_of(row: KeyRow | Command, changed: Mapping[str, str]) -> tuple[str, ...]:
    """The keys of an action after the settings' changes (`{"walk.undo": "ctrl+u,f10"}`)."""
    if row.id in changed:
        return tuple(k.strip() for k in changed[row.id].split(",") if k.strip())
    return row.keys


def typing_key(key: str) -> bool:
    """Whether the entry line itself uses a key: one that types or moves in it."""
    # "full_stop" begins with an f and is no function key
    function_key = re.fullmatch(r"f\d+", key) is not None
    return not (function_key or key.startswith(("ctrl+", "page", "alt+", "shift+")))


def program_bindings() -> list[Binding]:
    """The bindings of the program itself."""
    return [
        Binding(
            ",".join(row.keys),
            row.action,
            row.words,
            show=row.shown,
            # a line to type in would cut its text instead; a screen over another would have no help and no way out
            priority=row.id in ("app.save_picture", "app.help", "app.quit"),
            id=row.id,
        )
        for row in OF_PROGRAM
        if row.keys
    ]


def while_empty(scope: str, changed: Mapping[str, str] | None = None) -> dict[str, str]:
    """Key → action for the keys that act only while the entry line is empty."""
    return {
        key: row.action
        for row in all_keys()
        if row.scope == scope and row.empty_only
        for key in keys_of(row, changed or {})
        if typing_key(key)
    }
