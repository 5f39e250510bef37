"""Notices: lines that a board sends unasked (SPEC section 7)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from device_protocol.framing import NoticeLine
from device_protocol.orders.base import Fields
from device_protocol.orders.identity import RestartCause
from device_protocol.values import bits_text, parse_bits, parse_number


@dataclass(frozen=True, slots=True)
class Notice:
    """What all notices share."""

    WORD: ClassVar[str] = ""

    def fields(self) -> Fields:
        """FIELDS as on the line."""
        return ()

    def line(self, seq: int) -> NoticeLine:
        """The notice as a line with the board's number `seq`."""
        return NoticeLine(seq, self.WORD, self.fields())


@dataclass(frozen=True, slots=True)
class RestartNotice(Notice):
    """All is dark, all settings are lost (SPEC 7.2). `inferred`: the host saw it from the board's answers."""

    cause: RestartCause
    inferred: bool = False
    WORD: ClassVar[str] = "restarted"

    def fields(self) -> Fields:
        return (self.cause.value,)


@dataclass(frozen=True, slots=True)
class ButtonNotice(Notice):
    """The step button (SPEC 7.3). `total`: presses since the board's restart.

    `presses`: how many are new; the session counts those in whose notice was lost.
    """

    total: int
    presses: int = 1
    WORD: ClassVar[str] = "button"

    def fields(self) -> Fields:
        return (str(self.total),)


@dataclass(frozen=True, slots=True)
class DarkNotice(Notice):
    """The board went dark because the host was silent (SPEC 7.4)."""

    WORD: ClassVar[str] = "dark"

    def fields(self) -> Fields:
        return ("silence",)


@dataclass(frozen=True, slots=True)
class InputsNotice(Notice):
    """Lamp inputs as they are now, from number `first` (SPEC 7.6). Bits beyond the board's last input are False."""

    first: int
    on: tuple[bool, ...]
    WORD: ClassVar[str] = "inputs"

    def fields(self) -> Fields:
        return (str(self.first), bits_text(self.on))


@dataclass(frozen=True, slots=True)
class PlayNotice(Notice):
    """The game has the pixels again (SPEC 7.7)."""

    WORD: ClassVar[str] = "play"

    def fields(self) -> Fields:
        return ("game",)


@dataclass(frozen=True, slots=True)
class UnknownNotice(Notice):
    """A notice that this version does not know (SPEC 7.5)."""

    word: str
    unread: Fields

    def line(self, seq: int) -> NoticeLine:
        return NoticeLine(seq, self.word, self.unread)


def parse_notice(line: NoticeLine) -> Notice:
    """Read a notice. Fields that do not fit a known word make it an UnknownNotice."""
    try:
        match line.word, line.fields:
            case "restarted", (cause, *_):
                return RestartNotice(RestartCause.from_text(cause))
            case "restarted", ():
                return RestartNotice(RestartCause.UNKNOWN)
            case "button", (total, *_):
                return ButtonNotice(parse_number(total))
            case "dark", ("silence", *_):
                return DarkNotice()
            case "inputs", (first, bits, *_):
                return InputsNotice(parse_number(first), parse_bits(bits))
            case "play", ("game", *_):
                return PlayNotice()
    except ValueError:
        pass
    return UnknownNotice(line.word, line.fields)
