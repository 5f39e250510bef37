"""Bad boards and bad lines through the whole program: a plain sentence on the screen, nothing lost, never a wrong "lit"."""

from __future__ import annotations

import asyncio
import random
import re
from collections.abc import Callable

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.framing import seal
from device_protocol.orders import RestartCause
from probe.document.file import load_map
from probe.document.model import Chain, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count
from probe.link import BoardLink, LinkErrorKind, RetryPolicy
from probe.link.errors import link_error
from probe.link.simulated_wire import SimulatedPort
from probe.link.wire import Inbox, Wire
from probe.ui.app import ProbeApp
from tests.support.examples import first_now
from tests.ui.conftest import OpenApp, Stage, text_of

PIXELS = 12


def blank() -> PlayfieldMap:
    return set_count(
        add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0, count=PIXELS)), "a", PIXELS
    )


def wirings() -> list[ChainWiring]:
    return [ChainWiring.of_places([f"place {n}" for n in range(PIXELS)])]


class Board(SimulatedBoard):
    """A simulated board whose lines are bent by `bend` while `bad`."""

    def __init__(self) -> None:
        self.bad = True
        self.random = random.Random(5)
        super().__init__(BoardConfig(pixels=100), wirings())

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        if self.bad:
            return self.bend(data, now_ms)
        return super().receive_data(data, now_ms)

    def bend(self, data: bytes, now_ms: float) -> bytes:
        return super().receive_data(data, now_ms)

    def sound(self, data: bytes, now_ms: float) -> bytes:
        return SimulatedBoard.receive_data(self, data, now_ms)


class ResetsInMidFrame(Board):
    """Each second order to light is cut off by a restart: no reply, and the supply is to blame."""

    lights = 0

    def bend(self, data: bytes, now_ms: float) -> bytes:
        if b" light " in data:
            self.lights += 1
            if self.lights % 2:
                self.sound(data, now_ms)
                return self.restart(RestartCause.BROWNOUT, now_ms)
        return self.sound(data, now_ms)


class Floods(Board):
    """Three hundred notices for each order, known and unknown, well and badly made."""

    def bend(self, data: bytes, now_ms: float) -> bytes:
        said = self.sound(data, now_ms)
        notices = [seal(f"~{self.random.randrange(256):02X} sparkle {n}") for n in range(200)]
        notices += [seal(f"~{self.random.randrange(256):02X} inputs 1 FF") for n in range(50)]
        notices += [b"~00 button 1*0000\n"] * 50
        return b"".join(notices) + said


class Silent(Board):
    """Never answers."""

    def bend(self, data: bytes, now_ms: float) -> bytes:
        return b""


class Unable(Board):
    """Answers every order to light with an error of its own."""

    code = "40 internal"

    def bend(self, data: bytes, now_ms: float) -> bytes:
        if found := re.search(rb">(..) light ", data):
            return seal(f"!{found[1].decode()} {self.code}")
        return self.sound(data, now_ms)


class FewerPixels(Unable):
    """States 100 pixels, has none."""

    code = "31 no-such-pixel"


class NoSetup(Board):
    """States the feature `setup`, and does not know the order."""

    def bend(self, data: bytes, now_ms: float) -> bytes:
        if found := re.search(rb">(..) setup ", data):
            return seal(f"!{found[1].decode()} 23 no-such-feature")
        return self.sound(data, now_ms)


class ShortLines(Board):
    """States lines of 96 bytes and takes 20."""

    def bend(self, data: bytes, now_ms: float) -> bytes:
        if any(len(line) > 20 for line in data.split(b"\n")):
            return seal("!-- 12 overlong")
        return self.sound(data, now_ms)


def lying(pattern: bytes, instead: bytes) -> type[Board]:
    class Lying(Board):
        def bend(self, data: bytes, now_ms: float) -> bytes:
            lines = self.sound(data, now_ms).split(b"\n")[:-1]
            changed = [re.sub(pattern, instead, line) for line in lines]
            return b"".join(
                line + b"\n" if line == new else seal(new[: new.rindex(b"*")].decode("ascii"))
                for line, new in zip(lines, changed, strict=True)
            )

    return Lying


BOARDS: dict[str, tuple[type[Board], str]] = {
    "resets in mid-frame": (ResetsInMidFrame, "restarted|LIT"),
    "never answers": (Silent, "waiting for the board|nothing answers"),
    "fails at every order": (Unable, "internal|failed"),
    "has fewer pixels than it states": (FewerPixels, "pixel"),
    "states a feature it lacks": (NoSetup, "setup|cannot|feature"),
    "takes shorter lines than it states": (ShortLines, "stopped answering|damaged|lit"),
    "states no outputs": (lying(rb"outputs=1", b"outputs=0"), "board|answer"),
    "states too many pixels": (lying(rb"pixels=100", b"pixels=99999"), "pixels of the(?s:.*)identity"),
    "states few pixels": (lying(rb"pixels=100", b"pixels=3"), "pixel|LIT"),
    "states a tiny ceiling": (lying(rb"ceiling=2000", b"ceiling=1"), "mA|ceiling|LIT"),
    "states a short line": (lying(rb"line=96", b"line=9"), "board|answer"),
    "another version": (lying(rb"proto=1", b"proto=7"), "speaks another version(?s:.*)Cure: load"),
    "no features it could name": (lying(rb"features=\S+?(?=\*)", b"features=dance,setup"), "board|LIT"),
    "floods the line with notices": (Floods, "LIT"),
}


