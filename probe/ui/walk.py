"""The walk on screen: the number, what it lights, the entry line with its offers, and the picture beside it."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.events import Click
from textual.widgets import Footer, Static

from probe.document.diff import ConflictError
from probe.document.model import PixelState, PlayfieldMap, Position
from probe.document.revisions import NoRevisionError, last_redoable, last_undoable
from probe.mapping.keys import (
    Answer,
    Ask,
    ChangeKind,
    ChangeLevel,
    Choose,
    Entry,
    GoTo,
    Leave,
    Move,
    PutAt,
    Redo,
    Retry,
    Say,
    Take,
    ToggleBlink,
    TogglePaper,
    Typed,
    Undo,
)
from probe.mapping.walk import step
from probe.mapping.walk_state import Walk, with_map, with_other_map
from probe.runtime import Activity
from probe.task.sessions import CloseSession, Recording, UndoRevision
from probe.ui.clock import now_text
from probe.ui.elsewhere import ElsewhereScreen
from probe.ui.keys import bindings, while_empty
from probe.ui.line_screen import LineScreen, head_line, message_line
from probe.ui.revisions import open_revisions
from probe.ui.seen import under_the_glass
from probe.ui.text import plain
from probe.ui.tour import TourLine
from probe.ui.walk_words import lit_line, now_line, offer_lines, progress_line
from probe.ui.widgets.big_number import BigNumber
from probe.ui.widgets.entry import EntryLine
from probe.ui.widgets.picture import LIT_SIGN, MARK_SIGN, PlayfieldPicture, Spot

_PROMPTS = {
    Entry.LABEL: "What lights?",
    Entry.NOTE: "Note on this pixel:",
    Entry.AREA: "Area:",
    Entry.GOTO: "Go to number:",
}


def _finished(walk: Walk) -> bool:
    """Whether every pixel of the chain has been answered."""
    return walk.here.count is not None and walk.answered >= walk.here.length


class WalkScreen(LineScreen):
    """Walk a chain. All it does is show a `Walk` and pass keys on as its inputs."""

    KEY_SCOPE: ClassVar[str] = "walk"
    CSS_PATH: ClassVar[str] = "walk.tcss"

    def __init__(self, walk: Walk, changed_keys: dict[str, str], *, plain_ascii: bool = False) -> None:
        super().__init__()
        self._walk = walk
        self._plain_ascii = plain_ascii
        self._changed_keys = changed_keys
        self._mark: tuple[int, int] | None = None
        self._drawn: Walk | None = None
        self._activity = Activity(walk, Recording(step, walk.map, with_other_map), self.show)
        self._undo_asked: Walk | None = None

    BINDINGS: ClassVar[list[BindingType]] = list(bindings("walk"))

    def compose(self) -> ComposeResult:
        yield Static(id="where")
        with Horizontal(id="middle"):
            with Vertical(id="left"):
                yield BigNumber(plain_ascii=self._plain_ascii)
                yield Static(id="lit")
                yield Static(id="now")
                with Horizontal(id="asking"):
                    yield Static(id="prompt")
                    yield EntryLine(
                        commands=while_empty("walk", self._changed_keys),
                        typed=lambda: self.walk.typed,
                        on_typed=lambda text: self.app.conductor.take(Typed(text)),
                        on_enter=self.action_take,
                    )
                yield Static(id="offers")
                yield Static(id="message")
            with Vertical(id="right"):
                yield PlayfieldPicture()
                yield Static(id="seen")
        yield Static(id="progress")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.query_one(EntryLine).focus()
        self.app.conductor.begin(self._activity)
        if self.app.plan.tour:
            self.mount(TourLine())

    @property
    def walk(self) -> Walk:
        """The state that is shown."""
        return self._activity.state

    def on_screen_resume(self) -> None:
        if self._drawn is not None:
            self.app.conductor.begin(self._activity)
            self._drawn = None
            self.show(self.walk)

    def action_tour(self) -> None:
        """Begin the tour, or go on to its next sentence."""
        lines = self.query(TourLine)
        if lines:
            lines.first().skip()
        elif self.app.truth is not None:
            self.mount(TourLine())
        else:
            self.app.notify("the tour is in the demo: playfield-probe demo --tour", markup=False)

    def action_end_tour(self) -> None:
        """End the tour."""
        self.query(TourLine).remove()

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self, walk: Walk) -> None:
        """Draw a state."""
        if not self.is_mounted or not self.query("#progress"):  # not composed yet, or being taken down
            return
        before, self._drawn = self._drawn, walk
        if before is not None and before.chain == walk.chain and _finished(walk) and not _finished(before):
            self.call_later(self.close_session)
        chain = walk.here
        where = f" {walk.map.machine.name} · {chain.name} (output {chain.output})"
        board = walk.board.words if not walk.paper or walk.board.here else "paper entry, no board"
        self._put("where", head_line(where, board, self.size.width))
        number = self.query_one(BigNumber)
        lit = walk.is_lit or (walk.paper and not walk.board.here)
        if before is None or (before.number, before.is_lit, before.paper) != (walk.number, walk.is_lit, walk.paper):
            number.show(walk.number, lit=lit)
        self._put("lit", lit_line(walk))
        self._put("now", now_line(walk))
        self._put("prompt", Content(_PROMPTS[walk.entry] + " "))
        self.query_one(EntryLine).follow()
        box = self.query_one("#offers").size
        rows, width = box.height or 6, max(10, box.width or 40)
        self._put("offers", offer_lines(walk, width=width, rows=rows, plain_ascii=self._plain_ascii))
        self._put("message", message_line(walk.unsaved, walk.message))
        self._put("progress", progress_line(walk, plain_ascii=self._plain_ascii))
        self._show_picture(walk)

    def _put(self, name: str, content: Content) -> None:
        self.put(name, content, layout=name == "prompt")  # the other lines have fixed heights

    def _show_picture(self, walk: Walk) -> None:
        picture = self.query_one(PlayfieldPicture)
        here = walk.place
        seen = self.app.seen()
        lit_sign = "@" if self._plain_ascii else LIT_SIGN
        spots = []
        if here is not None and here.position is not None:
            spots.append(Spot(here.position, lit_sign, "lit"))
        truth = self.app.truth
        if truth is not None:
            for place_id, _ in seen:
                place = truth.place_by_id.get(place_id)
                if place is not None and place.position is not None:
                    spots.append(Spot(place.position, lit_sign, "seen"))
        if self._mark is not None:
            spots.append(Spot(picture.position_of(*self._mark), MARK_SIGN, "mark"))
        elif here is None and walk.offer is not None and walk.offer.place in walk.map.place_by_id:
            place = walk.map.place_by_id[walk.offer.place or ""]
            if place.position is not None:
                spots.append(Spot(place.position, MARK_SIGN, "mark"))
        picture.show(walk.map, spots)
        self._put("seen", under_the_glass(truth, seen))

    # -- keys ---------------------------------------------------------------------------------------------------

    def action_take(self) -> None:
        """Enter: take the chosen offer, or set the mark."""
        if self._mark is not None:
            position = self.query_one(PlayfieldPicture).position_of(*self._mark)
            self._mark = None
            self.app.conductor.take(PutAt(position.x_mm, position.y_mm))
            self.show(self.walk)
            return
        self.app.conductor.take(Take())

    def action_say(self, answer: str) -> None:
        """A one-key answer."""
        self.app.conductor.take(Say(Answer[answer]))

    def action_ask(self, entry: str) -> None:
        """Use the entry line for a note, an area or a number."""
        self.app.conductor.take(Ask(Entry[entry]))

    def action_forward(self) -> None:
        """The next pixel; while the mark is out, the mark goes right."""
        if self._mark is not None:
            self._move_mark(1, 0)
        else:
            self.app.conductor.take(Move(1))

    def action_backward(self) -> None:
        """The pixel before; while the mark is out, the mark goes left."""
        if self._mark is not None:
            self._move_mark(-1, 0)
        else:
            self.app.conductor.take(Move(-1))

    def action_unseen(self) -> None:
        """The next pixel that nobody has answered."""
        self.app.conductor.take(Move(unseen=True))

    def action_choose(self, by: int) -> None:
        """Another offer."""
        if self._mark is not None:
            self._move_mark(0, by)
            return
        self.app.conductor.take(Choose(by))

    def action_level(self, by: int) -> None:
        """Brighter or dimmer."""
        self.app.conductor.take(ChangeLevel(by))

    def action_kind(self) -> None:
        """The next kind."""
        self.app.conductor.take(ChangeKind())

    def action_blink(self) -> None:
        """Blink or stop."""
        self.app.conductor.take(ToggleBlink())

    def action_paper(self) -> None:
        """Paper entry."""
        self.app.conductor.take(TogglePaper())

    def action_undo(self) -> None:
        """Undo; once nothing of this session is left, asked a second time: take the last revision back."""
        self._travel(Undo(), left=bool(self.walk.past), redo=False)

    def action_redo(self) -> None:
        """Redo; once nothing of this session is left, asked a second time: do the last undone revision again."""
        self._travel(Redo(), left=bool(self.walk.future), redo=True)

    def _travel(self, key: Undo | Redo, *, left: bool, redo: bool) -> None:
        walk = self.walk
        revision = None if left else last_redoable(walk.map) if redo else last_undoable(walk.map)
        if revision is None:
            self.app.conductor.take(key)
        elif self._undo_asked is not walk:
            verb = "do again" if redo else "take back"
            again = "the same key once more"
            self._undo_asked = walk
            words = f"nothing of this session is left: {again} to {verb} revision {revision.number} ({revision.reason})"
            self._put("message", plain(words, width=max(40, self.query_one("#message").size.width * 2 - 2)))
        else:
            self._undo_asked = None
            try:
                self.app.conductor.take(UndoRevision(now_text(), redo=redo))
            except (ConflictError, NoRevisionError) as error:
                self._put("message", plain(str(error)))
                return
            self.app.conductor.take(Move(0))  # light what is asked about now
            self._put("message", plain(self.walk.map.revisions[-1].reason))

    def close_session(self) -> None:
        """Make a revision of what this session changed."""
        self.app.conductor.give(self._activity, CloseSession(now_text()))

    def action_retry(self) -> None:
        """Save and light again."""
        self.app.conductor.take(Retry())

    def action_flip(self) -> None:
        """See the picture from the other side."""
        self.query_one(PlayfieldPicture).flip()

    def action_next_chain(self) -> None:
        """On to the next chain, at its first unseen pixel."""
        chains = self.walk.map.chains
        at = next(i for i, chain in enumerate(chains) if chain.id == self.walk.chain)
        chain = chains[(at + 1) % len(chains)]
        unseen = next((i for i, p in enumerate(chain.pixels) if p.state is PixelState.UNSEEN), 0)
        self.app.conductor.take(GoTo(unseen, chain.id))

    def action_point(self) -> None:
        """Move a mark in the picture with the arrows; Enter sets the position."""
        picture = self.query_one(PlayfieldPicture)
        place = self.walk.place or self.walk.last_place
        start = place.position if place is not None and place.position is not None else None
        machine = self.walk.map.machine
        self._mark = picture.cell_of(start or Position(x_mm=machine.width_mm / 2, y_mm=machine.length_mm / 2))
        self._put("message", Content("Arrows move the mark, Enter sets it, Esc leaves it."))
        self._show_picture(self.walk)

    def use_map(self, m: PlayfieldMap) -> None:
        """Go on with a map that was changed elsewhere; undo goes back to the one before."""
        self._activity.state = with_map(self.walk, m)

    def take_over(self, m: PlayfieldMap, chain: str, number: int | None = None) -> None:
        """Go on with a map that a recheck made: what this session did before is part of its revisions."""
        walk = with_other_map(self.walk, m)
        here = walk.chain == chain
        at = number if number is not None else walk.number if here else 0
        self._activity.state = replace(walk, chain=chain, number=at)

    def walk_to(self, chain: str, number: int) -> None:
        """Go to a pixel as soon as this screen is back."""
        self._activity.state = replace(self.walk, chain=chain, number=number, lit=None)

    def action_recheck(self) -> None:
        """Recheck this chain."""
        self.app.open_recheck()

    def action_find(self) -> None:
        """Find the number at a place."""
        self.app.open_find()

    def action_power(self) -> None:
        """Open the power plan."""
        self.app.open_power()

    def action_harness(self) -> None:
        """Open the harness sheet."""
        self.app.open_harness()

    def action_picture(self) -> None:
        """Open the picture."""
        self.app.open_picture()

    def action_faults(self) -> None:
        """Open the fault finder on this chain."""
        self.app.open_faults(self.walk.map, self.walk.chain)

    def action_lamps(self) -> None:
        """Open the lamp list."""
        self.app.open_game("lamps")

    def action_revisions(self) -> None:
        """Open the list of revisions."""
        open_revisions(self.app)

    def action_table(self) -> None:
        """Open the map table."""
        self.app.open_table()

    def action_leave(self) -> None:
        """Esc: out of the mark or the entry; otherwise back."""
        if self._mark is not None:
            self._mark = None
            self.show(self.walk)
        elif self.walk.typed or self.walk.entry is not Entry.LABEL:
            self.app.conductor.take(Leave())
        else:
            self.app.push_screen(ElsewhereScreen(), self._go_elsewhere)

    async def _go_elsewhere(self, action: str | None) -> None:
        if action is not None:
            await self.run_action(action)

    def _move_mark(self, across: int, down: int) -> None:
        if self._mark is None:
            return
        self._mark = self.query_one(PlayfieldPicture).beside(self._mark, across, down)
        self._show_picture(self.walk)

    def on_click(self, event: Click) -> None:
        """A click in the picture sets the position."""
        if isinstance(event.widget, PlayfieldPicture):
            position = event.widget.position_of(event.x, event.y)
            self.app.conductor.take(PutAt(position.x_mm, position.y_mm))
