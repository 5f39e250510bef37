"""Commands that open the full-screen program: what to open, from files, settings and ports."""

from __future__ import annotations

import argparse
import contextlib
import gc
import logging
import os
import shlex
import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from device_protocol.board import BoardConfig, ChainWiring, PhysicalPixel, SimulatedBoard
from probe.cli.listing import printable
from probe.cli.outcome import Exit, complain
from probe.cli.terminal import draws_unicode, on_a_terminal
from probe.document.document import Document
from probe.document.file import (
    CannotReadError,
    StorageError,
    demo_map_path,
    load_map,
)
from probe.document.model import Chain, Lamp, PixelState, PlayfieldMap
from probe.document.operations import new_map, set_lamps
from probe.document.settings import RememberedPort, Settings, change_settings, load_settings, settings_path, usable_keys
from probe.link import BoardLink, LinkEvent, PortSpec, current_address, list_ports, remembered_key
from probe.link.errors import LinkError
from probe.link.simulated_wire import SimulatedPort, simulated_port
from probe.link.wire import OpenWire
from probe.ui.keys import TABLE
from probe.ui.plan import MakeLink, Plan, Seen
from probe.ui.start import PortChoice

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp

log = logging.getLogger(__name__)
DEMO_BOOT_MS = 400.0
DEMO_WELCOME = "Demo: answer what “Under the glass” says; if it is nothing lit, F2. F1: keys. >: a tour."
SPLICED_WELCOME = "Demo: pixels were spliced in since this map was made. Esc, then “Recheck after a change”."


def document_at(path: str | Path) -> Document:
    """The document of a map file, which is made by the first save if it is not there yet. Raises StorageError."""
    return Document.open(path) if Path(path).exists() else Document.new(path)


