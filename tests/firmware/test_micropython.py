"""The MicroPython board: the shared conversations, the board check, and the part that touches hardware on stand-ins.

It runs in the MicroPython interpreter (built for node: no `machine`, no pixels, and its own garbage collector), and in
CPython. What neither shows: the timing of `machine.bitstream` on a chip, USB, and a real button.
"""

from __future__ import annotations

import asyncio
import json
import sys
from collections.abc import Iterator
from types import ModuleType, SimpleNamespace

import pytest

from device_protocol.framing import seal
from device_protocol.orders import FEATURES as ALL_FEATURES
from probe.boardcheck import ClauseOutcome, Dialogue, run_checks
from tests.boardcheck.talks import BoardTalk
from tests.firmware.micropython.board import BOARD_FILE, FEATURES, INTERPRETERS, DrivenBoard, Runs, load
from tests.protocol.conversation import Conversation, Step, all_conversations, run_conversation
from tests.support.examples import first_now

LACKING = {"table", "write", "read", "commit", "erase", "play", "lamp", "group", "run", "running"}
LACKING |= {"inputs", "edges", "linger", "watch", "count"}


@pytest.fixture(params=sorted(INTERPRETERS))
def runs(request: pytest.FixtureRequest) -> Iterator[Runs]:
    with INTERPRETERS[request.param]() as made:
        yield made


def config_for(conversation: Conversation) -> dict[str, object]:
    asked = conversation.board
    wanted = asked["features"]
    named = FEATURES if wanted == "all" else () if wanted == "none" else tuple(wanted.split(","))
    numbers = {key: int(asked[key]) for key in ("outputs", "pixels", "line", "ceiling", "channel", "idle")}
    return {**numbers, "features": named}


def playable(conversation: Conversation) -> bool:
    """No order in it belongs to a feature that this board lacks."""
    words = {step.rest.split()[1] for step in conversation.steps if step.verb == ">"}
    return not words & LACKING and "input" not in conversation.verbs


def for_this_board(conversation: Conversation) -> Conversation:
    """The features that `id` states are this board's."""
    every, own = "features=" + ",".join(ALL_FEATURES), "features=" + ",".join(FEATURES)
    steps = tuple(Step(s.number, s.verb, s.rest.replace(every, own)) for s in conversation.steps)
    return Conversation(conversation.name, conversation.board, steps)


PLAYED = [for_this_board(each) for each in all_conversations() if playable(each)]


def test_what_is_left_out_is_known() -> None:
    left_out = {each.name for each in all_conversations() if not playable(each)}
    assert left_out == {
        "count", "inputs", "pattern", "play", "play_ceiling", "readback_pattern", "table",
        "table_refused",
    }  # fmt: skip


def test_it_follows_the_shared_conversations(runs: Runs) -> None:
    for conversation in PLAYED:
        run_conversation(conversation, DrivenBoard(runs, config_for(conversation)))


def check(runs: Runs, features: tuple[str, ...]) -> dict[str, str]:
    board = DrivenBoard(runs, {"pixels": 60, "outputs": 2, "features": features})

    async def run() -> dict[str, str]:
        dialogue = Dialogue(BoardTalk(board))  # type: ignore[arg-type]
        await dialogue.greet()
        assert dialogue.limits.board == "micropython"
        results = await run_checks(dialogue)
        assert sum(result.outcome is ClauseOutcome.PASSED for result in results) > 25
        return {r.clause: r.words for r in results if r.outcome is ClauseOutcome.FAILED}

    return asyncio.run(run())


@pytest.mark.parametrize("features", first_now([FEATURES, ("range",), ()]), ids=["all it has", "range", "none"])
def test_the_board_check_passes(runs: Runs, features: tuple[str, ...]) -> None:
    assert check(runs, features) == {}


