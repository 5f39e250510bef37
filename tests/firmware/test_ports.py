"""Which chips each port is for, and how soon an order's light is there."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.firmware import build
from tests.firmware.build import FIRMWARE
from tests.firmware.orders import order, read_answer
from tests.firmware.simulated_avr import CYCLE_NS, SimulatedAvr
from tests.firmware.test_waveform import ask, edges_of
from tests.support.examples import first_now
from tests.support.tools import require

CHIP_BAUD = 117_647
"""What an ATmega at 16 MHz makes of 115,200 (SPEC 2.1)."""


@pytest.mark.parametrize("count", [1, 108, 500, 1000])
def test_the_light_is_there_within_a_tenth_of_what_line_and_pixels_need(
    count: int, tmp_path: Path, avr_elf: Path
) -> None:
    """From the order's first bit to the latched frame, by the chip's clock: its bits on the line, 30 us a pixel, 300 us."""
    build.build_harness()
    with SimulatedAvr(avr_elf, paused=True) as chip:
        assert chip.receive_line(200) is not None
        ask(chip, 1, f"setup 0 {count} GRB 300 2000")
        chip.run(30)
        recorded = tmp_path / "edges"
        chip.record_edges(recorded)
        line = order(2, f"light 0 {count // 2} 200000")
        begun = chip.cycle()
        chip.feed(line)
        assert chip.receive_line(300) is not None
        chip.record_edges(None)
        taken_us = (edges_of(recorded)[-1][0] - begun) * CYCLE_NS / 1000 + 300
        assert taken_us <= 1.1 * (len(line) * 10e6 / CHIP_BAUD + 30 * count + 300)


def make(*arguments: str) -> subprocess.CompletedProcess[str]:
    require("make", "avr-gcc", "avr-size")
    return subprocess.run(["make", "avr", *arguments], cwd=FIRMWARE, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("chip", first_now(["atmega32u4", "atmega1284p", "at90usb1286"]))
def test_another_chip_is_refused_with_a_sentence(chip: str, tmp_path: Path) -> None:
    done = make(f"MCU={chip}", f"BUILD={tmp_path}")
    assert done.returncode != 0
    assert "take the generic port" in done.stderr


@pytest.mark.slow
def test_the_largest_sibling_has_its_own_receive_vector(tmp_path: Path) -> None:
    done = make("MCU=atmega2560", f"BUILD={tmp_path}")
    assert done.returncode == 0, done.stderr
    elf = tmp_path / "playfield_probe.elf"
    symbols = subprocess.run(["avr-nm", str(elf)], capture_output=True, text=True, check=True).stdout
    assert " T __vector_25\n" in symbols, "USART0_RX of the ATmega2560 (data sheet, table 14-1: vector 26 from 1)"
    build.build_harness()
    with SimulatedAvr(elf, paused=True, outputs=2, chip="atmega2560") as chip:
        line = chip.receive_line(200)
        assert line is not None
        assert read_answer(line).fields[0] == "restarted"
        assert ask(chip, 1, "light 1 7 102030") == ()
        assert chip.frame(1).data == bytes(21) + b"\x20\x10\x30" + bytes(3 * 492)
        times = chip.timing(1)
        assert times.t0h == (312.5, 312.5)
        assert times.t1h == (687.5, 687.5)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("board", "chip"),
    first_now([("standard", "atmega328p"), ("leonardo", "atmega32u4"), ("mega", "atmega2560")], several=True),
)
def test_the_generic_port_builds_with_the_ide_core(board: str, chip: str, tmp_path: Path) -> None:
    elf = build.build_sketch(tmp_path, variant=board, chip=chip, generic=True)
    flash, ram = build.sizes(elf)
    assert flash < 28_672
    assert ram < 2_048 - 300
    if chip != "atmega328p":
        return
    build.build_harness()
    with SimulatedAvr(elf, paused=True, outputs=2) as simulated:
        line = simulated.receive_line(300)
        assert line is not None
        assert read_answer(line).fields == ("restarted", "unknown")
        assert ask(simulated, 1, "light 1 7 102030") == ()
        assert simulated.frame(1).data == bytes(21) + b"\x20\x10\x30" + bytes(3 * 92)
        times = simulated.timing(1)
        assert times.t0h == (312.5, 312.5)
        assert times.gap is not None
        assert times.gap[1] < 5_000
