"""The walk for evenness on screen: each place and each gap, rated or read; then what would make it more even."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.events import Click
from textual.widgets import Footer, Static

from probe.cautions import LIGHT
from probe.document.model import PlayfieldMap, Position
from probe.document.model.light import Rating
from probe.lighting.choosing import nearest
from probe.lighting.even_keys import (
    ChangeMeasure,
    Finish,
    Jump,
    Move,
    NewRound,
    Rate,
    Retry,
    Take,
    ToggleAlone,
    Typed,
    Undo,
)
from probe.lighting.even_walk import EvenWalk, analyse, start, step
from probe.lighting.evenness import point_of
from probe.runtime import Activity
from probe.task.sessions import Recording
from probe.ui.clock import now_text
from probe.ui.keys import bindings
from probe.ui.light_words import current_line, evenness_words, suggestion_lines
from probe.ui.line_screen import LineScreen, head_line, message_line
from probe.ui.seen import under_the_glass
from probe.ui.text import plain
from probe.ui.visit import Visit
from probe.ui.widgets.entry import EntryLine
from probe.ui.widgets.picture import MARK_SIGN, PlayfieldPicture, Spot

_RATED = {Rating.DARK: "D", Rating.FAIR: "F", Rating.HOT: "H"}


class EvenScreen(LineScreen):
    """The walk for evenness. Shows an `EvenWalk`; reckons aside, in a thread. Raises ValueError if there is none to walk."""

    KEY_SCOPE: ClassVar[str] = "evenness"
    CSS_PATH: ClassVar[str] = "light.tcss"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("evenness"))

    def __init__(self, m: PlayfieldMap, keep: Callable[[PlayfieldMap], None], *, plain_ascii: bool = False) -> None:
        super().__init__()
        self._keep = keep
        self._plain = plain_ascii
        self._kept = m
        self._visit = Visit(m)
        self._reckoning: tuple[PlayfieldMap, int] | None = None
        self._activity = Activity(start(m), Recording(step, m), self.show)

    def compose(self) -> ComposeResult:
        yield Static(id="even-head")
        with Horizontal(id="even-middle"):
            yield PlayfieldPicture(plain_ascii=self._plain)
            with Vertical(id="even-side"):
                yield Static(id="even-stop")
                with VerticalScroll(id="even-box", can_focus=False):
                    yield Static(id="even-text")
                yield Static(id="even-current")
                yield Static(id="even-seen")
        yield Static(id="even-message")
        with Horizontal(id="even-typing"):
            yield Static(id="even-prompt")
            yield EntryLine(
                id="even-input",
                typed=lambda: self.walk.typed,
                on_typed=lambda text: self.app.conductor.take(Typed(text)),
                on_enter=lambda: self.app.conductor.take(Take(now_text())),
            )
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.query_one("#even-input").focus()
        self.put("even-message", plain(LIGHT[2]))
        self._begin()

    def on_screen_resume(self) -> None:
        self._begin()

    def _begin(self) -> None:
        self.app.conductor.begin(self._activity)
        if not self.walk.lighting.chains:
            self.app.conductor.take(Move(0))
            self.app.conductor.take(ToggleAlone())
            self.app.conductor.take(ToggleAlone())

    @property
    def walk(self) -> EvenWalk:
        """The state that is shown."""
        return self._activity.state

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self, walk: EvenWalk) -> None:
        """Draw a state."""
        if walk.map is not self._kept:
            self._kept = walk.map
            self._keep(walk.map)
        if not self.is_mounted:
            return
        board = walk.board.words if walk.board.here else "no board: nothing is lit"
        where = f" {walk.map.machine.name} · evenness, walk {walk.round}"
        self.put("even-head", head_line(where, board, self.size.width))
        self.put("even-stop", self._stop(walk))
        self.put("even-text", Content("\n").join(self._result(walk) if walk.done else self._asking(walk)))
        self.put("even-current", current_line(walk.lighting))
        self.put("even-seen", under_the_glass(self.app.truth, self.app.seen()))
        if walk.unsaved or walk.message:
            self.put("even-message", message_line(walk.unsaved, walk.message))
        prompt = "Enter takes the trims " if walk.done else f"Reading ({walk.measure.value}), or F2 F3 F4: "
        self.put("even-prompt", Content(prompt))
        self.query_one("#even-input", EntryLine).follow()
        self._show_picture(walk)
        if walk.done and walk.suggestion is None and not walk.trouble:
            self._reckon(walk)

    def _stop(self, walk: EvenWalk) -> Content:
        if walk.done:
            return Content(f"Walk {walk.round}: {len(walk.readings)} of {len(walk.stops)} stops read").stylize("bold")
        kind = "gap" if walk.stop[1] is not None else "place"
        lines = [Content(f"{kind} {walk.at + 1} of {len(walk.stops)}"), plain(walk.named(walk.stop), "bold")]
        return Content("\n").join(lines)

    def _asking(self, walk: EvenWalk) -> list[Content]:
        reading = walk.readings.get(walk.stop)
        said = ""
        if reading is not None:
            said = reading.rating.value if reading.rating else f"{reading.value:g} {reading.measure.value}"
        found, of = walk.now
        lit = "all general illumination is lit" if walk.lighting.is_lit else "not lit yet"
        lines = [
            Content("lit alone: these places" if walk.alone else lit),
            Content("F2 dark, F3 fair, F4 hot: against the whole, eyes half closed."),
            Content("Or hold the meter (or look the photo up) there and type the number."),
            Content(f"said: {said}" if said else "not rated yet"),
            Content(f"so far: {evenness_words(found, of)}"),
        ]
        before, was = walk.before
        if before is not None:
            lines.append(Content(f"walk {walk.round - 1}: {evenness_words(before, was)}"))
        return lines

    def _result(self, walk: EvenWalk) -> list[Content]:
        found, of = walk.now
        lines = [Content(f"as read: {evenness_words(found, of)}")]
        before, was = walk.before
        if before is not None:
            lines.append(Content(f"walk {walk.round - 1}: {evenness_words(before, was)}"))
        if walk.trouble:
            lines.append(plain(walk.trouble))
        elif walk.suggestion is None:
            lines.append(Content("reckoning …"))
        else:
            lines += suggestion_lines(walk.map, walk.suggestion, taken=walk.trimmed)
        return lines

    def _show_picture(self, walk: EvenWalk) -> None:
        spots = []
        for stop, reading in walk.readings.items():
            point = point_of(walk.map, stop)
            if point is not None:
                sign = _RATED[reading.rating] if reading.rating else "v"
                look = "dark" if reading.rating is Rating.DARK else "held" if reading.rating is Rating.HOT else "plain"
                spots.append(Spot(Position(x_mm=point[0], y_mm=point[1]), sign, look))
        if not walk.done:
            for place in walk.places_at(walk.stop):
                if place.position is not None:
                    spots.append(Spot(place.position, "O", "lit"))
            point = point_of(walk.map, walk.stop)
            if point is not None:
                spots.append(Spot(Position(x_mm=point[0], y_mm=point[1]), MARK_SIGN, "mark"))
        self.query_one(PlayfieldPicture).show(walk.map, spots)

    def _reckon(self, walk: EvenWalk) -> None:
        if self._reckoning == (walk.map, walk.round):
            return
        self._reckoning = (walk.map, walk.round)
        self.run_worker(self._reckoned(walk), exclusive=True)

    async def _reckoned(self, walk: EvenWalk) -> None:
        found = await asyncio.to_thread(analyse, walk.map, walk.round, walk.board.identity)
        self._reckoning = None
        if self.app.screen is self:
            self.app.conductor.take(found)

    # -- keys ---------------------------------------------------------------------------------------------------

    def action_rate(self, rating: str) -> None:
        """Dark, fair or hot."""
        self.app.conductor.take(Rate(Rating[rating], now_text()))

    def action_move(self, by: int) -> None:
        """Another stop; with the result on screen: read on."""
        if self.walk.done:
            self.query_one("#even-box", VerticalScroll).scroll_relative(y=4 * by, animate=False)
            return
        self.app.conductor.take(Move(by))

    def action_measure(self) -> None:
        """Lux or camera values."""
        self.app.conductor.take(ChangeMeasure())

    def action_alone(self) -> None:
        """Light these places alone, or all."""
        self.app.conductor.take(ToggleAlone())

    def action_finish(self) -> None:
        """Results, or back to the walk."""
        self.app.conductor.take(Finish())

    def action_new_round(self) -> None:
        """Walk again."""
        self.app.conductor.take(NewRound())

    def action_undo(self) -> None:
        """Undo."""
        self.app.conductor.take(Undo())

    def action_retry(self) -> None:
        """Save and light again."""
        self.app.conductor.take(Retry())

    def action_flip(self) -> None:
        """See the picture from the other side."""
        self.query_one(PlayfieldPicture).flip()

    def on_click(self, event: Click) -> None:
        """A click goes to the place nearest to it."""
        if isinstance(event.widget, PlayfieldPicture):
            position = event.widget.position_of(event.x, event.y)
            found = nearest(self.walk.map, position.x_mm, position.y_mm)
            if found is not None:
                self.app.conductor.take(Jump(found))

    async def action_leave(self) -> None:
        """Esc: out of what is typed, then back."""
        if self.walk.typed:
            self.app.conductor.take(Typed(""))
            return
        self._visit.end(self.app, self._activity)
        self._keep(self.walk.map)
        await self.saved()
        self.app.pop_screen()
