"""A program on a simulated board, opened without a terminal."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from probe.cli.screens import document_at, seen_on, wiring_of
from probe.document.model import PlayfieldMap
from probe.document.settings import SeenTable
from probe.link import BoardLink
from probe.link.simulated_wire import SimulatedPort
from probe.mapping.walk_state import Walk
from probe.ui.app import ProbeApp
from probe.ui.launch import LaunchOptions, Session
from probe.ui.start import PortChoice
from tests.support.headless import draw


class NoOpener:
    """Opens nothing."""

    def recent(self) -> Sequence[str]:
        return []

    def look(self, path: str) -> PlayfieldMap | None:
        return None

    def ports(self) -> Sequence[PortChoice]:
        return [PortChoice(None, "paper [/x]")]

    def open_file(self, path: str) -> Session:
        raise FileNotFoundError(path)

    def open_demo(self) -> Session:
        raise FileNotFoundError("demo")

    def with_port(self, choice: PortChoice, session: Session) -> Session:
        return replace(session, make_link=None, paper=True, eyes=None, truth=None)

    def remember_map(self, path: str) -> None:
        self.remembered = path

    def remember_table(self, path: str, crc: int) -> None:
        self.table = (path, crc)

    def table_seen(self, path: str) -> SeenTable | None:
        return None

    def remember_setting(self, name: str, value: object) -> None:
        pass


@dataclass
class Stage:
    """What a test plays with."""

    app: ProbeApp
    pilot: Pilot[str]
    board: SimulatedBoard
    port: SimulatedPort
    path: Path

    @property
    def walk(self) -> Walk:
        """The walk, as it is now."""
        walk = self.app.walk
        assert walk is not None
        return walk

    async def lit(self) -> None:
        """Wait until everything asked of the board has been done."""
        for _ in range(100):
            await self.pilot.pause(0.01)
            await self.app.settled()
            top = self.app.runtime.top
            if top is not None and top.name == "walk" and top.task.is_lit(self.app.runtime.seen(top)):
                await self.pilot.pause()
                return
        raise AssertionError("nothing was lit within a second or more")

    async def type_and(self, key: str, text: str) -> None:
        """Put a text into the line to type in, and press a key."""
        self.app.screen.query_one("#entry", Input).value = text
        await self.pilot.pause()
        await self.pilot.press(key)
        await self.pilot.pause()


OpenApp = Callable[..., AbstractAsyncContextManager[Stage]]


@pytest.fixture
def open_app(tmp_path: Path) -> OpenApp:
    """Open the program: `async with open_app(map, truth) as stage`."""

    @asynccontextmanager
    async def opened(
        map_: PlayfieldMap | None,
        truth: PlayfieldMap | None = None,
        *,
        size: tuple[int, int] = (80, 24),
        wirings: Sequence[ChainWiring] = (),
        config: Mapping[str, Any] | None = None,
        paper: bool = False,
        path: Path = tmp_path / "map.json",
        **more: object,
    ) -> AsyncIterator[Stage]:
        real = truth or map_
        chains = real.chains if real is not None else ()
        board = SimulatedBoard(
            BoardConfig(**({"outputs": max(1, len(chains), len(wirings)), "pixels": 1_000} | dict(config or {}))),
            list(wirings) or [wiring_of(real, chain) for chain in chains if real is not None],
        )
        port = SimulatedPort(board, name="simulated board")
        document = document_at(path)
        if map_ is not None:
            document.commit(map_)
            document.save_now()
        session = Session(
            document=document,
            paper=paper,
            make_link=None if paper else lambda on_event: BoardLink(port.open, on_event=on_event),
            eyes=lambda: seen_on(board),
            truth=truth,
        )
        of_session = {field.name for field in fields(Session)}
        session = replace(session, **{name: value for name, value in more.items() if name in of_session})  # type: ignore[arg-type]
        options = LaunchOptions(**{name: value for name, value in more.items() if name not in of_session})  # type: ignore[arg-type]
        app = ProbeApp(options, session, NoOpener())
        try:
            async with app.run_test(size=size) as pilot:
                yield Stage(app, pilot, board, port, path)
                if app.screen_stack:
                    draw(app)
        finally:
            app.session.close()

    return opened


def text_of(app: ProbeApp) -> str:
    """What the screen shows, as lines of text."""
    lines = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip) for strip in lines)
