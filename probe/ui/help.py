"""Help: what a screen is for and what is asked, in sentences; its keys and the cautions; cautions to read before work that can hurt."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import zip_longest
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Input, OptionList, Static

from probe.cautions import HELP, Moment, cautions
from probe.task.task import TaskState
from probe.task.views import View
from probe.ui.dialog import Dialog
from probe.ui.keys import all_keys, key_name, keys_words, while_empty
from probe.ui.text import listed
from probe.ui.widgets.key_line import KeyLine

TWO_COLUMNS = 160
"""Columns of a terminal on which the keys stand in two columns."""
_COLUMN = 68


def other_keys(screen: Screen[Any]) -> list[tuple[str, str]]:
    """(keys, words) of a screen that are not in the table of keys: its own bindings, its list, its line to type in."""
    rows = {row.id for row in all_keys()}
    found = [
        ("  ".join(key_name(key) for key in binding.key.split(",")), binding.description)
        for binding in vars(type(screen)).get("BINDINGS", ())  # not those of every screen
        if isinstance(binding, Binding) and binding.id not in rows and binding.description
    ]
    if screen.query(OptionList):
        found += [("↑  ↓  Enter", "Choose from the list, take it")]
    if screen.query(Input):
        found += [("Tab", "To the line to type in and back")]
    return found


class HelpScreen(Dialog[None]):
    """One page: keys, then cautions. Any of Esc, F1, Enter or q closes it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,f1,enter,q", "close", "Close", priority=True)]

    def __init__(
        self, scope: str, changed_keys: dict[str, str], others: Sequence[tuple[str, str]] = (), prose: str = ""
    ) -> None:
        """`others`: keys and words beside those of the table of keys. `prose` comes before them."""
        super().__init__()
        self._prose = prose
        self._scope = scope
        self._others = others
        self._changed_keys = changed_keys

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="help-box"):
            yield Static(id="help-text")
            yield Static(listed(("  -", caution) for caution in HELP), id="help-cautions")
        yield KeyLine()

    def on_resize(self) -> None:
        """A wide terminal has room for two columns of keys."""
        self.query_one("#help-text", Static).update(self._text())

    def _text(self) -> Content:
        lines = [Content(self._prose), Content("")] if self._prose else []
        lines += [Content("Keys").stylize("bold")]
        keys, noted = self._keys()
        if self.app.size.width >= TWO_COLUMNS:
            half = (len(keys) + 1) // 2
            keys = [f"{left:<{_COLUMN}}{right}" for left, right in zip_longest(keys[:half], keys[half:], fillvalue="")]
        lines += [Content(line) for line in keys]
        if noted:
            lines.append(Content("  ¹ while nothing is typed"))
        lines += [Content("")]
        lines += [Content("Cautions").stylize("bold")]
        return Content("\n").join(lines)

    def _keys(self) -> tuple[list[str], bool]:
        """A line for each key; whether some act only while nothing is typed."""
        lines = [f"  {keys:<22}{words}" for keys, words in self._others]
        noted = False
        own = {key for row in all_keys() if row.scope == self._scope != "app" for key in row.keys}
        for row in sorted(all_keys(), key=lambda row: row.scope == "app"):  # those of this screen first
            if row.scope not in (self._scope, "app") or (row.scope == "app" and own.intersection(row.keys)):
                continue
            keys = keys_words(row, self._changed_keys)
            if not keys:
                continue  # it is only in the menu
            typing = any(while_empty(key) for key in row.keys)
            noted |= typing
            lines.append(f"  {keys:<22}{row.words}{' ¹' if typing else ''}")
        return lines, noted

    def action_close(self) -> None:
        """Close."""
        self.dismiss()


