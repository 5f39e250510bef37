"""Lamp inputs of a board: hold-on, edge counts, what is still to be told (SPEC section 14)."""

from __future__ import annotations

from collections.abc import Sequence

LINGER_MS_DEFAULT = 25
TELL_MS = 100
"""Notices of inputs come no closer together (SPEC 7.6)."""
INPUTS_A_LINE = 64


def bits_text(states: Sequence[bool]) -> str:
    """BITS of SPEC 5.24 for up to 64 inputs."""
    data = bytearray(-(-len(states) // 8))
    for place, on in enumerate(states):
        data[place // 8] |= on << place % 8
    return data.hex().upper()


class LampInputs:
    """`count` inputs, numbered from 1. `raw` is what the pins show; it outlasts a restart of the board."""

    def __init__(self, count: int) -> None:
        self.raw = [False] * count
        self.begin()

    def begin(self) -> None:
        """The board has restarted. Inputs that are on are seen to go on."""
        self.linger_ms = LINGER_MS_DEFAULT
        self.on = list(self.raw)
        self.edges = [int(on) for on in self.raw]
        self._off_due_ms: dict[int, float] = {}
        self.watched = False
        self.untold = False
        self._told_ms: float | None = None

    def __len__(self) -> int:
        return len(self.raw)

    def set(self, number: int, on: bool, now_ms: float) -> bool:
        """A pin changes. True when the input has gone on by that."""
        place = number - 1
        if on == self.raw[place]:
            return False
        self.raw[place] = on
        if not on:
            self._off_due_ms[number] = now_ms + self.linger_ms
            return False
        self._off_due_ms.pop(number, None)
        self.edges[place] = (self.edges[place] + 1) % 65_536
        went_on = not self.on[place]
        self.on[place] = True
        self.untold |= went_on and self.watched
        return went_on

    def off_due_ms(self) -> float | None:
        """When the next input will have been off for the hold-on time."""
        return min(self._off_due_ms.values(), default=None)

    def take_off(self, now_ms: float) -> list[int]:
        """Inputs whose hold-on time has passed; they count as off now."""
        gone = [number for number, due_ms in self._off_due_ms.items() if due_ms <= now_ms]
        for number in gone:
            del self._off_due_ms[number]
            self.on[number - 1] = False
            self.untold |= self.watched
        return gone

    def watch(self, on: bool) -> None:
        """Notices from now on, or none."""
        self.watched = self.untold = on

    def tell_due_ms(self) -> float | None:
        """When the next notice may be sent; None when there is nothing to tell."""
        if not self.untold:
            return None
        return float("-inf") if self._told_ms is None else self._told_ms + TELL_MS

    def told(self, now_ms: float) -> list[tuple[int, str]]:
        """FIRST and BITS of the notices to send now."""
        self.untold = False
        self._told_ms = now_ms
        return [
            (first + 1, bits_text(self.on[first : first + INPUTS_A_LINE]))
            for first in range(0, len(self.on), INPUTS_A_LINE)
        ]
