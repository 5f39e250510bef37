"""The full-screen program: one document, the runtime with its stack of tasks, a screen for each, and the link to a board."""

from __future__ import annotations

import asyncio
import gc
import logging
import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from importlib import import_module
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import App, SystemCommand
from textual.binding import BindingType
from textual.command import CommandPalette
from textual.driver import Driver
from textual.filter import LineFilter
from textual.screen import Screen
from textual.scrollbar import ScrollBar, ScrollBarRender
from textual.worker import Worker

from probe.document.document import Document, now_text, rescue_folders
from probe.document.file.errors import StorageError
from probe.document.file.trouble import log_trouble
from probe.document.model import PlayfieldMap
from probe.document.plural import many
from probe.document.settings import Signs, level_of, settings_path
from probe.link.daemon_thread import run_in_daemon
from probe.mapping.walk import WalkFacts
from probe.mapping.walk_keys import GoTo
from probe.mapping.walk_state import Walk
from probe.runtime.ending import HEAD_START_S, SAVE_S, Ending, Endings, EndingWork, Reason, save_hangs
from probe.runtime.runtime import SHOWN_AFTER_S, Maker, OpenTask, Runtime, Work
from probe.task import events as ev
from probe.task import screen as se
from probe.task.command import Command, Means, MenuGroup
from probe.task.task import AnyTask, Opened, TaskState
from probe.task.views import FormView, RowsView, TaskView
from probe.ui.ascii_only import AsciiOnly, BlocksOnly, WholeCells
from probe.ui.command_screen import CommandScreen
from probe.ui.keys import HOME, IN_THE_SHELL, OF_PROGRAM, key_name, keys_of, keys_words, program_bindings, while_empty
from probe.ui.launch import LaunchOptions, Opener, Seen, Session
from probe.ui.start import HomeScreen, PortChoice, PortScreen
from probe.ui.task_screen import TaskScreen
from probe.ui.text import HARMLESS
from probe.ui.themes import FACE_DEFAULTS, OURS
from probe.ui.waiting import work_words

if TYPE_CHECKING:
    from probe.cautions import Moment
    from probe.document.needs import Need
    from probe.link import BoardLink, LinkEvent
    from probe.ui.menu import Choice

log = logging.getLogger(__name__)


def _driver_class() -> type[Driver] | None:
    if sys.platform == "win32":
        return None
    from probe.ui.terminal import TerminalDriver

    return TerminalDriver


MAKERS: Mapping[str, str] = {
    "walk": "probe.mapping.walk:make",
    "setup": "probe.mapping.new_map:make",
    "table": "probe.mapping.table:make",
    "revisions": "probe.mapping.history:make",
    "recheck": "probe.recheck.task:make",
    "find": "probe.recheck.find:make",
    "faults": "probe.faults.search:make",
    "picture": "probe.lighting.picture:make",
    "shapes": "probe.lighting.shapes:make",
    "evenness": "probe.lighting.even_walk:make",
    "lamps": "probe.game.lamps:make",
    "lamp": "probe.game.lamp_form:make",
    "board": "probe.game.sync:make",
    "watch": "probe.game.watch:make",
    "prove": "probe.game.prove:make",
    "pick": "probe.game.pick:make",
    "plan": "probe.planning.task:make",
    "power": "probe.harness.planning:make_power",
    "power_up": "probe.harness.planning:make_power_up",
    "harness": "probe.harness.planning:make_harness",
    "joint": "probe.harness.planning:make_joint",
    "batch": "probe.harness.planning:make_batch",
    "bench": "probe.harness.bench:make",
    "worklist": "probe.evenings.worklist:make",
    "log": "probe.evenings.log:make",
    "restore": "probe.evenings.restore:make",
    "settings": "probe.program.settings:make",
    "guide": "probe.program.guide:make",
}
"""What makes each task, as module and function: imported when it is first opened, because some bring much with them."""


AT_HOME = ("settings", "guide")
"""Tasks that need no map: they may lie over home."""


def maker_of(name: str) -> Maker:
    """The maker of a task, which imports it when it is called."""
    module, _, function = MAKERS[name].partition(":")

    def make(opened: Opened) -> tuple[AnyTask, TaskState]:
        made: tuple[AnyTask, TaskState] = getattr(import_module(module), function)(opened)
        return made

    return make


