"""Write the map in another form from inside: a table, a header, the sheet for the cabinet, its picture, what
the screen shows. Nothing of the map is changed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.events import Key
from textual.widgets import Input, OptionList, Static

from probe.document.file import save_copy
from probe.document.file.errors import StorageError
from probe.frozen import frozen
from probe.ui.dialog import Dialog
from probe.ui.text import plain
from probe.ui.widgets.key_line import KeyLine

if TYPE_CHECKING:
    from probe.document.model import PlayfieldMap
    from probe.ui.app import ProbeApp


@frozen
class FileKind:
    """A form a map can be written in: its letter, what it is, what its file is called after the map's name, and how it is made."""

    letter: str
    words: str
    ending: str
    make: Callable[[PlayfieldMap], str]


def export_forms() -> tuple[FileKind, ...]:
    """The tables and sources."""
    from probe.export import WRITERS

    named: Mapping[str, tuple[str, str, str]] = {
        "csv": ("t", "Table of everything (CSV), which can be imported again", ".csv"),
        "json": ("j", "Everything for other programs (JSON)", "-export.json"),
        "lamps-csv": ("l", "Lamps with their pixels (CSV)", "-lamps.csv"),
        "pixels-csv": ("x", "Pixels in the order of their chains (CSV)", "-pixels.csv"),
        "places-csv": ("a", "Places with their positions (CSV)", "-places.csv"),
        "shared-map": ("m", "The map to give away, without what is private", "-shared.json"),
        "c-header": ("h", "Lamp table as a C header", "-lamps.h"),
        "python": ("p", "Lamp table as Python source", "_lamps.py"),
    }
    return tuple(FileKind(letter, words, ending, WRITERS[name]) for name, (letter, words, ending) in named.items())


def sheet_forms() -> tuple[FileKind, ...]:
    """The papers for the cabinet."""

    def sheet(map_: PlayfieldMap, *, from_below: bool = False) -> str:
        from probe.export.sheet import sheet_html

        return sheet_html(map_, from_below=from_below)

    def picture(map_: PlayfieldMap, *, from_below: bool = False) -> str:
        from probe.export.sheet_picture import picture_svg

        return picture_svg(map_, from_below=from_below)

    return (
        FileKind("s", "Sheet, to print from a browser (HTML)", "-sheet.html", sheet),
        FileKind("p", "Picture of the playfield (SVG)", "-playfield.svg", picture),
        FileKind("b", "Sheet as seen from below", "-sheet-below.html", lambda map_: sheet(map_, from_below=True)),
        FileKind(
            "v", "Picture as seen from below", "-playfield-below.svg", lambda map_: picture(map_, from_below=True)
        ),
    )


class FileScreen(Dialog[None]):
    """First what is written, by arrows, letter or click; then the file's name. Esc is one step back."""

    app: ProbeApp
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "back", "Back", priority=True)]

    def __init__(self, question: str, forms: tuple[FileKind, ...]) -> None:
        super().__init__()
        self._question = question
        self._forms = forms
        self._form: FileKind | None = None

    @property
    def ENTER(self) -> str:  # noqa: N802 - as on screens where it is one word
        """What Enter does now."""
        return "Take" if self._form is None else "Write"

    def compose(self) -> ComposeResult:
        with Vertical(id="choice-box"):
            yield Static(plain(self._question, "bold"), id="choice-head")
            yield OptionList(
                *(plain(f" {form.letter.upper()}  {form.words}") for form in self._forms), id="choices", markup=False
            )
            yield Input(id="file-name", placeholder="file name; Enter writes it")
            yield Static(id="file-note")
        yield KeyLine()

    def on_mount(self) -> None:
        self.query_one(Input).display = False
        self.query_one(OptionList).focus()

    def on_key(self, event: Key) -> None:
        """A letter chooses at once."""
        if self._form is None:
            for form in self._forms:
                if event.key.lower() == form.letter:
                    event.stop()
                    event.prevent_default()
                    self._ask_name(form)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        self._ask_name(self._forms[event.option_index])

    def _ask_name(self, form: FileKind) -> None:
        self._form = form
        where = Path(self.app.document.path or "map.json")
        line = self.query_one(Input)
        line.value = str(where.with_name(where.stem + form.ending))
        line.display = True
        line.focus()
        self._say(form.words)
        self.query_one(KeyLine).follow()

    def _say(self, words: str) -> None:
        self.query_one("#file-note", Static).update(plain(words))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        map_, form, name = self.app.map_now(), self._form, event.value.strip()
        if map_ is None or form is None or not name:
            return
        path = Path(name).expanduser()
        if self.app.document.path and path.resolve() == Path(self.app.document.path).resolve():
            self._say("that is the map itself: choose another name")
            return
        self._say("writing…")
        self.run_worker(self._write(form, map_, path), name="writing a file", exclusive=True)

    async def _write(self, form: FileKind, map_: PlayfieldMap, path: Path) -> None:
        import asyncio

        from probe.document.file import save_copy

        def write() -> None:
            save_copy(str(path), form.make(map_).encode("utf-8"))

        try:
            await asyncio.to_thread(write)
        except (StorageError, OSError, ValueError) as exc:
            self._say(str(exc))
        else:
            self.dismiss(None)
            self.app.notify(f"written: {path}", markup=False)

    def action_back(self) -> None:
        """From the name to the list, from the list to where it was asked."""
        if self._form is None:
            self.dismiss(None)
            return
        self._form = None
        self.query_one(Input).display = False
        self.query_one(OptionList).focus()
        self._say("")
        self.query_one(KeyLine).follow()


_FONT_FACE = re.compile(r"@font-face\s*\{.*?\}", re.DOTALL)
MOST = 1_000


def screen_svg(app: App[Any]) -> str:
    """The screen as an SVG document that opens anywhere, offline."""
    svg = _FONT_FACE.sub("", app.export_screenshot(title="playfield-probe"))
    return svg.replace("Fira Code,", "").replace("Fira Code", "monospace")


def free_name(beside: Path) -> Path:
    """`kelp-screen-1.svg` beside `kelp.json`, or the next number that is free. Raises FileExistsError after 1,000."""
    for number in range(1, MOST + 1):
        path = beside.with_name(f"{beside.stem}-screen-{number}.svg")
        if not path.exists():
            return path
    raise FileExistsError(f"{MOST} pictures lie beside {beside}: move some away")


def save_screen(app: App[Any], *, beside: str) -> Path:
    """Save the screen beside a map file (in the working folder if there is none). Raises OSError or StorageError."""
    where = free_name(Path(beside) if beside else Path.cwd() / "playfield-probe.json")
    save_copy(where, screen_svg(app).encode("utf-8"))
    return where
