"""The game's lamps on a board: their levels, and the picture that the lamp table makes of them (SPEC section 13)."""

from __future__ import annotations

from collections.abc import Callable

from device_protocol.current import need_ua
from device_protocol.lamp_table import (
    BoardLampTable,
    TableGroup,
    TableLamp,
    TableOutput,
)
from device_protocol.values import DARK, Colour

STEP_MS = 20
"""Levels move, and frames go out, once in this time at most (SPEC 13.6, 13.8)."""
GIVE_BACK_MS = 1_000
"""The game gets the pixels so long after the board went dark by silence (SPEC 13.5)."""

Levels = Callable[[TableLamp | TableGroup], int]


def moved(shown: int, asked: int, time_constant_ms: int) -> int:
    """The level 20 ms later (SPEC 13.6)."""
    difference = abs(asked - shown)
    part = (difference * STEP_MS + time_constant_ms + STEP_MS - 1) // (time_constant_ms + STEP_MS)
    return shown + part if asked > shown else shown - part


class GameLamps:
    """Levels of all lamps and groups: what the game asks for, and what shows on the way there. Starts dark."""

    def __init__(self) -> None:
        self._asked: dict[tuple[bool, int], int] = {}
        self._shown: dict[tuple[bool, int], int] = {}

    @staticmethod
    def _key(whose: TableLamp | TableGroup) -> tuple[bool, int]:
        return isinstance(whose, TableGroup), whose.number

    def ask(self, whose: TableLamp | TableGroup, level: int) -> None:
        """The game wants a level."""
        self._asked[self._key(whose)] = level

    def shown(self, whose: TableLamp | TableGroup) -> int:
        """The level shown now."""
        return self._shown.get(self._key(whose), 0)

    @property
    def moving(self) -> bool:
        """True while a level shown differs from the level asked for."""
        return any(self._shown.get(key, 0) != asked for key, asked in self._asked.items())

    def begin_table(self, table: BoardLampTable) -> None:
        """A table comes into force: its groups are lit at once, or dark (SPEC 13.3)."""
        for entry in table.entries:
            if isinstance(entry.whose, TableGroup):
                level = 0 if entry.whose.starts_dark else 255
                self._asked[self._key(entry.whose)] = self._shown[self._key(entry.whose)] = level

    def step(self, table: BoardLampTable) -> bool:
        """20 ms pass. True when a level has changed."""
        changed = False
        for key, asked in self._asked.items():
            shown = self._shown.get(key, 0)
            if asked != shown:
                self._shown[key] = moved(shown, asked, table.rise_ms if asked > shown else table.fall_ms)
                changed = True
        return changed


def _dimmed(value: int, level: int) -> int:
    return (value * level + 127) // 255


def table_picture(
    table: BoardLampTable,
    chain: TableOutput,
    levels: Levels,
    *,
    count: int,
    ceiling_ma: int,
    idle_ua: int,
    channel_ua: int,
) -> list[Colour]:
    """Colours of the first `count` pixels of a chain, under the ceiling (SPEC 13.7)."""
    values = [[0, 0, 0, 0] for _ in range(count)]
    colours = len(chain.byte_order)
    for entry in table.entries:
        if entry.output != chain.output:
            continue
        level = levels(entry.whose)
        own = (entry.colour.red, entry.colour.green, entry.colour.blue, entry.colour.white)
        pixel = values[entry.pixel]
        for place in range(colours):
            pixel[place] = max(pixel[place], _dimmed(_dimmed(own[place], entry.level), level))
    total = sum(map(sum, values))
    # the record's whole count draws the idle current, lit or not
    dark_ua = need_ua([DARK] * chain.count, idle_ua=idle_ua, channel_ua=channel_ua)
    if total and dark_ua - (-channel_ua * total // 255) > ceiling_ma * 1000:
        room = max(0, ceiling_ma * 1000 - dark_ua)
        allowed = room * 255 // channel_ua
        values = [[value * allowed // total for value in pixel] for pixel in values]
    return [Colour(*pixel) for pixel in values]
