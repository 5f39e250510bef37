"""Commands that open the full-screen program: what to open, from files, settings and ports."""

from __future__ import annotations

import argparse
import contextlib
import gc
import logging
import os
import shlex
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from probe.cli.outcome import Exit, complain
from probe.document.document import Document, now_text
from probe.document.file import (
    CannotReadError,
    StorageError,
    demo_map_path,
    load_map,
    save_copy,
)
from probe.document.model import Chain, Kind, Lamp, PixelState, PlayfieldMap, Position
from probe.document.operations import add_place, assign_place, new_map, set_lamps
from probe.document.settings import (
    RememberedPort,
    SeenTable,
    Settings,
    Signs,
    change_settings,
    level_of,
    load_settings,
    settings_path,
    usable_keys,
)
from probe.mapping.walk_state import start
from probe.ui.keys import HOME, all_keys
from probe.ui.launch import LaunchOptions, Seen, Session
from probe.ui.start import PortChoice

if TYPE_CHECKING:
    from device_protocol.board import ChainWiring, SimulatedBoard
    from probe.link import BoardLink, LinkEvent, OpenWire, PortSpec
    from probe.link.simulated_wire import SimulatedGame, SimulatedPort
    from probe.ui.app import ProbeApp

log = logging.getLogger(__name__)
DEMO_BOOT_MS = 400.0
DEMO_WELCOME = "Demo: answer what “Under the glass” says; F2 where nothing is lit. Everything else, and a tour: F10."
SPLICED_WELCOME = "Demo: pixels were spliced in since this map was made. F10, Light, “Recheck after a change”."
SPLICED_AFTER = "Reef lane 2"
SPLICED_IN = ("Reef pearl", "Reef arrow")
SPLICED_CHAIN = "playfield"

_ASCII_TERMINALS = ("linux", "dumb", "vt52", "vt100", "vt102", "vt220", "cons25", "ansi")
"""Consoles whose fonts lack our signs, and terminals older than Unicode."""


def draws_unicode(environment: Mapping[str, str], *, system: str = os.name) -> bool:
    """Whether signs beyond ASCII can be drawn. An environment without any of these variables is taken for a terminal of today.

    Python itself turns a C locale into LC_CTYPE=C.UTF-8 at its start (PEP 538); what was meant is then in LANG.
    """
    if system == "nt":
        return True
    if environment.get("TERM", "") in _ASCII_TERMINALS:
        return False
    named = [environment.get(name, "") for name in ("LC_ALL", "LC_CTYPE", "LANG")]
    coerced = not named[0] and named[1] in ("C.UTF-8", "C.utf8", "UTF-8") and named[2] in ("C", "POSIX")
    encoding = next((name for name in (named if not coerced else named[2:]) if name), "")
    return not encoding or "utf" in encoding.lower()


def on_a_terminal() -> bool:
    """Whether the full-screen program has a keyboard and a screen. It draws on the error stream, as Textual does."""
    return all(stream is not None and stream.isatty() for stream in (sys.__stdin__, sys.__stderr__))


def spliced(map_: PlayfieldMap) -> PlayfieldMap:
    """The complete map with `SPLICED_IN` after `SPLICED_AFTER`, so that every later number of that chain is two higher."""
    from probe.document.edit_text import parse_edits  # only this demo needs them
    from probe.document.edits import apply_edits

    at = next(p.position for p in map_.places if p.label == SPLICED_AFTER) or Position(x_mm=0.0, y_mm=0.0)
    made = apply_edits(map_, parse_edits(map_, [f"{len(SPLICED_IN)} new after {SPLICED_AFTER}"]), made_on="")
    known = {pixel.id for chain in map_.chains for pixel in chain.pixels}
    fresh = [n for n, pixel in enumerate(made.chain_by_id[SPLICED_CHAIN].pixels) if pixel.id not in known]
    for row, (number, label) in enumerate(zip(fresh, SPLICED_IN, strict=True), start=1):
        where = Position(x_mm=at.x_mm, y_mm=at.y_mm - 30.0 * row)
        made, place = add_place(made, label, area="Reef", kind=Kind.INSERT, position=where)
        made = assign_place(made, SPLICED_CHAIN, number, place.id)
    return made


def document_at(path: str | Path) -> Document:
    """The document of a map file, which is made by the first save if it is not there yet. Raises StorageError."""
    return Document.open(path) if Path(path).exists() else Document.new(path)


