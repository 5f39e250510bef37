"""A serial line between a `HostSession` and a `SimulatedBoard` that damages what passes, in simulated time.

The board is as deaf as a small one: while a frame is clocked out only two bytes that arrive are kept.
"""

from __future__ import annotations

import random
from collections import deque
from dataclasses import dataclass, field

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.events import (
    GaveUp,
    Identified,
    Interrupted,
    Misanswered,
    OrderAnswered,
    Refused,
    SessionEvent,
)
from device_protocol.orders import (
    Order,
    RestartCause,
    RestartNotice,
    SetupOutput,
)
from device_protocol.session import HostSession
from device_protocol.values import Colour

BYTE_MS = 10 / 115.2
"""A byte of 10 bits at 115200 baud."""
PIXEL_MS = 0.03
UART_BYTES = 2


@dataclass(frozen=True)
class Faults:
    """What the line does, in each direction: chances for a bit, a byte, a line."""

    flip_bit: float = 0.0
    lose_byte: float = 0.0
    add_byte: float = 0.0
    double_line: float = 0.0
    lose_line: float = 0.0
    delay_ms: float = 0.0
    """Longest delay of a line; lines never overtake each other."""
    restart: float = 0.0
    """Chance that the board restarts after an order."""


class LoggingBoard(SimulatedBoard):
    """Keeps the words of every order that it carried out, and counts its restarts."""

    def __init__(self, config: BoardConfig, wirings: list[ChainWiring]) -> None:
        self.carried_out: list[tuple[str, ...]] = []
        self.restarts = 0
        super().__init__(config, wirings)

    def _carry_out(self, word: str, arguments: tuple[str, ...]) -> tuple[str, ...]:
        fields = super()._carry_out(word, arguments)
        self.carried_out.append((word, *arguments))
        return fields


@dataclass
class Line:
    """The line, the board at one end, and the session at the other."""

    board: LoggingBoard
    session: HostSession
    faults: Faults
    rng: random.Random
    now_ms: float = 0.0
    sent_lines: int = 0
    _to_board: deque[tuple[float, int]] = field(default_factory=deque)
    _to_host: deque[tuple[float, bytes]] = field(default_factory=deque)
    _busy_until_ms: float = 0.0
    _kept_while_busy: int = 0

    def host_sends(self, data: bytes) -> None:
        """Bytes leave the host now."""
        if not data:
            return
        self.sent_lines += 1
        at = max([self.now_ms, *(when for when, _ in self._to_board)]) + self.rng.uniform(0, self.faults.delay_ms)
        for byte in self._damage(data):
            at += BYTE_MS
            self._to_board.append((at, byte))

    def advance(self, until_ms: float) -> list[SessionEvent]:
        """Time passes up to the next thing that happens, at most until `until_ms`. Returns what the session tells."""
        times = [until_ms]
        if self._to_board:
            times.append(self._to_board[0][0])
        if self._to_host:
            times.append(self._to_host[0][0])
        deadline, board_deadline = self.session.next_deadline_ms(), self.board.next_deadline_ms()
        if deadline is not None:
            times.append(deadline)
        if board_deadline is not None:
            times.append(max(board_deadline, self._busy_until_ms))
        self.now_ms = max(self.now_ms, min(times))
        while self._to_board and self._to_board[0][0] <= self.now_ms:
            self._byte_arrives(self._to_board.popleft()[1])
        if self.now_ms >= self._busy_until_ms:
            self._board_says(self.board.tick(self.now_ms))
        events: list[SessionEvent] = []
        while self._to_host and self._to_host[0][0] <= self.now_ms:
            events += self.session.receive_data(self._to_host.popleft()[1], self.now_ms)
        data, more = self.session.tick(self.now_ms)
        self.host_sends(data)
        return events + more

    def _byte_arrives(self, byte: int) -> None:
        if self.now_ms < self._busy_until_ms:
            self._kept_while_busy += 1
            if self._kept_while_busy > UART_BYTES:
                self.board.mark_lost_bytes()
                return
        else:
            self._kept_while_busy = 0
        before = self.board.frames_clocked
        said = self.board.receive_data(bytes([byte]), self.now_ms)
        pixels = (self.board.frames_clocked - before) * max(output.count for output in self.board.outputs)
        if pixels:
            self._busy_until_ms = max(self._busy_until_ms, self.now_ms) + pixels * PIXEL_MS
        self._board_says(said)
        if said and self.rng.random() < self.faults.restart:
            self.board.restarts += 1
            self._board_says(self.board.restart(RestartCause.BROWNOUT, self.now_ms))

    def _board_says(self, data: bytes) -> None:
        at = max([self.now_ms, self._busy_until_ms, *(when for when, _ in self._to_host)])
        for line in data.splitlines(keepends=True):
            at += self.rng.uniform(0, self.faults.delay_ms)
            for byte in self._damage(line):
                at += BYTE_MS
                self._to_host.append((at, bytes([byte])))

    def _damage(self, line: bytes) -> bytes:
        faults, rng = self.faults, self.rng
        if rng.random() < faults.lose_line:
            return b""
        if rng.random() < faults.double_line:
            line += line
        out = bytearray()
        for byte in line:
            if rng.random() < faults.lose_byte:
                continue
            for bit in range(8):
                if rng.random() < faults.flip_bit:
                    byte ^= 1 << bit
            out.append(byte)
            if rng.random() < faults.add_byte:
                out.append(rng.randrange(256))
        return bytes(out)


