"""Patterns on the board's own clock: what the data pin shows, how often it changes, and that they are the tool's own."""

from __future__ import annotations

import pytest

from device_protocol.values import Colour
from probe.patterns.flash import flashes_per_second
from probe.patterns.patterns import DataLine, PatternChain, frame, pattern, steps
from tests.firmware.orders import order, read_answer
from tests.firmware.simulated_avr import SimulatedAvr
from tests.firmware.test_table_power_cut import ask_avr
from tests.support.examples import first_now

COUNT = 12
CHAIN = PatternChain(count=COUNT, ceiling_ma=450)


def begin(chip: SimulatedAvr) -> None:
    """A chain of 12 pixels under 450 mA."""
    assert ask_avr(chip, f"setup 0 {COUNT} GRB 300 450")[0] == "ok"


def wire(picture: tuple[Colour, ...]) -> bytes:
    """Wire bytes of a picture of the tool, on GRB pixels."""
    return b"".join(bytes((colour.green, colour.red, colour.blue)) for colour in picture)


WORDS = {
    "all-dim": ("all", "live"),
    "three-colours": ("all", "live"),
    "tour": ("all", "live"),
    "walk": ("walk", "live"),
    "load-steps": ("all", "live"),
    "hold-one": ("all", "hold"),
    "march": ("all", "hold"),
    "soak": ("all", "hold"),
    "send-idle": ("all", "hold"),
}


@pytest.mark.parametrize("name", first_now(WORDS))
def test_the_board_shows_the_tool_s_patterns(chip: SimulatedAvr, name: str) -> None:
    """Each pattern of the fault finder as one order; at every step the pin shows the picture that the tool works out."""
    begin(chip)
    made = pattern(name, {"step_ms": "400"})
    kind, keep = WORDS[name]
    total = steps(made, CHAIN)
    frames = [frame(made, CHAIN, step) for step in range(total)]
    sending = (
        "once"
        if frames[0].line is DataLine.ONCE
        else "turns"
        if DataLine.LOW in {each.line for each in frames}
        else "send"
    )
    shown = [frames[0]] if kind == "walk" or sending == "turns" else frames
    colours = " ".join(max(each.picture).text for each in shown)
    assert ask_avr(chip, f"run 0 {kind} {sending} {keep} 400 {colours}") == ("ok",)
    assert len(f">00 run 0 {kind} {sending} {keep} 400 {colours}*0000") <= 64
    chip.run(200)
    for step in range(total + 2):
        chip.sent()
        assert chip.frame(0).data == wire(frame(made, CHAIN, step).picture), f"step {step}"
        if keep == "live":
            assert ask_avr(chip, "alive") == ("ok",)
        before = chip.frame(0).frames
        chip.run(100)
        assert (chip.frame(0).frames - before >= 10) == (frame(made, CHAIN, step).line is DataLine.SENDING)
        chip.run(300)
        if made.repeats is False:
            break


@pytest.mark.parametrize("line", first_now(["send", "once"]))
def test_never_more_than_three_flashes_a_second(chip: SimulatedAvr, line: str) -> None:
    """Full contrast at the shortest step allowed, with a host that asks all the while."""
    begin(chip)
    assert ask_avr(chip, f"run 0 all {line} live 166 000000 040404")[0] == "22"
    assert ask_avr(chip, f"run 0 all {line} live 167 000000 040404")[0] == "ok"
    changes, shown = [], chip.frame(0).data
    for turn in range(5600):
        if turn % 70 == 0:
            chip.feed(order(turn % 256, "alive"))
        chip.run(0.5)
        if chip.frame(0).data != shown:
            shown = chip.frame(0).data
            changes.append(int(chip.cycle() / 16_000))
    assert len(changes) > 12
    assert flashes_per_second(changes) <= 3


def test_a_held_frame_rests_and_outlasts_the_silence(chip: SimulatedAvr) -> None:
    begin(chip)
    assert ask_avr(chip, "run 0 all once hold 1000 000C00") == ("ok",)
    frames = chip.frame(0).frames
    chip.run(9000)
    assert chip.frame(0).frames == frames, "one frame, then the line rests"
    assert chip.sent() == b"", "no silence rule, no notice"
    assert ask_avr(chip, "running 0")[:4] == ("ok", "all", "once", "hold")
    assert ask_avr(chip, "dark all") == ("ok",)
    assert ask_avr(chip, "running 0") == ("ok", "none")


@pytest.mark.slow
def test_orders_come_through_while_a_long_chain_is_sent_all_the_time(chip: SimulatedAvr) -> None:
    """1,000 pixels take 32 ms with interrupts off; no byte of an order, however long, is lost by that."""
    assert ask_avr(chip, "run 0 all send hold 1000 000100") == ("ok",)
    longest = "paint 0 0 " + "ab" * 38 + "a"  # 96 bytes with number and CRC
    for turn in range(30):
        chip.run(7.3)
        chip.feed(order(turn, longest))
        line = chip.receive_line(500)
        assert line is not None
        assert read_answer(line).fields == ("ok", "77"), turn
    assert chip.status()["overruns"] == 0
