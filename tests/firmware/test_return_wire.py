"""The return wire: the chip counts what the last pixel passes on, edge by edge, in hardware."""

from __future__ import annotations

import pytest

from tests.firmware.host_board import HostBoard
from tests.firmware.orders import order, read_answer
from tests.firmware.simulated_avr import SimulatedAvr
from tests.firmware.test_table_power_cut import ask_avr


@pytest.mark.parametrize("pixels", [1, 2, 10, 11, 84, 149, 150, 999])
def test_the_chip_counts_the_chain(chip: SimulatedAvr, pixels: int) -> None:
    chip.fit_return_wire(0, bits=24 * pixels)
    sent = min(1000, pixels + 60)
    assert ask_avr(chip, f"count 0 {sent} 2") == ("ok", str(pixels), str(pixels), str(24 * (sent - pixels)))
    assert chip.frame(0).data == bytes(3 * sent)
    assert ask_avr(chip, "alive") == ("ok",)


def test_pixels_of_four_colours(chip: SimulatedAvr) -> None:
    assert ask_avr(chip, "setup 0 30 GRBW 300 1000")[0] == "ok"
    chip.fit_return_wire(0, bits=32 * 30)
    assert ask_avr(chip, "count 0 50 3") == ("ok", "30", "30", str(32 * 20))


def test_an_open_chain_gives_back_nothing(chip: SimulatedAvr) -> None:
    assert ask_avr(chip, "count 0 50 1") == ("ok", "50", "50", "0")


def test_bits_lost_on_the_way_round_to_the_nearest_pixel(chip: SimulatedAvr) -> None:
    chip.fit_return_wire(0, bits=24 * 84 + 7)
    assert ask_avr(chip, "count 0 100 1") == ("ok", "84", "84", str(24 * 16 - 7))


def test_a_drop_out_shows(host_board: HostBoard) -> None:
    """A wire that is open in one of the times shows in the next answer; all times alike show none."""
    host_board.fit_return_wire(84)
    assert read_answer(host_board.send(order(1, "count 0 100 4"))[:-1]).fields == ("ok", "84", "84", "384")
    host_board.fit_return_wire(0)
    assert read_answer(host_board.send(order(1, "count 0 100 4"))[:-1]).fields == ("ok", "100", "100", "0")


def test_the_counting_frame_keeps_its_times(chip: SimulatedAvr) -> None:
    chip.fit_return_wire(0, bits=24 * 84)
    chip.clear_timing()
    assert ask_avr(chip, "count 0 300 2")[0] == "ok"
    times = chip.timing(0)
    assert times.t0h == (312.5, 312.5)
    assert times.gap is not None
    assert times.gap[1] < 5000
    assert times.latch is not None
    assert times.latch[0] >= 280_000
