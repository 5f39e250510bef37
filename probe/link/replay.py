"""A transcript of a line, and a wire that plays one back.

A transcript (`--transcript FILE`) is ASCII text, one entry a line, in the order in which things happened:

    12.345678 open "/dev/ttyUSB0"
    12.346102 out "\\n>00 id*8FDB\\n"
    12.351877 in "<00 ok proto=1 …*56AE\\n"
    31.000412 end "vanished"

Seconds by a steady clock with no fixed beginning; `out` bytes that the program sent, `in` bytes that came, as far as
they came in one piece; `open` a port was opened (its name), `end` it was lost or closed (the kind of the trouble).
Between the quotes ASCII stands for itself, other bytes are `\\xHH`, `\\n`, `\\r`, `\\t`; `"` and `\\` have a `\\` before
them. Further lines may be appended by later sessions.

Played back (`replay://FILE`), the far end sends what it sent then, at the moment when the program sends what it sent
then. Orders are compared without number and checksum, so that those which a session gives by the clock (keep-alives) may be
more or fewer.
`replay://FILE?speed=10` is ten times as fast; speed 0 does not wait at all. When the program sends something else than
in the transcript, the wire fails with an error that names the place.
"""

from __future__ import annotations

import asyncio
import re
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import parse_qs

from device_protocol.framing import seal
from probe.link.errors import LinkError, LinkErrorKind, link_error
from probe.link.wire import Inbox, Wire

_ENTRY = re.compile(r'(\d+\.\d+) (open|out|in|end) "((?:[^"\\]|\\.)*)"')
_ORDER = re.compile(r">([0-9A-F]{2}) (.*)\*[0-9A-F]{4}", re.DOTALL)
_REPLY = re.compile(rb"([<!])([0-9A-F]{2})( [^\n]*)\*[0-9A-F]{4}(?=\r?\n)")
_BY_THE_CLOCK = re.compile(r"alive|state \d+|id")
"""Orders that a session may give by itself: when nothing else was sent for a while, or a line was damaged."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a transcript; `number` is its line in the file."""

    number: int
    seconds: float
    direction: str
    data: bytes


def entry_text(seconds: float, direction: str, data: bytes) -> str:
    """One line of a transcript, without its end."""
    text = data.decode("latin-1").encode("unicode_escape").decode("ascii").replace('"', '\\"')
    return f'{seconds:.6f} {direction} "{text}"'


def read_transcript(path: Path) -> tuple[Entry, ...]:
    """All entries. Raises LinkError that names the line, and for a file that cannot be read."""
    try:
        lines = path.read_text(encoding="ascii").splitlines()
    except OSError as exc:
        raise _trouble(str(path), f"{exc.strerror or exc}") from exc
    except UnicodeDecodeError as exc:
        raise _trouble(str(path), "it holds bytes that no transcript has") from exc
    entries = []
    for number, line in enumerate(lines, start=1):
        if not line:
            continue
        found = _ENTRY.fullmatch(line)
        if found is None:
            raise _trouble(str(path), f"line {number} is no line of a transcript")
        try:
            data = found[3].encode("ascii").decode("unicode_escape").encode("latin-1")
        except ValueError as exc:
            raise _trouble(str(path), f"line {number} holds an escape that no transcript has") from exc
        entries.append(Entry(number, float(found[1]), found[2], data))
    return tuple(entries)


def _trouble(port: str, detail: str) -> LinkError:
    return link_error(
        LinkErrorKind.FAILED,
        port=port,
        detail=detail,
        likely_cause="this is no transcript, or the session goes another way than the one that was written down",
        cure="check the file; it plays back only to the same answers on the same map",
    )


@dataclass(slots=True)
class _Sent:
    """A line that the program sent, and what came between it and the next one, as (seconds after it, bytes)."""

    number: int
    line: str
    came: list[tuple[float, bytes]] = field(default_factory=list)

    @property
    def seq(self) -> bytes | None:
        found = _ORDER.fullmatch(self.line)
        return found[1].encode() if found else None

    @property
    def body(self) -> str:
        return _body(self.line)


@dataclass(slots=True)
class _Recording:
    """From one opening of the port to its end."""

    greeting: _Sent
    sent: list[_Sent] = field(default_factory=list)
    ended_by: str = ""


def _body(line: str) -> str:
    found = _ORDER.fullmatch(line)
    return found[2] if found else line


def _sessions(entries: tuple[Entry, ...]) -> list[_Recording]:
    sessions: list[_Recording] = []
    partial, at_s = "", 0.0
    for entry in entries:
        if entry.direction == "open" or not sessions:
            sessions.append(_Recording(_Sent(entry.number, "")))
            partial, at_s = "", entry.seconds
        session = sessions[-1]
        if entry.direction == "end":
            session.ended_by = entry.data.decode("latin-1")
        elif entry.direction == "out":
            at_s = entry.seconds
            *lines, partial = (partial + entry.data.decode("latin-1")).split("\n")
            session.sent += [_Sent(entry.number, line) for line in lines if line]
        elif entry.direction == "in":
            last = session.sent[-1] if session.sent else session.greeting
            last.came.append((entry.seconds - at_s, entry.data))
    return sessions


class ReplayPort:
    """A port that plays a transcript. `open` is what `BoardLink` takes as `open_wire`.

    `speed` 1 keeps the time that passed then, 0 waits for nothing. Raises LinkError when the file is no transcript.
    """

    def __init__(self, path: Path, *, speed: float = 1.0) -> None:
        self.name = f"replay://{path}"
        self.speed = speed
        self._sessions = deque(_sessions(read_transcript(path)))

    @property
    def played(self) -> bool:
        """Whether every session has been opened."""
        return not self._sessions

    async def open(self) -> Wire:
        """The next session of the transcript. Raises LinkError when there is none."""
        if not self._sessions:
            raise _trouble(self.name, "the transcript is at its end")
        return ReplayWire(self.name, self._sessions.popleft(), self.speed)


