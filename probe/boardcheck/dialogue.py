"""A conversation with a board under check: lines out with their CRC, lines in taken apart, dim light at a calm pace."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Protocol

from device_protocol.errors import BeyondLimitsFault, ErrorCode, ProtocolFault
from device_protocol.framing import crc16
from device_protocol.orders import Identify, Identity

CALM_MS = 170.0
"""Between two changes of what is lit: six changes, three flashes, in a second (SPEC 4.11, 11.2)."""
DIM = "080808"
_SHAPE = re.compile(
    rb"^(?:<(?P<ok_seq>[0-9A-F]{2}) ok|!(?P<bad_seq>[0-9A-F]{2}|--) (?P<code>\d\d) (?P<name>[a-z-]+)"
    rb"|~(?P<nseq>[0-9A-F]{2}) (?P<word>[a-z]{1,12}))(?P<fields>(?: [\x21-\x29\x2b-\x7e]+)*)\*(?P<crc>[0-9A-F]{4})$"
)


class Talk(Protocol):
    """Bytes to and from a board."""

    async def send(self, data: bytes) -> None:
        """Put bytes on the line."""

    async def line(self, within_ms: float) -> bytes | None:
        """The next line without its LF; None if none is complete in time."""

    async def wait(self, ms: float) -> None:
        """Let time pass."""

    def now_ms(self) -> float:
        """Any steady clock, ms."""

    def late_ms(self) -> float:
        """For how long in all, by that clock, this computer let the check wait although it was ready to go on."""


class Failure(Exception):  # noqa: N818 - what happened; the board erred, not we
    """The board did not keep to the clause that is checked, or to `clause` if that is another one."""

    def __init__(self, what: str, *, clause: str | None = None) -> None:
        super().__init__(what)
        self.clause = clause


@dataclass(frozen=True)
class BoardReply:
    """One line from the board. `code` is None for `ok`; `seq` is text."""

    seq: str
    code: int | None
    fields: tuple[str, ...]
    raw: bytes
    word: str = ""

    @property
    def ok(self) -> bool:
        """Whether the order was carried out."""
        return self.code is None

    def field(self, key: str) -> str | None:
        """The value of a `key=value` field."""
        for text in self.fields:
            if text.startswith(f"{key}="):
                return text[len(key) + 1 :]
        return None


@dataclass
class Dialogue:
    """Talks to one board. Every line that comes is held against 2.4, 2.5, 2.6, 8.1 and 8.2."""

    talk: Talk
    identity: Identity | None = None
    notices: list[BoardReply] = field(default_factory=list)
    spoiled: dict[str, str] = field(default_factory=dict)
    """Clauses that some line broke, with the first such line, whatever was checked at the moment."""
    log: list[str] = field(default_factory=list)
    heard_notices: list[BoardReply] = field(default_factory=list)
    """Every notice of the whole run."""
    opening: tuple[BoardReply, ...] = ()
    """Notices that came before the first order was answered."""
    first_states: tuple[tuple[str, ...], ...] = ()
    """`state` of each output before any `setup`, if the board has it."""
    _seq: int = 0
    _last_own: str = ""
    _changed_ms: float = -1e9
    _sent_ms: float = 0.0
    _late_ms: float = 0.0
    _between: int = 0
    """Notices that came between an order and its reply."""
    unusable: str | None = None
    """Why the reply to `id` cannot be used: such a board is not lit at all."""

    def seal(self, body: str | bytes) -> bytes:
        """A line with its CRC and LF."""
        raw = body.encode("ascii") if isinstance(body, str) else body
        return raw + b"*%04X\n" % crc16(raw)

    async def identify(self) -> Identity:
        """Who is it? Raises Failure if the reply is none."""
        heard = await self.order("id")
        if not heard.ok:
            raise Failure(f"`id` is answered with {show(heard.raw)}", clause="5.1")
        try:
            self.identity = Identify().parse_reply(heard.fields)
        except BeyondLimitsFault as exc:
            self.unusable = f"it states a limit that no board may have: {exc}"
            raise Failure(f"it states a limit that no board may have: {exc}", clause="5.3") from exc
        except ProtocolFault as exc:
            self.unusable = f"the reply to `id` cannot be read: {exc}"
            raise Failure(f"the reply to `id` cannot be read: {exc}", clause="5.3") from exc
        self.unusable = None
        return self.identity

    async def greet(self, *, within_ms: float = 5_000) -> None:
        """Meet a board whose port has just been opened: it may restart first.

        Raises Failure when nothing answers `id`; `unusable` is set when what answers cannot be used.
        """
        end = self.talk.now_ms() + within_ms
        while True:
            await self.talk.send(b"\n")
            with suppress(Failure):
                while await self.hear(30) is not None:
                    pass
            try:
                identity = await self.identify()
                break
            except Failure as failure:
                if isinstance(failure.__cause__, BeyondLimitsFault) or self.talk.now_ms() >= end:
                    if self.unusable is None:
                        raise
                    return
                await self.talk.wait(50)
        self.opening = tuple(self.heard_notices)
        if identity.has("setup"):
            with suppress(Failure):
                self.first_states = tuple([await self.state(output) for output in self.outputs])

    @property
    def limits(self) -> Identity:
        """What the board states of itself. Raises Failure if it has not."""
        if self.identity is None:
            raise Failure("the board has not identified itself", clause="5.3")
        return self.identity

    def reply_ms(self) -> float:
        """How long a reply may take, with room: as 3.9 says for a host."""
        pixels = self.identity.pixels * self.identity.outputs if self.identity else 4_000
        return 400 + pixels * 0.05

    async def order(self, text: str, *, seq: int | None = None, ending: bytes = b"\n") -> BoardReply:
        """Send an order with its own SEQ; returns the reply. Raises Failure when there is none, or a wrong SEQ."""
        self._seq = (self._seq + 1) % 256 if seq is None else seq
        own = f"{self._seq:02X}"
        if text.split(" ")[0] in _VISIBLE:
            await self._calm()
        await self.talk.send(self.seal(f">{own} {text}")[:-1] + ending)
        self._sent_ms, self._late_ms = self.talk.now_ms(), self.talk.late_ms()
        while True:
            heard = await self.answer(f">{own} {text}")
            if heard.seq in (own, "--"):
                self._last_own = own
                return heard
            if heard.seq != self._last_own:
                raise Failure(f"`{text}` sent with SEQ {own} is answered with SEQ {heard.seq}", clause="3.3")
            self.spoil("3.1", f"a reply too many: {show(heard.raw)}")

    async def _calm(self) -> None:
        pause = CALM_MS - (self.talk.now_ms() - self._changed_ms)
        if pause > 0:
            await self.talk.wait(pause)
        self._changed_ms = self.talk.now_ms()

    async def raw(self, data: bytes, what: str) -> BoardReply:
        """Send bytes as they are; returns the reply to what they end."""
        await self.talk.send(data)
        return await self.answer(what)

    async def answer(self, what: str) -> BoardReply:
        """The next line that is no notice. Raises Failure (3.1) if none comes in time."""
        end = self.talk.now_ms() - self.talk.late_ms() + self.reply_ms()
        between: list[BoardReply] = []
        while (left := end - (self.talk.now_ms() - self.talk.late_ms())) > 0:
            heard = await self.hear(left)
            if heard is None:
                continue
            if not heard.word:
                if between:
                    self._note_between(what, between)
                return heard
            if heard.word != "restarted":
                between.append(heard)
        raise Failure(f"no reply to {show(what)}", clause="3.1")

    def _note_between(self, what: str, notices: list[BoardReply]) -> None:
        """One notice before a reply may have been under way when the order went out; a habit of it is none (7.1)."""
        self._between += 1
        if self._between > 2 or (what.endswith(" watch on") and notices[-1].word == "inputs"):
            self.spoil("7.1", f"a notice between {show(what)} and its reply: {show(notices[-1].raw)}")

    def taken_ms(self) -> float:
        """Since the last order went out, this computer's own lateness left out."""
        return (self.talk.now_ms() - self._sent_ms) - (self.talk.late_ms() - self._late_ms)

    async def hear(self, within_ms: float) -> BoardReply | None:
        """The next line of any kind; notices are kept in `notices` too."""
        raw = await self.talk.line(within_ms)
        if raw is None:
            return None
        heard = self._take_apart(raw)
        if heard.word:
            self.notices.append(heard)
            self.heard_notices.append(heard)
        return heard

    def _take_apart(self, raw: bytes) -> BoardReply:
        self.log.append(show(raw))
        if len(raw) > 255:
            self.spoil("2.4", f"a line of {len(raw)} bytes: {show(raw[:60])}…")
        match = _SHAPE.match(raw)
        if match is None:
            self.spoil("2.5", f"not the shape of any line: {show(raw)}")
            raise Failure(f"not the shape of any line: {show(raw)}", clause="2.5")
        if int(match["crc"], 16) != crc16(raw[: raw.rindex(b"*")]):
            self.spoil("2.6", f"wrong CRC in {show(raw)}")
        fields = tuple(match["fields"].decode().split())
        if match["nseq"] is not None:
            return BoardReply(match["nseq"].decode(), None, fields, raw, match["word"].decode())
        if match["ok_seq"] is not None:
            return BoardReply(match["ok_seq"].decode(), None, fields, raw)
        code = int(match["code"])
        self._check_error(match["bad_seq"].decode(), code, match["name"].decode(), raw)
        return BoardReply(match["bad_seq"].decode(), code, fields, raw)

    def _check_error(self, seq: str, code: int, name: str, raw: bytes) -> None:
        try:
            known = ErrorCode(code)
        except ValueError:
            self.spoil("8.2", f"code {code} is not in the list: {show(raw)}")
            return
        if known.word != name:
            self.spoil("8.2", f"code {code} is called {name}, its name is {known.word}")
        if known.line_damaged != (seq == "--"):
            self.spoil("8.1", f"code {code} with SEQ {seq}")

    def spoil(self, clause: str, what: str) -> None:
        """Remember that a line broke a clause, whatever was checked at the moment."""
        self.spoiled.setdefault(clause, what)

    async def quiet(self, ms: float, what: str) -> None:
        """Nothing but notices may come for `ms`. Raises Failure (3.1)."""
        end = self.talk.now_ms() + ms
        while (left := end - self.talk.now_ms()) > 0:
            heard = await self.hear(left)
            if heard is not None and not heard.word:
                raise Failure(f"a line too many after {what}: {show(heard.raw)}", clause="3.1")

    async def accepted(self, text: str) -> BoardReply:
        """An order that has to be carried out."""
        heard = await self.order(text)
        if not heard.ok:
            raise Failure(f"`{text}` is refused: {show(heard.raw)}")
        return heard

    async def refused(self, text: str, code: ErrorCode, *others: ErrorCode) -> BoardReply:
        """An order that has to be refused with this code."""
        heard = await self.order(text)
        if heard.code not in (code, *others):
            raise Failure(f"`{text}` has to be refused with {code:d} {code.word}; the answer is {show(heard.raw)}")
        return heard

    async def damaged(self, data: bytes, code: ErrorCode) -> None:
        """A line that has to be answered with this code and SEQ `--`."""
        heard = await self.raw(data, show(data))
        if heard.code != code:
            raise Failure(f"{show(data)} has to be answered with {code:d} {code.word}; the answer is {show(heard.raw)}")
        if heard.seq != "--":
            raise Failure(f"the answer to the damaged line {show(data)} has SEQ {heard.seq}, not --", clause="3.4")

    async def state(self, output: int = 0) -> tuple[str, ...]:
        """The fields of `state`."""
        heard = await self.accepted(f"state {output}")
        if len(heard.fields) != 6:
            raise Failure(f"`state` gives {len(heard.fields)} fields, not 6: {show(heard.raw)}", clause="5.8")
        return heard.fields

    async def shown(self, pixel: int, output: int = 0) -> bytes | None:
        """What `readback` says of a pixel; None where it says `none`. Raises Failure if it makes no sense."""
        heard = await self.accepted(f"readback {output} {pixel}")
        text = heard.fields[0] if len(heard.fields) == 1 else ""
        if text == "none":
            return None
        if not re.fullmatch("([0-9A-F]{2}){3,4}", text):
            raise Failure(f"`readback` is answered with {show(heard.raw)}", clause="5.29")
        return bytes.fromhex(text)

    @property
    def outputs(self) -> range:
        """Numbers of the board's outputs."""
        return range(self.limits.outputs)

    async def lit(self, output: int = 0) -> int:
        """How many pixels the board says are not dark. Raises Failure if `state` gives no number."""
        return number((await self.state(output))[4], clause="5.8")


_VISIBLE = frozenset(
    {"light", "dark", "range", "show", "setup", "run", "lamp", "group", "play", "count", "commit", "erase"}
)


def number(text: str, *, clause: str) -> int:
    """A number of a reply. Raises Failure if it is none (2.7)."""
    if not text.isdecimal() or (text != "0" and text.startswith("0")):
        raise Failure(f"{text!r} is not a number", clause=clause)
    return int(text)


def show(data: bytes | str) -> str:
    """Bytes as text that any terminal can show."""
    text = data.decode("latin-1") if isinstance(data, bytes) else data
    return "".join(c if " " <= c <= "~" else f"\\x{ord(c):02x}" for c in text)


def clause_key(clause: str) -> tuple[int, ...]:
    """`5.10` sorts after `5.9`."""
    return tuple(int(part) for part in clause.split("."))


def in_order(clauses: Iterable[str]) -> list[str]:
    """Clause numbers in the order of the specification."""
    return sorted(clauses, key=clause_key)
