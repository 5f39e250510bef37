"""Revisions on screen: when, why and what; the diff between any two; back to one of them."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Footer, Static

from probe.document.model import PlayfieldMap
from probe.document.revisions import changed_in, verified_count
from probe.mapping.history import NOW, Choose, GoBack, History, Line, Mark, Retry, Travel, pair_words, start, step
from probe.runtime import Activity
from probe.ui.clock import now_text
from probe.ui.keys import bindings
from probe.ui.line_screen import LineScreen, head_line, message_line
from probe.ui.text import cut, plain


class RevisionsScreen(LineScreen):
    """The list of revisions above, what differs below. All it does is show a `History` and pass keys on."""

    KEY_SCOPE: ClassVar[str] = "revisions"
    CSS_PATH: ClassVar[str] = "revisions.tcss"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("revisions"))
    AUTO_FOCUS: ClassVar[str] = ""

    def __init__(self, m: PlayfieldMap, *, plain_ascii: bool = False) -> None:
        super().__init__()
        self._opened = m
        self._plain_ascii = plain_ascii
        self._read: tuple[int, int] | None = None
        self._activity = Activity(start(m), step, self.show)

    def compose(self) -> ComposeResult:
        yield Static(id="revisions-head")
        yield Static(id="revisions-list")
        yield Static(id="revisions-pair")
        with VerticalScroll(id="revisions-box", can_focus=False):
            yield Static(id="revisions-text")
        yield Static(id="revisions-message")
        yield Static(id="revisions-seen")
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        self.app.conductor.begin(self._activity)

    def on_screen_resume(self) -> None:
        if self._lines:
            self.app.conductor.begin(self._activity)

    def on_resize(self) -> None:
        self.call_after_refresh(lambda: self.show(self.state))

    @property
    def state(self) -> History:
        """The state that is shown."""
        return self._activity.state

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self, state: History) -> None:
        """Draw a state."""
        if not self.is_mounted or not self.query("#revisions-seen"):
            return
        title = f" {state.map.machine.name} · revisions"
        self.put("revisions-head", head_line(title, state.board.words, self.size.width))
        self.put("revisions-list", self._list(state), layout=False)
        self.put("revisions-pair", Content(f" {pair_words(state)}").stylize("bold"))
        self.put("revisions-text", Content("\n").join(plain(line) for line in state.told))
        if self._read != state.pair:
            self._read = state.pair
            self.query_one("#revisions-box", VerticalScroll).scroll_home(animate=False)
        self.put("revisions-message", message_line(state.unsaved, state.message))
        self.put("revisions-seen", self._seen(state.map))

    def _list(self, state: History) -> Content:
        area = self.query_one("#revisions-list").size
        rows, width = max(1, area.height or 6), max(20, area.width or 80)
        at = min(state.at, len(state.lines) - 1)
        first = max(0, min(at - rows // 2, len(state.lines) - rows))
        return Content("\n").join(
            plain(cut(self._row(state, line, chosen=index == at), width), "bold reverse" if index == at else "")
            for index, line in enumerate(state.lines[first : first + rows], start=first)
        )

    def _row(self, state: History, line: Line, *, chosen: bool) -> str:
        pointer, flag = ("> ", "* ") if self._plain_ascii else ("▸ ", "◂ ")
        head = pointer if chosen else flag if line.number == state.marked else "  "
        number = {NOW: "now", 0: ""}.get(line.number, str(line.number))
        when = line.time[:16].replace("T", " ")
        words = line.reason + (f" · {line.summary}" if line.summary else "")
        return f"{head}{number:>4}  {when:<16}  {words}"

    def _seen(self, m: PlayfieldMap) -> Content:
        words = []
        for chain in m.chains:
            changed = changed_in(m, chain.id)
            since = f" since revision {changed}" if changed else ""
            words.append(f"{chain.name}: {verified_count(m, chain)} of {len(chain.pixels)} verified{since}")
        return plain(cut(f" {' · '.join(words)}", max(20, self.size.width)))

    # -- keys ---------------------------------------------------------------------------------------------------

    def action_choose(self, by: int) -> None:
        """Another line."""
        self.app.conductor.take(Choose(by))

    def action_mark(self) -> None:
        """Compare with this one, or no longer."""
        self.app.conductor.take(Mark())

    def action_go_back(self) -> None:
        """Back to the chosen revision."""
        self.app.conductor.take(GoBack(now_text()))

    def action_undo(self) -> None:
        """Undo the last revision that holds."""
        self.app.conductor.take(Travel(now_text()))

    def action_redo(self) -> None:
        """Do the last undone revision again."""
        self.app.conductor.take(Travel(now_text(), redo=True))

    def action_retry(self) -> None:
        """Save again."""
        self.app.conductor.take(Retry())

    def action_read(self, by: int) -> None:
        """Scroll the diff."""
        box = self.query_one("#revisions-box", VerticalScroll)
        box.scroll_relative(y=by * max(1, box.size.height - 1), animate=False)

    async def action_leave(self) -> None:
        """Back to the walk, on the map as it is now."""
        await self.saved()
        m, walk = self.state.map, self.app.walk_screen
        if walk is not None and m is not self._opened:
            chain = walk.walk.chain if walk.walk.chain in m.chain_by_id else m.chains[0].id if m.chains else ""
            if chain:
                walk.take_over(m, chain)
        self.app.pop_old()
