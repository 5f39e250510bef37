"""The simulated chip itself, with small programs: a test that rests on it proves nothing unless it is like the chip."""

from __future__ import annotations

import pytest

from tests.firmware.build import build_probe_program
from tests.firmware.simulated_avr import HarnessError, SimulatedAvr

DEAF = r"""
#include <avr/io.h>
#include <util/delay.h>
static void put(uint8_t b) { while (!(UCSR0A & (1 << UDRE0))) ; UDR0 = b; }
int main(void)
{
    UCSR0A = 1 << U2X0; UBRR0 = 16; UCSR0B = (1 << RXEN0) | (1 << TXEN0);
    for (;;) {
        _delay_ms(5);
        while (UCSR0A & (1 << RXC0)) {
            uint8_t status = UCSR0A, byte = UDR0;
            put(byte); put(status & (1 << DOR0) ? '!' : '.');
        }
        put('\n');
    }
}
"""

EEPROM_WRITER = r"""
#include <avr/io.h>
#include <avr/eeprom.h>
#include <util/delay.h>
int main(void)
{
    UCSR0B = 1 << RXEN0;
    _delay_ms(1);
    for (uint16_t at = 0; at < 64; at++) eeprom_write_byte((uint8_t *)at, 0x55);
    for (;;) ;
}
"""

SLEEPER = r"""
#include <avr/io.h>
#include <avr/interrupt.h>
#include <avr/sleep.h>
int main(void) { UCSR0B = 1 << RXEN0; for (volatile long i = 0; i < 2000; i++) ; cli(); sleep_enable(); sleep_cpu(); for (;;) ; }
"""


@pytest.mark.parametrize(
    ("early", "read"),
    [(False, b"1.2.7!"), (True, b"1!2.7.")],
    ids=["flag-with-next-byte", "flag-at-once"],
)
def test_receiver_holds_two_bytes_and_one_more(early: bool, read: bytes) -> None:
    """ATmega328P data sheet, section 20.7.4: data overrun when the two-byte buffer is full, a byte waits in the shift
    register, and a new start bit is found; the byte that waits is overwritten."""
    with SimulatedAvr(build_probe_program("deaf", DEAF), paused=True, early_overrun=early) as chip:
        chip.receive_line(20)
        chip.feed(b"1234567")
        lines = [chip.receive_line(20), chip.receive_line(20)]
        assert read in lines
        assert chip.status()["overruns"] == 4
        chip.feed(b"123")
        assert b"1.2.3." in [chip.receive_line(20), chip.receive_line(20)], "three fit"


def test_bytes_take_ten_bits(chip: SimulatedAvr) -> None:
    status = chip.status()
    start = status["cycle"]
    chip.feed(b"?" * 100)
    while chip.status()["received"] < 100:
        chip.run(0.05)
    us = (chip.cycle() - start) / 16
    assert us == pytest.approx(100 * 86.806, abs=120)  # 8N1 at 115,200 baud: 86.806 us a byte


@pytest.mark.parametrize("seed", range(5))
def test_power_cut_tears_the_byte_being_written(seed: int) -> None:
    with SimulatedAvr(build_probe_program("eeprom", EEPROM_WRITER), paused=True) as chip:
        chip.store_eeprom(0, b"\x0f" * 64)
        chip.run(20 + seed)
        written = chip.status()["eeprom_writes"]
        assert 3 <= written <= 10, "a byte takes 3.4 ms (ATmega328P data sheet, table 8-1)"
        chip.power_cut(seed=seed)
        contents = chip.eeprom()
        assert contents[: written - 1] == b"\x55" * (written - 1)
        assert contents[written:64] == b"\x0f" * (64 - written)
        torn = contents[written - 1]
        assert torn | 0x0F == torn or torn | 0x55 == torn, (
            "bits of the old or the new value, and others not yet cleared"
        )


def test_a_chip_that_stands_still_is_reported() -> None:
    with (
        SimulatedAvr(build_probe_program("sleeper", SLEEPER), paused=True) as chip,
        pytest.raises(HarnessError, match="stands still"),
    ):
        chip.run(50)


def test_refused_commands_say_why(chip: SimulatedAvr) -> None:
    for text in ("dance", "pin Z9 1", "restart tuesday", "frame 3", "eeprom 5000 00"):
        with pytest.raises(HarnessError):
            chip.command(text)
    assert chip.status()["cycle"] > 0
