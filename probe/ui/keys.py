"""Every key of the program, in one table: action, default keys, what it says, whether the footer shows it.

Keys are Textual's names. `empty_only` keys act only while the entry line is empty; otherwise they type. Settings may
map any action to other keys. Nothing here needs Ctrl with punctuation or keys that tmux and terminals keep for themselves.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from textual.binding import Binding

from probe.faults.commands import COMMANDS as FAULTS
from probe.game.keys import COMMANDS as GAME
from probe.harness.planning_keys import BATCH, HARNESS, JOINT, POWER
from probe.lighting.even_keys import COMMANDS as EVENNESS
from probe.mapping.history import COMMANDS as REVISIONS
from probe.mapping.new_map import COMMANDS as SETUP
from probe.mapping.table import COMMANDS as TABLE_COMMANDS
from probe.mapping.walk_view import COMMANDS as WALK
from probe.recheck.keys import FIND, RECHECK
from probe.task.command import Command


@dataclass(frozen=True)
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


_LIGHT: tuple[KeyRow, ...] = (
    KeyRow("take", "picture", ("enter",), "Set the mark, or light again"),
    KeyRow("go('up')", "picture", ("up",), "The next place that way (arrows), or move the mark"),
    KeyRow("go('down')", "picture", ("down",), "Down"),
    KeyRow("go('left')", "picture", ("left",), "Left"),
    KeyRow("go('right')", "picture", ("right",), "Right"),
    KeyRow("move(1)", "picture", ("pagedown",), "Next place along the chain"),
    KeyRow("move(-1)", "picture", ("pageup",), "Place before"),
    KeyRow("point", "picture", ("f2",), "Point", shown=True),
    KeyRow("ask('POSITION')", "picture", ("f3",), "Position", shown=True),
    KeyRow("compare", "picture", ("f4", "x"), "Compare", shown=True),
    KeyRow("evenness", "picture", ("f5",), "Evenness", shown=True),
    KeyRow("mode", "picture", ("f6", "m"), "Light all", shown=True),
    KeyRow("level(1)", "picture", ("plus",), "Brighter"),
    KeyRow("level(-1)", "picture", ("minus",), "Dimmer"),
    KeyRow("level_fine(1)", "picture", ("full_stop",), "A little brighter"),
    KeyRow("level_fine(-1)", "picture", ("comma",), "A little dimmer"),
    KeyRow("ask('LEVEL')", "picture", ("l",), "Type a level"),
    KeyRow("ask('COLOUR')", "picture", ("c",), "Type a colour"),
    KeyRow("warmth", "picture", ("w",), "Next white, warm to cool"),
    KeyRow("advice", "picture", ("a",), "Light as common practice has it"),
    KeyRow("whole", "picture", ("g",), "Change the place or its whole group"),
    KeyRow("follow", "picture", ("t",), "The places of the group follow the group"),
    KeyRow("copy_light", "picture", ("y",), "Copy level and colour"),
    KeyRow("paste_light", "picture", ("v",), "Give it the level and colour copied"),
    KeyRow("fade", "picture", ("f",), "Fade like bulbs in the game, or not"),
    KeyRow("ask('DEPTH')", "picture", ("d",), "Type how deep the pixel sits"),
    KeyRow("diffuser", "picture", ("i",), "Diffuser on or off"),
    KeyRow("unit", "picture", ("u",), "Millimetres or inches"),
    KeyRow("zoom", "picture", ("z",), "Zoom to the area, or back"),
    KeyRow("route", "picture", ("r",), "Route and numbers on or off"),
    KeyRow("grid", "picture", ("n",), "Grid on or off"),
    KeyRow("flip", "picture", ("b",), "Picture from above or below"),
    KeyRow("ask('FIND')", "picture", ("slash",), "Find a place"),
    KeyRow("undo", "picture", ("ctrl+z",), "Undo"),
    KeyRow("redo", "picture", ("ctrl+y",), "Redo"),
    KeyRow("retry", "picture", ("ctrl+r",), "Save and light again"),
    KeyRow("leave", "picture", ("escape",), "Out of the line, or back"),
)


def _of(commands: tuple[Command, ...]) -> tuple[KeyRow, ...]:
    """The commands of a task as rows of the one table."""
    return tuple(KeyRow(f"command('{c.id}')", c.scope, c.keys, c.words, c.shown, c.empty, name=c.id) for c in commands)


TABLE: tuple[KeyRow, ...] = (
    KeyRow("help", "app", ("f1",), "Help", shown=True),
    KeyRow("leave", "app", ("escape",), "Back"),
    KeyRow("quit", "app", ("ctrl+q",), "Quit"),
    KeyRow("save_picture", "app", ("ctrl+x",), "Save this screen as a picture (SVG)"),
    *_of(WALK),
    *_of(SETUP),
    *_of(TABLE_COMMANDS),
    *_of(RECHECK),
    *_of(FIND),
    *_of(REVISIONS),
    *_of((*POWER, *HARNESS, *JOINT, *BATCH)),
    *_of(FAULTS),
    *_of(GAME),
    *_LIGHT,
    *_of(EVENNESS),
)


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


def bindings(scope: str, changed: Mapping[str, str] | None = None) -> list[Binding]:
    """The bindings of a screen; `empty_only` typing keys are left to the entry line (see `while_empty`)."""
    made = []
    for row in TABLE:
        if row.scope != scope:
            continue
        keys = [k for k in keys_of(row, changed or {}) if not (row.empty_only and typing_key(k))]
        if keys:
            made.append(
                Binding(
                    ",".join(keys),
                    row.action,
                    row.words,
                    show=row.shown,
                    # a line to type in would cut its text instead; a screen over another would have no help and no way out
                    priority=row.id in ("app.save_picture", "app.help", "app.quit"),
                    id=row.id,
                )
            )
    return made


def while_empty(scope: str, changed: Mapping[str, str] | None = None) -> dict[str, str]:
    """Key → action for the keys that act only while the entry line is empty."""
    return {
        key: row.action
        for row in TABLE
        if row.scope == scope and row.empty_only
        for key in keys_of(row, changed or {})
        if typing_key(key)
    }