class Opening:
    """Opens maps and ports with the options of one command line."""

    def __init__(self, arguments: argparse.Namespace, settings: Settings) -> None:
        self.settings = settings
        self.steady_only = getattr(arguments, "steady_only", False) or settings.steady_only
        plain = getattr(arguments, "ascii", False) or not draws_unicode(os.environ)
        self.signs: Signs | None = "ascii" if plain else settings.signs
        self.baud: int = getattr(arguments, "baud", 115_200)
        self.transcript: str | None = getattr(arguments, "transcript", None)
        self.lamps: str | None = getattr(arguments, "lamps", None)
        self.arguments = arguments

    def recent(self) -> Sequence[str]:
        """Maps used lately that are still there."""
        return [path for path in self.settings.recent if Path(path).exists()]

    def look(self, path: str) -> PlayfieldMap | None:
        """The map in a file, only to look at; None if it cannot be read."""
        try:
            return load_map(path)
        except (StorageError, OSError):
            return None

    def ports(self) -> Sequence[PortChoice]:
        """Every serial port, then paper entry."""
        from probe.link import list_ports

        found = [PortChoice(p.device, f"{p.device}   {p.name}") for p in list_ports()]
        return [*found, PortChoice(None, "No board: enter what is on paper")]

    def options(self) -> LaunchOptions:
        """What settings and command line ask for. Raises CannotReadError for a lamp list that cannot be read."""
        return LaunchOptions(
            changed_keys=self.settings.keys,
            bell=self.settings.bell,
            steady_only=self.steady_only,
            signs=self.signs or "fine",
            ask_signs=self.signs is None,
            tour=getattr(self.arguments, "tour", False),
            theme=self.settings.theme,
            level=level_of(self.settings.brightness_percent),
            lamps=_lamps_from(Path(self.lamps)) if self.lamps is not None else (),
        )

    def remember_map(self, path: str) -> None:
        """The map used last is in this file."""
        _remember(lambda s: s.with_map(path))

    def remember_table(self, path: str, crc: int) -> None:
        """The board of this map holds a table with this checksum."""
        if path:
            _remember(lambda s: s.with_table(path, SeenTable(crc=crc, time=now_text())))

    def table_seen(self, path: str) -> SeenTable | None:
        """What the board of a map was last seen to hold, or None."""
        return self.settings.table_for(path)

    def remember_setting(self, name: str, value: object) -> None:
        """A setting to begin with the next time. Raises StorageError where it cannot be kept."""
        change_settings(lambda s: s.model_copy(update={name: value}))

    def open_file(self, path: str) -> Session:
        """A map file, or a new one. A port remembered for it is used again."""
        document = document_at(path)
        if self.lamps is not None and document.has_map:
            from probe.cli.lamps import imported_reason

            scope = document.scope("lamps")
            document.commit(set_lamps(document.map, _lamps_from(Path(self.lamps))))
            scope.end(imported_reason(self.lamps))
            document.save_now()
        self.remember_map(path)
        welcome = " ".join((*document.notices, _not_finished(document.map))).strip() if document.has_map else ""
        session = Session(document=document, welcome=welcome)
        remembered = self.settings.port_for(path)
        address = _address_of(remembered) if remembered is not None else None
        return session if address is None else self._on_port(session, address)

    def with_port(self, choice: PortChoice, session: Session) -> Session:
        """The session on a port that was picked, which is remembered for the map once its board answers; or on paper."""
        if choice.address is None:
            return replace(session, make_link=None, paper=True, eyes=None, truth=None, game=None, on_answer=None)
        if session.path and not choice.address.startswith("replay://"):
            from probe.link import remembered_key

            key = remembered_key(choice.address)
            port = RememberedPort(usb_serial=key, address=choice.address)
            path = session.path
            session = replace(session, on_answer=lambda: _remember(lambda s: s.with_port(path, port)))
        return self._on_port(session, choice.address)

    def _on_port(self, session: Session, address: str) -> Session:
        from probe.link import BoardLink, LinkError, PortSpec, remembered_key

        where: PortSpec | OpenWire = PortSpec(address=address, key=remembered_key(address), baud=self.baud)
        eyes: Callable[[], Seen] | None = None
        truth: PlayfieldMap | None = None
        if address.startswith("simulated://"):
            from probe.link.simulated_wire import simulated_port

            with contextlib.suppress(LinkError):  # the link reports what is wrong with an address
                port = simulated_port(address)
                where = port.open
                eyes, truth = lambda: seen_on(port.board), new_map("A simulated playfield")
        transcript = self._wire_log()

        def make(on_event: Callable[[LinkEvent], None]) -> BoardLink:
            return BoardLink(where, on_event=on_event, transcript=transcript)

        return replace(session, make_link=make, paper=False, eyes=eyes, truth=truth, game=None)

    def _wire_log(self) -> Callable[[float, str, bytes], None] | None:
        if not self.transcript:
            return None
        from probe.cli.wire_log import WireLog

        return WireLog(self.transcript)

    def open_demo(self) -> Session:
        """The demo: a copy of an invented machine's map, and a simulated board wired like the complete one."""
        options = self.arguments
        truth = load_map(demo_map_path("kelp_forest.json"))
        if after_splice := getattr(options, "spliced", False):
            truth = spliced(truth)
        keep = getattr(options, "keep", None)
        folder = Path(tempfile.mkdtemp(prefix="playfield-probe-demo-")) if keep is None else None
        path = Path(keep) if keep is not None else Path(str(folder)) / "kelp_forest.json"
        if not path.exists() and not getattr(options, "new", False):
            complete = after_splice or getattr(options, "complete", False)
            name = "kelp_forest.json" if complete else "kelp_forest_half.json"
            path.parent.mkdir(parents=True, exist_ok=True)
            save_copy(path, demo_map_path(name).read_bytes())
        document = document_at(path)
        port: SimulatedPort | None = None
        game: SimulatedGame | None = None
        transcript = self._wire_log()

        def make(on_event: Callable[[LinkEvent], None]) -> BoardLink:
            nonlocal port, game
            from probe.link import BoardLink
            from probe.link.simulated_wire import SimulatedGame, SimulatedPort

            if port is None:
                port = SimulatedPort(demo_board(truth), name="simulated board")
                game = SimulatedGame(port, (lamp.number for lamp in truth.lamps if lamp.number is not None))
            return BoardLink(port.open, on_event=on_event, transcript=transcript)

        def play(lamp: int | None) -> None:
            if game is not None and lamp is not None:
                game.press(lamp)
            elif game is not None:
                game.lamp_test()

        again = "--spliced --keep" if after_splice else "--keep"
        return Session(
            document=document,
            make_link=make,
            eyes=lambda: seen_on(port.board) if port is not None else (),
            truth=truth,
            game=play,
            welcome=SPLICED_WELCOME if after_splice else DEMO_WELCOME,
            begin_at=lit_begin(document.map if document.has_map else None, truth),
            goodbye=f"The demo's map is in {path}\nTo go on: playfield-probe demo {again} {shlex.quote(str(path))}",
        )


