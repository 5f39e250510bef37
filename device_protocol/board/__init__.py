"""The board's half of the protocol, and a simulated board."""

from device_protocol.board.config import BoardConfig
from device_protocol.board.light import FRAMES_KEPT, BoardLight
from device_protocol.board.protocol_board import ProtocolBoard
from device_protocol.board.simulated import BOOT_MS_DEFAULT, Sighting, SimulatedBoard
from device_protocol.board.wiring import ChainWiring, PhysicalPixel, PixelChain

__all__ = [
    "BOOT_MS_DEFAULT",
    "FRAMES_KEPT",
    "BoardConfig",
    "BoardLight",
    "ChainWiring",
    "PhysicalPixel",
    "PixelChain",
    "ProtocolBoard",
    "Sighting",
    "SimulatedBoard",
]