class Opening:
    """Opens maps and ports with the options of one command line."""

    def __init__(self, arguments: argparse.Namespace, settings: Settings) -> None:
        self.settings = settings
        self.steady_only = getattr(arguments, "steady_only", False) or settings.steady_only
        self.plain_ascii = getattr(arguments, "ascii", False) or not draws_unicode(os.environ)
        self.baud: int = getattr(arguments, "baud", 115_200)
        self.transcript: str | None = getattr(arguments, "transcript", None)
        self.lamps: str | None = getattr(arguments, "lamps", None)
        self.demo_options = arguments

    def recent(self) -> Sequence[str]:
        """Maps used lately that are still there."""
        return [path for path in self.settings.recent if Path(path).exists()]

    def ports(self) -> Sequence[PortChoice]:
        """Every serial port, then paper entry."""
        found = [PortChoice(p.device, f"{p.device}   {p.name}") for p in list_ports()]
        return [*found, PortChoice(None, "No board: enter what is on paper")]

    def plan(self) -> Plan:
        """A plan with everything that does not depend on the map."""
        level = max(1, round(255 * self.settings.brightness_percent / 100))
        return Plan(
            self,
            changed_keys=self.settings.keys,
            bell=self.settings.bell,
            steady_only=self.steady_only,
            plain_ascii=self.plain_ascii,
            theme=self.settings.theme,
            remember_theme=lambda name: _remember(lambda s: s.model_copy(update={"theme": name})),
            level=level,
        )

    def open_file(self, path: str) -> Plan:
        """A map file, or a new one. A port remembered for it is used again."""
        plan = self.plan()
        plan.document = document = document_at(path)
        if self.lamps is not None:
            plan.lamps = _lamps_from(Path(self.lamps))
            if document.has_map:
                from probe.cli.lamps import imported_reason

                scope = document.scope("lamps")
                document.commit(set_lamps(document.map, plan.lamps))
                scope.end(imported_reason(self.lamps))
                document.save_now()
        _remember(lambda s: s.with_map(path))
        if plan.map is not None:
            plan.welcome = " ".join((*document.notices, _not_finished(plan.map))).strip()
        if (remembered := self.settings.port_for(path)) is not None:
            address = _address_of(remembered)
            if address is not None:
                plan.make_link = self._maker(address, plan)
        return plan

    def link_to(self, choice: PortChoice, plan: Plan) -> MakeLink | None:
        """A link to a port that was picked, which is remembered for the map."""
        plan.eyes, plan.truth = None, None
        if choice.address is None:
            return None
        if plan.path and not choice.address.startswith("replay://"):
            key = remembered_key(choice.address)
            port = RememberedPort(usb_serial=key, address=choice.address)
            _remember(lambda s: s.with_port(plan.path, port))
        return self._maker(choice.address, plan)

    def _maker(self, address: str, plan: Plan) -> MakeLink:
        where: PortSpec | OpenWire = PortSpec(address=address, key=remembered_key(address), baud=self.baud)
        if address.startswith("simulated://"):
            with contextlib.suppress(LinkError):  # a wrong address is told by the link
                port = simulated_port(address)
                where = port.open
                plan.eyes, plan.truth = lambda: seen_on(port.board), new_map("A simulated playfield")
        transcript = self._wire_log()

        def make(on_event: Callable[[LinkEvent], None]) -> BoardLink:
            return BoardLink(where, on_event=on_event, transcript=transcript)

        return make

    def _wire_log(self) -> Callable[[float, str, bytes], None] | None:
        if not self.transcript:
            return None
        from probe.cli.wire_log import WireLog

        return WireLog(self.transcript)

    def open_demo(self) -> Plan:
        """The demo: a copy of an invented machine's map, and a simulated board wired like the complete one."""
        options = self.demo_options
        truth = load_map(demo_map_path("kelp_forest.json"))
        if after_splice := getattr(options, "spliced", False):
            from probe.cli.spliced import spliced

            truth = spliced(truth)
        plan = self.plan()
        keep = getattr(options, "keep", None)
        folder = Path(tempfile.mkdtemp(prefix="playfield-probe-demo-")) if keep is None else None
        path = Path(keep) if keep is not None else Path(str(folder)) / "kelp_forest.json"
        plan.document = document = document_at(path)
        if not document.has_map and not getattr(options, "new", False):
            complete = after_splice or getattr(options, "complete", False)
            name = "kelp_forest.json" if complete else "kelp_forest_half.json"
            document.commit(load_map(demo_map_path(name)))
            document.save_now()
        board = SimulatedBoard(
            BoardConfig(outputs=len(truth.chains), pixels=1_000, play_pixels=300, inputs=64),
            [wiring_of(truth, chain) for chain in truth.chains],
            resets_on_open=True,
            boot_ms=DEMO_BOOT_MS,
            return_wires=range(len(truth.chains)),
        )
        port = SimulatedPort(board, name="simulated board")

        transcript = self._wire_log()

        def make(on_event: Callable[[LinkEvent], None]) -> BoardLink:
            return BoardLink(port.open, on_event=on_event, transcript=transcript)

        plan.truth = truth
        plan.make_link, plan.eyes = make, lambda: seen_on(board)
        plan.welcome = SPLICED_WELCOME if after_splice else DEMO_WELCOME
        again = "--spliced --keep" if after_splice else "--keep"
        plan.goodbye = f"The demo's map is in {path}\nTo go on: playfield-probe demo {again} {shlex.quote(str(path))}"
        plan.tour = getattr(options, "tour", False)
        return plan


def wiring_of(m: PlayfieldMap, chain: Chain) -> ChainWiring:
    """A physical chain that is wired as a map says: dark, dead and hidden pixels show nothing that can be seen."""
    unlit = (PixelState.DARK, PixelState.DEAD, PixelState.SPARE, PixelState.REPEATER)
    return ChainWiring(
        tuple(
            PhysicalPixel(
                place=None if pixel.state is PixelState.HIDDEN else pixel.place,
                byte_order=chain.order,
                emits=pixel.state not in unlit,
            )
            for pixel in chain.pixels
        )
    )


def seen_on(board: SimulatedBoard) -> Seen:
    """What the simulated playfield shows, as (place, colour word)."""
    return tuple((place, _colour_word(c.red, c.green, c.blue + c.white)) for place, c in board.lit())


def _colour_word(red: int, green: int, blue: int) -> str:
    top = max(red, green, blue, 1)
    on = (red * 2 > top, green * 2 > top, blue * 2 > top)
    return {
        (True, True, True): "white",
        (True, False, False): "red",
        (False, True, False): "green",
        (False, False, True): "blue",
        (True, True, False): "yellow",
        (True, False, True): "purple",
        (False, True, True): "cyan",
    }.get(on, "dim")


