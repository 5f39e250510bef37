"""Bytes that come while a frame is clocked out: kept, or owned up to; never silently wrong (SPEC 3.8)."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.firmware.orders import Answer, lone_pixel, order, read_answer
from tests.firmware.simulated_avr import SimulatedAvr
from tests.support.examples import first_now

COLOURS = ("010000", "000200", "000003", "040506")


def wire(colour: str) -> bytes:
    """RRGGBB as G, R, B."""
    red, green, blue = bytes.fromhex(colour)
    return bytes([green, red, blue])


def answers(chip: SimulatedAvr, silence_ms: float) -> list[Answer]:
    """All that comes until nothing has come for so long."""
    got = []
    while (line := chip.receive_line(silence_ms)) is not None:
        got.append(read_answer(line))
    return got


@pytest.mark.slow
@pytest.mark.parametrize("count", first_now([8, 100, 300, 1000]))
def test_order_then_wait_is_always_answered(chip: SimulatedAvr, count: int) -> None:
    chip.feed(order(0, f"setup 0 {count} GRB 300 2000"))
    assert chip.receive_line(200) is not None
    for turn in range(100):
        pixel, colour = turn * 7 % count, COLOURS[turn % 4]
        chip.feed(order(turn, f"light 0 {pixel} {colour}"))
        line = chip.receive_line(250 + 0.05 * count)  # as long as SPEC 3.9 lets the host wait
        assert line is not None
        assert read_answer(line) == Answer("<", f"{turn:02X}", ("ok",))
        assert chip.frame(0).data == lone_pixel(count, pixel, wire(colour))
    assert chip.status()["overruns"] == 0


@pytest.mark.parametrize("early_overrun", [False, True], ids=["flag-with-next-byte", "flag-at-once"])
@pytest.mark.parametrize("count", first_now([100, 8, 300, 1000]))
def test_four_orders_in_flight(avr_elf: Path, count: int, early_overrun: bool) -> None:
    """A host that breaks SPEC 3.2: every order is carried out or answered with an error, none is taken for another."""
    with SimulatedAvr(avr_elf, paused=True, early_overrun=early_overrun) as chip:
        assert chip.receive_line(100) is not None
        chip.feed(order(0xFF, f"setup 0 {count} GRB 300 2000"))
        assert chip.receive_line(200) is not None
        good = lost = 0
        for turn in range(0, 100, 4):
            burst = [(turn + each, (turn + each) * 7 % count, COLOURS[each]) for each in range(4)]
            chip.feed(b"".join(order(seq, f"light 0 {pixel} {colour}") for seq, pixel, colour in burst))
            got = answers(chip, 120)
            if len(got) < 4:  # lines whose LF was lost have run together
                chip.feed(b"\n")  # ends what is left of a lost line
                got += answers(chip, 50)
            assert 1 <= len(got) <= 4
            for answer in got:
                assert answer.good or answer.code in {"10", "11", "12", "13", "14"}, answer
            last_good = max((int(answer.seq, 16) for answer in got if answer.good), default=None)
            if last_good is not None:
                _, pixel, colour = burst[last_good - turn]
                assert chip.frame(0).data == lone_pixel(count, pixel, wire(colour))
            good += sum(answer.good for answer in got)
            lost += sum(answer.code == "14" for answer in got)
        if count <= 8:
            assert good == 100, "a short frame fits into the ring and the polling between pixels"
        assert good >= 25, "the first of each burst comes while the board is free"
        assert good == 100 or lost > 0, "a board that lost bytes says so"


def test_more_in_flight_than_any_buffer_holds(chip: SimulatedAvr) -> None:
    chip.feed(order(1, "light 0 0 000001") * 12)
    got = answers(chip, 200)
    chip.feed(b"\n")
    got += answers(chip, 50)
    assert any(answer.code == "14" for answer in got)
    assert chip.status()["overruns"] == 0, "polled between pixels, the chip itself loses nothing: the ring is full"
    chip.feed(order(2, "alive"))
    assert [answer.good for answer in answers(chip, 50)] == [True], "and the next order is heard"


@pytest.mark.parametrize("early_overrun", [False, True], ids=["flag-with-next-byte", "flag-at-once"])
def test_a_lost_byte_anywhere_in_an_order(avr_elf: Path, early_overrun: bool) -> None:
    with SimulatedAvr(avr_elf, paused=True, early_overrun=early_overrun) as chip:
        assert chip.receive_line(100) is not None
        chip.feed(order(0, "setup 0 8 GRB 300 2000"))
        assert chip.receive_line(100) is not None
        line = order(1, "light 0 3 102030")
        frames = chip.frame(0).frames
        for at in range(len(line)):
            chip.feed(line[:at])
            chip.lose_byte()
            chip.feed(line[at:])
            got = [read_answer(each) for each in [chip.receive_line(100)] if each is not None]
            assert [(answer.seq, answer.fields) for answer in got] == [("--", ("14", "lost-bytes"))], at
            assert chip.frame(0).frames == frames, "nothing is clocked out for it"
        chip.feed(line)
        assert chip.receive_line(100) == b"<01 ok*3CD3"


def test_a_far_end_of_another_speed_lights_nothing(avr_elf: Path) -> None:
    """9,600 baud against 115,200: whatever arrives, nothing lights and nothing stops."""
    with SimulatedAvr(avr_elf, paused=True, host_baud=9600) as chip:
        assert chip.receive_line(100) is not None
        before = chip.frame(0)
        chip.feed(order(1, "light 0 3 FFFFFF") * 3)
        chip.run(100)
        assert all(read_answer(line).code in {"10", "11", "12", "13", "14"} for line in chip.sent().splitlines())
        assert chip.frame(0) == before
