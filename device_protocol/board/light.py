"""What a board lights: frames, patterns, the lamp table's picture, and who has the pixels (SPEC sections 4, 12 and 13)."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from device_protocol.board.game import GameLamps, Levels, table_picture
from device_protocol.board.outputs import BoardConfig, BoardOutput, RunningPattern
from device_protocol.framing import crc16
from device_protocol.lamp_table import BoardLampTable, TableGroup, TableLamp, TableLimits, TableOutput, decode_table
from device_protocol.orders import OutputSettings, Player, TableState
from device_protocol.values import DARK, LATCH_US_DEFAULT, Colour

FRAMES_KEPT = 64
"""So many frames of each output are kept for whoever looks at them."""
NO_CRC = 0xFFFF
"""CRC of no bytes, stated when there is no table (SPEC 5.14)."""


@dataclass(frozen=True, slots=True)
class StoredTable:
    """A table in force."""

    revision: int
    image: bytes
    table: BoardLampTable

    @property
    def crc(self) -> int:
        """Checksum of the image."""
        return crc16(self.image)


@dataclass(slots=True)
class TableStore:
    """Room for one image of `capacity` bytes twice. What is in force outlasts a restart, what is staged does not."""

    capacity: int
    held: StoredTable | None = None
    staged: bytearray = field(default_factory=bytearray)

    def commit(self, image: bytes, revision: int) -> None:
        """`image`, which has been checked, comes into force."""
        self.held = StoredTable(revision, image, decode_table(image))
        self.staged.clear()

    def erase(self) -> None:
        """No table."""
        self.held = None
        self.staged.clear()

    @property
    def image(self) -> bytes:
        """The image in force; empty without a table."""
        return b"" if self.held is None else self.held.image

    @property
    def state(self) -> TableState:
        """What `table` answers (SPEC 5.14)."""
        revision, crc = (0, NO_CRC) if self.held is None else (self.held.revision, self.held.crc)
        return TableState(
            revision=revision, length=len(self.image), crc=crc, capacity=self.capacity, staged=len(self.staged)
        )


class BoardLight:
    """Outputs, the table store and the game's lamps of a board. Knows no lines and no time."""

    def __init__(self, config: BoardConfig) -> None:
        self.config = config
        self.outputs: list[BoardOutput] = []
        self.frames: list[deque[bytes]] = [deque(maxlen=FRAMES_KEPT) for _ in range(self.config.outputs)]
        self.frames_clocked = 0
        self.store = TableStore(self.config.table_bytes)
        """Non-volatile: survives `restart`."""
        self.table_limits = TableLimits(outputs=self.config.outputs, count=self.config.pixels)
        if "play" in self.config.features:
            self.table_limits = replace(
                self.table_limits,
                lamps=self.config.lamps,
                groups=self.config.groups,
                pixels=self.config.game_pixels,
            )
        self._game = GameLamps()
        self._game_has = False
        self._redraw = False  # the game's picture may have changed
        self._table_lit = False  # what is lit was lit by the table

    def begin_light(self) -> None:
        """The board has restarted: settings, levels and staged pictures are lost, the table is not."""
        config = self.config
        self._game = GameLamps()
        self._game_has = self._redraw = self._table_lit = False
        settings = OutputSettings(
            count=config.pixels,
            byte_order=config.byte_order,
            latch_us=LATCH_US_DEFAULT,
            ceiling_ma=config.ceiling_ma,
        )
        self.outputs = [BoardOutput.of(settings, config) for _ in range(config.outputs)]

    def light_up(self, number: int, picture: list[Colour]) -> None:
        """Show a picture that was not staged, if the ceiling allows it."""
        output = self.outputs[number]
        output.check_ceiling(picture)
        self.take_pixels()
        output.pattern = None
        output.forget_staged(palette_too=True)
        self.clock_picture(number, picture)

    def make_dark(self, number: int) -> None:
        """Show a dark picture of the present count."""
        self.take_pixels()
        output = self.outputs[number]
        output.pattern = None
        output.forget_staged(palette_too=True)
        self.clock_picture(number, [DARK] * output.count)

    def clock_picture(self, number: int, picture: list[Colour]) -> None:
        """Make `picture` the one that is lit, and clock it out."""
        output = self.outputs[number]
        output.picture = picture
        frame = output.frame()
        output.shown = (frame, output.colours_of_pixel)
        self._clock(number, frame)

    def run_pattern(self, number: int, pattern: RunningPattern) -> None:
        """Start a pattern, if the ceiling allows all its steps."""
        output = self.outputs[number]
        pictures = pattern.pictures(output.count)
        output.check_ceiling(max(pictures, key=lambda picture: sum(colour.total for colour in picture)))
        self.light_up(number, pictures[0])
        output.pattern = pattern

    # --- the lamp table and the game's pixels ---

    @property
    def game_has_pixels(self) -> bool:
        """SPEC 13.1."""
        return self._game_has

    def take_pixels(self) -> None:
        """The host has the pixels; what the table lit goes dark (SPEC 13.2)."""
        self._darken_table_picture()
        self._game_has = False

    def give_pixels(self, player: Player) -> None:
        """Everything goes dark, then `player` has the pixels."""
        for number in range(len(self.outputs)):
            self.make_dark(number)
        if player is Player.GAME:
            self._game_has = self._redraw = True

    def change_table(self, change: Callable[[], None]) -> None:
        """Commit or erase: what the old table lit goes dark first."""
        self._darken_table_picture()
        change()
        held = self.store.held
        if held is not None:
            self._game.begin_table(held.table)
        self._game_has &= held is not None
        self._redraw = True

    def light_whose(self, whose: TableLamp | TableGroup, level: int) -> None:
        """Light what the table gives a lamp or group, and nothing else (SPEC 5.20)."""
        if not self._table_lit:
            for number in range(len(self.outputs)):
                self.make_dark(number)
        self._game_has = False
        wanted = (type(whose), whose.number)
        self._show_table(lambda each: level if (type(each), each.number) == wanted else 0)

    def _darken_table_picture(self) -> None:
        held = self.store.held
        if held is not None and self._table_lit:
            for chain in held.table.outputs:
                count = min(chain.count, self.table_limits.pixels_of(chain))
                self._clock_table(chain, [DARK] * count)
        self._table_lit = False

    def _show_table(self, levels: Levels) -> None:
        held = self.store.held
        assert held is not None
        for chain in held.table.outputs:
            picture = table_picture(
                held.table,
                chain,
                levels,
                count=min(chain.count, self.table_limits.pixels_of(chain)),
                ceiling_ma=min(chain.ceiling_ma, self.outputs[chain.output].ceiling_ma),
                idle_ua=self.config.idle_ua,
                channel_ua=self.config.channel_ua,
            )
            self._clock_table(chain, picture)
        self._table_lit = True

    def _clock_table(self, chain: TableOutput, picture: list[Colour]) -> None:
        output = self.outputs[chain.output]
        output.forget_staged(palette_too=True)
        output.picture = picture
        frame = b"".join(colour.wire(chain.byte_order) for colour in picture)
        output.shown = (frame, len(chain.byte_order))
        self._clock(chain.output, frame)

    # --- the return wire ---

    def count_chain(self, number: int, sent: int, times: int) -> tuple[int, int, int]:
        """Least and most pixels found, and the edges of the last time (SPEC 5.28)."""
        self.make_dark(number)
        bits = 8 * self.outputs[number].colours_of_pixel
        found: list[int] = []
        edges = 0
        for _ in range(times):
            frame = bytes(sent * bits // 8)
            self._clock(number, frame)
            edges = self.edges_returned(number, frame)
            found.append(max(0, sent - (edges + bits // 2) // bits))
        return min(found), max(found), edges

    def edges_returned(self, number: int, frame: bytes) -> int:
        """Edges that come back by the return wire of an output. None here; boards with something on it override."""
        return 0

    def _clock(self, number: int, frame: bytes) -> None:
        self.frames[number].append(frame)
        self.frames_clocked += 1
        self.clock_out(number, frame)

    def clock_out(self, number: int, frame: bytes) -> None:
        """A frame leaves output `number`. Boards with something on the wire override this."""