def _not_finished(m: PlayfieldMap) -> str:
    """That a recheck of a chain can be gone on with; empty if none can."""
    kept = next((kept for kept in reversed(m.rechecks) if kept.chain in m.chain_by_id), None)
    if kept is None:
        return ""
    from probe.document.model.open_recheck import counted

    return f"A recheck of {m.chain(kept.chain).name} is not finished ({counted(kept)}): Esc, Recheck goes on with it."


def _lamps_from(path: Path) -> tuple[Lamp, ...]:
    from probe.export import ImportProblem, read_lamp_list

    try:
        return read_lamp_list(path.read_bytes())
    except ImportProblem as exc:
        raise CannotReadError(path, str(exc), "Mend the lamp list, then try again") from exc


def _address_of(remembered: RememberedPort) -> str | None:
    if remembered.usb_serial:
        return current_address(remembered.usb_serial)
    return remembered.address or None


def _remember(change: Callable[[Settings], Settings]) -> None:
    """Settings are a convenience: that they cannot be written stops nobody."""
    try:
        change_settings(change)
    except StorageError as exc:
        log.warning("settings: %s", exc)


def _file_plan(arguments: argparse.Namespace, opening: Opening) -> Plan:
    """The plan for the map and the port, or paper, that the command line names."""
    plan = opening.open_file(arguments.map)
    if getattr(arguments, "paper", False):
        plan.make_link, plan.paper, plan.eyes, plan.truth = None, True, None, None
    elif arguments.port:
        plan.make_link = opening.link_to(PortChoice(arguments.port, arguments.port), plan)
    return plan


def _chain_plan(arguments: argparse.Namespace, opening: Opening) -> Plan | None:
    """The same, opened on a chain; None, after saying why, if the map or the chain is not there."""
    from probe.cli.faults import on_map

    plan = _file_plan(arguments, opening)
    try:
        return on_map(plan, arguments.chain)
    except ValueError as exc:
        plan.close()
        complain(str(exc))
        return None


def _plan(arguments: argparse.Namespace, opening: Opening) -> Plan | None:
    """What the command line opens; None, after saying why, if that cannot be."""
    match arguments.command:
        case "demo":
            return opening.open_demo()
        case "walk":
            return _file_plan(arguments, opening)
        case "recheck":
            rechecked = _chain_plan(arguments, opening)
            if rechecked is not None:
                rechecked.recheck_on, rechecked.faults_on = rechecked.faults_on, ""
                rechecked.recheck_said = tuple(arguments.change)
            return rechecked
        case "faults":
            return _chain_plan(arguments, opening)
        case "practice":
            from probe.cli.faults import practise

            return practise(opening.plan(), seed=arguments.seed, in_words=not arguments.board)
        case _:
            last = next(iter(opening.recent()), None)
            if last is not None:
                return opening.open_file(last)
            plan = opening.plan()
            plan.start_here = True
            return plan


def open_program(arguments: argparse.Namespace) -> int:
    """Open the full-screen program as the command line says."""
    settings = load_settings()
    keys, wrong = usable_keys(settings.keys, [row.id for row in TABLE])
    settings = settings.model_copy(update={"keys": keys})
    for sentence in wrong:
        complain(printable(f"{settings_path()}: {sentence}"))
    plan = _plan(arguments, Opening(arguments, settings))
    if plan is None:
        return Exit.USAGE
    if wrong:
        plan.welcome = f"Settings: {wrong[0]}. {plan.welcome}".rstrip()
    if not on_a_terminal():
        plan.close()
        complain("this needs a terminal to draw on and a keyboard to read; here one of them is a file or a pipe")
        return Exit.USAGE
    from probe.cli.leaving import Leaving
    from probe.ui.app import ProbeApp

    app = ProbeApp(plan)
    gc.freeze()  # what is loaded stays: no collection looks through it while a key waits
    try:
        with Leaving(app.endings, restore=partial(_restore_terminal, app)) as leaving:
            app.run()
            return leaving.finish(app.plan.goodbye)
    finally:
        plan.close()
        app.plan.close()


def _restore_terminal(app: ProbeApp) -> None:
    restore = getattr(app._driver, "restore_at_once", None)  # Textual's own drivers have none
    if restore is not None:
        restore()
