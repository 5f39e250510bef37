"""The board's half of the protocol: what a firmware does, in Python, and a simulated board with pixels on its outputs.

    board = SimulatedBoard(BoardConfig(outputs=2), [ChainWiring.of_places(["a", "b"])], resets_on_open=True)
    data = board.open_port(now_ms), .receive_data(data, now_ms), .tick(now_ms), .press_button(now_ms)
    board.set_input(number, on, now_ms), .ask_lamp(lamp or group, level, now_ms), .restart(cause, now_ms)
    board.next_deadline_ms(), .mark_lost_bytes(), .frames[output]
    board.lit(), .seen(place), .shown(output), .wiring(output), .rewire(output, wiring)
    ChainWiring: .spliced_in .removed .reversed_run .swapped .moved .without_light .with_dead_output .missing

`ProtocolBoard` is the same without pixels. Every call that takes `now_ms` (any steady clock, ms) returns the bytes that
the board sends. Within: `protocol_board` has lines and time, `handlers` the table of orders, `light` what is lit,
`outputs` one chain, `game` lamps and inputs.
"""

from device_protocol.board.light import FRAMES_KEPT
from device_protocol.board.outputs import BoardConfig
from device_protocol.board.protocol_board import ProtocolBoard
from device_protocol.board.simulated import BOOT_MS_DEFAULT, Sighting, SimulatedBoard
from device_protocol.board.wiring import ChainWiring, PhysicalPixel, PixelChain

__all__ = [
    "BOOT_MS_DEFAULT",
    "FRAMES_KEPT",
    "BoardConfig",
    "ChainWiring",
    "PhysicalPixel",
    "PixelChain",
    "ProtocolBoard",
    "Sighting",
    "SimulatedBoard",
]
