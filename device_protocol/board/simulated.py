"""A simulated board with pixels on its outputs: what a person would see, without hardware.

board = SimulatedBoard(BoardConfig(outputs=2), [Wiring.of_places(["a", "b"]), Wiring.of_places(["c"])])
answer = board.receive_data(order, now_ms)
board.lit()            # (Sighting("b", Colour(32, 0, 0)),)
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

from device_protocol.board.outputs import BoardConfig
from device_protocol.board.protocol_board import ProtocolBoard
from device_protocol.board.wiring import ChainWiring, PixelChain
from device_protocol.orders import RestartCause
from device_protocol.values import Colour

BOOT_MS_DEFAULT = 1_500.0
"""How long a board with a boot loader is deaf after the port opens: common practice, no source."""


class Sighting(NamedTuple):
    """Light seen at a place."""

    place: str
    colour: Colour


class SimulatedBoard(ProtocolBoard):
    """`ProtocolBoard` with a chain on each output. Outputs without a wiring have no pixels.

    `resets_on_open`: opening the port restarts it (cause `external`); for `boot_ms` it is deaf, then it says so.
    `return_wires`: outputs whose last pixel is wired back to the board (SPEC section 15).
    """

    def __init__(
        self,
        config: BoardConfig | None = None,
        wirings: Sequence[ChainWiring] = (),
        *,
        now_ms: float = 0.0,
        resets_on_open: bool = False,
        boot_ms: float = BOOT_MS_DEFAULT,
        return_wires: Collection[int] = (),
    ) -> None:
        outputs = (config or BoardConfig()).outputs
        if len(wirings) > outputs:
            raise ValueError(f"{len(wirings)} wirings for a board of {outputs} outputs")
        self.resets_on_open = resets_on_open
        self.return_wires = frozenset(return_wires)
        self.boot_ms = boot_ms
        self._deaf_until_ms: float | None = None
        self._chains = [PixelChain(wiring) for wiring in wirings]
        self._chains += [PixelChain(ChainWiring()) for _ in range(outputs - len(wirings))]
        super().__init__(config, now_ms=now_ms)

    # --- the port ---

    def open_port(self, now_ms: float) -> bytes:
        """The host opens the port. Returns what the board sends at once."""
        self.tick(now_ms)  # what was sent while nobody listened is gone
        if not self.resets_on_open:
            return b""
        self._deaf_until_ms = now_ms + self.boot_ms
        return b""

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        sent = self._boot(now_ms)
        if self._deaf_until_ms is not None:
            return sent
        return sent + super().receive_data(data, now_ms)

    def tick(self, now_ms: float) -> bytes:
        sent = self._boot(now_ms)
        if self._deaf_until_ms is not None:
            return sent
        return sent + super().tick(now_ms)

    def press_button(self, now_ms: float) -> bytes:
        sent = self._boot(now_ms)
        if self._deaf_until_ms is not None:
            return sent
        return sent + super().press_button(now_ms)

    def set_input(self, number: int, on: bool, now_ms: float) -> bytes:
        sent = self._boot(now_ms)
        if self._deaf_until_ms is not None:
            self.inputs.raw[number - 1] = on  # seen when the board has started
            return sent
        return sent + super().set_input(number, on, now_ms)

    def next_deadline_ms(self) -> float | None:
        return super().next_deadline_ms() if self._deaf_until_ms is None else self._deaf_until_ms

    @property
    def booting(self) -> bool:
        """True while the board is deaf after its port was opened."""
        return self._deaf_until_ms is not None

    def _boot(self, now_ms: float) -> bytes:
        if self._deaf_until_ms is None or now_ms < self._deaf_until_ms:
            return b""
        started_ms, self._deaf_until_ms = self._deaf_until_ms, None
        return self.restart(RestartCause.EXTERNAL, started_ms)

    # --- the pixels ---

    def clock_out(self, number: int, frame: bytes) -> None:
        self._chains[number].take_frame(frame)

    def edges_returned(self, number: int, frame: bytes) -> int:
        return self._chains[number].bits_beyond(frame) if number in self.return_wires else 0

    def wiring(self, output: int) -> ChainWiring:
        """What is wired to `output`."""
        return self._chains[output].wiring

    def rewire(self, output: int, wiring: ChainWiring) -> None:
        """Work on the chain, with its power off: all its pixels are dark until the next frame."""
        self._chains[output] = PixelChain(wiring)

    def shown(self, output: int) -> tuple[Colour, ...]:
        """The light that leaves each pixel of `output`, in the order of the wire."""
        return tuple(colour for _, colour in self._chains[output].shown())

    def lit(self) -> tuple[Sighting, ...]:
        """What a person sees: each pixel that is lit and has a place, by output and along the wire."""
        return tuple(
            Sighting(pixel.place, colour)
            for chain in self._chains
            for pixel, colour in chain.shown()
            if pixel.place is not None and not colour.is_dark
        )

    def seen(self, place: str) -> tuple[Colour, ...]:
        """The colours lit at a place now; empty when it is dark."""
        return tuple(sighting.colour for sighting in self.lit() if sighting.place == place)
