"""What the three screens share: bindings, footer and keys from the task's commands; lines drawn only when they differ."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from textwrap import wrap
from typing import TYPE_CHECKING, ClassVar

from rich.cells import cell_len
from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingsMap
from textual.containers import Container
from textual.content import Content
from textual.css.query import NoMatches
from textual.screen import Screen
from textual.widgets import Input, Static

from probe.document.document import now_text
from probe.document.outside_text import visible
from probe.task import events as ev
from probe.task.command import PICKERS, Command, Means
from probe.task.screen import ScreenEvent
from probe.task.views import FormView, Line, Pane, RowsView, TaskView, View
from probe.ui.footer import KeyHint, hints_for
from probe.ui.keys import key_name, keys_of, while_empty
from probe.ui.text import cut, cut_inside, plain
from probe.ui.waiting import waiting_words
from probe.ui.widgets.key_line import KeyLine
from probe.ui.widgets.text_block import TextBlock

if TYPE_CHECKING:
    from probe.runtime.runtime import OpenTask
    from probe.ui.app import ProbeApp


_LEAST_NOTE = 6
"""Cells below which the rest of a note says nothing."""


def head_line(where: str, board: str, width: int) -> Content:
    """The first line of a screen `width` cells wide: where one is, then the board, which gets half of it at most."""
    half = max(10, width // 2)
    room = max(10, width - 4 - min(len(board), half))
    return plain(f" {cut(where, room - 1)}   {cut(board, half)}")


def message_line(unsaved: str, message: str, key: str) -> Content:
    """The line of words; that the map could not be saved comes before every other message, and its cure before the cause.

    `key` tries the save again, and asks how to go on if that fails too.
    """
    if unsaved:
        return plain(f"{key} saves again, or elsewhere. NOT SAVED: {unsaved}", "bold reverse")
    return plain(message)


def line_content(line: Line, width: int | None = None) -> Content:
    """A line as content, cut to `width` cells: what it names is cut last, and its note goes first."""
    note = f"  {line.note}" if line.note else ""
    if width is None:
        block = Content("    ").stylize(f"on {line.swatch}") if line.swatch else Content("")
        return block.append(plain(line.text, line.style)).append(plain(note, "dim"))
    text = cut_inside(line.text, width)
    room = width - cell_len(text)
    return plain(text, line.style).append(plain(cut(note, room) if room > _LEAST_NOTE else "", "dim"))


def folded(line: Line, width: int) -> Content:
    """A line in rows of `width` cells; those after the first stand two cells behind its own indent, the note in the last."""
    text = line.text.lstrip()
    indent = " " * (len(line.text) - len(text))
    rows = wrap(text, width, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False) or [""]
    before = [plain(row, line.style) for row in rows[:-1]]
    return Content("\n").join([*before, line_content(replace(line, text=rows[-1]))])


def hung(line: Line, width: int) -> Content:
    """A line of a list, which begins with blanks or a mark, folded behind it; prose is left to the widget."""
    return folded(line, width) if line.text[:1] in (" ", "▸") and not line.swatch else line_content(line)


ROOMY = (100, 34)
"""Columns and rows from which on there is room for panes."""
LARGE = 180
"""Columns from which on there is room for a pane beside everything, and the number is drawn twice as large."""
ASIDE_WIDTH, _LEAST_ASIDE = 62, 9
"""Columns of the panes beside a table or a form, and the rows they need below one."""
MOST_PANES = 3
"""Panes of a task's own that are shown at most."""


class Aside(Container):
    """Beside a table or a form on a large terminal, or below it where rows are left: what the screen is for, and its keys."""

    DEFAULT_CSS = """
    Aside { display: none; height: auto; layout: horizontal; }
    Aside > Static { width: 1fr; height: auto; border: round $face-edge; border-title-color: $face-muted; padding: 0 1; }
    Aside.at-side { dock: right; width: 62; height: 100%; padding: 1 0 2 0; layout: vertical; }
    Aside > PlayfieldPicture { display: none; }
    Aside.at-side > PlayfieldPicture { display: block; height: 1fr; }
    """

    def __init__(self) -> None:
        super().__init__(id="aside")

    @property
    def is_at_side(self) -> bool:
        """Whether it stands beside the table or the form now."""
        return bool(self.display) and self.has_class("at-side")

    def compose(self) -> ComposeResult:
        yield Static(id="aside-about")
        for number in range(MOST_PANES):
            yield Static(id=f"aside-pane-{number}")
        yield Static(id="aside-keys")

    def on_mount(self) -> None:
        """Entitle both."""
        self.query_one("#aside-about").border_title = "What this is for"
        self.query_one("#aside-keys").border_title = "Keys here"


