"""The compiled boards in a second, independent simulator each: what they answer, what leaves their pins, and when.

rp2040js steps its PIO without regard to time; run.mjs gives each instruction its cycle and its delay by the data sheet. That
shows the state machine's program and its divider, not the chip's clocks.
"""

from __future__ import annotations

import itertools

import pytest

from tests.firmware import build
from tests.firmware.lamp_tables import SHIFT_REGISTERS, SIXTY_LAMPS, levels_of, lit_pixels, order_texts
from tests.firmware.orders import order, read_answer
from tests.firmware.other_simulators import SecondSimulator
from tests.protocol.conversation import Conversation, all_conversations, run_conversation

PLAYED = {
    "avr": ("light", "range", "paint", "readback", "refusals", "ceiling", "table"),
    "rp2040": ("light", "range", "paint", "readback", "rgbw"),
}
CASES = [
    (kind, conversation)
    for kind, names in PLAYED.items()
    for conversation in all_conversations()
    if conversation.name in names
]
LEFT_OUT = ("button", "table", "play", "inputs", "count")


def config_of(kind: str, conversation: Conversation) -> dict[str, object]:
    config = build.config_for(conversation.board)
    if kind == "rp2040":
        config |= {f"PP_FEATURE_{name.upper()}": 0 for name in LEFT_OUT}
    return config


def test_every_conversation_named_is_there() -> None:
    assert len(CASES) == sum(map(len, PLAYED.values()))


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "conversation"), CASES, ids=[f"{kind}-{each.name}" for kind, each in CASES])
def test_conversations(kind: str, conversation: Conversation) -> None:
    with SecondSimulator(kind, config_of(kind, conversation)) as board:
        run_conversation(conversation, board)


@pytest.mark.slow
@pytest.mark.parametrize("kind", PLAYED)
def test_a_walk_and_its_pulses(kind: str) -> None:
    """Two outputs, a pixel at a time; pulses within SPEC 4.8."""
    config: dict[str, object] = {"PP_OUTPUTS": 2, "PP_PIXELS": 30}
    if kind == "rp2040":
        config |= {f"PP_FEATURE_{name.upper()}": 0 for name in LEFT_OUT}
    with SecondSimulator(kind, config) as board:
        line = board.receive_line(300)
        assert line is not None
        assert read_answer(line).fields[0] == "restarted"
        for output in (0, 1):
            for pixel in range(0, 30, 7):
                board.send(order(pixel, f"light {output} {pixel} FF00AA"))
                line = board.receive_line(300)
                assert line is not None
                assert read_answer(line).good
                frame = board.last_frame(output)
                assert frame == bytes(3 * pixel) + b"\x00\xff\xaa" + bytes(3 * (29 - pixel))
            times = board.command(f"times {output}")
            assert 250 <= times["t0h"][0] <= times["t0h"][1] <= 380
            assert 650 <= times["t1h"][0] <= times["t1h"][1] <= 950
            assert 700 <= times["low0"][0] <= times["low0"][1] < 5_000
            assert 580 <= times["low1"][0] <= times["low1"][1] < 5_000


@pytest.mark.slow
def test_sixty_lamps_through_shift_registers() -> None:
    """Eight 74HC165 as the second simulator has them: each lamp alone, all, rectified half-waves, and no register fitted."""
    counter = itertools.count(1)
    with SecondSimulator("avr", SHIFT_REGISTERS) as board:

        def ask(text: str) -> tuple[str, ...]:
            board.send(order(next(counter), text))
            line = board.receive_line(2000)
            assert line is not None, text
            return read_answer(line).fields

        def show(on: set[int]) -> None:
            board.set_shift_registers(levels_of(on))

        def lit() -> set[int]:
            frame = board.last_frame(0)
            return set() if frame is None else {pixel - 5 for pixel in lit_pixels(frame)}

        assert board.receive_line(300) is not None
        for text in [*order_texts(SIXTY_LAMPS, 3), "play game"]:
            assert ask(text)[0] == "ok"
        board.advance(60)
        assert lit() == set(), "no register fitted: nothing is on"
        for on in (*({number} for number in range(1, 65)), {57, 2}, set(range(1, 65)), set()):
            show(on)
            board.advance(60)
            assert lit() == {number for number in on if number <= 60}
        assert ask("inputs 1") == ("ok", "60", "00" * 8)
        before = ask("edges 41")
        for _ in range(20):
            show({42, 60})
            board.advance(6)
            show(set())
            board.advance(4)
        after = ask("edges 41")
        assert [int(b) - int(a) for a, b in zip(before[1:], after[1:], strict=True)] == [0, 20, 0, 0, 0, 0, 0, 0]
        assert ask("inputs 1")[2] == "0000000000020008"
