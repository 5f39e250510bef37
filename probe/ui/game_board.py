"""The board's table on screen: what the map has, what the board has, what differs; one key writes it."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Footer, Static

from device_protocol.orders import Player
from probe.document.model import PlayfieldMap
from probe.game import sync as game
from probe.game.sync import Compare, HandOver, Stage, Sync, Write, obstacle
from probe.ui.game_frame import GameScreen, Keep
from probe.ui.keys import bindings
from probe.ui.text import plain


class BoardTableScreen(GameScreen):
    """Map and board side by side. All it does is show a `Sync` and pass keys on."""

    KEY_SCOPE: ClassVar[str] = "board"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("board"))

    def __init__(self, m: PlayfieldMap, keep: Keep) -> None:
        super().__init__(game.start(m), game.step, keep)

    def compose(self) -> ComposeResult:
        yield Static(id="game-head")
        with VerticalScroll(id="game-scroll"):
            yield Static(id="game-text")
        yield Static(id="game-message")
        yield Footer(show_command_palette=False)

    def opened(self) -> None:
        self.query_one("#game-scroll").focus()

    def show(self, state: Any) -> None:
        sync: Sync = state
        self.head("the board's lamp table", sync)
        self.put("game-text", Content("\n").join(self._lines_of(sync)))
        self.message(sync)

    def _lines_of(self, sync: Sync) -> list[Content]:
        lines = [Content("")]
        if sync.ours is None:
            lines.append(plain(f"  Map    {sync.problem}"))
        else:
            ours = sync.ours
            what = (
                f"{len(ours.table.lamps())} lamps, {len(ours.table.groups())} groups, {len(ours.table.entries)} pixels"
            )
            size = f"{len(ours.image)} bytes, CRC {ours.crc:04X}"
            lines.append(plain(f"  Map    revision {ours.revision} · {what} · {size}"))
        held = sync.held
        if held is None:
            lines.append(plain(f"  Board  {sync.stage.value}"))
        elif not held.length:
            lines.append(plain(f"  Board  no table · room for {held.capacity} bytes"))
        else:
            theirs = sync.theirs
            what = (
                f"{len(theirs.lamps())} lamps, {len(theirs.groups())} groups" if theirs is not None else "not read yet"
            )
            size = f"{held.length} bytes of {held.capacity}, CRC {held.crc:04X}"
            lines.append(plain(f"  Board  revision {held.revision} · {what} · {size}"))
        lines.append(Content(""))
        if sync.stage is Stage.WRITING:
            filled = 30 * sync.done // max(1, sync.total)
            lines.append(Content(f"  writing  {'#' * filled}{'.' * (30 - filled)}  {sync.done} of {sync.total} orders"))
            lines.append(Content("  The board keeps its old table until the new one is whole."))
        elif sync.same:
            lines.append(Content("  = THE SAME: the board holds exactly this table").stylize("bold"))
        elif sync.stage is Stage.COMPARED and held is not None and held.length:
            lines.append(Content(f"  ≠ {len(sync.differences)} differences").stylize("bold"))
            lines += [plain(f"    {line}") for line in sync.differences]
        elif why := obstacle(sync) if sync.stage is Stage.COMPARED else "":
            lines.append(plain(f"  {why}"))
        if sync.play is not None:
            who = "the game" if sync.play.player is Player.GAME else "this program"
            lines += [Content(""), Content(f"  The pixels are with {who}.")]
        return lines

    def action_write(self) -> None:
        """Write the table, read it back, compare."""
        self.give(Write())

    def action_compare(self) -> None:
        """Read the board's table again."""
        self.give(Compare())

    def action_hand_over(self) -> None:
        """Let the game have the pixels, or take them back."""
        play = self._activity.state.play
        self.give(HandOver(play is None or play.player is not Player.GAME))

    def action_watch(self) -> None:
        """The game's lamps live."""
        self.go("watch")

    def action_prove(self) -> None:
        """The final check."""
        self.go("prove")