def demo_board(map_: PlayfieldMap) -> SimulatedBoard:
    """A simulated board under a machine that is wired as in this map."""
    from device_protocol.board import BoardConfig, SimulatedBoard

    return SimulatedBoard(
        BoardConfig(outputs=len(map_.chains), pixels=1_000, play_pixels=300, inputs=64),
        [wiring_of(map_, chain) for chain in map_.chains],
        resets_on_open=True,
        boot_ms=DEMO_BOOT_MS,
        return_wires=range(len(map_.chains)),
    )


def wiring_of(map_: PlayfieldMap, chain: Chain) -> ChainWiring:
    """A physical chain that is wired as in a map: dark, dead and hidden pixels show nothing that can be seen."""
    from device_protocol.board import ChainWiring, PhysicalPixel

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


def lit_begin(map_: PlayfieldMap | None, truth: PlayfieldMap) -> tuple[str, int] | None:
    """The pixel that a demo begins on: where the last walk stopped, or the next one at which something is seen.

    None if that is nowhere. Pixels that nobody has answered come before the others. Where there are no chains yet, the first
    one ("") that is set up is meant.
    """
    shown = {(c, n) for c, n, pixel in truth.walk_pixels() if pixel.state is PixelState.PLACED}
    if map_ is None or not map_.chains:
        return "", min((number for chain, number in shown if chain == truth.chains[0].id), default=0)
    at = start(map_)
    pixels = [(chain, number) for chain, number, _ in map_.walk_pixels()]
    here = pixels.index((at.chain, at.number)) if (at.chain, at.number) in pixels else 0
    lit = [where for where in pixels[here:] + pixels[:here] if where in shown]
    unseen = [(c, n) for c, n in lit if map_.chain(c).pixels[n].state is PixelState.UNSEEN]
    return next(iter(unseen or lit), None)


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


def _not_finished(map_: PlayfieldMap) -> str:
    """That a recheck of a chain can be gone on with; empty if none can."""
    kept = next((kept for kept in reversed(map_.rechecks) if kept.chain in map_.chain_by_id), None)
    if kept is None:
        return ""
    from probe.document.model.open_recheck import counted

    of = map_.chain(kept.chain).name
    return f"A recheck of {of} is not finished ({counted(kept)}): F10, Light, “Recheck after a change” goes on with it."


def _lamps_from(path: Path) -> tuple[Lamp, ...]:
    from probe.export import ImportProblem, read_lamp_list

    try:
        return read_lamp_list(path.read_bytes())
    except ImportProblem as exc:
        raise CannotReadError(path, str(exc), "Mend the lamp list, then try again") from exc


def _address_of(remembered: RememberedPort) -> str | None:
    if remembered.usb_serial:
        from probe.link import current_address

        return current_address(remembered.usb_serial)
    return remembered.address or None