class ProbeApp(App[str]):
    """The program. What is said in the shell afterwards is in `endings.ended`."""

    TITLE = "playfield-probe"
    # read at once: rules that come with a screen make Textual read all of them anew
    CSS_PATH: ClassVar[list[str | PurePath]] = ["app.tcss", "task_screen.tcss"]
    BINDINGS: ClassVar[list[BindingType]] = list(program_bindings())
    ENABLE_COMMAND_PALETTE = True

    def __init__(self, options: LaunchOptions, session: Session, opener: Opener) -> None:
        super().__init__(driver_class=_driver_class())
        for theme in OURS:
            self.register_theme(theme)
        # before any rule is read: other colours make Textual read all of them anew
        self.set_reactive(App.theme, options.theme)
        self.stylesheet.set_variables(self.get_css_variables())
        self.options = options
        self.session = session
        self.opener = opener
        self.link: BoardLink | None = None
        self._need: Need | None = None
        self._opening: Worker[None] | None = None
        self.then: tuple[str, ...] = ()
        """Whether a practice round was left for another one."""
        self.cautions_read: set[Moment] = set()
        self._shown: list[tuple[OpenTask, Screen[Any]]] = []
        self._restacking = False
        self._link_due = False
        self._leaving = False
        self._asking = False
        self.runtime = self._runtime(session.document)
        work = EndingWork(
            darken=self._darken, save=self._save, document=lambda: self.runtime.document, folders=rescue_folders()
        )
        self.endings = Endings(work, on_ended=lambda ended: self.exit())

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Colours of the picture's roles in themes that do not name them."""
        return dict(FACE_DEFAULTS)

    def on_load(self) -> None:
        self.endings.ready()

    @property
    def is_ending(self) -> bool:
        """Whether it was asked to end, by whatever."""
        return self.endings.is_asked

    def terminal_gone(self) -> None:
        """The terminal takes and gives nothing any more."""
        self.endings.request(Ending(Reason.TERMINAL_GONE))

    def _runtime(self, document: Document) -> Runtime:
        return Runtime(
            document,
            {name: maker_of(name) for name in MAKERS},
            options=self._task_options,
            bell=self._ring,
            notify=lambda words: self.notify(words, markup=False),
            on_change=self._changed,
            on_bottom=self._bottom,
            on_not_saved=self._not_saved,
            on_setting=self.change_setting,
            on_game=self._play_game,
            on_screen=self.screen_event,
            on_table=self._note_table,
            on_fault=self._handle_exception,
        )

    def _task_options(self) -> Mapping[str, object]:
        options = self.options
        return {
            "steady_only": options.steady_only,
            "paper": self.session.paper,
            "level": options.level,
            "plain_ascii": options.plain_ascii,
            "settings": self._settings_now(),
            "simulated_game": self.session.game is not None,
            "now": now_text(),
        }

    # -- what screens may read ------------------------------------------------------------------------------------

    @property
    def document(self) -> Document:
        """The one open map."""
        return self.runtime.document

    @property
    def truth(self) -> PlayfieldMap | None:
        """Where the simulated playfield's places are; None with a real board."""
        return self.session.truth

    def seen(self) -> Seen:
        """What the simulated playfield shows now; empty with a real board."""
        return self.session.eyes() if self.session.eyes is not None else ()

    def map_now(self) -> PlayfieldMap | None:
        """The map as it is now, if there is one."""
        return self.document.map if self.document.has_map else None

    @property
    def walk(self) -> Walk | None:
        """The walk under the screens on top, as it is now; None before there is one."""
        layers = self.runtime.layers
        if not layers or layers[0].name != "walk":
            return None
        walk: Walk = self.runtime.seen(layers[0])
        return walk

    # -- beginning ------------------------------------------------------------------------------------------------

    def on_mount(self) -> None:
        self._filter_signs()
        asyncio.get_running_loop().set_exception_handler(self._trouble_beside)
        changed = self.options.changed_keys
        rows = [row for row in OF_PROGRAM if row.id in changed]
        self.set_keymap({r.id: ",".join(k for k in keys_of(r, changed) if not while_empty(k)) for r in rows})
        if self.options.ask_signs:
            from probe.ui.signs import SignsScreen

            self.push_screen(SignsScreen(), self._signs_chosen)
        else:
            self._start()

    def on_ready(self) -> None:
        """The first picture stands: from here on a long look for garbage would be felt."""
        gc.set_threshold(50_000)

    def _signs_chosen(self, signs: Signs | None) -> None:
        """The question of the first run is answered, or put off to the next."""
        if signs is not None:
            self.change_setting("signs", signs)
        self._start()

    def _start(self) -> None:
        if self.options.start_here:
            self.runtime.start()
            recent = self.opener.recent()
            last = self.opener.look(recent[0]) if recent else None
            self.push_screen(HomeScreen(recent, last, self.opener.table_seen(recent[0]) if recent else None))
        else:
            self._begin(self.session)

    def _begin(self, session: Session) -> None:
        """Show what a session opens: the choice of a port, the set-up, or the walk."""
        if session.document is not self.document:
            self.runtime = self._runtime(session.document)
        self.session = session
        self.runtime.start()
        if session.make_link is None and not session.paper:
            self._pick_port()
        else:
            self._go_on()

    def _go_on(self) -> None:
        self._link_due = True
        map_, options = self.map_now(), self.options
        walk = WalkFacts(f"{options.welcome} {self.session.welcome}".strip(), self.session.begin_at)
        if map_ is not None and options.faults_on:
            from probe.ui.practice import fault_facts

            self.runtime.open("faults", fault_facts(options))
        elif map_ is not None and map_.chains:
            self.runtime.open("walk", walk)
            if options.recheck_on:
                self.runtime.open("recheck", (options.recheck_on, options.recheck_said))
            if self._need is not None:
                self._see_to(self._need)
        else:
            from probe.mapping.new_map import SetupFacts

            self.runtime.open("setup", SetupFacts(options.lamps, walk, replace(walk, paper=True)))

    def _see_to(self, need: Need) -> None:
        """From the walk to what was chosen at home."""
        self._need = None
        if need.chain is not None:
            number = need.number if need.number is not None else 0
            self.runtime.dispatch(GoTo(number, need.chain))
        if need.task not in ("", "walk"):
            self.runtime.dispatch(ev.GoOpen(need.task))

    def _attach_if_due(self) -> None:
        """The first picture needs no board, and what a link is made of takes long to load."""
        if self._link_due and not self.is_ending:
            self._attach_link()

    def _attach_link(self) -> None:
        self._link_due = False
        if self.session.make_link is not None:
            self.link = self.session.make_link(self._link_event)
            self.runtime.attach(self.link)
            self.link.start()

    def _link_event(self, event: LinkEvent) -> None:
        self.runtime.link_event(event)
        answered = self.session.on_answer
        if answered is not None and self.runtime.board.here:
            self.session = replace(self.session, on_answer=None)
            answered()

    # -- the stack of tasks as screens ------------------------------------------------------------------------------

    def _changed(self) -> None:
        """Something may have to be drawn again, or another task is on top."""
        top = self.runtime.top
        if not self._restacking and self._shown and self._shown[-1][0] is top and not self._stale_screen():
            screen = self._shown[-1][1]
            if isinstance(screen, CommandScreen):
                screen.redraw()
        elif top is not None:
            self.call_next(self._restack)

    def _stale_screen(self) -> bool:
        return len(self._shown) != len(self.runtime.layers)

    async def _restack(self) -> None:
        """Bring the screens into line with the stack of tasks."""
        if self._restacking:
            return
        self._restacking = True
        try:
            while True:
                layers = self.runtime.layers
                same = 0
                while same < min(len(layers), len(self._shown)) and self._shown[same][0] is layers[same]:
                    same += 1
                if same == len(layers) == len(self._shown):
                    break
                while len(self._shown) > same:
                    _, screen = self._shown.pop()
                    while screen in self.screen_stack:
                        await self.pop_screen()
                for layer in layers[same:]:
                    await self._push(layer)
        finally:
            self._restacking = False
        top = self._shown[-1][1] if self._shown else None
        if isinstance(top, CommandScreen):
            top.redraw()  # what changed meanwhile was not drawn
        if self._link_due:
            self.screen.call_after_refresh(self._attach_if_due)

    async def _push(self, layer: OpenTask) -> None:
        if layer.task.read_first is not None and layer.task.read_first not in self.cautions_read:
            screen = self._cautions_first(layer, layer.task.read_first)
        else:
            screen = self._new_screen(layer)
        self._shown.append((layer, screen))
        if isinstance(self.screen, HomeScreen) and layer.name not in AT_HOME:
            await self.switch_screen(screen)
        else:
            await self.push_screen(screen)
        if layer.name == "walk" and self.options.tour:
            self.action_tour()

    def _cautions_first(self, layer: OpenTask, moment: Moment) -> Screen[Any]:
        """Stands in the place of a task's screen until they are read."""
        from probe.ui.help import CautionScreen

        def read(yes: bool) -> None:
            if yes:
                self.cautions_read.add(moment)
                self.show_instead(self._new_screen(layer))
            else:
                self.runtime.dispatch(ev.Declined(), layer)

        return CautionScreen(moment, read)

    def _new_screen(self, layer: OpenTask) -> Screen[Any]:
        view = layer.task.view(self.runtime.seen(layer))
        match view:
            case RowsView():
                from probe.ui.rows_screen import RowsScreen

                return RowsScreen(layer, self.options.changed_keys)
            case FormView():
                from probe.ui.form_screen import FormScreen

                return FormScreen(layer, self.options.changed_keys)
            case TaskView():
                return TaskScreen(layer, self.options.changed_keys)
            case _:
                raise TypeError(f"no screen shows {type(view).__name__}")

    def _bottom(self, result: object) -> None:
        """Esc on the walk: what next? Below every other task lies home. A practice round that is over is left."""
        if self.runtime.layers[0].name in AT_HOME:
            self.runtime.close_last()
            self.call_next(self._restack)
        elif self.options.practice is not None and result in ("again", "leave"):
            self.then = self._another_round() if result == "again" else ()
            self.call_next(self.action_quit)
        elif self.runtime.layers[0].name == "walk":
            # Esc held down is asked for again before the menu is there
            if self._shown and self.screen is self._shown[-1][1]:
                self.open_menu(MenuGroup.MAP)
        else:
            self.screen_event(se.GoOn((HOME,)))

    # -- the menu -------------------------------------------------------------------------------------------------------

    def open_menu(self, group: MenuGroup = MenuGroup.HERE) -> None:
        """Everything there is to do; asked for in the menu, it is closed."""
        from probe.ui.menu import MenuScreen

        if isinstance(self.screen, MenuScreen):
            self.screen.dismiss(None)
            return
        below = self.screen if isinstance(self.screen, CommandScreen) else None
        self.push_screen(MenuScreen(below, group), self._chosen)

    def _chosen(self, command: Command | None) -> None:
        """A command from the menu: the screen's own, or the program's."""
        if command is None:
            return
        if command.scope not in ("app", self._scope(self.screen)):
            self.runtime.dispatch(ev.GoOpen(command.scope))
            self.run_worker(self._run_there(command), name="a command of another screen")
        elif isinstance(self.screen, CommandScreen):
            self.screen.run_command(command.event)
        else:
            self.run_event(command.event)

    async def _run_there(self, command: Command) -> None:
        """Once the screen that the command belongs to is on top."""
        await self._restack()
        if isinstance(self.screen, CommandScreen) and self._scope(self.screen) == command.scope:
            self.screen.run_command(command.event)

    def _another_round(self) -> tuple[str, ...]:
        return ("practice", "--words") if self.options.in_words else ("practice",)

    def run_event(self, event: object) -> None:
        """Do what is the program's own, or give the event to the task in hand."""
        if isinstance(event, se.ScreenEvent):
            self.screen_event(event)
        else:
            self.runtime.dispatch(event)

    def action_program(self, name: str) -> None:
        """One of the program's own commands, by its id."""
        command = next(row for row in OF_PROGRAM if row.id == name)
        why = self.why_not(command)
        if why:
            self.notify(f"{command.words}: {why}", markup=False)
        elif command.means is Means.BACK:
            self.action_leave()
        else:
            self.run_event(command.event)

    def why_not(self, command: Command) -> str:
        """Why one of the program's own commands cannot be done now; empty if it can."""
        match ev.GoOpen(command.scope) if command.scope != "app" else command.event:
            case ev.GoOpen(task):
                map_, open_now = self.map_now(), [layer.name for layer in self.runtime.layers]
                if map_ is None or not map_.chains or open_now[:1] == ["setup"]:
                    return "needs a map with a chain"
                if self.options.practice is not None:
                    return "not in a practice round"
                if open_now[-1:] == [task]:
                    return "you are there"
            case se.InTheShell():
                return IN_THE_SHELL[command.id]
            case se.GoOn((then,)) if then == HOME and isinstance(self.screen_stack[-1], HomeScreen):
                return "you are there"
            case se.WriteExport() | se.WriteSheet() if self.map_now() is None:
                return "needs a map"
            case se.TourOn() if self.truth is None:
                return "in the demo: playfield-probe demo --tour"
            case se.TourOver() if not self._tour_is_on():
                return "no tour is on"
        return ""

    def _tour_is_on(self) -> bool:
        from probe.ui.tour import TourLine

        return any(screen.query(TourLine) for screen in self.screen_stack)

    def show_instead(self, screen: Screen[Any]) -> None:
        """Another screen for the layer on top."""
        layer, before = self._shown[-1]
        self._shown[-1] = (layer, screen)
        if self.screen is before:
            self.switch_screen(screen)

    # -- ports and files --------------------------------------------------------------------------------------------

    def action_port(self) -> None:
        """Pick a port."""
        self._pick_port()

    def _pick_port(self) -> None:
        self.push_screen(PortScreen(), self._port_picked)

    async def _port_picked(self, choice: PortChoice | None) -> None:
        started = bool(self.runtime.layers)
        if choice is None:
            if not started and not isinstance(self.screen, HomeScreen):
                self.exit("")
            return
        await self._drop_link()
        self.session = self.opener.with_port(choice, self.session)
        if not started:
            self._go_on()
        else:
            self._attach_link()

    def open_file(self, path: str, need: Need | None = None) -> None:
        """Open a map from home, and what it needs, if that was chosen."""
        self._need = need
        self._open(lambda: self.opener.open_file(path), f"reading {PurePath(path).name}")

    def open_demo(self) -> None:
        """Open the demo from home."""
        self._open(self.opener.open_demo, "making the demo's map")

    def _open(self, how: Callable[[], Session], words: str) -> None:
        """Open off the loop, one at a time: a great file, or one on a slow disk, takes a while."""
        if self._opening is None:
            self._opening = self.run_worker(self._open_soon(how, words), name=words, exit_on_error=False)

    async def _open_soon(self, how: Callable[[], Session], words: str) -> None:
        begun_s = time.monotonic()

        def say() -> None:
            for_s = time.monotonic() - begun_s
            if for_s >= SHOWN_AFTER_S and isinstance(self.screen, HomeScreen):
                self.screen.complain(work_words(Work(words, for_s, can_stop=True)))

        timer = self.set_interval(0.25, say)
        try:
            session = await run_in_daemon(how, undo=lambda session: session.close(), name=words)
        except (StorageError, OSError) as exc:
            if isinstance(self.screen, HomeScreen):
                self.screen.complain(str(exc))
            return
        except Exception as exc:
            self._handle_exception(exc)
            return
        finally:
            timer.stop()
            self._opening = None
        self._begin(session)

    def stop_opening(self) -> bool:
        """Stop what is being opened; whether anything was."""
        if self._opening is None:
            return False
        self._opening.cancel()
        return True

    def _note_table(self, crc: int) -> None:
        """A demo's board is no board of the map."""
        if self.truth is None:
            self.opener.remember_table(self.document.path, crc)

    def _play_game(self, lamp: int | None) -> None:
        if self.session.game is not None:
            self.session.game(lamp)

    def _ring(self) -> None:
        if self.options.bell:
            self.bell()

    # -- the program's own commands -----------------------------------------------------------------------------------

    def screen_event(self, event: se.ScreenEvent) -> None:
        """What a screen does not answer itself."""
        match event:
            case se.TourOn():
                self.action_tour()
            case se.TourOver():
                self.action_end_tour()
            case se.Help():
                self.action_help()
            case se.OpenMenu():
                self.open_menu()
            case se.OpenPalette():
                self.action_command_palette()
            case se.WriteExport():
                from probe.ui.files import FileScreen, export_forms

                self.push_screen(FileScreen("Export: which file?", export_forms()))
            case se.WriteSheet():
                from probe.ui.files import FileScreen, sheet_forms

                self.push_screen(FileScreen("Papers for the cabinet: which one?", sheet_forms()))
            case se.GoOn(then):
                self.then = then
                self.run_worker(self.action_quit(), name="going on with something else")
            case se.OpenGuide():
                self.action_guide()
            case se.OpenSettings():
                self.action_settings()
            case se.Quit():
                self.run_worker(self.action_quit(), name="leaving by command")
            case se.ReadCautions(moment):
                from probe.ui.help import CautionScreen

                self.push_screen(CautionScreen(moment))
            case se.PickPort():
                self.action_port()
            case se.SaveScreen():
                self.action_save_picture()

    def action_tour(self) -> None:
        """Begin the tour, or go on to its next sentence."""
        from probe.ui.tour import TourLine

        lines = self.screen.query(TourLine)
        if lines:
            lines.first().skip()
        elif self.truth is not None:
            self.screen.mount(TourLine())

    def action_end_tour(self) -> None:
        """End the tour."""
        from probe.ui.tour import TourLine

        self.screen.query(TourLine).remove()

    def action_save_picture(self) -> None:
        """Save what the screen shows, as SVG, beside the map."""
        from probe.ui.files import save_screen

        try:
            where = save_screen(self, beside=self.session.path)
        except (StorageError, OSError) as exc:
            self.notify(f"not saved: {exc}", severity="error", markup=False)
        else:
            self.notify(f"saved: {where}", markup=False)

    def action_help(self) -> None:
        """Say the keys of this screen, and the cautions."""
        from probe.ui.help import HelpScreen, other_keys

        if isinstance(self.screen, HelpScreen):
            self.screen.action_close()
            return
        scope = self._scope(self.screen) or "app"
        others = other_keys(self.screen) if scope == "app" else []
        self.push_screen(HelpScreen(scope, dict(self.options.changed_keys), others, self._prose()))

    def _prose(self) -> str:
        """What this screen is for, and what is asked in this state."""
        from probe.ui.help import prose

        screen = self.screen
        if not isinstance(screen, CommandScreen) or screen.open_task not in self.runtime.layers:
            return ""
        signs = screen.signs_in_picture if isinstance(screen, TaskScreen) else ""
        return prose(screen.open_task.name, self.runtime.seen(screen.open_task), screen.current_view(), signs)

    @staticmethod
    def _scope(screen: Screen[Any]) -> str:
        """The scope of a screen's keys; empty if it has none of its own."""
        own: str = getattr(screen, "KEY_SCOPE", "")
        return own

    def action_leave(self) -> None:
        """Back to the screen before; from the last one, out of the program."""
        if self._shown and self.screen is self._shown[-1][1] and len(self.runtime.layers) > 1:
            self.runtime.dispatch(ev.Leave())
        elif len(self.screen_stack) > 2 and not (self._shown and self.screen is self._shown[-1][1]):
            self.pop_screen()
        else:
            self.clear_notifications()  # said once, however often it is asked
            self.notify("Ctrl+Q leaves the program; all is saved first.", markup=False)

    # -- settings and guide -------------------------------------------------------------------------------------------

    def action_settings(self) -> None:
        """Change what can be set."""
        self.open_beside("settings")

    def action_guide(self) -> None:
        """Read the guide."""
        self.open_beside("guide")

    def open_beside(self, task: str, facts: object = None) -> None:
        """Open a task about the program itself, once."""
        if all(layer.name != task for layer in self.runtime.layers):
            self.runtime.open(task, facts)

    def _settings_now(self) -> Mapping[str, object]:
        """The values that the settings have now, by name; beside them where the file is, and how many keys it changes."""
        options, changed = self.options, self.options.changed_keys
        return {
            **{name: getattr(options, name) for name in ("signs", "steady_only", "bell", "brightness_percent")},
            "theme": self.theme,
            "file": str(settings_path()),
            "keys": many(len(changed), "key") if changed else "",
        }

    def change_setting(self, name: str, value: object) -> None:
        """Put a setting into effect, and remember it. Where it cannot be kept, it holds until the program is left."""
        match name, value:
            case "theme", str():
                self.theme = value
            case "brightness_percent", int():
                self.options = replace(self.options, level=level_of(value))
            case _:
                self.options = replace(self.options, **{name: value})  # type: ignore[arg-type]
        if name == "signs":
            self._filter_signs()
        try:
            self.opener.remember_setting(name, value)
        except (StorageError, OSError) as exc:
            self.notify(f"holds until you leave, but could not be kept: {exc}", severity="warning", markup=False)

    def get_line_filters(self) -> Sequence[LineFilter]:
        """As `App.get_line_filters`; nothing that steers the terminal passes."""
        return [*super().get_line_filters(), HARMLESS]

    def _filter_signs(self) -> None:
        """What is drawn passes through signs that the terminal's font has."""
        self._filters = [each for each in self._filters if not isinstance(each, (AsciiOnly, BlocksOnly))]
        match self.options.signs:
            case "ascii":
                self._filters.append(AsciiOnly())
            case "blocks":
                self._filters.append(BlocksOnly())
        ScrollBar.renderer = WholeCells if self.options.signs == "ascii" else ScrollBarRender
        self.refresh(layout=True)
        for screen in self.screen_stack:
            screen.refresh(layout=True)
            if isinstance(screen, CommandScreen):
                screen.redraw()

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """All that the menu holds, and the themes, for the command palette."""
        from probe.ui.menu import menu_choices

        for theme in OURS:
            yield SystemCommand(
                f"Theme: {theme.name}", "colours of the screen", partial(self.change_setting, "theme", theme.name)
            )
        below = screen if isinstance(screen, CommandScreen) else None
        for group in MenuGroup:
            for choice in menu_choices(self, below, group):
                row = choice.command
                keys = keys_words(row, self.options.changed_keys)
                place = f"{key_name('f10')}, {group.value}"
                yield SystemCommand(row.words, choice.why_not or keys or place, partial(self._chosen_here, choice))

    def _chosen_here(self, choice: Choice) -> None:
        """A command from the palette."""
        if choice.why_not:
            self.notify(f"{choice.command.words}: {choice.why_not}", markup=False)
        else:
            self._chosen(choice.command)

    def action_command_palette(self) -> None:
        """Find a command by its name; once, also where another screen lies over the palette."""
        if not any(isinstance(screen, CommandPalette) for screen in self.screen_stack):
            super().action_command_palette()

    async def settled(self) -> None:
        """Wait until nothing is left to do."""
        await self.runtime.settled()

    # -- the end --------------------------------------------------------------------------------------------------------

    async def action_quit(self) -> None:
        """Make the board dark, save, and leave. What cannot be saved is asked about; asked twice, it leaves with a rescue copy."""
        if self._leaving or not self.runtime.layers:
            self.endings.request(Ending(Reason.LEFT))
        else:
            self._leaving = True
            self.run_worker(self._leave(), name="leaving")

    async def _leave(self) -> None:
        """To the end if all is saved by then, or the disk hangs; where saving fails the person is asked."""
        await self.runtime.prepare_to_leave(HEAD_START_S)
        if await self.runtime.saved_within(SAVE_S) is False and not await self._ask_unsaved(leaving=True):
            self._leaving = False
            self.then = ()
            self.runtime.stay()
            return
        self.endings.request(Ending(Reason.LEFT))

    def _not_saved(self) -> None:
        """Saving was tried again and failed again."""
        if not self._leaving and not self._asking:
            self.run_worker(self._ask_unsaved(), name="asking how to save")

    async def _ask_unsaved(self, *, leaving: bool = False) -> bool:
        """Ask how to go on; whether there is nothing left to ask: saved, or left with a rescue copy."""
        from probe.ui.unsaved import UnsavedScreen

        if isinstance(self.screen, UnsavedScreen):
            self.screen.dismiss(False)
        self._asking = True
        try:
            before = self.document.path
            done = await self.push_screen_wait(UnsavedScreen(self.runtime, leaving=leaving))
            if self.document.path != before:
                self.opener.remember_map(self.document.path)
            return done
        finally:
            self._asking = False

    async def _drop_link(self) -> None:
        link, self.link, self._link_due = self.link, None, False
        self.runtime.attach(None)
        if link is not None:
            await link.close()

    async def _darken(self) -> None:
        await self.runtime.darken()
        await self._drop_link()

    async def _save(self) -> None:
        await self.runtime.save()

    async def on_unmount(self) -> None:
        await self.endings.finish()
        if not save_hangs():  # else the file is kept to itself until the process is gone
            self.session.close()

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
        """A fault in a task that nobody waits for: written down and shown; the program goes on."""
        error = context.get("exception")
        if not isinstance(error, Exception):
            log.error("loop: %s", context.get("message"))
            return
        where = log_trouble(error)
        if self.is_running:
            self.notify(f"a fault of this program; details are in {where}", severity="error", markup=False)