async def until(stage: Stage, words: str, seconds: float = 12.0) -> str:
    """Wait until the screen shows one of the words; returns what it shows."""
    shown = ""
    for _ in range(int(seconds / 0.05)):
        await stage.pilot.pause(0.05)
        shown = text_of(stage.app)
        if re.search(words, shown):
            return shown
    raise AssertionError(f"{words!r} is not on the screen:\n{shown}")


def dishonest(app: ProbeApp, board: SimulatedBoard) -> str:
    """The screen says that a pixel is lit only if that one is; else what it says."""
    walk = app.walk
    if walk is None or not walk.is_lit or [s.place for s in board.lit()] == [f"place {walk.number}"]:
        return ""
    return f"says {walk.number} is lit; lit is {board.lit()}; {walk.board}"


@pytest.mark.slow
@pytest.mark.parametrize("name", first_now(BOARDS, now=3))
async def test_a_bad_board_is_told_and_loses_nothing(name: str, open_app: OpenApp) -> None:
    kind, words = BOARDS[name]
    board = kind()
    port = SimulatedPort(board, name="bad board")
    quick = RetryPolicy(first_s=0.05, most_s=0.2)

    def make(on_event: Callable[..., None]) -> BoardLink:
        return BoardLink(port.open, on_event=on_event, retry=quick)

    async with open_app(blank(), make_link=make) as stage:
        shown = await until(stage, words)
        assert "Traceback" not in shown
        assert not dishonest(stage.app, board)
        for key in ("down", "up", "f1", "escape", "pagedown", "pageup"):
            await stage.pilot.press(key)
            assert not dishonest(stage.app, board)
        # the same board, sound again: the walk goes on by itself
        board.bad = False
        port.unplug()
        await stage.pilot.pause(0.1)
        port.plug()
        await until(stage, "● LIT")
        await stage.pilot.press(*"Otter", "enter")
        await until(stage, r"1 \(2nd\)")
        await stage.app.settled()
        assert not dishonest(stage.app, board)
        assert [place.label for place in load_map(stage.path).places] == ["Otter"]


class Noise:
    """A line on which something else talks, whatever is sent."""

    def __init__(self, says: Callable[[bytes], bytes], every_s: float) -> None:
        self.port = "noisy port"
        self._says = says
        self._inbox = Inbox()
        self._every_s = every_s
        self._task = asyncio.create_task(self._talk())

    async def _talk(self) -> None:
        while True:
            self._inbox.put(self._says(b""))
            await asyncio.sleep(self._every_s)

    def write(self, data: bytes) -> None:
        self._inbox.put(self._says(data))

    async def read(self) -> bytes:
        return await self._inbox.get()

    async def close(self) -> None:
        self._task.cancel()
        self._inbox.fail(link_error(LinkErrorKind.CLOSED, port=self.port))


_DICE = random.Random(11)
NOISES: dict[str, tuple[Callable[[bytes], bytes], float]] = {
    "garbage of a wrong speed": (lambda sent: _DICE.randbytes(40), 0.02),
    "garbage without a line end": (lambda sent: b"\xff" * 500, 0.02),
    "a receiver of satellites": (lambda sent: b"" if sent else b"$GPGGA,123519,4807.038,N*47\r\n", 0.1),
    "a shell": (lambda sent: sent + b"sh: >00: not found\r\n$ " if sent else b"", 0.5),
    "an echo": (lambda sent: sent, 0.5),
    "a modem": (lambda sent: b"ERROR\r\n" if sent else b"", 0.5),
    "terminal escapes": (lambda sent: b"\x1b[2J\x1b]0;owned\x07[/x] $text\r\n", 0.1),
}


@pytest.mark.parametrize("name", first_now(NOISES))
async def test_another_device_is_told(name: str, open_app: OpenApp) -> None:
    says, every_s = NOISES[name]

    async def noisy() -> Wire:
        return Noise(says, every_s)

    async with open_app(blank(), make_link=lambda on_event: BoardLink(noisy, on_event=on_event)) as stage:
        shown = await until(stage, "waiting for the board|not a board|no sense|nothing answers")
        assert "LIT" not in shown
        assert "\x1b" not in shown
        for key in ("down", "pagedown", "f1", "escape"):
            await stage.pilot.press(key)
    assert load_map(stage.path).chains[0].length == PIXELS


async def test_a_slow_port_lights_late_and_right(open_app: OpenApp) -> None:
    board = SimulatedBoard(BoardConfig(pixels=100), wirings())
    port = SimulatedPort(board, latency_s=0.1)
    async with open_app(blank(), make_link=lambda on_event: BoardLink(port.open, on_event=on_event)) as stage:
        for number, label in enumerate(("Otter", "Eel", "Crab")):
            await until(stage, rf"{number} \(\d\w\w\) of 12   ● LIT")
            assert not dishonest(stage.app, board)
            await stage.pilot.press(*label, "enter")
        await until(stage, r"3 \(4th\) of 12   ● LIT")
        await stage.app.settled()
    assert {place.label for place in load_map(stage.path).places} == {"Otter", "Eel", "Crab"}
