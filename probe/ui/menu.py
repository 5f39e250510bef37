"""The menu: every command there is, in groups; and the pickers, which hold one meaning's commands, each with a letter."""

from __future__ import annotations

import string
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.events import Click, Key
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from probe.task.command import Command, Means, MenuGroup
from probe.ui.dialog import Dialog
from probe.ui.keys import OF_PROGRAM, all_keys, key_name, keys_of, keys_words
from probe.ui.text import cut, plain
from probe.ui.widgets.key_line import KeyLine

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp
    from probe.ui.command_screen import CommandScreen

WIDTH = 76
_EDGES = 8
"""Frame, padding and scroll bar."""
_LEAST_BESIDE = 12
"""Columns beside the frame that are worth showing what lies below; with fewer, single letters would stand there."""


@dataclass(frozen=True)
class Choice:
    """A row that can be chosen. `letter` does it at once; `why_not`: why it cannot be done now, empty if it can."""

    command: Command
    letter: str = ""
    why_not: str = ""


class ChoiceList(OptionList, inherit_bindings=False):
    """Rows whose keys are the screen's: a letter is never taken by the list, nor an arrow that means a row."""

    BINDINGS: ClassVar[list[BindingType]] = []


class ChoiceScreen(Dialog[Command | None]):
    """Rows in a frame over the screen: arrows and Enter, a letter, or a click. Gives the command that was chosen."""

    app: ProbeApp
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Do it", id="app.choice.take"),
        Binding("escape", "back", "Back", id="app.choice.back"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (WIDTH + _LEAST_BESIDE, "-broad")]
        self.choices: tuple[Choice, ...] = ()

    def compose(self) -> ComposeResult:
        with Vertical(id="choice-box"):
            yield Static(id="choice-head")
            yield ChoiceList(id="choices", markup=False)
            yield Static(id="choice-note")
        yield KeyLine()

    def show(self, choices: Iterable[Choice], *, at: int | None = None) -> None:
        """Put these rows into the frame, marked at `at`, or at the first that can be done."""
        self.choices = tuple(choices)
        rows = self.query_one(ChoiceList)
        rows.clear_options()
        width = min(WIDTH, self.app.size.width) - _EDGES
        rows.add_options([Option(self._row(choice, width)) for choice in self.choices])
        if self.choices:
            first = next((n for n, choice in enumerate(self.choices) if not choice.why_not), 0)
            rows.highlighted = first if at is None else min(at, len(self.choices) - 1)
        self.note(self.choices[self.at].why_not if self.choices else "")

    def _row(self, choice: Choice, width: int) -> Content:
        """A letter, words, and at the right the keys that do the same, or why it cannot be done."""
        right = choice.why_not.partition(":")[0] or self.beside(choice)
        head = f" {key_name(choice.letter) if choice.letter else '':<2} "
        room = width - len(head)
        words = cut(choice.command.words, max(10, room - min(len(right), room // 2) - 2))
        right = cut(right, max(0, room - len(words) - 2))
        line = f"{head}{words}{right:>{max(0, room - len(words))}}"
        return plain(line, "dim" if choice.why_not else "")

    def beside(self, choice: Choice) -> str:
        """The keys that do the same without the frame."""
        return keys_words(choice.command, self.app.options.changed_keys)

    def note(self, words: str) -> None:
        """Say something below the rows."""
        self.query_one("#choice-note", Static).update(plain(words))

    @property
    def at(self) -> int:
        """The marked row; -1 if there is none."""
        marked = self.query_one(ChoiceList).highlighted
        return -1 if marked is None else marked

    def on_key(self, event: Key) -> None:
        """A letter does its row at once; what means nothing here goes nowhere."""
        for choice in self.choices:
            if choice.letter and event.key.lower() == choice.letter.lower():
                event.stop()
                event.prevent_default()
                self.choose(choice)
                return
        moves = {"up": -1, "down": 1, "pageup": -8, "pagedown": 8, "home": -len(self.choices), "end": len(self.choices)}
        if event.key in moves and self.choices:
            event.stop()
            event.prevent_default()  # else it is handled once more for the class below a subclass, and moves two rows
            step, last = moves[event.key], len(self.choices) - 1
            to = (self.at + step) % (last + 1) if abs(step) == 1 else max(0, min(last, self.at + step))
            self.query_one(ChoiceList).highlighted = to
            self.note(self.choices[to].why_not)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """A click."""
        event.stop()
        self.choose(self.choices[event.option_index])

    def action_take(self) -> None:
        """Enter: the marked row."""
        if 0 <= self.at < len(self.choices):
            self.choose(self.choices[self.at])

    def action_back(self) -> None:
        """Nothing is chosen."""
        self.dismiss(None)

    def choose(self, choice: Choice) -> None:
        """Do a row, or say why that cannot be."""
        if choice.why_not:
            self.note(f"{choice.command.words}: {choice.why_not}")
        else:
            self.dismiss(choice.command)


class PickerScreen(ChoiceScreen):
    """The commands of one meaning on this screen. Some leave it open, for the next step."""

    def __init__(self, means: Means, below: CommandScreen) -> None:
        super().__init__()
        self.means = means
        self._below = below

    def on_mount(self) -> None:
        self.query_one("#choice-head", Static).update(plain(TITLES[self.means], "bold"))
        self._fill()

    def beside(self, choice: Choice) -> str:
        """The letter is enough; keys of the settings' stand there too."""
        return "  ".join(key_name(key) for key in keys_of(choice.command, self.app.options.changed_keys))

    def _fill(self, at: int | None = None) -> None:
        rows = self._below.picker_rows(self.means)
        self.show([Choice(row, row.letter, self._below.why_not(row)) for row in rows], at=at)

    def choose(self, choice: Choice) -> None:
        if choice.command.stays and not choice.why_not:
            self._below.run_command(choice.command.event)
            self._fill(self.at)
            self.call_later(self._say)
        else:
            super().choose(choice)

    def _say(self) -> None:
        """What the task says of it: its own line may be hidden below."""
        self.note(self._below.current_view().message)


TITLES = {
    Means.MORE: "More for this row",
    Means.ADD: "Add",
    Means.PICTURE: "Picture",
    Means.LIGHT: "Light",
}
"""What stands over a picker."""


class MenuScreen(ChoiceScreen):
    """Every command, in groups: digits or Left and Right open a group, a letter does its row."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "group(-1)", "Group before", show=False),
        Binding("right", "group(1)", "Next group", show=False),
    ]

    def __init__(self, below: CommandScreen | None, opened: MenuGroup) -> None:
        """`below`: the screen whose commands stand under `Here`; None: it has none of its own."""
        super().__init__()
        self._below = below
        self.groups = [group for group in MenuGroup if group is not MenuGroup.HERE or below is not None]
        self.opened = opened if opened in self.groups else self.groups[0]

    def on_mount(self) -> None:
        self._fill()

    def _fill(self) -> None:
        head = Content("")
        for number, group in enumerate(self.groups, start=1):
            style = "bold reverse" if group is self.opened else ""
            head = head.append(plain(f" {number} {group.value} ", style)).append(plain(" "))
        self.query_one("#choice-head", Static).update(head)
        self.show(menu_choices(self.app, self._below, self.opened))

    def action_group(self, by: int) -> None:
        """The group beside it."""
        self.opened = self.groups[(self.groups.index(self.opened) + by) % len(self.groups)]
        self._fill()

    def on_key(self, event: Key) -> None:
        if event.key.isdecimal() and 1 <= int(event.key) <= len(self.groups):
            event.stop()
            self.opened = self.groups[int(event.key) - 1]
            self._fill()
        else:
            super().on_key(event)

    def on_click(self, event: Click) -> None:
        """A click on a group's title opens it."""
        if event.widget is None or event.widget.id != "choice-head":
            return
        left = 0
        for number, group in enumerate(self.groups, start=1):
            left += len(f" {number} {group.value}  ")
            if event.x < left:
                self.opened = group
                self._fill()
                return


def menu_choices(app: ProbeApp, below: CommandScreen | None, group: MenuGroup) -> tuple[Choice, ...]:
    """The rows of a group, as they are on the screen `below`: each has a letter as long as there are letters."""
    if group is MenuGroup.HERE:
        rows: Sequence[Command] = () if below is None else [*below.commands.values()]
        if not any(row.means is Means.BACK for row in rows):
            rows = [*rows, OF_PROGRAM[0]]
        own = [row for row in rows if row.group is MenuGroup.HERE]
        return tuple(
            Choice(row, letter, _why_not(app, below, row)) for row, letter in zip(own, letters(own), strict=True)
        )
    order = _ORDER.get(group, "")
    rows = sorted(
        (row for row in all_keys() if row.group is group),
        key=lambda row: order.index(row.letter) if row.letter in order else len(order),
    )
    return tuple(Choice(row, row.letter, _why_not(app, below, row)) for row in rows)


def letters(rows: Sequence[Command]) -> list[str]:
    """A letter for each row: its own where that is free, else one of its words; rows without any key come first."""
    given: dict[str, str] = {}
    free = set(string.ascii_lowercase)

    def assign(row: Command, wanted: Iterable[str]) -> None:
        letter = next((sign for sign in wanted if sign in free), "")
        if letter:
            free.discard(letter)
            given[row.id] = letter

    for row in rows:
        if len(row.letter) == 1:
            assign(row, row.letter)
    need: Callable[[Command], bool] = lambda row: not row.keys  # noqa: E731 - a name for what is asked twice
    for row in sorted(rows, key=lambda row: not need(row)):
        if row.id not in given:
            assign(row, row.words.lower() + string.ascii_lowercase)
    return [given.get(row.id, "") for row in rows]


def _why_not(app: ProbeApp, below: CommandScreen | None, row: Command) -> str:
    """Why a command cannot be done now; empty if it can."""
    if below is not None and row.id in below.commands:
        return below.why_not(row)
    return app.why_not(row)


_ORDER = {
    MenuGroup.MAP: "wtrfc",
    MenuGroup.LIGHT: "wnrepf",
    MenuGroup.PLAN: "phbds",
    MenuGroup.GAME: "libwp",
    MenuGroup.PROGRAM: "hgcts",
}
"""The letters of what stands first in a group, most used first."""

SCREENS = {
    "walk": "the walk",
    "setup": "set-up of a new map",
    "table": "the map table",
    "recheck": "recheck",
    "find": "the search for a number",
    "revisions": "revisions",
    "power": "the power plan",
    "plan": "the plan of the chains",
    "harness": "the harness sheet",
    "joint": "a joint",
    "power_up": "the first power-up",
    "batch": "batches",
    "bench": "the bench test",
    "faults": "the fault finder",
    "lamps": "the lamp list",
    "lamp": "a row of the lamp list",
    "pick": "the choice of a place",
    "board": "the board's table",
    "watch": "the game's lamps",
    "prove": "the proof",
    "picture": "places, levels, colours",
    "shapes": "shapes of the playfield",
    "evenness": "the walk for evenness",
    "worklist": "the worklist",
    "log": "the log of evenings",
    "restore": "the way back after a board died",
    "settings": "settings",
    "guide": "the guide",
}
"""What each task's screen is called."""