class ReplayWire:
    """One session of a transcript."""

    def __init__(self, port: str, session: _Recording, speed: float) -> None:
        self.port = port
        self._session = session
        self._speed = speed
        self._left = deque(session.sent)
        self._partial = ""
        self._inbox = Inbox()
        self._loop = asyncio.get_running_loop()
        self._timers: list[asyncio.TimerHandle] = []
        self._due_s = 0.0
        self._answered: dict[str, tuple[bytes, bytes]] = {}  # order → its number and reply then
        self._deliver(session.greeting.came, None)
        if not self._left:
            self._end_as_then()

    def write(self, data: bytes) -> None:
        """As `Wire.write`: the replies to this then are sent now."""
        if self._inbox.end is not None:
            raise self._inbox.end
        *lines, self._partial = (self._partial + data.decode("latin-1")).split("\n")
        for line in lines:
            if line:
                self._sent(line)

    async def read(self) -> bytes:
        """As `Wire.read`."""
        return await self._inbox.get()

    async def close(self) -> None:
        """As `Wire.close`."""
        for timer in self._timers:
            timer.cancel()
        self._inbox.fail(link_error(LinkErrorKind.CLOSED, port=self.port))

    def _sent(self, line: str) -> None:
        body = _body(line)
        order = _ORDER.fullmatch(line)
        seq = order[1].encode() if order else None
        if _BY_THE_CLOCK.fullmatch(body) and not (self._left and self._left[0].body == body):
            again = self._answered.get(body)
            if again is not None and seq:
                self._deliver([(0.0, again[1])], (again[0], seq))
            else:
                self._put_soon(0.0, seal(f"<{line[1:3]} ok" if body == "alive" else f"!{line[1:3]} 34 not-ready"))
            return
        while self._left and self._left[0].body != body and _BY_THE_CLOCK.fullmatch(self._left[0].body):
            self._deliver([(0.0, _notices_in(came)) for _, came in self._left.popleft().came], None)
        if not self._left:
            self._fail(_trouble(self.port, "the transcript is at its end"))
            return
        then = self._left.popleft()
        if then.body != body:
            where = f"line {then.number} of the transcript goes on with {then.body!r}, the program sent {body!r}"
            self._fail(_trouble(self.port, where))
            return
        if then.seq and seq:
            self._remember_answer(then)
            self._deliver(then.came, (then.seq, seq))
        else:
            self._deliver(then.came, None)
        if not self._left:
            self._end_as_then()

    def _remember_answer(self, sent: _Sent) -> None:
        for line in b"".join(data for _, data in sent.came).splitlines(keepends=True):
            if sent.seq and line.startswith(b"<" + sent.seq):
                self._answered[sent.body] = (sent.seq, line)

    def _deliver(self, came: list[tuple[float, bytes]], seqs: tuple[bytes, bytes] | None) -> None:
        """Say it all, with the number of the order that is in flight now instead of the one then."""
        if seqs is None or seqs[0] == seqs[1]:
            for after_s, data in came:
                self._put_soon(after_s, data)
            return
        then, now = seqs
        held = b""
        for after_s, data in came:
            whole, end, held = (held + data).rpartition(b"\n")
            self._put_soon(after_s, _renumbered(whole + end, then, now))
        if held:
            self._put_soon(came[-1][0], held)

    def _put_soon(self, after_s: float, data: bytes) -> None:
        if not data:
            return
        if not self._speed:
            self._inbox.put(data)
            return
        due = max(self._loop.time() + after_s / self._speed, self._due_s)  # nothing overtakes what came before it
        self._due_s = due
        self._timers.append(self._loop.call_at(due, self._inbox.put, data))

    def _end_as_then(self) -> None:
        """The plug was pulled after this, or whatever ended it; a program that closed its port closes it again."""
        if self._session.ended_by and self._session.ended_by != LinkErrorKind.CLOSED:
            self._fail(link_error(_kind(self._session.ended_by), port=self.port))

    def _fail(self, error: LinkError) -> None:
        self._timers.append(self._loop.call_at(max(self._loop.time(), self._due_s), self._inbox.fail, error))


def _kind(word: str) -> LinkErrorKind:
    try:
        return LinkErrorKind(word)
    except ValueError:
        return LinkErrorKind.VANISHED


def _renumbered(data: bytes, then: bytes, now: bytes) -> bytes:
    def renumber(found: re.Match[bytes]) -> bytes:
        if found[2] != then or seal((found[1] + found[2] + found[3]).decode("latin-1"))[:-1] != found[0]:
            return found[0]
        return seal((found[1] + now + found[3]).decode("ascii"))[:-1]

    return _REPLY.sub(renumber, data) if data.isascii() else data


def _notices_in(data: bytes) -> bytes:
    return b"".join(line for line in data.splitlines(keepends=True) if line.startswith(b"~"))


_ports: dict[str, ReplayPort] = {}


def replay_port(url: str) -> ReplayPort:
    """The port for `replay://FILE?speed=N`; the same one for the same URL, so that it goes on where it was."""
    if url not in _ports:
        path, _, query = url.partition("://")[2].partition("?")
        try:
            speed = float(parse_qs(query).get("speed", ["1"])[-1])
        except ValueError:
            raise link_error(LinkErrorKind.BAD_ADDRESS, port=url, detail="speed is not a number") from None
        if not 0 <= speed <= 1e6:
            raise link_error(LinkErrorKind.BAD_ADDRESS, port=url, detail="speed is 0 or more")
        _ports[url] = ReplayPort(Path(path), speed=speed)
    return _ports[url]
