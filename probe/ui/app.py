"""The full-screen program: owns the conductor and the link, opens screens, says the keys."""

from __future__ import annotations

import asyncio
import logging
import sys
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from typing import Any, ClassVar

from textual.app import App, SystemCommand
from textual.binding import BindingType
from textual.driver import Driver
from textual.screen import Screen

from probe.cautions import Moment
from probe.document.document import Document, now_text, rescue_folders
from probe.document.file.errors import StorageError
from probe.document.file.trouble import log_trouble
from probe.document.model import PlayfieldMap
from probe.link import BoardLink
from probe.mapping.keys import GoTo
from probe.mapping.walk_state import start
from probe.runtime import Conductor
from probe.runtime.ending import Ending, Endings, EndingWork, Reason
from probe.ui.ascii_only import AsciiOnly
from probe.ui.faults import FaultScreen
from probe.ui.help import HelpScreen, other_keys
from probe.ui.keys import TABLE, bindings, keys_of, typing_key
from probe.ui.plan import Plan, Seen
from probe.ui.practice import fault_screen
from probe.ui.setting import SettingScreen
from probe.ui.start import PortChoice, PortScreen, StartScreen
from probe.ui.table import TableScreen
from probe.ui.themes import OURS
from probe.ui.walk import WalkScreen

log = logging.getLogger(__name__)


def _driver_class() -> type[Driver] | None:
    if sys.platform == "win32":
        return None
    from probe.ui.terminal import TerminalDriver

    return TerminalDriver


