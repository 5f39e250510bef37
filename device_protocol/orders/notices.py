"""Notices: lines that a board sends unasked (SPEC section 7)."""

from __future__ import annotations

from dataclasses import dataclass

from device_protocol.errors import BoardFault
from device_protocol.framing import NoticeLine
from device_protocol.orders.feature_replies import read_bits
from device_protocol.orders.replies import RestartCause
from device_protocol.values import parse_number


@dataclass(frozen=True, slots=True)
class RestartNotice:
    """All is dark, all settings are lost (SPEC 7.2). `inferred`: not told by the board, but seen from its answers."""

    cause: RestartCause
    inferred: bool = False


@dataclass(frozen=True, slots=True)
class ButtonNotice:
    """The step button (SPEC 7.3). `total`: presses since the board's restart.

    `presses`: how many are new; the session counts those in whose notice was lost.
    """

    total: int
    presses: int = 1


@dataclass(frozen=True, slots=True)
class DarkNotice:
    """The board went dark because the host was silent (SPEC 7.4)."""


@dataclass(frozen=True, slots=True)
class InputsNotice:
    """Lamp inputs as they are now, from number `first` (SPEC 7.6). Bits beyond the board's last input are False."""

    first: int
    on: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class PlayNotice:
    """The game has the pixels again (SPEC 7.7)."""


@dataclass(frozen=True, slots=True)
class UnknownNotice:
    """A notice that this version does not know (SPEC 7.5)."""

    word: str
    fields: tuple[str, ...]


Notice = RestartNotice | ButtonNotice | DarkNotice | InputsNotice | PlayNotice | UnknownNotice


def parse_notice(line: NoticeLine) -> Notice:
    """Read a notice. Fields that do not fit a known word make it an UnknownNotice."""
    match line.word, line.fields:
        case "restarted", (cause, *_):
            return RestartNotice(RestartCause.from_text(cause))
        case "restarted", ():
            return RestartNotice(RestartCause.UNKNOWN)
        case "button", (total, *_):
            try:
                return ButtonNotice(parse_number(total))
            except ValueError:
                return UnknownNotice(line.word, line.fields)
        case "dark", ("silence", *_):
            return DarkNotice()
        case "inputs", (first, bits, *_):
            try:
                return InputsNotice(parse_number(first), read_bits(bits, 8 * (len(bits) // 2)))
            except (ValueError, BoardFault):
                return UnknownNotice(line.word, line.fields)
        case "play", ("game", *_):
            return PlayNotice()
        case _:
            return UnknownNotice(line.word, line.fields)