def test_hardware_part_on_stand_ins(runs: Runs) -> None:
    orders = b"?\n" + seal(">01 setup 0 10 RGB 280 900") + seal(">02 light 0 3 101010") + b"\x03\n"
    told = json.loads(runs.command(f"hardware {orders.hex()}"))
    assert told["log"][:3] == ["kbd -1", "0:900", "low 300"], "Ctrl+C off, then dark before anything is answered"
    assert told["log"][-2:] == ["0:30", "low 280"]
    lines = told["said"].splitlines()
    assert [line.split("*")[0] for line in lines if "proto" not in line] == [
        "~00 restarted watchdog", "<01 ok 10 RGB 280 900", "<02 ok", "!-- 13 forbidden-byte", "~01 button 1"
    ]  # fmt: skip
    assert "cause=watchdog" in told["said"]
    uptime = int(told["said"].split("uptime=")[1].split()[0])
    assert 0 <= uptime < 1000, "the clock wraps without a jump"


def test_memory_stays_flat(runs: Runs) -> None:
    board = DrivenBoard(runs, {"pixels": 200})

    def work(times: int) -> int:
        for number in range(times):
            board.send(seal(f">{number % 256:02X} light 0 {number % 200} 101010"))
            board.receive_line(0)
        return int(runs.command("free"))

    first = work(200)
    assert work(600) <= first + 2048, "bytes in use after a collection"


def test_circuitpython_part_on_stand_ins(monkeypatch: pytest.MonkeyPatch) -> None:
    """The names that CircuitPython 8 documents: neopixel_write, usb_cdc, supervisor.ticks_ms, digitalio, microcontroller."""
    log: list[str] = []
    left = bytearray(b"?\n" + seal(">01 setup 0 10 RGB 280 900") + seal(">02 light 0 3 101010"))
    sent = bytearray()
    ticks = iter(range((1 << 29) - 20, 1 << 30))

    class Pin:
        def __init__(self, name: str) -> None:
            self.name = name

        def switch_to_output(self, value: bool) -> None:
            log.append(f"{self.name} {value}")

        def switch_to_input(self, pull: str) -> None:
            log.append(f"{self.name} {pull}")

        @property
        def value(self) -> bool:
            return bool(left)

    class Line:
        in_waiting = property(lambda self: len(left))

        def read(self, count: int) -> bytes:
            taken = bytes(left[:count])
            del left[:count]
            return taken

        def write(self, data: bytes) -> None:
            sent.extend(data)

    def module(name: str, **parts: object) -> None:
        made = ModuleType(name)
        vars(made).update(parts)
        monkeypatch.setitem(sys.modules, name, made)

    reasons = SimpleNamespace(POWER_ON=0, RESET_PIN=1, BROWNOUT=2, WATCHDOG=3)
    module("board", GP0="GP0", GP15="GP15")
    module("digitalio", DigitalInOut=Pin, Pull=SimpleNamespace(UP="up"))
    module(
        "microcontroller",
        ResetReason=reasons,
        cpu=SimpleNamespace(reset_reason=2),
        delay_us=lambda us: log.append(f"low {us}"),
    )
    module("neopixel_write", neopixel_write=lambda pin, data: log.append(f"{pin.name}:{len(data)}"))
    module("supervisor", ticks_ms=lambda: next(ticks) % (1 << 29))
    module("usb_cdc", data=None, console=Line())
    firmware = load("probe_board_circuit", BOARD_FILE)
    monkeypatch.setattr(firmware, "PINS", ("GP0",))
    monkeypatch.setattr(firmware, "BUTTON_PIN", "GP15")
    hardware = firmware.CircuitHardware()
    for _ in range(120):
        hardware.step()
    assert log == ["GP0 False", "GP15 up", "GP0:900", "low 300", "GP0:900", "low 300", "GP0:30", "low 280"]
    lines = sent.decode().splitlines()
    assert lines[0].startswith("~00 restarted brownout")
    assert [line.split("*")[0] for line in lines[2:]] == ["<01 ok 10 RGB 280 900", "<02 ok", "~01 button 1"]
