"""An ATmega328P running the firmware, instruction by instruction, behind a pseudo-terminal.

    with SimulatedAvr(build_avr()) as chip:
        port = serial.Serial(chip.pty, 115200)      # as any client opens a board
        ...
        chip.frame(0).data                          # what the pixels were sent

Unless started with `paused=True` the chip runs freely: as fast as the machine can while there is work, at the pace of
real time while the firmware sleeps. A test that wants to be the same on every machine starts it paused, puts bytes on the
line with `feed` and lets simulated time pass with `run` and `run_sent`; nothing then depends on the machine's speed.

`tests/firmware/simavr_harness/main.c` is the program behind it and lists its commands.
"""

from __future__ import annotations

import json
import subprocess
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from tests.firmware.build import build_harness

CYCLE_NS = 62.5


class HarnessError(RuntimeError):
    """The harness refused a command, or the simulated chip stands still."""


@dataclass(frozen=True)
class FrameOut:
    """The last frame on a data pin that a reset-long low followed."""

    data: bytes
    begin_cycle: int
    end_cycle: int
    frames: int
    """Frames on this pin so far."""
    spare_bits: int
    """Bits beyond whole bytes; 0 in a sound frame."""


@dataclass(frozen=True)
class Timing:
    """Least and most of each time on a data pin, ns; None when it has not been seen.

    `t0l` and `t1l` are low times between bits of a byte, `gap` those between bytes and pixels of a frame, `latch` those
    between frames.
    """

    t0h: tuple[float, float] | None
    t1h: tuple[float, float] | None
    t0l: tuple[float, float] | None
    t1l: tuple[float, float] | None
    gap: tuple[float, float] | None
    latch: tuple[float, float] | None


