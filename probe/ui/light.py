"""The picture on screen: places where they are, one of them chosen and lit; its position, level and colour beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.events import Click
from textual.widgets import Footer, Static

from probe.cautions import LIGHT
from probe.document.model import PlayfieldMap, Position
from probe.lighting.choosing import nearest
from probe.lighting.levels import COARSE_STEP, FINE_STEP
from probe.lighting.picture_keys import (
    Ask,
    ChangeLevel,
    ChangeWarmth,
    Compare,
    Copy,
    Entry,
    FollowGroup,
    Go,
    Leave,
    Move,
    NextMode,
    Paste,
    Pick,
    PutAt,
    Redo,
    Retry,
    Take,
    TakeAdvice,
    ToggleDiffuser,
    ToggleFade,
    ToggleUnit,
    ToggleWhole,
    Typed,
    Undo,
)
from probe.lighting.picture_work import PictureWork, start, step
from probe.runtime import Activity
from probe.task.sessions import Recording
from probe.ui.keys import bindings
from probe.ui.light_words import about_place, current_line, legend_line
from probe.ui.line_screen import LineScreen, head_line, message_line
from probe.ui.seen import under_the_glass
from probe.ui.text import plain
from probe.ui.visit import Visit
from probe.ui.widgets.entry import EntryLine
from probe.ui.widgets.picture import LIT_SIGN, MARK_SIGN, PlayfieldPicture, Spot

_PROMPTS = {
    Entry.POSITION: 'Position (C7, or 10 1/4", 22", or 260, 570): ',
    Entry.LEVEL: "Level 0 to 255, or a share (40 %); empty: as its group: ",
    Entry.COLOUR: "Colour RRGGBB at full level, or warm, neutral, cool; empty: as its group: ",
    Entry.DEPTH: "Depth of the pixel below the surface; empty: not measured: ",
    Entry.FIND: "Find a place, area, group or lamp number: ",
}
_STEPS = {"up": (0, -1), "down": (0, 1), "left": (-1, 0), "right": (1, 0)}


class LightScreen(LineScreen):
    """The picture. All it does is show a `PictureWork` and pass keys on as its inputs."""

    KEY_SCOPE: ClassVar[str] = "picture"
    CSS_PATH: ClassVar[str] = "light.tcss"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("picture"))
    AUTO_FOCUS: ClassVar[str] = ""

    def __init__(
        self,
        m: PlayfieldMap,
        place: str | None,
        keep: Callable[[PlayfieldMap], None],
        *,
        steady_only: bool = False,
        plain_ascii: bool = False,
    ) -> None:
        super().__init__()
        self._keep = keep
        self._plain = plain_ascii
        self._mark: tuple[int, int] | None = None
        self._kept: PlayfieldMap = m
        self._visit = Visit(m)
        self._activity = Activity(start(m, place=place, steady_only=steady_only), Recording(step, m), self.show)

    def compose(self) -> ComposeResult:
        yield Static(id="pic-head")
        with Horizontal(id="pic-middle"):
            yield PlayfieldPicture(plain_ascii=self._plain)
            with Vertical(id="pic-side"):
                yield Static(id="pic-about")
                yield Static(id="pic-current")
                yield Static(id="pic-seen")
                yield Static(id="pic-legend")
        yield Static(id="pic-message")
        with Horizontal(id="pic-typing"):
            yield Static(id="pic-prompt")
            yield EntryLine(
                id="pic-input",
                typed=lambda: self.work.typed,
                on_typed=lambda text: self._take(Typed(text)),
                on_enter=lambda: self._take(Take(from_below=self.query_one(PlayfieldPicture).from_below)),
            )
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self._begin()
        self.put("pic-message", plain(LIGHT[0]))

    def on_screen_resume(self) -> None:
        map_ = self.app.map_now()
        if map_ is not None and map_ is not self.work.map:
            self.use_map(map_)
        self._begin()

    def _begin(self) -> None:
        self.app.conductor.begin(self._activity)
        if not self.work.lighting.chains and self.work.place is not None:
            self.app.conductor.take(Pick(self.work.place))

    @property
    def work(self) -> PictureWork:
        """The state that is shown."""
        return self._activity.state

    def use_map(self, m: PlayfieldMap) -> None:
        """Go on with a map that the walk for evenness has changed."""
        self._activity.state = start(m, place=self.work.place, steady_only=self.work.steady_only)
        self._visit.follow(m)
        self._keep(m)

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self, work: PictureWork) -> None:
        """Draw a state."""
        if work.map is not self._kept:
            self._kept = work.map
            self._keep(work.map)
        if not self.is_mounted:
            return
        board = work.board.words if work.board.here else "no board: nothing is lit"
        area = self.query_one(PlayfieldPicture).area
        where = f" {work.map.machine.name} · {area or 'whole playfield'} · lit: {work.mode.value}"
        self.put("pic-head", head_line(where, board, self.size.width))
        self.put("pic-about", about_place(work, plain_ascii=self._plain))
        self.put("pic-current", current_line(work.lighting))
        self.put("pic-seen", under_the_glass(self.app.truth, self.app.seen()))
        self.put("pic-legend", legend_line(work.map, plain_ascii=self._plain))
        if work.unsaved or work.message:
            self.put("pic-message", message_line(work.unsaved, work.message))
        self._show_entry(work)
        self._show_picture(work)

    def _show_entry(self, work: PictureWork) -> None:
        row = self.query_one("#pic-typing")
        line = self.query_one("#pic-input", EntryLine)
        is_open = work.entry is not Entry.NONE
        if is_open:
            self.put("pic-prompt", Content(_PROMPTS[work.entry]))
        if is_open and not row.has_class("open"):
            row.add_class("open")
            line.focus()
        elif not is_open and row.has_class("open"):
            row.remove_class("open")
            self.set_focus(None)
        line.follow()

    def _show_picture(self, work: PictureWork) -> None:
        picture = self.query_one(PlayfieldPicture)
        lit_sign = "@" if self._plain else LIT_SIGN
        spots = []
        for place_id in work.lit_places:
            place = work.map.place_by_id.get(place_id)
            if place is not None and place.position is not None:
                spots.append(Spot(place.position, lit_sign, "lit"))
        held, here = work.held_place, work.here
        if held is not None and held.position is not None and held.id not in work.lit_places:
            spots.append(Spot(held.position, "H", "held"))
        if here is not None and here.position is not None and here.id not in work.lit_places:
            spots.append(Spot(here.position, MARK_SIGN, "held"))
        if self._mark is not None:
            spots.append(Spot(picture.position_of(*self._mark), MARK_SIGN, "mark"))
        picture.show(work.map, sorted(spots, key=lambda s: (s.look, s.position.x_mm, s.position.y_mm)))

    # -- keys ---------------------------------------------------------------------------------------------------

    def _take(self, given: object) -> None:
        self.app.conductor.take(given)

    def action_take(self) -> None:
        """Enter: set the mark, or light the place again."""
        if self._mark is not None:
            position = self.query_one(PlayfieldPicture).position_of(*self._mark)
            self._mark = None
            self._take(PutAt(position.x_mm, position.y_mm))
            return
        if self.work.place is not None:
            self._take(Pick(self.work.place))

    def action_go(self, key: str) -> None:
        """An arrow: the next place that way, or the mark."""
        across, down = _STEPS[key]
        picture = self.query_one(PlayfieldPicture)
        if self._mark is not None:
            self._mark = picture.beside(self._mark, across, down)
            self._say_mark()
            return
        self._take(Go(-across if picture.from_below else across, -down))

    def _say_mark(self) -> None:
        if self._mark is None:
            return
        position = self.query_one(PlayfieldPicture).position_of(*self._mark)
        words = f"{position.x_mm:.0f}, {position.y_mm:.0f} mm: Enter sets it, Esc leaves it"
        self.put("pic-message", Content(words))
        self._show_picture(self.work)

    def action_point(self) -> None:
        """Move a mark in the picture with the arrows; Enter sets the position."""
        here = self.work.here
        if here is None:
            return
        machine = self.work.map.machine
        middle = Position(x_mm=machine.width_mm / 2, y_mm=machine.length_mm / 2)
        self._mark = self.query_one(PlayfieldPicture).cell_of(here.position or middle)
        self._say_mark()

    def on_click(self, event: Click) -> None:
        """A click picks the place nearest to it; while pointing it sets the position."""
        picture = event.widget
        if not isinstance(picture, PlayfieldPicture):
            return
        position = picture.position_of(event.x, event.y)
        if self._mark is not None:
            self._mark = None
            self._take(PutAt(position.x_mm, position.y_mm))
            return
        found = nearest(self.work.map, position.x_mm, position.y_mm)
        if found is not None:
            self._take(Pick(found))

    def action_ask(self, entry: str) -> None:
        """Open the entry line."""
        self._take(Ask(Entry[entry]))

    def action_move(self, by: int) -> None:
        """The next place along the chains, or the one before."""
        self._take(Move(by))

    def action_level(self, by: int) -> None:
        """Brighter or dimmer."""
        self._take(ChangeLevel(by * COARSE_STEP))

    def action_level_fine(self, by: int) -> None:
        """A little brighter or dimmer."""
        self._take(ChangeLevel(by * FINE_STEP))

    def action_warmth(self) -> None:
        """The next white."""
        self._take(ChangeWarmth())

    def action_advice(self) -> None:
        """Light as common practice has it."""
        self._take(TakeAdvice())

    def action_whole(self) -> None:
        """Change the place, or its group."""
        self._take(ToggleWhole())

    def action_follow(self) -> None:
        """The places of the group say nothing themselves."""
        self._take(FollowGroup())

    def action_copy_light(self) -> None:
        """Keep level and colour."""
        self._take(Copy())

    def action_paste_light(self) -> None:
        """Give it the level and colour kept."""
        self._take(Paste())

    def action_compare(self) -> None:
        """Keep a place, then compare it with another."""
        self._take(Compare())

    def action_mode(self) -> None:
        """Light the place, its group, every place."""
        self._take(NextMode())

    def action_fade(self) -> None:
        """Glow like bulbs in the game, or not."""
        self._take(ToggleFade())

    def action_diffuser(self) -> None:
        """A diffuser, or none."""
        self._take(ToggleDiffuser())

    def action_unit(self) -> None:
        """Millimetres or inches."""
        self._take(ToggleUnit())

    def action_undo(self) -> None:
        """Undo."""
        self._take(Undo())

    def action_redo(self) -> None:
        """Redo."""
        self._take(Redo())

    def action_retry(self) -> None:
        """Save and light again."""
        self._take(Retry())

    def action_flip(self) -> None:
        """See the picture from the other side."""
        self.query_one(PlayfieldPicture).flip()
        self.show(self.work)

    def action_route(self) -> None:
        """Draw the route of the chains, or not."""
        self.query_one(PlayfieldPicture).toggle_route()

    def action_grid(self) -> None:
        """Draw the grid's letters and numbers, or not."""
        self.query_one(PlayfieldPicture).toggle_grid()

    def action_zoom(self) -> None:
        """The area of the place, or the whole playfield."""
        picture = self.query_one(PlayfieldPicture)
        here = self.work.here
        picture.zoom(here.area if picture.area is None and here is not None and here.area else None)
        self._mark = None
        self.show(self.work)

    async def action_evenness(self) -> None:
        """Walk the general illumination for evenness."""
        from probe.lighting.even_walk import start as start_evenness

        try:
            start_evenness(self.work.map)
        except ValueError as error:
            self.put("pic-message", plain(str(error)))
            return
        await self.saved()
        await self.app.conductor.stop()
        self.app.runtime.open("evenness")

    async def action_leave(self) -> None:
        """Esc: out of the mark or the entry; otherwise back."""
        if self._mark is not None:
            self._mark = None
            self.put("pic-message", Content(""))
            self._show_picture(self.work)
        elif self.work.entry is not Entry.NONE:
            self._take(Leave())
        else:
            self._keep(self.work.map)
            self._visit.end(self.app, self._activity)
            await self.saved()
            self.app.pop_old()
