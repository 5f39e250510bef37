"""A command: what a key means, once. Bindings, footer, menu, pickers, help, palette and the settings' names all come from it.

A row names what it means, not a key: the keys follow from `Means`, the one table of keys of the whole program. So a key
cannot mean one thing here and another there.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from typing import Any

from probe.frozen import frozen
from probe.task.events import Redo, Retry, TakeRow, Undo


class Means(Enum):
    """What a key means, on every screen: words, then the keys (the terminal library's names). The members' order is that
    of the key table.

    `MORE`, `ADD`, `PICTURE` and `LIGHT` open a picker of those of its commands that have a letter; one without a letter
    acts at once. `BY_LETTER` are letters and digits beside a row, where nothing can be typed; `IN_MENU` has no key.
    """

    DO = ("do what is marked: take, open, change, right, yes", "enter")
    BACK = ("one step back; nothing is lost", "escape")
    UP = ("the mark up", "up")
    DOWN = ("the mark down", "down")
    LEFT = ("the mark left, or a value one step down", "left")
    RIGHT = ("the mark right, or a value one step up", "right")
    ONWARD = ("onward: next pixel, look, stop, joint; a screenful where there is something to read", "pagedown")
    BEFORE = ("back: pixel, look, stop, joint before; a screenful where there is something to read", "pageup")
    NEXT_PANE = ("next pane or field", "tab")
    PANE_BEFORE = ("pane or field before", "shift+tab")
    AS_WELL = ("this one as well: mark this row too; same place as the last", "space")
    HELP = ("help for this screen", "f1")
    NO = ("no: nothing lit, wrong, not so, dark", "f2")
    YES_BUT = ("yes, but: hidden, elsewhere as well, not seen from here, heat or smell", "f3")
    NOT_SURE = ("not sure: ask another way", "f4")
    MORE = ("more for this row", "f5")
    NEXT_KIND = ("next of the kind: chain, port, state", "f6")
    ADD = ("add", "f7")
    TAKE_OUT = ("take out the marked row", "f8", "delete")
    PICTURE = ("picture: side, route, grid, zoom, point", "f9")
    MENU = ("menu", "f10", "ctrl+o")
    FIND = ("find or go to: a number, a place, a chain", "ctrl+f")
    NEXT_OPEN = ("next open one: unseen, not proved, finding", "ctrl+n")
    TABLE = ("map table, and back", "ctrl+t")
    LIGHT = ("light: brightness, blinking, white, colour", "ctrl+l")
    PALETTE = ("find a command by its name", "ctrl+p")
    UNDO = ("undo", "ctrl+z")
    REDO = ("redo", "ctrl+y")
    AGAIN = ("save and light again", "ctrl+r")
    QUIT = ("leave the program", "ctrl+q")
    BY_LETTER = ("letters and digits: the row they stand beside, where nothing can be typed",)
    IN_MENU = ("in the menu",)

    @property
    def words(self) -> str:
        """What it means, for the key table."""
        return str(self.value[0])

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys with this meaning."""
        return tuple(self.value[1:])


PICKERS = (Means.MORE, Means.ADD, Means.PICTURE, Means.LIGHT)
"""What opens a picker of commands with letters."""


class MenuGroup(Enum):
    """A group of the menu. The value is its title."""

    HERE = "Here"
    MAP = "Map"
    LIGHT = "Light"
    PLAN = "Plan"
    GAME = "Game"
    PROGRAM = "Program"


@frozen
class Command:
    """One row. `event` is the event itself, given to the task (or to the screen, for what only the screen knows).

    `id` is the name that settings use, such as `walk.undo`. `means` gives it its keys. `letter`: its letter (or digit, or
    arrow) in the picker that `means` opens, or in its group of the menu; for other meanings a key of its own beside
    those of `means`, where nothing can be typed. `shown`: in the footer (where this is said of the state), as long as `when(state)`
    holds (always, if there is no `when`). `group`: where in the menu it stands. `stays`: the picker stays open after it. `short`: the words in the footer (where the
    state decides, said of the state).
    """

    id: str
    means: Means
    words: str
    event: object
    shown: bool | Callable[[Any], bool] = False
    when: Callable[[Any], bool] | None = None
    letter: str = ""
    group: MenuGroup = MenuGroup.HERE
    stays: bool = False
    short: str | Callable[[Any], str] = ""

    def short_words(self, state: object) -> str:
        """The words in the footer. `state` None: whatever it is."""
        if callable(self.short):
            return self.words if state is None else self.short(state)
        return self.short or self.words

    @property
    def scope(self) -> str:
        """The part of the id before the point: the task, or `app`."""
        return self.id.partition(".")[0]

    @property
    def in_picker(self) -> bool:
        """Whether it is a row of the picker that its meaning opens."""
        return bool(self.letter) and self.means in PICKERS

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys that carry it out at once, wherever nothing was changed by the settings."""
        if self.in_picker:
            return ()
        in_menu = self.group is not MenuGroup.HERE or self.means is Means.IN_MENU
        return self.means.keys if in_menu or not self.letter else (*self.means.keys, self.letter)


def rows_by_digit(scope: str, count: int, when: Callable[[Any], bool]) -> tuple[Command, ...]:
    """The digits that take the rows of a short list, where nothing can be typed."""
    return tuple(
        Command(f"{scope}.row.{n}", Means.BY_LETTER, f"Take row {n}", TakeRow(n - 1), letter=str(n), when=when)
        for n in range(1, count + 1)
    )


def change_rows(scope: str, *, again: str = "Save again") -> tuple[Command, ...]:
    """Undo, redo, and saving again, for a task that changes the map. `again`: what else saving again does, in words."""
    return (
        Command(f"{scope}.undo", Means.UNDO, "Undo", Undo()),
        Command(f"{scope}.redo", Means.REDO, "Redo", Redo()),
        Command(f"{scope}.retry", Means.AGAIN, again, Retry()),
    )