class ProbeApp(App[str]):
    """The program. What is said in the shell afterwards is in `endings.ended`."""

    TITLE = "playfield-probe"
    CSS_PATH: ClassVar[str] = "app.tcss"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("app"))
    ENABLE_COMMAND_PALETTE = True

    def __init__(self, plan: Plan) -> None:
        super().__init__(driver_class=_driver_class())
        self.plan = plan
        self.conductor = Conductor(store=plan.store, bell=self._ring, on_fault=self._handle_exception)
        self.link: BoardLink | None = None
        self.walk_screen: WalkScreen | None = None
        self.cautions_read: set[Moment] = set()
        work = EndingWork(
            darken=self._drop_link, save=self._save, document=self._unsaved_document, folders=rescue_folders()
        )
        self.endings = Endings(work, on_ended=lambda ended: self.exit())

    @property
    def truth(self) -> PlayfieldMap | None:
        """Where the simulated playfield's places are; None with a real board."""
        return self.plan.truth

    def on_load(self) -> None:
        self.endings.ready()

    @property
    def is_ending(self) -> bool:
        """Whether it was asked to end, by whatever."""
        return self.endings.is_asked

    def terminal_gone(self) -> None:
        """The terminal takes and gives nothing any more."""
        self.endings.request(Ending(Reason.TERMINAL_GONE))

    def on_mount(self) -> None:
        for theme in OURS:
            self.register_theme(theme)
        self.theme = self.plan.theme
        if self.plan.plain_ascii:
            self._filters.append(AsciiOnly())
        asyncio.get_running_loop().set_exception_handler(self._trouble_beside)
        self._begin(self.plan)

    def _handle_exception(self, error: Exception) -> None:
        """A fault of this program: instead of a traceback over the screen, a log and a sentence.

        What is queued is still saved while the program leaves.
        """
        if self._exception is None:
            self._exception = error  # Textual's pilot raises it again, so that no test passes over a fault
            self._exception_event.set()
        self.endings.request(Ending(Reason.FAULT, error=error))
        self._close_messages_no_wait()

    def _trouble_beside(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """A fault in a task that nobody waits for: written down and told; the program goes on."""
        error = context.get("exception")
        if not isinstance(error, Exception):
            log.error("loop: %s", context.get("message"))
            return
        where = log_trouble(error)
        if self.is_running:
            self.notify(f"a fault of this program; details are in {where}", severity="error", markup=False)

    def _begin(self, plan: Plan) -> None:
        """Show what a plan opens: the start screen, the choice of a port, the set-up, or the walk."""
        self.plan = plan
        self.conductor.store = plan.store
        rows = [row for row in TABLE if row.id in plan.changed_keys]
        self.set_keymap({r.id: ",".join(k for k in keys_of(r, plan.changed_keys) if not typing_key(k)) for r in rows})
        if plan.start_here:
            self.push_screen(StartScreen(plan.opener.recent()))
        elif plan.make_link is None and not plan.paper:
            self.action_port()
        else:
            self._go_on()

    def _go_on(self) -> None:
        if self.plan.make_link is not None:
            self.link = self.plan.make_link(self.conductor.link_event)
            self.conductor.board = self.link
            self.link.start()
        if self.plan.map is not None and self.plan.faults_on:
            self.open_faults(self.plan.map, self.plan.faults_on)
        elif self.plan.map is not None and self.plan.map.chains:
            self.open_walk(self.plan.map)
            if self.plan.recheck_on:
                self.call_after_refresh(self.open_recheck, self.plan.recheck_on, self.plan.recheck_said)
        else:
            self._swap_screen(SettingScreen(self.plan.map, self.plan.lamps, paper=self.plan.paper))

    def action_port(self) -> None:
        """Pick a port."""
        self.push_screen(PortScreen(self.plan.opener.ports()), self._port_picked)

    async def _port_picked(self, choice: PortChoice | None) -> None:
        if choice is None:
            if self.walk_screen is None and not isinstance(self.screen, StartScreen):
                self.exit("")
            return
        await self._drop_link()
        self.plan.make_link = self.plan.opener.link_to(choice, self.plan)
        self.plan.paper = self.plan.make_link is None
        if self.walk_screen is None:
            self._go_on()
        elif self.plan.make_link is not None:
            self.link = self.plan.make_link(self.conductor.link_event)
            self.conductor.board = self.link
            self.link.start()

    def open_file(self, path: str) -> None:
        """Open a map from the start screen."""
        self._open(lambda: self.plan.opener.open_file(path))

    def open_demo(self) -> None:
        """Open the demo from the start screen."""
        self._open(self.plan.opener.open_demo)

    def _open(self, how: Callable[[], Plan]) -> None:
        try:
            plan = how()
        except (StorageError, OSError) as exc:
            if isinstance(self.screen, StartScreen):
                self.screen.complain(str(exc))
            return
        self._begin(plan)

    def _ring(self) -> None:
        if self.plan.bell:
            self.bell()

    def seen(self) -> Seen:
        """What the simulated playfield shows now; empty with a real board."""
        return self.plan.eyes() if self.plan.eyes is not None else ()

    def open_walk(self, m: PlayfieldMap) -> None:
        """Walk this map."""
        walk = start(m, paper=self.plan.paper, steady_only=self.plan.steady_only, level=self.plan.level)
        walk = replace(walk, message=self.plan.welcome)
        self.walk_screen = WalkScreen(walk, dict(self.plan.changed_keys), plain_ascii=self.plan.plain_ascii)
        self._swap_screen(self.walk_screen)

    def _swap_screen(self, screen: Screen[None]) -> None:
        if isinstance(self.screen, (StartScreen, SettingScreen, FaultScreen)):
            self.switch_screen(screen)
        else:
            self.push_screen(screen)

    def open_table(self) -> None:
        """Show the map of the walk as a table."""
        if self.walk_screen is not None:
            self.push_screen(TableScreen(self.walk_screen.walk))

    def open_faults(self, m: PlayfieldMap, chain: str) -> None:
        """Search for a fault on a chain; in a practice round, for the planted one."""
        self._swap_screen(fault_screen(self.plan, m, chain))

    def close_faults(self, m: PlayfieldMap) -> None:
        """Back from the fault finder; the walk goes on with its map."""
        if self.walk_screen is not None:
            self.walk_screen.use_map(m)
        self.action_leave()

    def open_follow_up(self, m: PlayfieldMap, chain: str) -> None:
        """What follows a repair: a recheck of the chain, which also finds shifted numbers."""
        if self.walk_screen is None:
            self.plan.map = m
            self.open_walk(m)
        else:
            self.walk_screen.use_map(m)
            self.pop_screen()
        self.call_after_refresh(self.open_recheck, chain)

    def open_power(self) -> None:
        """Show the power plan of the walk's map."""
        self._open_planning("power")

    def open_harness(self) -> None:
        """Show the harness sheet of the walk's map, at the walk's pixel."""
        self._open_planning("harness")

    def open_recheck(self, chain: str = "", said: tuple[str, ...] = ()) -> None:
        """Recheck a chain, the walk's if none is named; the walk's session becomes a revision first."""
        from probe.recheck.step import start as start_recheck
        from probe.ui.recheck import RecheckScreen

        if self.walk_screen is None:
            return
        self.walk_screen.close_session()
        walk = self.walk_screen.walk
        state = start_recheck(walk.map, chain or walk.chain, said=said)
        self.push_screen(RecheckScreen(state, dict(self.plan.changed_keys), plain_ascii=self.plan.plain_ascii))

    def close_recheck(self, m: PlayfieldMap, chain: str) -> None:
        """Back to the walk, on the map that the recheck made."""
        if self.walk_screen is not None:
            self.walk_screen.take_over(m, chain)
        self.pop_screen()

    def open_find(self) -> None:
        """Find the number at a place."""
        from probe.recheck.finding import start as start_find
        from probe.ui.find import FindScreen

        if self.walk_screen is not None:
            walk = self.walk_screen.walk
            self.push_screen(FindScreen(start_find(walk.map, walk.chain), plain_ascii=self.plan.plain_ascii))

    def close_find(self, chain: str, number: int) -> None:
        """Back to the walk, at the number that was found."""
        if self.walk_screen is not None:
            self.walk_screen.walk_to(chain, number)
        self.pop_screen()

    def _open_planning(self, which: str) -> None:
        from probe.ui.bench import Bench  # with what it reckons with, a third of the time to the first picture

        walk = self.walk_screen.walk if self.walk_screen is not None else None
        if walk is not None and self.walk_screen is not None:
            Bench(self, walk.map, walk.chain, walk.number, self.walk_screen.use_map).open(which)

    def walk_map(self) -> PlayfieldMap | None:
        """The map of the walk."""
        return self.walk_screen.walk.map if self.walk_screen is not None else None

    def open_game(self, which: str) -> None:
        """Show the lamp list, the board's table, the game's lamps or the proof; one of the last three at a time."""
        from probe.ui.game_board import BoardTableScreen
        from probe.ui.game_lamps import LampsScreen
        from probe.ui.game_prove import ProveScreen
        from probe.ui.game_watch import WatchScreen

        if self.walk_screen is None:
            return
        m, keep, ascii_only = self.walk_screen.walk.map, self.walk_screen.use_map, self.plan.plain_ascii
        screen: Screen[None]
        match which:
            case "board":
                screen = BoardTableScreen(m, keep)
            case "watch":
                screen = WatchScreen(m, keep, plain_ascii=ascii_only)
            case "prove":
                screen = ProveScreen(m, keep, plain_ascii=ascii_only)
            case _:
                screen = LampsScreen(m, keep)
        if isinstance(self.screen, (BoardTableScreen, WatchScreen, ProveScreen)):
            self.switch_screen(screen)
        else:
            self.push_screen(screen)

    def open_picture(self) -> None:
        """Show the picture of the walk's map, with the walk's place chosen."""
        from probe.ui.light import LightScreen

        if self.walk_screen is None:
            return
        walk, keep = self.walk_screen.walk, self.walk_screen.use_map
        place = walk.place.id if walk.place is not None else None
        plan = self.plan
        look = {"steady_only": plan.steady_only, "plain_ascii": plan.plain_ascii}
        self.push_screen(LightScreen(walk.map, place, keep, **look))

    def action_save_picture(self) -> None:
        """Save what the screen shows, as SVG, beside the map."""
        from probe.ui.saved_picture import save_screen

        try:
            where = save_screen(self, beside=self.plan.path)
        except (StorageError, OSError) as exc:
            self.notify(f"not saved: {exc}", severity="error", markup=False)
        else:
            self.notify(f"saved: {where}", markup=False)

    def light(self, chain: str, number: int) -> None:
        """Light a pixel of the walk's map (the walk moves there)."""
        self.conductor.take(GoTo(number, chain))

    def action_help(self) -> None:
        """Say the keys of this screen, and the cautions."""
        if isinstance(self.screen, HelpScreen):
            self.screen.action_close()
            return
        scope = self._scope(self.screen) or "app"
        others = other_keys(self.screen) if scope == "app" else []
        self.push_screen(HelpScreen(scope, dict(self.plan.changed_keys), others))

    @staticmethod
    def _scope(screen: Screen[Any]) -> str:
        """The scope of a screen's keys; empty if it has none of its own."""
        own: str = getattr(screen, "KEY_SCOPE", "")
        return own

    def action_leave(self) -> None:
        """Back to the screen before; from the last one, out of the program."""
        if len(self.screen_stack) > 2:
            self.pop_screen()
        else:
            self.notify("Ctrl+Q leaves the program. Everything is saved.", markup=False)

    async def action_quit(self) -> None:
        """Make the board dark, save, and leave."""
        self.endings.request(Ending(Reason.LEFT))

    async def _drop_link(self) -> None:
        link, self.link = self.link, None
        self.conductor.board = None
        if link is not None:
            await link.close()

    async def _save(self) -> None:
        if self.walk_screen is not None and self.conductor.running:
            self.walk_screen.close_session()
        await self.conductor.save_unsaved()

    def _unsaved_document(self) -> Document | None:
        if self.conductor.unsaved is None:
            return None
        document = Document(self.plan.map, self.plan.path, None, None, now_text)
        document.commit(self.conductor.unsaved)
        return document

    async def on_unmount(self) -> None:
        await self.endings.finish()

    def use_theme(self, name: str) -> None:
        """Change the colours of the screen; remembered for the next time."""
        self.theme = name
        self.plan.remember_theme(name)

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Every action of this screen, and the themes, for the command palette."""
        for theme in OURS:
            yield SystemCommand(f"Theme: {theme.name}", "colours of the screen", partial(self.use_theme, theme.name))
        scope = self._scope(screen)
        for row in TABLE:
            if row.scope in (scope, "app"):
                target = screen if row.scope == scope and scope else self

                async def act(row_action: str = row.action, where: Screen[object] | App[str] = target) -> None:
                    await where.run_action(row_action)

                keys = ", ".join(keys_of(row, self.plan.changed_keys))
                yield SystemCommand(row.words, f"key: {keys}", act)
