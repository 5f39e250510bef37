"""Answers that could not be saved: how to go on. Nothing here gives them up."""

from __future__ import annotations

from collections.abc import Awaitable
from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.events import Key
from textual.widgets import Input, OptionList, Static

from probe.document.document import Unsaved
from probe.document.file.errors import StorageError
from probe.runtime.ending import SAVE_S
from probe.runtime.runtime import Runtime
from probe.ui.dialog import Dialog
from probe.ui.text import plain
from probe.ui.widgets.key_line import KeyLine

_AGAIN, _AS, _OVER, _LEAVE, _BACK = "r", "a", "o", "l", "b"
_NO_ANSWER = "the disk has not answered yet"


class UnsavedScreen(Dialog[bool]):
    """A list: arrows and Enter, or a letter or digit; Esc goes back. `leaving`: leaving with a rescue copy is in it.

    Gives True once all is saved, or the person leaves with a rescue copy; False to go back with nothing saved.
    """

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "back", "Back", priority=True)]

    def __init__(self, runtime: Runtime, *, leaving: bool = False) -> None:
        super().__init__()
        self._runtime = runtime
        self._leaving = leaving
        self._choices: list[tuple[str, str]] = []
        self._busy = False

    def compose(self) -> ComposeResult:
        with Vertical(id="help-box"):
            yield Static("These answers are not saved. What now?", id="question")
            yield OptionList(id="unsaved-choices", markup=False)
            yield Input(id="unsaved-name", placeholder="file name; Enter saves, Esc goes back to the list")
            yield Static(id="unsaved-why")
        yield KeyLine()

    def on_mount(self) -> None:
        self.query_one(Input).display = False
        self._ask()

    def _ask(self, why: str = "") -> None:
        """Show what can be chosen, and why that has to be; from the list again."""
        save = self._runtime.document.save
        in_conflict = isinstance(save, Unsaved) and save.in_conflict
        self._choices = [(_AGAIN, "Try again"), (_AS, "Save under another name…")]
        if in_conflict:
            self._choices.append((_OVER, "Save over it: the other program's version is kept beside it"))
        if self._leaving:
            self._choices.append((_LEAVE, "Leave: the whole map goes into a rescue copy, which is named afterwards"))
        self._choices.append((_BACK, "Back, with nothing saved yet"))
        listed = self.query_one(OptionList)
        listed.clear_options()
        listed.add_options([plain(f"{n} {key.upper()}  {words}") for n, (key, words) in enumerate(self._choices, 1)])
        listed.highlighted = 0
        listed.focus()
        self.query_one(Input).display = False
        self._explain(why or (save.why if isinstance(save, Unsaved) else _NO_ANSWER))

    def _explain(self, why: str) -> None:
        self.query_one("#unsaved-why", Static).update(plain(why))

    # -- choosing -----------------------------------------------------------------------------------------------------

    def on_key(self, event: Key) -> None:
        """A letter or a digit chooses at once, while nothing is typed into the line."""
        if self.query_one(Input).display:
            return
        for number, (key, _) in enumerate(self._choices, 1):
            if event.key in (key, str(number)):
                event.stop()
                self._choose(key)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self._choose(self._choices[event.option_index][0])

    def _choose(self, key: str) -> None:
        if self._busy:
            return
        match key:
            case "r":
                self._try(self._runtime.saved_within(SAVE_S))
            case "o":
                self._try(self._runtime.save_over(SAVE_S))
            case "a":
                path = Path(self._runtime.document.path)
                line = self.query_one(Input)
                line.value = str(path.with_name(f"{path.stem}-2{path.suffix}"))
                line.display = True
                line.focus()
            case "l":
                self.dismiss(True)
            case _:
                self.dismiss(False)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        name = event.value.strip()
        if name and not self._busy:
            self._try(self._runtime.save_as(str(Path(name).expanduser()), SAVE_S))

    def action_back(self) -> None:
        """From the line to the list, from the list to where it was asked."""
        if self._busy:
            return
        if self.query_one(Input).display:
            self._ask()
        else:
            self.dismiss(False)

    # -- saving -------------------------------------------------------------------------------------------------------

    def _try(self, save: Awaitable[bool | None]) -> None:
        self._busy = True
        self._explain("saving…")
        self.run_worker(self._see(save), name="saving as was chosen")

    async def _see(self, save: Awaitable[bool | None]) -> None:
        """How it went: said, with where the map and the other version are; or asked again, with the new reason."""
        document = self._runtime.document
        theirs = document.theirs
        why = ""
        try:
            saved = await save
            why = _NO_ANSWER if saved is None else ""
        except (StorageError, OSError) as error:
            saved, why = False, str(error)
        finally:
            self._busy = False
        if not saved:
            self._ask(why)
            return
        kept = f"; the other version is kept in {document.theirs}" if document.theirs != theirs else ""
        self.notify(f"saved in {document.path}{kept}", markup=False)
        self.dismiss(True)
