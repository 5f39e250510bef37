"""Makes inputs that are nearly right: sound ones, cut, doubled, spliced, bent, with tokens that matter put in."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence

from device_protocol.framing import crc16

_NUMBERS = (b"0", b"1", b"-1", b"00", b"15", b"16", b"255", b"256", b"65535", b"65536", b"999999999", b"1e9", b"0x10")
_BYTES = (b"\x00", b"\r", b"\n", b"\r\n", b"\t", b" ", b"*", b'"', b",", b";", b"\\", b"\xff", b"\xc3", b"\xe2\x80\xae",
          b"\xef\xbb\xbf", b"\xf0\x9f\x90\x99", b"[/x]", b"=1+1", b"{", b"}", b"[", b"]", b"null", b"NaN", b"1e999")  # fmt: skip


class Mutator:
    """`corpus`: sound inputs. `tokens`: words that matter to the reader. `seal_lines` puts right CRCs back half the time."""

    def __init__(
        self, rng: random.Random, corpus: Sequence[bytes], tokens: Sequence[bytes], *, seal_lines: bool = False
    ) -> None:
        self._rng = rng
        self._corpus = list(corpus)
        self._tokens = [*tokens, *_BYTES, *_NUMBERS]
        self._seal = seal_lines
        self._ways: tuple[Callable[[bytearray], None], ...] = (
            self._flip, self._cut, self._insert, self._double, self._number, self._splice, self._swap, self._truncate
        )  # fmt: skip

    def make(self) -> bytes:
        """One input."""
        rng = self._rng
        data = bytearray(rng.choice(self._corpus))
        for _ in range(min(int(rng.expovariate(0.5)), 12)):
            rng.choice(self._ways)(data)
        made = bytes(data[:65_536])
        return resealed(made) if self._seal and rng.random() < 0.5 else made

    def _at(self, data: bytearray) -> int:
        return self._rng.randrange(len(data) + 1)

    def _flip(self, data: bytearray) -> None:
        if data:
            data[self._rng.randrange(len(data))] ^= 1 << self._rng.randrange(8)

    def _cut(self, data: bytearray) -> None:
        at = self._at(data)
        del data[at : at + self._rng.randrange(1, 20)]

    def _insert(self, data: bytearray) -> None:
        at = self._at(data)
        data[at:at] = self._rng.choice(self._tokens) * self._rng.choice((1, 1, 1, 2, 40))

    def _double(self, data: bytearray) -> None:
        at = self._at(data)
        piece = data[at : at + self._rng.randrange(1, 200)]
        data[at:at] = piece

    def _number(self, data: bytearray) -> None:
        found = list(re.finditer(rb"\d+", data))
        if found:
            one = self._rng.choice(found)
            data[one.start() : one.end()] = self._rng.choice(_NUMBERS)

    def _splice(self, data: bytearray) -> None:
        other = self._rng.choice(self._corpus)
        start = self._rng.randrange(len(other) + 1)
        at = self._at(data)
        data[at : self._at(data)] = other[start : start + self._rng.randrange(1, 300)]

    def _swap(self, data: bytearray) -> None:
        lines = data.split(b"\n")
        if len(lines) > 2:
            a, b = self._rng.randrange(len(lines)), self._rng.randrange(len(lines))
            lines[a], lines[b] = lines[b], lines[a]
            data[:] = b"\n".join(lines)

    def _truncate(self, data: bytearray) -> None:
        del data[self._at(data) :]


def resealed(data: bytes) -> bytes:
    """The lines with CRCs that are right again; a fuzzer would stall on the check otherwise."""
    lines = data.split(b"\n")
    for at, line in enumerate(lines):
        star = line.rfind(b"*")
        if star >= 0:
            lines[at] = line[:star] + b"*%04X" % crc16(line[:star])
    return b"\n".join(lines)