def _remember(change: Callable[[Settings], Settings]) -> None:
    """Settings are a convenience: that they cannot be written stops nobody."""
    try:
        change_settings(change)
    except StorageError as exc:
        log.warning("settings: %s", exc)


def _file_session(arguments: argparse.Namespace, opening: Opening) -> Session:
    """The session for the map and the port, or paper, that the command line names."""
    session = opening.open_file(arguments.map)
    if getattr(arguments, "paper", False):
        return opening.with_port(PortChoice(None, "paper"), session)
    if arguments.port:
        return opening.with_port(PortChoice(arguments.port, arguments.port), session)
    return session


def _on_chain(arguments: argparse.Namespace, opening: Opening) -> tuple[str, Session] | None:
    """The chain to open on, and the session; None, after saying why, if the map or the chain is not there."""
    from probe.cli.faults import chain_in

    session = _file_session(arguments, opening)
    try:
        return chain_in(session, arguments.chain), session
    except ValueError as exc:
        session.close()
        complain(str(exc))
        return None


def launched(arguments: argparse.Namespace, opening: Opening) -> tuple[LaunchOptions, Session] | None:
    """What the command line opens; None, after saying why, if that cannot be."""
    options = opening.options()
    match arguments.command:
        case "demo":
            return options, opening.open_demo()
        case "walk":
            return options, _file_session(arguments, opening)
        case "recheck" | "faults":
            found = _on_chain(arguments, opening)
            if found is None:
                return None
            chain, session = found
            if arguments.command == "faults":
                return replace(options, faults_on=chain), session
            return replace(options, recheck_on=chain, recheck_said=tuple(arguments.change)), session
        case "practice":
            from probe.cli.faults import practise

            return practise(options, seed=arguments.seed, in_words=arguments.words)
        case _:
            last = next(iter(opening.recent()), None)
            if last is not None:
                return options, opening.open_file(last)
            return replace(options, start_here=True), Session()


def open_program(arguments: argparse.Namespace) -> int:
    """Open the full-screen program as the command line asks."""
    settings = load_settings()
    keys, wrong = usable_keys(settings.keys, [row.id for row in all_keys()] if settings.keys else [])
    settings = settings.model_copy(update={"keys": keys})
    for sentence in wrong:
        complain(f"{settings_path()}: {sentence}")
    opening = Opening(arguments, settings)
    launch = launched(arguments, opening)
    if launch is None:
        return Exit.USAGE
    options, session = launch
    if wrong:
        options = replace(options, welcome=f"Settings: {wrong[0]}.")
    if not on_a_terminal():
        session.close()
        complain("this needs a terminal to draw on and a keyboard to read; here one of them is a file or a pipe")
        return Exit.USAGE
    code, then = _run(options, session, opening)
    while then:
        opening = Opening(_arguments_for(then, arguments), settings_again(settings))
        if then == (HOME,):
            launch = replace(opening.options(), start_here=True), Session()
        else:
            launch = launched(opening.arguments, opening)
        assert launch is not None, "what is offered inside can be opened"
        code, then = _run(*launch, opening)
    return code


def settings_again(before: Settings) -> Settings:
    """The settings as they are now, with the keys that were usable."""
    try:
        return load_settings().model_copy(update={"keys": before.keys})
    except StorageError as exc:
        log.warning("settings: %s", exc)
        return before


def _arguments_for(words: tuple[str, ...], first: argparse.Namespace) -> argparse.Namespace:
    """A command line for what was chosen inside; how things are drawn stays as it was asked for at first."""
    from probe.cli.parser import build_parser

    parsed = build_parser().parse_args([word for word in words if word != HOME])
    looks = {name: value for name, value in vars(first).items() if name in ("ascii", "steady_only")}
    return argparse.Namespace(**{**vars(parsed), **looks})


def _run(options: LaunchOptions, session: Session, opening: Opening) -> tuple[int, tuple[str, ...]]:
    """Run the full-screen program to its end: the exit code, and what is gone on with, as words of a command line."""
    from probe.cli.leaving import Leaving
    from probe.ui.app import ProbeApp

    app = ProbeApp(options, session, opening)
    gc.freeze()  # what is loaded stays: no collection looks through it while a key waits
    try:
        with Leaving(app.endings, restore=partial(_restore_terminal, app)) as leaving:
            app.run()
            code = leaving.finish(app.session.goodbye, goes_on=bool(app.then))
            return code, app.then if code == Exit.FINE else ()
    finally:
        session.close()
        app.session.close()


def _restore_terminal(app: ProbeApp) -> None:
    restore = getattr(app._driver, "restore_at_once", None)  # Textual's own drivers have none
    if restore is not None:
        restore()
