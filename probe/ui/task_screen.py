"""The screen of a task that asks one question at a time: number, question, entry line, items, details, picture."""

from __future__ import annotations

from dataclasses import replace
from textwrap import wrap
from typing import TYPE_CHECKING, Self

from rich.cells import cell_len
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.css.query import NoMatches
from textual.events import Click, MouseDown, MouseUp
from textual.geometry import Region
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from probe.document.model import PlayfieldMap
from probe.document.operations import new_map
from probe.document.plural import many
from probe.task import events as ev
from probe.task import screen as se
from probe.task.light import AsBelow
from probe.task.views import LIT_SIGN, MARK_SIGN, Line, Pane, PictureView, Spot, TaskView
from probe.ui.command_screen import LARGE, MOST_PANES, CommandScreen, hung, line_content
from probe.ui.text import cut_inside, plain, wrapped
from probe.ui.widgets.big_number import BigNumber
from probe.ui.widgets.entry import EntryLine
from probe.ui.widgets.key_line import KeyLine
from probe.ui.widgets.picture import PlayfieldPicture, legend
from probe.ui.widgets.text_block import TextBlock

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from probe.document.model import PlayfieldMap, Position
    from probe.runtime.runtime import OpenTask


TALL = 34
"""Rows from which on a screen is not low."""
MOST_MESSAGE = 6
"""Rows of the message; two of them are always kept free for it."""
LEAST_ROWS, BESIDE_PANES = 10, 37
"""Lines of a pane at least, and the rows that stand above and below the panes of a large screen."""
BESIDE_ITEMS = 5
"""Rows of the question with its margin and of the message, and one more for lines that break early."""
LEAST_CELL = 6
"""Cells of a short text at least."""
LEAST_NAMED = 12
"""Cells of a short text from which on its note stands there too."""
TWO_PICTURES = 120
"""Columns from which on two pictures stand side by side."""


class ItemList(OptionList, can_focus=False):
    """The items; arrows, Enter and letters are the screen's, a click chooses."""

    _exchanging = False

    def show(self, prompts: list[Content], highlighted: int | None) -> None:
        """Hold these. In as many rows as before, all of them seen, only what differs is exchanged: nothing moves then."""
        rows, width = len(prompts), self.scrollable_content_region.width
        stays = (
            self.option_count == rows == self.virtual_size.height <= self.size.height
            and self.scroll_y == 0
            and all(cell_len(prompt.plain) <= width and "\n" not in prompt.plain for prompt in prompts)
        )
        if not stays:
            self.clear_options()
            self.add_options([Option(prompt) for prompt in prompts])
        else:
            for row, prompt in enumerate(prompts):
                before = self.get_option_at_index(row).prompt
                if not isinstance(before, Content) or not before.is_same(prompt):
                    self.exchange(row, prompt)
        self.highlighted = highlighted

    def exchange(self, row: int, prompt: Content) -> None:
        """Show another text of as many rows as before. Only this row is drawn again: most of a list is blank below its items."""
        self._exchanging = True
        self.replace_option_prompt_at_index(row, prompt)
        self._exchanging = False
        self.refresh(Region(0, row, self.size.width, 1))

    def refresh(self, *regions: Region, repaint: bool = True, layout: bool = False, recompose: bool = False) -> Self:
        """Ask to be drawn again; not as a whole where one row is exchanged."""
        if self._exchanging:
            return self
        return super().refresh(*regions, repaint=repaint, layout=layout, recompose=recompose)


class PaneBlock(TextBlock):
    """A pane: its lines are cut to its width, so the screen is drawn again once that is known."""

    def on_resize(self) -> None:
        """Cut to the new width."""
        super().on_resize()
        self.call_after_refresh(self._redraw_screen)

    def _redraw_screen(self) -> None:
        if isinstance(self.screen, CommandScreen):
            self.screen.redraw()