@dataclass(frozen=True)
class Job:
    """Orders that belong together, and what output 0 shows when the last is answered."""

    orders: tuple[Order, ...]
    picture: tuple[Colour, ...]


@dataclass
class Outcome:
    """What came of a run."""

    done: int = 0
    gave_up: int = 0
    restarts_heard: int = 0
    events: list[SessionEvent] = field(default_factory=list)


class CarefulOwner:
    """Owns a session as one should: sets up after each connect and restart, and does a broken job anew.

    At each `Answered` the board must have carried out just that order since it was sent; at the end of each job the
    pixels must show its picture, unless the board has restarted without the host knowing yet.
    """

    def __init__(self, line: Line, setup: SetupOutput, jobs: list[Job]) -> None:
        self.line = line
        self.setup = setup
        self.jobs = jobs
        self.outcome = Outcome()
        self._set_up = False
        self._step = 0
        self._mark = 0

    def run(self, *, limit_ms: float) -> Outcome:
        """Work until all jobs are done, at most so long."""
        line, session = self.line, self.line.session
        line.host_sends(session.connect(line.now_ms))
        while self.outcome.done < len(self.jobs) and line.now_ms < limit_ms:
            if session.ready:
                order = self._job.orders[self._step] if self._set_up else self.setup
                self._mark = len(line.board.carried_out)
                line.host_sends(session.send(order, line.now_ms))
            for event in line.advance(limit_ms):
                self.outcome.events.append(event)
                self._take(event)
        return self.outcome

    @property
    def _job(self) -> Job:
        return self.jobs[self.outcome.done]

    def _take(self, event: SessionEvent) -> None:
        match event:
            case OrderAnswered(order):
                self._answered(order)
            case Identified() | Interrupted() | Misanswered() | Refused():
                self._set_up, self._step = False, 0
            case RestartNotice():
                self.outcome.restarts_heard += 1
                self._set_up, self._step = False, 0
            case GaveUp():
                self.outcome.gave_up += 1
                self._set_up, self._step = False, 0
                self.line.host_sends(self.line.session.connect(self.line.now_ms))
            case _:
                pass

    def _answered(self, order: Order) -> None:
        board = self.line.board
        words = (order.WORD, *order.arguments())
        assert words in board.carried_out[self._mark :], f"{words} answered, but not carried out since it was sent"
        if not self._set_up:
            self._set_up, self._step = isinstance(order, SetupOutput), 0
            return
        self._step += 1
        if self._step == len(self._job.orders):
            if board.restarts == self.outcome.restarts_heard:
                assert board.shown(0) == self._job.picture
            self.outcome.done += 1
            self._step = 0