class CautionScreen(Dialog[bool]):
    """Cautions to read before going on. Enter goes on, Esc goes back."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "close(True)", "I have read this", priority=True),
        Binding("escape", "close(False)", "Back", priority=True),
    ]

    def __init__(self, moment: Moment, read: Callable[[bool], None] | None = None) -> None:
        super().__init__()
        self._moment = moment
        self._read = read

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="caution-box"):
            yield Static(Content(f"Cautions: {self._moment.value}\n").stylize("bold"))
            yield Static(listed(("-", caution.text) for caution in cautions(self._moment)), id="cautions")
        yield KeyLine()

    def on_mount(self) -> None:
        self.query_one("#caution-box").focus()

    def action_close(self, read: bool) -> None:
        """Go on, or back."""
        if self._read is not None:
            self._read(read)
        else:
            self.dismiss(read)


ABOUT: Mapping[str, str] = {
    "walk": (
        "One pixel is lit after another; say what lights, and the answer is saved before the next one lights. Type the first"
        " letters and take an offer with Enter. Nothing lit is an answer too, and so is light that cannot be"
        " seen from above. A wrong answer does no harm: go back and answer again, or undo."
    ),
    "setup": (
        "A new map begins here: the machine, the board's outputs, the order of the colours and how many pixels a chain has."
        " What you do not know is found from what you see. Esc goes one question back and loses nothing."
    ),
    "table": (
        "The whole map as a table, one row for each pixel. Enter lights the marked one. Change a row, or several marked ones at"
        " once; search finds names, areas and chains; findings say what does not agree."
    ),
    "recheck": (
        "After pixels were spliced in or taken out, this finds what every number is now. Say whether the picture lights as the"
        " map says; point to the first row that differs. Where something differs, single pixels are asked for until the map is"
        " right. Every answer is kept: it can be left and gone on with."
    ),
    "find": "One place shines in a few colours one after another: say which you see, and its number is found in a few looks.",
    "revisions": (
        "Every change of the map, the newest first, with its reason. Mark one with Space to compare it with another. Going back"
        " to one is a revision too, so that it can be undone."
    ),
    "plan": (
        "How a chain runs with least wire, where what lacks a pixel is spliced in, and whether the wire is long enough. Pin or"
        " forbid a stretch, and the rest is planned around it; nothing of the map changes until you say so."
    ),
    "power": (
        "Supplies, feeds and wire, with the voltage along the chain as it would be. The plan is a hint: it says what it assumed,"
        " and it cannot see your wiring. Enter changes the marked row; ← and → step it."
    ),
    "harness": "Every joint of the chain and which wire goes to which, by function, with what is refused or to be asked.",
    "power_up": (
        "The first power-up in stages: each reading is judged and kept. The chain is fed only after good polarity and good"
        " ohms, and nothing comes after one that says stop."
    ),
    "joint": "One joint: which wire is joined to which. Unplug at the wall before you touch it.",
    "batch": "Batches of pixels and what the colours of their wires mean; makers differ, also within one bag.",
    "bench": (
        "A new batch, loose on the bench before it is fitted: width and order of colours by what lights, its current, a burn-in."
        " Dark until the ohms say that nothing is short; what is found is kept with the batch."
    ),
    "faults": (
        "The next best question for a wiring fault, with the light for it. Answer what you see or measure; not sure is an"
        " answer. Heat, smell or ticking at any time is the first row and F3: then switch off and unplug."
    ),
    "picture": (
        "Places at their positions: pick one with the arrows or a click and it lights. Set its position, level and colour; copy"
        " them, compare two places, or change a whole group."
    ),
    "shapes": (
        "The shapes that the playfield is drawn with, here and on the sheet. Pick one with ↑ ↓ or a click, move it, change its"
        " sizes, add one or take it out. Places stay where they are."
    ),
    "evenness": (
        "Walk the general illumination and rate each place and each gap, or type a meter's reading. The result says how even it"
        " is and what would help."
    ),
    "lamps": "The game's lamp list: rows added and changed, and places joined to them, so that the board knows what to light.",
    "lamp": "One row of the lamp list: ↑ and ↓ or Tab move between its fields, Enter keeps it.",
    "pick": "Pick a place: type a part of its name, then Enter.",
    "board": (
        "The table in the board against the one of the map. Writing reads it back and compares; the old one stays whole until"
        " the new one is."
    ),
    "watch": "The game's lamp inputs live. Press one target and Enter gives its number to a place; F2 notes what is not so.",
    "prove": "Each lamp is lit by its number: say whether it is the right one. What is proved stays so until something changes.",
    "worklist": (
        "What is left, by moment and area, from the map and from lines of your own. Tick what is done; a line of your own can"
        " be added and taken out."
    ),
    "restore": "A board died or was replaced: this leads back, step by step, to one that holds the map's table.",
    "log": "What was done each evening, how long it took at least, and what was left then; from the map's own dates.",
    "settings": "What can be set, each with what it does. It holds at once and the next time too.",
    "guide": "How each part of the work goes, page by page. Enter reads the marked one.",
}
"""What each task is for, by its name."""


def prose(task: str, state: TaskState | None, view: View | None, signs: str = "") -> str:
    """The paragraph for a screen in a state. `signs`: the legend of the picture that it shows."""
    sentences = [ABOUT[task]] if task in ABOUT else []
    if state is not None and state.unsaved:
        sentences.append("The last change is not on disk yet: Ctrl+R saves again, or elsewhere.")
    if state is not None and not state.board.here and state.board.trouble:
        sentences.append(
            "No board answers now, so nothing is lit: plug it in and it goes on by itself; what needs no light can be done meanwhile."
        )
    elif state is not None and state.board.refused:
        sentences.append(f"The board refused: {state.board.refused}.")
    prompt = getattr(view, "prompt", "").strip()
    if prompt:
        sentences.append(f"Asked now: {prompt}")
    if signs:
        sentences.append(f"Signs in the picture: {signs.replace('  ', ', ')}.")
    return " ".join(sentences)
