"""Home, where the program begins, and the choice of a port: short lists."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.events import Key
from textual.screen import Screen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from probe.document.plural import many
from probe.frozen import frozen
from probe.link.daemon_thread import run_in_daemon
from probe.runtime.runtime import SHOWN_AFTER_S, Work
from probe.ui.command_screen import LARGE
from probe.ui.dialog import Dialog
from probe.ui.footer import KeyHint
from probe.ui.keys import key_name
from probe.ui.text import cut, listed, plain
from probe.ui.waiting import work_words
from probe.ui.widgets.key_line import KeyLine, hints_of

if TYPE_CHECKING:
    from probe.document.model import PlayfieldMap
    from probe.document.needs import Need
    from probe.document.settings import SeenTable
    from probe.ui.app import ProbeApp


@frozen
class PortChoice:
    """One way to reach a board. `address` None is paper entry."""

    address: str | None
    words: str


def type_on(screen: Screen[Any], key: Key) -> None:
    """What is typed while the list has the focus goes to the line to type in."""
    entry = screen.query_one(Input)
    if entry.display and not entry.has_focus and key.is_printable and key.character:
        entry.focus()
        entry.insert_text_at_cursor(key.character)
        key.stop()


PORT_HINT = "Or type another address: a device, socket://HOST:PORT, simulated://"


class PortScreen(Dialog[PortChoice | None]):
    """Pick the port the board is on. None is opened before it is picked; that they are looked for, which some systems take
    long over, keeps nobody from typing an address or going back."""

    app: ProbeApp
    ENTER: ClassVar[str] = "Take"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "cancel", "Back"), Binding("f5", "again", "Look again")]

    def __init__(self, choices: Sequence[PortChoice] | None = None) -> None:
        """`choices`: what there is to pick from; None: it is looked for."""
        super().__init__()
        self._choices = list(choices or ())
        self._known = choices is not None
        self._begun_s = 0.0

    def compose(self) -> ComposeResult:
        with Vertical(id="help-box"):
            yield Static("Which port is the board on? (None is opened before you pick it.)", id="question")
            yield OptionList(id="port-list", markup=False)
            yield Static(PORT_HINT, id="port-hint")
            yield Input(id="port-entry", placeholder="an address; Tab leads here and back", select_on_focus=False)
        yield KeyLine()

    def on_mount(self) -> None:
        self.set_interval(0.25, self._say_waiting)
        self._fill()
        if not self._known:
            self.action_again()

    def _fill(self) -> None:
        listed = self.query_one(OptionList)
        listed.clear_options()
        listed.add_options([plain(choice.words) for choice in self._choices])
        listed.highlighted = 0 if self._choices else None
        listed.focus()

    def _say_waiting(self) -> None:
        """That ports are looked for, once that takes long."""
        work = Work("looking for ports", time.monotonic() - self._begun_s)
        long = not self._known and work.for_s >= SHOWN_AFTER_S
        words = f"{work_words(work)}; an address can be typed meanwhile" if long else PORT_HINT
        self.query_one("#port-hint", Static).update(plain(words))

    async def _look(self) -> None:
        choices = await run_in_daemon(self.app.opener.ports, undo=lambda _: None, name="looking for ports")
        self._known, self._choices = True, list(choices)
        self._fill()
        self._say_waiting()

    def on_key(self, event: Key) -> None:
        type_on(self, event)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(self._choices[event.option_index])

    def on_input_submitted(self, event: Input.Submitted) -> None:
        address = event.value.strip()
        if address:
            self.dismiss(PortChoice(address, address))

    def action_again(self) -> None:
        """Look for ports again."""
        self._known, self._begun_s = False, time.monotonic()
        self.run_worker(self._look(), name="looking for ports", exclusive=True)

    def action_cancel(self) -> None:
        """Back."""
        self.dismiss(None)


NEXT = 3
"""Lines of the worklist that home shows; on a large terminal as many as there are digits."""
MOST_NEXT = 8
ROOMY = (100, 34)
"""Columns and rows from which on there is room for more than lists."""
_FINDINGS_FROM = 50
"""Rows from which on a large terminal has room for what does not agree, too."""
_ABOVE_FINDINGS = 42
"""Rows of a screen that are not for what does not agree."""
NO_HARDWARE = "a simulated board, no hardware needed"
HOW_IT_GOES = (
    "A new map: the machine's name, its chains, each found by what you see.",
    "The walk: one pixel after another is lit; say what lights. It is saved at once.",
    "What does not agree is listed; a recheck finds the numbers again after every splice.",
    "The game's lamps are joined to the places; their table goes into the board and is proved.",
    "Papers for the cabinet: sheet, picture, worklist for the next evening.",
)
_BAR = 20
_ROW_EDGES = 9
_HOME_ROWS = 9
"""Rows around the lists: head, two frames, message, caution, keys."""
PICTURE_SHARE = 0.4
"""Of the width; app.tcss has the same."""


class HomeScreen(Screen[None]):
    """The next lines of the worklist of the map used last; other maps; a new one; the demo. On a large terminal also how far
    that map is, and its picture."""

    app: ProbeApp
    ENTER: ClassVar[str] = "Open"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "How to leave")]

    def __init__(self, recent: Sequence[str], last: PlayfieldMap | None = None, table: SeenTable | None = None) -> None:
        """`last` is the map in the first file of `recent`, if it can be read; `table` what its board was last seen to hold."""
        super().__init__()
        self._recent = list(recent)
        self._last = last
        self._table = table
        from probe.document.needs import open_items, worklist

        crc, seen = (table.crc, table.time) if table is not None else (None, "")
        left = open_items(worklist(last, in_board=crc, seen=seen)) if last is not None and last.chains else ()
        self._left = tuple(item.need for item in left)
        self._needs: tuple[Need, ...] = ()
        self._drawn = False

    def compose(self) -> ComposeResult:
        yield Static("playfield-probe · Home", id="home-head")
        with Horizontal(id="home-middle"), Vertical(id="home"):
            if self._left:
                yield OptionList(id="needs", markup=False)
            yield OptionList(id="maps", markup=False)
            yield Input(id="home-entry", placeholder="file name of the map, such as kelp_forest.json")
            yield Static(id="home-far", classes="pane")
            yield Static(id="home-findings", classes="pane")
        yield Static("", id="home-message")
        yield Static(
            "Light one pixel after another, say what lights, keep the map. "
            "Unplug the machine at the wall before you touch its wiring.",
            id="home-caution",
        )
        yield KeyLine()

    def on_mount(self) -> None:
        self.query_one("#home-entry", Input).display = False
        maps = self.query_one("#maps", OptionList)
        maps.border_title = "Other maps" if self._left else "Maps"
        self._list_maps()
        maps.focus()
        if self._left and self._last is not None:
            listed = self.query_one("#needs", OptionList)
            listed.border_title = plain(f"{self._last.machine.name} needs, most useful first")
            listed.focus()
        self._use_room()

    def on_resize(self) -> None:
        """More lines, and more around them, where there is room."""
        self._use_room()

    @property
    def _is_roomy(self) -> bool:
        return self.app.size.width >= ROOMY[0] and self.app.size.height >= ROOMY[1]

    def _use_room(self) -> None:
        self._list_needs(MOST_NEXT if self._is_roomy else NEXT)
        self._list_maps()
        far = self.query_one("#home-far", Static)
        far.display = self._is_roomy
        if self._is_roomy:
            far.border_title = "How far it is" if self._last is not None else "How the work goes"
            steps = [(str(number), step) for number, step in enumerate(HOW_IT_GOES, start=1)]
            far.update(Content("\n").join(self._how_far()) if self._last is not None else listed(steps, gap=2))
        self._show_findings()
        if self._is_roomy and not self._drawn:
            self._drawn = True
            self._draw_field()
        for picture in self.query("#home-picture"):
            picture.display = self._is_roomy

    def _show_findings(self) -> None:
        """What does not agree in the map used last, the gravest first, as far as there are rows."""
        shown, last, size = self.query_one("#home-findings", Static), self._last, self.app.size
        shown.display = last is not None and size.width >= LARGE and size.height >= _FINDINGS_FROM
        if not shown.display or last is None:
            return
        from probe.document.checks import check_map

        found, most = check_map(last), size.height - _ABOVE_FINDINGS
        shown.display = bool(found)
        rows = [("·", f"{f.what[:1].upper()}{f.what[1:]}. {f.what_to_do}.") for f in found[:most]]
        if len(found) > most:
            rows.append(("", f"and {len(found) - most} more, in the map table"))
        shown.border_title = "What does not agree"
        shown.update(listed(rows))

    def _draw_field(self) -> None:
        """The picture of the map used last; where there is none, the field that a new map begins with."""
        from probe.document.operations import new_map
        from probe.ui.widgets.picture import PlayfieldPicture

        picture = PlayfieldPicture("home-picture")
        self.query_one("#home-middle").mount(picture)
        picture.use_plain_ascii(self.app.options.plain_ascii)
        picture.entitle(self._last.machine.name if self._last is not None else "")
        picture.show(self._last or new_map("-"))

    def _list_needs(self, most: int) -> None:
        from probe.document.needs import Need

        shown = self._left[:most]
        if len(self._left) > most:
            more = Need("worklist", "The whole worklist", f"{many(len(self._left) - most, 'more line')}")
            shown = (*shown, more)
        self._needs = shown
        if not shown:
            return
        listed = self.query_one("#needs", OptionList)
        width = max(len(need.words) for need in shown)
        marked = listed.highlighted or 0
        listed.clear_options()
        rows_left = self.app.size.height - _HOME_ROWS - len(shown) - len(list(self._map_rows()))
        folds = self._is_roomy or rows_left >= len(shown)
        listed.add_options(
            [self._row(str(n), need.words, need.detail, width, folds=folds) for n, need in enumerate(shown, 1)]
        )
        listed.highlighted = min(marked, len(shown) - 1)

    def _list_maps(self) -> None:
        listed = self.query_one("#maps", OptionList)
        rows = list(self._map_rows())
        width = max(len(words) for key, words, _, _ in rows if key)
        marked = listed.highlighted or 0
        listed.clear_options()
        listed.add_options(
            [
                Option(self._row(key, words, note, width, folds=self._is_roomy), id=name)
                for key, words, note, name in rows
            ]
        )
        listed.highlighted = marked

    def _how_far(self) -> list[Content]:
        """Each chain's progress, the table in the board, the last evening."""
        from probe.document.local_time import local_date
        from probe.document.model import PixelState
        from probe.evenings.log import evening_lines, evenings

        assert self._last is not None
        width = max((len(chain.name) for chain in self._last.chains), default=0)
        lines = []
        for chain in self._last.chains:
            seen = sum(pixel.state is not PixelState.UNSEEN for pixel in chain.pixels)
            full = round(_BAR * seen / max(1, chain.length))
            words = f"{chain.name:<{width}}  {'█' * full}{'░' * (_BAR - full)}  {seen} of {many(chain.length, 'pixel')} seen"
            lines.append(plain(words))
        known = local_date(self._table.time) if self._table is not None else ""
        lines.append(plain(f"Table in the board: seen on {known}" if known else "Table in the board: not seen yet"))
        past = evenings(self._last)
        if past:
            lines += [plain(""), plain("Last evening", "dim"), *(plain(line) for line in evening_lines(past[-1]))]
        return lines

    def _row(self, key: str, words: str, note: str, width: int, *, folds: bool) -> Content:
        """A key, words, and a note, which goes on in rows of its own where there are rows enough, and is cut where there are not."""
        room = int(self.app.size.width * (1 - PICTURE_SHARE if self._is_roomy else 1)) - len(key) - _ROW_EDGES
        words = cut(words, room)
        head = Content(f" {key}  ").append(plain(f"{words:<{min(width, room)}}" if note else words))
        if not note or room <= width:
            return head
        if folds and len(note) > room - width - 3:
            indent = " " * (len(key) + 5)
            return Content("\n").join([head, *(plain(f"{indent}{line}") for line in wrap(note, room - 3))])
        return head.append(plain(f"   {cut(note, max(0, room - width - 3))}"))

    def _map_rows(self) -> Iterator[tuple[str, str, str, str]]:
        """Key, words, note and name of each row below."""
        for at, path in enumerate(self._recent):
            name = self._last.machine.name if at == 0 and self._last is not None else Path(path).name
            yield "M" if at == 0 else " ", f"Open {name}", path, f"map-{at}"
        yield "N", "A new map, or another file", "by its file name", "file"
        yield "D", "The demo", NO_HARDWARE, "demo"
        yield "S", "Settings", "colours, drawing, light, bell", "settings"
        yield "G", "Guide", "how each part of the work goes", "guide"
        yield "Q", "Leave the program", "", "leave"

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        if event.option_list.id == "needs":
            self._do(self._needs[event.option_index])
        else:
            self._open(event.option.id or "")

    def on_key(self, event: Key) -> None:
        if self.query_one("#home-entry", Input).has_focus:
            return
        if event.character and event.character.isdigit() and 1 <= int(event.character) <= len(self._needs):
            event.stop()
            self._do(self._needs[int(event.character) - 1])
            return
        name = {key.lower(): name for key, _, _, name in self._map_rows() if key.strip()}.get(event.key.lower())
        if name is not None:
            event.stop()
            self._open(name)

    def _do(self, need: Need) -> None:
        self.app.open_file(self._recent[0], need)

    def _open(self, name: str) -> None:
        match name:
            case "demo":
                self.app.open_demo()
            case "file":
                entry = self.query_one("#home-entry", Input)
                entry.display = True
                entry.focus()
                self.query_one(KeyLine).follow()
            case "settings" | "guide":
                self.app.open_beside(name)
            case "leave":
                self.app.exit("")
            case _:
                self.app.open_file(self._recent[int(name.removeprefix("map-"))])

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if event.value.strip():
            self.app.open_file(event.value.strip())

    def action_leave(self) -> None:
        """One step back: what is being opened is stopped, else out of the line; how to leave is said, since nothing lies below."""
        if self.app.stop_opening():
            self.complain("stopped; nothing was changed")
            return
        entry = self.query_one("#home-entry", Input)
        if entry.display:
            entry.value, entry.display = "", False
            self.query(OptionList).first().focus()
            self.query_one(KeyLine).follow()
        else:
            self.complain("Q or Ctrl+Q leaves the program.")

    def key_hints(self) -> list[KeyHint]:
        """What the footer says: Esc leads out of the line first, where one is open."""
        hints = hints_of(self)
        if not self.query_one("#home-entry", Input).display:
            return hints
        return [replace(hint, words="Back") if hint.key == key_name("escape") else hint for hint in hints]

    def complain(self, what: str) -> None:
        """Say why something could not be opened."""
        self.query_one("#home-message", Static).update(plain(what))
