"""What a build fixes, and one output as the board knows it: settings, what is lit, what is staged, the pattern that runs
by the board's own clock (SPEC sections 4 and 5)."""

from __future__ import annotations

from dataclasses import dataclass, field

from device_protocol.current import current_ua, exceeds_ceiling, need_ma
from device_protocol.errors import ErrorCode, Refusal
from device_protocol.orders import FEATURES, OutputSettings, PatternKeep, PatternKind, PatternLine, PatternState
from device_protocol.values import (
    CEILING_MA,
    COLOUR_CHANNEL_UA,
    DARK,
    GROUPS,
    IDLE_UA,
    INPUTS,
    LAMPS,
    LINE_BYTES,
    OUTPUTS,
    PALETTE_LAST,
    PIXELS,
    TABLE_BYTES,
    Colour,
)


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
        """Pixels of three colours that the game can light on each output: 168 shared out, unless `play_pixels` says."""
        if self.play_pixels is not None:
            return self.play_pixels
        return min(self.pixels, 168 // self.outputs)

    def __post_init__(self) -> None:
        stated = {
            "line": LINE_BYTES,
            "outputs": OUTPUTS,
            "pixels": PIXELS,
            "ceiling_ma": CEILING_MA,
            "channel_ua": COLOUR_CHANNEL_UA,
            "idle_ua": IDLE_UA,
            "table_bytes": TABLE_BYTES,
            "lamps": LAMPS,
            "groups": GROUPS,
            "inputs": INPUTS,
        }
        for name, bounds in stated.items():
            if getattr(self, name) not in bounds:
                raise ValueError(f"{name} {getattr(self, name)}: {bounds} (SPEC section 5)")


@dataclass(slots=True)
class RunningPattern:
    """`due_ms`: when the step shown ends; `steps_done`: how many have ended."""

    kind: PatternKind
    sending: PatternLine
    keep: PatternKeep
    step_ms: int
    colours: tuple[Colour, ...]
    due_ms: float
    steps_done: int = 0

    @property
    def holds(self) -> bool:
        """True when the silence rule does not end it."""
        return self.keep is PatternKeep.HOLD

    def pictures(self, count: int) -> list[list[Colour]]:
        """One picture for each need there is: every step of `whole`, any of `walk`."""
        if self.kind is PatternKind.WALK:
            return [self.picture(count, 0)]
        return [self.picture(count, step) for step in range(len(self.colours))]

    def picture(self, count: int, step: int | None = None) -> list[Colour]:
        """The picture of a step on a chain of `count`; of the present one if None."""
        at = self.steps_done if step is None else step
        if self.kind is PatternKind.WHOLE:
            return [self.colours[at % len(self.colours)]] * count
        picture = [DARK] * count
        picture[at % count] = self.colours[0]
        return picture

    @property
    def sends_now(self) -> bool:
        """True while frames are sent again and again."""
        if self.sending is PatternLine.TURNS:
            return self.steps_done % 2 == 0
        return self.sending is PatternLine.SEND

    @property
    def state(self) -> PatternState:
        """What `running` answers (SPEC 5.23)."""
        return PatternState(
            kind=self.kind, sending=self.sending, keep=self.keep, step_ms=self.step_ms, steps_done=self.steps_done
        )


def _dark_palette() -> list[Colour]:
    return [DARK] * (PALETTE_LAST + 1)


@dataclass(slots=True)
class BoardOutput:
    """Settings and pictures of one output. `picture` is what was clocked out last, a colour for each pixel."""

    count: int
    byte_order: str
    latch_us: int
    ceiling_ma: int
    channel_ua: int
    idle_ua: int
    picture: list[Colour] = field(default_factory=list)
    palette: list[Colour] = field(default_factory=_dark_palette)
    staged: list[int] = field(default_factory=list)
    pattern: RunningPattern | None = None
    shown: tuple[bytes, int] | None = None
    """Frame of the last picture and bytes of a pixel, as long as it can be read back (SPEC 5.29)."""

    def __post_init__(self) -> None:
        self.picture = [DARK] * self.count

    @classmethod
    def of(cls, settings: OutputSettings, config: BoardConfig) -> BoardOutput:
        """An output with these settings on a board of that build."""
        return cls(
            count=settings.count,
            byte_order=settings.byte_order,
            latch_us=settings.latch_us,
            ceiling_ma=settings.ceiling_ma,
            channel_ua=config.channel_ua,
            idle_ua=config.idle_ua,
        )

    @property
    def settings(self) -> OutputSettings:
        """What `setup` and `state` answer (SPEC 5.7)."""
        return OutputSettings(
            count=self.count, byte_order=self.byte_order, latch_us=self.latch_us, ceiling_ma=self.ceiling_ma
        )

    @property
    def colours_of_pixel(self) -> int:
        """3 or 4."""
        return len(self.byte_order)

    @property
    def lit(self) -> int:
        """Pixels that are not dark."""
        return sum(not colour.is_dark for colour in self.picture)

    @property
    def need_ma(self) -> int:
        """Need of what is lit, mA, rounded up (SPEC 4.4)."""
        total = sum(colour.total for colour in self.picture)
        need_ua = current_ua(count=self.count, colour_sum=total, idle_ua=self.idle_ua, channel_ua=self.channel_ua)
        return -(-need_ua // 1000)

    def bytes_shown(self, pixel: int) -> bytes | None:
        """What went out for a pixel in the last picture; None when that is not held."""
        if self.shown is None:
            return None
        frame, width = self.shown
        return frame[pixel * width : (pixel + 1) * width] or None

    def check_ceiling(self, picture: list[Colour]) -> None:
        """Refuse a picture above the ceiling (SPEC 4.4, 4.5). A dark one always passes."""
        figures = {"idle_ua": self.idle_ua, "channel_ua": self.channel_ua}
        if exceeds_ceiling(picture, **figures, ceiling_ma=self.ceiling_ma):
            raise Refusal(ErrorCode.CEILING, f"need={need_ma(picture, **figures)}", f"ceiling={self.ceiling_ma}")

    def frame(self) -> bytes:
        """The bytes to clock out for `picture`."""
        return b"".join(colour.wire(self.byte_order) for colour in self.picture)

    def forget_staged(self, *, palette_too: bool) -> None:
        """Forget what is staged. SPEC 5.11 lets a board spoil the palette too when it lights something else; this one
        does, so that no host relies on it."""
        self.staged.clear()
        if palette_too:
            self.palette = _dark_palette()
