"""What a build of a board fixes (SPEC 5.3)."""

from __future__ import annotations

from dataclasses import dataclass

from device_protocol.orders import FEATURES


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardConfig:
    """What a build fixes (SPEC 5.3). `byte_order` is what holds after a restart."""

    outputs: int = 1
    pixels: int = 1000
    line: int = 96
    ceiling_ma: int = 2000
    channel_ua: int = 20_000
    idle_ua: int = 1_000
    features: tuple[str, ...] = FEATURES
    board: str = "simulated"
    build: str = "1.0"
    byte_order: str = "GRB"
    table_bytes: int = 500
    lamps: int = 64
    groups: int = 16
    play_pixels: int | None = None
    inputs: int = 8

    @property
    def game_pixels(self) -> int:
        """Pixels of three colours that the game can light on each output: 160 shared out, unless `play_pixels` says."""
        if self.play_pixels is not None:
            return self.play_pixels
        return min(self.pixels, 160 // self.outputs)

    def __post_init__(self) -> None:
        limits = {"outputs": (1, 16), "pixels": (1, 65_535), "line": (64, 255), "inputs": (1, 255)}
        for name, (least, most) in limits.items():
            if not least <= getattr(self, name) <= most:
                raise ValueError(f"{name} {getattr(self, name)}: {least} to {most} (SPEC 5.3)")