class SimulatedAvr:
    """A running harness. Close it, or use it in a `with`."""

    def __init__(
        self,
        elf: Path,
        *,
        paused: bool = False,
        outputs: int = 1,
        data_pin: str = "B0",
        host_baud: int = 115_200,
        early_overrun: bool = False,
        reset_on_open_ms: int | None = None,
        eeprom: Path | None = None,
        chip: str = "atmega328p",
    ) -> None:
        command = [str(build_harness()), str(elf), "--outputs", str(outputs), "--data", data_pin]
        command += ["--host-baud", str(host_baud)]
        command += ["--chip", chip]
        command += ["--paused"] if paused else []
        command += ["--early-overrun"] if early_overrun else []
        command += ["--reset-on-open", str(reset_on_open_ms)] if reset_on_open_ms is not None else []
        command += ["--eeprom", str(eeprom)] if eeprom is not None else []
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self._lines = bytearray()
        self.pty: str = self._answer()["pty"]
        """Path of the pseudo-terminal that stands for the board's serial port."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Ends the simulation: for a client, the board has been unplugged."""
        if self._process.stdin is not None and not self._process.stdin.closed:
            self._process.stdin.close()
        try:
            self._process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()

    def _answer(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise HarnessError(f"the harness ended with {self._process.wait()}; its reason is on standard error")
        answer: dict[str, Any] = json.loads(line)
        if "error" in answer:
            raise HarnessError(answer["error"])
        return answer

    def command(self, text: str) -> dict[str, Any]:
        """Any command of the harness; its answer. Raises HarnessError."""
        assert self._process.stdin is not None
        self._process.stdin.write(text + "\n")
        self._process.stdin.flush()
        return self._answer()

    # --- time ---

    def run(self, ms: float) -> None:
        """Lets simulated time pass, as fast as possible."""
        self.command(f"run {ms}")

    def run_to_cycle(self, cycle: int) -> None:
        """Lets simulated time pass up to a cycle."""
        self.command(f"run_to {cycle}")

    def cycle(self) -> int:
        """Cycles since the start, 16 a microsecond."""
        return int(self.command("status")["cycle"])

    def pause(self) -> None:
        """Stops free running."""
        self.command("pause")

    def resume(self) -> None:
        """Lets the chip run freely."""
        self.command("resume")

    # --- line (beside the pseudo-terminal) ---

    def feed(self, data: bytes) -> None:
        """Puts bytes on the line to the chip, back to back at the host's speed."""
        self.command(f"feed {data.hex()}")

    def sent(self) -> bytes:
        """All that the chip has sent since the last call."""
        return bytes.fromhex(self.command("sent")["bytes"])

    def receive_line(self, timeout_ms: float) -> bytes | None:
        """The next line that the chip sends, without LF, or None if none ends within `timeout_ms` simulated time."""
        self._lines += self.sent()
        if b"\n" not in self._lines:
            self.command(f"run_sent 1 {timeout_ms}")
            self._lines += self.sent()
        if b"\n" not in self._lines:
            return None
        line, _, rest = bytes(self._lines).partition(b"\n")
        self._lines = bytearray(rest)
        return line

    def settle_line(self) -> None:
        """Lets time pass until all bytes fed have arrived."""
        while not self.status()["idle"]:
            self.run(0.1)

    def lose_byte(self) -> None:
        """The chip's receiver overruns after the bytes that it has received."""
        self.settle_line()
        self.command("overrun")

    # --- pins ---

    def frame(self, output: int) -> FrameOut:
        """The last frame on an output, decoded from the edges of its pin."""
        answer = self.command(f"frame {output}")
        return FrameOut(
            data=bytes.fromhex(answer["bytes"]),
            begin_cycle=answer["begin"],
            end_cycle=answer["end"],
            frames=answer["frames"],
            spare_bits=answer["spare_bits"],
        )

    def timing(self, output: int) -> Timing:
        """Least and most of each time since `clear_timing`."""
        answer = self.command(f"timing {output}")
        return Timing(**{name: None if seen is None else (seen[0], seen[1]) for name, seen in answer.items()})

    def clear_timing(self) -> None:
        """Forgets the times seen so far."""
        self.command("timing_clear")

    def record_edges(self, path: Path | None) -> None:
        """Writes every edge from now on to a file, 16 bytes each: cycle, then level + 256 x bit of the port, both
        64 bits, little-endian. None stops and completes the file."""
        self.command("edges" if path is None else f"edges {path}")

    def set_pin(self, pin: str, level: int) -> None:
        """Drives an input pin such as "D2"; all are high at the start, as with a pull-up."""
        self.command(f"pin {pin} {level}")

    def fit_return_wire(self, output: int, *, bits: int, pin: str = "D4") -> None:
        """A chain that keeps so many bits of each frame and passes the rest on to a pin; 0 takes it away."""
        self.command(f"chain {output} {bits} {pin}")

    def set_shift_registers(self, levels: bytes, *, pins: str = "C0 C1 C2") -> None:
        """A chain of 74HC165 on these pins (load, clock, data) sees these levels, a byte each, the nearest first, A lowest."""
        self.command(f"shift {pins} {levels.hex()}")

    def press(self, pin: str = "D2", *, ms: float = 60) -> None:
        """Presses the step button for so long, then lets go for as long."""
        self.set_pin(pin, 0)
        self.run(ms)
        self.set_pin(pin, 1)
        self.run(ms)

    # --- restarts and memory ---

    def restart(self, cause: str) -> None:
        """Restarts the chip: power, external, brownout, watchdog, unknown, or bootloader (entered by the reset pin; it has
        cleared the flags and left them in r2)."""
        self.command(f"restart {cause}")

    def power_cut(self, *, seed: int = 1) -> None:
        """Power goes and comes back; an EEPROM byte being written is left half done, its bits chosen by `seed`."""
        self.command(f"power_cut {seed}")

    def eeprom(self) -> bytes:
        """Contents of the EEPROM."""
        return bytes.fromhex(self.command("eeprom")["eeprom"])

    def store_eeprom(self, offset: int, data: bytes) -> None:
        """Puts bytes into the EEPROM, as from outside."""
        self.command(f"eeprom {offset} {data.hex()}")

    def status(self) -> dict[str, Any]:
        """Counts: cycle, chip_baud, fed, received, overruns, sent, lines, stack_free (bytes), eeprom_writes,
        line_taken (cycle at which the chip last began to send on a quiet line), idle (nothing on the line)."""
        return self.command("status")
