"""The C core as a program (device_protocol/firmware/ports/host/board_host.c), driven command by command."""

from __future__ import annotations

import subprocess
from pathlib import Path
from types import TracebackType
from typing import Self


class HostBoard:
    """A running `board_host`. Simulated time passes only with `advance`; a sanitizer's finding ends it with an error."""

    def __init__(self, program: Path) -> None:
        self._process = subprocess.Popen(
            [str(program)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        self._sent = bytearray()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Ends the program; raises RuntimeError with its last words if it had not ended well."""
        _, said = self._process.communicate()
        if self._process.returncode != 0:
            raise RuntimeError(f"board_host ended with {self._process.returncode}:\n{said}")

    def _command(self, text: str) -> list[str]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        try:
            self._process.stdin.write(text + "\n")
            self._process.stdin.flush()
        except BrokenPipeError:
            pass  # its last words tell more
        answer = self._process.stdout.readline()
        if not answer:
            _, said = self._process.communicate()
            raise RuntimeError(f"board_host ended at {text[:80]!r}:\n{said}")
        parts = answer.rstrip("\n").split(" ")
        if parts[0] == "error":
            raise RuntimeError(f"board_host: {answer}")
        return parts

    def _act(self, text: str) -> bytes:
        sent = bytes.fromhex(self._command(text)[1])
        self._sent += sent
        return sent

    def start(self, cause: str = "power") -> bytes:
        """Restarts the board. Like the other acts it returns what the board sent on that."""
        return self._act(f"start {cause}")

    def send(self, data: bytes) -> bytes:
        """Bytes from the host arrive."""
        return self._act(f"in {data.hex()}")

    def advance(self, ms: float) -> bytes:
        """Time passes."""
        return self._act(f"wait {int(ms)}")

    def set_input(self, number: int, on: bool) -> bytes:
        """The game's lamp output at an input, from 1, goes on or off."""
        return self._act(f"input {number} {int(on)}")

    def set_lamp(self, lamp: int, level: int) -> bytes:
        """The board's own game program wants a lamp at a level."""
        return self._act(f"lamp {lamp} {level}")

    def set_group(self, group: int, level: int) -> bytes:
        """The same for a group."""
        return self._act(f"group {group} {level}")

    def set_tint(self, lamp: int, colour: int) -> bytes:
        """The board's own game program gives a lamp a colour of the table by its number, or -1 for its own."""
        return self._act(f"tint {lamp} {colour}")

    def lamp_pixel(self, lamp: int, nth: int) -> tuple[int, int] | None:
        """The `nth` pixel, output and number, that the game's interface finds for a lamp."""
        answer = self._command(f"pixel {lamp} {nth}")[1:]
        return None if answer == ["none"] else (int(answer[0]), int(answer[1]))

    def hide_inputs(self, groups: int) -> bytes:
        """Groups of eight inputs, one bit each, that cannot be seen until further notice."""
        return self._act(f"unseen {groups}")

    def fit_return_wire(self, pixels: int) -> bytes:
        """A return wire from chains of so many pixels; 0 takes it away."""
        return self._act(f"chain {pixels}")

    def cut_power(self, *, writes: int, torn: int = 0) -> None:
        """The power goes with the so-manieth byte written to the non-volatile memory; bits of `torn` stay set in it."""
        self._act(f"cut {writes} {torn}")

    def writes(self) -> int:
        """Bytes written to the non-volatile memory since the program began."""
        return int(self._command("writes")[1])

    def blank(self) -> None:
        """The non-volatile memory is as delivered, from the next start."""
        self._act("blank")

    def set_button(self, closed: bool) -> bytes:
        """The contact of the step button closes or opens."""
        return self._act(f"button {int(closed)}")

    def lose_bytes(self) -> bytes:
        """Bytes are lost here."""
        return self._act("lost")

    def frame(self, output: int) -> tuple[int, int, bytes]:
        """Pixels of the last frame, frames so far, wire bytes."""
        answer = self._command(f"frame {output}")
        return int(answer[1]), int(answer[2]), bytes.fromhex(answer[3] if len(answer) > 3 else "")

    def take_sent(self) -> bytes:
        """All that the board has sent since the last call."""
        sent = bytes(self._sent)
        self._sent.clear()
        return sent
