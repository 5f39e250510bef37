"""The game's side of a board: its lamp inputs, the levels of its lamps, and the picture that the lamp table makes of them
(SPEC sections 13 and 14)."""

from __future__ import annotations

from collections.abc import Callable

from device_protocol.current import current_ua, most_colour_sum
from device_protocol.lamp_table import BoardLampTable, TableGroup, TableLamp, TableOutput
from device_protocol.orders import INPUTS_A_REPLY, InputsNotice
from device_protocol.values import LINGER_MS_DEFAULT, Colour

GAME_STEP_MS = 20
"""Levels move, and frames go out, once in this time at most (SPEC 13.6, 13.8)."""
GIVE_BACK_MS = 1_000
"""The game gets the pixels so long after the board went dark by silence (SPEC 13.5)."""
NOTICE_MS = 100
"""Notices of inputs come no closer together (SPEC 7.6)."""

Levels = Callable[[TableLamp | TableGroup], int]


def moved(shown: int, asked: int, time_constant_ms: int) -> int:
    """The level 20 ms later (SPEC 13.6)."""
    difference = abs(asked - shown)
    part = (difference * GAME_STEP_MS + time_constant_ms + GAME_STEP_MS - 1) // (time_constant_ms + GAME_STEP_MS)
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
    figures = {"count": chain.count, "idle_ua": idle_ua, "channel_ua": channel_ua}
    if total and current_ua(colour_sum=total, **figures) > ceiling_ma * 1000:
        allowed = most_colour_sum(ceiling_ma=ceiling_ma, **figures)
        values = [[value * allowed // total for value in pixel] for pixel in values]
    return [Colour(*pixel) for pixel in values]


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
        self.unsent = False
        self._sent_ms: float | None = None

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
        self.unsent |= went_on and self.watched
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
            self.unsent |= self.watched
        return gone

    def watch(self, on: bool) -> None:
        """Notices from now on, or none."""
        self.watched = self.unsent = on

    def notice_due_ms(self) -> float | None:
        """When the next notice may be sent; None when nothing has changed."""
        if not self.unsent:
            return None
        return float("-inf") if self._sent_ms is None else self._sent_ms + NOTICE_MS

    def notices(self, now_ms: float) -> list[InputsNotice]:
        """The notices to send now."""
        self.unsent = False
        self._sent_ms = now_ms
        return [
            InputsNotice(first + 1, tuple(self.on[first : first + INPUTS_A_REPLY]))
            for first in range(0, len(self.on), INPUTS_A_REPLY)
        ]
