"""One output as the board knows it: settings, what is lit, what is staged (SPEC sections 4 and 5)."""

from __future__ import annotations

from dataclasses import dataclass, field

from device_protocol.board.pattern import RunningPattern
from device_protocol.current import need_ma, need_ua
from device_protocol.errors import ErrorCode
from device_protocol.values import DARK, PALETTE_LAST, Colour


class Refusal(Exception):  # noqa: N818 - an answer, not a failure of this program
    """The order is answered with `code` and `fields` and changes nothing."""

    def __init__(self, code: ErrorCode, *fields: str) -> None:
        super().__init__(code.word)
        self.code = code
        self.fields = fields


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

    def __post_init__(self) -> None:
        self.picture = [DARK] * self.count

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
        return -(-(self.count * self.idle_ua - (-self.channel_ua * total // 255)) // 1000)

    def check_ceiling(self, picture: list[Colour]) -> None:
        """Refuse a picture above the ceiling (SPEC 4.4, 4.5). A dark one always passes."""
        if all(colour.is_dark for colour in picture):
            return
        if need_ua(picture, idle_ua=self.idle_ua, channel_ua=self.channel_ua) > self.ceiling_ma * 1000:
            need = need_ma(picture, idle_ua=self.idle_ua, channel_ua=self.channel_ua)
            raise Refusal(ErrorCode.CEILING, f"need={need}", f"ceiling={self.ceiling_ma}")

    def frame(self) -> bytes:
        """The bytes to clock out for `picture`."""
        return b"".join(colour.wire(self.byte_order) for colour in self.picture)

    def forget_staged(self, *, palette_too: bool) -> None:
        """Forget what is staged. SPEC 5.11 lets a board spoil the palette too when it lights something else; this one
        does, so that no host relies on it."""
        self.staged.clear()
        if palette_too:
            self.palette = _dark_palette()