class TaskScreen(CommandScreen):
    """Shows a `TaskView`. It knows what a view is, and nothing of any task."""

    def __init__(self, shown: OpenTask, changed: Mapping[str, str]) -> None:
        super().__init__(shown, changed)
        self._items: tuple[object, ...] | None = None
        self._chosen_row: int | None = None
        self._mark: tuple[int, int] | None = None
        self._pressed: tuple[object, int, int] = (None, 0, 0)
        self._second: PlayfieldPicture | None = None
        self._view: TaskView | None = None
        self._glass = False
        self._details_width = 0
        self._route = False
        self._number: tuple[int | None, bool, int] | None = None

    def compose(self) -> ComposeResult:
        yield Static(id="where")
        with Horizontal(id="middle"):
            with Vertical(id="left"):
                yield BigNumber()
                yield TextBlock(id="cells")
                yield TextBlock(id="above")
                with Horizontal(id="asking"):
                    yield Static(id="prompt")
                    yield EntryLine(
                        commands=lambda: self.keys_while_empty,
                        typed=self._typed,
                        on_typed=lambda text: self.dispatch(ev.Typed(text)),
                        on_enter=self._enter,
                    )
                yield ItemList(id="items", markup=False)
                with VerticalScroll(id="details-box", can_focus=False):
                    yield TextBlock(id="details")
                yield TextBlock(id="below")
                with Horizontal(id="panes"):
                    for number in range(MOST_PANES):
                        yield PaneBlock(id=f"pane-{number}", classes="pane")
                yield TextBlock(id="seen-alone")
                yield Static(id="message")
            with Vertical(id="right"):
                yield PlayfieldPicture()
                yield TextBlock(id="legend")
                yield Static(id="seen")
        yield Static(id="message-below")
        yield Static(id="progress")
        yield KeyLine()

    def _typed(self) -> str:
        view = self.current_view()
        return view.typed or "" if isinstance(view, TaskView) else ""

    def _enter(self) -> None:
        self.run_key("enter")

    # -- showing ------------------------------------------------------------------------------------------------

    def draw(self, view: object) -> None:
        """Draw a view; only what differs from the one before is touched."""
        if not isinstance(view, TaskView):
            return
        before, self._view = self._view, view
        self.set_class(view.picture is not None and view.picture.wide, "wide")
        width = max(20, self.size.width)
        head, message = self.head_and_message(view, width)
        self.put("where", head)
        number = self.query_one(BigNumber)
        number.display = view.number is not None
        times = 2 if width >= LARGE else 1
        drawn = (view.number, view.lit, times)
        if view.number is not None and drawn != self._number:
            number.show(view.number, lit=view.lit, times=times)
            self._number = drawn
        self._put_cells(view)
        self._put_lines("above", view.above)
        self.put("prompt", Content(f"{view.prompt} " if view.prompt else ""))
        entry = self.query_one(EntryLine)
        asking = self.query_one("#asking")
        if asking.display != (view.typed is not None):
            asking.display = entry.display = view.typed is not None
            if view.typed is None:
                self.set_focus(None)
        entry.follow(view.typed or "")
        if view.typed is None and entry.has_focus:
            self.set_focus(None)
        elif view.typed is not None and self.focused is None:
            entry.focus()
        self._show_items(view)
        box = self.query_one("#details-box")
        box.display = bool(view.details)
        box.set_class(view.long, "long")
        beside = max(20, (self.query_one("#left").size.width or self.size.width) - 2)
        if before is None or before.details != view.details or beside != self._details_width:
            self._details_width = beside
            self.put_lines("details", [hung(line, beside) for line in view.details])
        self._put_lines("below", view.below)
        self._put_panes(view)
        self._put_message(message)
        progress = self.progress_words(view.progress)
        self.query_one("#progress").display = bool(progress) or not self.has_class("wide")
        self.put("progress", plain(progress, width=width), layout=False)
        self._show_picture(view.picture)
        self._show_second(view)

    def _put_message(self, content: Content) -> None:
        """Beside a wide picture there is no room for it: then it stands below both. It takes as many rows as it needs."""
        if self.has_class("wide"):
            self.put("message-below", content, layout=False)
            return
        shown = self.query_one("#message", Static)
        rows = min(MOST_MESSAGE, max(2, len(wrap(content.plain, max(20, shown.size.width)))))
        if shown.styles.height is None or shown.styles.height.value != rows:
            shown.styles.height = rows
        self.put("message", content, layout=False)

    def _put_lines(self, name: str, lines: tuple[Line, ...]) -> None:
        shown = self.query_one(f"#{name}", Static)
        lines = tuple(line for line in lines if not line.tall or self.size.height >= TALL)
        shown.display = bool(lines)
        width = max(20, shown.size.width or self.size.width)
        self.put_lines(name, [line_content(line, None if line.wrap else width) for line in lines])

    def _put_panes(self, view: TaskView) -> None:
        """Neighbours along the chain and the like: what is around the question, where there is room for it."""
        roomy = self.is_roomy
        rows = max(LEAST_ROWS, self.size.height - BESIDE_PANES)
        panes = view.panes(rows)[:MOST_PANES] if view.panes is not None and roomy and not self.has_class("wide") else ()
        if not panes and roomy and not self.has_class("wide") and self.what_for and self._rows_to_spare(view) >= rows:
            panes = (Pane("What this is for", (Line(self.what_for, wrap=True),)),)
        shown_keys = (self.size.width >= LARGE or view.panes is None) and 0 < len(panes) < MOST_PANES
        self.query_one("#panes").display = bool(panes) or shown_keys
        for number in range(MOST_PANES):
            shown = self.query_one(f"#pane-{number}", Static)
            shown.display = number < len(panes) + shown_keys
            if number < len(panes):
                pane = panes[number]
                self.entitle(shown, pane.title)
                width = max(12, shown.size.width)
                lines = [line_content(line, None if line.wrap else width) for line in pane.lines[:rows]]
                self.put_lines(f"pane-{number}", lines)
            elif shown.display:
                self.entitle(shown, "Keys here")
                width = max(12, self.query_one("#pane-0", Static).size.width)
                self.put_lines(f"pane-{number}", [self.keys_here(rows, width)])

    def _rows_to_spare(self, view: TaskView) -> int:
        """Rows that stay empty once all items and details stand there."""
        width = max(20, self.query_one("#left").size.width - 2)
        lines = (*view.above, *view.details, *view.below)
        rows = sum(max(1, -(-cell_len(line.text + line.note) // width)) for line in lines)
        return self.query_one("#left").size.height - rows - len(view.items or view.empty) - BESIDE_ITEMS

    def _put_cells(self, view: TaskView) -> None:
        shown = self.query_one("#cells", Static)
        shown.display = bool(view.cells)
        if not view.cells:
            return
        width = max(LEAST_CELL, (max(20, shown.size.width or self.size.width - 2)) // view.across)
        named = width >= LEAST_NAMED  # fewer letters of a name than that name nothing
        texts = [f"{cell.text}{cell.note}" if named else cell.text for cell in view.cells]
        cells = [
            plain(cut_inside(text, width - 1).ljust(width), cell.style)
            for text, cell in zip(texts, view.cells, strict=True)
        ]
        rows = [cells[at : at + view.across] for at in range(0, len(cells), view.across)]
        self.put_lines("cells", [Content("").join(row) for row in rows])

    def _show_items(self, view: TaskView) -> None:
        items = self.query_one(ItemList)
        lines = view.items or view.empty
        items.display = bool(lines) or not view.long
        width = max(12, (items.size.width or 46) - 1)
        key = (lines, view.marker if view.items else "", width)
        chosen = view.chosen if view.items and 0 <= view.chosen < len(lines) else None
        blank = " " * len(view.marker) if view.items else ""

        def prompt(row: int) -> Content:
            head = view.marker if row == chosen else blank
            return self._item(lines[row], head, width, chosen=row == chosen)

        if self._items is None or key != self._items:
            items.show([prompt(row) for row in range(len(lines))], chosen)
        elif chosen != self._chosen_row:
            for row in (row for row in (self._chosen_row, chosen) if row is not None):
                items.replace_option_prompt_at_index(row, prompt(row))
            items.highlighted = chosen
        self._items, self._chosen_row = key, chosen

    @staticmethod
    def _item(line: Line, head: str, width: int, *, chosen: bool = False) -> Content:
        style = line.style or ("bold" if chosen else "")
        head = head if chosen or not line.lead else line.lead
        room = None if line.wrap else width - len(head)
        return Content(head).append(line_content(Line(line.text, style, line.note), room))

    def _show_picture(self, view: PictureView | None) -> None:
        right = self.query_one("#right")
        if view is not None and view.roomy and not self.is_roomy:
            view = None
        right.display = view is not None
        alone = self.query_one("#seen-alone", Static)
        alone.display = view is None and self.app.truth is not None and not self._lights_nothing()
        if view is None:
            words = under_the_glass(
                self.app.truth, self.app.seen(), width=max(20, self.size.width - 2), ordered=self._orders
            )
            self.put_lines("seen-alone", [words])
            return
        picture = self._first_picture
        picture.use_plain_ascii(self.app.options.plain_ascii)
        if picture.draw_also(area=view.area, route=view.route or self._route, grid=view.grid, chain=view.chain):
            self._mark = None  # it stood in a cell of another picture
        truth, seen = self.app.truth, self.app.seen()
        glass = self._glass and truth is not None
        spots = [spot for spot in view.spots if not glass or spot.look == "mark"]
        if truth is not None and (glass or not view.seen_on_request):
            spots += self._seen_spots(truth, view)
        if self._mark is not None:
            spots = [spot for spot in spots if spot.look != "mark"]
            spots.append(Spot(picture.position_of(*self._mark), MARK_SIGN, "mark"))
        map_ = self.app.map_now()
        if map_ is None and view.shapes is not None:
            map_ = new_map("a map without a name yet")
        if map_ is not None:
            if view.shapes is not None and view.shapes != map_.shapes:
                map_ = map_.model_copy(update={"shapes": view.shapes})
            picture.show(map_, spots, view.shape)
        roomy = (view.map_legend and self.size.height >= TALL) or (self.is_roomy and not view.roomy)
        signs = self.signs_in_picture if roomy else ""
        lines = wrapped(view.legend or signs, max(20, right.size.width - 1))
        self.put_lines("legend", [plain(line) for line in lines])
        glass_words = Content("The picture shows what is lit under the glass (F9, S)")
        picture.entitle("Under the glass" if glass else view.title)
        width = max(20, self.query_one("#seen").size.width)
        beside = view.roomy and self._lights_nothing()
        self.put(
            "seen",
            Content("")
            if beside
            else glass_words
            if glass
            else under_the_glass(truth, seen, view.at, width=width, ordered=self._orders),
            layout=False,
        )

    @property
    def _orders(self) -> bool:
        """Whether the board has confirmed that it lights the pixel whose number is shown."""
        return self._view is not None and self._view.number is not None and self._view.lit

    def _lights_nothing(self) -> bool:
        """Whether this is a page beside the work: what is lit is not its own, and is not said."""
        return isinstance(self.open_task.task.light(self.open_task.state), AsBelow)

    @property
    def signs_in_picture(self) -> str:
        """What the signs in the picture mean; empty without one."""
        view, map_ = self._view.picture if self._view is not None else None, self.app.map_now()
        if view is None or map_ is None:
            return ""
        return view.legend or legend((kind.value for kind in map_.kinds), plain=self._first_picture.plain_ascii)

    def _show_second(self, view: TaskView) -> None:
        """The other picture, made where there first is one; in the demo it shows what is lit under the glass."""
        wanted = view.second if self.size.width >= TWO_PICTURES else None
        self.set_class(wanted is not None, "two")
        picture = self._second
        if wanted is None:
            if picture is not None:
                picture.remove_class("open")
            return
        if picture is None:
            picture = self._second = PlayfieldPicture("picture-second")
            self.query_one("#middle").mount(picture)
        picture.add_class("open")
        picture.use_plain_ascii(self.app.options.plain_ascii)
        first = self._first_picture
        if picture.from_below != first.from_below:
            picture.flip()
        truth, map_ = self.app.truth, self.app.map_now()
        picture.entitle("Under the glass (demo)" if truth is not None else wanted.title)
        spots = wanted.spots if truth is None else (*self._seen_spots(truth, wanted), *_marks(wanted.spots))
        if map_ is not None:
            picture.show(map_, spots)

    def _seen_spots(self, truth: PlayfieldMap, view: PictureView) -> list[Spot]:
        """What is lit under the glass of the demo."""
        spots = []
        for place_id, word in self.app.seen():
            place = truth.place_by_id.get(place_id)
            if place is not None and place.position is not None:
                spots.append(Spot(place.position, *view.seen_signs.get(word, (LIT_SIGN, "seen"))))
        return spots

    # -- keys and clicks ------------------------------------------------------------------------------------------

    def run_command(self, event: object) -> None:
        """As for every screen; while the mark is out, arrows and Enter are its own."""
        if self._mark is not None:
            match event:
                case ev.Choose(by):
                    self._move_mark(0, 1 if by > 0 else -1)
                    return
                case ev.Take():
                    self._point(self._first_picture.position_of(*self._mark))
                    return
                case ev.GoTowards(across, up):
                    self._move_mark(across, -up)
                    return
                case se.MarkInPicture(across) if across:
                    self._move_mark(across, 0)
                    return
                case ev.Leave() | se.MarkInPicture():
                    self._mark = None
                    self.redraw()
                    return
        match event:
            case se.FlipPicture():
                self._first_picture.flip()
                self.redraw()
            case se.MarkInPicture(across):
                self._take_mark()
                self._move_mark(across, 0)
            case se.NextZoom():
                self._first_picture.next_zoom()
                self._mark = None  # it stood in a cell of another picture
                self.redraw()
            case se.ShowRoute():
                self._route = not self._route
                self.redraw()
            case se.UnderTheGlass():
                self._glass = not self._glass and self.app.truth is not None
                self.redraw()
            case se.ReadOnOr(instead) if self._view is None or not self._view.long:
                self.dispatch(instead)
            case se.ReadOn(by) | se.ReadOnOr(_, by):
                self.query_one("#details-box", VerticalScroll).scroll_relative(y=4 * by, animate=False)
            case _:
                super().run_command(event)

    def run_key(self, key: str) -> bool:
        """As for every screen; while the mark is out, Left and Right move it."""
        if self._mark is not None and key in ("left", "right"):
            self._move_mark(1 if key == "right" else -1, 0)
            return True
        return super().run_key(key)

    def _take_mark(self) -> None:
        view = self._view.picture if self._view is not None else None
        if view is not None and view.start is not None:
            self._mark = self._first_picture.cell_of(view.start)
            self.redraw()

    def _move_mark(self, across: int, down: int) -> None:
        if self._mark is not None:
            self._mark = self._first_picture.beside(self._mark, across, down)
            if self._view is not None:
                self._show_picture(self._view.picture)
            if self._mark is not None:
                at = self._first_picture.position_of(*self._mark)
                words = f"{at.x_mm:.0f}, {at.y_mm:.0f} mm: arrows move the mark, Enter sets it, Esc leaves it"
                self._put_message(Content(words))

    def _point(self, position: Position) -> None:
        marked, self._mark = self._mark is not None, None
        view = self._view.picture if self._view is not None else None
        make = None if view is None else view.put if marked and view.put is not None else view.point
        event = make(position.x_mm, position.y_mm) if make is not None else None
        if event is not None:
            self.dispatch(event)
        self.redraw()

    def dispatch(self, event: object) -> None:
        """As for every screen; what is said from below is known by the picture."""
        if getattr(event, "from_below", None) is False and self._first_picture.from_below:
            event = replace(event, from_below=True)  # type: ignore[type-var]
        super().dispatch(event)

    @property
    def _drag(self) -> Callable[[float, float, float, float], object] | None:
        """What makes the event of something drawn in the picture, where the task takes that."""
        picture = self._view.picture if self._view is not None else None
        return picture.drag if picture is not None else None

    def on_mouse_down(self, event: MouseDown) -> None:
        """What is drawn through the picture begins here."""
        self._pressed = (event.widget, event.x, event.y)

    def on_mouse_up(self, event: MouseUp) -> None:
        """What was drawn from one cell of the picture to another is an event of its own, where a task takes that."""
        drag, (picture, x, y) = self._drag, self._pressed
        if drag is None or picture is not event.widget or (x, y) == (event.x, event.y):
            return
        if isinstance(picture, PlayfieldPicture):
            begun, to = picture.position_of(x, y), picture.position_of(event.x, event.y)
            self._mark = None
            self.dispatch(drag(begun.x_mm, begun.y_mm, to.x_mm, to.y_mm))
            self.redraw()

    def on_click(self, event: Click) -> None:
        """A click in the picture points there."""
        drawn = self._drag is not None and self._pressed != (event.widget, event.x, event.y)
        if isinstance(event.widget, PlayfieldPicture) and not drawn:
            self._point(event.widget.position_of(event.x, event.y))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """A click on an item chooses it, a click on the chosen one takes it."""
        event.stop()
        view = self._view
        if view is None or not view.items:
            return
        if event.option_index == view.chosen:
            self._enter()
        else:
            self.dispatch(ev.Choose(event.option_index - view.chosen))

    @property
    def _first_picture(self) -> PlayfieldPicture:
        """The map's own; a second one may stand beside it."""
        return self.query_one("#picture", PlayfieldPicture)

    @property
    def picture(self) -> PlayfieldPicture | None:
        """The picture, once there is one."""
        try:
            return self._first_picture
        except NoMatches:
            return None


def _marks(spots: tuple[Spot, ...]) -> tuple[Spot, ...]:
    return tuple(spot for spot in spots if spot.look == "mark")


MOST_NAMES = 3
SEEN_ROWS = 2


def under_the_glass(
    truth: PlayfieldMap | None,
    seen: tuple[tuple[str, str], ...],
    at: str | None = None,
    *,
    width: int = 0,
    ordered: bool = False,
) -> Content:
    """What is lit, in `SEEN_ROWS` of `width` cells; empty with a real board. `seen` holds (place id, colour word) pairs.

    `at`: the place of the marked row, if there is one: then what is lit there comes first. Without a `width` nothing is left out
    for want of room. `ordered`: the board says that it lights a pixel, so that nothing to be seen is no contradiction.
    """
    if truth is None:
        return Content("")
    place = truth.place_by_id.get(at) if at is not None else None
    if place is not None:
        colours = " and ".join(word for place_id, word in seen if place_id == at) or "dark"
        others = len({place_id for place_id, _ in seen} - {at})
        rest = f"; {many(others, 'other place')} lit" if others else "; nothing else is lit"
        return plain(f"Under the glass, {place.label}: {colours}{rest}")
    if not seen:
        return Content(
            "Under the glass: dark, though the board lights the pixel" if ordered else "Under the glass: nothing lit"
        )
    names = [(truth.place_by_id[place_id].label if place_id in truth.place_by_id else place_id) for place_id, _ in seen]
    shining = {word for _, word in seen}
    words = (
        names
        if len(shining) == 1 < len(seen)
        else [f"{name} ({word})" for name, (_, word) in zip(names, seen, strict=True)]
    )
    line = ""
    for most in range(MOST_NAMES, -1, -1):
        shown = [*words[:most], *(["…"] if most < len(words) else [])]
        head = f"Under the glass ({len(seen)} lit)" if most < len(seen) else "Under the glass"
        head += f", all {next(iter(shining))}" if words is names else ""
        line = f"{head}: {', '.join(shown)}" if most else head
        if not width or len(wrap(line, width)) <= SEEN_ROWS:
            break
    return plain(line)
