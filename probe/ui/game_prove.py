"""The final check in the game on screen: one lamp or group lit, its name large, one key for what was seen."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widgets import Footer, Static

from probe.document.model import PlayfieldMap
from probe.document.model.game import Verdict
from probe.document.proving import Standing
from probe.game import prove as game
from probe.game.prove import Again, Move, Prove, Say, Undo
from probe.ui.clock import now_text
from probe.ui.game_frame import GameScreen, Keep
from probe.ui.keys import bindings
from probe.ui.seen import under_the_glass
from probe.ui.text import cut, plain
from probe.ui.widgets.big_number import BigNumber
from probe.ui.widgets.picture import LIT_SIGN, PlayfieldPicture, Spot

_SIGNS = {
    Standing.PROVED: "=",
    Standing.CHANGED: "~",
    Standing.WRONG: "x",
    Standing.UNSEEN: "?",
    Standing.NEVER: ".",
}
_CHECKLIST = "Afterwards play it: attract, each feature, tilt, game over, match, extra ball."


class ProveScreen(GameScreen):
    """Lamp by lamp, group by group. All it does is show a `Prove` and pass keys on."""

    KEY_SCOPE: ClassVar[str] = "prove"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("prove"))

    def __init__(self, m: PlayfieldMap, keep: Keep, *, plain_ascii: bool = False) -> None:
        super().__init__(game.start(m), game.step, keep)
        self._plain_ascii = plain_ascii
        self._number: tuple[int | None, bool] | None = None

    def compose(self) -> ComposeResult:
        yield Static(id="game-head")
        with Horizontal(id="game-body"):
            with Vertical(id="game-left"):
                yield BigNumber(plain_ascii=self._plain_ascii)
                yield Static(id="proof-name")
                yield Static(id="proof-places")
            with Vertical(id="game-right"):
                yield PlayfieldPicture(plain_ascii=self._plain_ascii)
                yield Static(id="proof-seen")
        yield Static(id="game-message")
        yield Static(id="game-foot")
        yield Footer(show_command_palette=False)

    def show(self, state: Any) -> None:
        prove: Prove = state
        self.head("proof in the game", prove)
        row = prove.row
        number = (row.lamp if row is not None else None, prove.is_lit)
        if number != self._number:
            self._number = number
            big = self.query_one(BigNumber)
            if number[0] is None:
                big.update("")
            else:
                big.show(number[0], lit=number[1])
        self.put("proof-name", self._title(prove))
        self.put("proof-places", self._place_lines(prove))
        self.message(prove)
        self.put("game-foot", plain(f" {prove.tally.words}"))
        sign = "@" if self._plain_ascii else LIT_SIGN
        spots = [Spot(place.position, sign, "lit") for place in prove.places if place.position is not None]
        self.query_one(PlayfieldPicture).show(prove.map, spots)
        self.put("proof-seen", under_the_glass(self.app.truth, self.app.seen()))

    def _title(self, prove: Prove) -> Content:
        row = prove.row
        if row is None:
            return Content("No lamp and no group has a pixel yet: walk the chain first.")
        kind = "lamp" if row.lamp is not None else "group"
        state = "● LIT" if prove.is_lit else "○ not lit yet" if prove.board.here else "○ no board"
        where = f"{prove.at + 1} of {len(prove.rows)}"
        return Content("\n").join(
            [
                plain(f"{kind} {row.title}", width=max(20, self.query_one("#game-left").size.width - 2)),
                Content(f"{state}   {where}   {_SIGNS[row.state]} {row.state.value}"),
            ]
        )

    def _place_lines(self, prove: Prove) -> Content:
        row = prove.row
        if row is None:
            return Content("")
        width = max(20, self.query_one("#game-left").size.width - 2)
        lines = [Content("It has to light:").stylize("bold")]
        room = max(2, self.size.height - 19)
        for place in prove.places[:room]:
            pixels = " ".join(f"{n}" for _, n in prove.map.pixels_at.get(place.id, ())) or "no pixel"
            tail = (f" · {cut(place.area, width // 3)}" if place.area else "") + f" (pixel {cut(pixels, width // 3)})"
            lines.append(plain(f"  {cut(place.label, max(8, width - 2 - len(tail)))}{tail}"))
        if len(prove.places) > room:
            lines.append(Content(f"  and {len(prove.places) - room} more"))
        lines += [Content("and nothing else."), plain(prove.table_words, "dim"), Content(_CHECKLIST).stylize("dim")]
        return Content("\n").join(lines)

    def action_say(self, verdict: str) -> None:
        """What was seen."""
        self.give(Say(Verdict[verdict], now_text()))

    def action_move(self, by: int) -> None:
        """Another lamp."""
        self.give(Move(by))

    def action_next_open(self) -> None:
        """The next one that is not proved."""
        self.give(Move(open_only=True))

    def action_undo(self) -> None:
        """Undo."""
        self.give(Undo())

    def action_again(self) -> None:
        """Light it again."""
        self.give(Again())

    def action_flip(self) -> None:
        """See the picture from the other side."""
        self.query_one(PlayfieldPicture).flip()

    def action_board(self) -> None:
        """The board's table."""
        self.go("board")