class CommandScreen(Screen[None]):
    """A screen that shows a layer of the runtime's stack, with the keys of its task's commands."""

    app: ProbeApp
    AUTO_FOCUS: ClassVar[str] = ""
    """What has the keys follows from the view."""

    def __init__(self, shown: OpenTask, changed: Mapping[str, str]) -> None:
        super().__init__()
        self.HORIZONTAL_BREAKPOINTS = [(0, "-small"), (ROOMY[0], "-medium"), (LARGE, "-large")]
        self.open_task = shown
        self._lines: dict[str, Content] = {}
        self._titles: dict[Static, str] = {}
        self.commands: dict[str, Command] = {command.id: command for command in self.open_task.task.commands}
        self._by_key: dict[str, list[Command]] = {}
        self._changed_keys = changed
        bound = []
        for command in self.open_task.task.commands:
            keys = keys_of(command, changed)
            for key in keys:
                self._by_key.setdefault(key, []).append(command)
            keys = tuple(key for key in keys if not while_empty(key))
            if keys:
                bound.append(Binding(",".join(keys), f"command('{command.id}')", command.words, show=False))
        for means in PICKERS:
            if any(command.in_picker and command.means is means for command in self.commands.values()):
                bound.append(Binding(",".join(means.keys), f"picker('{means.name}')", means.words, show=False))
        self._bindings = BindingsMap.merge([self._bindings, BindingsMap(bound)])

    @property
    def KEY_SCOPE(self) -> str:  # noqa: N802 - the name that screens not yet moved have
        """The scope of its commands."""
        return self.open_task.name

    @property
    def keys_while_empty(self) -> dict[str, str]:
        """Key → action for keys that type, and act only while the entry line is empty."""
        found = ((key, self._command_of(key)) for key in self._by_key if while_empty(key))
        return {key: f"key('{key}')" for key, command in found if command is not None}

    def _applies(self, command: Command) -> bool:
        """Whether a command does anything in this state."""
        if command.when is None or self.open_task not in self.app.runtime.layers:
            return True
        return command.when(self.app.runtime.seen(self.open_task))

    def _command_of(self, key: str) -> Command | None:
        """What a key means in this state: the first of its commands that applies."""
        return next((command for command in self._by_key.get(key, ()) if self._applies(command)), None)

    def why_not(self, command: Command) -> str:
        """Why one of its commands cannot be done now; empty if it can."""
        return "" if self._applies(command) else "not at this moment"

    def picker_rows(self, means: Means) -> list[Command]:
        """The commands that a picker of this screen holds."""
        return [command for command in self.commands.values() if command.in_picker and command.means is means]

    def key_hints(self) -> list[KeyHint]:
        """What the footer says in this state."""
        is_open = self.open_task in self.app.runtime.layers
        state = self.app.runtime.seen(self.open_task) if is_open else None
        return hints_for(self.commands.values(), state, self._changed_keys)

    @property
    def save_key(self) -> str:
        """The key that tries a failed save again, as it is printed on a keyboard."""
        retries = (key for key, meant in self._by_key.items() if any(c.event == ev.Retry() for c in meant))
        return next((key_name(key) for key in retries), "Ctrl+Q")

    # -- showing ------------------------------------------------------------------------------------------------

    def head_and_message(self, view: TaskView | RowsView | FormView, width: int) -> tuple[Content, Content]:
        """The first line and the line of words. Why there is no board stands on a screen once, whole where there is room."""
        board, message = view.board, view.message
        trouble = "" if self.app.session.paper else self.app.runtime.seen(self.open_task).board.trouble
        if board and trouble:
            shown = isinstance(view, TaskView) and any(line.text == trouble for line in view.empty)
            message = message or ("" if shown else trouble)
            if trouble.startswith(board) and (shown or (message == trouble and not view.unsaved)):
                board = "no board"
        head = head_line(view.head, board, width) if board else plain(cut(f" {view.head}", width))
        return head, message_line(view.unsaved, message, self.save_key)

    def current_view(self) -> View:
        """What the task says is to be seen now."""
        shown = self.open_task
        view: View = shown.task.view(self.app.runtime.seen(shown))
        return view

    def on_mount(self) -> None:
        """Draw for the first time."""
        self.redraw()

    def on_resize(self) -> None:
        """Lines are cut to the width there is."""
        self.call_after_refresh(self.redraw)

    def on_screen_resume(self) -> None:
        """What lay over it may have changed what it shows."""
        self.redraw()

    def redraw(self) -> None:
        """Draw what the task says now."""
        if not self.is_mounted or self.open_task not in self.app.runtime.layers:
            return
        try:
            keys = self.query_one(KeyLine)
        except NoMatches:  # nothing is composed yet
            return
        self.draw(self.current_view())
        keys.follow()

    def draw(self, view: object) -> None:
        """Draw a view."""
        raise NotImplementedError

    @property
    def is_roomy(self) -> bool:
        """Whether there is room for panes."""
        return self.size.width >= ROOMY[0] and self.size.height >= ROOMY[1]

    def put_aside(
        self, free_rows: int, panes: tuple[Pane, ...] = (), *, beside: bool = True, most_keys: int | None = None
    ) -> None:
        """Fill what stands `beside` a table or a form on a large screen, or below it, where `free_rows` are left.

        `panes` are the task's own, as many and as much of them as leave the keys their rows; they stand beside it only.
        `most_keys`: rows of keys at most beside it, where more than these stands there.
        """
        aside = self.query_one(Aside)
        large = beside and self.is_roomy and self.size.width >= LARGE
        aside.display = large or (self.is_roomy and free_rows >= _LEAST_ASIDE)
        if not aside.display:
            return
        aside.set_class(large, "at-side")
        width = ASIDE_WIDTH - 4 if large else self.size.width // 2 - 4
        about = self.what_for
        self.put("aside-about", Content(about))
        rows = self.size.height - len(wrap(about, width)) - 9 if large else free_rows - 2
        if large:
            rows -= self._put_panes_aside(panes, rows - _LEAST_ASIDE, width)
            rows = min(rows, most_keys) if most_keys is not None else rows
        else:
            self._put_panes_aside((), 0, width)
        self.put("aside-keys", self.keys_here(rows, width))

    def _put_panes_aside(self, panes: tuple[Pane, ...], rows: int, width: int) -> int:
        """Show the task's panes in `rows` of `width` cells; how many rows they take, frames included."""
        taken = 0
        for number in range(MOST_PANES):
            shown = self.query_one(f"#aside-pane-{number}", Static)
            room, lines = rows - taken - 2, list[Content]()
            for line in panes[number].lines if number < len(panes) else ():
                parts = folded(line, width) if line.wrap else line_content(line, width)
                if len(lines) + parts.plain.count("\n") + 1 > room:
                    break
                lines += parts.split("\n", allow_blank=True)
            shown.display = bool(lines)
            if lines:
                taken += len(lines) + 2
                self.entitle(shown, panes[number].title)
                self.put(f"aside-pane-{number}", Content("\n").join(lines))
        return taken

    @property
    def what_for(self) -> str:
        """What the screen is for, in sentences."""
        from probe.ui.help import ABOUT

        return ABOUT.get(self.open_task.name, "")

    def keys_here(self, rows: int, width: int) -> Content:
        """What the keys do in this state, as far as there are rows for it."""
        found: dict[str, str] = {}
        is_open = self.open_task in self.app.runtime.layers
        for command in self.commands.values():
            keys = keys_of(command, self._changed_keys)
            if callable(command.shown) and is_open and not command.shown(self.app.runtime.seen(self.open_task)):
                continue
            if isinstance(command.event, ev.TakeRow) and command.letter.isdecimal():
                found.setdefault("1-9", "The row that stands beside it")
            elif keys and command.means is not Means.BACK and self._applies(command):
                found.setdefault(key_name(keys[0]), command.words)
        for means in PICKERS:
            if picked := [command.words for command in self.picker_rows(means) if self._applies(command)]:
                found.setdefault(key_name(means.keys[0]), ", ".join(picked))
        room = max(len(key) for key in found) + 2 if found else 0
        lines: list[Content] = []
        for at, (key, words) in enumerate(found.items(), 1):
            parts = wrap(visible(words), max(8, width - room))
            if len(lines) + len(parts) + (at < len(found)) > rows:
                lines.append(Content.styled(key_name("f1").ljust(room), "bold $face-key").append("all keys"))
                break
            heads = [key, *[""] * (len(parts) - 1)]
            lines += [
                Content.styled(head.ljust(room), "bold $face-key").append(plain(part))
                for head, part in zip(heads, parts, strict=True)
            ]
        return Content("\n").join(lines)

    def progress_words(self, progress: str) -> str:
        """What is waited for, else how far the task is."""
        shown, runtime = self.open_task, self.app.runtime
        if shown not in runtime.layers:
            return progress
        waited = waiting_words(shown.task, runtime.seen(shown), runtime.work(shown), paper=self.app.session.paper)
        return f" {waited}" if waited else progress

    def put(self, name: str, content: Content, *, layout: bool = True) -> None:
        """Change a line if it differs. `layout`: its height or width may change with it."""
        before = self._lines.get(name)
        if before is None or not before.is_same(content):  # `==` would compare the text without its styles
            self._lines[name] = content
            self.query_one(f"#{name}", Static).update(content, layout=layout)

    def put_lines(self, name: str, lines: Iterable[Content]) -> None:
        """Change what differs of a block of lines."""
        self.query_one(f"#{name}", TextBlock).put(*lines)

    def entitle(self, shown: Static, title: str) -> None:
        """Change the title in its frame if it differs."""
        if self._titles.get(shown) != title:
            self._titles[shown] = title
            shown.border_title = plain(title)

    # -- keys ---------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A command that does not apply in this state is not in the footer, and its key does nothing."""
        if action == "command" and parameters:
            command = self.commands.get(str(parameters[0]))
            return command is None or self._applies(command)
        return True

    def action_command(self, name: str) -> None:
        """Carry a command out, by its id."""
        command = self.commands.get(name)
        if command is not None:
            self.run_command(command.event)

    def action_key(self, key: str) -> None:
        """Do what a key does here."""
        self.run_key(key)

    def action_picker(self, name: str) -> None:
        """Open the picker of a meaning."""
        from probe.ui.menu import PickerScreen

        self.app.push_screen(PickerScreen(Means[name], self), self._picked)

    def _picked(self, command: Command | None) -> None:
        if command is not None:
            self.run_command(command.event)

    def on_key(self, event: events.Key) -> None:
        """Keys that type act as commands where there is nothing to type in."""
        key = (
            event.key.lower() if len(event.key) == 1 else event.key
        )  # a letter is shown large, and Shift or Caps Lock may be on
        if isinstance(self.focused, Input) or not while_empty(key):
            return
        if self.run_key(key):
            event.stop()

    def run_key(self, key: str) -> bool:
        """What a key does here; False if it does nothing."""
        command = self._command_of(key)
        if command is None:
            return False
        self.run_command(command.event)
        return True

    def run_command(self, event: object) -> None:
        """Give an event to the task, or do what is the screen's or the program's."""
        if isinstance(event, ScreenEvent):
            self.app.screen_event(event)
        else:
            self.dispatch(event)

    def dispatch(self, event: object) -> None:
        """Give an event to the task, with the time of day where it asks for it."""
        if isinstance(event, ev.Take) or getattr(event, "time", None) == "":
            event = replace(event, time=now_text())  # type: ignore[type-var]
        self.app.runtime.dispatch(event, self.open_task)
