"""Boards that each break one clause, on the wire: what goes in and what comes out is bent on its way.

A `Bent` board is a sound one whose lines are changed by `out(line) -> lines` and whose bytes by `into(data) -> data`, so
that the mistakes are those a firmware makes, seen from outside.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.board.outputs import BoardOutput
from device_protocol.framing import crc16
from device_protocol.orders import FEATURES, Identity
from device_protocol.values import Colour


def seal(body: bytes) -> bytes:
    return body + b"*%04X\n" % crc16(body)


def body_of(line: bytes) -> bytes:
    return line[: line.rindex(b"*")]


class Bent(ProtocolBoard):
    """Bends bytes on their way in and whole lines on their way out."""

    def __init__(self, config: BoardConfig | None = None) -> None:
        super().__init__(config)
        self._partial = b""

    def into(self, data: bytes) -> bytes:
        return data

    def out(self, line: bytes) -> list[bytes]:
        return [line]

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        return self._bend(super().receive_data(self.into(data), now_ms))

    def tick(self, now_ms: float) -> bytes:
        return self._bend(super().tick(now_ms))

    def _bend(self, said: bytes) -> bytes:
        return b"".join(b"".join(self.out(line + b"\n")) for line in said.split(b"\n")[:-1])


def bent_out(change: Callable[[bytes], list[bytes]]) -> Callable[[], Bent]:
    class Made(Bent):
        def out(self, line: bytes) -> list[bytes]:
            return change(line)

    return Made


def bent_in(change: Callable[[bytes], bytes]) -> Callable[[], Bent]:
    """Bends whole lines on their way in (the checks send them whole)."""

    class Made(Bent):
        def into(self, data: bytes) -> bytes:
            return b"".join(change(line) for line in re.findall(rb"[^\n]*\n|[^\n]+$", data))

    return Made


def in_orders(change: Callable[[bytes], bytes]) -> Callable[[], Bent]:
    """Bends the body of orders whose CRC is right; the CRC stays right."""

    def bend(line: bytes) -> bytes:
        stripped = line.rstrip(b"\r\n")
        if b"*" not in stripped or b"*%04X" % crc16(body_of(stripped)) != stripped[-5:]:
            return line
        return seal(change(body_of(stripped)))

    return bent_in(bend)


def in_replies(pattern: bytes, new: bytes) -> Callable[[], Bent]:
    def bend(line: bytes) -> list[bytes]:
        body = body_of(line)
        changed = re.sub(pattern, new, body)
        return [seal(changed)] if changed != body else [line]

    return bent_out(bend)


def _drop(line: bytes, *codes: bytes) -> list[bytes]:
    return [] if any(line.startswith(b"!-- " + code) for code in codes) else [line]


class NeverDark(Bent):
    """Takes any silence time for the longest."""

    def into(self, data: bytes) -> bytes:
        if b" silence 500*" in data:
            return seal(body_of(data.rstrip()).replace(b" silence 500", b" silence 60000"))
        return data

    def out(self, line: bytes) -> list[bytes]:
        body = re.sub(rb"^(<[0-9A-F]{2} ok) 60000$", rb"\1 500", body_of(line))
        return [seal(re.sub(rb"silence=60000", b"silence=500", body))]


class SilentDark(Bent):
    def out(self, line: bytes) -> list[bytes]:
        return [] if line[4:8] == b"dark" else [line]


class _Boundless(BoardOutput):
    __slots__ = ()

    def check_ceiling(self, picture: list[Colour]) -> None:
        return


class _Careless(BoardOutput):
    """Rounds the need down, so that a step too much passes."""

    __slots__ = ()

    def check_ceiling(self, picture: list[Colour]) -> None:
        total = sum(colour.total for colour in picture)
        if total and (self.count * self.idle_ua + self.channel_ua * total // 255) // 1000 > self.ceiling_ma:
            super().check_ceiling(picture)


class OtherOutputs(ProtocolBoard):
    """Its outputs compute the ceiling in a way of their own."""

    kind: type[BoardOutput] = BoardOutput

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        for output in self.outputs:
            output.__class__ = self.kind
        return super().receive_data(data, now_ms)


class NoCeiling(OtherOutputs):
    kind = _Boundless


class CarelessCeiling(OtherOutputs):
    kind = _Careless


class ReadsBeyond(Bent):
    """`read` beyond the table is answered as if something had failed."""

    reading = False

    def into(self, data: bytes) -> bytes:
        self.reading = b" read " in data
        return data

    def out(self, line: bytes) -> list[bytes]:
        if self.reading and b" 22 bad-value" in line:
            return [seal(body_of(line).replace(b" 22 bad-value", b" 40 internal"))]
        return [line]


class Adds(ProtocolBoard):
    """`light` leaves what was lit before."""

    def light_up(self, number: int, picture: list[Colour]) -> None:
        before = self.outputs[number].picture
        if len(before) == len(picture):
            picture = [old if new.is_dark else new for old, new in zip(before, picture, strict=True)]
        super().light_up(number, picture)


class LazyDark(ProtocolBoard):
    """`dark` is answered, and nothing goes dark."""

    def make_dark(self, number: int) -> None:
        return


class StuckCount(Bent):
    """NSEQ never counts."""

    def out(self, line: bytes) -> list[bytes]:
        return [seal(b"~05" + body_of(line)[3:])] if line.startswith(b"~") and b"restarted" not in line else [line]


class TwiceDark(Bent):
    """Tells twice that it went dark."""

    def out(self, line: bytes) -> list[bytes]:
        if line[4:8] == b"dark":
            again = b"~%02X" % ((int(line[1:3], 16) + 1) % 256) + body_of(line)[3:]
            return [line, seal(again)]
        return [line]


class FastPatterns(ProtocolBoard):
    """Takes patterns of any speed: orders with a short step are made slow before they are looked at."""

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        if b" run " in data and b" 166 " in data:
            body = body_of(data.rstrip(b"\r\n")).replace(b" 166 ", b" 167 ")
            data = seal(body)
        return super().receive_data(data, now_ms)


def _no_features(*dropped: str) -> tuple[str, ...]:
    return tuple(name for name in FEATURES if name not in dropped)


BROKEN: dict[str, tuple[str, Callable[[], ProtocolBoard]]] = {
    "takes control characters": (
        "2.2",
        bent_in(
            lambda line: (
                seal(body_of(line).replace(b"\x00", b"").replace(b"\x09", b""))
                if b"*" in line and (b"\x00" in line or b"\t" in line)
                else line
            )
        ),
    ),
    "answers empty lines": ("2.3", bent_in(lambda line: b"x\n" if line in (b"\n", b"\r\n") else line)),
    "a shorter line than stated": ("2.4", lambda: _Shorter()),
    "takes lower-case digits": (
        "2.5",
        bent_in(
            lambda line: (
                line.replace(b">ab ", b">AB ").replace(b"*", b"*") if b">ab" not in line else seal(b">AB alive")
            )
        ),
    ),
    "does not look at the CRC": (
        "2.6",
        bent_in(
            lambda line: (
                seal(body_of(line.rstrip(b"\r\n")))
                if re.fullmatch(rb">\S\S [ -)+-~]+\*[0-9A-F]{4}\r?\n", line)
                else line
            )
        ),
    ),
    "sends wrong CRCs": (
        "2.6",
        bent_out(
            lambda line: [body_of(line) + b"*0000\n"] if line.startswith(b"<") and b"proto" not in line else [line]
        ),
    ),
    "takes leading zeros": (
        "2.7",
        in_orders(lambda body: re.sub(rb" 0+(\d)(?=[ ]|$)", rb" \1", body) if b" light " in body else body),
    ),
    "says nothing of over-long lines": ("2.8", bent_out(lambda line: _drop(line, b"12"))),
    "complains twice of over-long lines": (
        "2.8",
        bent_out(lambda line: [line, line] if line.startswith(b"!-- 12") else [line]),
    ),
    "answers twice": (
        "3.1",
        bent_out(lambda line: [line, line] if line.startswith(b"<") and b"proto" not in line else [line]),
    ),
    "says nothing of unknown words": ("3.1", bent_out(lambda line: [] if b" 20 unknown" in line else [line])),
    "always the same SEQ": (
        "3.3",
        bent_out(
            lambda line: (
                [seal(b"<42" + body_of(line)[3:])] if line.startswith(b"<") and b"proto" not in line else [line]
            )
        ),
    ),
    "numbers in damaged lines": (
        "3.4",
        bent_out(lambda line: [seal(b"!36" + body_of(line)[3:])] if line.startswith(b"!-- 11") else [line]),
    ),
    "checks values before their number": (
        "3.5",
        in_replies(rb"^(![0-9A-F]{2}) 21 argument-count$", rb"\1 22 bad-value"),
    ),
    "never goes dark": ("4.2", NeverDark),
    "goes dark without telling": ("4.2", SilentDark),
    "tells twice that it is dark": ("4.2", TwiceDark),
    "only `alive` counts against silence": ("4.2", lambda: _OnlyAlive()),
    "lets the ceiling be raised": (
        "4.3",
        in_orders(lambda body: re.sub(rb" (\d{4,9})$", b" 2000", body) if b" setup " in body else body),
    ),
    "rounds the need down": ("4.4", CarelessCeiling),
    "no ceiling at all": ("4.5", NoCeiling),
    "refuses without figures": ("4.5", in_replies(rb" need=\d+ ceiling=\d+$", b"")),
    "adds light to light": ("4.6", Adds),
    "fast patterns": ("4.11", FastPatterns),
    "an argument too many is ignored": ("5.1", in_orders(lambda body: re.sub(rb" id .*$", b" id", body))),
    "no hand-typed identify": ("5.2", bent_in(lambda line: b"x\n" if line.startswith(b"?") else line)),
    "fields in another order": ("5.3", in_replies(rb"(line=\d+) (outputs=\d+)", rb"\2 \1")),
    "lights beyond the chain": ("5.4", in_orders(lambda body: re.sub(rb" light 0 999999999 ", b" light 0 0 ", body))),
    "dark does nothing": ("5.5", LazyDark),
    "alive with fields": ("5.6", in_replies(rb"^(<[0-9A-F]{2} ok)$", rb"\1 1")),
    "setup takes any latch": (
        "5.7",
        in_orders(lambda body: re.sub(rb" (279|1001) ", b" 300 ", body) if b" setup " in body else body),
    ),
    "state lies about what is lit": ("5.8", in_replies(rb"(ok 6 BRG 310 \d+) 1 ", rb"\1 2 ")),
    "range of nothing": ("5.9", in_orders(lambda body: body.replace(b" range 0 0 0 ", b" range 0 0 1 "))),
    "any silence time": ("5.10", in_orders(lambda body: body.replace(b"silence 499", b"silence 500"))),
    "palette entry 0 can be set": ("5.11", in_orders(lambda body: body.replace(b" palette 0 0 ", b" palette 0 1 "))),
    "paint takes gaps": (
        "5.12",
        in_orders(
            lambda body: body.replace(b" paint 0 3 b", b" paint 0 2 b") if body.endswith(b" paint 0 3 b") else body
        ),
    ),
    "show without its figure": ("5.13", in_replies(rb"35 incomplete staged=\d+", b"35 incomplete")),
    "table revision differs": ("5.14", in_replies(rb" table=0 ", b" table=9 ")),
    "write takes gaps": ("5.15", in_orders(lambda body: body.replace(b" write 9 ", b" write 2 "))),
    "reads beyond the table": ("5.16", ReadsBeyond),
    "commits without its CRC": ("5.17", in_replies(rb"37 mismatch", b"38 bad-table")),
    "running always says the same": ("5.23", in_replies(rb"(ok all send live 200) \d+", rb"\1 0")),
    "edges of one input only": ("5.25", in_replies(rb"^(<[0-9A-F]{2} ok 0)( 0){7}$", rb"\1")),
    "watch tells nothing": (
        "5.27",
        bent_out(lambda line: [] if line[4:10] == b"inputs" and line.startswith(b"~") else [line]),
    ),
    "features in another order": ("6.1", in_replies(rb"features=setup,range", b"features=range,setup")),
    "notices are not counted": ("7.1", StuckCount),
    "another name for a code": ("8.2", in_replies(rb" 20 unknown-order", b" 20 what")),
    "a code that is not in the list": ("8.2", in_replies(rb" 20 unknown-order", b" 99 unknown-order")),
}


class _Shorter(ProtocolBoard):
    """States 96, takes 80."""

    def __init__(self) -> None:
        super().__init__(BoardConfig(line=80))

    def identity(self) -> Identity:
        return replace(super().identity(), line=96)


class _OnlyAlive(Bent):
    """Orders that are refused do not restart the silence time: they are answered without being heard."""

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        if b"light 0 999999999 080808" in data and self.silence_ms == 500:
            seq = data[1:3]
            return super().tick(now_ms) + seal(b"!" + seq + b" 31 no-such-pixel")
        return super().receive_data(data, now_ms)


def sound(**more: object) -> ProtocolBoard:
    """A board that keeps to everything."""
    return ProtocolBoard(replace(BoardConfig(), **more))  # type: ignore[arg-type]
